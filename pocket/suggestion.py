"""A clearance to start with along each axis, as a sum with its lines; offered, never applied."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from snugline.fit.drawing.drawing import Unit
from snugline.pocket.clearance import STEP
from snugline.pocket.fits import COMMON_PRACTICE, fit_of
from snugline.pocket.season import SeasonalGap
from snugline.pocket.width_error import WidthError
from snugline.pocket.wood import DIRECTIONS, Direction
from snugline.sentence import Sentence, length

_RUNGS = 9
_COARSE = 0.1  # mm; the step of the rungs where the uncertainty is large


@dataclass(frozen=True)
class Line:
    """One line of the sum, mm per side."""

    what: Sentence
    low: float
    high: float


@dataclass(frozen=True)
class AxisSuggestion:
    """For one axis: least and greatest clearance, mm per side, and the lines they are the sum of.

    Attributes
    ----------
    ladder : clearances to cut coupons at, mm, ascending; without the season, which no coupon
        feels.
    """

    direction: Direction
    low: float
    high: float
    ladder: tuple[float, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True)
class Suggestion:
    """Clearances to start with along the length and along the width."""

    length: AxisSuggestion
    width: AxisSuggestion

    @property
    def axes(self) -> tuple[AxisSuggestion, AxisSuggestion]:
        return self.length, self.width

    @property
    def low(self) -> float:
        """Good for both axes, mm per side."""
        return max(self.length.low, self.width.low)

    @property
    def high(self) -> float:
        return max(self.length.high, self.width.high)

    @property
    def ladder(self) -> tuple[float, ...]:
        """Rungs for the width, which a coupon tests first."""
        return self.width.ladder

    @property
    def basis(self) -> Sentence:
        """Where the figures come from, in one line for both axes."""
        of_axes = (
            Sentence.joined([f"along the {axis.direction}", sum_in_words(axis)])
            for axis in self.axes
        )
        return Sentence.joined(of_axes, "; ")

    def as_json(self, unit: Unit = "mm") -> dict[str, Any]:
        return {
            "low": self.low,
            "high": self.high,
            "ladder": list(self.ladder),
            "basis": self.basis.in_unit(unit),
            "axes": {
                axis.direction: {
                    "low": axis.low,
                    "high": axis.high,
                    "ladder": list(axis.ladder),
                    "lines": [
                        {"what": str(line.what), "low": line.low, "high": line.high}
                        for line in axis.lines
                    ],
                }
                for axis in self.axes
            },
        }


def sum_in_words(axis: AxisSuggestion) -> Sentence:
    """`0.45 mm to 0.60 mm: 0.10 mm to 0.25 mm (a firm part: ...) + 0.35 mm (...)`."""
    lines = []
    for line in axis.lines:
        figures = [length(line.low), length(line.high)][: 1 + (line.low != line.high)]
        places = " to ".join("{}" for _ in figures)
        template = f"{places} ({line.what.template})"
        lines.append(Sentence(template, *figures, *line.what.figures))
    whole = Sentence("{} to {}:", length(axis.low), length(axis.high))
    return Sentence.joined([whole, Sentence.joined(lines, " + ")])


def suggest(
    kind: str,
    part_u95: Mapping[str, float],
    width_error: WidthError | None = None,
    seasons: Sequence[SeasonalGap] = (),
) -> Suggestion:
    """Starting values for a kind of part along both axes.

    Parameters
    ----------
    kind : `soft`, `firm`, `brittle` or `metal`.
    part_u95 : mm per side, by direction.
    width_error : the machine's own, from its records.
    seasons : gaps at the extremes; what they close is added to the axis it acts on.
    """
    along, across = (
        _axis(kind, direction, part_u95[direction], width_error, seasons)
        for direction in DIRECTIONS
    )
    return Suggestion(along, across)


def _axis(
    kind: str,
    direction: Direction,
    part_u95: float,
    width_error: WidthError | None,
    seasons: Sequence[SeasonalGap],
) -> AxisSuggestion:
    fit = fit_of(kind)
    lines = [Line(Sentence(f"a {kind} part: {COMMON_PRACTICE}"), fit.low, fit.high)]
    if part_u95 >= STEP / 10:
        lines.append(Line(Sentence(f"U95 of the {direction} per side"), part_u95, part_u95))
    if width_error is not None and width_error.cuts:
        shift = -width_error.value if width_error.claimed else 0.0
        lines.append(Line(width_error.sentence(), shift, shift))
    now = (sum(line.low for line in lines), sum(line.high for line in lines))
    closes = max((g.closes + g.u95 for g in seasons if g.direction == direction), default=0.0)
    worst = max((g.closes for g in seasons if g.direction == direction), default=0.0)
    if worst > 0 and closes >= STEP / 10:
        lines.append(Line(Sentence("the worst season, with its U95"), closes, closes))
    floor = -fit.squeeze
    low, high = (max(floor, sum(getattr(line, k) for line in lines)) for k in ("low", "high"))
    # Up to the grid: a suggestion that is rounded down is short of its own sum.
    return AxisSuggestion(
        direction,
        _up(low),
        max(_up(low), _on_grid(high)),
        _ladder(*now, fit.squeeze),
        tuple(lines),
    )


def _ladder(low: float, high: float, squeeze: float) -> tuple[float, ...]:
    """Even rungs, 0.05 or 0.1 mm apart, from the least to the greatest clearance suggested.

    The least is one step for a rigid part, never zero: the first rung that admits the part shows
    where its gap is nil, and from there the suggestion is counted. Where that takes too many
    rungs, they lie about the suggestion.
    """
    step = STEP if high <= STEP * _RUNGS + 1e-9 else _COARSE
    least = step if squeeze == 0 else math.ceil(-squeeze / step - 1e-9) * step
    first = least
    if high > least + step * (_RUNGS - 1) + 1e-9:
        first = max(least, round((low + high) / 2 / step) * step - step * (_RUNGS // 2))
    count = min(_RUNGS, max(3, math.ceil((high - first) / step - 1e-9) + 1))
    return tuple(round(first + k * step, 2) for k in range(count))


def _up(mm: float) -> float:
    return round(math.ceil(mm / STEP - 1e-6) * STEP, 2)


def _on_grid(mm: float) -> float:
    return round(round(mm / STEP) * STEP, 2)
