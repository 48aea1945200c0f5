"""How deep the pocket goes, from the part's thickness and the wanted seat."""

from collections.abc import Iterator
from dataclasses import dataclass

from snugline.errors import InputError, PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.readings.thickness import Thickness
from snugline.lengths import format_length
from snugline.notice import Notice
from snugline.pocket.choices import Cutter, PocketChoices

LEAST_FLOOR = 3.0  # mm (common practice, no source)
SLENDER = 8.0  # cutting length over diameter (common practice, no source)
_ROCKS = 0.2  # mm of spread that is felt on a flat seat (common practice, no source)


@dataclass(frozen=True)
class Depth:
    """Depths in mm below the board's face as it is when the pocket is cut.

    Attributes
    ----------
    pocket : of the seat.
    deepest : of anything cut, its steps and holes that end in the wood included.
    above : how far the part stands above the finished face; negative is below.
    u95 : of `above`.
    floor : wood left under the deepest cut; None where the stock's thickness is not known.
    """

    pocket: float
    deepest: float
    above: float
    u95: float
    floor: float | None


def pocket_depth(
    thickness: Thickness,
    above: float = 0.0,
    removal: float = 0.0,
    deeper: float = 0.0,
    stock: float | None = None,
) -> Depth:
    """Depth at which the part stands `above` mm over the finished face.

    Parameters
    ----------
    above : wanted seat: 0 is flush, positive above, negative below, mm.
    removal : wood sanded or planed off the face after the pocket is cut, mm.
    deeper : how far a step goes below the seat, mm.
    stock : thickness of the board when the pocket is cut, mm.

    Raises
    ------
    PlanError : a pocket that goes through the board, or is none.
    InputError : negative removal.
    """
    if removal < 0:
        raise InputError(
            f"a removal of {removal:g} mm is negative",
            "sanding",
            "give the thickness taken off after the pocket is cut, 0 mm or more",
        )
    depth = thickness.value - above + removal
    if depth <= 0:
        raise PlanError(
            f"a part {thickness.value:.2f} mm thick cannot stand {above:.2f} mm above the face",
            "seat",
            "let it stand above by less than its thickness",
        )
    deepest = depth + max(deeper, 0.0)
    if stock is not None and deepest >= stock:
        raise PlanError(
            f"a depth of {deepest:.2f} mm goes through the board of {stock:.2f} mm",
            "pocket depth",
            f"use stock of {deepest + LEAST_FLOOR:.1f} mm or more, or let the part stand higher",
        )
    floor = None if stock is None else stock - deepest
    return Depth(depth, deepest, above, thickness.u95, floor)


def depth_notices(
    depth: Depth, thickness: Thickness, choices: PocketChoices, unit: Unit = "mm"
) -> tuple[Notice, ...]:
    """Remarks on a thin floor, on the cutter's length, and on a part of uneven thickness."""
    notices = [*_floor_notices(depth, choices.floor, unit)]
    notices += _cutter_length_notices(depth, choices.cutter, unit)
    if thickness.spread > _ROCKS:
        notices.append(
            Notice(
                "uneven-thickness",
                f"the thickness readings differ by {format_length(thickness.spread, unit)}",
                "the depth is for their mean; check the part on a flat table, and shim it or "
                "cut for its thickest place",
                "check",
            )
        )
    return tuple(notices)


def _floor_notices(depth: Depth, stated: float | None, unit: Unit) -> Iterator[Notice]:
    if depth.floor is None:
        return
    least = LEAST_FLOOR if stated is None else stated
    left, doubt = format_length(depth.floor, unit), format_length(depth.u95, unit)
    if depth.floor <= depth.u95:
        yield Notice(
            "floor-below-uncertainty",
            f"only {left} of floor is left, less than the depth is uncertain by (U95 {doubt}): "
            "the cutter may break through",
            "use thicker stock, or let the part stand higher",
            "cannot be cut",
        )
    elif depth.floor < least:
        asked = format_length(least, unit)
        yield Notice(
            "thin-floor",
            f"only {left} of floor is left; "
            + (f"at least {asked} is usual" if stated is None else f"the job asks for {asked}"),
            "use thicker stock, or cut the pocket with a sacrificial board underneath",
            "check" if stated is None else "cannot be cut",
        )


def _cutter_length_notices(depth: Depth, cutter: Cutter | None, unit: Unit) -> Iterator[Notice]:
    if cutter is None or cutter.length is None:
        return
    long, width = format_length(cutter.length, unit), format_length(cutter.diameter, unit)
    if cutter.length < depth.deepest:
        yield Notice(
            "cutter-shorter-than-depth",
            f"the cutting length of {long} is less than the depth of "
            f"{format_length(depth.deepest, unit)}: shank or collet would rub on the wall",
            "use a longer cutter",
            "cannot be cut",
        )
    elif cutter.length > SLENDER * cutter.diameter:
        yield Notice(
            "cutter-slender",
            f"a {width} cutter with a cutting length of {long} bends, and the walls lean: it is "
            f"{cutter.length / cutter.diameter:.0f} times as long as thick ({SLENDER:.0f} times "
            "is a usual limit)",
            f"use a shorter cutter; the pocket is {format_length(depth.deepest, unit)} deep",
            "check",
        )
