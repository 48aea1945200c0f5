"""The outline: a closed chain of straight lines and circular arcs, in millimetres.

An outline that exists is sound: each segment starts where the one before ends, to the last bit,
none has zero length, and each arc's ends, centre, radius and sweep agree. All measures are closed
forms for lines and arcs; nothing here goes through chords but `sampled` and `polygon_of`.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FitError
from snugline.fit.geometry.segment import (
    ARC_TOL,
    Arc,
    Line,
    Point,
    arc_from_bulge,
    bow_of,
    check_segment,
    sweeps_over,
)
from snugline.notebook_svg import notebook_svg

if TYPE_CHECKING:
    import shapely

TANGENT_TOL = 1e-9
"""rad; a joint that turns by less is tangent."""


@dataclass(frozen=True)
class SegmentArrays:
    """The segments of an outline as columns, for arithmetic over all of them at once.

    Lines have `is_arc` false, radius and sweep 0 and their start as centre.
    """

    is_arc: NDArray[np.bool_]
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    centre: NDArray[np.float64]
    radius: NDArray[np.float64]
    sweep: NDArray[np.float64]
    length: NDArray[np.float64]


@dataclass(frozen=True)
class Outline:
    """A closed chain: each segment starts where the one before ends, to the last bit.

    The outline of a part runs counter-clockwise; a hole runs clockwise.

    Raises
    ------
    FitError : on construction, when the chain has a gap, a segment of zero length, or an arc
        whose ends, centre, radius and sweep disagree by more than `ARC_TOL`.
    """

    segments: tuple[Line | Arc, ...]

    def __post_init__(self) -> None:
        if not self.segments:
            raise FitError("no segments", "outline", "give at least two segments")
        before = self.segments[-1]
        for number, segment in enumerate(self.segments, start=1):
            check_segment(segment, before, number)
            before = segment

    # Measures

    @cached_property
    def arrays(self) -> SegmentArrays:
        arcs = [isinstance(s, Arc) for s in self.segments]
        centres = [s.centre if isinstance(s, Arc) else s.start for s in self.segments]
        radii = [s.radius if isinstance(s, Arc) else 0.0 for s in self.segments]
        sweeps = [s.sweep if isinstance(s, Arc) else 0.0 for s in self.segments]
        return SegmentArrays(
            np.array(arcs, dtype=bool),
            np.array([s.start for s in self.segments], dtype=float),
            np.array([s.end for s in self.segments], dtype=float),
            np.array(centres, dtype=float),
            np.array(radii, dtype=float),
            np.array(sweeps, dtype=float),
            np.array([s.length for s in self.segments], dtype=float),
        )

    @cached_property
    def perimeter(self) -> float:
        return math.fsum(s.length for s in self.segments)

    @cached_property
    def area(self) -> float:
        """Signed area, mm²; positive when the outline runs counter-clockwise."""
        return self._moments[0]

    @property
    def winding(self) -> int:
        """1 for counter-clockwise, -1 for clockwise."""
        return 1 if self.area > 0 else -1

    @cached_property
    def centroid(self) -> Point:
        """The centre of the enclosed area."""
        area, x, y = self._moments
        origin = self.segments[0].start
        return origin[0] + x / area, origin[1] + y / area

    @cached_property
    def _moments(self) -> tuple[float, float, float]:
        """Area and first moments about the first point: chord triangles and what arcs add."""
        x0, y0 = self.segments[0].start
        areas, xs, ys = [], [], []
        for segment in self.segments:
            ax, ay = segment.start[0] - x0, segment.start[1] - y0
            bx, by = segment.end[0] - x0, segment.end[1] - y0
            triangle = (ax * by - bx * ay) / 2
            areas.append(triangle)
            xs.append(triangle * (ax + bx) / 3)
            ys.append(triangle * (ay + by) / 3)
            if isinstance(segment, Arc):
                bow, lever = bow_of(segment)
                chord = math.hypot(bx - ax, by - ay)
                # Towards the arc's middle: right of the chord for a counter-clockwise arc.
                out_x, out_y = (by - ay) / chord, (ax - bx) / chord
                areas.append(bow)
                xs.append(bow * (ax + bx) / 2 + lever * out_x)
                ys.append(bow * (ay + by) / 2 + lever * out_y)
        return math.fsum(areas), math.fsum(xs), math.fsum(ys)

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """(low x, low y, high x, high y)."""
        xs = [s.start[0] for s in self.segments]
        ys = [s.start[1] for s in self.segments]
        for arc in self.segments:
            if isinstance(arc, Arc):
                for quarter, (x, y) in enumerate(((1, 0), (0, 1), (-1, 0), (0, -1))):
                    if sweeps_over(arc, quarter * math.pi / 2):
                        xs.append(arc.centre[0] + x * arc.radius)
                        ys.append(arc.centre[1] + y * arc.radius)
        return min(xs), min(ys), max(xs), max(ys)

    @cached_property
    def turns(self) -> tuple[float, ...]:
        """The change of direction at each segment's start, radians, positive to the left.

        All of them are below `TANGENT_TOL` in size where the outline is tangent-continuous.
        """
        before = self.segments[-1]
        turns = []
        for segment in self.segments:
            (ax, ay), (bx, by) = before.directions[1], segment.directions[0]
            turns.append(math.atan2(ax * by - ay * bx, ax * bx + ay * by))
            before = segment
        return tuple(turns)

    @property
    def is_convex(self) -> bool:
        """Whether it always bends the same way and goes round once."""
        sign = self.winding
        bends = [s.sweep for s in self.segments if isinstance(s, Arc)]
        one_way = all(sign * t >= -TANGENT_TOL for t in self.turns) and all(
            sign * b > 0 for b in bends
        )
        once = abs(abs(math.fsum((*self.turns, *bends))) - 2 * math.pi) < 1e-6
        return one_way and once

    # Moved copies. A point goes through the same arithmetic wherever it occurs, so that the
    # copy is closed to the last bit like the original.

    def _mapped(self, move: Callable[[Point], Point], scale: float, bend: float) -> "Outline":
        def mapped(s: Line | Arc) -> Line | Arc:
            if isinstance(s, Line):
                return Line(move(s.start), move(s.end))
            start, end, centre = move(s.start), move(s.end), move(s.centre)
            return Arc(start, end, centre, s.radius * scale, s.sweep * bend)

        return Outline(tuple(mapped(s) for s in self.segments))

    def translated(self, dx: float, dy: float) -> "Outline":
        return self._mapped(lambda p: (p[0] + dx, p[1] + dy), 1.0, 1.0)

    def rotated(self, angle: float, about: Point = (0.0, 0.0)) -> "Outline":
        """Turned counter-clockwise by `angle` radians; quarter turns are exact."""
        quarters = angle / (math.pi / 2)
        cos, sin = math.cos(angle), math.sin(angle)
        if quarters == round(quarters):
            cos, sin = float(round(cos)), float(round(sin))
        cx, cy = about

        def move(p: Point) -> Point:
            x, y = p[0] - cx, p[1] - cy
            return cx + (cos * x - sin * y), cy + (sin * x + cos * y)

        return self._mapped(move, 1.0, 1.0)

    def mirrored(self, direction: Point, through: Point = (0.0, 0.0)) -> "Outline":
        """Mirrored about the line along `direction`; the winding flips, `reversed` restores it."""
        size = math.hypot(*direction)
        ux, uy = direction[0] / size, direction[1] / size
        xx, xy = ux * ux - uy * uy, 2 * ux * uy
        ox, oy = through

        def move(p: Point) -> Point:
            x, y = p[0] - ox, p[1] - oy
            return ox + (xx * x + xy * y), oy + (xy * x - xx * y)

        return self._mapped(move, 1.0, -1.0)

    def scaled(self, factor: float, about: Point = (0.0, 0.0)) -> "Outline":
        """Enlarged evenly by a positive factor."""
        cx, cy = about
        return self._mapped(
            lambda p: (cx + factor * (p[0] - cx), cy + factor * (p[1] - cy)), factor, 1.0
        )

    def reversed(self) -> "Outline":
        """The same curve run the other way."""
        return Outline(tuple(s.reversed() for s in reversed(self.segments)))

    # Points on it

    def sampled(self, step: float) -> NDArray[np.float64]:
        """Points along it: every joint, and between them evenly, at most `step` apart.

        Returns
        -------
        points : (N, 2) mm, in order; the first is not repeated at the end.
        """
        return self._at(np.maximum(np.ceil(self.arrays.length / step - 1e-9), 1).astype(np.int64))

    def inscribed(self, chord_error: float) -> NDArray[np.float64]:
        """Corner points, (N, 2), of the polygon inscribed with at most `chord_error` of sagitta."""
        arcs = self.arrays
        reach = np.maximum(arcs.radius, chord_error)
        widest = 2 * np.arccos(1 - chord_error / reach)
        return self._at(np.maximum(np.ceil(np.abs(arcs.sweep) / widest), 1).astype(np.int64))

    def _at(self, counts: NDArray[np.int64]) -> NDArray[np.float64]:
        """Points at equal parts of each segment, `counts` of them in each, starts included."""
        a = self.arrays
        which = np.repeat(np.arange(len(counts)), counts)
        first = np.cumsum(counts) - counts
        part = (np.arange(len(which)) - first[which]) / counts[which]
        start = a.start[which]
        straight = start + part[:, None] * (a.end - a.start)[which]
        angle = part * a.sweep[which]
        cos, sin = np.cos(angle), np.sin(angle)
        x, y = (start - a.centre[which]).T
        bent = a.centre[which] + np.column_stack((cos * x - sin * y, sin * x + cos * y))
        on_joint = part == 0.0
        bent[on_joint] = start[on_joint]
        return np.asarray(np.where(a.is_arc[which, None], bent, straight))

    # Exchange

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """A GeoJSON polygon, arcs by chords of at most a micrometre: `shapely.geometry.shape`."""
        ring = [(float(x), float(y)) for x, y in self.inscribed(1e-3)]
        return {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}

    def _repr_svg_(self) -> str:
        return notebook_svg([(self.inscribed(0.01).tolist(), True)])

    def as_json(self) -> list[dict[str, Any]]:
        """The form under `segments` in the result contract."""

        def record(s: Line | Arc) -> dict[str, Any]:
            ends = {"from": list(s.start), "to": list(s.end)}
            if isinstance(s, Line):
                return {"kind": "line", **ends}
            centre = list(s.centre)
            return {"kind": "arc", **ends, "centre": centre, "radius": s.radius, "sweep": s.sweep}

        return [record(s) for s in self.segments]


def outline_from_json(records: Sequence[dict[str, Any]], where: str = "segments") -> Outline:
    """The outline of a result's `segments`.

    Raises
    ------
    FitError : a record of another form, or a chain that is not closed.
    """

    def segment(record: dict[str, Any]) -> Line | Arc:
        start = float(record["from"][0]), float(record["from"][1])
        end = float(record["to"][0]), float(record["to"][1])
        if record["kind"] == "line":
            return Line(start, end)
        centre = float(record["centre"][0]), float(record["centre"][1])
        return Arc(start, end, centre, float(record["radius"]), float(record["sweep"]))

    try:
        return Outline(tuple(segment(r) for r in records))
    except FitError:
        raise
    except (KeyError, TypeError, IndexError, ValueError, OverflowError) as error:
        raise FitError(
            f"a segment of another form ({error!r})", where, "give a result.json of Snugline"
        ) from error


def polygon_of(outline: Outline, chord_error: float = 1e-3) -> "shapely.Polygon":
    """The shapely polygon inscribed in an outline, arcs by chords of at most `chord_error` mm."""
    import shapely

    return shapely.Polygon(outline.inscribed(chord_error))


__all__ = [
    "ARC_TOL",
    "TANGENT_TOL",
    "Arc",
    "Line",
    "Outline",
    "Point",
    "SegmentArrays",
    "arc_from_bulge",
    "outline_from_json",
    "polygon_of",
]
