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

from snugline.fit.families import ARC, SQUARE, Family
from snugline.fit.outline import Arc, Line, Outline, Point

Array = NDArray[np.float64]
Symmetry = Literal["both", "lengthwise", "crosswise", "none"]

SIDES = ("right", "back", "left", "front")
CORNERS = ("back right", "back left", "front left", "front right")

# Which corners share their parameters. `lengthwise`: the mirror line runs along the length.
GROUPS: dict[str, tuple[int, int, int, int]] = {
    "both": (0, 0, 0, 0),
    "lengthwise": (0, 1, 1, 0),
    "crosswise": (0, 0, 1, 1),
    "none": (0, 1, 2, 3),
}

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
        A bowed side stands sag (1 - (2 s / side)²) outside the line between its apexes; its
        corners join it tangentially. Distances follow to first order in the sag.
        """
        z = self.inner(params)
        polygon = _Polygon.of(self.sides, z)
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
        self, k: int, points: Array, z: Array, polygon: "_Polygon"
    ) -> tuple[Array, Array, Array]:
        n, corner, rows = self.sides, self.corners[k], self.corner_rows(k)
        j = (k + 1) % n
        free: NDArray[np.bool_] = np.asarray(self.ties.any(axis=1))
        lines = (polygon.line(k, z[2 * n + k]), polygon.line(j, z[2 * n + j]))
        bowed = [i for i in (k, j) if z[2 * n + i] or free[2 * n + i]]
        if bowed:
            ends = corner.reach(z[rows], float(polygon.turn[k]))
            lines = (
                polygon.line(k, z[2 * n + k], polygon.length[k] / 2 - ends[0]),
                polygon.line(j, z[2 * n + j], ends[1] - polygon.length[j] / 2),
            )
        n1, n2 = lines[0].normal, lines[1].normal
        inverse = np.linalg.inv(np.stack([n1, n2]))
        apex = inverse @ [n1 @ lines[0].point, n2 @ lines[1].point]
        local = np.stack([n1, lines[0].along])
        q = (points - apex) @ local.T
        part = corner.distance(q, z[rows], polygon.turn[k] + lines[1].angle - lines[0].angle)
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
        polygon, z = _Polygon.of(self.sides, z), z.copy()
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
        turn = _Polygon.of(self.sides, z).turn
        return [
            corner.reach(z[self.corner_rows(k)], turn[k]) for k, corner in enumerate(self.corners)
        ]

    def side_lengths(self, params: Array) -> Array:
        """Length of each side between its apexes, mm."""
        return _Polygon.of(self.sides, self.inner(params)).length

    def to_corner(self, k: int, points: Array, params: Array) -> tuple[Array, float]:
        """Points in the local axes of corner k (see `snugline.fit.families`), and its turn."""
        polygon = _Polygon.of(self.sides, self.inner(params))
        axes = np.stack([polygon.normal[k], polygon.along[k]])
        return (points - polygon.apex[k]) @ axes.T, float(polygon.turn[k])

    def dimension(self, what: str, params: Array) -> tuple[float, Array]:
        """`length`, `width` (mm across the sides, bows included where they stand out) or
        `corner radius` (mean over the corners), with the derivative by the parameters.
        """
        n = self.sides
        z = self.inner(params)
        weight = np.zeros(len(z))
        if what == "corner radius":
            rows = [self.corner_rows(k).start for k in range(n) if self.corners[k].parameters]
            weight[rows] = 1 / max(len(rows), 1)
        elif n == 4:
            pair = (0, 2) if what == "length" else (1, 3)
            weight[list(pair)] = 1.0
            if z[8 + pair[0]] + z[8 + pair[1]] > 0:
                weight[[8 + pair[0], 8 + pair[1]]] = 1.0
        else:
            return self._extent(0 if what == "length" else 1, params)
        return float(weight @ z), weight @ self.ties

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

        Corners that are no arcs become arcs within `tolerance` mm. Bowed sides become arcs where
        the corners are arcs or square; elsewhere the side is drawn straight.
        """
        n = self.sides
        z = self._within_sides(self.inner(params))
        polygon = _Polygon.of(n, z)
        sags = z[2 * n : 3 * n]
        if np.any(sags) and all(corner.name in ("arc", "square") for corner in self.corners):
            radii = [float(z[self.corner_rows(k)][0]) if c.parameters else 0.0
                     for k, c in enumerate(self.corners)]  # fmt: skip
            return Outline(_bowed(polygon, sags, radii))
        chains = []
        for k, corner in enumerate(self.corners):
            turn_out = np.stack([polygon.normal[k], polygon.along[k]])
            local = corner.chain(z[self.corner_rows(k)], float(polygon.turn[k]), tolerance)
            chains.append([_placed(segment, turn_out, polygon.apex[k]) for segment in local])
        segments: list[Line | Arc] = []
        starts = [_start(chains[k], polygon.apex[k]) for k in range(n)]
        for k in range(n):
            here = _end(chains[k - 1], polygon.apex[k - 1])
            if math.dist(here, starts[k]) > SHORTEST:
                segments.append(Line(here, starts[k]))
            segments.extend(chains[k])
        return Outline(_joined(segments))


