"""What lies in the frame's window, by the paper's light: before a part is looked for, and after.

A description that states the window's tone wrongly, another paper in the window, a part over all of
it, no part at all, one as light as the sheet, covers that are not the part: to the search for edges
they all look alike, so they are distinguished here.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.sentence import Sentence, share
from snugline.trace.part.paper_light import LightField, in_picture, is_covered, light_at
from snugline.trace.part.part_search import Region
from snugline.trace.part.sheet_view import FEWEST_MARKERS, Picture, SheetView, sheet_light

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# The window's border is looked at:
_INSIDE_MM = 3.0  # inside
_OUTSIDE_MM = 4.5  # outside, on the same paper
_STEP_MM = 2.0  # between samples
_FEWEST = 20  # points
# Light over that of the frame's paper:
_LIKE = 0.06  # within this it is that paper
PRINTED = 0.3  # a printed window is darker than any shadow in which a photo is taken
_ONE_PAPER = 0.05  # points of one paper are this near to each other
# Shares of the border:
_MOST = 0.5  # that decides of which kind the window is
# Below this none is left to see. A part that leaves through three sides still shows a third of it
# (the sample photos: 0.44).
_COVERED = 0.03
# A paper's tone must differ by more than what light and print do to one paper.
_ANOTHER = 0.08
# Square roots of light, by which a cover differs from the part's tone:
_OTHER_TONE = 0.12
_GRAIN_TIMES = 1.5  # and beyond what grain does
_CALM_PX = 7
# Where the part is looked at: px from its edge and from each other,
_WELL_INSIDE_PX = 4.0
_PATH = 16  # and places on the way to a marker.
# Something pale shows by steps of this share of the paper's light
_FAINT = 0.015
_FAINT_SHARE = 0.004  # over this share of the window


@dataclass(frozen=True)
class _Light:
    """The picture over the paper's light."""

    picture: Picture
    paper: LightField

    def over_paper(self, points: Floats) -> Floats:
        """(N, 3), of the points that lie in the picture."""
        points = points[in_picture(points, self.picture.shape, 1)]
        return np.asarray(light_at(self.picture, points) / self.paper.at(points))

    def tones(self, points: Floats) -> Floats:
        """(N, 3) square roots of it, of points that all lie in the picture; else none."""
        if not in_picture(points, self.picture.shape, 1).all():
            return np.empty((0, 3))
        return np.sqrt(np.maximum(self.over_paper(points), 0))

    def across(self, view: SheetView, window: Floats) -> tuple[Floats, Floats]:
        """(N, 3) light just inside the window's border, and (N, 3) outside of it opposite."""
        places = []
        for start, end in zip(window, np.roll(window, -1, axis=0), strict=True):
            length = float(np.linalg.norm(end - start))
            along = (end - start) / length
            inwards = np.array([-along[1], along[0]])
            run = np.arange(2 * _INSIDE_MM, length - 2 * _INSIDE_MM, _STEP_MM)[:, None]
            at = start + run * along
            places.append(np.stack([at + _INSIDE_MM * inwards, at - _OUTSIDE_MM * inwards]))
        pixels = view.pixel_from_sheet(np.concatenate(places, axis=1).reshape(-1, 2))
        inside, outside = pixels.reshape(2, -1, 2)
        shown = in_picture(inside, self.picture.shape, 1)
        shown &= in_picture(outside, self.picture.shape, 1)
        return self.over_paper(inside[shown]), self.over_paper(outside[shown])


def check_window(picture: Picture, view: SheetView, window: Floats) -> None:
    """Refuse a window that is not as described, before anything in it is mistaken for a part.

    Parameters
    ----------
    picture : (h, w, 3) linear light of the reduced photo.
    window : (K, 2) true mm, the window itself, of which the view may show more.

    Raises
    ------
    PhotoError : dark where white was described or the other way round, paper of another white, or
        covered all over.
    """
    light = _light(picture, view)
    if light is None:
        return
    inside, outside = light.across(view, window)
    if len(inside) < _FEWEST:
        return
    tone = inside.mean(axis=1)
    paper = np.abs(inside - 1).max(axis=1) < _LIKE
    around = np.abs(outside.mean(axis=1) - 1) < 2 * _LIKE
    if view.window_dark:
        if np.mean(paper & around) > _MOST:
            raise PhotoError(
                "the window is white, but described as printed dark",
                "photo",
                "name the frame without -dark, or correct window_printed in the description",
            )
        return
    if np.mean((tone < PRINTED) & around) > _MOST:
        raise PhotoError(
            "the window is printed dark, but described as white",
            "photo",
            "name the frame with -dark, or state window_printed as dark in the description",
        )
    common = np.median(inside[around], axis=0) if around.any() else np.ones(3)
    alike = (np.abs(inside - common).max(axis=1) < _ONE_PAPER) & around
    another = np.abs(common - 1).max() > _ANOTHER and common.mean() > PRINTED
    if another and np.mean(alike) > _MOST and np.mean(paper) < 1 - _MOST:
        raise PhotoError(
            Sentence(
                "the paper in the window is not that of the frame ({} as light)",
                share(float(common.mean())),
            ),
            "photo",
            "lay the part on the frame's own paper, or print the frame on one sheet",
        )
    if np.mean(paper) < _COVERED and np.mean(around) < 1 - _MOST:
        raise _all_covered()


