"""The part separated from the sheet in a reduced photo: its silhouette to a reduced pixel.

The photo is divided by the sheet's light (`sheet_view`), the part cut from the sheet by colour and
grain (`colour_tables`, `part_cut`), and its border followed along the sharpest edge in its
neighbourhood (`coarse_border`).

Pixel (i, j) of a photo reduced by area averaging with factor `step` has its centre at
x_full = step * x_reduced + (step - 1) / 2 in the full photo, pixel centres at whole numbers.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.trace.part.coarse_border import CoarseEdge, Ground, Wall, follow
from snugline.trace.part.part_cut import separate
from snugline.trace.part.sheet_view import (
    OUTLINE_STEP_MM,
    Floats,
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
# A hole has a sharp border, a highlight or worn print a soft one: over this share of it.
_CERTAIN_HOLE = 0.5


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
    scene, part, favour = separate(judged_scene(picture, view))
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
        tone=scene.tone,
        favour=favour,
        sharp=0.5 * (scene.sharp + scene.gradient),
        texture=scene.texture,
        noise=scene.noise,
        polygon=polygon,
        smallest_hole=SMALLEST_HOLE_MM2 / area,
        wall=_wall(view, corner),
    )
    regions = []
    for k in keep:
        outer, holes = follow(labels == k, ground)
        holes = [hole for hole in holes if hole.certain.mean() > _CERTAIN_HOLE]
        regions.append(
            Region(
                tuple(e.moved(corner) for e in outer),
                tuple(e.moved(corner) for e in holes),
                float(seen[k]),
            )
        )
    return tuple(regions)


def _size(mask: NDArray[np.bool_]) -> tuple[int, int]:
    return mask.shape[0], mask.shape[1]


def _wall(view: SheetView, corner: Floats) -> Wall | None:
    """The shift that the part's thickness gives its top edge; None where it is not known."""
    camera, thickness = view.camera, view.thickness
    if camera is None or not thickness > 0:
        return None

    def wall(points: Floats) -> Floats:
        on_sheet = view.sheet_from_pixel(points + corner)
        shift = thickness / (camera[2] - thickness) * (on_sheet - camera[:2])
        return np.asarray(view.pixel_from_sheet(on_sheet + shift) - points - corner)

    return wall
