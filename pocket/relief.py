"""Relief of inside corners that a round cutter cannot reach.

A disc a little wider than the cutter is let into the corner so far that it covers all of it, and
no further. Were it just as wide, stock left to finish or a chord would keep the cutter out of it.
A dog-bone goes in along the bisector and opens both walls a little; a T-bone goes on along one
wall and opens the other. A corner is a sharp joint, or a run of arcs tighter than the disc.
"""

import math
from dataclasses import dataclass
from typing import Literal

from snugline.errors import PlanError
from snugline.fit.geometry.outline import Arc, Line, Outline, Point
from snugline.pocket.cutter import UNCUT_TOL, leftover

Style = Literal["dog-bone", "t-bone along length", "t-bone along width"]
STYLES: tuple[Style, ...] = ("dog-bone", "t-bone along length", "t-bone along width")

ALLOWANCE = 0.2  # mm; relief radius over the cutter's, unless chosen (common practice, no source)

_SHARPEST_TURN = math.radians(150)
_SHORTEST = 0.01  # mm; a shorter straight piece next to the disc is not worth a node
_BISECTIONS = 60


@dataclass(frozen=True)
class Disc:
    """A relief's centre, the corner it is for, its radius, and how far it goes behind the walls."""

    centre: Point
    corner: Point
    behind: float
    radius: float


@dataclass(frozen=True)
class Relieved:
    """A pocket with its corners relieved; `discs` in the outline's order."""

    outline: Outline
    discs: tuple[Disc, ...]


@dataclass(frozen=True)
class _Corner:
    """The walls before and after a run, by segment number, and the run between them."""

    before: int
    after: int
    run: tuple[Line | Arc, ...]
    start: Point
    end: Point
    arriving: Point
    leaving: Point
    turn: float

    @property
    def apex(self) -> Point:
        """Where the walls' tangents meet."""
        (ax, ay), (bx, by) = self.arriving, self.leaving
        dx, dy = self.end[0] - self.start[0], self.end[1] - self.start[1]
        along = (dx * by - dy * bx) / (ax * by - ay * bx)
        return self.start[0] + along * ax, self.start[1] + along * ay


@dataclass(frozen=True)
class _Cut:
    """A relief: the outline from a place on one segment to a place on another is replaced."""

    corner: _Corner
    first: int
    leave: Point
    last: int
    resume: Point
    middle: tuple[Line | Arc, ...]
    disc: Disc


def relieved(pocket: Outline, diameter: float, style: Style, allowance: float = 0.0) -> Relieved:
    """Let the cutter into every corner of a counter-clockwise pocket that it does not reach.

    Parameters
    ----------
    diameter : of the cutter, mm.
    allowance : relief radius over the cutter's, mm.

    Raises
    ------
    PlanError : a corner too sharp, or walls too short for the reliefs.
    """
    radius = diameter / 2 + allowance
    corners = _corners(pocket, radius, diameter / 2)
    while corners:
        cuts = [_relief(pocket, corner, radius, style) for corner in corners]
        clash = next((k for k in range(len(cuts)) if _left(pocket, cuts, k) is None), None)
        if clash is None:
            return Relieved(_rebuilt(pocket, cuts), tuple(cut.disc for cut in cuts))
        # Corners too near each other for a disc each share one.
        following = (clash + 1) % len(corners)
        joint = _merged(pocket, corners[clash], corners[following])
        corners = [joint, *(c for k, c in enumerate(corners) if k not in (clash, following))]
        corners.sort(key=lambda c: c.before)
    return Relieved(pocket, ())


def _corners(pocket: Outline, radius: float, cutter: float) -> list[_Corner]:
    """Corners for discs of a radius, those left out that the cutter's own radius reaches."""
    segments = pocket.segments
    count = len(segments)
    walls = [
        i
        for i, s in enumerate(segments)
        if not (isinstance(s, Arc) and s.sweep > 0 and s.radius < radius - UNCUT_TOL)
    ]
    if not walls:
        raise PlanError(
            f"a cutter of {2 * radius:.2f} mm is wider than the pocket",
            "cutter diameter",
            "use a thinner cutter",
        )
    corners = []
    for place, before in enumerate(walls):
        after = walls[(place + 1) % len(walls)]
        between = [(before + k) % count for k in range(1, (after - before - 1) % count + 1)]
        run = tuple(s for i in between if isinstance(s := segments[i], Arc))
        turn = sum(arc.sweep for arc in run) + sum(pocket.turns[i] for i in (*between, after))
        if turn <= 1e-6:
            continue
        corner = _Corner(
            before,
            after,
            run,
            segments[before].end,
            segments[after].start,
            segments[before].directions[1],
            segments[after].directions[0],
            turn,
        )
        tightest = min((arc.radius for arc in run), default=0.0)
        if leftover(cutter, tightest, math.pi - min(turn, 3.1)) < UNCUT_TOL:
            continue
        corners.append(_not_too_sharp(corner))
    return corners


