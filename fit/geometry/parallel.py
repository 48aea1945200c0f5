"""Parallel outlines: every point at one distance from an outline, as true lines and arcs.

A parallel curve of lines and arcs is lines and arcs again. All segments are shifted along their
normals and the gaps at corners filled; the raw pieces are cut wherever they meet, and those are
kept that lie at the full distance from the source. What remains chains up to none, one or several
closed outlines. The method is the usual one of pairwise intersection with a validity test, as in
X.-Z. Liu, J.-H. Yong, G.-Q. Zheng, J.-G. Sun, An offset algorithm for polyline curves,
Computers in Industry 58 (2007).
"""

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FitError
from snugline.fit.geometry.crossings import Bundle, crossings
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Arc, Line, Outline, Point

JOINT_TOL = 1e-8
"""mm; shifted neighbours whose ends lie closer than this are joined without a corner."""

NODE_TOL = 2e-7
"""mm; cuts closer to each other than this are one."""

DISTANCE_TOL = 5e-8
"""mm; a piece this much too near to the source still counts as parallel to it."""

SLIVER_TOL = 1e-6
"""mm; a loop of less mean width (area over perimeter) is a trace of rounding, not an outline."""

_NUDGES = (0.0, 1e-9, -1e-9, 7e-9, -7e-9)
"""mm; changes of distance tried in turn where a touch cannot be decided at the distance itself."""

Floats = NDArray[np.float64]
Corners = Literal["round", "sharp"]


def parallel(
    outline: Outline, distance: float, corners: Corners = "round", limit: float = 2.0
) -> list[Outline]:
    """The outlines at one distance from an outline.

    Parameters
    ----------
    outline : a simple closed outline, of a part or of a hole.
    distance : mm, positive enlarges the enclosed region, negative shrinks it, whichever way the
        outline winds.
    corners : how a sharp corner continues on the side where the shifted segments leave a gap:
        `round` by an arc about the corner, the true parallel; `sharp` by carrying both sides on
        until they meet.
    limit : with `sharp`, corners that would reach further from their origin than `limit` times
        the distance are rounded nevertheless.

    Returns
    -------
    outlines : largest first, each wound like the source; none where the region vanishes, several
        where it splits. Where an enlarged outline closes on itself, the holes left inside wind the
        other way. Segments are cut exactly where they meet.

    Raises
    ------
    FitError : the source crosses itself, so that no consistent parallel exists.
    """
    if distance == 0:
        return [outline]
    if outline.winding < 0:
        mirrored = parallel(outline.reversed(), distance, corners, limit)
        return [loop.reversed() for loop in mirrored]
    for nudge in _NUDGES:
        loops = _loops(outline, distance + nudge, corners, limit)
        if loops is not None:
            return sorted(loops, key=lambda loop: -abs(loop.area))
    raise FitError(
        f"its parallel at {distance:g} mm does not close",
        "outline",
        "make sure that the outline does not cross or touch itself",
    )


def _loops(
    outline: Outline, distance: float, corners: Corners, limit: float
) -> list[Outline] | None:
    """The parallel's loops, or None where the pieces kept do not form closed chains."""
    raw, kites = _shifted(outline, distance, corners, limit)
    if not raw:
        return []
    bundle = Bundle(raw)
    pieces, nodes = _pieces(bundle)
    pieces = _kept(outline, distance, bundle, pieces, kites)
    chains = _chains(pieces)
    if chains is None:
        return None
    loops = []
    for chain in chains:
        segments = _segments(bundle, nodes, chain)
        if len(segments) < 2:
            continue
        loop = Outline(tuple(segments))
        if abs(loop.area) > SLIVER_TOL * loop.perimeter:
            loops.append(loop)
    outer = sum(loop.winding > 0 for loop in loops)
    consistent = outer == 1 if distance > 0 else outer == len(loops)
    return loops if consistent else None


# Shifting


