"""A chain, the poses of its sections and the readings of its size, adjusted together.

One least-squares problem: every point's distance from the chain, whitened by the noise that the
residuals show (`noise`), and each reading of the chain's extent. Unknown are the chain's parameters
and, for every body of sections but the first, its pose. Closure is held exactly.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from snugline.fit.contour_noise import NoiseModel, belonging, estimate_noise, whiten
from snugline.fit.free.chain_fit import close, null_space
from snugline.fit.geometry.arc_chain import (
    Array,
    Chain,
    Feet,
    Indices,
    directions,
    drop,
    jacobian,
    left,
    point_at,
)
from snugline.fit.section import Section


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
    """

    chain: Chain
    covariance: Array
    moved: Array
    pivot: Array
    points: Array
    feet: Feet
    kept: "np.ndarray[tuple[int], np.dtype[np.bool_]]"
    noise: NoiseModel


def adjust(
    chain: Chain, data: Data, extents: Sequence[Extent], sections: Sequence[Section]
) -> Adjustment:
    """Fit chain, poses and readings to all points at once."""
    bodies = int(data.body.max()) + 1
    pivot = np.array([data.points[data.body == b].mean(axis=0) for b in range(bodies)])
    moved = np.zeros((bodies, 3))
    chain, moved = _settle(chain, data, extents, moved, pivot, None, data.sigma)
    points = _placed(data, moved, pivot)
    feet = drop(chain, points)
    weights = belonging(feet.distance / data.sigma)
    if weights.min() < 1:
        sigma = np.where(weights > 0, data.sigma, 1e6)
        chain, moved = _settle(chain, data, extents, moved, pivot, None, sigma)
        points = _placed(data, moved, pivot)
        feet = drop(chain, points)
        weights = belonging(feet.distance / data.sigma)
    design = _design(chain, data, points, feet, pivot, moved)
    basis = _basis(chain, design)
    noise = estimate_noise(feet.distance, data.sigma, data.breaks, weights, design @ basis)
    chain, moved = _settle(
        chain, data, extents, moved, pivot, (noise, weights), data.sigma, steps=4
    )
    points = _placed(data, moved, pivot)
    feet = drop(chain, points)
    covariance = _covariance(
        chain, data, extents, points, feet, pivot, moved, noise, weights, sections
    )
    m = len(chain.values())
    return Adjustment(chain, covariance[:m, :m], moved, pivot, points, feet, weights > 0, noise)


@dataclass(frozen=True)
class Reach:
    """The chain's extent along a direction.

    Attributes
    ----------
    value : mm.
    row : (M,) derivatives by the parameters, the direction held.
    slope : mm/rad, derivative by the direction.
    low, high : mm, from where to where it reaches.
    """

    value: float
    row: Array
    slope: float
    low: float
    high: float


def reach_along(chain: Chain, direction: float) -> Reach:
    """How far the chain extends along a direction (rad)."""
    d = directions(np.array([direction]))
    far, near = _support(chain, d[0]), _support(chain, -d[0])
    slope = float(left(d)[0] @ (far.foot[0] - near.foot[0]))
    low, high = float(near.foot[0] @ d[0]), float(far.foot[0] @ d[0])
    row = jacobian(chain, far)[0] + jacobian(chain, near)[0]
    return Reach(high - low, row, slope, low, high)


def heading_row(chain: Chain, segment: int) -> Array:
    """Derivatives of a segment's heading at its start by the parameters, (M,)."""
    k = len(chain)
    row = np.zeros(len(chain.values()))
    row[2] = 1.0
    bends = np.flatnonzero(~chain.straight)
    row[3 + k : 3 + k + len(bends)] = bends < segment
    row[3 + k + len(bends) :] = np.flatnonzero(chain.corner[1:]) + 1 <= segment
    return row


def _support(chain: Chain, d: Array) -> Feet:
    """The chain's farthest point along a unit vector, as a foot whose left normal is -d."""
    at = chain.poses
    reach, segment, along = at.start @ d, np.arange(len(chain)), np.zeros(len(chain))
    # Within a convex arc the farthest point is where the edge runs a quarter turn ahead of d.
    ahead = math.atan2(d[1], d[0]) + math.pi / 2
    turn = (ahead - at.heading) % (2 * math.pi)
    arcs = np.flatnonzero((chain.curvatures > 0) & (turn < chain.sweeps))
    way = turn[arcs] / chain.curvatures[arcs]
    reach = np.concatenate([reach, point_at(chain, arcs, way) @ d])
    segment, along = np.concatenate([segment, arcs]), np.concatenate([along, way])
    best = int(np.argmax(reach))
    k, s = segment[best : best + 1], along[best : best + 1]
    return Feet(k, s, point_at(chain, k, s), -d[None, :], np.zeros(1))


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


