"""Slips of reading and typing: what was probably meant by a value that cannot be right.

Each kind of slip maps the value as typed to values that may have been meant. Those that agree with
the rest are ranked by Bayes: how common the slip is, times how well its value fits. A slip that
meets the expected value exactly by a factor is far stronger evidence than a bent hook, which can
explain any small difference.
"""

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from snugline.fit.readings.reading import Reading, tool_of, uncertainty
from snugline.lengths import MM_PER_INCH

# How common the slips are among those of one reading. Common practice, no source.
_INCH_FOR_MM, _MM_FOR_INCH, _TEN = 0.16, 0.16, 0.22
_OTHER_SIZE, _SIXTEENTHS, _START, _HOOK = 0.16, 0.12, 0.10, 0.05
_DOUBLED, _SWAPPED_DIGITS = 0.10, 0.03
HOOK_MM = 2.0  # a bent or jammed hook is off by some such size. Common practice, no source.
FITS = 3.3  # standard uncertainties within which a value counts as the one that was meant
_MOST = 3
_TYPICAL_SPREAD = 0.9  # of the logarithm of a size of which only what is typical is known
_SELDOM = 0.3  # of a factor ten in a value whose digits are inches: rather the unit is wrong
_UNLIKELY = 0.1  # of a slip of the unit, where the digits are not that unit's. Common practice.
_BETWEEN_MARKS = 0.15  # common practice, no source
# A part that no photo shows whole is this many times as long as what one shows, and the logarithm
# of that has this standard deviation. Common practice, no source.
_TIMES_SHOWN, _TIMES_SPREAD = 2.5, 0.6
_ROUNDED = math.sqrt(3)  # limit of an even distribution over its standard uncertainty
_VAGUE_MM = 2.0  # what is known no better than this is not offered as the value that was meant
_SIZE_U_SHARE = 0.005  # of a dimension as the photos show it, before anything is adjusted


@dataclass(frozen=True)
class Slip:
    """One explanation of a wrong value.

    Attributes
    ----------
    kind : stable name, for programs.
    words : the explanation, as the end of a question: `ten times too small`.
    meant : mm, the value that was probably meant.
    weight : among the slips that explain the value.
    """

    kind: str
    words: str
    meant: float
    weight: float


@dataclass(frozen=True)
class Expected:
    """What everything else gives for a dimension.

    Attributes
    ----------
    value, u : mm; None where only limits are known.
    least, most : mm, limits.
    typical : mm, where only limits are known; 0 for what the least of it suggests.
    """

    value: float | None
    u: float = 0.0
    least: float = 0.0
    most: float = math.inf
    typical: float = 0.0

    def off(self, value: float, u: float) -> float:
        """How far a value is off, in standard uncertainties of the comparison."""
        if self.value is not None:
            return abs(value - self.value) / math.hypot(u, self.u)
        beyond = max(self.least - value, value - self.most, 0.0)
        return beyond / math.hypot(u, self.u) if beyond else 0.0


def likely_slips(
    reading: Reading,
    expected: Expected,
    others: Mapping[str, float] | None = None,
    typed: Mapping[str, float] | None = None,
    most: int = _MOST,
) -> tuple[Slip, ...]:
    """What may have gone wrong with a reading's mean, the likeliest first.

    Parameters
    ----------
    others : what is known of the part's other dimensions, mm, by their names: one may have been
        typed for the other.
    typed : what was typed for the other dimensions, mm: they may have changed places.
    most : slips that are given.
    """
    value = reading.value
    own = uncertainty(reading).u
    found = []
    for kind, words, meant, prior, blur in _candidates(reading, value):
        if not meant > 0:
            continue
        at, on_scale = _on_scale(reading, meant, blur) if kind != "hook" else (meant, 1.0)
        u = math.hypot(uncertainty(replace(reading, values_mm=(at,))).u, blur)
        if expected.off(at, u) <= FITS:
            # A slip by a factor spreads what was meant over as many times more or less.
            weight = prior * on_scale * _density(at, u, expected) * at / value
            found.append(Slip(kind, words, at, weight))
    found += _other_size(reading, own, expected, others or {}, typed or {})
    total = sum(slip.weight for slip in found)
    found.sort(key=lambda slip: -slip.weight)
    return tuple(
        Slip(slip.kind, slip.words, slip.meant, slip.weight / total if total > 0 else 0.0)
        for slip in found[:most]
    )