def _not_too_sharp(corner: _Corner) -> _Corner:
    if corner.turn > _SHARPEST_TURN:
        raise PlanError(
            f"a corner near {_place(corner.start)} turns by {math.degrees(corner.turn):.0f} "
            "degrees, too sharp for a relief",
            "corner relief",
            "use a thinner cutter",
        )
    return corner


def _merged(pocket: Outline, first: _Corner, second: _Corner) -> _Corner:
    """Both corners and the walls between them as one."""
    if first is second:
        raise _no_room(first)
    count = len(pocket.segments)
    between = (second.before - first.after) % count + 1
    walls = tuple(pocket.segments[(first.after + k) % count] for k in range(between))
    bend = sum(wall.sweep for wall in walls if isinstance(wall, Arc))
    joints = sum(pocket.turns[(first.after + k) % count] for k in range(1, between))
    return _not_too_sharp(
        _Corner(
            first.before,
            second.after,
            (*first.run, *walls, *second.run),
            first.start,
            second.end,
            first.arriving,
            second.leaving,
            first.turn + second.turn + bend + joints,
        )
    )


def _relief(pocket: Outline, corner: _Corner, radius: float, style: Style) -> _Cut:
    if style == "dog-bone":
        bisector = _unit(_minus(corner.leaving, corner.arriving))
        apex = corner.apex
        deep = _deepest(corner, apex, bisector, radius)
        centre = _plus(apex, bisector, deep)
        inward = bisector
    else:
        along_x = abs(corner.arriving[0]) >= abs(corner.leaving[0])
        keep_arriving = along_x == (style == "t-bone along length")
        wall = corner.arriving if keep_arriving else corner.leaving
        touch = corner.start if keep_arriving else corner.end
        centre = _plus(touch, (-wall[1], wall[0]), radius)
        inward = (-wall[0], -wall[1]) if keep_arriving else wall
    # The disc's flanks along its way in; seen inwards, the arriving wall is on the left.
    left = _plus(centre, (-inward[1], inward[0]), radius)
    right = _plus(centre, (inward[1], -inward[0]), radius)
    leave, first, way_in = _flank(pocket, corner, centre, radius, left, inward, backwards=True)
    resume, last, way_out = _flank(pocket, corner, centre, radius, right, inward, backwards=False)
    start = way_in[-1].end if way_in else leave
    end = way_out[0].start if way_out else resume
    sweep = (_angle(centre, end) - _angle(centre, start)) % (2 * math.pi)
    arc = Arc(start, end, centre, radius, sweep)
    behind = max(
        radius - abs(_cross(corner.arriving, _minus(centre, corner.start))),
        radius - abs(_cross(corner.leaving, _minus(centre, corner.end))),
    )
    disc = Disc(centre, corner.apex, behind, radius)
    return _Cut(corner, first, leave, last, resume, (*way_in, arc, *way_out), disc)


def _deepest(corner: _Corner, apex: Point, bisector: Point, radius: float) -> float:
    """Distance from the apex of the disc that goes no deeper than to cover the whole run."""
    half = math.sin((math.pi - corner.turn) / 2)
    if not corner.run:
        return radius
    only = corner.run[0]
    if isinstance(only, Arc) and abs(only.sweep - corner.turn) < 1e-9:
        return radius + only.radius * (1 / half - 1)

    def furthest(distance: float) -> float:
        centre = _plus(apex, bisector, distance)
        return max(_furthest(segment, centre) for segment in corner.run)

    # The furthest distance is convex in the depth: to its least, then back out to the radius.
    low, high = 0.0, radius / half
    for _ in range(2 * _BISECTIONS):
        a, b = low + (high - low) / 3, high - (high - low) / 3
        low, high = (low, b) if furthest(a) < furthest(b) else (a, high)
    best, shallow = low, radius / half
    if furthest(best) > radius:
        raise _no_room(corner)
    for _ in range(_BISECTIONS):
        middle = (best + shallow) / 2
        best, shallow = (middle, shallow) if furthest(middle) <= radius else (best, middle)
    return best


def _furthest(segment: Line | Arc, centre: Point) -> float:
    """Greatest distance of a point of the segment from `centre`."""
    ends = max(math.dist(segment.start, centre), math.dist(segment.end, centre))
    if isinstance(segment, Line) or segment.sweep < 0:
        return ends
    arc, away = segment, math.dist(segment.centre, centre)
    if away == 0:
        return ends
    top = _plus(arc.centre, _unit(_minus(arc.centre, centre)), arc.radius)
    along = (_angle(arc.centre, top) - _angle(arc.centre, arc.start)) % (2 * math.pi)
    return away + arc.radius if along <= arc.sweep else ends


