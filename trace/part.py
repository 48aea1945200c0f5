"""The part told from the sheet in a reduced photo: its silhouette to a reduced pixel or so.

The photo is divided by the sheet's light (`tones`), every small region of it judged by what
colours sheet, shadow on sheet and part have, and the cheapest cut along the picture's edges taken
(`separate`). Then the border is followed along the edge in its neighbourhood (`border`).

Pixel (i, j) of a photo reduced by area averaging with factor `step` has its centre at
x_full = step * x_reduced + (step - 1) / 2 in the full photo, pixel centres at whole numbers.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from snugline.errors import PhotoError
from snugline.notice import Notice
from snugline.trace.border import CoarseEdge, Ground, Wall, follow
from snugline.trace.colours import could_be_shade
from snugline.trace.separate import separate
from snugline.trace.tones import (
    Floats,
    Mask,
    Picture,
    SheetView,
    Tones,
    grey,
    nothing_there,
    polygon_mask,
    tones,
)

__all__ = ["CoarseEdge", "PartRegions", "Region", "SheetView", "find_part"]

# The contour ends so far from the window's border.
MARGIN_MM = 1.0
# Less is dust, a saw mark or a speck; less of sheet seen in the part is no hole.
SMALLEST_PART_MM2, SMALLEST_HOLE_MM2 = 60.0, 12.0
# A border of which less is plain to see is a stain's or a shadow's.
LEAST_CERTAIN = 0.1
# Shares of the border that is not plain to see: from the first a remark, from the second a retake.
DOUBTFUL, LOST = 0.1, 0.4
# Light over this of the brightest possible is glare; so much of it is worth a word.
GLARE, SMALLEST_GLARE_MM2 = 0.97, 20.0


@dataclass(frozen=True)
class Region:
    """One connected piece of the part as the window shows it.

    Attributes
    ----------
    outer : its border; several pieces where it leaves the window and comes back.
    holes : borders of holes, with the part on the left as well.
    area_mm2 : in the window.
    """

    outer: tuple[CoarseEdge, ...]
    holes: tuple[CoarseEdge, ...]
    area_mm2: float


@dataclass(frozen=True)
class PartRegions:
    """The part's regions, largest first, and what was noticed.

    `region_px` of the notices is in pixels of the reduced photo.
    """

    regions: tuple[Region, ...]
    notices: tuple[Notice, ...]


def find_part(picture: Picture, view: SheetView) -> PartRegions:
    """Separate the part from the sheet.

    Parameters
    ----------
    picture : (h, w, 3) float32, linear light of the reduced photo in displayed orientation.
    view : where the sheet lies in it.

    Raises
    ------
    PhotoError : nothing lies in the window, or no border of the part shows in it.
    """
    scene, mask, odds = separate(tones(picture, view))
    corner = np.array([scene.left, scene.top], dtype=np.float64)
    polygon = view.window_px(MARGIN_MM) - corner
    area = scene.mm_per_px**2
    ground = Ground(
        tone=scene.tone,
        favour=odds,
        shade=could_be_shade(scene.tone),
        slope=np.asarray((scene.sharp + scene.gradient) / 2, np.float32),
        texture=scene.texture,
        noise=scene.noise,
        polygon=polygon,
        smallest_hole=SMALLEST_HOLE_MM2 / area,
        wall=_wall(view, corner),
        bevel=view.bevel / scene.mm_per_px,
    )
    judged = polygon_mask(mask.shape, polygon)
    count, labels = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    seen = np.bincount(labels.ravel(), judged.ravel(), count) * area
    seen[0] = 0
    regions = []
    for k in np.argsort(-seen)[: np.count_nonzero(seen >= SMALLEST_PART_MM2)]:
        outer, holes = follow(labels == k, ground)
        # A highlight or a pale print has a soft border, a hole a sharp one.
        holes = [hole for hole in holes if hole.certain.mean() > 0.5]
        certain = np.concatenate([edge.certain for edge in outer] or [np.ones(1, bool)])
        if certain.mean() > LEAST_CERTAIN:
            regions.append(Region(tuple(outer), tuple(holes), float(seen[k])))
    if not regions:
        raise nothing_there()
    if not any(region.outer for region in regions):
        raise PhotoError(
            "the part covers the whole window, and none of its edges shows",
            "photo",
            "lay it so that an end or a corner lies within the markers",
        )
    regions = [region for region in regions if region.outer]
    notices = _notices(picture, scene, judged & mask, regions)
    return PartRegions(tuple(_moved(region, corner) for region in regions), notices)


def _wall(view: SheetView, corner: Floats) -> Wall | None:
    """Where the part's thickness moves a point of its upper edge, as seen on the sheet."""
    if view.camera is None or view.thickness <= 0:
        return None
    camera, lever = view.camera, view.thickness / (view.camera[2] - view.thickness)

    def shift(points: Floats) -> Floats:
        on_sheet = view.sheet_from_pixel(points + corner)
        moved = view.pixel_from_sheet(on_sheet + lever * (on_sheet - camera[:2]))
        return np.asarray(moved - corner - points)

    return shift