SHORTEST = 1e-7  # mm: shorter straights are rounding, and their direction is noise


@dataclass(frozen=True)
class _SideLine:
    """The tangent of a side where a corner joins it, at `at` mm from the side's middle."""

    point: Array
    angle: float  # by how much the bow turns it from the side's own direction
    normal: Array
    along: Array
    at: float
    height_by_sag: float
    angle_by_sag: float


@dataclass(frozen=True)
class _Polygon:
    """The polygon of the sides: everything about them that no corner changes."""

    axis: Array  # (n, 2) normal of each side before tilting
    foot: Array  # (n, 2)
    normal: Array  # (n, 2)
    along: Array  # (n, 2) direction of travel
    apex: Array  # (n, 2) where side k meets side k + 1
    turn: Array  # (n,)
    middle: Array  # (n, 2)
    length: Array  # (n,)

    @staticmethod
    def of(n: int, z: Array) -> "_Polygon":
        upright: Array = 2 * math.pi / n * np.arange(n, dtype=np.float64)
        axis = _normals(upright)
        tilt = z[n : 2 * n]
        normal = _normals(upright + tilt)
        along = np.column_stack([-normal[:, 1], normal[:, 0]])
        foot = z[:n, None] * axis
        following = (np.arange(n) + 1) % n
        reach = (normal * foot).sum(axis=1)
        pairs = np.stack([normal, normal[following]], axis=1)
        apex = np.linalg.solve(pairs, np.stack([reach, reach[following]], axis=1)[..., None])[
            ..., 0
        ]
        before = apex[following - 2]
        length = np.hypot(*(apex - before).T)
        turn = 2 * math.pi / n + tilt[following] - tilt
        return _Polygon(axis, foot, normal, along, apex, turn, (apex + before) / 2, length)

    def line(self, side: int, sag: float, at: float = 0.0) -> _SideLine:
        normal, along = self.normal[side], self.along[side]
        if not sag and not at:
            return _SideLine(self.foot[side], 0.0, normal, along, 0.0, 1.0, 0.0)
        length = float(self.length[side])
        height, slope = 1 - (2 * at / length) ** 2, -8 * at / length**2
        angle = -sag * slope  # outwards is to the right of travel
        c, s = math.cos(angle), math.sin(angle)
        point = self.middle[side] + at * along + sag * height * normal
        tilted = c * normal + s * along, c * along - s * normal
        return _SideLine(point, angle, *tilted, at, height, -slope)

    def bow(self, side: int, points: Array, at: float) -> Array:
        """How far a bow of unit sag stands out from its tangent at `at`, on the side itself."""
        s = (points - self.middle[side]) @ self.along[side]
        inside = s < at if at > 0 else s > at
        return np.where(inside, -((2 / self.length[side]) ** 2) * (s - at) ** 2, 0.0)


def _normals(angles: Array) -> Array:
    """Unit vectors; right angles exact: cos(π/2) is not 0 in floats."""
    directions = np.empty((len(angles), 2))
    np.cos(angles, out=directions[:, 0])
    np.sin(angles, out=directions[:, 1])
    directions[np.abs(directions) < 1e-15] = 0.0
    return directions


def _placed(segment: Line | Arc, turn_out: Array, apex: Array) -> Line | Arc:
    def place(p: Point) -> Point:
        x, y = np.asarray(p) @ turn_out + apex
        return float(x), float(y)

    if isinstance(segment, Line):
        return Line(place(segment.start), place(segment.end))
    centre = place(segment.centre)
    return Arc(place(segment.start), place(segment.end), centre, segment.radius, segment.sweep)


