"""What a machine cuts too wide or too narrow, learnt from how parts fitted.

A cut's gap per side is the drawn clearance, plus the machine's overcut in that wood with that
cutter, plus what the part's outline is off by. A verdict says between which limits that gap lay;
calipers on the opening say more. The overcut is a sum of effects (machine, wood, cutter) with
Gaussian priors. Interval observations make the posterior almost Gaussian; its moments are found by
expectation propagation (Minka 2001; for intervals Rasmussen and Williams, Gaussian Processes for
Machine Learning, section 3.6), which does not depend on the order of the cuts once it has settled.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.pocket.fits import Verdict, fit_of

# Priors, mm per side: how far routers, woods and cutters differ (common practice, no source).
MACHINE_U = 0.15
WOOD_U = 0.05
CUTTER_U = 0.05
# Repeatability of one cut and of the feel of one verdict; and of calipers on an opening, per side.
FEEL_U = 0.015
CALIPER_U = 0.015

_NODES = 41  # of the quadrature over what the overcut may be
_CANDIDATES = 9  # clearances tried about each limit
_SWEEPS = 20
_SETTLED = 1e-6


@dataclass(frozen=True)
class Cut:
    """One cut and what came of it; lengths in mm.

    Attributes
    ----------
    clearance : gap per side as drawn.
    verdict : `no-go`, `tight`, `snug` or `loose`.
    wood, machine : as the shop calls them.
    cutter : diameter; 0 when not known.
    kind : of part: `soft`, `firm`, `brittle`, `metal`.
    part : the part tried; cuts for one part share what its outline is off by.
    part_u : standard uncertainty of that part's outline, per side.
    opening_error : the opening as measured less as drawn, per side; None when not measured.
    on : the day, ISO 8601.
    """

    clearance: float
    verdict: Verdict
    wood: str
    machine: str
    cutter: float = 0.0
    kind: str = "firm"
    part: str = ""
    part_u: float = 0.0
    opening_error: float | None = None
    on: str = ""


@dataclass(frozen=True)
class Overcut:
    """The machine's overcut per side (negative: it cuts too narrow), mm.

    Attributes
    ----------
    value, u : estimate and standard uncertainty.
    cuts : cuts on that machine that stand behind it.
    alike : how many of them were in the same wood with the same cutter.
    """

    value: float
    u: float
    cuts: int
    alike: int

    @property
    def u95(self) -> float:
        return 1.96 * self.u

    def sentence(self) -> str:
        """In one line, for the shop sheet."""
        if self.cuts == 0:
            return "no cuts on record: the machine's overcut is taken as nought"
        way = "wide" if self.value >= 0 else "narrow"
        return (
            f"this machine cuts {abs(self.value):.2f} mm too {way} per side "
            f"(U95 {self.u95:.2f} mm, {self.cuts} cuts on record, {self.alike} of them alike)"
        )


def estimate(cuts: Sequence[Cut], machine: str, wood: str, cutter: float = 0.0) -> Overcut:
    """The machine's overcut in that wood with that cutter, from all its cuts."""
    mine = [c for c in cuts if c.machine == machine]
    woods = sorted({wood, *(c.wood for c in mine)})
    cutters = sorted({cutter, *(c.cutter for c in mine)})
    parts = sorted({c.part for c in mine if c.part_u > 0})
    part_u = [max(c.part_u for c in mine if c.part == p) for p in parts]
    prior = np.array(
        [MACHINE_U, *[WOOD_U] * len(woods), *[CUTTER_U] * len(cutters), *part_u], dtype=float
    )

    def row(w: str, d: float, part: str | None) -> list[float]:
        effects = [1.0, *(float(w == x) for x in woods), *(float(d == x) for x in cutters)]
        return [*effects, *(float(part == x) for x in parts)]

    rows, low, high, noise = [], [], [], []
    for cut in mine:
        least, most = fit_of(cut.kind).limits(cut.verdict)
        rows.append(row(cut.wood, cut.cutter, cut.part))
        low.append(least - cut.clearance)
        high.append(most - cut.clearance)
        noise.append(FEEL_U)
        if cut.opening_error is not None:
            rows.append(row(cut.wood, cut.cutter, None))
            low.append(cut.opening_error)
            high.append(cut.opening_error)
            noise.append(CALIPER_U)
    wanted = np.array(row(wood, cutter, None))
    design = np.array(rows, dtype=float).reshape(len(rows), len(prior))
    mean, covariance = _posterior(design, np.array(low), np.array(high), np.array(noise), prior)
    alike = sum(c.wood == wood and c.cutter == cutter for c in mine)
    return Overcut(
        float(wanted @ mean), math.sqrt(float(wanted @ covariance @ wanted)), len(mine), alike
    )