def _rows(chain: Chain, extents: Sequence[Extent], design: Array) -> tuple[Array, Array]:
    """What the readings lack, over their uncertainties, and its derivatives."""
    lack, rows = np.zeros(len(extents)), np.zeros((len(extents), design.shape[1]))
    for i, e in enumerate(extents):
        reach = reach_along(chain, e.direction)
        lack[i] = (reach.value - e.value) / e.u
        rows[i, : len(reach.row)] = reach.row / e.u
    return lack, rows


def _settle(
    chain: Chain,
    data: Data,
    extents: Sequence[Extent],
    moved: Array,
    pivot: Array,
    model: tuple[NoiseModel, Array] | None,
    sigma: Array,
    steps: int = 15,
) -> tuple[Chain, Array]:
    """Gauss-Newton with halved steps where a step would not lower the cost."""
    best = math.inf
    points = _placed(data, moved, pivot)
    feet = drop(chain, points)
    for _ in range(steps):
        design = _design(chain, data, points, feet, pivot, moved)
        basis = _basis(chain, design)
        lack, rows = _rows(chain, extents, design)
        a = _white(design, sigma, data, model)
        r = np.concatenate([_white(feet.distance, sigma, data, model), lack])
        best = float(r @ r)
        a = np.vstack([a, rows]) @ basis
        scale = np.maximum(np.linalg.norm(a, axis=0), 1e-300)
        normal = (a.T @ a) / np.outer(scale, scale)
        normal[np.diag_indices_from(normal)] += 1e-12
        step = basis @ (-np.linalg.solve(normal, (a.T @ r) / scale) / scale)
        m = len(chain.values())
        weight = np.maximum(np.linalg.norm(design[:, :m], axis=0), 1e-9)
        weight[weight < 1e-9 * weight.max()] = weight[0]
        for share in (1.0, 0.5, 0.25, 0.1, 0.02):
            trial = close(chain.with_values(chain.values() + share * step[:m]), weight)
            if trial.lengths.min() <= 0:
                continue
            shift = moved.copy()
            shift[1:] += share * step[m:].reshape(-1, 3)
            placed = _placed(data, shift, pivot)
            trial_feet = drop(trial, placed, near=feet.segment)
            lack = _rows(trial, extents, design)[0]
            r = np.concatenate([_white(trial_feet.distance, sigma, data, model), lack])
            cost = float(r @ r)
            if cost <= best * (1 + 1e-9):
                break
        else:
            break
        chain, moved, points, feet = trial, shift, placed, trial_feet
        if best - cost < 1e-7 * (1 + best):
            break
    return chain, moved


def _white(rows: Array, sigma: Array, data: Data, model: tuple[NoiseModel, Array] | None) -> Array:
    scaled: Array = (rows.T / sigma).T
    return scaled if model is None else whiten(model[0], scaled, data.breaks, model[1])


def _covariance(
    chain: Chain,
    data: Data,
    extents: Sequence[Extent],
    points: Array,
    feet: Feet,
    pivot: Array,
    moved: Array,
    noise: NoiseModel,
    weights: Array,
    sections: Sequence[Section],
) -> Array:
    """Covariance of chain and poses: noise and readings, then what the sections' points share."""
    design = _design(chain, data, points, feet, pivot, moved)
    basis = _basis(chain, design)
    rows = _rows(chain, extents, design)[1]
    white = _white(design, data.sigma, data, (noise, weights))
    a = np.vstack([white, rows]) @ basis
    scale = np.maximum(np.linalg.norm(a, axis=0), 1e-300)
    a = a / scale
    # By the triangular factor: the normal equations would square the condition.
    _, s, vt = np.linalg.svd(np.linalg.qr(a, mode="r"))
    keep = s > 1e-9 * s[0]
    half = basis @ (vt[keep].T / s[keep] / scale[:, None])
    total: Array = half @ half.T
    errors = _shared(data, feet, points, moved, sections)
    if errors.shape[1]:
        seen = _white(errors, data.sigma, data, (noise, weights))
        seen = np.vstack([seen, np.zeros((len(rows), errors.shape[1]))])
        answer = half @ ((vt[keep] / s[keep, None]) @ (a.T @ seen))
        total = total + answer @ answer.T
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