def _other_size(
    reading: Reading,
    own: float,
    expected: Expected,
    others: Mapping[str, float],
    typed: Mapping[str, float],
) -> Iterator[Slip]:
    """Another dimension typed for this one; what was meant may be entered under the other."""
    for what in (others.keys() | typed.keys()) - {reading.what}:
        meant = typed.get(what)
        fits = meant is not None and meant != reading.value and expected.off(meant, own) <= FITS
        # That a value meets another dimension by chance is as unlikely as that is narrow.
        met = max(
            (
                math.exp(-0.5 * ((reading.value - known[what]) / spread) ** 2) / spread
                for known in (others, typed)
                if what in known
                and abs(reading.value - known[what])
                <= FITS * (spread := own + _SIZE_U_SHARE * known[what])
            ),
            default=0.0,
        )
        if fits and meant is not None and (met or expected.value is not None):
            words = f"{reading.what} and {what} changed places"
            weight = met or _density(meant, own, expected)
        elif met:
            words = f"the {what}, typed for the {reading.what}"
            known_mm = expected.value if expected.u < _VAGUE_MM else None
            meant = reading.value if known_mm is None else known_mm  # as read: nobody knows
            weight = met
        else:
            continue
        yield Slip("other-dimension", words, meant, _OTHER_SIZE * weight)


def _density(meant: float, u: float, expected: Expected) -> float:
    """Likelihood of a value that was meant, where only limits are known up to a factor."""
    if expected.value is None and (expected.least > 0 or expected.typical > 0):
        # Of a part whose ends were photographed apart, from what the photos show of it.
        typical = expected.typical or _TIMES_SHOWN * expected.least
        spread = _TYPICAL_SPREAD if expected.typical else _TIMES_SPREAD
        apart = math.log(meant / typical) / spread
        return math.exp(-0.5 * apart**2) / meant
    if expected.value is None:
        return 1 / max(meant, 1.0)  # sizes are spread evenly in the logarithm
    spread = math.hypot(u, expected.u)
    return math.exp(-0.5 * ((meant - expected.value) / spread) ** 2) / spread


def _candidates(reading: Reading, value: float) -> Iterator[tuple[str, str, float, float, float]]:
    """Kind, words, value meant, prior, and by how much it is vague (mm)."""
    inches = value / MM_PER_INCH
    in_inches = _whole(inches * 64) and not _whole(value * 100)
    # The digits tell the unit that was typed: 88.1 mm is 3.4685 in, which nobody types.
    in_mm = _whole(value * 100) and not (_whole(inches * 1000) or _whole(inches * 64))
    unit = _UNLIKELY if in_mm else 1.0
    yield (
        "inch-for-mm", "typed in millimetres, read in inches", value * MM_PER_INCH,
        _MM_FOR_INCH, _rounding(value) * MM_PER_INCH,
    )  # fmt: skip
    yield (
        "mm-for-inch", "typed in inches, read in millimetres", inches,
        _INCH_FOR_MM * unit, _rounding(inches),
    )  # fmt: skip
    typed_in_inches = not _whole(value * 100) and _whole(inches * 1000)
    ten = _TEN * (_SELDOM if typed_in_inches else 1.0)
    yield "factor-10", "ten times too small", value * 10, ten, 0.0
    yield "factor-10", "ten times too large", value / 10, ten, 0.0
    for meant in _sixteenths(inches):
        yield "tenths-for-sixteenths", "tenths of an inch for sixteenths", meant, _SIXTEENTHS, 0.0
    if not in_inches:
        for meant in _sixteenths(value):
            yield (
                "tenths-for-sixteenths", "inches in millimetres, tenths for sixteenths", meant,
                _SIXTEENTHS / 4, 0.0,
            )  # fmt: skip
    tool = tool_of(reading)
    if tool.kind in ("tape", "rule"):
        marks = ((MM_PER_INCH, "the 1 in mark"), (10.0, "the 10 mm mark"), (100.0, "100 mm"))
        for start, name in marks:
            prior = _START if tool.from_mark or start != 100.0 else _START / 3
            yield "start-forgotten", f"read from {name} and not taken off", value - start, prior, 0
        if tool.kind == "tape" and not tool.from_mark:
            yield "hook", "the tape's hook bent, jammed or not hooked on", value, _HOOK, HOOK_MM
    if reading.what == "corner radius":
        yield "doubled", "the diameter, not the radius", value / 2, _DOUBLED, 0.0
        yield "doubled", "half of the radius", value * 2, _DOUBLED / 2, 0.0
    for meant in _digits_swapped(value):
        yield "digits-swapped", "two digits swapped", meant, _SWAPPED_DIGITS, 0.0


