"""The uncertainty budget of one dimension, as JCGM 100 (GUM) sets it out."""

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Contribution:
    """What one source adds to a dimension's standard uncertainty.

    Attributes
    ----------
    source : `points`, `edge offset`, `print scale`, `tape scale`, ...
    u : standard uncertainty in the dimension's unit: sensitivity times the source's own.
    dof : degrees of freedom of the source's own estimate.
    """

    source: str
    u: float
    dof: float = math.inf


@dataclass(frozen=True)
class Gain:
    """U95 that the dimension would have after one further reading or photo."""

    by: str
    u95: float


@dataclass(frozen=True)
class Budget:
    """All contributions to one dimension, largest first."""

    of: str
    value: float
    contributions: tuple[Contribution, ...]
    gains: tuple[Gain, ...] = ()

    @property
    def u(self) -> float:
        """Combined standard uncertainty (JCGM 100, equation 10)."""
        return math.hypot(*(part.u for part in self.contributions))

    @property
    def dof(self) -> float:
        """Effective degrees of freedom (Welch-Satterthwaite, JCGM 100, G.2b)."""
        u = self.u
        # Shares first: fourth powers of nanometres would leave the range of floats.
        weight = sum((p.u / u) ** 4 / p.dof for p in self.contributions) if u > 0 else 0.0
        return 1 / weight if weight > 0 else math.inf

    def expanded(self, level: float = 0.95) -> float:
        """Half width of the interval that holds the dimension with probability `level`."""
        return coverage_factor(self.dof, level) * self.u

    @property
    def u95(self) -> float:
        return self.expanded()

    def as_json(self) -> dict[str, object]:
        return {
            "of": self.of,
            "value": round(self.value, 4),
            "u95": round(self.u95, 4),
            "contributions": [
                {"source": part.source, "u": round(part.u, 5)} for part in self.contributions
            ],
            "gains": [{"by": gain.by, "u95": round(gain.u95, 4)} for gain in self.gains],
        }


def coverage_factor(dof: float, level: float = 0.95) -> float:
    """Student's t for a two-sided interval; degrees of freedom truncated (JCGM 100, G.4.1)."""
    from scipy.special import ndtri, stdtrit

    if not math.isfinite(dof):
        return float(ndtri(0.5 + level / 2))
    return float(stdtrit(max(1.0, np.floor(dof + 1e-9)), 0.5 + level / 2))
