"""The width error of the cut: what a machine cuts too wide or too narrow, estimated from records.

A cut's gap per side is the drawn clearance, plus the machine's width error in that wood with that
cutter, less what the part is off by. A word of fit gives the edges between which that gap lay;
where those edges are is estimated from each shop's words, so that they are unknowns as well. A
caliper reading of the opening is more informative. The error is a sum of effects (machine, wood,
cutter); all unknowns have normal priors. Moments of the posterior are found by expectation
propagation (Minka 2001; Rasmussen and Williams, Gaussian Processes for Machine Learning, section
3.6). Each observation may be a slip with a small probability (a mixture), so that one typing error
is named instead of averaged.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.pocket.cut_record import Cut, same_name
from snugline.pocket.expectation import Sites, posterior
from snugline.pocket.fits import VERDICTS, fit_of

# Priors, mm per side: how far routers, woods and cutters differ (common practice, no source).
MACHINE_U = 0.15
WOOD_U = 0.05
CUTTER_U = 0.05
# How far shops differ in what they call entering, snug and loose (common practice, no source).
EDGE_U = (0.02, 0.04, 0.06)
# Repeatability of one cut and of the feel of one word; and of a caliper on an opening, per side.
FEEL_U = 0.015
CALIPER_U = 0.015
LEAST_CUTS = 3  # before these nothing is claimed

_SLIP = 0.05  # probability that a record was typed or felt wrongly
_CONTRADICTS = 0.3  # below this probability of being right a cut is named
_NODES = 41  # of the quadrature over what the error may be
_CANDIDATES = 9  # clearances tried about each edge


@dataclass(frozen=True)
class WidthError:
    """The width error of the cut per side (negative: it cuts too narrow), mm.

    Attributes
    ----------
    value, u : estimate and standard uncertainty; without a claim, what is known of any machine.
    cuts : cuts of that machine on record.
    alike : how many of them were in the same wood with the same cutter.
    contradicting : numbers (from 0) of the records that contradict the others.
    """

    value: float
    u: float
    cuts: int = 0
    alike: int = 0
    contradicting: tuple[int, ...] = ()

    @property
    def u95(self) -> float:
        return 1.96 * self.u

    @property
    def claimed(self) -> bool:
        return self.cuts >= LEAST_CUTS

    def sentence(self) -> str:
        """In one line, for the shop sheet."""
        if self.cuts == 0:
            return "no cuts recorded yet: the width error of the cut is taken as zero"
        counted = f"{self.cuts} recorded cut{'s' * (self.cuts != 1)}"
        if not self.claimed:
            return (
                f"{counted} of this machine: at least {LEAST_CUTS} are needed before the width "
                "error of the cut is told"
            )
        way = "wide" if self.value >= 0 else "narrow"
        said = (
            f"this machine cuts openings {abs(self.value):.2f} mm too {way} per side "
            f"(U95 {self.u95:.2f} mm; from {counted}, {self.alike} of them in this wood with this "
            "cutter)"
        )
        slips = len(self.contradicting)
        if slips:
            verb = "contradicts" if slips == 1 else "contradict"
            said += f"; {slips} cut{'s' * (slips != 1)} {verb} the others: check the record"
        return said


def unknown_machine() -> WidthError:
    """What is known of a machine without records."""
    return WidthError(0.0, math.hypot(MACHINE_U, WOOD_U, CUTTER_U))


def estimate(cuts: Sequence[Cut], machine: str, wood: str, cutter: float = 0.0) -> WidthError:
    """The width error of a machine in that wood with that cutter, from all its cuts.

    Names are compared without regard to case, commas and the order of words.
    """
    mine = [i for i, c in enumerate(cuts) if same_name(c.machine) == same_name(machine)]
    own = [cuts[i] for i in mine]
    alike = sum(same_name(c.wood) == same_name(wood) and c.cutter == cutter for c in own)
    if len(own) < LEAST_CUTS:
        return WidthError(0.0, unknown_machine().u, len(own), alike)
    model = _Model(own, wood, cutter)
    sites = model.sites()
    found = posterior(sites, model.prior_u, model.prior_mean)
    # Openings that scatter more than a caliper does: their own scatter counts instead (Birge 1932).
    ratio = found.scatter(sites.measured)
    if ratio > 1.0:
        sites = model.sites(ratio)
        found = posterior(sites, model.prior_u, model.prior_mean)
    wanted = model.row(wood, cutter)
    doubted = {sites.cut[i] for i in np.flatnonzero(found.right < _CONTRADICTS)}
    return WidthError(
        float(wanted @ found.mean),
        math.sqrt(float(wanted @ found.covariance @ wanted)),
        len(own),
        alike,
        tuple(sorted(mine[i] for i in doubted)),
    )


class _Model:
    """The unknowns' places in one vector, and the observations as rows over it."""

    def __init__(self, cuts: Sequence[Cut], wood: str, cutter: float) -> None:
        self.cuts = cuts
        self.woods = sorted({same_name(wood), *(same_name(c.wood) for c in cuts)})
        self.cutters = sorted({cutter, *(c.cutter for c in cuts)})
        self.tried = [_least_gap(c) for c in cuts]
        off: dict[str, float] = {}
        for cut, (_, u) in zip(cuts, self.tried, strict=True):
            if u > 0:
                off[cut.part] = max(off.get(cut.part, 0.0), u)
        self.parts = sorted(off)
        self.kinds = sorted({c.kind for c in cuts})
        effects = [MACHINE_U, *[WOOD_U] * len(self.woods), *[CUTTER_U] * len(self.cutters)]
        effects += [off[part] for part in self.parts]
        edges = [e for kind in self.kinds for e in fit_of(kind).edges]
        self.prior_u = np.array([*effects, *EDGE_U * len(self.kinds)])
        self.prior_mean = np.array([*[0.0] * len(effects), *edges])
        self.first_edge = len(effects)

    def row(self, wood: str, cutter: float, part: str | None = None) -> NDArray[np.float64]:
        """The width error, and with a part the gap beyond its mean, as a sum of unknowns."""
        made = np.zeros(len(self.prior_u))
        made[0] = 1.0
        made[1 + self.woods.index(same_name(wood))] = 1.0
        after = 1 + len(self.woods)
        made[after + self.cutters.index(cutter)] = 1.0
        if part in self.parts:
            made[after + len(self.cutters) + self.parts.index(part)] = 1.0
        return made

    def sites(self, ratio: float = 1.0) -> Sites:
        """All observations: gap above or below an edge, and openings measured."""
        rows, offset, noise, value, cut = [], [], [], [], []
        for number, (c, (gap, _)) in enumerate(zip(self.cuts, self.tried, strict=True)):
            own = self.row(c.wood, c.cutter, c.part)
            word = VERDICTS.index(c.verdict)
            for edge, sign in ((word - 1, 1.0), (word, -1.0)):
                if 0 <= edge < len(VERDICTS) - 1:
                    side = sign * own
                    side[self.first_edge + 3 * self.kinds.index(c.kind) + edge] -= sign
                    rows.append(side)
                    offset.append(sign * gap)
                    noise.append(FEEL_U)
                    value.append(math.nan)
                    cut.append(number)
            if c.opening_error is not None:
                rows.append(self.row(c.wood, c.cutter))
                offset.append(0.0)
                noise.append(CALIPER_U * ratio)
                value.append(c.opening_error)
                cut.append(number)
        return Sites(
            np.array(rows), np.array(offset), np.array(noise), np.array(value), tuple(cut), _SLIP
        )


