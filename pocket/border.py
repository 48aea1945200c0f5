"""The outer cut round the pocket, and whether the treatment of its edge leaves wood enough."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from snugline.counting import counted
from snugline.errors import FitError, PlanError
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Outline
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.sentence import Sentence, length

EdgeKind = Literal["round-over", "chamfer", "cove"]
EDGE_KINDS: tuple[EdgeKind, ...] = ("round-over", "chamfer", "cove")

# All three: common practice, no source.
LEAST_FLAT = 3.0
LEAST_WALL = 6.0
FEATHER = 1.0

_LAND = OfKey(("pocket", "border", "land"))
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
) -> tuple[Notice, ...]:
    """Remarks on the wood that is left round the pocket.

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
                Sentence(
                    "the wall beside the pocket is {} at its thinnest; at least {} is usual",
                    length(land),
                    length(LEAST_WALL),
                ),
                "widen the land",
                "check",
                _LAND,
            )
        )
    if edge is not None:
        notices += _edge_notices(land, edge, depth, stock)
    return tuple(notices)


def _edge_notices(
    land: float, edge: EdgeTreatment, depth: float, stock: float | None
) -> Iterator[Notice]:
    size, about = length(edge.size), OfKey(("pocket", "border", "edge_size"))
    faces = 2 if edge.both_faces else 1
    if stock is not None and faces * edge.size > stock:
        yield Notice(
            "edge-higher-than-board",
            Sentence(
                f"a {edge.kind} of {{}} on {counted(faces, 'face')} is more than the board's {{}}",
                size,
                length(stock),
            ),
            "use a smaller one",
            "cannot be cut",
            about,
        )
    wall = thinnest_wall(land, edge, depth, stock if stock is not None else math.inf)
    flat = land - edge.taken(0.0)
    enough = Sentence("widen the land to {}", length(edge.size + LEAST_FLAT))
    if wall < 0:
        yield Notice(
            "edge-breaks-into-pocket",
            Sentence(
                f"a {edge.kind} of {{}} breaks into the pocket: the land of {{}} is {{}} short",
                size,
                length(land),
                length(-wall),
            ),
            Sentence(
                "widen the land to {}, or use a smaller one", length(land - wall + LEAST_FLAT)
            ),
            "cannot be cut",
            about,
        )
    elif wall < FEATHER:
        yield Notice(
            "feather-edge",
            Sentence(f"a {edge.kind} of {{}} leaves a feather edge of {{}}", size, length(wall)),
            enough,
            "cannot be cut",
            about,
        )
    elif flat < LEAST_FLAT:
        yield Notice(
            "narrow-flat",
            Sentence(
                f"a {edge.kind} of {{}} leaves {{}} flat on top; at least {{}} is usual",
                size,
                length(flat),
                length(LEAST_FLAT),
            ),
            enough,
            "check",
            _LAND,
        )
