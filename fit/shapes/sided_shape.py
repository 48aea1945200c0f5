"""Whole outlines: straight or bowed sides joined by corners of any family, in part axes.

Every shape here is a polygon of n sides with a corner family at each of its corners. Its inner
numbers z (a foot, a tilt and a sag for each side, then the corners' own parameters) depend
linearly on a few free parameters: z = base + ties @ parameters. The ties are what makes a shape a
rounded rectangle, a stadium or a circle: mirror lines give several corners one radius, a
stadium ties the radius to half the width, a circle ties everything to one diameter.

Side k of a rectangle faces right, back, left, front for k = 0 to 3, corner k lies between the
sides k and k + 1, and the outline runs counter-clockwise.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from snugline.fit.corners.corner_families import FREE, Family
from snugline.fit.geometry.biarc import biarcs
from snugline.fit.geometry.outline import Arc, Line, Outline, Point
from snugline.fit.shapes.side_polygon import Polygon, SideLine

Array = NDArray[np.float64]
Symmetry = Literal["both", "lengthwise", "crosswise", "none"]

SIDES = ("right", "back", "left", "front")
CORNERS = ("back right", "back left", "front left", "front right")

TERMS = ("taper", "end taper", "skew", *(f"sag {side}" for side in SIDES))


@dataclass(frozen=True)
class ShapeDistance:
    """Signed distances of N points in part axes, positive outside, with their derivatives."""

    value: Array  # (N,)
    normal: Array  # (N, 2), the derivative by the point
    by_params: Array  # (N, P)


@dataclass(frozen=True)
class Shape:
    """A family of outlines with P free parameters.

    Attributes
    ----------
    family : the word of the file contract.
    corners : family of the corner after each side; as many as sides.
    groups : for each corner the group whose parameters it shares.
    names : (P,) what the parameters are.
    base, ties : (Z,), (Z, P): z = base + ties @ parameters, z being n feet (distance of a side
        from the centre), n tilts (rad), n sags (mm, outwards at the middle), corner parameters.
    """

    family: str
    corners: tuple[Family, ...]
    groups: tuple[int, ...]
    names: tuple[str, ...]
    base: Array
    ties: Array

    @property
    def sides(self) -> int:
        return len(self.corners)

    @property
    def corner_names(self) -> tuple[str, ...]:
        n = self.sides
        return CORNERS if n == 4 else tuple(f"corner {k + 1}" for k in range(n))

    def inner(self, params: Array) -> Array:
        """The inner numbers z."""
        z: Array = self.base + self.ties @ params
        return z

    def corner_rows(self, k: int) -> slice:
        """Rows of z that hold the parameters of corner k."""
        start = 3 * self.sides + sum(len(c.parameters) for c in self.corners[:k])
        return slice(start, start + len(self.corners[k].parameters))

    def sector(self, points: Array) -> NDArray[np.intp]:
        """(N,) the corner each point belongs to: that of its side halves."""
        step = 2 * math.pi / self.sides
        angle = np.arctan2(points[:, 1], points[:, 0])
        index: NDArray[np.intp] = np.floor(angle / step).astype(np.intp) % self.sides
        return index

    def distance(self, points: Array, params: Array) -> ShapeDistance:
        """Signed distances of `points` (N, 2), mm in part axes.

        Notes
        -----
        A bowed side lies sag (1 - (2 s / side)²) outside the line between its apexes; its
        corners join it tangentially. Distances follow to first order in the sag.
        """
        z = self.inner(params)
        polygon = Polygon.of(self.sides, z)
        sector = self.sector(points)
        count = len(points)
        value, normal = np.empty(count), np.empty((count, 2))
        by_params = np.empty((count, len(self.names)))
        for k in range(self.sides):
            members = np.flatnonzero(sector == k)
            if len(members):
                part = self._distance_in_sector(k, points[members], z, polygon)
                value[members], normal[members], by_params[members] = part
        return ShapeDistance(value, normal, by_params)

    def _distance_in_sector(
        self, k: int, points: Array, z: Array, polygon: "Polygon"
    ) -> tuple[Array, Array, Array]:
        n, corner, rows = self.sides, self.corners[k], self.corner_rows(k)
        j = (k + 1) % n
        free: NDArray[np.bool_] = np.asarray(self.ties.any(axis=1))
        bowed = [i for i in (k, j) if z[2 * n + i] or free[2 * n + i]]
        lines = self._lines(k, z, polygon)
        apex, local, turn = _joint(*lines, float(polygon.turn[k]))
        inverse = np.linalg.inv(np.stack([lines[0].normal, lines[1].normal]))
        q = (points - apex) @ local.T
        part = corner.distance(q, z[rows], turn)
        normal = part.normal @ local
        value = part.value
        shift = -normal @ inverse  # by each line's move along its normal
        blocks, picked = [part.by_params], list(range(rows.start, rows.stop))

        def add(row: int, column: Array) -> None:
            blocks.append(column[:, None])
            picked.append(row)

        for i, (side, line) in enumerate(zip((k, j), lines, strict=True)):
            if free[side]:
                add(side, shift[:, i] * float(line.normal @ polygon.axis[side]))
            if not (free[n + side] or side in bowed):
                continue
            # A line that tilts about its point carries the apex along and turns the local axes.
            tilting = -part.by_turn + part.normal[:, 0] * q[:, 1] - part.normal[:, 1] * q[:, 0]
            tilting = part.by_turn if i else tilting
            if free[n + side]:
                arm = float(line.along @ (apex - polygon.foot[side]))
                add(n + side, tilting - shift[:, i] * arm)
            if side in bowed:
                arm = float(line.along @ (apex - line.point))
                lift = polygon.bow(side, points, line.at) * (normal @ line.normal > 0.9)
                value = value - z[2 * n + side] * lift
                by_sag = line.angle_by_sag * (tilting - shift[:, i] * arm)
                add(2 * n + side, by_sag + shift[:, i] * line.height_by_sag - lift)
        return value, normal, np.hstack(blocks) @ self.ties[picked]

    def _within_sides(self, z: Array) -> Array:
        """Corners that together take more than a side has (by noise) made to take just that."""
        polygon, z = Polygon.of(self.sides, z), z.copy()
        for k in range(self.sides):
            pair = (k - 1) % self.sides, k
            rows = [self.corner_rows(c) for c in pair]
            taken = (
                self.corners[pair[0]].reach(z[rows[0]], float(polygon.turn[pair[0]]))[1]
                + self.corners[k].reach(z[rows[1]], float(polygon.turn[k]))[0]
            )
            if taken > polygon.length[k]:
                for c, where in zip(pair, rows, strict=True):
                    sizes = [name != "exponent" for name in self.corners[c].parameters]
                    z[where] *= np.where(sizes, polygon.length[k] / taken, 1.0)
        return z

    def reaches(self, params: Array) -> list[tuple[float, float]]:
        """How far each corner takes of its incoming and its outgoing side, mm."""
        z = self.inner(params)
        turn = Polygon.of(self.sides, z).turn
        return [
            corner.reach(z[self.corner_rows(k)], turn[k]) for k, corner in enumerate(self.corners)
        ]

    def side_lengths(self, params: Array) -> Array:
        """Length of each side between its apexes, mm."""
        return Polygon.of(self.sides, self.inner(params)).length

    def to_corner(self, k: int, points: Array, params: Array) -> tuple[Array, float]:
        """Points in the local axes of corner k (see `corners.corner_families`), and its turn."""
        polygon = Polygon.of(self.sides, self.inner(params))
        axes = np.stack([polygon.normal[k], polygon.along[k]])
        return (points - polygon.apex[k]) @ axes.T, float(polygon.turn[k])

    def dimension(self, what: str, params: Array) -> tuple[float, Array]:
        """`length`, `width` (mm across the sides where they are farthest apart, as jaws and tapes
        find them: at mid-side where they bow out, where the corners begin where they bow in) or
        `corner radius` (mean over the corners), with the derivative by the parameters.
        """
        n = self.sides
        z = self.inner(params)
        weight = np.zeros(len(z))
        if what == "corner radius":
            # Its size comes first; a free curve's mean bend is its length over its turn.
            rows = [
                row
                for k in range(n)
                for row in range(len(z))[self.corner_rows(k)][
                    : None if self.corners[k] is FREE else 1
                ]
            ]
            weight[rows] = 1 / max(len(rows), 1)
        elif n == 4:
            pair = (0, 2) if what == "length" else (1, 3)
            weight[list(pair)] = 1.0
            outwards = z[8 + pair[0]] + z[8 + pair[1]] > 0
            for side in pair:
                if outwards or z[8 + side]:
                    own = self.share_of_sag(f"sag {SIDES[side]}", params)
                    weight[8 + side] = 1.0 if outwards else 1 - own
        else:
            return self._extent(0 if what == "length" else 1, params)
        return float(weight @ z), weight @ self.ties

    def share_of_sag(self, term: str, params: Array) -> float:
        """What share of a side's sag stands between its corners, which take the rest."""
        side = SIDES.index(term.removeprefix("sag "))
        reaches, length = self.reaches(params), float(self.side_lengths(params)[side])
        taken = min(reaches[side - 1][1], reaches[side][0])
        return max(0.0, 1 - 2 * taken / length) ** 2

    def _extent(self, axis: int, params: Array) -> tuple[float, Array]:
        def size(p: Array) -> float:
            left, low, right, high = self.to_outline(p).bounds
            return (right - left, high - low)[axis]

        step = 1e-4
        rise = [(size(params + e) - size(params - e)) / (2 * step)
                for e in step * np.eye(len(params))]  # fmt: skip
        return size(params), np.array(rise)

    def with_terms(self, terms: Sequence[str]) -> "Shape":
        """The same shape with further free parameters out of `TERMS` (rectangles only)."""
        ties, names = self.ties, self.names
        for term in terms:
            column = np.zeros(len(self.base))
            if term == "taper":  # angle between front and back, open to the left
                column[4 + 1], column[4 + 3] = 0.5, -0.5
            elif term == "end taper":  # angle between the ends, open to the front
                column[4 + 0], column[4 + 2] = 0.5, -0.5
            elif term == "skew":
                column[4 + 0] = column[4 + 2] = 1.0
            else:
                column[8 + SIDES.index(term.removeprefix("sag "))] = 1.0
            ties, names = np.column_stack([ties, column]), (*names, term)
        return replace(self, ties=ties, names=names)

    def to_outline(self, params: Array, tolerance: float = 0.002) -> Outline:
        """The closed chain of lines and arcs, counter-clockwise.

        Corners other than arcs, and bowed sides, become arcs within `tolerance` mm.
        """
        n = self.sides
        z = self._within_sides(self.inner(params))
        polygon = Polygon.of(n, z)
        chains, starts, ends = [], [], []
        for k, corner in enumerate(self.corners):
            first, second = self._lines(k, z, polygon)
            apex, axes, turn = _joint(first, second, float(polygon.turn[k]))
            local = corner.chain(z[self.corner_rows(k)], turn, tolerance)
            chains.append([_placed(segment, axes, apex) for segment in local])
            starts.append(chains[k][0].start if local else _pair(apex))
            ends.append(chains[k][-1].end if local else _pair(apex))
        segments: list[Line | Arc] = []
        for k in range(n):
            here, there, sag = ends[k - 1], starts[k], float(z[2 * n + k])
            if sag:
                tangents = (
                    self._lines((k - 1) % n, z, polygon)[1].along,
                    self._lines(k, z, polygon)[0].along,
                )
                segments.extend(_bow(polygon, k, sag, (here, there), tangents, tolerance))
            elif math.dist(here, there) > SHORTEST:
                segments.append(Line(here, there))
            segments.extend(chains[k])
        return Outline(_joined(segments))

    def _lines(self, k: int, z: Array, polygon: Polygon) -> tuple[SideLine, SideLine]:
        """The two lines that corner k touches: its sides, or their tangents where they bow."""
        n = self.sides
        j = (k + 1) % n
        free = self.ties[[2 * n + k, 2 * n + j]].any()
        if not (free or z[2 * n + k] or z[2 * n + j]):
            return polygon.line(k), polygon.line(j)
        ends = self.corners[k].reach(z[self.corner_rows(k)], float(polygon.turn[k]))
        return (
            polygon.line(k, z[2 * n + k], polygon.length[k] / 2 - ends[0]),
            polygon.line(j, z[2 * n + j], ends[1] - polygon.length[j] / 2),
        )


