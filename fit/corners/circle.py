"""Circles: the geometric (orthogonal distance) fit with its covariance, and the algebraic ones.

The geometric fit minimises the weighted sum of squared distances to the circle; it starts from
Taubin's algebraic fit. Points are centred and scaled first, so that far origins cost nothing.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.counting import counted
from snugline.errors import FitError
from snugline.fit.failure import NoFit

Array = NDArray[np.float64]

ROUNDS = 100
FLAT = 1e7  # times the points' spread: a larger radius is indistinguishable from a straight line


@dataclass(frozen=True)
class CircleFit:
    """A fitted circle.

    Attributes
    ----------
    centre : (x, y) mm.
    radius : mm.
    covariance : (3, 3) of x, y and radius, from the sigmas where given, else from the residuals;
        None for an algebraic fit, whose estimates are biased.
    residuals : (N,) mm, distance from the centre less the radius.
    """

    centre: tuple[float, float]
    radius: float
    covariance: Array | None
    residuals: Array


def fit_circle(points: Array, sigma: Array | None = None) -> CircleFit | NoFit:
    """Geometric circle fit by Levenberg-Marquardt on orthogonal distances.

    Parameters
    ----------
    points : (N, 2) mm, N of 3 or more, in any order, of any arc.
    sigma : (N,) mm, standard uncertainties of the distances; equal and estimated when None.

    Returns
    -------
    The fit, or a `NoFit` where the points lie on a line or coincide.

    Raises
    ------
    FitError : arguments of the wrong shape, not finite, or a sigma not positive.
    """
    xy, weights = _checked(points, sigma)
    normalised = _normalised(xy, weights)
    if isinstance(normalised, NoFit):
        return normalised
    x, y, origin, unit = normalised
    start = _algebraic(x, y, weights, "taubin")
    if isinstance(start, NoFit):
        return start
    found = _descend(x, y, weights, start)
    if isinstance(found, NoFit):
        return found
    state, normal = found
    residuals = np.hypot(x - state[0], y - state[1]) - state[2]
    scale2 = 1.0
    if sigma is None:
        scale2 = float(residuals @ residuals) * unit**2 / max(len(x) - 3, 1)
    else:
        # The weights were normalised to a mean of 1.
        scale2 = 1 / float(np.mean(1 / np.asarray(sigma, dtype=float) ** 2))
    return CircleFit(
        (float(origin[0] + unit * state[0]), float(origin[1] + unit * state[1])),
        float(unit * state[2]),
        np.asarray(scale2 * np.linalg.inv(normal), dtype=np.float64),
        unit * residuals,
    )


def fit_circle_algebraic(
    points: Array, method: str = "taubin", sigma: Array | None = None
) -> CircleFit | NoFit:
    """Circle a (x^2 + y^2) + b x + c y + d = 0 of least algebraic distance.

    Parameters
    ----------
    points, sigma : as for `fit_circle`.
    method : the constraint. `svd`: a^2 + b^2 + c^2 + d^2 = 1 in the points' own axes and unit
        (Gander, Golub, Strebel 1994); `kasa`: a = 1; `pratt`: b^2 + c^2 - 4 a d = 1 (1987);
        `taubin`: mean squared gradient 1 (1991); `hyper`: Taubin's doubled less Pratt's, without
        essential bias (Al-Sharadqah, Chernov 2009).
    """
    xy, weights = _checked(points, sigma)
    if method not in METHODS:
        raise FitError(f"{method!r} is not an algebraic fit", "method", f"use {', '.join(METHODS)}")
    normalised = _normalised(xy, weights)
    if isinstance(normalised, NoFit):
        return normalised
    x, y, origin, unit = normalised
    if method == "svd":  # the only one that depends on origin and unit
        x, y, origin, unit = xy[:, 0], xy[:, 1], np.zeros(2), 1.0
    state = _algebraic(x, y, weights, method)
    if isinstance(state, NoFit):
        return state
    residuals = np.hypot(x - state[0], y - state[1]) - state[2]
    return CircleFit(
        (float(origin[0] + unit * state[0]), float(origin[1] + unit * state[1])),
        float(unit * state[2]),
        None,
        unit * residuals,
    )


def _checked(points: Array, sigma: Array | None) -> tuple[Array, Array]:
    """Points and weights of mean 1."""
    points = np.asarray(points, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2:
        raise FitError(f"points of shape {points.shape}", "circle points", "give (N, 2)")
    if len(points) < 3:
        raise FitError(
            counted(len(points), "point"), "circle points", "a circle needs three or more"
        )
    if not np.isfinite(points).all():
        raise FitError("a coordinate is not finite", "circle points", "leave such points out")
    if sigma is None:
        return points, np.ones(len(points))
    sigma = np.asarray(sigma, dtype=float)
    if sigma.shape != (len(points),) or not (np.isfinite(sigma) & (sigma > 0)).all():
        raise FitError(
            f"sigma of shape {sigma.shape}", "circle points", "give a positive one for each point"
        )
    weights = 1 / sigma**2
    return points, np.asarray(weights / weights.mean())


def _normalised(points: Array, weights: Array) -> tuple[Array, Array, Array, float] | NoFit:
    """Coordinates from the weighted mean in units of their root mean square."""
    origin = points.mean(axis=0)  # twice: the first mean of far points is rounded
    moved = points - origin
    shift = weights @ moved / weights.sum()
    moved -= shift
    x, y = np.ascontiguousarray(moved.T)
    unit = math.sqrt(float(weights @ (x * x + y * y)) / len(x))
    if unit == 0:
        return NoFit("all points coincide")
    x, y = x / unit, y / unit
    sxx, syy, sxy = float(weights @ (x * x)), float(weights @ (y * y)), float(weights @ (x * y))
    # Rounded coordinates cannot be straighter than their own last digits.
    rounding = 8 * np.finfo(float).eps * (1 + float(np.abs(points).max()) / unit)
    narrow = (sxx * syy - sxy * sxy) / (sxx + syy) / len(x)
    if narrow < rounding**2:
        return NoFit("all points lie on one straight line")
    return x, y, origin + shift, unit


METHODS = ("svd", "kasa", "pratt", "taubin", "hyper")


def _algebraic(x: Array, y: Array, weights: Array, method: str) -> Array | NoFit:
    """Centre x, y and radius by a generalised eigenvalue problem of 4 x 4 moments."""
    r2 = x * x + y * y
    rows = np.stack([r2, x, y, np.ones_like(x)])
    moments = (rows * weights) @ rows.T / weights.sum()
    if method == "svd":
        coefficients = np.linalg.eigh(moments)[1][:, 0]
    elif method == "kasa":
        coefficients = np.append(1.0, np.linalg.solve(moments[1:, 1:], -moments[1:, 0]))
    else:
        mean = moments[3]  # of r2, x, y and 1
        taubin = np.diag([4 * mean[0], 1.0, 1.0, 0.0])
        taubin[0, 1:3] = taubin[1:3, 0] = 2 * mean[1:3]
        pratt = np.diag([0.0, 1.0, 1.0, 0.0])
        pratt[0, 3] = pratt[3, 0] = -2.0
        constraint = {"taubin": taubin, "pratt": pratt, "hyper": 2 * taubin - pratt}[method]
        # The largest of the reciprocal eigenvalues belongs to the least algebraic distance.
        try:
            values, vectors = np.linalg.eigh(moments)
            half = vectors / np.sqrt(np.maximum(values, values[-1] * 1e-18))
            coefficients = half @ np.linalg.eigh(half.T @ constraint @ half)[1][:, -1]
        except np.linalg.LinAlgError:
            return NoFit("the moments of the points have no eigenvalues")
    a, b, c, d = coefficients
    square = b * b + c * c - 4 * a * d
    if not (square > 0 and 2 * abs(a) * FLAT > math.sqrt(square)):
        return NoFit("all points lie on one straight line, within their rounding")
    return np.array([-b / (2 * a), -c / (2 * a), math.sqrt(square) / (2 * abs(a))])


def _descend(x: Array, y: Array, weights: Array, state: Array) -> tuple[Array, Array] | NoFit:
    """Levenberg-Marquardt to the last digit; the state and its normal matrix."""
    cost, normal, gradient = _normal(x, y, weights, state)
    damping = 0.0
    for _ in range(ROUNDS):
        try:
            step = np.linalg.solve(normal + np.diag(damping * np.diag(normal)), -gradient)
        except np.linalg.LinAlgError:
            damping = max(10 * damping, 1e-6)
            continue
        trial = state + step
        new = _normal(x, y, weights, trial)
        if new[0] <= cost * (1 + 1e-14) or new[0] < 1e-30:
            size = math.sqrt(float(step @ step)) / (1 + abs(state[2]))
            state, (cost, normal, gradient) = trial, new
            damping = damping / 10 if damping > 1e-9 else 0.0
            if size < 1e-14 or (size < 1e-11 and damping == 0):
                break
            if not 0 < state[2] < FLAT:
                return NoFit("the points are too straight for a circle to be found")
        elif damping > 1e6:
            break  # no step lowers the cost any more: the last digit is reached
        else:
            damping = max(10 * damping, 1e-4)
    else:
        return NoFit(f"the circle did not settle in {ROUNDS} rounds")
    return state, normal


def _normal(x: Array, y: Array, weights: Array, state: Array) -> tuple[float, Array, Array]:
    """Cost, normal matrix and gradient of the distances."""
    dx, dy = x - state[0], y - state[1]
    r = np.sqrt(dx * dx + dy * dy)
    away = np.maximum(r, 1e-300)
    rows = np.stack([-dx / away, -dy / away, np.full_like(x, -1.0)])
    residuals = r - state[2]
    weighted = rows * weights
    return float(weights @ (residuals * residuals)), weighted @ rows.T, weighted @ residuals
