"""What lies in the frame's window, by the paper's light: before a part is looked for, and after.

A description that states the window's tone wrongly, another paper in the window, a part over all of
it, no part at all, one as light as the sheet, covers that are not the part: to the search for edges
they all look alike, so they are distinguished here.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.sentence import Sentence, share
from snugline.trace.image.robust_scale import SIGMA_PER_MAD
from snugline.trace.part.paper_light import (
    LightField,
    fit_light,
    in_picture,
    is_covered,
    light_at,
    quiet_zone_points,
)
from snugline.trace.part.part_search import Region
from snugline.trace.part.sheet_view import Picture, SheetView

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Where the window's border is looked at: mm inside, and outside of it on the same paper.
_INSIDE_MM, _OUTSIDE_MM, _STEP_MM = 3.0, 4.5, 2.0
_FEWEST = 20  # points
# Light over that of the frame's paper: within the first it is that paper; a printed window is
# darker than any shadow in which a photo is taken; and points of one paper are this near to each
# other.
_LIKE, _PRINTED, _ONE_PAPER = 0.06, 0.3, 0.05
# Shares of the border that decide of which kind the window is, and below which none is left to see.
# A part that leaves through three sides still shows a third of it (the sample photos: 0.44).
_MOST, _COVERED = 0.5, 0.03
# A paper's tone must differ by more than what light and print do to one paper.
_ANOTHER = 0.08
# Square roots of light: a cover of another tone than the part's, beyond what grain does.
_OTHER_TONE, _GRAIN_TIMES = 0.12, 3.0
# Something pale shows by steps of this share of the paper's light over this share of the window.
_FAINT, _FAINT_SHARE = 0.015, 0.004


@dataclass(frozen=True)
class _Light:
    """The picture over the paper's light."""

    picture: Picture
    paper: LightField

    def over_paper(self, points: Floats) -> Floats:
        """(N, 3), of the points that lie in the picture."""
        points = points[in_picture(points, self.picture.shape, 1)]
        return np.asarray(light_at(self.picture, points) / self.paper.at(points))

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
    if np.mean((tone < _PRINTED) & around) > _MOST:
        raise PhotoError(
            "the window is printed dark, but described as white",
            "photo",
            "name the frame with -dark, or state window_printed as dark in the description",
        )
    common = np.median(inside[around], axis=0) if around.any() else np.ones(3)
    alike = (np.abs(inside - common).max(axis=1) < _ONE_PAPER) & around
    another = np.abs(common - 1).max() > _ANOTHER and common.mean() > _PRINTED
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
    """(M,) covered markers under something of another tone than the part's."""
    import shapely

    hidden = covered_markers(picture, view)
    light = _light(picture, view)
    if light is None or not hidden.any() or not regions or not regions[0].outer:
        return np.zeros(len(hidden), dtype=bool)
    ring = np.concatenate([edge.points for edge in regions[0].outer])
    if len(ring) < 4:
        return np.zeros(len(hidden), dtype=bool)
    inner = shapely.Polygon(ring).buffer(0).buffer(-4.0)
    low, high = ring.min(axis=0), ring.max(axis=0)
    x, y = np.meshgrid(*(np.arange(a, b, 4.0) for a, b in zip(low, high, strict=True)))
    places = np.column_stack([x.ravel(), y.ravel()])
    places = places[shapely.contains_xy(inner, *places.T)]
    if len(places) < 20:
        return np.zeros(len(hidden), dtype=bool)
    part = np.sqrt(np.maximum(light.over_paper(places), 0))
    middle = np.median(part, axis=0)
    spread = SIGMA_PER_MAD * np.median(np.abs(part - middle), axis=0)
    limit = np.maximum(_OTHER_TONE, _GRAIN_TIMES * spread)
    for k in np.flatnonzero(hidden):
        quad = view.markers[k]
        grid = quad.mean(axis=0) + np.linspace(-0.8, 0.8, 5)[:, None, None] * (
            quad - quad.mean(axis=0)
        )
        cover = np.sqrt(np.maximum(light.over_paper(grid.reshape(-1, 2)), 0))
        hidden[k] = len(cover) > 0 and bool(
            (np.abs(np.median(cover, axis=0) - middle) > limit).any()
        )
    return hidden


def _light(picture: Picture, view: SheetView) -> _Light | None:
    """The picture over the light on the markers' white surrounds; None with too few."""
    found = view.markers[view.found]
    if len(found) < 3:
        return None
    points = quiet_zone_points(found)
    points = points[in_picture(points, picture.shape, 1)]
    return _Light(picture, fit_light(points, light_at(picture, points), 2))


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
