"""What unstated top edge and lean make of nothing but points: told no better than a tracer follows.

Both move the points by what shape and poses can follow, and by a pattern besides, which would tell
them apart from all else to a hundredth of a millimetre. What a tracer leaves along an edge that it
follows from the foot to the top edge looks much like it, and does not average out: an error in the
pattern's form, as large as the points' own noise.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import Equations
from snugline.fit.adjustment.robust_solution import ResidualNoise
from snugline.fit.contour_noise import whiten
from snugline.fit.readings.part_unknowns import PATTERN
from snugline.unstated_sides import UNSTATED

Array = NDArray[np.float64]

_LEAST = 1e-9  # share of the largest singular value below which nothing is determined
_NO_PATTERN = 1e-9  # mm


def with_patterns(equations: Equations, x: Array, noise: ResidualNoise) -> tuple[Equations, Array]:
    """The equations with such an error for each that is unstated, and `x` for them.

    Parameters
    ----------
    x : unknowns near the solution, with the `noise` of their residuals.
    """
    unstated = [of for of in UNSTATED if ("part", of) in equations.nuisances]
    if not unstated:
        return equations, x
    known = equations.first_nuisance
    design, white = [], []
    for k, measured in enumerate(equations.sections):
        block = equations.points_block(x, k)
        rows = np.zeros((len(block.residual), known + len(unstated)))
        first = block.columns < known
        rows[:, block.columns[first]] = block.jacobian[:, first]
        moved = np.column_stack([measured.moved[of] for of in unstated])
        rows[:, known:] = moved / measured.noise[:, None]
        white.append(whiten(noise.models[k], rows, measured.breaks, noise.weights[k]))
        design.append(rows)
    seen = np.concatenate(white)
    scale = np.maximum(np.linalg.norm(seen[:, :known], axis=0), 1e-300)
    made = np.linalg.lstsq(seen[:, :known] / scale, seen[:, known:], rcond=_LEAST)[0]
    sections = []
    for k, (measured, rows) in enumerate(zip(equations.sections, design, strict=True)):
        reach = rows[:, :known] @ (made / scale[:, None])
        pattern = (rows[:, known:] - reach) * measured.noise[:, None]
        size = np.maximum(np.sqrt(np.mean(pattern**2, axis=0)), _NO_PATTERN)
        pattern *= np.sqrt(np.mean(measured.noise**2)) / size
        named = {f"{of}{PATTERN}{k}": by for of, by in zip(unstated, pattern.T, strict=True)}
        sections.append(replace(measured, moved={**measured.moved, **named}))
    both = replace(equations, sections=tuple(sections))
    return both, carried(equations, both, x)


def carried(old: Equations, new: Equations, x: Array) -> Array:
    """Unknowns of equations with or without patterns, for those without or with them."""
    out = np.zeros(new.size)
    out[: new.first_nuisance] = x[: old.first_nuisance]
    for key in new.nuisances:
        if key in old.nuisances:
            out[new.column(key)] = x[old.column(key)]
    return out