SHORTEST = 1e-7  # mm: shorter straights are rounding, and their direction is noise


def _joint(first: SideLine, second: SideLine, turn: float) -> tuple[Array, Array, float]:
    """Apex of a corner between two lines, its local axes as rows, and its turn."""
    normals = np.stack([first.normal, second.normal])
    reach = [first.normal @ first.point, second.normal @ second.point]
    apex: Array = np.linalg.inv(normals) @ reach
    return apex, np.stack([first.normal, first.along]), turn + second.angle - first.angle


def _bow(
    polygon: Polygon,
    side: int,
    sag: float,
    ends: tuple[Point, Point],
    tangents: tuple[Array, Array],
    tolerance: float,
) -> tuple[Line | Arc, ...]:
    """A bowed side as arcs, tangent to what its corners end and begin with."""
    middle, along = polygon.middle[side], polygon.along[side]
    outwards, half = polygon.normal[side], float(polygon.length[side]) / 2
    first, last = (float((np.array(end) - middle) @ along) for end in ends)

    def sample(s: float) -> tuple[Array, Array]:
        if s in (first, last):
            which = int(s == last)
            return np.array(ends[which]), tangents[which]
        point = middle + s * along + sag * (1 - (s / half) ** 2) * outwards
        ahead = along - 2 * sag * s / half**2 * outwards
        return point, ahead / np.hypot(*ahead)

    def deviation(points: Array) -> float:
        s = (points - middle) @ along / half
        return float(np.max(np.abs((points - middle) @ outwards - sag * (1 - s * s))))

    return biarcs(sample, deviation, first, last, tolerance)