def _least_gap(cut: Cut) -> tuple[float, float]:
    """Mean and standard deviation of the smaller of both gaps, before the width error.

    The moments of the smaller of two normal values (Clark 1961).
    """
    (a, ua), (b, ub) = cut.along_length, cut.along_width
    spread = math.hypot(ua, ub)
    if spread == 0:
        return min(a, b), 0.0
    x = (a - b) / spread
    first, second = _cdf(-x), _cdf(x)
    bend = spread * math.exp(-x * x / 2) / math.sqrt(2 * math.pi)
    mean = a * first + b * second - bend
    square = (ua * ua + a * a) * first + (ub * ub + b * b) * second - (a + b) * bend
    return mean, math.sqrt(max(square - mean * mean, 0.0))


def _cdf(x: float) -> float:
    return math.erfc(-x / math.sqrt(2)) / 2


def next_test(kind: str, error: WidthError) -> float:
    """Clearance in mm of the test cut whose word of fit is expected to leave the least uncertainty.

    The variance left, averaged over the words, is least where two words have about even odds;
    which two, and how even, depends on how far their edges lie apart for what is known.
    """
    from scipy.special import ndtr

    fit = fit_of(kind)
    edges, blur = np.array(fit.edges), np.hypot(FEEL_U, EDGE_U)
    nodes, weights = np.polynomial.hermite_e.hermegauss(_NODES)
    possible = error.value + error.u * nodes
    about = error.u * np.linspace(-1.0, 1.0, _CANDIDATES)
    tried = (edges[:, None] - error.value + about).ravel()
    tried = np.maximum(tried, -fit.squeeze)
    # Axes: clearance tried, edge or word, possible error.
    above = (edges[:, None] - tried[:, None, None] - possible) / blur[:, None]
    below = np.pad(ndtr(above), ((0, 0), (1, 1), (0, 0)), constant_values=((0, 0), (0, 1), (0, 0)))
    joint = np.maximum(np.diff(below, axis=1), 0.0) * weights / weights.sum()
    odds = joint.sum(axis=2)
    mean = joint @ possible
    left = joint @ possible**2 - mean**2 / np.maximum(odds, 1e-300)
    return float(tried[np.argmin(left.sum(axis=1))])
