"""Outlier test: is each group of observations consistent with all the others?

This is Baarda's data snooping (A testing procedure for use in geodetic networks, 1968; critical
value 3.29 for a level of 0.1 %). A reading's w is its distance from what the rest predicts in units
of that distance's standard uncertainty. A photo's test is the same for all that it determines of
the shared unknowns at once, expressed as the w of equal probability.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import Equations, Normals
from snugline.fit.adjustment.robust_solution import WhitenedFit, inverse
from snugline.fit.readings.thickness import Thickness

Array = NDArray[np.float64]

LEVEL = 0.001
THICKNESS = ("part", "thickness")
UNCONTROLLED = 1e6  # variance ratio beyond which the rest does not determine a direction
# What the rest gives only to centimetres (a length from two ends that are not quite parallel, say)
# is an extrapolation far beyond where the equations are linear, and cannot check a reading.
WEAKEST_CONTROL_MM = 10.0


@dataclass(frozen=True)
class GroupTest:
    """One group against the rest.

    Attributes
    ----------
    kind, index : a reading, a section or the part's thickness, and which.
    w : how far it is off in standard uncertainties, one-dimensional equivalent.
    chance : probability of being off that far by chance.
    what : the dimension in which it is off the most.
    off : mm, the group's own value less what the rest predicts.
    inflation : by how much the group's variance would have to grow to agree.
    rest_u : mm, standard uncertainty of what the rest says of the dimension; NaN for a section.
    """

    kind: Literal["reading", "section", "thickness"]
    index: int
    w: float
    chance: float
    what: str
    off: float
    inflation: float
    rest_u: float = math.nan

    @property
    def contradicts(self) -> bool:
        return self.chance < LEVEL


def compare_groups(
    equations: Equations, fit: WhitenedFit, dofs: Sequence[float], thickness: Thickness | None
) -> list[GroupTest]:
    """Test every reading and section, and the thickness; the worst first.

    Parameters
    ----------
    dofs : of each section's noise.
    """
    total = fit.total
    tests = [_reading(equations, fit, total, i) for i in range(len(fit.readings))]
    if len(fit.sections) > 1 or fit.readings:
        tests += [_section(equations, fit, total, k, dof) for k, dof in enumerate(dofs)]
    if thickness is not None and THICKNESS in equations.nuisances:
        tests.append(_thickness(equations, fit, total, thickness))
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
    # On nearly noise-free contours the rest is known better than its matrix can be inverted.
    variance = 1 + max(float(design @ covariance @ design), 0.0)
    predicted_u = math.sqrt(max(variance - 1, 0.0)) * row.own
    w = off / math.sqrt(variance) if predicted_u < WEAKEST_CONTROL_MM else 0.0
    return GroupTest(
        "reading",
        i,
        w,
        _chance(w * w, 1, math.inf),
        row.reading.what,
        off * row.own,
        max(w * w, 1.0),
        predicted_u,
    )


def _thickness(
    equations: Equations, fit: WhitenedFit, total: Normals, thickness: Thickness
) -> GroupTest:
    """The thickness that photos and other readings determine against the one that was read."""
    column = equations.column(THICKNESS)
    prior = np.zeros(equations.size)
    prior[column] = 1.0
    rest = total - Normals(np.diag(prior), prior * fit.x, float(fit.x[column] ** 2))
    covariance = inverse(rest.matrix)
    # In units of the reading's own uncertainty, as the unknown is.
    found = float(fit.x[column] - covariance[column] @ rest.gradient)
    variance = max(float(covariance[column, column]), 0.0)
    variance += (_by_single_sides(equations) / thickness.u) ** 2
    known = math.sqrt(variance) * thickness.u < WEAKEST_CONTROL_MM
    w = -found / math.sqrt(1 + variance) if known else 0.0
    chance = _chance(w * w, 1, thickness.dof)
    off = -found * thickness.u
    return GroupTest("thickness", 0, w, chance, "thickness", off, max(w * w, 1.0))


def _by_single_sides(equations: Equations) -> float:
    """How far off, mm, a thickness would look whose edge is off on one side of the part alone.

    The offset of a section is common to its points by the model; of a thin part, whose wall and
    shadow are a few pixels wide, it is not the same on the lit side and in the shade.
    """
    found = [math.inf]
    for placed in equations.sections:
        moved = placed.section.sensitivity.get(THICKNESS[1])
        if moved is not None and (differs := float(np.std(moved))) > 0:
            found.append(placed.section.systematic.offset / differs)
    return min(found)


def reduced_to_shared(
    equations: Equations, fit: WhitenedFit, k: int
) -> tuple[NDArray[np.bool_], Normals]:
    """Section k's information on the unknowns that sections share: their mask, and the normals.

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


def _section(
    equations: Equations, fit: WhitenedFit, total: Normals, k: int, dof: float
) -> GroupTest:
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
    level = np.maximum(level, 0.0)  # a variance: of points without noise rounding makes it negative
    known = level < UNCONTROLLED
    off = (axes.T @ (y - basis.T @ step[shared]))[known]
    square, count = float(np.sum(off**2 / (1 + level[known]))), int(known.sum())
    # As a change of the shape: what is off carried back to the parameters, the surest one named.
    back = np.zeros((equations.size, len(off)))
    back[shared] = (vectors[:, strong] / np.sqrt(values[strong])) @ axes[:, known]
    change, deviation = back @ off, np.sqrt(back**2 @ (1 + level[known]))
    names = equations.shape.names
    sure = np.abs(change[: len(names)]) / np.maximum(deviation[: len(names)], 1e-12)
    worst = int(np.argmax(sure))
    chance = _chance(square, count, dof)
    inflation = max(square / max(count, 1), 1.0)
    w = _equivalent(square, count)
    return GroupTest("section", k, w, chance, names[worst], float(change[worst]), inflation)


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


def _chance(square: float, count: int, dof: float) -> float:
    """Chance of a larger sum of `count` squares whose common variance is known to `dof`."""
    from scipy.special import chdtrc, fdtrc

    if count == 0:
        return 1.0
    if math.isinf(dof):
        return float(chdtrc(count, square))
    return float(fdtrc(count, dof, square / count))


def _equivalent(square: float, count: int) -> float:
    """The normal deviate as improbable as a sum of `count` squares, for ranking."""
    from scipy.special import chdtrc, ndtri

    tail = float(chdtrc(count, square)) if count else 1.0
    return math.sqrt(square) if tail < 1e-300 else float(-ndtri(tail / 2))
