"""Where straight segments and arcs meet, for all pairs at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.outline import Arc, Line

TOUCH_TOL = 1e-8
"""mm; curves that miss each other by less than this touch."""

REACH_TOL = 1e-7
"""mm; how far beyond its end a segment still meets another."""

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


class Bundle:
    """Lines and arcs side by side, not necessarily joined.

    A place on a segment is its distance from the segment's start along it, in mm.
    """

    def __init__(self, segments: list[Line | Arc]) -> None:
        self.segments = segments
        self.start = np.array([s.start for s in segments])
        self.end = np.array([s.end for s in segments])
        self.centre = np.array([s.centre if isinstance(s, Arc) else s.start for s in segments])
        self.radius = np.array([s.radius if isinstance(s, Arc) else 0.0 for s in segments])
        self.sweep = np.array([s.sweep if isinstance(s, Arc) else 0.0 for s in segments])
        self.is_arc = self.radius > 0
        self.length = np.array([s.length for s in segments])
        along = self.end - self.start
        self.along = along / np.hypot(*along.T)[:, None]
        # Boxes that hold the segments: of their chords, widened by the sagitta.
        half = np.minimum(np.abs(self.sweep) / 2, np.pi)
        sagitta = self.radius * (1 - np.cos(half)) + REACH_TOL
        self.low = np.minimum(self.start, self.end) - sagitta[:, None]
        self.high = np.maximum(self.start, self.end) + sagitta[:, None]

    def places(self, which: Indices, points: Floats) -> Floats:
        """Places, on the segments `which`, abreast of points; on arcs up to half a turn before."""
        relative = points - self.start[which]
        straight = _dot(relative, self.along[which])
        arm, to = self.start[which] - self.centre[which], points - self.centre[which]
        angle = np.arctan2(_cross(arm, to), _dot(arm, to)) * np.sign(self.sweep[which])
        # Opposite the arc's middle lies the cut between before its start and after its end.
        turn = 2 * np.pi
        lowest = np.abs(self.sweep[which]) / 2 - np.pi
        angle = lowest + (angle - lowest) % turn
        return np.asarray(np.where(self.is_arc[which], angle * self.radius[which], straight))

    def points(self, which: Indices, places: Floats) -> Floats:
        """The points at given places of the segments `which`."""
        straight = self.start[which] + places[:, None] * self.along[which]
        radius = np.where(self.is_arc[which], self.radius[which], 1.0)
        angle = places / radius * np.sign(self.sweep[which])
        arm = self.start[which] - self.centre[which]
        cos, sin = np.cos(angle), np.sin(angle)
        turned = np.column_stack(
            (cos * arm[:, 0] - sin * arm[:, 1], sin * arm[:, 0] + cos * arm[:, 1])
        )
        return np.asarray(np.where(self.is_arc[which, None], self.centre[which] + turned, straight))

    def off(self, which: Indices, points: Floats) -> Floats:
        """Distances of points from the whole lines or circles of the segments `which`."""
        straight = np.abs(_cross(self.along[which], points - self.start[which]))
        round_ = np.abs(np.hypot(*(points - self.centre[which]).T) - self.radius[which])
        return np.where(self.is_arc[which], round_, straight)

    def reaches(self, which: Indices, points: Floats) -> NDArray[np.bool_]:
        """Whether points on the lines or circles lie on the segments themselves."""
        places = self.places(which, points)
        return np.asarray((places >= -REACH_TOL) & (places <= self.length[which] + REACH_TOL))


@dataclass(frozen=True)
class Crossings:
    """Points where segments meet: each row a segment and a point on it."""

    segment: Indices
    point: Floats


def crossings(bundle: Bundle) -> Crossings:
    """All points that two segments of a bundle share; each is listed for both.

    Touching counts. Segments that run along each other meet at those of their ends that lie
    on the other.
    """
    first, second = _near(bundle)
    arc_1, arc_2 = bundle.is_arc[first], bundle.is_arc[second]
    swap = arc_1 & ~arc_2
    first, second = np.where(swap, second, first), np.where(swap, first, second)
    arc_1, arc_2 = bundle.is_arc[first], bundle.is_arc[second]
    met = [
        _line_line(bundle, first[~arc_2], second[~arc_2]),
        _line_circle(bundle, first[~arc_1 & arc_2], second[~arc_1 & arc_2]),
        _circle_circle(bundle, first[arc_1], second[arc_1]),
    ]
    i = np.concatenate([m[0] for m in met])
    j = np.concatenate([m[1] for m in met])
    point = np.concatenate([m[2] for m in met])
    shared = bundle.reaches(i, point) & bundle.reaches(j, point)
    i, j, point = i[shared], j[shared], point[shared]
    on, ends = _ends_on_others(bundle)
    return Crossings(np.concatenate((i, j, on)), np.concatenate((point, point, ends)))


_Met = tuple[Indices, Indices, Floats]


def _near(bundle: Bundle) -> tuple[Indices, Indices]:
    """The pairs, each once, whose boxes overlap."""
    (low_x, low_y), (high_x, high_y) = bundle.low.T.copy(), bundle.high.T.copy()
    reach = (low_x <= high_x[:, None]) & (low_y <= high_y[:, None])
    first, second = np.nonzero(np.triu(reach & reach.T, 1))
    return first, second


def _line_line(b: Bundle, i: Indices, j: Indices) -> _Met:
    slope = _cross(b.along[i], b.along[j])
    apart = np.abs(slope) > 1e-12
    i, j, slope = i[apart], j[apart], slope[apart]
    place = _cross(b.start[j] - b.start[i], b.along[j]) / slope
    return i, j, b.start[i] + place[:, None] * b.along[i]


def _line_circle(b: Bundle, i: Indices, j: Indices) -> _Met:
    to_centre = b.centre[j] - b.start[i]
    middle = b.start[i] + _dot(to_centre, b.along[i])[:, None] * b.along[i]
    off = np.abs(_cross(b.along[i], to_centre))
    met = off <= b.radius[j] + TOUCH_TOL
    i, j, middle, off = i[met], j[met], middle[met], off[met]
    half = np.sqrt(np.maximum((b.radius[j] - off) * (b.radius[j] + off), 0.0))
    step = half[:, None] * b.along[i]
    return np.tile(i, 2), np.tile(j, 2), np.concatenate((middle - step, middle + step))


def _circle_circle(b: Bundle, i: Indices, j: Indices) -> _Met:
    # From the smaller circle's centre: beside one of kilometres, as nearly straight arcs have, the
    # other centre would leave no digits.
    larger = b.radius[i] > b.radius[j]
    i, j = np.where(larger, j, i), np.where(larger, i, j)
    between = b.centre[j] - b.centre[i]
    apart = np.hypot(*between.T)
    r, s = b.radius[i], b.radius[j]
    met = (apart <= r + s + TOUCH_TOL) & (apart >= np.abs(r - s) - TOUCH_TOL) & (apart > TOUCH_TOL)
    i, j, between, apart, r, s = i[met], j[met], between[met], apart[met], r[met], s[met]
    along = between / apart[:, None]
    # From the first centre to the common chord; the product keeps its digits when r is near s.
    to_chord = (apart + (r - s) * (r + s) / apart) / 2
    half = np.sqrt(np.maximum((r - to_chord) * (r + to_chord), 0.0))
    # Where the circles only just miss, the point between them.
    to_chord = np.clip(to_chord, -r, r)
    middle = b.centre[i] + to_chord[:, None] * along
    step = half[:, None] * np.column_stack((-along[:, 1], along[:, 0]))
    return np.tile(i, 2), np.tile(j, 2), np.concatenate((middle - step, middle + step))


def _ends_on_others(b: Bundle) -> tuple[Indices, Floats]:
    count = len(b.segments)
    ends = np.concatenate((b.start, b.end))
    x, y = ends.T.copy()
    (low_x, low_y), (high_x, high_y) = b.low.T[:, :, None], b.high.T[:, :, None]
    on, end = np.nonzero((low_x <= x) & (x <= high_x) & (low_y <= y) & (y <= high_y))
    other = on != end % count
    on, end = on[other], end[other]
    touching = b.off(on, ends[end]) <= TOUCH_TOL
    on, end = on[touching], end[touching]
    reached = b.reaches(on, ends[end])
    return on[reached], ends[end[reached]]


def _cross(a: Floats, b: Floats) -> Floats:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


def _dot(a: Floats, b: Floats) -> Floats:
    return a[:, 0] * b[:, 0] + a[:, 1] * b[:, 1]
