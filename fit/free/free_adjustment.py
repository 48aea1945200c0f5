"""A chain, the poses of its sections and the readings of its size, adjusted together.

One least-squares problem: every point's distance from the chain, whitened by the noise that the
residuals show (`noise`), and each reading of the chain's extent. Unknown are the parameters of the
chain, for every body of sections but the first its pose, and the errors that points share, each in
units of its standard uncertainty with the prior 0 ± 1. Closure is held exactly.

A shared error moves the points by what it makes of chain and poses, and not by the rest: readings
tell of it, and how well the chain fits the points does not. What a tracer leaves along an edge
looks much like an error of the sides' lean.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from snugline.fit.contour_noise import NoiseModel, belonging, estimate_noise, whiten
from snugline.fit.free.chain_fit import close, null_space
from snugline.fit.free.chain_reach import reach_along
from snugline.fit.geometry.arc_chain import (
    Array,
    Chain,
    Feet,
    Indices,
    closure,
    directions,
    drop,
    jacobian,
    left,
)
from snugline.fit.section import Section

_CLOSED = 1e-9  # mm and rad
_STEPS = 40
_SETTLED = 1e-4, 1e-7  # of the sum of squares, what a step saves where no more is worth its time
_DAMPING = 1e-12, 1e3  # of the normal equations, scaled: least, and where nothing helps


@dataclass(frozen=True)
class Extent:
    """A reading of the chain's extent along a direction (rad): mm, and its standard uncertainty."""

    of: str
    value: float
    u: float
    direction: float


@dataclass(frozen=True)
class Data:
    """All points, and the frames they share.

    Attributes
    ----------
    points, sigma : (N, 2) and (N,) mm, placed, section after section.
    body : (N,) which points move as one; the frame of body 0 stays.
    section : (N,) the section of each point.
    breaks : indices where neighbours are not neighbours on the edge.
    turn : (N,) rad that the point's section was turned by from its frame.
    source : for each section, the one that was measured: itself, or that which it mirrors.
    """

    points: Array
    sigma: Array
    body: Indices
    section: Indices
    breaks: tuple[int, ...]
    turn: Array
    source: tuple[int, ...]


@dataclass(frozen=True)
class Adjustment:
    """The chain with the covariance of its parameters.

    Attributes
    ----------
    covariance : (M, M) of `chain.values()`, systematic errors included.
    moved : turn (rad) and shift (mm) about `pivot` of each body, (B, 3): turn last.
    kept : (N,) whether a point took part.
    points : (N, 2) mm, placed, and moved by the shared errors as found.
    """

    chain: Chain
    covariance: Array
    moved: Array
    pivot: Array
    points: Array
    feet: Feet
    kept: "np.ndarray[tuple[int], np.dtype[np.bool_]]"
    noise: NoiseModel


@dataclass(frozen=True)
class _Unknowns:
    """Chain, poses of the bodies (B, 3), shared errors (E,) in their standard uncertainties."""

    chain: Chain
    moved: Array
    shared: Array

    def stepped(self, step: Array, weight: Array) -> "_Unknowns":
        """After a step in all of them, the chain closed again."""
        m, poses = len(self.chain.values()), 3 * (len(self.moved) - 1)
        moved = self.moved.copy()
        moved[1:] += step[m : m + poses].reshape(-1, 3)
        chain = close(self.chain.with_values(self.chain.values() + step[:m]), weight)
        return _Unknowns(chain, moved, self.shared + step[m + poses :])


def adjust(
    chain: Chain,
    data: Data,
    extents: Sequence[Extent],
    sections: Sequence[Section],
    moved: Array | None = None,
) -> Adjustment:
    """Fit chain, poses and readings to all points at once, from a chain and the poses it fits."""
    bodies = int(data.body.max()) + 1
    pivot = np.array([data.points[data.body == b].mean(axis=0) for b in range(bodies)])
    at = _Unknowns(chain, np.zeros((bodies, 3)) if moved is None else moved, np.zeros(0))
    none = np.zeros((len(data.points), 0))
    at = _settle(at, data, extents, pivot, None, data.sigma, none)
    points = _placed(data, at.moved, pivot)
    feet = drop(at.chain, points)
    weights = belonging(feet.distance / data.sigma)
    if weights.min() < 1:
        sigma = np.where(weights > 0, data.sigma, 1e6)
        at = _settle(at, data, extents, pivot, None, sigma, none)
        points = _placed(data, at.moved, pivot)
        feet = drop(at.chain, points)
        weights = belonging(feet.distance / data.sigma)
    design = _design(at.chain, data, points, feet, pivot, at.moved)
    basis = _basis(at.chain, design)
    noise = estimate_noise(feet.distance, data.sigma, data.breaks, weights, design @ basis)
    model = (noise, weights)
    errors = _shared(data, feet, points, at.moved, sections)
    effect = _within_reach(errors, design @ basis, data, model)
    told = effect if len(extents) else none  # without a reading nothing tells of shared errors
    at = _Unknowns(at.chain, at.moved, np.zeros(told.shape[1]))
    at = _settle(at, data, extents, pivot, model, data.sigma, told)
    points = _placed(data, at.moved, pivot)
    feet = drop(at.chain, points)
    covariance = _covariance(at, data, extents, points, feet, pivot, model, effect)
    m = len(at.chain.values())
    by_errors = told @ at.shared
    points = points - by_errors[:, None] * feet.normal
    feet = replace(feet, distance=feet.distance - by_errors)
    return Adjustment(
        at.chain, covariance[:m, :m], at.moved, pivot, points, feet, weights > 0, noise
    )


