"""Union, difference and intersection of regions bounded by lines and arcs, which stay so.

Both outlines are split where they meet; each piece is kept or dropped by where it lies to the other
outline; the kept pieces are chained again. Points nearer than `SNAP` are one point, so that the
chain closes to the last bit.
"""

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from snugline.errors import PlanError
from snugline.fit.geometry.crossings import Bundle, crossings
from snugline.fit.geometry.distance import contains, nearest
from snugline.fit.geometry.outline import TANGENT_TOL, Arc, Line, Outline, Point

SNAP = 2e-7
"""mm; nearer points are one. Far above rounding, far below what any tool can cut."""

_WIDEST = 1.9 * math.pi  # rad; an arc nearer to a full circle has ends too close to be exact

Segment = Line | Arc
_Keep = Callable[[bool, bool, int], bool]


def union(a: Outline, b: Outline) -> tuple[Outline, ...]:
    """The region in `a` or `b`: outer outlines counter-clockwise, holes clockwise."""
    keep: _Keep = lambda of_a, inside, shared: (  # noqa: E731
        (of_a and shared > 0) if shared else not inside
    )
    return _combined(a, b, keep, keep_reversed=False)


def intersection(a: Outline, b: Outline) -> tuple[Outline, ...]:
    """The region in both `a` and `b`."""
    keep: _Keep = lambda of_a, inside, shared: (  # noqa: E731
        (of_a and shared > 0) if shared else inside
    )
    return _combined(a, b, keep, keep_reversed=False)


def difference(a: Outline, b: Outline) -> tuple[Outline, ...]:
    """The region in `a` but not in `b`."""
    keep: _Keep = lambda of_a, inside, shared: (  # noqa: E731
        (of_a and shared < 0) if shared else inside != of_a
    )
    return _combined(a, b, keep, keep_reversed=True)


def united(first: Outline, others: Iterable[Outline], where: str) -> Outline:
    """One outline of all of them.

    Raises
    ------
    PlanError : they do not hang together, or enclose an island.
    """
    for other in others:
        made = union(first, other)
        if len(made) != 1:
            raise PlanError(
                "a cut-out does not join the pocket in one piece",
                where,
                "move it to the pocket's edge, or make it larger or smaller",
            )
        first = made[0]
    return first


@dataclass(frozen=True)
class _Piece:
    segment: Segment
    source: tuple[bool, int]  # of `a`, segment number


class _Points:
    """Points met so far, each representing its whole neighbourhood."""

    def __init__(self) -> None:
        self._cells: dict[tuple[int, int], Point] = {}

    def snapped(self, point: Point) -> Point:
        column, row = math.floor(point[0] / SNAP), math.floor(point[1] / SNAP)
        for x in (column - 1, column, column + 1):
            for y in (row - 1, row, row + 1):
                known = self._cells.get((x, y))
                if known is not None and math.dist(known, point) < SNAP:
                    return known
        self._cells[column, row] = point
        return point


def _combined(a: Outline, b: Outline, keep: _Keep, keep_reversed: bool) -> tuple[Outline, ...]:
    if a.winding < 0 or b.winding < 0:
        a, b = (o if o.winding > 0 else o.reversed() for o in (a, b))
    pieces = _split(a, b)
    middles = np.array([_middle(p.segment) for p in pieces])
    kept = []
    for of_a, other in ((True, b), (False, a)):
        own = [i for i, p in enumerate(pieces) if p.source[0] == of_a]
        at = middles[own]
        beside = nearest(other, at)
        inside = contains(other, at)
        for place, i in enumerate(own):
            shared = 0
            if abs(beside.distance[place]) < 2 * SNAP:
                tangent = _direction(other.segments[beside.segment[place]], beside.foot[place])
                mine = _direction(pieces[i].segment, at[place])
                shared = 1 if float(tangent @ mine) > 0 else -1
            if keep(of_a, bool(inside[place]), shared):
                flip = keep_reversed and not of_a
                segment = pieces[i].segment
                kept.append(_Piece(segment.reversed() if flip else segment, pieces[i].source))
    return tuple(_chains(kept))


