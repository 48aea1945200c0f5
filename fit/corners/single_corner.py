"""One corner from its contour: side, corner and side fitted in one go, with an uncertainty.

Where the corner ends need not be given: the sides are part of the shape, and more of them does no
harm. `corner_search` finds the shapes of least squares; one generalised step under the
noise model then gives the estimate and its covariance. The free curve can take any shape, so it is
tried only where the best of the named families leaves something that is not noise.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FitError
from snugline.fit.contour_noise import NoiseModel, estimate_scaled, modelled, whiten
from snugline.fit.corners.corner_families import FAMILIES, FREE, Family
from snugline.fit.corners.corner_search import POSE, Contour, Solved, search, to_local
from snugline.fit.corners.free_corner import LEAVES_ASIDE, corner_waves
from snugline.fit.failure import NoFit
from snugline.fit.section import Systematic

Array = NDArray[np.float64]

TURN_DEVIATION = math.radians(0.5)  # of a drawn angle as made: common practice, no source
ARC_ODDS = 2.0  # cutters and punches leave arcs: common practice, no source
DECISIVE = math.e  # odds: 2 ln(odds) of 2 is where evidence begins (Kass, Raftery 1995)


@dataclass(frozen=True)
class CornerFit:
    """A fitted corner.

    Attributes
    ----------
    family : what the corner is, by the best of the families tried.
    apex : (x, y) mm, where the lines of the sides meet.
    direction : heading of the incoming side; the outline turns left by `turn` from it.
    params : (K,) the family's parameters in mm (an exponent has no unit).
    covariance : (4 + K, 4 + K) of apex x, apex y, direction, turn and params, with the errors
        that all points share.
    dof : (4 + K,) effective degrees of freedom of these variances.
    noise : model of the noise along the contour.
    weights : (N,) robust weights; zero where a point was set aside.
    residuals : (N,) mm, positive outside the part.
    ranking : families with their weights, the best first; they sum to 1.
    """

    family: Family
    apex: tuple[float, float]
    direction: float
    turn: float
    params: Array
    covariance: Array
    dof: Array
    noise: NoiseModel
    weights: Array
    residuals: Array
    ranking: tuple[tuple[str, float], ...]

    @property
    def too_close_to_call(self) -> bool:
        """Whether the data leave it open which family the corner is of."""
        weights = [weight for _, weight in self.ranking]
        return len(weights) > 1 and weights[0] < DECISIVE * weights[1]

    @property
    def u(self) -> Array:
        """(K,) standard uncertainties of the parameters."""
        return np.asarray(np.sqrt(np.diag(self.covariance)[POSE:]))

    @property
    def u95(self) -> Array:
        """(K,) expanded uncertainties, by Student's t."""
        from scipy.special import stdtrit

        return np.asarray(stdtrit(self.dof[POSE:], 0.975) * self.u)

    def to_local(self, points: Array) -> Array:
        """Points (N, 2) in the corner's local axes (see `snugline.fit.corners.corner_families`)."""
        c, s = math.cos(self.direction - math.pi / 2), math.sin(self.direction - math.pi / 2)
        moved = points - np.array(self.apex)
        return np.asarray(moved @ np.array([[c, -s], [s, c]]))


