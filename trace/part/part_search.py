"""The part separated from the sheet in a reduced photo: its silhouette to a reduced pixel.

The photo is divided by the sheet's light (`sheet_view`); a network that has seen made sheets says
what is part (`learned_map`), the part is cut from the sheet along the picture's edges (`part_cut`),
and its border followed along the sharpest edge in its neighbourhood (`coarse_border`).

Pixel (i, j) of a photo reduced by area averaging with factor `step` has its centre at
x_full = step * x_reduced + (step - 1) / 2 in the full photo, pixel centres at whole numbers.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.trace.part.coarse_border import CoarseEdge, Ground, follow
from snugline.trace.part.learned_map import placed, probabilities, seen_in
from snugline.trace.part.part_cut import separate
from snugline.trace.part.sheet_view import (
    OUTLINE_STEP_MM,
    JudgedScene,
    Mask,
    Picture,
    SheetView,
    along,
    judged_scene,
    nothing_in_window,
    polygon_mask,
    shrunk,
)

__all__ = ["Region", "SheetView", "find_part"]

# Nearer to the window's border than this the border may be its printed line.
MARGIN_MM = 1.0
# Smaller pieces, 8 x 8 mm, are crumbs or print; smaller holes, 3.9 mm across, are as often
# highlights or worn print. Both chosen, not derived.
SMALLEST_PART_MM2 = 60.0
SMALLEST_HOLE_MM2 = 12.0
# Pale fields of a print may pass for shaded holes; a hole is clear over this share of its border.
_TOLD_HOLE = 0.5


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
    scene = judged_scene(picture, view)
    at = placed(view)
    shares = probabilities(picture, view, scene.light, at)
    shares = seen_in(shares, at, view, scene.left, scene.top, _size(scene.gradient))
    part, favour = separate(scene, shares)
    return _described(scene, part, favour, view)


def _described(
    scene: JudgedScene, part: Mask, favour: Picture, view: SheetView
) -> tuple[Region, ...]:
    """The connected pieces of a mask with their borders."""
    area = scene.mm_per_px**2
    corner = np.array([scene.left, scene.top], float)
    inner = along(shrunk(view.window, MARGIN_MM), OUTLINE_STEP_MM)
    polygon = view.pixel_from_sheet(inner) - corner
    count, labels = cv2.connectedComponents(part.astype(np.uint8), connectivity=4)
    in_polygon = labels[polygon_mask(_size(part), polygon, 0, 0)]
    seen = np.bincount(in_polygon, minlength=count) * area
    keep = [k for k in np.argsort(-seen) if k > 0 and seen[k] >= SMALLEST_PART_MM2]
    if not keep:
        raise nothing_in_window()
    ground = Ground(
        favour=favour,
        sharp=0.5 * (scene.sharp + scene.gradient),
        texture=scene.texture,
        noise=scene.noise,
        polygon=polygon,
        smallest_hole=SMALLEST_HOLE_MM2 / area,
    )
    regions = []
    for k in keep:
        outer, holes = follow(labels == k, ground)
        holes = [hole for hole in holes if hole.told.mean() > _TOLD_HOLE]
        regions.append(
            Region(
                tuple(e.moved(corner) for e in outer),
                tuple(e.moved(corner) for e in holes),
                float(seen[k]),
            )
        )
    return tuple(regions)


def _size(mask: NDArray[Any]) -> tuple[int, int]:
    return mask.shape[0], mask.shape[1]