def why_nothing(picture: Picture, view: SheetView, window: Floats) -> PhotoError:
    """Why no part was found: none there, one as light as the sheet, one over the whole window."""
    light = _light(picture, view)
    if light is None:
        return _none()
    if covered_markers(picture, view).any() or _faint(light, view, window) > _FAINT_SHARE:
        other = "dark" if not view.window_dark else "white"
        return PhotoError(
            "the part is as light as the window that it lies on",
            "photo",
            f"print the frame with a {other} window and take the photo on it",
        )
    return _none()


def covered_markers(picture: Picture, view: SheetView) -> Mask:
    """(M,) described markers in the picture of which nothing is to be seen."""
    height, width = picture.shape[:2]
    hidden = ~view.found
    for k in np.flatnonzero(hidden):
        quad = view.markers[k]
        inside = (quad >= 2).all() and (quad <= [width - 3, height - 3]).all()
        hidden[k] = inside and is_covered(picture, quad)
    return hidden


def foreign_covers(picture: Picture, view: SheetView, regions: tuple[Region, ...]) -> Mask:
    """(M,) covered markers whose cover is of another tone than the part, with a step between.

    The part's own light changes along it (gloss, shadow), but from place to place; and between two
    places of it there may be a bay.
    """
    hidden = covered_markers(picture, view)
    places = _within_part(regions) if hidden.any() else np.empty((0, 2))
    light = _light(picture, view) if len(places) >= _FEWEST else None
    if light is None:
        return np.zeros(len(hidden), dtype=bool)
    # Grain does not count as a step: it is averaged away.
    calm = np.asarray(cv2.blur(picture, (_CALM_PX, _CALM_PX)), dtype=np.float32)
    light = replace(light, picture=calm)
    tones = light.tones(places)
    spread = _steps(tones[:-1], tones[1:])
    own = float(np.quantile(spread, 0.99)) if len(spread) else 0.0
    limit = max(_OTHER_TONE, _GRAIN_TIMES * own)
    for k in np.flatnonzero(hidden):
        middle = view.markers[k].mean(axis=0)
        nearest = places[np.argmin(np.linalg.norm(places - middle, axis=1))]
        path = light.tones(middle + np.linspace(0, 1, _PATH)[:, None] * (nearest - middle))
        step = _steps(path[:-2], path[2:]).max(initial=0.0)
        hidden[k] = bool(
            step > limit and len(tones) and np.median(_steps(path[:1], tones)) > _OTHER_TONE
        )
    return hidden


def _within_part(regions: tuple[Region, ...]) -> Floats:
    """(N, 2) reduced px, places well inside the largest region, row by row."""
    import shapely

    if not regions or not regions[0].outer:
        return np.empty((0, 2))
    ring = np.concatenate([edge.points for edge in regions[0].outer])
    if len(ring) < 4:
        return np.empty((0, 2))
    inner = shapely.Polygon(ring).buffer(0).buffer(-_WELL_INSIDE_PX)
    low, high = ring.min(axis=0), ring.max(axis=0)
    x, y = np.meshgrid(*(np.arange(a, b, _WELL_INSIDE_PX) for a, b in zip(low, high, strict=True)))
    places = np.column_stack([x.ravel(), y.ravel()])
    return np.asarray(places[shapely.contains_xy(inner, *places.T)])


def _steps(here: Floats, there: Floats) -> Floats:
    """(N,) largest change over the channels between tones."""
    return np.asarray(np.abs(here - there).max(axis=1, initial=0.0))


def _light(picture: Picture, view: SheetView) -> _Light | None:
    """The picture over the light on the markers' white surrounds; None with too few."""
    if view.found.sum() < FEWEST_MARKERS:
        return None
    return _Light(picture, sheet_light(picture, view))


def _faint(light: _Light, view: SheetView, window: Floats) -> float:
    """Share of the window, its border left out, in which the light changes as at a pale edge."""
    low, high = window.min(axis=0) + 6, window.max(axis=0) - 6
    x, y = np.meshgrid(*(np.arange(a, b, 0.75) for a, b in zip(low, high, strict=True)))
    points = view.pixel_from_sheet(np.column_stack([x.ravel(), y.ravel()]))
    if not len(points) or len(seen := light.over_paper(points)) != len(points):
        return 0.0
    tone = seen.mean(axis=1).reshape(x.shape)
    calm = (tone[1:, 1:] + tone[:-1, 1:] + tone[1:, :-1] + tone[:-1, :-1]) / 4
    across, down = np.diff(calm[:-1], axis=1), np.diff(calm[:, :-1], axis=0)
    steps = np.hypot(across, down)
    noise = float(np.median(steps))
    return float(np.mean(steps > max(_FAINT, 6 * noise)))


def _none() -> PhotoError:
    return PhotoError(
        "no part is in the frame's window",
        "photo",
        "lay the part so that its end or corner shows within the markers",
    )


def _all_covered() -> PhotoError:
    return PhotoError(
        "the part covers all of the frame's window, so that none of its edge shows",
        "photo",
        "move the part so that its end or corner lies in the window, or use a larger frame",
    )
