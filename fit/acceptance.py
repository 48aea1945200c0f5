"""The acceptance test: size errors on an object of published size, and what they decide.

In the manner of ISO 10360 and VDI/VDE 2634: an object of known size is measured as any part is, the
size error E (measured minus known) is compared with a maximum permissible error (MPE), and the
decision allows for the uncertainty of the test (ISO 14253-1). That uncertainty holds what the
object adds (its tolerances, its thickness, its edge) and the scatter of the measured points. Print
scale, lens and light are what is tested: their errors are in E, so their uncertainties are not in
U95 (the reasoning of ISO/TS 23165). The standards' rules are given from memory.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal

from snugline.fit.readings.uncertainty_budget import Budget, Contribution
from snugline.fit.result import FittedOutline

Decision = Literal["passes", "fails", "not decided"]

# Of a whole dimension, mm: a tenth per side, half of what separates a tight fit from a good one
# (common practice, no source).
DEFAULT_MPE = 0.2
# Sources in a dimension's budget that are under test.
TESTED = ("print scale", "edge offset")
_LEVEL = 0.95


@dataclass(frozen=True)
class ReferenceSize:
    """A size of an object, mm: anywhere within `value` plus or minus `tolerance`, equally likely.

    Attributes
    ----------
    of : `length`, `width`, `diameter` or `corner radius`.
    """

    of: str
    value: float
    tolerance: float

    @property
    def u(self) -> float:
        """Standard uncertainty of a rectangular distribution (JCGM 100, 4.3.7)."""
        return self.tolerance / math.sqrt(3)


@dataclass(frozen=True)
class ReferenceObject:
    """Something of known size that is photographed in place of a part.

    Attributes
    ----------
    name : on the command line and in records.
    words : what it is.
    family : of outlines, a word of the job file.
    sizes : length before width.
    thickness : mm, with its tolerance.
    edge_radius : of its top edge, 0 for a sharp one; mm.
    edge_tolerance : of that radius, mm: anywhere within it, equally likely.
    source : where sizes and tolerances come from.
    """

    name: str
    words: str
    family: str
    sizes: tuple[ReferenceSize, ...]
    thickness: ReferenceSize
    edge_radius: float
    source: str
    edge_tolerance: float = 0.0


@dataclass(frozen=True)
class SizeError:
    """One size in one photo: measured, known, and what that decides. Lengths in mm.

    Attributes
    ----------
    contributions : of the test's own uncertainty, the object's tolerance among them; largest first.
    u95 : expanded uncertainty of `error`, 95 %.
    stated_u95 : what the program itself states for the size, print scale and light included.
    can_pass : whether `u95` leaves any room within the MPE.
    """

    photo: str
    of: str
    measured: float
    reference: float
    contributions: tuple[Contribution, ...]
    u95: float
    stated_u95: float
    mpe: float
    decision: Decision
    can_pass: bool

    @property
    def error(self) -> float:
        """E: measured minus known size."""
        return self.measured - self.reference

    def as_json(self) -> dict[str, Any]:
        return {
            "photo": self.photo,
            "of": self.of,
            "measured": round(self.measured, 4),
            "reference": round(self.reference, 4),
            "error": round(self.error, 4),
            "u95": round(self.u95, 4),
            "stated_u95": round(self.stated_u95, 4),
            "decision": self.decision,
            "can_pass": self.can_pass,
            "contributions": [
                {"source": part.source, "u": round(part.u, 5)} for part in self.contributions
            ],
        }


def size_errors(
    fitted: FittedOutline,
    reference: ReferenceObject,
    photo: str,
    mpe: float = DEFAULT_MPE,
    by_limits: Mapping[str, Sequence[Contribution]] = MappingProxyType({}),
) -> tuple[SizeError, ...]:
    """The errors of all sizes of an object in one photo.

    Parameters
    ----------
    fitted : the outline of that photo alone, in the object's family, with its thickness.
    mpe : maximum permissible error, mm.
    by_limits : for each size what the object's own form adds, from measuring again with it at its
        limits; each anywhere within its limits, equally likely.
    """
    # The part's axes follow the sheet, not the object's longer side.
    sides = sorted((fitted.budget("length"), fitted.budget("width")), key=lambda b: -b.value)
    budgets = {"length": sides[0], "width": sides[1], "diameter": sides[0]}
    radii = [budget for budget in fitted.budgets if budget.of.startswith("radius")]
    if radii:
        # Corners that differ were fitted separately: the one that is farthest off counts.
        known = next((size.value for size in reference.sizes if size.of == "corner radius"), 0.0)
        budgets["corner radius"] = max(radii, key=lambda b: abs(b.value - known))
    return tuple(
        _size_error(budgets[size.of], size, photo, mpe, by_limits.get(size.of, ()))
        for size in reference.sizes
        if size.of in budgets
    )


def _size_error(
    budget: Budget, size: ReferenceSize, photo: str, mpe: float, by_limits: Sequence[Contribution]
) -> SizeError:
    # What was measured again at its limits replaces what the linear budget says of it.
    instead = (*TESTED, *(part.source for part in by_limits))
    own = [part for part in budget.contributions if part.source not in instead]
    rest = math.hypot(*(part.u for part in own))
    limits = (size.tolerance, *(part.u * math.sqrt(3) for part in by_limits))
    u95 = expanded(limits, rest)
    own += by_limits
    parts = sorted([Contribution("tolerance of the object", size.u), *own], key=lambda p: -p.u)
    error = budget.value - size.value
    return SizeError(
        photo, size.of, budget.value, size.value, tuple(parts), u95, budget.u95, mpe,
        decided(error, u95, mpe), u95 < mpe,
    )  # fmt: skip


def decided(error: float, u95: float, mpe: float) -> Decision:
    """What an error of uncertainty `u95` decides (ISO 14253-1); all mm.

    Passing needs the whole interval within the MPE, failing all of it beyond.

    Examples
    --------
    >>> decided(-0.05, 0.06, 0.2), decided(0.17, 0.06, 0.2), decided(-0.30, 0.06, 0.2)
    ('passes', 'not decided', 'fails')
    """
    if abs(error) + u95 <= mpe:
        return "passes"
    return "fails" if abs(error) - u95 > mpe else "not decided"


def decided_together(errors: Sequence[SizeError]) -> Decision:
    """The decision of a test: one size that fails is enough to fail, to pass all have to.

    A corner radius is published too coarsely for any useful limit: it may fail, and is not needed
    to pass.
    """
    if any(error.decision == "fails" for error in errors):
        return "fails"
    needed = _needed(errors)
    return "passes" if needed and all(e.decision == "passes" for e in needed) else "not decided"


def largest(errors: Sequence[SizeError]) -> SizeError:
    """The largest error of a size that is needed to pass."""
    return max(_needed(errors) or errors, key=lambda error: abs(error.error))


def too_coarse(errors: Sequence[SizeError]) -> bool:
    """Whether a size that is needed can't pass however small its error is."""
    return any(not error.can_pass for error in _needed(errors))


