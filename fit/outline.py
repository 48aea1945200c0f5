"""The outline: a closed chain of straight lines and circular arcs, in millimetres."""

from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """A straight segment."""

    start: Point
    end: Point


@dataclass(frozen=True)
class Arc:
    """A circular arc; positive sweep (radians) runs counter-clockwise from start to end."""

    start: Point
    end: Point
    centre: Point
    radius: float
    sweep: float


@dataclass(frozen=True)
class Outline:
    """A closed chain: each segment starts where the one before ends, to the last bit.

    The outline of a part runs counter-clockwise; a hole runs clockwise.
    """

    segments: tuple[Line | Arc, ...]
