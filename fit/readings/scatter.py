"""Repeated readings that scatter more than their tools: a slip, or the part itself.

A value is odd where it lies farther from the median of the others than their tools allow. If a
slip turns it into what the others give, it is a slip, and only the others count. If none does, a
part that is not of one size (hand-split slate, a tapered board) explains it as far as such parts
vary; beyond that the readings contradict each other.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal

from snugline.fit.readings.reading import CALIPER_CONTACT, Reading, tool_of, uncertainty
from snugline.fit.readings.slips import FITS, Expected, Slip, likely_slips

# How far one part's dimension may vary from place to place, as a share of it: hand-split stone,
# castings, planed boards. Common practice, no source.
VARIES = {"thickness": 0.35, "length": 0.004, "width": 0.004, "corner radius": 0.35}
LEAST_VARIATION = 0.5  # mm
# Of two values that contradict each other the one nearer to this goes on, since something has to:
# the thickness of most parts that are let into wood. Common practice, no source.
USUAL_MM = {"thickness": 10.0, "length": 400.0, "width": 150.0, "corner radius": 20.0}

Kind = Literal["alike", "varies", "slip", "contradiction"]


@dataclass(frozen=True)
class Scatter:
    """What repeated readings of one dimension are.

    Attributes
    ----------
    kind : as above; `alike` where the tools explain their scatter.
    readings : those that count, values that are slips taken out.
    odd : the reading and value that do not count, with the slips that explain it.
    values : all values, mm.
    """

    kind: Kind
    readings: tuple[Reading, ...]
    odd: tuple[tuple[Reading, float, tuple[Slip, ...]], ...] = ()
    values: tuple[float, ...] = ()


def scatter_of(readings: Sequence[Reading], what: str) -> Scatter:
    """How the readings of one dimension scatter."""
    taken = tuple(reading for reading in readings if reading.what == what)
    singles = [(reading, value) for reading in taken for value in reading.values_mm]
    values = tuple(value for _, value in singles)
    odd = [i for i in range(len(singles)) if _odd(singles, i)]
    if not odd:
        return Scatter("alike", taken, values=values)
    slips = {i: _slips(singles, i) for i in odd}
    if any(slips.values()):
        wrong = _wrong(singles, slips)
        kind: Kind = "slip"
    elif max(values) - min(values) <= max(VARIES[what] * median(values), LEAST_VARIATION):
        return Scatter("varies", taken, values=values)
    else:
        near = min(values, key=lambda value: abs(math.log(value / USUAL_MM[what])))
        wrong = [i for i, (_, value) in enumerate(singles) if value != near and i in odd]
        kind = "contradiction"
    out = tuple((*singles[i], slips[i]) for i in wrong)
    return Scatter(kind, _kept(taken, {(id(r), v) for r, v, _ in out}), out, values)


def _odd(singles: Sequence[tuple[Reading, float]], i: int) -> bool:
    others = [value for k, (_, value) in enumerate(singles) if k != i]
    if not others:
        return False
    u = _single_u(singles[i][0])
    of_others = max(_single_u(reading) for k, (reading, _) in enumerate(singles) if k != i)
    apart = abs(singles[i][1] - median(others))
    return apart > FITS * math.hypot(u, of_others / math.sqrt(len(others)))


def _single_u(reading: Reading) -> float:
    """Standard uncertainty of one value relative to another of the same part, mm."""
    one = replace(reading, values_mm=(reading.value,), step_mm=reading.step_mm)
    if tool_of(reading).kind == "caliper":
        return math.hypot(uncertainty(one).own, CALIPER_CONTACT / math.sqrt(3))
    return uncertainty(one).u


def _slips(singles: Sequence[tuple[Reading, float]], i: int) -> tuple[Slip, ...]:
    reading, value = singles[i]
    others = [v for k, (_, v) in enumerate(singles) if k != i]
    u = max(_single_u(r) for k, (r, _) in enumerate(singles) if k != i)
    one = replace(reading, values_mm=(value,))
    return tuple(s for s in likely_slips(one, Expected(median(others), u)) if s.kind != "hook")


def _wrong(
    singles: Sequence[tuple[Reading, float]], slips: dict[int, tuple[Slip, ...]]
) -> list[int]:
    """Which of the odd values are the slips: the fewer, or of two the less usual size."""
    explained = [i for i, found in slips.items() if found]
    if len(explained) * 2 < len(singles) or len(explained) == 1:
        return explained
    usual = USUAL_MM[singles[0][0].what]
    return [max(explained, key=lambda i: abs(math.log(singles[i][1] / usual)))]


def _kept(readings: Sequence[Reading], out: set[tuple[int, float]]) -> tuple[Reading, ...]:
    kept = []
    for reading in readings:
        values = tuple(v for v in reading.values_mm if (id(reading), v) not in out)
        if values:
            kept.append(replace(reading, values_mm=values))
    return tuple(kept)
