"""Small test pieces: a gauge each for width and length, and the pocket's end with its corners."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from snugline.errors import InputError, PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.outline import Outline, Point
from snugline.fit.geometry.primitives import polygon
from snugline.lengths import format_length
from snugline.pocket.clearance import Clearance, even
from snugline.pocket.enlarge import enlarged
from snugline.pocket.lettering import engraved, engraved_width
from snugline.pocket.merge import intersection
from snugline.pocket.step_gauge import LAND, TEXT, TEXT_ROOM, step_gauge
from snugline.pocket.wood import Direction

_FULL = 0.02  # mm; so near to its greatest width a part counts as having it


@dataclass(frozen=True)
class Coupon:
    """A test piece; its outer cut's lower left corner is the origin, mm.

    Attributes
    ----------
    name : what is engraved on it, or what it tests.
    outer : the outer cut.
    pocket : what is cleared; it passes the outer cut where the piece is open.
    mark : strokes of the engraved names.
    through : whether the pocket is cut through.
    """

    name: str
    outer: Outline
    pocket: tuple[Outline, ...]
    mark: tuple[tuple[Point, ...], ...]
    through: bool = False

    @property
    def size(self) -> tuple[float, float]:
        low_x, low_y, high_x, high_y = self.outer.bounds
        return high_x - low_x, high_y - low_y

    def moved(self, dx: float, dy: float) -> "Coupon":
        return replace(
            self,
            outer=self.outer.translated(dx, dy),
            pocket=tuple(o.translated(dx, dy) for o in self.pocket),
            mark=tuple(tuple((x + dx, y + dy) for x, y in stroke) for stroke in self.mark),
        )

    def at_origin(self) -> "Coupon":
        low_x, low_y, _, _ = self.outer.bounds
        return self.moved(-low_x, -low_y)


def gauge(
    part: Outline,
    direction: Direction,
    ladder: Sequence[float],
    thickness: float,
    cutter: float,
    unit: Unit = "mm",
) -> Coupon:
    """The go gauge for the part's length or width, lying as the pocket does.

    What is tested is cut along the same axis of the machine, and across the grain the same way.
    """
    low_x, low_y, high_x, high_y = part.bounds
    size = high_x - low_x if direction == "length" else high_y - low_y
    made = step_gauge(size, ladder, thickness, cutter, f"{direction} {unit}", unit)
    if direction == "length":
        return Coupon("length gauge", made.outer, (made.slot,), made.mark, True).at_origin()
    turn = math.pi / 2
    mark = tuple(tuple((-y, x) for x, y in stroke) for stroke in made.mark)
    outer, slot = made.outer.rotated(turn), made.slot.rotated(turn)
    return Coupon("width gauge", outer, (slot,), mark, True).at_origin()


def end_coupon(
    part: Outline,
    clearance: float,
    run: float,
    cutter: float,
    unit: Unit = "mm",
    finish: Callable[[Outline], Outline] = lambda pocket: pocket,
) -> Coupon:
    """The pocket's left end with both corners; the rest of the part lies over its open side.

    Both flanks are walls, so that the corners are tried at the gap in the piece's name.

    Parameters
    ----------
    part : its outline, centred.
    clearance : mm per side.
    run : mm of side beyond the place where the part has its full width.
    cutter : diameter, mm; by half of it and a little the pocket passes the open edge.
    unit : of the mark.
    finish : what is done to the pocket besides, such as relieving its corners.

    Raises
    ------
    InputError : no run.
    """
    if not run > 0:
        raise InputError(f"a run of {run:g} mm", "coupons", "ask for a run above 0 mm")
    pocket = finish(enlarged(part, even(clearance)))
    low_x, low_y, high_x, high_y = pocket.bounds
    over = cutter / 2 + 1.0
    right = min(_full_width_from(part) + run, high_x + LAND)
    left, bottom, top = low_x - LAND, low_y - LAND, high_y + LAND
    opening = intersection(pocket, _box(left - over, bottom - over, right + over, top + over))
    if not opening:
        raise PlanError("the coupon holds no piece of the pocket", "coupons", "make the run longer")
    return _coupon(clearance, _box(left, bottom, right, top), opening, unit).at_origin()


def _full_width_from(part: Outline) -> float:
    """The x from which on both sides have been at their outermost, coming from the left."""
    points = part.sampled(0.5)
    _, low_y, _, high_y = part.bounds
    x, y = points.T
    return float(max(x[y > high_y - _FULL].min(), x[y < low_y + _FULL].min()))


def width_slip(part: Outline, clearance: Clearance, cutter: float, unit: Unit = "mm") -> Coupon:
    """A channel of the pocket's width, as long as the part and open at both ends."""
    low_x, low_y, high_x, high_y = part.bounds
    low_y, high_y = low_y - clearance.width, high_y + clearance.width
    over = cutter / 2 + 1.0
    outer = _box(low_x, low_y - LAND, high_x, high_y + LAND)
    channel = _box(low_x - over, low_y, high_x + over, high_y)
    return _coupon(clearance.width, outer, (channel,), unit).at_origin()


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
    height = TEXT * min(1.0, (right - left - 2 * TEXT_ROOM) / engraved_width(name, TEXT))
    mark = engraved(name, (left + TEXT_ROOM, bottom + TEXT_ROOM), height)
    return Coupon(name, outer, opening, mark)


def _box(low_x: float, low_y: float, high_x: float, high_y: float) -> Outline:
    return polygon([(low_x, low_y), (high_x, low_y), (high_x, high_y), (low_x, high_y)])