def _needed(errors: Sequence[SizeError]) -> list[SizeError]:
    return [error for error in errors if error.of != "corner radius"]


def scale_error(errors: Sequence[SizeError]) -> tuple[float, float]:
    """Share by which lengths come out too large, and its U95, from the longest size.

    The mean over the photos; the tolerance of the object is common to all of them.
    """
    longest = max(error.reference for error in errors)
    same = [error for error in errors if error.reference == longest]
    mean = sum(error.error for error in same) / len(same)
    return mean / longest, max(error.u95 for error in same) / longest


def expanded(limits: Sequence[float], u: float, level: float = _LEVEL) -> float:
    """Half width of the interval that holds an error with probability `level`, mm.

    The error is the sum of some that are rectangular, each within plus or minus its limit, and of a
    normal one with standard uncertainty `u`: propagation of distributions (JCGM 101), since with
    k = 1.96 the interval would be wider than the limits allow.

    Parameters
    ----------
    limits : mm, half widths of the rectangular errors.

    Examples
    --------
    >>> round(expanded([0.1], 0), 3), round(expanded([0], 0.1), 3)
    (0.095, 0.196)
    """
    import numpy as np
    from scipy.special import ndtri
    from scipy.stats import qmc

    limits = [limit for limit in limits if limit > 0]
    if len(limits) < 2:
        return _with_one_limit(limits[0] if limits else 0.0, u, level)
    # Evenly spread trials (a Sobol sequence): the same digits each time, and good to a thousandth.
    trials = qmc.Sobol(len(limits) + 1, scramble=True, seed=1).random_base2(16)
    error = (2 * trials[:, 1:] - 1) @ np.asarray(limits, dtype=np.float64)
    error += u * ndtri(np.clip(trials[:, 0], 1e-12, 1 - 1e-12))
    return float(np.quantile(np.abs(error), level))


def _with_one_limit(tolerance: float, u: float, level: float) -> float:
    """The same of one rectangular error, by its distribution function."""
    from scipy.optimize import brentq
    from scipy.special import ndtr, ndtri

    k = float(ndtri(0.5 + level / 2))
    if u <= 1e-6 * tolerance:
        return level * tolerance
    if tolerance <= 1e-3 * u:
        return k * u
    a = tolerance / u

    def area(t: float) -> float:
        """Integral of the normal distribution function up to t."""
        return float(t * ndtr(t)) + math.exp(-t * t / 2) / math.sqrt(2 * math.pi)

    def missing(x: float) -> float:
        within = area(x + a) - area(x - a) - area(a - x) + area(-a - x)
        return within / (2 * a) - level

    return float(brentq(missing, 0.0, a + k + 1.0)) * u
