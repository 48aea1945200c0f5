"""Whether an outline's corners leave more than noise: then no named family describes them.

Tested to first order, by waves along the corners that represent all that a free curve could make of
them; so free curves, which are slow to fit, are tried only where they can win.
"""

import math

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import (
    Block,
    Equations,
    Normals,
    normals_of,
    prior_normals,
    whitened,
)
from snugline.fit.adjustment.robust_solution import ResidualNoise, solve
from snugline.fit.contour_noise import estimate_noise
from snugline.fit.corners.free_corner import FREE, LEAVES_ASIDE, corner_waves

Array = NDArray[np.float64]


def corners_misfit(equations: Equations, x: Array, noise: ResidualNoise, least: float) -> bool:
    """Whether the residuals at some mirror group's corners call for a free curve.

    Parameters
    ----------
    noise : its weights show which points were rejected.
    least : mm, misfits smaller than this are ignored.
    """
    shape, known = equations.shape, equations.size
    groups, pieces = max(shape.groups) + 1, FREE.pieces
    size = known + groups * pieces
    total = _widened(prior_normals(equations, x), size)
    for i in range(len(equations.rows)):
        total += normals_of(equations.reading_block(x, i), size)
    rows, inside, aside, highest = 0.0, np.zeros(groups), np.zeros(groups), []
    own = len(shape.names) + 3
    for k, measured in enumerate(equations.sections):
        block, weights, waves = (
            equations.points_block(x, k),
            noise.weights[k],
            _waves(equations, x, k),
        )
        at = waves[:, ::pieces] > 0
        inside += at.sum(axis=0)
        aside += at[weights == 0].sum(axis=0)
        scaled = waves / measured.noise[:, None]
        model = estimate_noise(
            block.residual * measured.noise,
            measured.noise,
            measured.breaks,
            weights,
            np.hstack([block.jacobian[:, :own] * measured.noise[:, None], waves]),
        )
        rows += len(waves) / model.block
        columns = np.concatenate([block.columns, np.arange(known, size)])
        wide = Block(block.residual, np.hstack([block.jacobian, scaled]), columns)
        total += normals_of(whitened(wide, model, measured.breaks, weights), size)
        highest.append(waves)
    if np.any(aside > LEAVES_ASIDE * inside):
        return True
    waves = np.vstack(highest)
    before = _explained(total, np.arange(known))[0]
    for group in range(groups):
        added = np.arange(known + group * pieces, known + (group + 1) * pieces)
        after, step = _explained(total, np.concatenate([np.arange(known), added]))
        bend = waves[:, added - known] @ step[known:]
        corner = shape.corners[shape.groups.index(group)]
        price = (pieces - len(corner.parameters)) * math.log(rows)
        if after - before > price and np.max(np.abs(bend)) > least:
            return True
    return False


def _waves(equations: Equations, x: Array, k: int) -> Array:
    """Waves along the corners that section k shows, (N, groups x pieces), group by group."""
    shape, pieces = equations.shape, FREE.pieces
    params = x[: len(shape.names)]
    points = equations.sections[k].in_part(x[equations.pose_columns(k)])
    sector = shape.sector(points)
    waves = np.zeros((len(points), (max(shape.groups) + 1) * pieces))
    for j, reach in enumerate(shape.reaches(params)):
        here = np.flatnonzero(sector == j)
        local, turn = shape.to_corner(j, points[here], params)
        own = corner_waves(local, reach, turn).T
        if j % 2:  # a mirror image: its waves run the other way
            own = own * (-1.0) ** np.arange(pieces)
        first = shape.groups[j] * pieces
        waves[here, first : first + pieces] = own
    return waves


def _explained(total: Normals, which: NDArray[np.intp]) -> tuple[float, Array]:
    """By how much freeing these unknowns lowers the sum of squares, and the step that does."""
    gradient = total.gradient[which]
    step = solve(total.matrix[np.ix_(which, which)], -gradient)
    return -float(gradient @ step), step


def _widened(normals: Normals, size: int) -> Normals:
    own = len(normals.gradient)
    matrix, gradient = np.zeros((size, size)), np.zeros(size)
    matrix[:own, :own], gradient[:own] = normals.matrix, normals.gradient
    return Normals(matrix, gradient, normals.square)


__all__ = ["corners_misfit"]
