"""What the photos alone show of length and width, before any reading is used."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from snugline.fit.adjustment.observation_equations import CentredSection
from snugline.fit.adjustment.start_values import View
from snugline.fit.readings.slips import Expected

# Of sides whose shape is not known yet, a distance between them is good to this; bows, leaning
# sides and unstated edges are within it. Only gross contradictions are to be found by it.
SPAN_U_MM, SPAN_U_SHARE = 0.7, 0.004
# Where a contour reaches beyond the two sides by more than this share they are not the part's own.
NOTHING_BEYOND = 0.015
# The same for contours moved by another thickness: only across the edge, so that corners overshoot.
BEYOND_WHEN_MOVED = 0.06
# Of a contour of which less runs along two directions, the directions are not the part's own.
STRAIGHT_ENOUGH = 0.5
NEAR_SIDE_MM = 3.0
ENDS = ("left end", "right end")
# The symmetry of an end tells the part's direction to this, where it has no two parallel sides.
ROUGHLY_DEG = 20.0
EVERY = 4  # points: enough for an extent to some hundredths


@dataclass(frozen=True)
class Span:
    """Two opposite sides in one photo: their distance, and what a millimetre of thickness adds."""

    mm: float
    by_thickness: float


@dataclass(frozen=True)
class PhotoSizes:
    """What the photos show of a dimension.

    Attributes
    ----------
    spans : one for each photo that shows both sides.
    least : mm, how much of it the photos show at least.
    """

    spans: tuple[Span, ...] = ()
    least: float = 0.0

    def expected(self, thicker: float = 0.0) -> Expected:
        """The dimension, were the part thicker by this many mm than the photos were traced with."""
        u = math.hypot(SPAN_U_MM, SPAN_U_SHARE * self.least)
        if not self.spans:
            return Expected(None, u, self.least)
        mm = [span.mm + thicker * span.by_thickness for span in self.spans]
        return Expected(float(np.median(mm)), u, 0.0)

    def spread(self, thicker: float = 0.0) -> float:
        """Greatest less least span, mm."""
        mm = [span.mm + thicker * span.by_thickness for span in self.spans]
        return max(mm) - min(mm) if mm else 0.0


def photo_sizes(
    sections: Sequence[CentredSection],
    views: Sequence[View | None],
    beyond: float = NOTHING_BEYOND,
) -> Mapping[str, PhotoSizes]:
    """`length` and `width` as the photos show them; `beyond` as `NOTHING_BEYOND` has it."""
    least = {"length": 0.0, "width": 0.0}
    spans: dict[str, list[Span]] = {"length": [], "width": []}
    for section, view in zip(sections, views, strict=True):
        unknown = view is None or (len(view.turns) > 1 and not section.section.closed)
        if view is None or unknown or view.straight < STRAIGHT_ENOUGH:
            # How the part lies is known roughly or not at all: no dimension is shorter than the
            # least extent in the directions that may be its own.
            by_end = view is not None and not unknown and section.section.shows in ENDS
            about = -view.turns[0] if view is not None and by_end else None
            for axis, of in enumerate(least):
                along = None if about is None else about + axis * math.pi / 2
                least[of] = max(least[of], _least_extent(section, along))
            continue
        c, s = math.cos(view.turns[0]), math.sin(view.turns[0])
        turned = section.local @ np.array([[c, s], [-s, c]])
        extents = np.ptp(turned, axis=0)
        thicker = section.section.sensitivity.get("thickness", np.zeros(len(turned)))
        for axis, of in enumerate(least):
            least[of] = max(least[of], float(extents[axis]))
            high, low = view.sides[axis], view.sides[axis + 2]
            if high is None or low is None:
                continue
            if abs(high + low - extents[axis]) < beyond * extents[axis]:
                ends = (turned[:, axis] > high - NEAR_SIDE_MM, turned[:, axis] < NEAR_SIDE_MM - low)
                by_thickness = sum(float(np.median(thicker[end])) for end in ends)
                spans[of].append(Span(high + low, by_thickness))
    surely = max(map(_least_extent, sections), default=0.0)
    return {of: _agreed(spans[of], least[of], surely, beyond) for of in spans}


def _agreed(spans: Sequence[Span], least: float, surely: float, beyond: float) -> PhotoSizes:
    """Spans, unless another photo shows more of the dimension: then the part has no two sides."""
    if any(least > span.mm * (1 + beyond) for span in spans):
        return PhotoSizes((), min(surely, least))
    return PhotoSizes(tuple(spans), least)


def _least_extent(section: CentredSection, about: float | None = None) -> float:
    """Least extent of a contour, mm: in any direction, or in those near one, radians."""
    angle = np.radians(np.arange(0.0, 180.0, 2.0))
    if about is not None:
        angle = about + np.radians(np.arange(-ROUGHLY_DEG, ROUGHLY_DEG + 1, 2.0))
    across = section.local[::EVERY] @ np.stack([np.cos(angle), np.sin(angle)])
    return float(np.ptp(across, axis=0).min())
