"""The segments of an outline: straight lines and circular arcs, and what makes them sound."""

import math
from dataclasses import dataclass

from snugline.errors import FitError

Point = tuple[float, float]

ARC_TOL = 1e-6
"""mm; how far an arc's stated end may lie from where its centre, radius and sweep put it."""


@dataclass(frozen=True)
class Line:
    """A straight segment."""

    start: Point
    end: Point

    @property
    def length(self) -> float:
        return math.dist(self.start, self.end)

    @property
    def directions(self) -> tuple[Point, Point]:
        """Unit tangents at start and end, pointing onwards."""
        length = self.length
        along = (self.end[0] - self.start[0]) / length, (self.end[1] - self.start[1]) / length
        return along, along

    def reversed(self) -> "Line":
        return Line(self.end, self.start)


@dataclass(frozen=True)
class Arc:
    """A circular arc; positive sweep (radians) runs counter-clockwise from start to end."""

    start: Point
    end: Point
    centre: Point
    radius: float
    sweep: float

    @property
    def length(self) -> float:
        return self.radius * abs(self.sweep)

    @property
    def directions(self) -> tuple[Point, Point]:
        """Unit tangents at start and end, pointing onwards."""
        return self._tangent(self.start), self._tangent(self.end)

    def _tangent(self, point: Point) -> Point:
        x, y = point[0] - self.centre[0], point[1] - self.centre[1]
        scale = math.copysign(1.0, self.sweep) / math.hypot(x, y)
        return -y * scale, x * scale

    def reversed(self) -> "Arc":
        return Arc(self.end, self.start, self.centre, self.radius, -self.sweep)


Segment = Line | Arc


def arc_from_bulge(start: Point, end: Point, bulge: float) -> Arc:
    """The arc between two points whose sweep is 4 atan(bulge), as DXF states it."""
    half_x, half_y = (end[0] - start[0]) / 2, (end[1] - start[1]) / 2
    # The centre's offset from the chord's middle, in half chords, to the left.
    offset = (1 / bulge - bulge) / 2
    centre = (
        (start[0] + end[0]) / 2 - half_y * offset,
        (start[1] + end[1]) / 2 + half_x * offset,
    )
    radius = math.hypot(half_x, half_y) * (1 + bulge * bulge) / (2 * abs(bulge))
    return Arc(start, end, centre, radius, 4 * math.atan(bulge))


def check_segment(segment: Line | Arc, before: Line | Arc, number: int) -> None:
    """Raise a `FitError` where a segment does not follow the one before, or is none.

    number : of the segment, for the message.
    """
    where = f"outline, segment {number}"
    numbers = [*segment.start, *segment.end]
    if isinstance(segment, Arc):
        numbers += [*segment.centre, segment.radius, segment.sweep]
    if not all(map(math.isfinite, numbers)):
        raise FitError("a coordinate is not a number", where, "give finite coordinates")
    if segment.start != before.end:
        gap = math.dist(segment.start, before.end)
        raise FitError(
            f"starts {gap:.3g} mm from the end of the segment before it",
            where,
            "let each segment start at the very point where the one before ends",
        )
    if segment.start == segment.end:
        raise FitError(
            "has zero length", where, "leave it out, or make a full circle of two half arcs"
        )
    if isinstance(segment, Arc):
        if not (segment.radius > 0 and 0 < abs(segment.sweep) < 2 * math.pi):
            raise FitError(
                f"is not an arc (radius {segment.radius:g} mm, sweep {segment.sweep:g} rad)",
                where,
                "give a positive radius and a sweep within one turn",
            )
        (cx, cy), (sx, sy) = segment.centre, segment.start
        cos, sin = math.cos(segment.sweep), math.sin(segment.sweep)
        x, y = sx - cx, sy - cy
        reached = cx + cos * x - sin * y, cy + sin * x + cos * y
        off = max(math.dist(reached, segment.end), abs(math.hypot(x, y) - segment.radius))
        if off > ARC_TOL:
            raise FitError(
                f"its ends, centre, radius and sweep disagree by {off:.3g} mm",
                where,
                "compute radius and sweep from the ends and the centre",
            )


def sweeps_over(arc: Arc, angle: float) -> bool:
    """Whether the arc passes the given direction from its centre."""
    start = math.atan2(arc.start[1] - arc.centre[1], arc.start[0] - arc.centre[0])
    along = (angle - start) * math.copysign(1.0, arc.sweep)
    return along % (2 * math.pi) <= abs(arc.sweep)


def bow_of(arc: Arc) -> tuple[float, float]:
    """Area between an arc and its chord, and its first moment about the chord's middle.

    The area is signed like the sweep; the moment, to the right of the chord, is then positive for
    either sign. Flat arcs of large radius lose their digits in the closed form and take its series.
    """
    r, half = arc.radius, abs(arc.sweep) / 2
    if half < 0.1:
        s = half * half
        area = half**3 * (2 / 3 - s * (2 / 15 - s * (4 / 315 - s * 2 / 2835)))
        lever = half**5 * (2 / 15 - s * (11 / 315 - s * (17 / 3780 - s * 461 / 1247400)))
    else:
        area = half - math.sin(half) * math.cos(half)
        lever = 2 / 3 * math.sin(half) ** 3 - area * math.cos(half)
    return math.copysign(r * r * area, arc.sweep), r**3 * lever