def _shifted(
    outline: Outline, distance: float, corners: Corners, limit: float
) -> tuple[list[Line | Arc], list[Floats]]:
    """Segments moved outwards by `distance`, with fillings; and the quadrilaterals of sharp ones.

    An arc that would turn inside out is left out: no point of it would be at the full distance.
    """
    segments = outline.segments
    count = len(segments)
    fillings: list[list[Line | Arc]] = []
    kites: list[Floats] = []
    starts: list[Point] = []
    ends: list[Point] = [(0.0, 0.0)] * count
    for i, (segment, turn) in enumerate(zip(segments, outline.turns, strict=True)):
        before = segments[i - 1]
        corner = segment.start
        normal_1, normal_2 = _right(before.directions[1]), _right(segment.directions[0])
        end, start = _moved(corner, normal_1, distance), _moved(corner, normal_2, distance)
        filling: list[Line | Arc] = []
        if abs(distance * turn) < JOINT_TOL:
            start = end
        elif distance * turn > 0:
            if corners == "sharp" and 1 / math.cos(turn / 2) <= limit:
                even = 1 + normal_1[0] * normal_2[0] + normal_1[1] * normal_2[1]
                both = (normal_1[0] + normal_2[0]) / even, (normal_1[1] + normal_2[1]) / even
                tip = _moved(corner, both, distance)
                kites.append(np.array([corner, end, tip, start]))
                if isinstance(before, Arc):
                    filling.append(Line(end, tip))
                else:
                    end = tip
                if isinstance(segment, Arc):
                    filling.append(Line(tip, start))
                else:
                    start = tip
            else:
                filling.append(Arc(end, start, corner, abs(distance), turn))
        ends[i - 1] = end
        starts.append(start)
        fillings.append(filling)

    shifted: list[Line | Arc] = []
    for segment, start, end, filling in zip(segments, starts, ends, fillings, strict=True):
        shifted += filling
        if isinstance(segment, Line):
            shifted.append(Line(start, end))
        else:
            radius = segment.radius + math.copysign(distance, distance * segment.sweep)
            if radius * abs(segment.sweep) > JOINT_TOL:
                shifted.append(Arc(start, end, segment.centre, radius, segment.sweep))
    return shifted, kites


def _right(direction: Point) -> Point:
    return direction[1], -direction[0]


def _moved(point: Point, normal: Point, distance: float) -> Point:
    return point[0] + distance * normal[0], point[1] + distance * normal[1]


# Cutting


@dataclass(frozen=True)
class _Piece:
    """A part of one shifted segment between two cuts."""

    segment: int
    start: int
    end: int
    start_place: float
    end_place: float
    middle: Point

    @property
    def length(self) -> float:
        return self.end_place - self.start_place


def _pieces(bundle: Bundle) -> tuple[list[_Piece], Floats]:
    """The shifted segments cut where they meet, and the points of the cuts."""
    count = len(bundle.segments)
    met = crossings(bundle)
    own = np.arange(count)
    # Ends come first, so that a cut at an end takes the end's own coordinates.
    points = np.concatenate((bundle.start, bundle.end, met.point))
    segment = np.concatenate((own, own, met.segment))
    place = np.concatenate((np.zeros(count), bundle.length, bundle.places(met.segment, met.point)))
    first, node = np.unique(_clusters(points), return_inverse=True)
    nodes = points[first]

    order = np.lexsort((place, segment))
    a, b = order[:-1], order[1:]
    real = (segment[a] == segment[b]) & (node[a] != node[b])
    a, b = a[real], b[real]
    middle = bundle.points(segment[a], (place[a] + place[b]) / 2)
    columns = (segment[a], node[a], node[b], place[a], place[b], middle)
    return [
        _Piece(s, m, n, p, q, (x, y))
        for s, m, n, p, q, (x, y) in zip(*(c.tolist() for c in columns), strict=True)
    ], nodes


def _clusters(points: Floats) -> NDArray[np.intp]:
    """For each point the first of those that it hangs together with, in steps of `NODE_TOL`."""
    # Sorted along a direction that no drawing favours, few besides the close ones are neighbours.
    along = points @ (0.8, 0.6)
    order = np.argsort(along)
    along = along[order]
    following = np.searchsorted(along, along + 2 * NODE_TOL) - np.arange(1, len(along) + 1)
    one = np.repeat(np.arange(len(along)), following)
    step = np.arange(len(one)) - np.repeat(np.cumsum(following) - following, following)
    a, b = order[one], order[one + step + 1]
    close = np.hypot(*(points[a] - points[b]).T) <= NODE_TOL
    a, b = a[close], b[close]
    label = np.arange(len(points))
    while (apart := label[a] != label[b]).any():
        low = np.minimum(label[a], label[b])[apart]
        np.minimum.at(label, label[a[apart]], low)
        np.minimum.at(label, label[b[apart]], low)
        label = label[label]
    return label


