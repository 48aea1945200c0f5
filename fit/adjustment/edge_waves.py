"""What of an edge's offset changes with its direction: told by readings, not by how a shape fits.

A tracer leaves along an edge much that looks like such a wave. A fit that is free to read the waves
from the points takes it for one, and moves the shape by what the wave then makes of it: radii and
widths came out two times as far off as without. So of each wave that counts which the shape and the
photo's pose can follow. No point then tells of it; readings and other photos do, and all of it is
in the uncertainty.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import CentredSection, Equations
from snugline.fit.adjustment.robust_solution import ResidualNoise
from snugline.fit.contour_noise import whiten

Array = NDArray[np.float64]

_LEAST = 1e-9  # share of the largest singular value below which nothing is determined


def waves_in_reach(equations: Equations, x: Array, noise: ResidualNoise) -> Equations:
    """The equations with what shape and pose can follow of each section's waves.

    Parameters
    ----------
    x : unknowns near the solution, with the `noise` of their residuals.
    """
    sections = [_in_reach(equations, x, noise, k) for k in range(len(equations.sections))]
    return replace(equations, sections=tuple(sections))


def _in_reach(equations: Equations, x: Array, noise: ResidualNoise, k: int) -> CentredSection:
    measured = equations.sections[k]
    if not measured.waves.shape[1]:
        return measured
    block = equations.points_block(x, k)
    design = block.jacobian[:, block.columns < equations.first_nuisance]
    rows = np.hstack([design, measured.waves / measured.noise[:, None]])
    seen = whiten(noise.models[k], rows, measured.breaks, noise.weights[k])
    known, waves = np.split(seen, [design.shape[1]], axis=1)
    scale = np.maximum(np.linalg.norm(known, axis=0), 1e-300)
    made = np.linalg.lstsq(known / scale, waves, rcond=_LEAST)[0]
    return replace(measured, waves=design @ (made / scale[:, None]) * measured.noise[:, None])
