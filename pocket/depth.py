"""How deep the pocket goes, from the part's thickness and the wanted seat."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from snugline.errors import InputError, PlanError
from snugline.fit.readings.uncertainty_budget import coverage_factor
from snugline.notice import Notice

LEAST_FLOOR = 3.0  # mm (common practice, no source)
_ROCKS = 0.2  # mm of spread that is felt on a flat seat (common practice, no source)


@dataclass(frozen=True)
class Thickness:
    """A part's thickness in mm: mean, U95, spread (greatest less least) and number of readings."""

    value: float
    u95: float
    spread: float = 0.0
    readings: int = 1


def thickness_of(readings: Sequence[float], tool_u: float) -> Thickness:
    """The mean of several readings; what they share by their tool does not average away.

    Parameters
    ----------
    readings : mm.
    tool_u : standard uncertainty of the tool, mm.

    Raises
    ------
    InputError : no reading, or one that is no thickness.
    """
    values = np.asarray(readings, dtype=np.float64)
    if not len(values) or not np.all(np.isfinite(values) & (values > 0)):
        raise InputError(
            f"{list(readings)} are no thicknesses",
            "thickness",
            "give one reading or more, each above 0 mm",
        )
    count = len(values)
    scatter = float(values.std(ddof=1)) / math.sqrt(count) if count > 1 else 0.0
    u = math.hypot(tool_u, scatter)
    # Welch-Satterthwaite: the tool's limit of error counts as known.
    dof = (u / scatter) ** 4 * (count - 1) if scatter > 0 else math.inf
    u95 = coverage_factor(dof) * u if u > 0 else 0.0
    return Thickness(float(values.mean()), u95, float(np.ptp(values)), count)


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