def _kept(
    outline: Outline, distance: float, bundle: Bundle, pieces: list[_Piece], kites: list[Floats]
) -> list[_Piece]:
    """Pieces at the full distance from the source, on its right side, each stretch once.

    Where two pieces run along each other in opposite senses the region between them has no
    width: both go.
    """
    if not pieces:
        return []
    middles = np.array([piece.middle for piece in pieces])
    clearance = signed_distance(outline, middles) * math.copysign(1.0, distance)
    valid = clearance > abs(distance) - DISTANCE_TOL
    for kite in kites:
        valid &= ~_within(kite, middles)
    stretches: dict[tuple[int, int], list[_Piece]] = defaultdict(list)
    for piece in (p for p, good in zip(pieces, valid, strict=True) if good):
        forth, back = stretches[piece.start, piece.end], stretches[piece.end, piece.start]
        opposite = [p for p in back if math.dist(p.middle, piece.middle) < SLIVER_TOL]
        if opposite:
            back.remove(opposite[0])
        elif not any(math.dist(p.middle, piece.middle) < SLIVER_TOL for p in forth):
            forth.append(piece)
    return [piece for stretch in stretches.values() for piece in stretch]


def _within(kite: Floats, points: Floats) -> NDArray[np.bool_]:
    """Whether points lie inside a convex quadrilateral, by more than rounding."""
    side = np.roll(kite, -1, axis=0) - kite
    relative = points[:, None, :] - kite
    heights = (side[:, 0] * relative[..., 1] - side[:, 1] * relative[..., 0]) / np.hypot(*side.T)
    one_side = (heights > DISTANCE_TOL).all(axis=1) | (heights < -DISTANCE_TOL).all(axis=1)
    return np.asarray(one_side)


# Chaining


def _chains(pieces: list[_Piece]) -> list[list[_Piece]] | None:
    """Closed chains that pass each cut once; None where more than crumbs are left over."""
    leaving: dict[int, list[_Piece]] = defaultdict(list)
    for piece in pieces:
        leaving[piece.start].append(piece)
    # The longest first: crumbs about a touch that cannot be decided are left over, then dropped.
    for options in leaving.values():
        options.sort(key=lambda piece: piece.length)
    chains: list[list[_Piece]] = []
    left_over = 0.0
    for piece in pieces:
        path: list[_Piece] = []
        node = piece.start
        passed = {node: 0}  # nodes on the path, each with the length of the path before it
        while leaving[node] or path:
            if not leaving[node]:
                left_over = max(left_over, path[-1].length)
                del passed[node]
                node = path.pop().start
                continue
            path.append(leaving[node].pop())
            node = path[-1].end
            if node in passed:
                first = passed[node]
                chains.append(path[first:])
                for step in path[first + 1 :]:
                    del passed[step.start]
                del path[first:]
            else:
                passed[node] = len(path)
    return chains if left_over < 100 * NODE_TOL else None


def _segments(bundle: Bundle, nodes: Floats, chain: list[_Piece]) -> list[Line | Arc]:
    """A chain's pieces as segments; what was cut without need is one again."""
    breaks = [
        k
        for k, piece in enumerate(chain)
        if (before := chain[k - 1]).segment != piece.segment
        or before.end_place > piece.start_place + NODE_TOL
    ]
    segments: list[Line | Arc] = []
    for k, first in enumerate(breaks):
        after = breaks[(k + 1) % len(breaks)]
        source = bundle.segments[chain[first].segment]
        start = _point(nodes[chain[first].start])
        end = _point(nodes[chain[after - 1].end])
        if start == end:
            continue
        if isinstance(source, Line):
            segments.append(Line(start, end))
            continue
        run = chain[after - 1].end_place - chain[first].start_place
        nominal = math.copysign(run / source.radius, source.sweep)
        (cx, cy), (ax, ay), (bx, by) = source.centre, start, end
        swept = math.atan2(by - cy, bx - cx) - math.atan2(ay - cy, ax - cx)
        swept += 2 * math.pi * round((nominal - swept) / (2 * math.pi))
        segments.append(Arc(start, end, source.centre, source.radius, swept))
    return segments


def _point(row: Floats) -> Point:
    return float(row[0]), float(row[1])
