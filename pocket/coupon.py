"""Small test pieces: a corner or two of the pocket at several clearances, and a slip for the width.

A coupon's pocket runs out over the far edges of the piece, so that the real part can be laid in
with the rest of it standing over.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from snugline.errors import InputError, PlanError
from snugline.fit.geometry.outline import Outline, Point
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import polygon
from snugline.lengths import format_length
from snugline.pocket.lettering import engraved, engraved_width
from snugline.pocket.merge import intersection

Unit = Literal["mm", "in"]

_TEXT = 4.0  # mm, height of the mark
_TEXT_ROOM = 2.0  # mm round it
_LAND = _TEXT + 2 * _TEXT_ROOM + 4.0


@dataclass(frozen=True)
class Coupon:
    """A test piece; its outer cut's lower left corner is the origin, mm.

    Attributes
    ----------
    name : what is engraved on it.
    clearance : mm per side.
    outer : the outer cut.
    pocket : what is cleared; it passes the outer cut where the piece is open.
    mark : strokes of the engraved name.
    """

    name: str
    clearance: float
    outer: Outline
    pocket: tuple[Outline, ...]
    mark: tuple[tuple[Point, ...], ...]

    @property
    def size(self) -> tuple[float, float]:
        low_x, low_y, high_x, high_y = self.outer.bounds
        return high_x - low_x, high_y - low_y

    def moved(self, dx: float, dy: float) -> "Coupon":
        return Coupon(
            self.name,
            self.clearance,
            self.outer.translated(dx, dy),
            tuple(o.translated(dx, dy) for o in self.pocket),
            tuple(tuple((x + dx, y + dy) for x, y in stroke) for stroke in self.mark),
        )


def corner_coupon(
    part: Outline,
    clearance: float,
    corners: int,
    run: float,
    cutter: float,
    unit: Unit = "mm",
    finish: Callable[[Outline], Outline] = lambda pocket: pocket,
) -> Coupon:
    """The front left corner (1), or the whole left end (2), with a run of the sides.

    Parameters
    ----------
    part : its outline, centred.
    clearance : mm per side.
    run : mm of side beyond the part's own low end or edge.
    cutter : diameter, mm; by half of it and a little the pocket passes the open edges.
    unit : of the mark.
    finish : what is done to the pocket besides, such as relieving its corners.

    Raises
    ------
    InputError : a number of corners other than 1 or 2, or no run.
    """
    if corners not in (1, 2) or not run > 0:
        raise InputError(
            f"a coupon of {corners} corners with a run of {run:g} mm",
            "coupons",
            "ask for 1 or 2 corners and a run above 0 mm",
        )
    pocket = finish(parallel(part, clearance)[0])
    low_x, low_y, high_x, high_y = pocket.bounds
    over = cutter / 2 + 1.0
    right = min(low_x + run, high_x + _LAND)
    top = min(low_y + run, high_y + _LAND) if corners == 1 else high_y + _LAND
    left, bottom = low_x - _LAND, low_y - _LAND
    opening = intersection(pocket, _box(left - over, bottom - over, right + over, top + over))
    if not opening:
        raise PlanError(
            "the coupon holds no piece of the pocket",
            "coupons",
            "make the run longer, or ask for 2 corners",
        )
    made = _coupon(clearance, _box(left, bottom, right, top), opening, unit)
    return made.moved(-left, -bottom)


def width_slip(part: Outline, clearance: float, cutter: float, unit: Unit = "mm") -> Coupon:
    """A channel of the pocket's width, as long as the part and open at both ends."""
    low_x, low_y, high_x, high_y = part.bounds
    low_y, high_y = low_y - clearance, high_y + clearance
    over = cutter / 2 + 1.0
    outer = _box(low_x, low_y - _LAND, high_x, high_y + _LAND)
    channel = _box(low_x - over, low_y, high_x + over, high_y)
    return _coupon(clearance, outer, (channel,), unit).moved(-low_x, -(low_y - _LAND))


def nested(coupons: Sequence[Coupon], gap: float) -> tuple[tuple[Coupon, ...], Point]:
    """Coupons of about one size in rows on the smallest piece of scrap.

    Returns
    -------
    coupons : moved to their places.
    size : (length, width) of the scrap, mm, the same gap kept round them.
    """
    length = max(c.size[0] for c in coupons) + gap
    width = max(c.size[1] for c in coupons) + gap
    count = len(coupons)

    def scrap(columns: int) -> Point:
        return columns * length + gap, math.ceil(count / columns) * width + gap

    columns = min(
        range(1, count + 1),
        key=lambda c: (round(scrap(c)[0] * scrap(c)[1], 6), max(scrap(c)), -c),
    )
    at = [(gap + k % columns * length, gap + k // columns * width) for k in range(count)]
    return tuple(c.moved(*p) for c, p in zip(coupons, at, strict=True)), scrap(columns)


def _coupon(clearance: float, outer: Outline, opening: tuple[Outline, ...], unit: Unit) -> Coupon:
    name = format_length(clearance, unit)
    left, bottom, right, _ = outer.bounds
    # Smaller on a short piece, so that the mark stays on the land.
    height = _TEXT * min(1.0, (right - left - 2 * _TEXT_ROOM) / engraved_width(name, _TEXT))
    mark = engraved(name, (left + _TEXT_ROOM, bottom + _TEXT_ROOM), height)
    return Coupon(name, clearance, outer, opening, mark)


def _box(low_x: float, low_y: float, high_x: float, high_y: float) -> Outline:
    return polygon([(low_x, low_y), (high_x, low_y), (high_x, high_y), (low_x, high_y)])