def _split(a: Outline, b: Outline) -> list[_Piece]:
    """All segments of both, cut at every point that they have in common."""
    bundle = Bundle([*a.segments, *b.segments])
    points = _Points()
    # Ends first, so that a cut next to an end takes the end's own coordinates.
    ends = [(points.snapped(s.start), points.snapped(s.end)) for s in bundle.segments]
    met = crossings(bundle)
    # Most are the joints of neighbours, which carry no information.
    inner = (met.point != bundle.start[met.segment]).any(axis=1)
    inner &= (met.point != bundle.end[met.segment]).any(axis=1)
    segment, where = met.segment[inner], met.point[inner]
    places = bundle.places(segment, where)
    cuts: dict[int, dict[Point, float]] = defaultdict(dict)
    for at, (x, y), place in zip(segment.tolist(), where.tolist(), places.tolist(), strict=True):
        point = points.snapped((x, y))
        if point not in ends[at]:
            cuts[at][point] = place
    pieces = []
    for at, whole in enumerate(bundle.segments):
        between = sorted(cuts[at].items(), key=lambda cut: cut[1])
        chain = [(ends[at][0], 0.0), *between, (ends[at][1], whole.length)]
        of_a = at < len(a.segments)
        for (start, begin), (end, finish) in pairwise(chain):
            if start == end:
                continue
            if isinstance(whole, Line):
                pieces.append(_Piece(Line(start, end), (of_a, at)))
            else:
                sweep = whole.sweep * (finish - begin) / whole.length
                arc = Arc(start, end, whole.centre, whole.radius, sweep)
                pieces.append(_Piece(arc, (of_a, at)))
    return pieces


def _middle(segment: Segment) -> Point:
    if isinstance(segment, Line):
        return (segment.start[0] + segment.end[0]) / 2, (segment.start[1] + segment.end[1]) / 2
    cos, sin = math.cos(segment.sweep / 2), math.sin(segment.sweep / 2)
    (cx, cy), (sx, sy) = segment.centre, segment.start
    x, y = sx - cx, sy - cy
    return cx + cos * x - sin * y, cy + sin * x + cos * y


def _direction(segment: Segment, at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unit tangent of a segment at a point on it."""
    if isinstance(segment, Line):
        return np.array(segment.directions[0])
    x, y = (at - np.array(segment.centre)) / segment.radius
    return np.array((-y, x)) * math.copysign(1.0, segment.sweep)


def _chains(pieces: list[_Piece]) -> Iterator[Outline]:
    """Closed outlines of pieces that share their ends."""
    leaving: dict[Point, list[_Piece]] = defaultdict(list)
    for piece in pieces:
        leaving[piece.segment.start].append(piece)
    while leaving:
        first = next(iter(leaving.values()))[0]
        chain: list[_Piece] = []
        piece = first
        while True:
            chain.append(piece)
            here = leaving[piece.segment.start]
            here.remove(piece)
            if not here:
                del leaving[piece.segment.start]
            if piece.segment.end == first.segment.start:
                break
            onward = leaving.get(piece.segment.end)
            if not onward:
                raise PlanError(
                    f"outlines that touch at {_place(piece.segment.end)} cannot be joined cleanly",
                    "pocket outline",
                    "move one of them by a few hundredths of a millimetre",
                )
            # Where outlines touch, the sharpest left turn keeps their regions apart.
            piece = max(onward, key=lambda p: _turn(chain[-1].segment, p.segment))
        outline = _joined(chain)
        if outline is not None:
            yield outline


def _place(p: Point) -> str:
    return f"({p[0]:.2f}, {p[1]:.2f}) mm"


def _turn(before: Segment, after: Segment) -> float:
    (ax, ay), (bx, by) = before.directions[1], after.directions[0]
    return math.atan2(ax * by - ay * bx, ax * bx + ay * by)


def _joined(chain: list[_Piece]) -> Outline | None:
    """The outline of a chain, with what was one segment before made one again."""
    while len(chain) > 1 and _continues(chain[-1], chain[0]):
        chain = [chain[-1], *chain[:-1]]
        if all(_continues(p, q) for p, q in pairwise(chain)):
            break
    merged: list[_Piece] = []
    for piece in chain:
        if merged and _continues(merged[-1], piece):
            before = merged[-1].segment
            if isinstance(before, Arc) and isinstance(piece.segment, Arc):
                sweep = before.sweep + piece.segment.sweep
                joint: Segment = Arc(
                    before.start, piece.segment.end, before.centre, before.radius, sweep
                )
            else:
                joint = Line(before.start, piece.segment.end)
            merged[-1] = _Piece(joint, piece.source)
        else:
            merged.append(piece)
    if len(merged) < 2:
        return None
    outline = Outline(tuple(p.segment for p in merged))
    return outline if abs(outline.area) > SNAP else None


def _continues(before: _Piece, after: _Piece) -> bool:
    """Whether two pieces run on as one: of one segment, one straight line or one circle."""
    one, other = before.segment, after.segment
    if one.end != other.start:
        return False
    if isinstance(one, Line) and isinstance(other, Line):
        return before.source == after.source or abs(_turn(one, other)) < TANGENT_TOL
    if isinstance(one, Arc) and isinstance(other, Arc):
        same = math.dist(one.centre, other.centre) + abs(one.radius - other.radius) < 1e-9
        return same and one.sweep * other.sweep > 0 and abs(one.sweep + other.sweep) < _WIDEST
    return False
