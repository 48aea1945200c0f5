"""Made photos of things that go wrong: a sheet on a bench with flat-coloured solids on it.

No light is followed, only what causes are told by: prints, papers, covers and solids with a wall, a
face and a soft shadow, through a pinhole camera, then blur, noise, the sRGB curve and JPEG.
"""

from dataclasses import dataclass, replace
from functools import cache

import cv2
import numpy as np
from made_views import camera_over
from PIL import Image
from printed_sheet import INK, PAPER, Sheet
from shapely import Polygon, unary_union

from snugline.trace.camera.lens import Lens
from snugline.trace.image.linear_light import linear_to_srgb
from snugline.trace.sheet.frame_description import read_frame

SIZE = (1200, 900)
FOCAL_35MM = 26
_FINE = 2
_PLAN, _MARGIN = 8, 60.0  # px for each mm, and mm of bench round the sheet, of the plan
BENCH = (0.30, 0.24, 0.18)
_EXIF_IFD, _FOCAL_35MM_TAG = 0x8769, 0xA405


@dataclass(frozen=True)
class Block:
    """A solid with an upright wall: its foot (N, 2) mm, its height mm and its colour."""

    foot: np.ndarray
    thickness: float = 5.0
    colour: tuple = (0.12, 0.12, 0.13)


@dataclass(frozen=True)
class Patch:
    """Something thin on the sheet, of a colour."""

    area: np.ndarray
    colour: tuple


@dataclass(frozen=True)
class Made:
    """What lies where, and from where it is seen.

    Attributes
    ----------
    frame : the name of the sheet that is printed.
    blocks, patches : the parts, and what else lies about, the upper ones last.
    """

    frame: str = "border-a4"
    blocks: tuple = ()
    patches: tuple = ()
    scale: tuple = (1.0, 1.0)
    tilt_deg: float = 12.0
    azimuth_deg: float = 40.0
    roll_deg: float = 5.0
    blur: float = 0.7
    noise: float = 0.004
    exposure: float = 0.8
    seed: int = 1

    @property
    def camera(self):
        """As near as shows the whole sheet."""
        focal = FOCAL_35MM / np.hypot(36, 24) * np.hypot(*SIZE)
        lens = Lens(focal, ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2), (0.0, 0.0, 0.0, 0.0), SIZE)
        sheet = printed_frame(self.frame).sheet * np.array(self.scale)
        corners = np.array([[0, 0], [sheet[0], 0], sheet, [0, sheet[1]]])
        height = 200.0
        while True:
            camera = camera_over(
                sheet / 2, height, self.tilt_deg, self.azimuth_deg, self.roll_deg, lens
            )
            seen = camera.pixels(corners)
            if np.all((seen > 8) & (seen < np.array(SIZE) - 8)):
                return camera
            height *= 1.03


def rectangle(x, y, width, height, turn_deg=0.0):
    """(4, 2) mm, counter-clockwise, about its middle (x, y)."""
    half = 0.5 * np.array([[-width, -height], [width, -height], [width, height], [-width, height]])
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return half @ np.array([[c, s], [-s, c]]) + [x, y]


def rounded(ring, radius=6.0):
    """The ring (N, 2) with its corners rounded."""
    grown = Polygon(ring).buffer(-radius).buffer(radius, quad_segs=12)
    return np.asarray(grown.exterior.coords)[:-1]


def printed_frame(name):
    """A built-in sheet; `shuffled` is border-a4 with its markers in other places."""
    if name != "shuffled":
        return read_frame(name)
    frame = read_frame("border-a4")
    order = np.random.default_rng(2).permutation(len(frame.ids))
    return replace(frame, name=name, ids=frame.ids[order])


@cache
def _plan(frame, scale):
    """Linear light of sheet and bench from straight above; rows run down from the top margin."""
    sheet = Sheet(printed_frame(frame), scale)
    w, h = sheet.frame.sheet * np.array(scale)
    across = np.arange(round((w + 2 * _MARGIN) * _PLAN)) / _PLAN - _MARGIN
    up = h + _MARGIN - np.arange(round((h + 2 * _MARGIN) * _PLAN)) / _PLAN
    x, y = np.meshgrid(across.astype(np.float32), up.astype(np.float32))
    ink = sheet.ink(x.ravel(), y.ravel(), np.float32(1 / _PLAN)).reshape(x.shape)
    dark = (
        np.where(sheet.in_window(x, y), sheet.window_ink, INK) if sheet.frame.window_dark else INK
    )
    paper = np.array(PAPER, np.float32)
    light = paper + ink[..., None] * (np.asarray(dark, np.float32)[..., None] - paper)
    on = (x >= 0) & (x <= w) & (y >= 0) & (y <= h)
    return np.where(on[..., None], light, np.array(BENCH, np.float32)).astype(np.float32), h