def _on_scale(reading: Reading, meant: float, blur: float) -> tuple[float, float]:
    """The mark of a tape's or rule's scale that was meant, and how plausible that makes the value.

    A tape is not read to a tenth of a millimetre: a value between the marks was hardly meant.
    """
    if tool_of(reading).kind not in ("tape", "rule"):
        return meant, 1.0
    for step in (MM_PER_INCH / 16, 0.5, MM_PER_INCH / 32):
        mark = round(meant / step) * step
        if abs(mark - meant) <= _ROUNDED * blur + 1e-3:
            return mark, 1.0
    return meant, _BETWEEN_MARKS


def _whole(value: float) -> bool:
    return abs(value - round(value)) < 1e-3


def _rounding(value: float) -> float:
    """What a value was rounded to when typed, as a standard uncertainty: half a last digit."""
    digits = f"{value:.3f}".rstrip("0").partition(".")[2]
    return 0.5 * 10.0 ** -len(digits) / math.sqrt(3)


def _sixteenths(inches: float) -> Iterator[float]:
    """7.3 for 7 3/16, and 7 3/16 for 7.3; mm."""
    whole, rest = math.floor(inches + 1e-6), inches - math.floor(inches + 1e-6)
    if _whole(rest * 10) and 0 < round(rest * 10) < 10:
        yield (whole + round(rest * 10) / 16) * MM_PER_INCH
    elif _whole(rest * 100) and 10 <= round(rest * 100) < 16:  # 7.11 for 7 11/16
        yield (whole + round(rest * 100) / 16) * MM_PER_INCH
    if _whole(rest * 16) and 0 < round(rest * 16) < 10:
        yield (whole + round(rest * 16) / 10) * MM_PER_INCH


def _digits_swapped(value: float) -> Iterator[float]:
    text = re.sub(r"\.?0+$", "", f"{value:.2f}")
    digits = [i for i, c in enumerate(text) if c.isdigit()]
    for a, b in pairwise(digits):
        if text[a] != text[b]:
            swapped = list(text)
            swapped[a], swapped[b] = text[b], text[a]
            yield float("".join(swapped))


# Of each kind of slip that moves a value by a rule of its own.
_COMMON = {
    "inch-for-mm": _MM_FOR_INCH,
    "mm-for-inch": _INCH_FOR_MM,
    "factor-10": _TEN,
    "other-dimension": _OTHER_SIZE,
    "tenths-for-sixteenths": _SIXTEENTHS,
    "start-forgotten": _START,
    "doubled": _DOUBLED,
    "digits-swapped": _SWAPPED_DIGITS,
}


def prior_of(slip: Slip) -> float:
    """How common a kind of slip is among slips; 0 for one that explains any small difference."""
    return _COMMON.get(slip.kind, 0.0)


def how_common(slips: Sequence[Slip]) -> float:
    """How common the likeliest of these slips is; 0 where only a bent hook explains the value."""
    return max(map(prior_of, slips), default=0.0)


def first_words(slips: Sequence[Slip]) -> str:
    """The slips as one question with a capital, such as `Ten times too small?`."""
    words = ", or ".join(slip.words for slip in slips)
    return f"{words[0].upper()}{words[1:]}?" if slips else ""
