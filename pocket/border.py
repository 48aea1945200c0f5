"""The outer cut round the pocket, and whether the treatment of its edge leaves wood enough."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from snugline.errors import FitError, PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Outline
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.lengths import format_length
from snugline.notice import Notice

EdgeKind = Literal["round-over", "chamfer", "cove"]
EDGE_KINDS: tuple[EdgeKind, ...] = ("round-over", "chamfer", "cove")

# All three: common practice, no source.
LEAST_FLAT = 3.0
LEAST_WALL = 6.0
FEATHER = 1.0

_LEVELS = 400
_STEP = 1.0  # mm between the places compared: off by 0.02 mm at most for a land of 6 mm


@dataclass(frozen=True)
class EdgeTreatment:
    """A profile cut along the board's outer edge; `size` is its radius or leg, mm."""

    kind: EdgeKind
    size: float
    both_faces: bool = False

    def taken(self, below: float) -> float:
        """Wood taken sideways at a level `below` the face, mm."""
        if below >= self.size:
            return 0.0
        up = self.size - below
        if self.kind == "chamfer":
            return up
        if self.kind == "round-over":
            return self.size - math.sqrt(self.size**2 - up**2)
        return math.sqrt(self.size**2 - below**2)


def border_outline(pocket: Outline, land: float, corner: float | None = None) -> Outline:
    """The outer cut at a given land from the pocket.

    Parameters
    ----------
    land : mm of wood between pocket and outer edge.
    corner : mm; None keeps parallel corners, a radius makes a rounded rectangle round the pocket.

    Raises
    ------
    PlanError : no land, or a corner that does not fit.
    """
    if not land > 0:
        raise PlanError(
            f"a land of {land:g} mm leaves no wood round the pocket",
            "border land",
            f"give it {LEAST_WALL:g} mm or more",
        )
    if corner is None:
        return parallel(pocket, land)[0]
    low_x, low_y, high_x, high_y = pocket.bounds
    length, width = high_x - low_x + 2 * land, high_y - low_y + 2 * land
    try:
        made = rounded_rectangle(length, width, corner)
    except FitError as error:
        raise PlanError(
            f"a corner of {corner:g} mm does not fit a border of {length:.1f} x {width:.1f} mm",
            "border corner",
            f"make it {min(length, width) / 2:.1f} mm or less",
        ) from error
    return made.translated((low_x + high_x) / 2, (low_y + high_y) / 2)


def least_land(pocket: Outline, border: Outline) -> float:
    """The thinnest wood between the pocket, all its bays included, and the border, mm."""
    there = signed_distance(border, pocket.sampled(_STEP))
    back = signed_distance(pocket, border.sampled(_STEP))
    return float(min((-there).min(), back.min()))


def thinnest_wall(land: float, edge: EdgeTreatment | None, depth: float, stock: float) -> float:
    """The least wall between pocket and outer edge over all levels of the pocket, mm."""
    if edge is None:
        return land
    levels = np.linspace(0.0, depth, _LEVELS)
    return min(
        land
        - edge.taken(float(z))
        - (edge.taken(stock - float(z)) if edge.both_faces else 0.0)
        for z in levels
    )  # fmt: skip


def border_notices(
    land: float,
    edge: EdgeTreatment | None,
    depth: float,
    stock: float | None,
    unit: Unit = "mm",
) -> tuple[Notice, ...]:
    """Remarks on the wood that is left beside the pocket.

    Parameters
    ----------
    land : mm, the thinnest place.
    edge : treatment of the outer edge, if any.
    depth : of the pocket, mm.
    stock : thickness of the board, mm; None where not known.

    Raises
    ------
    PlanError : a notch or relief that breaks through the border.
    """
    if land <= 0:
        raise PlanError(
            f"the pocket with its notches and reliefs passes the border by {-land:.2f} mm",
            "border land",
            f"widen the land by {LEAST_WALL - land:.1f} mm or more",
        )
    notices = []
    if land < LEAST_WALL:
        notices.append(
            Notice(
                "thin-wall",
                f"the wall beside the pocket is {format_length(land, unit)} at its thinnest; at "
                f"least {format_length(LEAST_WALL, unit)} is usual",
                "widen the land",
                "check",
            )
        )
    if edge is not None:
        notices += _edge_notices(land, edge, depth, stock, unit)
    return tuple(notices)


def _edge_notices(
    land: float, edge: EdgeTreatment, depth: float, stock: float | None, unit: Unit
) -> Iterator[Notice]:
    size = format_length(edge.size, unit)
    faces = 2 if edge.both_faces else 1
    if stock is not None and faces * edge.size > stock:
        yield Notice(
            "edge-higher-than-board",
            f"a {edge.kind} of {size} on {faces} face{'s' * (faces != 1)} is more than the "
            f"board's {format_length(stock, unit)}",
            "use a smaller one",
            "cannot be cut",
        )
    wall = thinnest_wall(land, edge, depth, stock if stock is not None else math.inf)
    flat = land - edge.taken(0.0)
    enough = format_length(edge.size + LEAST_FLAT, unit)
    if wall < 0:
        yield Notice(
            "edge-breaks-into-pocket",
            f"a {edge.kind} of {size} breaks into the pocket: the land of "
            f"{format_length(land, unit)} is {format_length(-wall, unit)} short",
            f"widen the land to {format_length(land - wall + LEAST_FLAT, unit)}, or use a smaller "
            "one",
            "cannot be cut",
        )
    elif wall < FEATHER:
        yield Notice(
            "feather-edge",
            f"a {edge.kind} of {size} leaves a feather edge of {format_length(wall, unit)}",
            f"widen the land to {enough}",
            "cannot be cut",
        )
    elif flat < LEAST_FLAT:
        yield Notice(
            "narrow-flat",
            f"a {edge.kind} of {size} leaves {format_length(flat, unit)} flat on top; at least "
            f"{format_length(LEAST_FLAT, unit)} is usual",
            f"widen the land to {enough}",
            "check",
        )