def _start(chain: Sequence[Line | Arc], apex: Array) -> Point:
    return chain[0].start if chain else (float(apex[0]), float(apex[1]))


def _end(chain: Sequence[Line | Arc], apex: Array) -> Point:
    return chain[-1].end if chain else (float(apex[0]), float(apex[1]))


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
        and math.dist(last.centre, arc.centre) < SHORTEST
        and abs(last.radius - arc.radius) < SHORTEST
        and last.sweep + arc.sweep < math.pi + 1e-9
    )


def _one(first: Line | Arc, second: Line | Arc) -> Arc:
    assert isinstance(first, Arc)
    assert isinstance(second, Arc)
    return replace(first, end=second.end, sweep=first.sweep + second.sweep)


def _bowed(polygon: _Polygon, sags: Array, radii: Sequence[float]) -> tuple[Line | Arc, ...]:
    """Sides through the apexes with their sags, filleted by arcs that touch both neighbours."""
    n = len(radii)
    sides: list[tuple[Array, float] | None] = []
    for k in range(n):
        h, half = float(sags[k]), float(polygon.length[k]) / 2
        if abs(h) < 1e-6:
            sides.append(None)
        else:
            # Signed radius: positive where the side bulges outwards.
            bend = (half * half + h * h) / (2 * h)
            sides.append((polygon.middle[k] - (bend - h) * polygon.normal[k], bend))
    fillets = [
        _fillet(polygon, sides, k, (k + 1) % n, radii[k]) for k in range(n)
    ]  # (centre, start, end)
    segments: list[Line | Arc] = []
    for k in range(n):
        start, end = fillets[k - 1][2], fillets[k][1]
        side = sides[k]
        if side is None:
            segments.append(Line(_pair(start), _pair(end)))
        else:
            segments.append(_arc(side[0], start, end, 1.0 if side[1] > 0 else -1.0))
        centre, first, last = fillets[k]
        if radii[k] > SHORTEST:
            segments.append(_arc(centre, first, last, 1.0))
    return _joined(segments)


def _fillet(
    polygon: _Polygon, sides: Sequence[tuple[Array, float] | None], k: int, j: int, radius: float
) -> tuple[Array, Array, Array]:
    """Centre and touching points of the arc between two sides, by Newton on the two distances."""
    centre = polygon.apex[k] - radius * (
        polygon.normal[k] + math.tan(polygon.turn[k] / 2) * polygon.along[k]
    )

    def gap(i: int, p: Array) -> tuple[float, Array]:
        side = sides[i]
        if side is None:
            return float((p - polygon.apex[k]) @ polygon.normal[i]), polygon.normal[i]
        away = p - side[0]
        far = float(np.hypot(*away))
        sign = math.copysign(1.0, side[1])
        return sign * (far - abs(side[1])), sign * away / far

    for _ in range(20):
        (d1, n1), (d2, n2) = gap(k, centre), gap(j, centre)
        step = np.linalg.solve(np.stack([n1, n2]), [-radius - d1, -radius - d2])
        centre = centre + step
        if np.hypot(*step) < 1e-13:
            break
    return centre, centre + radius * gap(k, centre)[1], centre + radius * gap(j, centre)[1]


def _arc(centre: Array, start: Array, end: Array, sign: float) -> Arc:
    a, b = start - centre, end - centre
    sweep = math.atan2(a[0] * b[1] - a[1] * b[0], a @ b)
    if sign * sweep < 0:
        sweep += sign * 2 * math.pi
    return Arc(_pair(start), _pair(end), _pair(centre), float(np.hypot(*a)), sweep)


def _pair(p: Array) -> Point:
    return float(p[0]), float(p[1])