def linear(made):
    """(H, W, 3) linear light of a made photo, before the sensor."""
    camera = made.camera
    width, height = SIZE[0] * _FINE, SIZE[1] * _FINE
    plan, top = _plan(made.frame, made.scale)
    # Plan pixels to mm, mm to pixels, pixels to finer ones; centres at whole numbers throughout.
    to_mm = np.array([[1 / _PLAN, 0, -_MARGIN], [0, -1 / _PLAN, top + _MARGIN], [0, 0, 1]])
    finer = np.array([[_FINE, 0, (_FINE - 1) / 2], [0, _FINE, (_FINE - 1) / 2], [0, 0, 1]])
    matrix = finer @ camera.homography() @ to_mm
    light = cv2.warpPerspective(plan, matrix, (width, height), borderMode=cv2.BORDER_REPLICATE)

    def fill(places, colour):
        seen = camera.pixels(np.asarray(places, dtype=np.float64))
        corners = np.round(((seen + 0.5) * _FINE - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(light, [corners], colour, cv2.LINE_8, 4)

    for patch in made.patches:
        fill(patch.area, patch.colour)
    for block in made.blocks:
        foot = block.foot
        shadow = np.zeros(light.shape[:2], np.float32)
        seen = camera.pixels(foot + np.array([0.25, -0.2]) * block.thickness)
        cv2.fillPoly(shadow, [np.round(seen * _FINE).astype(np.int32)], 1.0)
        soft = cv2.GaussianBlur(shadow, (0, 0), 3.0 * _FINE)
        light *= 1 - 0.35 * soft[..., None]
        raised = np.column_stack([foot, np.full(len(foot), block.thickness)])
        wall = unary_union([Polygon(camera.pixels(p)) for p in (foot, raised)]).convex_hull
        wall_px = np.asarray(wall.exterior.coords)
        corners = np.round(((wall_px + 0.5) * _FINE - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(light, [corners], tuple(0.6 * c for c in block.colour), cv2.LINE_8, 4)
        fill(raised, block.colour)
    return cv2.resize(light, SIZE, interpolation=cv2.INTER_AREA)


def taken(made):
    """(H, W, 3) uint8 RGB of a made photo."""
    rng = np.random.default_rng(made.seed)
    light = cv2.GaussianBlur(linear(made), (0, 0), made.blur)
    y, x = np.mgrid[: SIZE[1], : SIZE[0]].astype(np.float32)
    fall = 1 - 0.1 * ((x / SIZE[0] - 0.4) ** 2 + (y / SIZE[1] - 0.6) ** 2)
    light = made.exposure * fall[..., None] * light / PAPER[0]
    light = light + made.noise * rng.standard_normal(light.shape, dtype=np.float32)
    return np.rint(255 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint8)


def saved(rgb, path, focal_35mm=FOCAL_35MM, quality=92):
    """Write it as a phone does; `focal_35mm` None leaves the EXIF out."""
    picture = Image.fromarray(rgb)
    if focal_35mm is None:
        picture.save(path, quality=quality)
        return path
    exif = Image.Exif()
    exif.get_ifd(_EXIF_IFD)[_FOCAL_35MM_TAG] = focal_35mm
    picture.save(path, quality=quality, exif=exif)
    return path


def shown_again(rgb, turn_deg=4.0):
    """A photo of a screen that shows a photo: another perspective, the screen's lines."""
    height, width = rgb.shape[:2]
    corners = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
    bend = np.float32([[0.05, 0.07], [-0.08, 0.05], [-0.05, -0.06], [0.07, -0.05]]) * turn_deg / 4
    matrix = cv2.getPerspectiveTransform(corners, corners + bend * np.float32([width, height]))
    again = cv2.warpPerspective(rgb, matrix, (width, height), borderValue=(8, 8, 8))
    lines = 1 - 0.03 * (np.arange(height) % 3 == 0)
    return np.ascontiguousarray((again * lines[:, None, None]).astype(np.uint8))