def next_test(kind: str, overcut: Overcut) -> float:
    """Clearance in mm of the test cut whose verdict is expected to leave the least doubt.

    The variance left, averaged over the verdicts, is least where two verdicts have about even
    odds; which two, and how even, depends on how far the limits lie apart for what is known.
    """
    from scipy.special import ndtr

    fit = fit_of(kind)
    limits = np.array([fit.enters, fit.low, fit.high])
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    possible = overcut.value + overcut.u * nodes
    about = overcut.u * np.linspace(-1.0, 1.0, _CANDIDATES)
    tried = (limits[:, None] - overcut.value + about).ravel()
    tried = np.maximum(tried, 0.0)
    # Axes: clearance tried, limit or verdict, possible overcut.
    above = (limits[:, None] - tried[:, None, None] - possible) / FEEL_U
    below = np.pad(ndtr(above), ((0, 0), (1, 1), (0, 0)), constant_values=((0, 0), (0, 1), (0, 0)))
    joint = np.diff(below, axis=1) * weights / weights.sum()
    odds = joint.sum(axis=2)
    mean = joint @ possible
    left = joint @ possible**2 - mean**2 / np.maximum(odds, 1e-300)
    return float(tried[np.argmin(left.sum(axis=1))])


def _posterior(
    design: NDArray[np.float64],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    noise: NDArray[np.float64],
    prior_u: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and covariance of effects seen only through intervals (equal ends: an exact value)."""
    precision = np.zeros(len(low))
    shift = np.zeros(len(low))
    exact = low == high
    precision[exact] = 1 / noise[exact] ** 2
    shift[exact] = precision[exact] * low[exact]

    def solved() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        known = np.diag(prior_u**-2) + (design.T * precision) @ design
        covariance = np.asarray(np.linalg.inv(known), dtype=np.float64)
        return covariance @ (design.T @ shift), covariance

    mean, covariance = solved()
    for _ in range(_SWEEPS):
        before = mean
        for i in np.flatnonzero(~exact):
            row = design[i]
            spread, centre = float(row @ covariance @ row), float(row @ mean)
            # Take this observation out, put it back exactly, keep the first two moments.
            rest = 1 / (1 / spread - precision[i])
            rest_mean = rest * (centre / spread - shift[i])
            width = math.sqrt(rest + noise[i] ** 2)
            slope, bend = _interval_moments(
                (low[i] - rest_mean) / width, (high[i] - rest_mean) / width
            )
            new_spread = rest - rest * rest / width**2 * bend
            new_mean = rest_mean + rest / width * slope
            precision[i] = max(1 / new_spread - 1 / rest, 1e-9)
            shift[i] = new_mean / new_spread - rest_mean / rest
            mean, covariance = solved()
        if np.abs(mean - before).max(initial=0.0) < _SETTLED:
            break
    return mean, covariance


def _interval_moments(a: float, b: float) -> tuple[float, float]:
    """First derivative of log P(a < x < b) by the mean, and minus the second, standard normal."""
    if a + b > 0:  # in the left tail the difference of two distribution values keeps its digits
        slope, bend = _interval_moments(-b, -a)
        return -slope, bend
    inside = max(_cdf(b) - _cdf(a), 1e-300)
    at_a = _pdf(a) / inside
    at_b = _pdf(b) / inside
    slope = at_a - at_b
    ends = (a * at_a if math.isfinite(a) else 0.0) - (b * at_b if math.isfinite(b) else 0.0)
    return slope, min(max(slope * slope - ends, 0.0), 1.0)


def _pdf(x: float) -> float:
    return math.exp(-x * x / 2) / math.sqrt(2 * math.pi) if math.isfinite(x) else 0.0


def _cdf(x: float) -> float:
    return math.erfc(-x / math.sqrt(2)) / 2
