"""How far a point of the plan outline moves for each mm or degree that its part is not known by."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.trace.edge.relief_displacement import PartSides
from snugline.unstated_sides import UNSTATED

Floats = NDArray[np.float64]


def sensitivities(sides: PartSides, slope: Floats) -> dict[str, Floats]:
    """By what is not exactly known of the part, how far outwards each point moves.

    Parameters
    ----------
    slope : (N,) tangent by which the ray leans outwards, as `lift` gives it.

    Returns
    -------
    (N,) mm for each mm of `thickness`; where they are unstated also mm for each mm of `edge`, of
    what it is rather a `chamfer` than a rounding, and for each degree of `lean`.

    Notes
    -----
    Differences of the relief displacement, which is linear in the thickness, in a rounding's
    radius and in a chamfer's size. What a chamfer moves differs from what a rounding moves by a
    tenth to a third, and from a thinner part by nothing: without an unknown of its own a chamfer
    would be laid on the thickness.
    """
    step = 0.01  # mm
    found = {
        "thickness": (
            displacement(replace(sides, thickness=sides.thickness + step), slope)
            - displacement(sides, slope)
        )
        / step
    }
    if "edge" in sides.unstated and sides.edge_size > 0:
        crisp = replace(sides, edge="none", edge_size=0.0)
        found["edge"] = (displacement(sides, slope) - displacement(crisp, slope)) / sides.edge_size
        chamfered = replace(sides, edge="chamfer")
        by_form = displacement(chamfered, slope) - displacement(sides, slope)
        found["chamfer"] = by_form / sides.edge_size
    if "lean" in sides.unstated and sides.draft > 0:
        upright = replace(sides, draft=0.0)
        by_lean = displacement(sides, slope) - displacement(upright, slope)
        found["lean"] = by_lean / float(np.degrees(sides.draft))
    return found


def displacement(sides: PartSides, slope: Floats) -> Floats:
    """(N,) mm from where a ray meets the sheet outwards to the plan outline that it grazes."""
    inset, height = sides.contact(slope)
    return inset - slope * height


def variance(sensitivity: Mapping[str, Floats], sides: PartSides) -> Floats:
    """(N,) mm^2, what is not exactly known of the part adds to the variance of each point."""
    u = {"thickness": sides.thickness_u, **{of: prior.u for of, prior in UNSTATED.items()}}
    return _sum({of: (by * u[of]) ** 2 for of, by in sensitivity.items()})


def _sum(shares: Mapping[str, Floats]) -> Floats:
    total: Floats = np.sum(list(shares.values()), axis=0)
    return total