def _within_reach(
    errors: Array, design: Array, data: Data, model: tuple[NoiseModel, Array]
) -> Array:
    """(N, E) of what shared errors move, the share that chain and poses can follow."""
    if not errors.shape[1]:
        return errors
    white = _white(design, data.sigma, data, model)
    scale = np.maximum(np.linalg.norm(white, axis=0), 1e-300)
    seen = _white(errors, data.sigma, data, model)
    made = np.linalg.lstsq(white / scale, seen, rcond=1e-9)[0]
    return np.asarray(design @ (made / scale[:, None]))


def _placed(data: Data, moved: Array, pivot: Array) -> Array:
    turn = moved[data.body, 2]
    arm = data.points - pivot[data.body]
    c, s = np.cos(turn)[:, None], np.sin(turn)[:, None]
    placed: Array = pivot[data.body] + c * arm + s * left(arm) + moved[data.body, :2]
    return placed


def _design(
    chain: Chain, data: Data, points: Array, feet: Feet, pivot: Array, moved: Array
) -> Array:
    """Derivatives of the distances by the chain's parameters and the poses, (N, M + 3 (B - 1))."""
    bodies = len(pivot)
    pose = np.zeros((len(points), bodies - 1, 3))
    arm = points - pivot[data.body] - moved[data.body, :2]
    own = np.column_stack([feet.normal, np.sum(feet.normal * left(arm), axis=1)])
    rows = np.flatnonzero(data.body > 0)
    pose[rows, data.body[rows] - 1] = own[rows]
    return np.hstack([jacobian(chain, feet), pose.reshape(len(points), -1)])


def _basis(chain: Chain, design: Array) -> Array:
    """Directions that keep the chain closed, (M + 3 (B - 1), .)."""
    m, whole = len(chain.values()), design.shape[1]
    scale = np.maximum(np.linalg.norm(design[:, :m], axis=0), 1e-12)
    scale[scale < 1e-9 * scale.max()] = np.hypot(scale[0], scale[1])
    inner = null_space(chain, scale) / scale[:, None]
    basis = np.zeros((whole, inner.shape[1] + whole - m))
    basis[:m, : inner.shape[1]] = inner
    basis[m:, inner.shape[1] :] = np.eye(whole - m)
    return basis


def _rows(chain: Chain, extents: Sequence[Extent], width: int) -> tuple[Array, Array]:
    """What the readings lack, over their uncertainties, and its derivatives (., width)."""
    lack, rows = np.zeros(len(extents)), np.zeros((len(extents), width))
    for i, e in enumerate(extents):
        reach = reach_along(chain, e.direction)
        lack[i] = (reach.value - e.value) / e.u
        rows[i, : len(reach.row)] = reach.row / e.u
    return lack, rows


def _settle(
    at: _Unknowns,
    data: Data,
    extents: Sequence[Extent],
    pivot: Array,
    model: tuple[NoiseModel, Array] | None,
    sigma: Array,
    effect: Array,
) -> _Unknowns:
    """Levenberg-Marquardt: where sections tie loosely a full step would leave the valley."""

    def misses(trial: _Unknowns, feet: Feet) -> Array:
        apart = _white(feet.distance - effect @ trial.shared, sigma, data, model)
        return np.concatenate([apart, _rows(trial.chain, extents, width)[0], trial.shared])

    m = len(at.chain.values())
    width = m + 3 * (len(at.moved) - 1) + effect.shape[1]
    # Before the noise is known, only to tell what belongs to the edge, and the noise itself.
    enough = _SETTLED[model is not None]
    points = _placed(data, at.moved, pivot)
    feet = drop(at.chain, points)
    damping = _DAMPING[0]
    for _ in range(_STEPS):
        design = _design(at.chain, data, points, feet, pivot, at.moved)
        basis = _with_shared(_basis(at.chain, design), effect.shape[1])
        r = misses(at, feet)
        best = float(r @ r)
        a = _all_rows(at, data, extents, design, effect, sigma, model) @ basis
        scale = np.maximum(np.linalg.norm(a, axis=0), 1e-300)
        normal, slope = (a.T @ a) / np.outer(scale, scale), (a.T @ r) / scale
        weight = np.maximum(np.linalg.norm(design[:, :m], axis=0), 1e-9)
        weight[weight < 1e-9 * weight.max()] = weight[0]
        while damping < _DAMPING[1]:
            damped = normal + damping * np.eye(len(normal))
            trial = at.stepped(basis @ (-np.linalg.solve(damped, slope) / scale), weight)
            if trial.chain.lengths.min() > 0 and _closed(trial.chain):
                placed = _placed(data, trial.moved, pivot)
                trial_feet = drop(trial.chain, placed, near=feet.segment)
                r = misses(trial, trial_feet)
                cost = float(r @ r)
                if cost <= best * (1 + 1e-9):
                    break
            damping *= 8
        else:
            break
        damping = max(damping / 20, _DAMPING[0])
        at, points, feet = trial, placed, trial_feet
        if best - cost < enough * (1 + best):
            break
    return at