def fit_corner(
    points: Array,
    sigma: Array,
    breaks: Sequence[int] = (),
    *,
    families: Sequence[Family] = FAMILIES,
    turn: float = math.pi / 2,
    turn_deviation: float = TURN_DEVIATION,
    robust: bool = True,
    systematic: Systematic | None = None,
) -> CornerFit | NoFit:
    """Fit side + corner + side and choose the family.

    Parameters
    ----------
    points : (N, 2) mm, in order with the part on the left, at least some of either side.
    sigma : (N,) mm, standard uncertainty normal to the edge; only the ratios matter.
    breaks : indices where a gap lies before the point.
    families : those to choose from; with one only it is fitted as it is.
    turn, turn_deviation : the nominal turn angle and the standard deviation of the corners made so.
    robust : set aside points that do not belong (a shadow, a burr).
    systematic : errors that all points share; they are added to the covariance.

    Returns
    -------
    The fit, or a `NoFit` with the reason where the points determine no corner.

    Raises
    ------
    FitError : arguments of the wrong shape, or not finite.
    """
    points, sigma = _checked(points, sigma)
    if not families:
        raise FitError("no family to choose from", "families", "name at least one corner family")
    centre = points[len(points) // 2] if len(points) else np.zeros(2)  # keeps the numbers small
    x, y = points[:, 0] - centre[0], points[:, 1] - centre[1]
    data = Contour(x, y, 1 / sigma, turn, turn_deviation)
    named = [family for family in families if family is not FREE]
    fits = search(data, named or families, robust)
    if isinstance(fits, NoFit):
        return fits
    chosen = _choose(data, fits, breaks)
    if 0 < len(named) < len(families) and _rejected(data, chosen.fit, breaks):
        fits = search(data, families, robust)
        if isinstance(fits, NoFit):
            return fits
        chosen = _choose(data, fits, breaks)
    return _finished(data, chosen, centre, sigma, breaks, systematic)


@dataclass(frozen=True)
class _Chosen:
    """The best family's fit, the noise at it, its rows whitened, and the ranking."""

    fit: Solved
    noise: NoiseModel
    white: Array
    ranking: tuple[tuple[str, float], ...]


def _checked(points: Array, sigma: Array) -> tuple[Array, Array]:
    points = np.asarray(points, dtype=float)
    sigma = np.asarray(sigma, dtype=float)
    mend = "give points (N, 2) in order and a sigma for each"
    if points.ndim != 2 or points.shape[1] != 2 or sigma.shape != (len(points),):
        raise FitError(f"points {points.shape} with sigma {sigma.shape}", "corner points", mend)
    if not (np.isfinite(points).all() and np.isfinite(sigma).all()):
        raise FitError("a coordinate or a sigma is not finite", "corner points", mend)
    if len(sigma) and sigma.min() <= 0:
        raise FitError("a sigma is zero or negative", "corner points", mend)
    return points, sigma


def _choose(data: Contour, fits: list[Solved], breaks: Sequence[int]) -> _Chosen:
    """The family of the least whitened BIC, the noise at it, and the weights of all.

    All families are judged by one noise model, from the one that leaves the least slow noise: a
    wrong family's misfit would count as noise. Of equal evidence an arc is twice as likely.
    """
    noises = [modelled(fit.rows, breaks, fit.weights) for fit in fits]
    if len(fits) == 1:
        noise, white = noises[0]
        return _Chosen(fits[0], noise, white, ((fits[0].family.name, 1.0),))
    least = int(np.argmin([noise.slow for noise, _ in noises]))
    extent = _extent(data, fits[least])
    reference = estimate_scaled(fits[least].rows, breaks, fits[least].weights, extent)
    square = []
    for fit in fits:
        white = whiten(reference, fit.rows.T, breaks, fit.weights).T
        normal = _with_prior(data, fit, white @ white.T)
        size = len(fit.state)
        pull = normal[:size, size]
        step = np.linalg.lstsq(normal[:size, :size], pull, rcond=None)[0]
        square.append(normal[size, size] - pull @ step)
    excess = np.array(square) - min(square)
    params = np.array([len(fit.state) - POSE for fit in fits])
    bic = excess + params * math.log(len(data.x) / reference.block)
    bic -= 2 * np.log([ARC_ODDS if fit.family.name == "arc" else 1.0 for fit in fits])
    weight = np.exp(-(bic - bic.min()) / 2)
    weight /= weight.sum()
    order = np.argsort(-weight)
    ranking = tuple((fits[k].family.name, float(weight[k])) for k in order)
    noise, white = noises[order[0]]
    return _Chosen(fits[order[0]], noise, white, ranking)


def _rejected(data: Contour, fit: Solved, breaks: Sequence[int]) -> bool:
    """Whether a corner's residuals hold more than noise: as much as a free curve has to pay for.

    Waves along the corner, as many as the free curve has pieces, represent it to first order.
    """
    pose, turn = fit.state[:POSE], float(fit.state[3])
    reach = fit.family.reach(fit.state[POSE:], turn)
    waves = corner_waves(to_local(data, pose), reach, turn) * data.inverse_sigma
    inside = waves[0] > 0
    if not inside.any():
        return False
    if fit.weights is not None and np.mean(fit.weights[inside] == 0) > LEAVES_ASIDE:
        return True
    size = len(fit.state)
    rows = np.vstack([fit.rows[:-1], waves, fit.rows[-1:]])
    noise, white = modelled(rows, breaks, fit.weights)
    normal = white @ white.T
    pull = normal[:-1, -1]
    explained = [
        pull[:k] @ np.linalg.lstsq(normal[:k, :k], pull[:k], rcond=None)[0]
        for k in (size, len(pull))
    ]
    paid = (FREE.pieces - (size - POSE)) * math.log(len(data.x) / noise.block)
    return float(explained[1] - explained[0]) > paid


def _extent(data: Contour, fit: Solved) -> float:
    """Length of a fit's corner in points."""
    length = float(np.sum(np.hypot(np.diff(data.x), np.diff(data.y))))
    reach = sum(fit.family.reach(fit.state[POSE:], float(fit.state[3])))
    return max(0.8 * reach / length * len(data.x), 2.0)


def _with_prior(data: Contour, fit: Solved, normal: Array) -> Array:
    """The normal equations of derivatives and residuals with what is known of the turn."""
    size = len(fit.state)
    off = (fit.state[3] - data.turn) / data.turn_deviation
    normal[3, 3] += data.turn_deviation**-2
    normal[3, size] += off / data.turn_deviation
    normal[size, 3] += off / data.turn_deviation
    normal[size, size] += off * off
    return normal


def _shared_rows(data: Contour, fit: Solved, centre: Array, systematic: Systematic) -> Array:
    """Scaled residuals (3, N) that one standard deviation of each shared error makes."""
    x, y = data.x + centre[0], data.y + centre[1]
    return np.stack([
        systematic.offset * data.inverse_sigma,
        -systematic.scale_x * fit.rows[0] * x,
        -systematic.scale_y * fit.rows[1] * y,
    ])  # fmt: skip


def _finished(
    data: Contour,
    chosen: _Chosen,
    centre: Array,
    sigma: Array,
    breaks: Sequence[int],
    systematic: Systematic | None,
) -> CornerFit | NoFit:
    """One generalised least-squares step, and the covariance with what all points share."""
    best, noise, white = chosen.fit, chosen.noise, chosen.white
    size = len(best.state)
    normal = _with_prior(data, best, white @ white.T)
    try:
        covariance = np.asarray(np.linalg.inv(normal[:size, :size]), dtype=float)
    except np.linalg.LinAlgError:
        covariance = np.full((size, size), np.nan)
    if not covariance.diagonal().min() > 0:
        return NoFit(f"the contour does not determine a {best.family.name} and both its sides")
    step = -covariance @ normal[:size, size]
    state = best.state + step
    for k, (low, high) in enumerate(best.family.bounds, start=POSE):
        state[k] = min(max(state[k], low), high)
    residuals = (best.rows[-1] + step @ best.rows[:-1]) * sigma
    dof = noise.dof * np.ones(size)
    if systematic is not None:
        shared = _shared_rows(data, best, centre, systematic)
        common = covariance @ white[:-1] @ whiten(noise, shared.T, breaks, best.weights)
        random = covariance.diagonal()
        covariance = covariance + common @ common.T
        # Welch-Satterthwaite: the shared errors are stated, only the noise is estimated.
        dof *= (covariance.diagonal() / random) ** 2
    weights = np.ones(len(sigma)) if best.weights is None else best.weights
    return CornerFit(
        best.family,
        (float(state[0] + centre[0]), float(state[1] + centre[1])),
        float(state[2]),
        float(state[3]),
        state[POSE:],
        covariance,
        dof,
        noise,
        weights,
        residuals,
        chosen.ranking,
    )
