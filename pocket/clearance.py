"""The gap between part and wood along both axes, and what it is worth against the U95."""

import math
from dataclasses import dataclass

from snugline.errors import InputError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.part_uncertainty import PartUncertainty, SizeRead
from snugline.lengths import format_length
from snugline.notice import Notice
from snugline.place import Where
from snugline.sentence import Sentence, length

STEP = 0.05  # mm; clearances are offered on this grid


@dataclass(frozen=True)
class Clearance:
    """Gap per side along the part's length and its width, mm; negative squeezes a soft part."""

    length: float
    width: float

    def along(self, direction: str) -> float:
        return self.length if direction == "length" else self.width

    @property
    def least(self) -> float:
        return min(self.length, self.width)

    @property
    def even(self) -> bool:
        return self.length == self.width

    def named(self, unit: Unit) -> str:
        """As written in titles and file names, in the job's unit.

        >>> Clearance(0.6, 0.4).named("mm")
        'length 0.60 mm width 0.40 mm'
        """
        if self.even:
            return format_length(self.length, unit)
        return f"length {format_length(self.length, unit)} width {format_length(self.width, unit)}"

    def as_json(self) -> float | dict[str, float]:
        """One number where both axes have the same, else both; mm."""
        return self.length if self.even else {"length": self.length, "width": self.width}


def even(mm: float) -> Clearance:
    """The same gap all round."""
    return Clearance(mm, mm)


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


def gaps(clearance: Clearance, part: PartUncertainty) -> tuple[Gap, Gap]:
    """The gap along the length and the width."""
    return (
        Gap("length", clearance.length, part.per_side("length")),
        Gap("width", clearance.width, part.per_side("width")),
    )


def checked_clearance(clearance: float, where: Where, squeeze: float = 0.0) -> float:
    """The clearance itself, if it can be one.

    Parameters
    ----------
    squeeze : mm per side that a soft part may be squeezed by: so far below 0 it may go.
    """
    if math.isfinite(clearance) and clearance >= -squeeze - 1e-9:
        return clearance
    if squeeze > 0:
        raise InputError(
            f"a clearance of {clearance:g} mm squeezes the part by more than the {squeeze:g} mm "
            "that it may be squeezed by",
            where,
            "give a smaller squeeze, or raise the limit: squeeze = ...",
        )
    raise InputError(
        f"a clearance of {clearance:g} mm is negative",
        where,
        'give the gap per side, 0 mm or more; only a soft part (kind = "soft") can be squeezed',
    )


def clearance_notices(
    clearance: Clearance, part: PartUncertainty, doubted: bool
) -> tuple[Notice, ...]:
    """A remark for each direction whose U95 is larger than the clearance.

    Parameters
    ----------
    doubted : whether the part may not go in; otherwise the remark is for information.
    """
    notices = []
    for gap in gaps(clearance, part):
        if gap.u95 <= gap.clearance:
            continue
        whole = part.length if gap.direction == "length" else part.width
        enough = math.ceil(gap.u95 / STEP) * STEP
        best = min(part.gains.get(gap.direction, ()), key=lambda gain: gain.u95, default=None)
        mend = Sentence("use {} or more, or cut a coupon first", length(enough))
        if best is not None and best.u95 < whole:
            mend = Sentence(
                f"take {best.by}: the U95 of the {gap.direction} would fall from {{}} to {{}}; or "
                "use {} or more, or cut a coupon first",
                length(whole),
                length(best.u95),
                length(enough),
            )
        notices.append(
            Notice(
                "clearance-below-uncertainty",
                Sentence(
                    "a clearance of {} per side is below the {} that the part's "
                    f"{gap.direction} is uncertain by per side (U95)",
                    length(gap.clearance),
                    length(gap.u95),
                ),
                mend,
                "check" if doubted else "note",
                gap.direction,
            )
        )
    return tuple(notices)


def disagreement_notices(
    clearance: Clearance,
    part: PartUncertainty,
    size: tuple[float, float],
    blocked: bool = False,
) -> tuple[Notice, ...]:
    """A remark where a hand reading and the outline differ by more than the gap takes up."""
    notices = []
    for direction, drawn in zip(("length", "width"), size, strict=True):
        for read in contradicting(part, direction, drawn):
            apart = read.value - drawn
            if apart / 2 <= clearance.along(direction):
                continue
            notices.append(
                Notice(
                    "reading-and-outline-disagree",
                    Sentence(
                        f"the {read.tool or 'reading'} gives a {direction} of {{}}, the outline "
                        "has {}: {} apart, more than the gap on both sides",
                        length(read.value),
                        length(drawn),
                        length(abs(apart)),
                    ),
                    f"read the {direction} again, with another tool if you can; a part as large "
                    "as read does not go in",
                    "cannot be cut" if blocked else "check",
                    direction,
                )
            )
    return tuple(notices)


def contradicting(part: PartUncertainty, direction: str, drawn: float) -> tuple[SizeRead, ...]:
    """The readings of a dimension that lie further from the outline's than their own U95."""
    return tuple(
        read for read in part.read.get(direction, ()) if abs(read.value - drawn) > 1.96 * read.u
    )