def _closed(chain: Chain) -> bool:
    """Whether a closed chain ends where it starts: a long step may leave it open."""
    return not chain.closed or float(np.abs(closure(chain)[0]).max()) < _CLOSED


def _with_shared(basis: Array, count: int) -> Array:
    """The basis with the shared errors, which keep any chain closed."""
    out = np.zeros((basis.shape[0] + count, basis.shape[1] + count))
    out[: basis.shape[0], : basis.shape[1]] = basis
    out[basis.shape[0] :, basis.shape[1] :] = np.eye(count)
    return out


def _all_rows(
    at: _Unknowns,
    data: Data,
    extents: Sequence[Extent],
    design: Array,
    effect: Array,
    sigma: Array,
    model: tuple[NoiseModel, Array] | None,
) -> Array:
    """Derivatives of all that is minimised by all unknowns."""
    points = _white(np.hstack([design, -effect]), sigma, data, model)
    prior = np.zeros((effect.shape[1], points.shape[1]))
    prior[:, design.shape[1] :] = np.eye(effect.shape[1])
    return np.vstack([points, _rows(at.chain, extents, points.shape[1])[1], prior])


def _white(rows: Array, sigma: Array, data: Data, model: tuple[NoiseModel, Array] | None) -> Array:
    scaled: Array = (rows.T / sigma).T
    return scaled if model is None else whiten(model[0], scaled, data.breaks, model[1])


def _covariance(
    at: _Unknowns,
    data: Data,
    extents: Sequence[Extent],
    points: Array,
    feet: Feet,
    pivot: Array,
    model: tuple[NoiseModel, Array],
    effect: Array,
) -> Array:
    """Covariance of chain, poses and shared errors, from points, readings and priors."""
    design = _design(at.chain, data, points, feet, pivot, at.moved)
    basis = _with_shared(_basis(at.chain, design), effect.shape[1])
    a = _all_rows(at, data, extents, design, effect, data.sigma, model) @ basis
    scale = np.maximum(np.linalg.norm(a, axis=0), 1e-300)
    # By the triangular factor: the normal equations would square the condition.
    _, s, vt = np.linalg.svd(np.linalg.qr(a / scale, mode="r"))
    keep = s > 1e-9 * s[0]
    half = basis @ (vt[keep].T / s[keep] / scale[:, None])
    total: Array = half @ half.T
    return total


def _shared(
    data: Data, feet: Feet, points: Array, moved: Array, sections: Sequence[Section]
) -> Array:
    """Distances caused by one standard uncertainty of each shared error, (N, E)."""
    columns = []
    source = np.array(data.source)[data.section]
    for k, section in enumerate(sections):
        if section.systematic.offset and data.source[k] == k:
            columns.append(np.where(source == k, -section.systematic.offset, 0.0))
    for of in sorted({of for section in sections for of in section.sensitivity}):
        none = [np.zeros(len(section.points)) for section in sections]
        moves = [s.sensitivity.get(of, zero) for s, zero in zip(sections, none, strict=True)]
        columns.append(np.concatenate(moves))
    frame = data.turn + moved[data.body, 2]
    groups = [
        s.systematic.scale_group or f"section {k}"
        for k, s in zip(data.source, sections, strict=True)
    ]
    for group in sorted(set(groups)):
        member = [g == group for g in groups]
        inside = np.array(member)[data.section]
        centre = points[inside].mean(axis=0)
        for axis, name in enumerate(("scale_x", "scale_y")):
            u = np.array([getattr(s.systematic, name) for s in sections])[data.section]
            along = directions(frame + axis * math.pi / 2)
            stretch = np.sum(along * (points - centre), axis=1) * u
            effect = stretch * np.sum(along * feet.normal, axis=1)
            if np.any(inside & (u > 0)):
                columns.append(np.where(inside, effect, 0.0))
    return np.column_stack(columns) if columns else np.zeros((len(points), 0))


def turned(chain: Chain, angle: float, shift: Array) -> Chain:
    """The chain turned about the origin by `angle`, then moved."""
    c, s = math.cos(angle), math.sin(angle)
    x, y = chain.start
    start = (c * x - s * y + float(shift[0]), s * x + c * y + float(shift[1]))
    return replace(chain, start=start, heading=chain.heading + angle)
