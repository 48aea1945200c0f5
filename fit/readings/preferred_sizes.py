"""The sizes that drawings use: preferred numbers, standard radii, steps of a millimetre or an inch.

Each `Series` gives the values it has near a size, how far apart they lie there, and how common it
is. How common: judgement of the trade, no source; the values themselves come from the standards.
"""

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from snugline.lengths import MM_PER_INCH

System = Literal["metric", "inch"]

# ISO 3:1973, the basic series of preferred numbers. R5, R10 and R20 are every eighth, fourth and
# second number of R40.
R40 = (
    1.0, 1.06, 1.12, 1.18, 1.25, 1.32, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0, 2.12, 2.24, 2.36, 2.5,
    2.65, 2.8, 3.0, 3.15, 3.35, 3.55, 3.75, 4.0, 4.25, 4.5, 4.75, 5.0, 5.3, 5.6, 6.0, 6.3, 6.7, 7.1,
    7.5, 8.0, 8.5, 9.0, 9.5,
)  # fmt: skip
R20, R10, R5 = R40[::2], R40[::4], R40[::8]

# DIN 250, from memory.
DIN_250_FIRST = (
    0.2, 0.4, 0.6, 1, 1.6, 2.5, 4, 6, 10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200,
)  # fmt: skip
DIN_250_SECOND = (0.3, 0.5, 0.8, 1.2, 2, 3, 5, 8, 12, 18, 22, 28, 36, 45, 56, 70, 90, 110, 140, 180)


@dataclass(frozen=True)
class Series:
    """Values that drawings take, by a step or as a table.

    Attributes
    ----------
    share : how often a drawn dimension is meant as one of this series, 0 to 1.
    step : mm between neighbours, 0 for a table.
    table : mm, ascending; empty for a step.
    """

    name: str
    system: System
    share: float
    step: float = 0.0
    table: tuple[float, ...] = ()

    def near(self, value: float, reach: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Values within `reach` of `value`, and the width of size that each represents, mm."""
        if self.step:
            first = max(1, math.ceil((value - reach) / self.step))
            last = math.floor((value + reach) / self.step)
            values = np.arange(first, last + 1) * self.step
            return values.astype(np.float64), np.full(len(values), self.step)
        table = np.array(self.table, dtype=np.float64)
        width: NDArray[np.float64] = np.gradient(table).astype(np.float64)
        inside = np.abs(table - value) <= reach
        return table[inside], width[inside]


def decades(numbers: tuple[float, ...], low: int = -1, high: int = 3) -> tuple[float, ...]:
    """Preferred numbers of one decade, carried through the powers of ten from `low` to `high`."""
    return tuple(
        float(f"{number * 10.0**power:.10g}")
        for power in range(low, high + 1)
        for number in numbers
    )


def _steps(system: System, unit: float, shares: dict[str, float]) -> tuple[Series, ...]:
    return tuple(
        Series(f"{name} {'mm' if system == 'metric' else 'in'}", system, share,
               float(Fraction(name)) * unit)
        for name, share in shares.items()
    )  # fmt: skip


_INCH = _steps(
    "inch",
    MM_PER_INCH,
    {"1": 0.20, "1/2": 0.17, "1/4": 0.16, "1/8": 0.14, "1/16": 0.10, "1/32": 0.05, "1/64": 0.02,
     "1/10": 0.04, "1/20": 0.02},
)  # fmt: skip

LENGTH_SERIES = (
    *_steps("metric", 1.0, {"10": 0.20, "5": 0.17, "1": 0.28, "1/2": 0.10, "1/10": 0.05}),
    Series("R10", "metric", 0.05, table=decades(R10)),
    Series("R20", "metric", 0.03, table=decades(R20)),
    Series("R40", "metric", 0.02, table=decades(R40)),
    *_INCH,
)

RADIUS_SERIES = (
    Series("DIN 250, first choice", "metric", 0.17, table=DIN_250_FIRST),
    Series("DIN 250, second choice", "metric", 0.09, table=DIN_250_SECOND),
    *_steps("metric", 1.0, {"5": 0.12, "1": 0.25, "1/2": 0.15, "1/10": 0.04}),
    Series("R10", "metric", 0.04, table=decades(R10)),
    Series("R20", "metric", 0.02, table=decades(R20)),
    Series("R40", "metric", 0.02, table=decades(R40)),
    *_INCH,
)


def inch_label(mm: float) -> str:
    """Inches as written on a drawing: a fraction to 1/64 where the size is one, else a decimal.

    >>> inch_label(27.78125)
    '1 3/32 in'
    >>> inch_label(109.22)
    '4.3 in'
    """
    inches = mm / MM_PER_INCH
    sixty_fourths = round(inches * 64)
    if not math.isclose(inches * 64, sixty_fourths, rel_tol=1e-9):
        return f"{inches:.10g} in"
    whole, rest = divmod(Fraction(sixty_fourths, 64), 1)
    words = [str(whole)] if whole else []
    if rest:
        words.append(f"{rest.numerator}/{rest.denominator}")
    return " ".join(words) + " in"