def _flank(
    pocket: Outline,
    corner: _Corner,
    centre: Point,
    radius: float,
    extreme: Point,
    inward: Point,
    backwards: bool,
) -> tuple[Point, int, tuple[Line, ...]]:
    """Where the outline leaves a wall for the disc (or the disc for a wall).

    In an acute corner the disc's flank lies behind the wall; there its way in is opened too, by
    a straight piece along it.
    """
    at = corner.before if backwards else corner.after
    joint = corner.start if backwards else corner.end
    tangent = corner.arriving if backwards else corner.leaving
    behind = -_cross(tangent, _minus(extreme, joint))
    slope = abs(_cross(tangent, inward))
    if slope > 1e-9 and behind / slope > _SHORTEST:
        wall = pocket.segments[at]
        meets = _plus(extreme, inward, behind / slope)
        far = wall.start if backwards else wall.end
        if not isinstance(wall, Line) or math.dist(meets, joint) > math.dist(far, joint):
            raise _no_room(corner)
        return meets, at, (Line(meets, extreme) if backwards else Line(extreme, meets),)
    count = len(pocket.segments)
    for _ in range(count):
        wall = pocket.segments[at]
        far = wall.start if backwards else wall.end
        if math.dist(far, centre) > radius:
            return _crossing(wall, centre, radius, backwards), at, ()
        at = (at + (-1 if backwards else 1)) % count
    raise _no_room(corner)


def _crossing(wall: Line | Arc, centre: Point, radius: float, backwards: bool) -> Point:
    """Where a wall that starts within the disc leaves it."""
    near = wall.end if backwards else wall.start
    x, y = wall.directions[1 if backwards else 0]
    onward = (-x, -y) if backwards else (x, y)
    to_centre = _minus(centre, near)
    touches = onward[0] * to_centre[0] + onward[1] * to_centre[1] < 1e-9
    if touches and abs(math.dist(near, centre) - radius) < 1e-9:
        return near
    inside, outside = 0.0, 1.0
    for _ in range(_BISECTIONS):
        middle = (inside + outside) / 2
        within = math.dist(_at(wall, 1 - middle if backwards else middle), centre) < radius
        inside, outside = (middle, outside) if within else (inside, middle)
    return _at(wall, 1 - outside if backwards else outside)


def _at(segment: Line | Arc, part: float) -> Point:
    if isinstance(segment, Line):
        return _plus(segment.start, _minus(segment.end, segment.start), part)
    cos, sin = math.cos(part * segment.sweep), math.sin(part * segment.sweep)
    x, y = _minus(segment.start, segment.centre)
    return segment.centre[0] + cos * x - sin * y, segment.centre[1] + sin * x + cos * y


def _left(pocket: Outline, cuts: list[_Cut], k: int) -> int | None:
    """Joints left between a relief and the next; None where they run into each other."""
    cut, following = cuts[k], cuts[(k + 1) % len(cuts)]
    count = len(pocket.segments)
    between = (following.corner.before - cut.corner.after) % count
    used = (cut.last - cut.corner.after) % count
    used += (following.corner.before - following.first) % count
    wall = pocket.segments[cut.last]
    if used == between and _place_on(wall, following.leave) < _place_on(wall, cut.resume):
        return None
    return between - used if used <= between else None


def _rebuilt(pocket: Outline, cuts: list[_Cut]) -> Outline:
    """The pocket with each relief in place of the stretch it replaces."""
    segments: list[Line | Arc] = []
    count = len(pocket.segments)
    for k, cut in enumerate(cuts):
        segments += cut.middle
        following = cuts[(k + 1) % len(cuts)]
        left = _left(pocket, cuts, k) or 0
        start = cut.resume
        for step in range(left + 1):
            wall = pocket.segments[(cut.last + step) % count]
            end = following.leave if step == left else wall.end
            if start != end:
                segments.append(_between(wall, start, end))
            start = wall.end
    return Outline(tuple(segments))


def _between(wall: Line | Arc, start: Point, end: Point) -> Line | Arc:
    if isinstance(wall, Line):
        return Line(start, end)
    sweep = (_place_on(wall, end) - _place_on(wall, start)) / wall.radius
    return Arc(start, end, wall.centre, wall.radius, math.copysign(sweep, wall.sweep))


def _place_on(wall: Line | Arc, point: Point) -> float:
    """Distance of a point on a wall from the wall's start, along it."""
    if isinstance(wall, Line):
        return math.dist(wall.start, point)
    if point == wall.end:
        return wall.length
    turned = _angle(wall.centre, point) - _angle(wall.centre, wall.start)
    return wall.radius * (math.copysign(1, wall.sweep) * turned % (2 * math.pi))


def _no_room(corner: _Corner) -> PlanError:
    return PlanError(
        f"the walls at the corner near {_place(corner.start)} leave no room for a relief",
        "corner relief",
        "use a thinner cutter or leave the corners unrelieved",
    )


def _place(p: Point) -> str:
    return f"({p[0]:.1f}, {p[1]:.1f}) mm"


def _minus(a: Point, b: Point) -> Point:
    return a[0] - b[0], a[1] - b[1]


def _plus(a: Point, direction: Point, distance: float) -> Point:
    return a[0] + distance * direction[0], a[1] + distance * direction[1]


def _unit(v: Point) -> Point:
    size = math.hypot(*v)
    return v[0] / size, v[1] / size


def _cross(a: Point, b: Point) -> float:
    return a[0] * b[1] - a[1] * b[0]


def _angle(centre: Point, p: Point) -> float:
    return math.atan2(p[1] - centre[1], p[0] - centre[0])
