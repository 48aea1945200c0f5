"""What would be found without one stretch of the edge: an estimate rests on no single one.

Where a tracer errs, it follows something else along a stretch, and all of the stretch errs alike:
no noise that the other points show foretells it. So each stretch is left out in turn (deletion
diagnostics; Belsley, Kuh, Welsch, Regression Diagnostics, 1980; from memory), to first order.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import (
    CentredSection,
    Equations,
    Normals,
    normals_of,
    whitened,
)
from snugline.fit.adjustment.robust_solution import ResidualNoise, WhitenedFit

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# No longer stretch is lost without a word (`LOST_MM` of the photos' verdicts). They overlap by
# half: each shorter one is nearly whole in one of them.
STRETCH_MM = 25.0


def without_each(equations: Equations, fit: WhitenedFit, noise: ResidualNoise) -> Iterator[Normals]:
    """The normal equations of everything, at `fit.x`, less one stretch after the other."""
    for k, measured in enumerate(equations.sections):
        block, weights = equations.points_block(fit.x, k), noise.weights[k]
        rest = fit.prior
        for group in (*fit.sections[:k], *fit.sections[k + 1 :], *fit.readings):
            rest += group
        for stretch in _stretches(measured):
            if weights[stretch].any() and weights[~stretch].any():
                fewer = np.where(stretch, 0.0, weights)
                left = whitened(block, noise.models[k], measured.breaks, fewer)
                yield rest + normals_of(left, equations.size)


def _stretches(measured: CentredSection) -> list[Mask]:
    """(N,) which points lie on each stretch of the edge."""
    step = np.linalg.norm(np.diff(measured.local, axis=0, prepend=measured.local[:1]), axis=1)
    along = np.cumsum(step)
    starts = np.arange(-STRETCH_MM / 2, along[-1], STRETCH_MM / 2)
    return [(along >= start) & (along < start + STRETCH_MM) for start in starts]