def _placed(segment: Line | Arc, turn_out: Array, apex: Array) -> Line | Arc:
    def place(p: Point) -> Point:
        x, y = np.asarray(p) @ turn_out + apex
        return float(x), float(y)

    if isinstance(segment, Line):
        return Line(place(segment.start), place(segment.end))
    centre = place(segment.centre)
    return Arc(place(segment.start), place(segment.end), centre, segment.radius, segment.sweep)


def _pair(p: Array) -> Point:
    return float(p[0]), float(p[1])


def _joined(segments: list[Line | Arc]) -> tuple[Line | Arc, ...]:
    """Arcs that continue each other made one (up to a half circle), ends made equal to the bit."""
    merged: list[Line | Arc] = []
    for segment in segments:
        merged.append(_one(merged.pop(), segment) if _continue(merged, segment) else segment)
    if len(merged) > 2 and _continue(merged[-1:], merged[0]):
        merged = [_one(merged[-1], merged[0]), *merged[1:-1]]
    closed = []
    for k, segment in enumerate(merged):
        closed.append(replace(segment, start=merged[k - 1].end))
    return tuple(closed)


def _continue(before: Sequence[Line | Arc], arc: Line | Arc) -> bool:
    last = before[-1] if before else None
    return (
        isinstance(last, Arc)
        and isinstance(arc, Arc)
        and math.dist(last.centre, arc.centre) < SHORTEST * max(1.0, last.radius / 100)
        and abs(last.radius - arc.radius) < SHORTEST * max(1.0, last.radius / 100)
        and last.sweep + arc.sweep < math.pi + 1e-9
    )


def _one(first: Line | Arc, second: Line | Arc) -> Arc:
    assert isinstance(first, Arc)
    assert isinstance(second, Arc)
    return replace(first, end=second.end, sweep=first.sweep + second.sweep)
