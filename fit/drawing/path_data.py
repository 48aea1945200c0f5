"""SVG path data to chains of lines and circular arcs."""

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from snugline.errors import FitError
from snugline.fit.geometry.outline import Arc, Line, Outline, Point

SNAP_TOL = 1e-6
"""User units; ends closer than this are one."""

MAX_STEPS = 100_000

_SPACE = re.compile(r"[\s,]*")
NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_FLAG = re.compile(r"[01]")
_COMMAND = re.compile(r"[A-Za-z]")
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "A": 7, "Z": 0}
_CURVES = {"C": "cubic", "S": "cubic", "Q": "quadratic", "T": "quadratic"}


@dataclass(frozen=True)
class Step:
    """One drawing command; `radius` is 0 for a line, the flags are those of SVG's A."""

    to: Point
    radius: float = 0.0
    wide: bool = False
    increasing: bool = False


@dataclass
class Chain:
    """One subpath."""

    start: Point
    steps: list[Step] = field(default_factory=list)
    closed: bool = False

    @property
    def points(self) -> list[Point]:
        return [self.start, *(step.to for step in self.steps)]

    @property
    def straight(self) -> bool:
        return all(step.radius == 0 for step in self.steps)

    def outline(self, move: Callable[[Point], Point]) -> Outline:
        """The closed outline, its points moved by a map that keeps circles round."""
        ends = self.points
        segments: list[Line | Arc] = []
        for start, step in zip(ends, self.steps, strict=False):
            if step.radius == 0:
                segments.append(Line(move(start), move(step.to)))
                continue
            centre, radius, sweep = arc_of(start, step)
            new_start, new_end, new_centre = move(start), move(step.to), move(centre)
            scale = math.dist(new_start, new_end) / math.dist(start, step.to)
            # Whether the map mirrors shows on the side of the chord the centre ends up on.
            side = _side(start, step.to, _bulge_point(centre, start, sweep))
            moved = _side(new_start, new_end, move(_bulge_point(centre, start, sweep)))
            sense = math.copysign(1.0, side * moved)
            segments.append(Arc(new_start, new_end, new_centre, radius * scale, sense * sweep))
        return Outline(tuple(segments))


def arc_of(start: Point, step: Step) -> tuple[Point, float, float]:
    """Centre, radius and sweep (increasing angle positive) of a circular arc command.

    The arithmetic of SVG 1.1, appendix F.6.5 and F.6.6: a radius too small to span the ends is
    enlarged until it does.
    """
    half_x, half_y = (step.to[0] - start[0]) / 2, (step.to[1] - start[1]) / 2
    half = math.hypot(half_x, half_y)
    radius = max(step.radius, half)
    height = math.sqrt((radius - half) * (radius + half))
    # The centre lies left of the chord when the two flags differ.
    to_left = height if step.wide != step.increasing else -height
    centre = (
        start[0] + half_x - half_y / half * to_left,
        start[1] + half_y + half_x / half * to_left,
    )
    sweep = 2 * math.atan2(half, -height if step.wide else height)
    return centre, radius, sweep if step.increasing else -sweep


def numbers(text: str) -> list[float]:
    """All numbers in an attribute's text."""
    return [float(match[0]) for match in NUMBER.finditer(text)]


def chains(data: str) -> Iterator[Chain]:
    """The subpaths of path data; steps of no length are left out, as SVG rules for arcs.

    Raises
    ------
    FitError : curves that are neither lines nor circular arcs, or data that cannot be read.
    """
    current: Chain | None = None
    at = origin = (0.0, 0.0)
    for count, (command, v) in enumerate(_commands(data)):
        if count > MAX_STEPS:
            raise FitError(f"more than {MAX_STEPS} steps", "path", "give the outline alone")
        base = at if command.islower() else (0.0, 0.0)
        kind = command.upper()
        if kind == "M":
            if current is not None:
                yield _finished(current)
            at = origin = base[0] + v[0], base[1] + v[1]
            current = Chain(at)
            continue
        if current is None:
            if kind == "Z":
                continue
            current = Chain(origin)
        if kind == "Z":
            if math.dist(at, origin) > SNAP_TOL:
                current.steps.append(Step(origin))
            current.closed = bool(current.steps)
            yield _finished(current)
            current, at = None, origin
            continue
        if kind == "H":
            to = base[0] + v[0], at[1]
        elif kind == "V":
            to = at[0], base[1] + v[0]
        else:
            to = base[0] + v[-2], base[1] + v[-1]
        if to != at:
            current.steps.append(_step(kind, v, to))
            at = to
    if current is not None:
        yield _finished(current)


def _step(kind: str, v: list[float], to: Point) -> Step:
    if kind != "A" or v[0] == 0 or v[1] == 0:
        return Step(to)
    rx, ry = abs(v[0]), abs(v[1])
    if abs(rx - ry) > 1e-9 * rx:
        raise FitError(
            f"an elliptical arc of radii {rx:g} and {ry:g}",
            "path",
            "redraw it with lines and circular arcs",
        )
    return Step(to, rx, v[3] != 0, v[4] != 0)


def _finished(chain: Chain) -> Chain:
    """The chain with its last end set on its start where the two are one."""
    if chain.steps and math.dist(chain.steps[-1].to, chain.start) <= SNAP_TOL:
        last = chain.steps[-1]
        chain.steps[-1] = Step(chain.start, last.radius, last.wide, last.increasing)
        chain.closed = True
        # A chain no longer than the tolerance has shrunk to a point.
        if len(chain.steps) == 1:
            chain.steps.clear()
    return chain


def _commands(data: str) -> Iterator[tuple[str, list[float]]]:
    """Each command with its numbers; repeated arguments become commands of their own."""
    at = _end(_SPACE, data, 0)
    while at < len(data):
        command = _COMMAND.match(data, at)
        if command is None:
            raise _unreadable(data, at)
        letter = command[0]
        kind = letter.upper()
        if kind in _CURVES:
            raise FitError(
                f"a {_CURVES[kind]} Bézier curve ({letter})",
                "path",
                "redraw it with lines and circular arcs",
            )
        if kind not in _ARGUMENTS:
            raise _unreadable(data, at)
        at = _end(_SPACE, data, command.end())
        while True:
            values: list[float] = []
            for position in range(_ARGUMENTS[kind]):
                flag = kind == "A" and position in (3, 4)
                match = (_FLAG if flag else NUMBER).match(data, at)
                if match is None:
                    raise _unreadable(data, at)
                values.append(float(match[0]))
                at = _end(_SPACE, data, match.end())
            yield letter, values
            # Further pairs after a move are lines.
            letter = {"M": "L", "m": "l"}.get(letter, letter)
            kind = letter.upper()
            if kind == "Z" or NUMBER.match(data, at) is None:
                break


def _end(pattern: re.Pattern[str], data: str, at: int) -> int:
    match = pattern.match(data, at)
    return match.end() if match else at


def _unreadable(data: str, at: int) -> FitError:
    return FitError(
        f"path data that cannot be read at {data[at : at + 12]!r}", "path", "save the file again"
    )


def _bulge_point(centre: Point, start: Point, sweep: float) -> Point:
    """The arc's middle."""
    x, y = start[0] - centre[0], start[1] - centre[1]
    cos, sin = math.cos(sweep / 2), math.sin(sweep / 2)
    return centre[0] + cos * x - sin * y, centre[1] + sin * x + cos * y


def _side(a: Point, b: Point, p: Point) -> float:
    return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])
