"""The part of an edge's offset that varies with its direction, estimated from readings alone.

Tracing errors along an edge look much like waves of this kind. A fit that estimates the waves from
the points mistakes the errors for waves and distorts the shape: radii and widths were two times
less accurate than without waves. So each wave is reduced to the part that shape and pose can
follow. The points then carry no information on it; readings and other photos do, and all of it is
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
    """The equations, the waves of each section reduced to what shape and pose can follow.

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