def _moved(region: Region, corner: Floats) -> Region:
    outer, holes = (
        tuple(replace(edge, points=edge.points + corner) for edge in edges)
        for edges in (region.outer, region.holes)
    )
    return Region(outer, holes, region.area_mm2)


def _notices(
    picture: Picture, scene: Tones, part: Mask, regions: list[Region]
) -> tuple[Notice, ...]:
    notices = []
    edges = [edge for region in regions for edge in region.outer]
    if all(edge.closed for edge in edges):
        notices.append(
            Notice(
                "part-inside-window",
                "the part lies within the window and touches none of its sides",
                "nothing to do if that is the whole part",
                "fine",
            )
        )
    points = np.concatenate([edge.points for edge in edges])
    doubtful = ~np.concatenate([edge.certain for edge in edges])
    share = float(doubtful.mean())
    if share > DOUBTFUL:
        dark = _beside(scene, edges)[doubtful] < 0.8
        shaded = float(dark.mean()) > 0.5
        notices.append(
            Notice(
                "edge-in-shadow" if shaded else "edge-low-contrast",
                f"{share:.0%} of the part's edge "
                + ("lies in shadow" if shaded else "hardly differs from the sheet"),
                "move the lamp so that light falls on that edge from the other side"
                if shaded
                else "lay the part on the frame with the other window, dark for a pale part",
                "retake" if share > LOST else "usable",
                region_px=_box(points[doubtful], scene),
            )
        )
    rows = slice(scene.top, scene.top + part.shape[0])
    columns = slice(scene.left, scene.left + part.shape[1])
    bright = cv2.inRange(picture[rows, columns], (GLARE,) * 3, (np.inf,) * 3) > 0
    y, x = np.nonzero(bright & part)
    if len(x) * scene.mm_per_px**2 > SMALLEST_GLARE_MM2:
        notices.append(
            Notice(
                "glare",
                f"{len(x) * scene.mm_per_px**2:.0f} mm² of the part are overexposed",
                "turn the part or the lamp until the reflection has left the edge",
                "usable",
                region_px=_box(np.column_stack([x, y]), scene),
            )
        )
    return tuple(notices)


def _beside(scene: Tones, edges: list[CoarseEdge]) -> Floats:
    """Brightness over lit sheet three pixels outside of the border, point by point."""
    place = []
    for edge in edges:
        along = np.gradient(edge.points, axis=0)
        along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
        place.append(edge.points + 3 * along[:, ::-1] * [-1, 1])
    x, y = np.concatenate(place).astype(np.float32).T
    tone = cv2.remap(grey(scene.tone), x[:, None], y[:, None], cv2.INTER_LINEAR)[:, 0]
    return np.square(tone.astype(np.float64))


def _box(points: Floats, scene: Tones) -> tuple[float, float, float, float]:
    (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return left + scene.left, top + scene.top, right + scene.left, bottom + scene.top
