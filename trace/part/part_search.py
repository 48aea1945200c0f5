"""The part separated from the sheet: its border as a learned map of the sheet shows it.

A network that has seen made sheets says what each mm of the sheet shows (`learned_map`); the part's
border is where it gives the part even odds. The search at full resolution follows from there.

Pixel (i, j) of a photo reduced by area averaging with factor `step` has its centre at
x_full = step * x_reduced + (step - 1) / 2 in the full photo, pixel centres at whole numbers.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from skimage.measure import find_contours

from snugline.trace.part.learned_map import PART, Placed, placed, probabilities
from snugline.trace.part.sheet_view import (
    Floats,
    Mask,
    Picture,
    SheetView,
    nothing_in_window,
    sheet_light,
    shrunk,
)

__all__ = ["CoarseEdge", "Region", "SheetView", "find_part"]

# Nearer to the window's border than this the border may be its printed line.
MARGIN_MM = 1.0
# Smaller pieces, 8 x 8 mm, are crumbs or print; smaller holes, 3.9 mm across, are as often
# highlights or worn print. Both chosen, not derived.
SMALLEST_PART_MM2 = 60.0
SMALLEST_HOLE_MM2 = 12.0
# A piece of which the map is less sure on average, and hardly any border of which is told, is haze
# on an empty sheet: there 0.6 to 0.73 and none. Parts of 50 made photos have 0.96 or more and 84 %.
_LEAST_SURE, _LEAST_TOLD = 0.8, 0.1
# Pale fields of a print may pass for shaded holes; a hole is clear over this share of its border.
_TOLD_HOLE = 0.5
# Part and sheet are told where the map gives nine to one this far inside and outside.
_TOLD, _BESIDE_MM = 0.9, 3.0
_EVEN = 0.5
_BLUR_CELLS = 0.7  # of the map, before its border becomes a line: about a cell's own blur
_SHORTEST_PIECE = 8  # points, fewer do not make a border


@dataclass(frozen=True)
class CoarseEdge:
    """A piece of the silhouette.

    Attributes
    ----------
    points : (M, 2) reduced pixels, x right, y down, with the part on the left as seen on the
        sheet (y up), so on the right hand in the picture.
    closed : whether the last point joins the first.
    told : (M,) the learned map tells part from sheet on either side of it.
    """

    points: Floats
    closed: bool
    told: Mask


@dataclass(frozen=True)
class Region:
    """One connected piece of the part as the window shows it.

    Attributes
    ----------
    outer : its border; several pieces where it leaves the window and comes back.
    holes : closed borders of holes.
    area_mm2 : in the window.
    """

    outer: tuple[CoarseEdge, ...]
    holes: tuple[CoarseEdge, ...]
    area_mm2: float


def find_part(picture: Picture, view: SheetView) -> tuple[Region, ...]:
    """Separate part from sheet; the part's regions, largest first.

    Parameters
    ----------
    picture : (h, w, 3) linear light of the reduced photo, displayed orientation.

    Raises
    ------
    PhotoError : nothing lies in the window.
    """
    at = placed(view)
    share = probabilities(picture, view, sheet_light(picture, view), at)[PART]
    share = cv2.GaussianBlur(share, (0, 0), _BLUR_CELLS)
    window = at.cells(shrunk(view.window, MARGIN_MM))
    inside = np.zeros(share.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(window).astype(np.int32)], 1)
    count, pieces = cv2.connectedComponents((share > _EVEN).astype(np.uint8), connectivity=4)
    within = pieces[inside > 0]
    cells = np.bincount(within, minlength=count)
    sure = np.bincount(within, share[inside > 0], count) / np.maximum(cells, 1) > _LEAST_SURE
    seen = cells * at.mm_per_cell**2
    large = [k for k in np.argsort(-seen) if k > 0 and seen[k] >= SMALLEST_PART_MM2]
    regions = [(Region(*_borders(share, pieces == k, window, view, at), float(seen[k])), sure[k])
               for k in large]  # fmt: skip
    kept = tuple(region for region, clear in regions if clear or _is_told(region))
    if not kept:
        raise nothing_in_window()
    return kept


def _is_told(region: Region) -> bool:
    told = np.concatenate([[False], *(edge.told for edge in region.outer)])
    return bool(told.sum() > _LEAST_TOLD * max(len(told) - 1, 1))


def _borders(
    share: Picture, piece: Mask, window: Floats, view: SheetView, at: Placed
) -> tuple[tuple[CoarseEdge, ...], tuple[CoarseEdge, ...]]:
    """Outer borders and holes of one piece of the map, within the window."""
    around = cv2.dilate(piece.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    alone = np.where(around, share, 0).astype(np.float64)
    outer: list[CoarseEdge] = []
    holes: list[CoarseEdge] = []
    # The map ends where the part may go on: a line along its end is outside the window.
    for line in find_contours(np.pad(alone, 1), _EVEN):  # type: ignore[no-untyped-call]
        cells = line[::-1, ::-1] - 1  # skimage keeps the high side on the other hand
        area = _area(cells)
        if abs(area) * at.mm_per_cell**2 < SMALLEST_HOLE_MM2:
            continue
        told = _told(cells, share, _BESIDE_MM / at.mm_per_cell)
        for part, closed in _within(cells[:-1], window):
            points = view.pixel_from_sheet(at.of_cells(cells[part]))
            (outer if area < 0 else holes).append(CoarseEdge(points, closed, told[part]))
    return tuple(outer), tuple(hole for hole in holes if hole.told.mean() > _TOLD_HOLE)


def _area(xy: Floats) -> float:
    """Signed, positive when counter-clockwise on a page with y up."""
    x, y = xy.T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def _told(cells: Floats, share: Picture, beside: float) -> Mask:
    """(N,) whether the map is sure of both sides of a closed border, `beside` cells off it."""
    tangent = np.roll(cells[:-1], -1, axis=0) - np.roll(cells[:-1], 1, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    inside, outside = (
        map_coordinates(share, (cells[:-1] + way * normal)[:, ::-1].T, order=1, mode="nearest")
        for way in (-beside, beside)
    )
    return np.asarray((inside > _TOLD) & (outside < 1 - _TOLD))


def _within(cells: Floats, window: Floats) -> list[tuple[NDArray[np.intp], bool]]:
    """Pieces of a closed line in the window, as indices, and whether that is all of it."""
    from shapely import Polygon, contains_xy

    inside = contains_xy(Polygon(window), *cells.T)
    index = np.arange(len(cells))
    if inside.all():
        return [(index, True)]
    index = np.roll(index, -int(np.argmin(inside)))
    change = np.flatnonzero(np.diff(np.r_[False, inside[index], False].astype(int)))
    return [
        (index[a:b], False)
        for a, b in zip(change[::2], change[1::2], strict=True)
        if b - a >= _SHORTEST_PIECE
    ]
