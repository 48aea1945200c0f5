"""Composed pictures of a part on a marker sheet, with its exact silhouette.

Not a renderer of light, only of what the eye is told by: polygons through a pinhole camera, the
part's wall and top each of one colour or pattern, shadows as shifted and softened copies of
the foot, then light falling off, blur, noise and the eight bits of a photo.
"""

from dataclasses import dataclass, field

import cv2
import numpy as np
from shapely import Polygon, segmentize, unary_union
from shapely.affinity import affine_transform

from snugline.trace.part.sheet_view import SheetView

SHEET = np.array([297.0, 210.0])
WINDOW = np.array([[38.5, 35.0], [258.5, 35.0], [258.5, 175.0], [38.5, 175.0]])
_FINE = 4  # sub-pixels a side of a reduced pixel
INK, PAPER, DARK_PRINT = 0.05, 0.82, 0.06


def marker_squares():
    """(M, 4, 2) mm: 14 mm squares round the window, as on an A4 sheet."""
    across = [(x, y) for x in np.arange(11.5, 280, 20) for y in (8.0, 188.0)]
    up = [(x, y) for y in np.arange(28.0, 170, 20) for x in (11.5, 271.5)]
    square = np.array([[0, 14], [14, 14], [14, 0], [0, 0.0]])
    return np.array(across + up)[:, None] + square


@dataclass(frozen=True)
class Pinhole:
    """A camera over the sheet, looking at its middle; `size` and `focal` in reduced pixels."""

    tilt_deg: float = 10.0
    azimuth_deg: float = 30.0
    roll_deg: float = 20.0
    height: float = 400.0
    focal: float = 730.0
    size: tuple = (1000, 750)

    @property
    def rotation(self):
        tilt, azimuth, roll = np.radians([self.tilt_deg, self.azimuth_deg, self.roll_deg])
        away = np.array([np.cos(azimuth), np.sin(azimuth)])
        ahead = np.r_[-np.sin(tilt) * away, -np.cos(tilt)]
        right = np.cross(ahead, [np.sin(roll), np.cos(roll), 0.0])
        right /= np.linalg.norm(right)
        return np.stack([right, np.cross(ahead, right), ahead])

    @property
    def centre(self):
        tilt, azimuth = np.radians([self.tilt_deg, self.azimuth_deg])
        away = np.array([np.cos(azimuth), np.sin(azimuth)])
        return np.r_[SHEET / 2 + self.height * np.tan(tilt) * away, self.height]

    def pixels(self, at, z=0.0):
        at = np.asarray(at, dtype=np.float64)
        seen = (np.column_stack([at, np.full(len(at), z)]) - self.centre) @ self.rotation.T
        return self.focal * seen[:, :2] / seen[:, 2:] + (np.array(self.size) - 1) / 2

    def on_sheet(self, pixels):
        ray = (np.asarray(pixels) - (np.array(self.size) - 1) / 2) / self.focal
        ray = np.column_stack([ray, np.ones(len(ray))]) @ self.rotation
        return (self.centre - ray * (self.centre[2] / ray[:, 2:]))[:, :2]


@dataclass(frozen=True)
class Scene:
    """What lies on the sheet and in what light; colours are reflectances, lengths mm."""

    foot: np.ndarray
    top: tuple = (0.2, 0.2, 0.2)
    wall: float = 0.7  # brightness of the wall over that of the top
    thickness: float = 5.0
    texture: str = "plain"  # plain | grain | speckle | print | gloss
    contrast: float = 0.2
    shadow: tuple = (0.0, 0.0)
    soft: float = 0.5
    dark: float = 0.45
    tint: tuple = (1.0, 1.0, 1.0)
    second: tuple = (0.0, 0.0)
    falloff: float = 1.0  # brightest to darkest across the picture
    lamp: tuple = (1.0, 1.0, 1.0)
    exposure: float = 1.0
    noise: float = 0.004
    hole: np.ndarray | None = None
    dust: int = 0
    dark_window: bool = False
    camera: Pinhole = field(default_factory=Pinhole)
    seed: int = 0


