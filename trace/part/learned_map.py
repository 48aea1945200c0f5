"""The learned map: what each place of a sheet shows, by a network that has seen made sheets.

It is given a small picture of the sheet, rectified and divided by the paper's light, along with
what is known of it beforehand: window, markers found and missed, by how much the part's height
displaces its upper face. It gives for each place the probability of lit sheet, shadow on sheet,
part, and a cover that is not the part. How it was learned is in `training/coarse`; what it is given
is the same there.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from snugline.trace.image.linear_light import linear_to_srgb
from snugline.trace.image.network import network
from snugline.trace.part.paper_light import LightField
from snugline.trace.part.sheet_view import Floats, Picture, SheetView

WEIGHTS = Path(__file__).with_name("learned_map.onnx")
# As the network was learned (training/coarse/pictures.py): the picture's size, into which the paper
# is fitted, and what its channels are scaled by.
WIDTH, HEIGHT = 608, 448
_FITTED = (600, 440)
_RELIEF_PX = 8.0
_HUE_TIMES, _DARK = 3.0, 0.08
_BRIGHTEST = 1.6
_STEPS = 4096  # of light in the table of coded values
_LUMA = (0.299, 0.587, 0.114)  # ITU-R BT.601, as JPEG (JFIF) has it
SHEET, SHADOW, PART, COVER = range(4)
# From the outermost markers to the paper's edge, and from a window without markers, mm.
_MARGIN_MM = 11.0
_AROUND_MM = 38.0
_GRID = 16  # px between places that are mapped exactly; a lens is smooth between them


@dataclass(frozen=True)
class Placed:
    """Where the small picture lies on the sheet.

    Attributes
    ----------
    corner : (2,) mm, of its upper left corner; `right`, `down` (2,) mm for a px.
    """

    corner: Floats
    right: Floats
    down: Floats

    def on_sheet(self, px: Floats) -> Floats:
        """(N, 2) mm of px, pixel centres at whole numbers."""
        x, y = (px + 0.5).T[:, :, None]
        return np.asarray(self.corner + x * self.right + y * self.down)

    def px(self, on_sheet: Floats) -> Floats:
        away = on_sheet - self.corner
        size = float(self.right @ self.right)
        return np.column_stack([away @ self.right, away @ self.down]) / size - 0.5

    # The map has a cell for every 2 x 2 px.
    @property
    def mm_per_cell(self) -> float:
        return 2 * float(np.linalg.norm(self.right))

    def of_cells(self, cells: Floats) -> Floats:
        """(N, 2) mm of places on the map."""
        return self.on_sheet(2 * cells + 0.5)

    def cells(self, on_sheet: Floats) -> Floats:
        return (self.px(on_sheet) - 0.5) / 2


def placed(view: SheetView) -> Placed:
    """The paper, known by its markers and window, fitted into the small picture."""
    side = view.window[1] - view.window[0]
    along = side / np.linalg.norm(side)
    axes = np.stack([along, [-along[1], along[0]]])
    if len(view.markers):
        known, margin = view.sheet_from_pixel(view.markers.reshape(-1, 2)), _MARGIN_MM
        known = known[np.isfinite(known).all(axis=1)]
    else:
        known, margin = view.window, _AROUND_MM
    known = np.vstack([known, view.window]) @ axes.T
    low, high = known.min(axis=0) - margin, known.max(axis=0) + margin
    if high[1] - low[1] > high[0] - low[0]:
        axes = np.stack([axes[1], -axes[0]])
        low, high = np.array([low[1], -high[0]]), np.array([high[1], -low[0]])
    mm_per_px = float(np.max((high - low) / _FITTED))
    middle = (low + high) / 2
    corner = middle + mm_per_px / 2 * np.array([-WIDTH, HEIGHT])
    return Placed(corner @ axes, mm_per_px * axes[0], -mm_per_px * axes[1])


def probabilities(picture: Picture, view: SheetView, light: LightField, at: Placed) -> Picture:
    """(4, HEIGHT / 2, WIDTH / 2) of SHEET, SHADOW, PART and COVER."""
    model = network(WEIGHTS)
    model.setInput(_given(picture, view, light, at)[None])
    cells = model.forward()[0]
    _, rows, columns = cells.shape
    odds = cells.reshape(4, 2, 2, rows, columns).transpose(0, 3, 1, 4, 2)
    odds = odds.reshape(4, 2 * rows, 2 * columns)
    share = np.exp(odds - odds.max(axis=0))
    return np.asarray(share / share.sum(axis=0), np.float32)


@cache
def _coded() -> Picture:
    """SRGB values of light in even steps up to the brightest."""
    return linear_to_srgb(np.linspace(0, _BRIGHTEST, _STEPS)).astype(np.float32)


def _grid(left: int, top: int, width: int, height: int) -> Floats:
    """(R, C, 2) every 16th pixel of a rectangle, to beyond its end."""
    x = left + _GRID * np.arange(-(-width // _GRID) + 1)
    y = top + _GRID * np.arange(-(-height // _GRID) + 1)
    return np.stack(np.meshgrid(x, y), axis=-1).astype(np.float64)


def _filled(values: Floats, width: int, height: int) -> list[Picture]:
    """Values at every 16th pixel interpolated at all."""
    rows, columns = -(-height // _GRID) + 1, -(-width // _GRID) + 1
    coarse = values.reshape(rows, columns, -1).astype(np.float32)
    finer = np.array([[1 / _GRID, 0, 0], [0, 1 / _GRID, 0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return [
        np.asarray(cv2.warpAffine(coarse[..., k], finer, (width, height), flags=flags), np.float32)
        for k in range(coarse.shape[2])
    ]


def _given(picture: Picture, view: SheetView, light: LightField, at: Placed) -> Picture:
    """(10, HEIGHT, WIDTH) what the network is given."""
    on_sheet = at.on_sheet(_grid(0, 0, WIDTH, HEIGHT).reshape(-1, 2))
    place = view.pixel_from_sheet(on_sheet)
    x, y = _filled(place, WIDTH, HEIGHT)
    coarser = float(np.hypot(*np.diff(place[:2], axis=0)[0])) / _GRID
    if coarser > 1:
        picture = cv2.GaussianBlur(picture, (0, 0), coarser / 2)  # type: ignore[assignment]
    seen = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    paper = np.stack(_filled(light.at(place), WIDTH, HEIGHT), axis=-1)
    high, wide = picture.shape[:2]
    shown = (x >= 0) & (y >= 0) & (x <= wide - 1) & (y <= high - 1)
    planes = [*(plane * shown for plane in looks(seen / paper)), shown]
    window = _polygons(at.px(view.window)[None])
    planes += [window, window * float(view.window_dark)]
    for known in (view.found, ~view.found):
        quads = view.markers[known].reshape(-1, 2)
        quads = at.px(view.sheet_from_pixel(quads)) if len(quads) else quads
        planes.append(_polygons(quads.reshape(-1, 4, 2)) * shown)
    planes += _relief(view, on_sheet, at)
    return np.stack(planes, dtype=np.float32, casting="same_kind")


def looks(share: Picture) -> list[Picture]:
    """Brightness and two opponent colours of light (h, w, 3) as a share of the paper's."""
    table = _coded()
    index = np.clip(share * ((len(table) - 1) / _BRIGHTEST) + 0.5, 0, len(table) - 1).astype(
        np.int32
    )
    red, green, blue = cv2.split(table.take(index))
    luma = _LUMA[0] * red + _LUMA[1] * green + _LUMA[2] * blue
    scale = _HUE_TIMES / (luma + _DARK)
    return [2 * luma - 1, (red - green) * scale, (blue - luma) * scale]


def _polygons(polygons: Floats) -> Picture:
    mask = np.zeros((HEIGHT, WIDTH), np.uint8)
    for polygon in polygons:
        # OpenCV's fixed point: sixteenths of a pixel.
        cv2.fillPoly(mask, [np.round(polygon * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(np.float32)


def _relief(view: SheetView, on_sheet: Floats, at: Placed) -> list[Picture]:
    """By how much the part's height displaces its upper face, right and down."""
    if view.camera is None or not view.thickness > 0:
        return [np.zeros((HEIGHT, WIDTH), np.float32)] * 2
    share = view.thickness / (view.camera[2] - view.thickness)
    away = share * (on_sheet - view.camera[:2])
    size = float(at.right @ at.right) * _RELIEF_PX
    return _filled(np.column_stack([away @ at.right, away @ at.down]) / size, WIDTH, HEIGHT)
