"""The profile of a part's edge from what was stated of it, and from its thickness."""

from typing import Literal

from snugline.fit.readings.thickness import Thickness
from snugline.trace.edge.relief_displacement import PartSides


def part_sides(
    thickness: Thickness,
    edge_radius: float | None,
    edge_chamfer: float | None,
    draft: float | None,
) -> PartSides:
    """Sides as the photos are traced with; mm and radians, None for what is not stated.

    A rounding or chamfer of 0 states a sharp edge, a draft of 0 upright sides.
    """
    edge: Literal["none", "round", "chamfer"] | None = None
    if edge_radius is not None or edge_chamfer is not None:
        edge = "round" if edge_radius else "chamfer" if edge_chamfer else "none"
    size = edge_radius or edge_chamfer or 0.0
    return PartSides.with_unstated(thickness.value, thickness.u, edge, size, draft)