def compose(scene):
    """The linear picture (h, w, 3), what `find_part` is told, and the silhouette in pixels."""
    rng = np.random.default_rng(scene.seed)
    camera, size = scene.camera, scene.camera.size
    shape = (size[1] * _FINE, size[0] * _FINE)

    def fill(picture, pixels, value):
        corners = np.round(((pixels + 0.5) * _FINE - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(picture, [corners], value, shift=4)

    def mask(pixels):
        picture = np.zeros(shape, np.uint8)
        fill(picture, pixels, 1)
        return picture.astype(bool)

    canvas = np.empty((*shape, 3), np.float32)
    canvas[:] = (0.45, 0.33, 0.22)
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    fill(canvas, camera.pixels(corners * SHEET), (PAPER,) * 3)
    if scene.dark_window:
        fill(canvas, camera.pixels(WINDOW), (DARK_PRINT,) * 3)
    squares = marker_squares()
    for square in squares:
        fill(canvas, camera.pixels(square), (INK,) * 3)
        cells = np.argwhere(rng.random((6, 6)) > 0.5)[:, None] + corners
        inner = square[3] + 14 * (0.125 + 0.75 * cells / 6)
        for pixels in camera.pixels(inner.reshape(-1, 2)).reshape(-1, 4, 2):
            fill(canvas, pixels, (PAPER,) * 3)
    bar = np.array([[48.5, 28.9], [248.5, 28.9], [248.5, 29.1], [48.5, 29.1]])
    fill(canvas, camera.pixels(bar), (INK,) * 3)
    for _ in range(scene.dust):
        speck = rng.uniform(WINDOW[0], WINDOW[2]) + rng.uniform(0.1, 0.7) * rng.normal(size=(6, 2))
        speck = cv2.convexHull(speck.astype(np.float32))[:, 0]
        fill(canvas, camera.pixels(speck), (0.3, 0.2, 0.1))

    per_mm = np.linalg.norm(np.diff(camera.pixels([SHEET / 2, SHEET / 2 + [1, 0]]), axis=0))
    for shift in (scene.shadow, scene.second):
        if any(shift):
            shade = mask(camera.pixels(scene.foot + np.array(shift))).astype(np.float32)
            if scene.hole is not None:
                fill(shade, camera.pixels(scene.hole + np.array(shift)), 0.0)
            shade = cv2.GaussianBlur(shade, (0, 0), max(scene.soft * per_mm * _FINE, 0.3))
            amount = shade[..., None] * np.float32(1 - scene.dark)
            canvas *= 1 - amount * np.array(scene.tint, np.float32)

    foot = np.asarray(segmentize(Polygon(scene.foot), 1.0).exterior.coords)[:-1]
    low, high = camera.pixels(foot), camera.pixels(foot, scene.thickness)
    sides = np.stack([low, np.roll(low, -1, 0), np.roll(high, -1, 0), high], axis=1)
    walls = [wall.buffer(0.01) for wall in map(Polygon, sides) if wall.is_valid]
    silhouette = unary_union([Polygon(low).buffer(0), Polygon(high).buffer(0), *walls])
    top = np.array(scene.top, np.float32)
    before = canvas.copy()
    outer = np.asarray(silhouette.exterior.coords)[:-1]
    fill(canvas, outer, tuple(float(v) for v in scene.wall * top))
    where = mask(high)
    canvas[where] = top * _pattern(scene, shape, rng)[where][:, None]
    if scene.texture == "gloss":
        y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32) / _FINE
        middle = camera.pixels(scene.foot.mean(axis=0)[None])[0]
        away = ((x - middle[0]) ** 2 + (y - middle[1]) ** 2) / (22 * per_mm) ** 2
        canvas[where] += (0.9 * np.exp(-away))[where][:, None].astype(np.float32)
    if scene.hole is not None:
        through = [camera.pixels(scene.hole, z) for z in (0.0, scene.thickness)]
        seen = mask(through[0]) & mask(through[1])
        canvas[seen] = 0.85 * before[seen]
        silhouette = silhouette - Polygon(through[0]).intersection(Polygon(through[1]))

    picture = cv2.resize(canvas, size, interpolation=cv2.INTER_AREA)
    picture *= (scene.falloff ** -np.linspace(0, 1, size[0], dtype=np.float32))[None, :, None]
    picture *= np.array(scene.lamp, np.float32) * np.float32(scene.exposure)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.5)
    shot = np.sqrt(np.maximum(picture, 0.01))
    picture += scene.noise * shot * rng.normal(0, 1, picture.shape).astype(np.float32)
    coded = np.round(255 * np.clip(picture, 0, 1) ** (1 / 2.2)) / 255
    quads = camera.pixels(squares.reshape(-1, 2)).reshape(-1, 4, 2)
    covered = np.array([Polygon(q).intersection(silhouette).area > 3 for q in quads])
    view = SheetView(
        window=WINDOW,
        pixel_from_sheet=camera.pixels,
        sheet_from_pixel=camera.on_sheet,
        markers=quads,
        found=~covered,
        window_dark=scene.dark_window,
        camera=camera.centre,
        thickness=scene.thickness,
    )
    return (coded**2.2).astype(np.float32), view, silhouette


def _pattern(scene, shape, rng):
    """Brightness of the top over its mean."""
    if scene.texture == "grain":
        lines = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), 60, None, 6)
        return 1 + scene.contrast * lines / lines.std()
    if scene.texture == "speckle":
        spots = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), 6)
        return 1 + scene.contrast * spots / spots.std()
    if scene.texture == "print":
        y, x = np.mgrid[: shape[0], : shape[1]] // (40 * _FINE)
        return np.where((x + y) % 2 > 0, 1 + scene.contrast, 1 - scene.contrast)
    return np.ones(shape, np.float32)


def rounded(length, width, radius):
    """A rectangle from the origin with round corners."""
    sharp = Polygon([[0, 0], [length, 0], [length, width], [0, width]])
    return np.asarray(sharp.buffer(-radius).buffer(radius, quad_segs=32).exterior.coords)[:-1]


def turned(polygon, degrees, at):
    """A polygon about its origin, turned and moved."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.asarray(affine_transform(Polygon(polygon), [c, -s, s, c, *at]).exterior.coords)[:-1]
