"""The gap between part and wood: what to start with, and what it is worth against the U95."""

import math
from dataclasses import dataclass

from snugline.errors import InputError
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.notice import Notice
from snugline.place import Where
from snugline.pocket.fits import COMMON_PRACTICE, fit_of
from snugline.pocket.overcut import Overcut

_STEP = 0.05  # mm; clearances are offered on this grid
_RUNGS = 5


@dataclass(frozen=True)
class Gap:
    """The gap per side in one direction, as cut: least, nominal and greatest, mm."""

    direction: str
    clearance: float
    u95: float

    @property
    def least(self) -> float:
        return self.clearance - self.u95

    @property
    def greatest(self) -> float:
        return self.clearance + self.u95


def gaps(clearance: float, part: PartUncertainty) -> tuple[Gap, Gap]:
    """The gap along the length and the width."""
    return (
        Gap("length", clearance, part.per_side("length")),
        Gap("width", clearance, part.per_side("width")),
    )


def checked_clearance(clearance: float, where: Where) -> float:
    """The clearance itself, if it can be one."""
    if not (math.isfinite(clearance) and clearance >= 0):
        raise InputError(
            f"a clearance of {clearance:g} mm is negative",
            where,
            "give the gap per side, 0 mm or more",
        )
    return clearance


def clearance_notices(clearance: float, part: PartUncertainty) -> tuple[Notice, ...]:
    """A remark for each direction whose U95 is larger than the clearance."""
    notices = []
    for gap in gaps(clearance, part):
        if gap.u95 <= clearance:
            continue
        gains = part.gains.get(gap.direction, ())
        best = min(gains, key=lambda gain: gain.u95, default=None)
        mend = f"use {math.ceil(gap.u95 / _STEP) * _STEP:.2f} mm or more, or cut a coupon first"
        whole = part.length if gap.direction == "length" else part.width
        if best is not None and best.u95 < whole:
            mend = (
                f"take {best.by}: it would bring the {gap.direction} from {whole:.2f} mm "
                f"to {best.u95:.2f} mm U95; or {mend}"
            )
        notices.append(
            Notice(
                "clearance-below-uncertainty",
                f"a clearance of {clearance:.2f} mm per side is below the {gap.u95:.2f} mm that "
                f"the part's {gap.direction} is uncertain by per side (U95)",
                mend,
                "usable",
                gap.direction,
            )
        )
    return tuple(notices)


@dataclass(frozen=True)
class Suggestion:
    """A clearance to start with; offered, never applied.

    Attributes
    ----------
    low, high : mm per side.
    ladder : clearances to cut coupons at, mm, ascending.
    basis : where the figures come from.
    """

    low: float
    high: float
    ladder: tuple[float, ...]
    basis: str


def suggest(
    kind: str,
    part_u95: float,
    overcut: Overcut | None = None,
    season_closes: float = 0.0,
) -> Suggestion:
    """Starting values for a kind of part, corrected by what the shop's records know.

    Parameters
    ----------
    kind : `soft`, `firm`, `brittle` or `metal`.
    part_u95 : mm per side.
    overcut : the machine's own, from its records.
    season_closes : mm per side by which the gap shrinks at the worst time of the year.
    """
    fit = fit_of(kind)
    shift = season_closes - (overcut.value if overcut else 0.0)
    low, high = max(0.0, fit.low + shift), max(0.0, fit.high + shift)
    basis = f"{COMMON_PRACTICE} (a {kind} part)"
    if overcut is not None and overcut.cuts:
        basis += f"; {overcut.sentence()}"
    if season_closes:
        basis += f"; {season_closes:.2f} mm added for the season"
    doubt = math.hypot((high - low) / 2, part_u95, overcut.u95 if overcut else 0.0)
    return Suggestion(_on_grid(low), _on_grid(high), _ladder((low + high) / 2, doubt), basis)


def _ladder(middle: float, doubt: float) -> tuple[float, ...]:
    """Even rungs about the middle that span the doubt, none negative."""
    step = max(_STEP, math.ceil(2 * doubt / (_RUNGS - 1) / _STEP - 1e-9) * _STEP)
    first = max(0.0, _on_grid(middle - step * (_RUNGS - 1) / 2))
    return tuple(round(first + k * step, 2) for k in range(_RUNGS))


def _on_grid(mm: float) -> float:
    return round(round(mm / _STEP) * _STEP, 2)
