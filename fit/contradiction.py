"""Each group of observations against all others: does it say what they say?

A reading's w is its distance from what the rest predicts in units of that distance's standard
uncertainty (Baarda, A testing procedure for use in geodetic networks, 1968; critical value 3.29
for a level of 0.1 %). A photo's test is the same for all that it determines of the shared
unknowns at once, expressed as the w of equal probability.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from snugline.fit.equations import Equations, Normals
from snugline.fit.solve import WhitenedFit, inverse

Array = NDArray[np.float64]

CRITICAL_W = 3.29
UNCONTROLLED = 1e6  # variance ratio beyond which the rest says nothing about a direction


@dataclass(frozen=True)
class GroupTest:
    """One group against the rest.

    Attributes
    ----------
    kind, index : a reading or a section, and which.
    w : how far it is off in standard uncertainties, one-dimensional equivalent.
    what : the dimension in which it is off the most.
    off : mm, the group's own value less what the rest says.
    inflation : by how much the group's variance would have to grow to agree.
    """

    kind: Literal["reading", "section"]
    index: int
    w: float
    what: str
    off: float
    inflation: float

    @property
    def contradicts(self) -> bool:
        return abs(self.w) > CRITICAL_W


def compare_groups(equations: Equations, fit: WhitenedFit) -> list[GroupTest]:
    """Test every reading and section; the worst first."""
    total = fit.total
    tests = [_reading(equations, fit, total, i) for i in range(len(fit.readings))]
    if len(fit.sections) > 1 or fit.readings:
        tests += [_section(equations, fit, total, k) for k in range(len(fit.sections))]
    return sorted(tests, key=lambda test: -abs(test.w))


def _reading(equations: Equations, fit: WhitenedFit, total: Normals, i: int) -> GroupTest:
    row = equations.rows[i]
    block = equations.reading_block(fit.x, i)
    rest = total - fit.readings[i]
    covariance = inverse(rest.matrix)
    step = -covariance @ rest.gradient
    design = np.zeros(equations.size)
    design[block.columns] = block.jacobian[0]
    # Scaled by the reading's own uncertainty, so its own variance is 1.
    off = -(float(block.residual[0]) + float(design @ step))
    variance = 1 + float(design @ covariance @ design)
    w = off / math.sqrt(variance) if variance < UNCONTROLLED / row.own**2 else 0.0
    return GroupTest("reading", i, w, row.reading.what, off * row.own, max(w * w, 1.0))


def reduced_to_shared(
    equations: Equations, fit: WhitenedFit, k: int
) -> tuple[NDArray[np.bool_], Normals]:
    """What section k says of the unknowns that sections share: which these are, and the normals.

    Its pose and its own offset error, with its prior, are eliminated.
    """
    own, shared, group = _own_group(equations, fit, k)
    matrix, gradient = _reduced(group, own, shared)
    return shared, Normals(matrix, gradient, 0.0)


def _own_group(
    equations: Equations, fit: WhitenedFit, k: int
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], Normals]:
    own = np.zeros(equations.size, dtype=bool)
    own[equations.pose_columns(k)] = True
    offset = ("offset", "own", str(k))
    if offset in equations.nuisances:
        own[equations.column(offset)] = True
    shared = ~own
    for j in range(len(equations.sections)):
        shared[equations.pose_columns(j)] = False
    prior = np.zeros(equations.size)
    prior[equations.first_nuisance :] = own[equations.first_nuisance :]
    return own, shared, fit.sections[k] + Normals(np.diag(prior), prior * fit.x, 0.0)


def _section(equations: Equations, fit: WhitenedFit, total: Normals, k: int) -> GroupTest:
    own, shared, group = _own_group(equations, fit, k)
    matrix, gradient = _reduced(group, own, shared)
    rest = total - group
    keep = ~own
    rest_covariance = np.zeros((equations.size, equations.size))
    rest_covariance[np.ix_(keep, keep)] = inverse(rest.matrix[np.ix_(keep, keep)])
    step = -rest_covariance @ rest.gradient
    values, vectors = np.linalg.eigh(matrix)
    strong = values > 1e-4
    basis = vectors[:, strong] * np.sqrt(values[strong])
    # y: what the section alone determines, unit variance; its forecast by the rest.
    y = -(vectors[:, strong].T @ gradient) / np.sqrt(values[strong])
    spread = basis.T @ rest_covariance[np.ix_(shared, shared)] @ basis
    level, axes = np.linalg.eigh(spread)
    known = level < UNCONTROLLED
    off = (axes.T @ (y - basis.T @ step[shared]))[known]
    square, count = float(np.sum(off**2 / (1 + level[known]))), int(known.sum())
    # As a change of the shape: the off directions carried back to the parameters.
    back = vectors[:, strong] / np.sqrt(values[strong])
    change = np.zeros(equations.size)
    change[shared] = back @ (axes[:, known] @ off)
    what, size = _largest(equations, fit.x, change)
    return GroupTest("section", k, _equivalent(square, count), what, size,
                     max(square / max(count, 1), 1.0))  # fmt: skip


def _reduced(
    group: Normals, own: NDArray[np.bool_], shared: NDArray[np.bool_]
) -> tuple[Array, Array]:
    """The group's normal equations with its own unknowns eliminated."""
    cross = group.matrix[np.ix_(shared, own)]
    solved = np.linalg.solve(
        group.matrix[np.ix_(own, own)] + 1e-9 * np.eye(int(own.sum())),
        np.column_stack([cross.T, group.gradient[own]]),
    )
    matrix = group.matrix[np.ix_(shared, shared)] - cross @ solved[:, :-1]
    gradient: Array = group.gradient[shared] - cross @ solved[:, -1]
    return (matrix + matrix.T) / 2, gradient


def _largest(equations: Equations, x: Array, change: Array) -> tuple[str, float]:
    names = equations.shape.names
    lengths = [i for i, name in enumerate(names) if not name.startswith(("exponent", "taper"))]
    worst = max(lengths, key=lambda i: abs(change[i]))
    return names[worst], float(change[worst])


def _equivalent(square: float, count: int) -> float:
    """The normal deviate as improbable as chi-square `square` with `count` degrees of freedom."""
    from scipy.special import chdtrc, ndtri

    if count == 0:
        return 0.0
    tail = float(chdtrc(count, square))
    if tail < 1e-300:
        return math.sqrt(max(square - count, 0.0))
    return float(-ndtri(tail / 2))
