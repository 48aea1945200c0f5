"""What a fit leaves open: dimensions that only a reading gives, top edge and lean unstated."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import Equations
from snugline.fit.adjustment.outlier_handling import Adjusted
from snugline.fit.adjustment.outlier_test import THICKNESS, compare_groups
from snugline.fit.outline_doubts import edge_question
from snugline.fit.result import FittedOutline
from snugline.notice import Notice
from snugline.unstated_sides import UNSTATED

Array = NDArray[np.float64]

# A reading is checked where the rest gives the dimension to this many of its standard
# uncertainties: a slip of the usual kinds would show.
CHECKED = 4.0
_SURE = 1e6  # 1 over the variance of what is stated, in units of what is assumed where it is not


def on_readings_alone(adjusted: Adjusted) -> list[str]:
    """Dimensions that the readings determine and nothing else comes near."""
    tests = compare_groups(
        adjusted.equations, adjusted.fit, [model.dof for model in adjusted.noise.models], None
    )
    return [
        test.what
        for test in tests
        if test.kind == "reading"
        and test.rest_u > CHECKED * adjusted.equations.rows[test.index].parts.u
    ]


def edge_remarks(adjusted: Adjusted, fitted: FittedOutline) -> tuple[Notice, ...]:
    """Questions on top edge and draft where unstated, from what the fit made of them."""
    equations, x = adjusted.equations, adjusted.fit.x
    moved = {of: _typical(equations, of) for of in UNSTATED if ("part", of) in equations.nuisances}
    if not moved:
        return ()
    # A dimension between two sides that the photos would give, were there no reading of it.
    alone = on_readings_alone(_stated(adjusted))
    sizes = {"length": fitted.length, "width": fitted.width}
    effect = {of: 2 * 2 * math.hypot(*moved.values()) for of in sizes if of not in alone}
    u95 = {of: sizes[of].u95 for of in effect}
    # How far inside the widest section its silhouette lies, and which edge or lean alone does that.
    inside = sum(
        by * (UNSTATED[of].mean / UNSTATED[of].u + x[equations.column(("part", of))])
        for of, by in moved.items()
    )
    by_itself = {of: UNSTATED[of].u * inside / by for of, by in moved.items() if by > 0}
    return edge_question(u95, effect, by_itself)


def _stated(adjusted: Adjusted) -> Adjusted:
    """As if somebody had stated top edge and lean."""
    equations, prior = adjusted.equations, adjusted.fit.prior
    sure = np.zeros(equations.size)
    for key in equations.nuisances:
        if key[0] == "part" and key != THICKNESS:
            sure[equations.column(key)] = _SURE
    known = replace(prior, matrix=prior.matrix + np.diag(sure))
    return replace(adjusted, fit=replace(adjusted.fit, prior=known))


def _typical(equations: Equations, of: str) -> float:
    """Median mm, over the points that feel it at all, for one standard uncertainty."""
    felt = np.concatenate([section.moved[of] for section in equations.sections])
    felt = felt[felt > 0]
    return float(np.median(felt)) if len(felt) else 0.0
