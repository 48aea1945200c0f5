"""The tangent-continuous chain with the fewest lines and arcs that fits a contour within its noise.

First the contour is cut into arcs fitted each on its own (`partition`). Their chain is then fitted
as a whole, tangent at every joint but the sharp corners (`chain_fit`), and made smaller move by
move (`chain_moves`) as long as nothing is lost: backward elimination, each step judged by a refit.
Where the chain misses the contour it is given a segment more.

"Nothing is lost" means, without a stated tolerance, that the modified Bayesian information
criterion for change points falls (Zhang and Siegmund, Biometrics 63, 2007: three halves of ln n for
each parameter), chi-square being reduced by the correlation of the noise. With a tolerance it means
that no local mean of the residuals, over windows of every length, lies outside the tolerance by
more than noise explains (the multiscale test of Frick, Munk and Sieling, J. R. Statist. Soc. B 76,
2014). Papers cited from memory.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.counting import counted
from snugline.errors import FitError
from snugline.fit.free import chain_moves as moves
from snugline.fit.free.arc_partition import (
    arc_misfit,
    averaged,
    cut,
    parted,
    spread,
    stations,
)
from snugline.fit.free.chain_fit import ChainFit, covariance, refine
from snugline.fit.free.chain_start import chain_through
from snugline.fit.geometry.arc_chain import Array, Chain, Indices, drop

_STATIONS = 600
_LEAST_STEP = 0.7  # mm; closer neighbours share most of their error
_SMOOTH_MM = 5.0  # the default tolerance is the standard uncertainty of a mean over this length
_SLIGHT = math.radians(8.0)
_SEARCH_STEPS = 10
_REACH = 2  # segments to either side that feel a move
# Stations times segments of all refits: some three times what outlines of 200 arcs take, half a
# minute. Only contours that do not show an outline need more.
_MOST_WORK = 2_500_000
_MULTISCALE_Z = 4.5  # about 1 % of contours exceed it anywhere by chance


@dataclass(frozen=True)
class ChainNoise:
    """What the residuals of the stations show.

    Attributes
    ----------
    spread : mm, standard deviation of one station.
    correlation : of neighbouring stations, as of a first-order autoregression.
    """

    spread: float
    correlation: float

    @property
    def inflation(self) -> float:
        """By how much the variance of a long mean exceeds that of independent stations."""
        return (1 + self.correlation) / (1 - self.correlation)

    def of_mean(self, count: int) -> float:
        """Standard deviation of the mean of `count` neighbours, mm."""
        lag = np.arange(1, count)
        extra = 2 * float(np.sum((1 - lag / count) * self.correlation**lag))
        return self.spread * math.sqrt((1 + extra) / count)


@dataclass(frozen=True)
class Spline:
    """A chain that was found, and on what grounds; `searched`: whether to the end."""

    fit: ChainFit
    noise: ChainNoise
    tolerance: float
    searched: bool


def arc_spline(
    points: Array,
    closed: bool,
    tolerance: float | None = None,
    gap: NDArray[np.bool_] | None = None,
) -> Spline:
    """The minimal chain for a contour.

    Parameters
    ----------
    points : (N, 2) mm, in order along the contour, part on the left.
    closed : whether the last point joins the first.
    tolerance : mm that the chain may stray from the contour; None for what the noise cannot show.
    gap : (N,) whether something unseen lies before the point.

    Raises
    ------
    FitError : fewer than sixteen points, or a tolerance that is not positive.
    """
    if len(points) < 16:
        raise FitError(
            f"only {counted(len(points), 'point')} along the contour",
            "free outline",
            "trace more of the edge",
        )
    if tolerance is not None and not tolerance > 0:
        raise FitError(f"tolerance of {tolerance} mm", "free outline", "give a positive tolerance")
    gap = np.zeros(len(points), dtype=bool) if gap is None else gap
    return _Search(points, closed, gap, tolerance).run()


class _Search:
    """One search: the stations, the noise as known so far, and the rule that judges chains."""

    def __init__(
        self, points: Array, closed: bool, gap: NDArray[np.bool_], tolerance: float | None
    ) -> None:
        self.points, self.closed, self.gap = points, closed, gap
        self.tolerance = tolerance
        self.lax = False  # whether the tolerance judges, or the noise alone
        sparse = points[:: max(1, len(points) // 500)]
        length = float(np.linalg.norm(np.diff(sparse, axis=0), axis=1).sum())
        step = max(length / _STATIONS, min(_LEAST_STEP, length / 150), length / len(points))
        self.at = self.plain = stations(points, step, gap)
        self.penalty = 1.5 * math.log(len(self.at))
        self.noise = ChainNoise(0.0, 0.0)
        self.least = 0.0
        self.misfit = np.zeros((0, 0))
        self.work = 0

    def run(self) -> Spline:
        fit = self._settle(self._refit(self._first_chain(), 40))
        if self.noise.inflation > 1.3:
            # Neighbours share their errors: the first cut took some of the noise for shape.
            again = self._settle(self._refit(self._recut(), 40))
            if self._value(again) < self._value(self._refit(fit.chain)):
                fit = again
            else:
                fit = self._settle(fit)
        fit = self._reduced(self._better(self._refit(self._lines(fit), 20), fit))
        if self.tolerance is not None:
            self.lax = True
            # Two ways down: from what the noise shows, and from arcs as wide as the tolerance lets.
            ways = [self._reduced(fit), self._reduced(self._refit(self._wide(self.tolerance), 40))]
            fit = min(ways, key=lambda f: (not self._fine(f), f.chain.free, f.chi2))
        fit = self._refit(self._eased(fit).chain, 60)
        tolerance = self.tolerance or self.noise.of_mean(max(1, round(_SMOOTH_MM / self.at.step)))
        return Spline(fit, self.noise, tolerance, self.work < _MOST_WORK)

    def _reduced(self, fit: ChainFit) -> ChainFit:
        for _ in range(4):
            larger = self._grow(fit)
            grown = self._settle(larger)
            done = self._shrink(grown)
            if self._fine(done) or (larger is fit and done is grown):
                return done
            fit = done
        return fit

    def _eased(self, fit: ChainFit) -> ChainFit:
        """Slight corners, which are seldom intended, as tangent arcs where the contour allows."""
        for node in range(len(fit.chain) - 1, -1, -1):
            if 0 < abs(fit.chain.turns[node]) < _SLIGHT:
                short = 4 * self.at.step / abs(float(fit.chain.turns[node]))
                chain = moves.filleted(fit.chain, node, short)
                trial = self._refit(chain, 30) if chain is not None else fit
                if not _faults(trial.chain, self.at.step) and self._fine(trial):
                    fit = trial
        return fit

    def _better(self, fit: ChainFit, other: ChainFit) -> ChainFit:
        return fit if self._value(fit) < self._value(other) else other

    # The start

    def _first_chain(self) -> Chain:
        misfit = arc_misfit(self.at.points)
        level = max(math.sqrt(1.5) * spread(misfit), self._floor())
        self.noise, self.least = ChainNoise(level, 0.0), level
        pieces = cut(misfit, level**2, 3 * self.penalty)
        if self.closed and len(pieces) > 1:
            turn = int(self.at.first[pieces[len(pieces) // 2]])
            self.points, self.gap = np.roll(self.points, -turn, axis=0), np.roll(self.gap, -turn)
            self.at = self.plain = stations(self.points, self.at.step, self.gap)
            misfit = arc_misfit(self.at.points)
            pieces = cut(misfit, level**2, 3 * self.penalty)
        self.misfit = misfit
        return chain_through(self.at, pieces, self.closed)

    def _recut(self) -> Chain:
        variance = self.noise.spread**2 * self.noise.inflation
        return chain_through(self.plain, cut(self.misfit, variance, 3 * self.penalty), self.closed)

    def _wide(self, tolerance: float) -> Chain:
        """The chain of the fewest arcs that each on its own keep within the tolerance."""
        free = (0.5 * tolerance) ** 2
        misfit = np.maximum(self.misfit - free, 0.0) + 1e-3 * np.minimum(self.misfit, free)
        variance = self.noise.spread**2 * self.noise.inflation
        return chain_through(self.plain, cut(misfit, variance, 3 * self.penalty), self.closed)

    def _floor(self) -> float:
        """Errors that count as none: a share of the tolerance, and the rounding of the numbers."""
        return max(0.14 * (self.tolerance or 0.0), 1e-5 * float(np.ptp(self.points, axis=0).max()))

    def _settle(self, fit: ChainFit) -> ChainFit:
        """Average again along the chain, free of the chords' sagitta, and estimate the noise."""
        whole = drop(fit.chain, self.points)
        self.at = parted(self.plain, self.points, whole.segment)
        mean = drop(fit.chain, averaged(self.points, self.at.first), whole.segment[self.at.first])
        r = averaged(whole.distance, self.at.first)
        self.at = replace(self.at, points=mean.foot + r[:, None] * mean.normal)
        free = max(len(r) - fit.chain.free, 1)
        lagged = float(r[1:] @ r[:-1]) / max(float(r @ r), 1e-300)
        # Marriott and Pope (1954): the estimate falls short, here by what the fit absorbs as well.
        lagged += (1 + 3 * lagged + fit.chain.free) / len(r)
        level = max(min(math.sqrt(float(r @ r) / free), 4 * self.least), self._floor())
        self.noise = ChainNoise(level, min(max(lagged, 0.0), 0.9))
        return self._refit(fit.chain)

    # Judging

    def _refit(self, chain: Chain, steps: int = _SEARCH_STEPS) -> ChainFit:
        return self._refit_to(chain, slice(None), steps)

    def _refit_to(
        self, chain: Chain, rows: Indices | slice, steps: int, hopeless: float = math.inf
    ) -> ChainFit:
        sigma = self.noise.spread / np.sqrt(self.at.weight[rows])
        self.work += len(sigma) * len(chain)
        return refine(chain, self.at.points[rows], sigma, steps, hopeless)

    def _value(self, fit: ChainFit) -> float:
        """Chi-square and what the chain's parts cost; less is better.

        A change of side costs as much as a parameter, since a spurious one is a wiggle, and
        a segment shorter than two stations, whose bend is hardly determined, as much as two.
        """
        chain = fit.chain
        sides = np.sign(np.column_stack([chain.turns, chain.curvatures]).ravel())
        sides = sides[sides != 0]
        flips = int(np.sum(sides[1:] != sides[:-1]))
        short = int(np.sum(chain.lengths < 2 * self.at.step))
        parts = chain.free + flips + 2 * short
        return fit.chi2 / self.noise.inflation + self.penalty * parts

    def _excess(self, fit: ChainFit) -> Array:
        """By what factor each station's neighbourhood is beyond what noise and tolerance allow."""
        r = fit.residuals / fit.sigma * self.noise.spread
        worst = np.zeros(len(r))
        total = np.concatenate([[0.0], np.cumsum(r)])
        size = 1
        while size <= len(r) // 2:
            mean = np.abs(total[size:] - total[:-size]) / size
            noise = self.noise.of_mean(size)
            allowed = _MULTISCALE_Z * noise
            if self.lax and self.tolerance is not None:
                allowed = max(self.tolerance - noise, (_MULTISCALE_Z if size < 4 else 3.0) * noise)
            middle = np.arange(len(mean)) + size // 2
            worst[middle] = np.maximum(worst[middle], mean / allowed)
            size *= 2
        return worst

    def _fine(self, fit: ChainFit) -> bool:
        return bool(self._excess(fit).max() <= 1.0)

    def _kept(self, trial: ChainFit, fit: ChainFit) -> bool:
        """Whether a smaller chain may replace the larger one."""
        faults = _faults(trial.chain, self.at.step)
        if faults and faults >= _faults(fit.chain, self.at.step):
            return False
        if self._value(trial) < self._value(fit):
            return True
        return self.lax and float(self._excess(trial).max()) <= max(
            1.0, float(self._excess(fit).max())
        )

    # Moving

    def _lines(self, fit: ChainFit) -> Chain:
        """All arcs that are indistinguishable from lines within the noise made lines at once."""
        cov = covariance(fit.chain, fit.feet, fit.sigma)
        k = len(fit.chain)
        u = np.sqrt(np.diag(cov)[3 + k : 3 + 2 * k] * self.noise.inflation)
        chain = fit.chain
        for i in np.argsort(np.abs(chain.sweeps) / u):
            if abs(fit.chain.sweeps[i]) < 3.5 * u[i]:
                chain = moves.straightened(chain, int(i)) or chain
        return chain

    def _shrink(self, fit: ChainFit) -> ChainFit:
        """Take away, the cheapest first, until every move would lose something."""
        while self.work < _MOST_WORK:
            smaller = self._taken(fit, sorted(self._simpler(fit)))
            if smaller is fit:
                break
            fit = smaller
        return fit

    def _simpler(self, fit: ChainFit) -> Iterator[tuple[float, int, int]]:
        """Moves that lose nothing by the part of the chain about them: gain, segment, move."""
        for i in range(len(fit.chain)):
            part, rows, middle = self._around(fit, i)
            base = self._refit_to(part, rows, _SEARCH_STEPS)
            likely = self._likely(part, middle)
            limit = self._limit(base)
            for number, move in enumerate(moves.SIMPLER):
                chain = move(part, middle) if likely[number] else None
                if chain is not None and chain.free < part.free:
                    trial = self._refit_to(chain, rows, _SEARCH_STEPS, limit)
                    if self._kept(trial, base):
                        yield self._value(trial) - self._value(base), i, number

    def _taken(self, fit: ChainFit, trials: Sequence[tuple[float, int, int]]) -> ChainFit:
        """The chain after those moves that lose nothing of it as a whole.

        Of moves that are near each other the first: it changes what the others were tried on.
        """
        first, segment = fit, fit.feet.segment
        k = len(fit.chain)
        touched = np.zeros(len(segment), dtype=bool)
        for _, i, number in trials:
            apart = np.abs(segment - i)
            if fit.chain.closed:
                apart = np.minimum(apart, k - apart)
            around = apart <= _REACH
            own = np.flatnonzero(segment == i)
            if fit is not first and (touched[around].any() or not len(own)):
                continue
            # Moves renumber the segments: this one is where its stations are.
            now = i if fit is first else int(fit.feet.segment[own[len(own) // 2]])
            whole = moves.SIMPLER[number](fit.chain, now)
            trial = self._refit(whole, 25) if whole is not None else fit
            if trial is not fit and self._kept(trial, fit):
                fit = trial
                touched |= around
        return fit

    def _limit(self, fit: ChainFit) -> float:
        """Chi-square beyond which no simpler chain is worth more steps."""
        limit = fit.chi2 + 20 * self.penalty * self.noise.inflation
        if self.lax and self.tolerance is not None:
            limit += len(fit.residuals) * (self.tolerance / self.noise.spread) ** 2
        return limit

    def _likely(self, chain: Chain, i: int) -> tuple[bool, ...]:
        """Which of `SIMPLER` might stay within what noise and tolerance allow.

        An arc of length l in place of one that bends by d more or less strays by d l^2 / 64 at
        least, however its neighbours give way.
        """
        allowed = 2 * _MULTISCALE_Z * self.noise.spread
        if self.lax:
            allowed += self.tolerance or 0.0
        k, bend, length = len(chain), chain.curvatures, chain.lengths
        before, after = (i - 1) % k, (i + 1) % k

        def near(other: int) -> bool:
            short = min(length[i], length[other])
            return bool(abs(bend[i] - bend[other]) * short**2 / 64 < allowed)

        flat = bool(abs(bend[i]) * length[i] ** 2 / 64 < allowed)
        slight = bool(abs(chain.sweeps[i]) * length[i] / 64 < allowed)
        gone = slight or near(before) or near(after)
        return near(after), near(after), flat, True, gone, slight

    def _around(self, fit: ChainFit, i: int) -> tuple[Chain, Indices | slice, int]:
        """The chain's part about segment i, open, its stations, and the segment's place in it."""
        chain, segment = fit.chain, fit.feet.segment
        k = len(chain)
        if k <= 2 * _REACH + 1:
            return chain, slice(None), i
        low = i - _REACH if chain.closed else max(i - _REACH, 0)
        count = 2 * _REACH + 1 if chain.closed else min(i + _REACH + 1, k) - low
        part = moves.rotated(chain, low % k) if chain.closed else chain
        begin = 0 if chain.closed else low
        place = (segment - low) % k
        inside = np.flatnonzero(place < count)
        inside = inside[np.lexsort((fit.feet.along[inside], place[inside]))]
        return moves.part(part, begin, begin + count), inside, i - low

    def _grow(self, fit: ChainFit) -> ChainFit:
        for _ in range(40):
            excess = self._excess(fit)
            if excess.max() <= 1.0 or self.work >= _MOST_WORK:
                break
            larger = self._larger(fit, int(np.argmax(excess)))
            if larger is None:
                break
            fit = larger
        return fit

    def _larger(self, fit: ChainFit, station: int) -> ChainFit | None:
        """The chain with what serves it best at a station, tried on the part about it."""
        i, along = int(fit.feet.segment[station]), float(fit.feet.along[station])
        part, rows, middle = self._around(fit, i)
        trials = []
        for number, move in enumerate(moves.RICHER):
            chain = move(part, middle, along, 2 * self.at.step)
            if chain is not None:
                trial = self._refit_to(chain, rows, 20)
                if not _faults(trial.chain, self.at.step):
                    trials.append((self._value(trial), number))
        for _, number in sorted(trials):
            whole = moves.RICHER[number](fit.chain, i, along, 2 * self.at.step)
            trial = self._refit(whole, 20) if whole is not None else fit
            if not _faults(trial.chain, self.at.step) and self._value(trial) < self._value(fit):
                return trial
        return None


def _faults(chain: Chain, step: float) -> int:
    """Segments of negligible length, that wind round more than once, or turn back."""
    short = chain.lengths < 0.2 * step
    wound = np.abs(chain.sweeps) > 2 * math.pi * (1 + 1e-6)
    return int(np.count_nonzero(short | wound | (np.abs(chain.turns) >= math.pi)))
