"""How deep the pocket goes, from the part's thickness and the seating height wanted."""

from collections.abc import Iterator
from dataclasses import dataclass

from snugline.errors import InputError, PlanError
from snugline.fit.readings.thickness import Thickness
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.pocket.choices import PocketChoices
from snugline.pocket.tool_shape import Cutter
from snugline.sentence import Sentence, length, number

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
    above : how far the part projects above the finished face; negative is below.
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
    """Depth at which the part projects `above` mm over the finished face.

    Parameters
    ----------
    above : seating height wanted: 0 is flush, positive above, negative below, mm.
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
    depth = thickness.thickest - above + removal
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


def depth_notices(depth: Depth, thickness: Thickness, choices: PocketChoices) -> tuple[Notice, ...]:
    """Remarks on a thin floor, on the cutter's length, and on a part of uneven thickness."""
    notices = [*_floor_notices(depth, choices.floor)]
    notices += _cutter_length_notices(depth, choices.cutter)
    if thickness.spread > _ROCKS and not thickness.varies:
        notices.append(
            Notice(
                "uneven-thickness",
                Sentence("the thickness readings differ by {}", length(thickness.spread)),
                "the depth is for their mean; check the part on a flat table, and shim it or "
                "cut for its thickest place",
                "check",
            )
        )
    return tuple(notices)


def _floor_notices(depth: Depth, stated: float | None) -> Iterator[Notice]:
    if depth.floor is None:
        return
    least = LEAST_FLOOR if stated is None else stated
    about = OfKey(("pocket", "stock", "thickness"))
    if depth.floor <= depth.u95:
        yield Notice(
            "floor-below-uncertainty",
            Sentence(
                "only {} of floor is left, less than the depth is uncertain by (U95 {}): the "
                "cutter may break through",
                length(depth.floor),
                length(depth.u95),
            ),
            "use thicker stock, or let the part stand higher",
            "cannot be cut",
            about,
        )
    elif depth.floor < least:
        asked = "at least {} is usual" if stated is None else "the job asks for {}"
        yield Notice(
            "thin-floor",
            Sentence(f"only {{}} of floor is left; {asked}", length(depth.floor), length(least)),
            "use thicker stock, or cut the pocket with a sacrificial board underneath",
            "check" if stated is None else "cannot be cut",
            about,
        )


def _cutter_length_notices(depth: Depth, cutter: Cutter | None) -> Iterator[Notice]:
    if cutter is None or cutter.length is None:
        return
    about = OfKey(("pocket", "cutter", "length"))
    if cutter.length < depth.deepest:
        yield Notice(
            "cutter-shorter-than-depth",
            Sentence(
                "the cutting length of {} is less than the depth of {}: shank or collet would rub "
                "on the wall",
                length(cutter.length),
                length(depth.deepest),
            ),
            "use a longer cutter",
            "cannot be cut",
            about,
        )
    elif cutter.length > SLENDER * cutter.diameter:
        yield Notice(
            "cutter-slender",
            Sentence(
                "a {} cutter with a cutting length of {} bends, and the walls lean: it is {} times "
                "as long as thick ({} times is a usual limit)",
                length(cutter.diameter),
                length(cutter.length),
                number(cutter.length / cutter.diameter),
                number(SLENDER),
            ),
            Sentence("use a shorter cutter; the pocket is {} deep", length(depth.deepest)),
            "check",
            about,
        )
