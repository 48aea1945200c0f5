"""How deep the pocket goes, from the part's thickness and the wanted seat."""

from dataclasses import dataclass

from snugline.errors import InputError, PlanError
from snugline.fit.readings.thickness import Thickness
from snugline.notice import Notice

LEAST_FLOOR = 3.0  # mm (common practice, no source)
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
    depth: Depth, thickness: Thickness, cutter_length: float | None
) -> tuple[Notice, ...]:
    """Remarks on a thin floor, a short cutter, and a part of uneven thickness."""
    notices = []
    if depth.floor is not None and depth.floor < LEAST_FLOOR:
        notices.append(
            Notice(
                "thin-floor",
                f"the floor left is {depth.floor:.2f} mm; {LEAST_FLOOR:.0f} mm is common practice",
                "use thicker stock, or cut the pocket with a sacrificial board underneath",
            )
        )
    if cutter_length is not None and cutter_length < depth.deepest:
        notices.append(
            Notice(
                "cutter-shorter-than-depth",
                f"the cutter's {cutter_length:.1f} mm of edge do not reach "
                f"{depth.deepest:.2f} mm deep: its shank or collet would rub on the wall",
                "use a longer cutter",
                "retake",
            )
        )
    if thickness.spread > _ROCKS:
        notices.append(
            Notice(
                "uneven-thickness",
                f"the thickness readings differ by {thickness.spread:.2f} mm",
                "the depth is for their mean; check the part on a flat table, and shim it or "
                "cut for its thickest place",
            )
        )
    return tuple(notices)
