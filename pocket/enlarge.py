"""A pocket round a part with a gap of its own along each axis, as true lines and arcs.

The parallel at the smaller gap, then stretched along the axis of the larger one: the region that
the parallel sweeps when it is moved to and fro along that axis (a Minkowski sum with a segment).
"""

import math

from snugline.fit.geometry.outline import Arc, Line, Outline, Point, polygon_of
from snugline.fit.geometry.parallel import parallel
from snugline.pocket.clearance import Clearance
from snugline.pocket.merge import union

_QUARTER = math.pi / 2


def enlarged(part: Outline, clearance: Clearance) -> Outline:
    """The pocket's plain outline for a part, counter-clockwise; a negative gap shrinks it."""
    made = parallel(part, clearance.least)[0]
    if clearance.even:
        return made
    more = abs(clearance.length - clearance.width)
    if clearance.length > clearance.width:
        return swept(made, more)
    return swept(made.rotated(-_QUARTER), more).rotated(_QUARTER)


def swept(outline: Outline, reach: float) -> Outline:
    """The region that an outline covers when it is moved by up to `reach` mm along x, both ways."""
    made = _parted(outline, reach)
    if outline.is_convex or polygon_of(made).is_valid:
        return made
    # Lobes that face each other: the union of a few places is off by micrometres at most.
    region = outline
    for step in (-1.0, -0.5, 0.5, 1.0):
        region = max(union(region, outline.translated(step * reach, 0.0)), key=lambda o: o.area)
    return region


def _parted(outline: Outline, reach: float) -> Outline:
    """Right sides moved right, left sides left, and straight pieces between them."""
    pieces = (piece for segment in outline.segments for piece in _split(segment))
    # What runs along x is left out: it is drawn between its neighbours, wherever they went.
    moved = [_moved(p, math.copysign(reach, rise)) for p in pieces if (rise := _rise(p)) != 0]
    return Outline(tuple(_joined(moved)))


def _split(segment: Line | Arc) -> list[Line | Arc]:
    """An arc cut where it runs along x."""
    if isinstance(segment, Line):
        return [segment]
    (cx, cy), (sx, sy) = segment.centre, segment.start
    first = math.atan2(sy - cy, sx - cx)
    sign = math.copysign(1.0, segment.sweep)
    # Angles of the arc's top and bottom, as turns from its start.
    turns = sorted(
        turn
        for pole in (_QUARTER, -_QUARTER)
        if 1e-9 < (turn := sign * (pole - first) % (2 * math.pi)) < abs(segment.sweep) - 1e-9
    )
    pieces: list[Line | Arc] = []
    start, done = segment.start, 0.0
    for turn in [*turns, abs(segment.sweep)]:
        angle = first + sign * turn
        last = turn == abs(segment.sweep)
        end = segment.end if last else (cx, cy + segment.radius * round(math.sin(angle)))
        pieces.append(Arc(start, end, segment.centre, segment.radius, sign * (turn - done)))
        start, done = end, turn
    return pieces


def _rise(segment: Line | Arc) -> float:
    """Positive where the outline runs up, so that its outside is on the right; 0 along x."""
    rise = segment.end[1] - segment.start[1]
    return 0.0 if isinstance(segment, Line) and abs(rise) < 1e-12 else rise


def _moved(segment: Line | Arc, dx: float) -> Line | Arc:
    start, end = (segment.start[0] + dx, segment.start[1]), (segment.end[0] + dx, segment.end[1])
    if isinstance(segment, Line):
        return Line(start, end)
    centre = (segment.centre[0] + dx, segment.centre[1])
    return Arc(start, end, centre, segment.radius, segment.sweep)


def _joined(moved: list[Line | Arc]) -> list[Line | Arc]:
    """The chain closed by straight pieces."""
    chain: list[Line | Arc] = []
    for before, after in zip([moved[-1], *moved[:-1]], moved, strict=True):
        gap: tuple[Point, Point] = before.end, after.start
        if math.dist(*gap) > 1e-9:
            chain.append(Line(*gap))
            chain.append(after)
        else:
            chain.append(_starting(after, before.end))
    return chain


def _starting(segment: Line | Arc, at: Point) -> Line | Arc:
    """The segment from a point that is its start but for rounding."""
    if isinstance(segment, Line):
        return Line(at, segment.end)
    return Arc(at, segment.end, segment.centre, segment.radius, segment.sweep)
