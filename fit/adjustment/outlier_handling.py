"""Outliers among the groups of observations: rejected or re-weighted, with a remark."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import Equations
from snugline.fit.adjustment.outlier_test import GroupTest, compare_groups
from snugline.fit.adjustment.robust_solution import ResidualNoise, WhitenedFit, whitened_fit
from snugline.notice import Notice
from snugline.place import OfPhoto

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Adjusted:
    """A fit of one shape with everything that it rests on."""

    equations: Equations
    noise: ResidualNoise
    factors: tuple[float, ...]
    fit: WhitenedFit


def resolve(adjusted: Adjusted) -> tuple[Adjusted, list[Notice]]:
    """Find contradicting groups one after the other; reject or re-weight them, with remarks.

    One contradicting group is rejected; of several that contradict each other all are kept with
    wider uncertainties.
    """
    notices: list[Notice] = []
    for _ in range(4):
        dofs = [model.dof for model in adjusted.noise.models]
        tests = compare_groups(adjusted.equations, adjusted.fit, dofs)
        if not tests or not tests[0].contradicts:
            break
        worst = tests[0]
        rivals = [t for t in tests[1:] if t.contradicts and t.w**2 > worst.w**2 - 6]
        alone = not rivals
        if alone and _can_go(adjusted.equations, worst):
            notices.append(_remark(adjusted.equations, worst, "it was not used"))
            adjusted = _without(adjusted, worst)
        else:
            # Which of them is wrong cannot be decided: all are kept, with wider uncertainties.
            for test in (worst, *rivals):
                notices.append(
                    _remark(adjusted.equations, test, "it was kept with a larger uncertainty")
                )
            adjusted = _widened(adjusted, [worst, *rivals])
    return adjusted, notices


def _can_go(equations: Equations, test: GroupTest) -> bool:
    return test.kind == "reading" or len(equations.sections) > 2


def _remark(equations: Equations, test: GroupTest, done: str) -> Notice:
    side = "larger" if test.off > 0 else "smaller"
    size = (
        f"{abs(test.off):.2f} mm {side} than all other observations give "
        f"({abs(test.w):.1f} standard uncertainties)"
    )
    if test.kind == "reading":
        row = equations.rows[test.index]
        return Notice(
            "readings-disagree",
            f"The {row.label}, {row.reading.value:.2f} mm, is {size}; {done}.",
            "Read it again, if possible with another tool.",
            "usable",
            row.reading.where,
        )
    name = equations.sections[test.index].section.name
    return Notice(
        "photo-disagrees",
        f"In {name} the {test.what} is {size}; {done}.",
        "Check that part and sheet lay flat and did not move, or take the photo again.",
        "usable" if abs(test.off) > 0.1 else "fine",
        OfPhoto(name),
    )


def _without(adjusted: Adjusted, test: GroupTest) -> Adjusted:
    equations, x = adjusted.equations, adjusted.fit.x
    if test.kind == "reading":
        rows = tuple(r for i, r in enumerate(equations.rows) if i != test.index)
        fewer = replace(equations, rows=rows)
        return _refit(adjusted, fewer, _repacked(equations, fewer, x), adjusted.factors)
    keep = [k for k in range(len(equations.sections)) if k != test.index]
    fewer = replace(equations, sections=tuple(equations.sections[k] for k in keep))
    x = _repacked(equations, fewer, x, keep)
    noise = ResidualNoise(
        tuple(adjusted.noise.models[k] for k in keep),
        tuple(adjusted.noise.weights[k] for k in keep),
        tuple(adjusted.noise.scales[k] for k in keep),
    )
    factors = tuple(adjusted.factors[k] for k in keep)
    return _refit(replace(adjusted, noise=noise), fewer, x, factors)


def _widened(adjusted: Adjusted, tests: Sequence[GroupTest]) -> Adjusted:
    rows, factors = list(adjusted.equations.rows), list(adjusted.factors)
    for test in tests:
        if test.kind == "reading":
            row = rows[test.index]
            own = math.hypot(row.own, test.off / 2)
            rows[test.index] = replace(row, own=own)
        else:
            factors[test.index] /= test.inflation
    equations = replace(adjusted.equations, rows=tuple(rows))
    return _refit(adjusted, equations, adjusted.fit.x, factors)


def _refit(
    adjusted: Adjusted, equations: Equations, x: Array, factors: Sequence[float]
) -> Adjusted:
    fit = whitened_fit(equations, x, adjusted.noise, factors=factors)
    return Adjusted(equations, adjusted.noise, tuple(factors), fit)


def _repacked(old: Equations, new: Equations, x: Array, keep: Sequence[int] | None = None) -> Array:
    """Unknowns of the same shape carried over to equations with fewer groups."""
    out = np.zeros(new.size)
    shared = len(old.shape.names)
    out[:shared] = x[:shared]
    for k, source in enumerate(keep if keep is not None else range(len(new.sections))):
        out[new.pose_columns(k)] = x[old.pose_columns(source)]
    return out