def rectangle(
    corners: Sequence[Family],
    groups: tuple[int, ...] = GROUPS["both"],
    *,
    family: str | None = None,
) -> Shape:
    """A rectangle with one corner family per mirror group (or one for all).

    Parameters are `length`, `width`, then the corner parameters group by group, in the sense of
    the back right corner: its incoming side is an end, its outgoing side a long side.
    """
    count = max(groups) + 1
    chosen = list(corners) if len(corners) == count else [corners[0]] * count
    names = ["length", "width"]
    starts = []
    for g, corner in enumerate(chosen):
        starts.append(len(names))
        label = "" if count == 1 else " " + CORNERS[groups.index(g)]
        names += [f"{parameter}{label}" for parameter in corner.parameters]
    own = [chosen[g] for g in groups]
    base = np.zeros(12 + sum(len(c.parameters) for c in own))
    ties = np.zeros((len(base), len(names)))
    ties[[0, 2], 0] = ties[[1, 3], 1] = 0.5
    shape = Shape(family or _word(own), tuple(own), groups, tuple(names), base, ties)
    for k in range(4):
        rows = shape.corner_rows(k)
        order = mirrored(own[k]) if k % 2 else range(len(own[k].parameters))
        for offset, source in enumerate(order):
            ties[rows.start + offset, starts[groups[k]] + source] = 1.0
    return shape


def mirrored(corner: Family) -> tuple[int, ...]:
    """Order of a family's parameters in the mirror image of a corner: the sides change roles."""
    names = corner.parameters
    swapped = [
        name.replace("incoming", "*").replace("outgoing", "incoming").replace("*", "outgoing")
        for name in names
    ]
    return tuple(names.index(name) for name in swapped)


_WORDS = {
    "arc": "rounded rectangle",
    "square": "rectangle",
    "chamfer": "chamfered rectangle",
    "superellipse": "superellipse rectangle",
    "ellipse": "elliptical-cornered rectangle",
}


def _word(corners: Sequence[Family]) -> str:
    kinds = {corner.name for corner in corners}
    return _WORDS.get(kinds.pop(), "mixed rectangle") if len(kinds) == 1 else "mixed rectangle"


def stadium() -> Shape:
    """A rectangle whose ends are half circles: `length`, `width`."""
    shape = rectangle([ARC], family="stadium")
    return _tied(shape, ("length", "width"), np.array([[1.0, 0], [0, 1], [0, 0.5]]))


def circle() -> Shape:
    """One parameter, the `diameter`."""
    shape = rectangle([ARC], family="circle")
    return _tied(shape, ("diameter",), np.array([[1.0], [1.0], [0.5]]))


def _tied(shape: Shape, names: tuple[str, ...], onto: Array) -> Shape:
    return replace(shape, names=names, ties=shape.ties @ onto)


def regular_polygon(sides: int, corner: Family = SQUARE) -> Shape:
    """Equal sides at equal angles, one of them facing right: `inradius`, corner parameters."""
    names = ("inradius", *corner.parameters)
    own = len(corner.parameters)
    ties = np.zeros((sides * (3 + own), 1 + own))
    ties[:sides, 0] = 1.0
    for k in range(sides):
        ties[3 * sides + k * own : 3 * sides + (k + 1) * own, 1:] = np.eye(own)
    base = np.zeros(len(ties))
    return Shape("regular polygon", (corner,) * sides, (0,) * sides, names, base, ties)


def seen_corners(placed: Sequence[Array], length: float, width: float) -> list[bool]:
    """Which corners of a rectangle sections in part axes show: with a stretch of both sides."""
    sharp, sizes = rectangle([SQUARE]), np.array([length, width])
    near = 0.5 * min(length, width)
    seen = [False] * 4
    for points in placed:
        sector = sharp.sector(points)
        for k in range(4):
            local = sharp.to_corner(k, points[sector == k], sizes)[0]
            local = local[(local > -near).all(axis=1)]
            if len(local) < 10:
                continue
            across = local[:, 1] - local[:, 0]
            around = np.abs(across) < 0.1 * near
            seen[k] |= bool(
                across.min() < -0.1 * near and across.max() > 0.1 * near and around.any()
            )
    return seen


def adopt(groups: Sequence[int], seen: Sequence[bool]) -> tuple[tuple[int, ...], list[str]]:
    """Give corners of groups that no photo shows a seen partner.

    Returns the groups, numbered anew, and the names of the corners that were adopted.
    """
    joined, orphans = list(groups), []
    shown = {g for g, s in zip(groups, seen, strict=True) if s}
    if shown:
        for k in range(4):
            if groups[k] in shown:
                continue
            orphans.append(CORNERS[k])
            # Front for back first: an end is more often photographed whole than a long side.
            partners = (3 - k, k ^ 1, k ^ 2)
            joined[k] = next(groups[p] for p in partners if groups[p] in shown)
    order = {g: i for i, g in enumerate(dict.fromkeys(joined))}
    return tuple(order[g] for g in joined), orphans
