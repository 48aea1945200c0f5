"""Further depths: lips round the pocket, recesses for magnets, cables and feet, engraved labels."""

import math
from dataclasses import dataclass
from typing import Literal

from snugline.errors import PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.outline import Outline, Point
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import circle, rounded_rectangle
from snugline.lengths import format_length
from snugline.pocket.lettering import engraved, engraved_width
from snugline.pocket.sheet import PlanLayer

Shape = Literal["circle", "rectangle", "slot"]
SHAPES: tuple[Shape, ...] = ("circle", "rectangle", "slot")


@dataclass(frozen=True)
class Lip:
    """A wider, shallower opening round the pocket: a rebate for a lid or a part's own lip, mm.

    Attributes
    ----------
    outset : how far outside the pocket's wall it ends.
    depth : below the face.
    """

    outset: float
    depth: float


@dataclass(frozen=True)
class Recess:
    """A place of its own depth, its middle from the part's centre; mm and radians.

    Attributes
    ----------
    name : what it is for; part of the layer's name.
    shape : a circle of `width`; a rectangle of `length` by `width`, or a slot of that size, which
        has round ends.
    depth : below the face, or where `from_seat`, below the pocket's floor.
    corner : radius of a rectangle's corners; the cutter's at least.
    turn : counter-clockwise.
    """

    name: str
    shape: Shape
    width: float
    depth: float
    at: Point = (0.0, 0.0)
    length: float = 0.0
    corner: float = 0.0
    turn: float = 0.0
    from_seat: bool = False


@dataclass(frozen=True)
class Label:
    """A line of text to engrave, its middle from the part's centre; mm and radians."""

    text: str
    height: float = 6.0
    at: Point = (0.0, 0.0)
    depth: float = 0.3
    turn: float = 0.0


def recess_outline(recess: Recess, cutter: float) -> Outline:
    """The recess in its place.

    Raises
    ------
    PlanError : narrower than the cutter, or longer one way than the other allows.
    """
    narrow = min(recess.width, recess.length or recess.width)
    if narrow < cutter:
        raise PlanError(
            f"a recess ({recess.name}) of {narrow:.1f} mm is narrower than the cutter of "
            f"{cutter:.1f} mm",
            "recess",
            f"make it {cutter:.1f} mm or wider, or use a thinner cutter",
        )
    if recess.shape == "circle":
        made = circle(recess.width / 2)
    elif recess.shape == "slot":
        made = rounded_rectangle(recess.length, recess.width, recess.width / 2)
    else:
        least = min(max(recess.corner, cutter / 2), narrow / 2)
        made = rounded_rectangle(recess.length, recess.width, least)
    return made.rotated(recess.turn).translated(*recess.at)


def recess_layer(recess: Recess, seat: float, cutter: float, unit: Unit) -> PlanLayer:
    """The recess as a layer; `seat` is the depth of the pocket's floor, mm."""
    deep = recess.depth + (seat if recess.from_seat else 0.0)
    name = f"{recess.name} depth {format_length(deep, unit)}"
    return PlanLayer(name, deep, (recess_outline(recess, cutter),), pattern="dashed")


def lip_layer(plain: Outline, lip: Lip, unit: Unit) -> PlanLayer:
    """The lip as a layer: cleared out to its own wall, to its own depth."""
    name = f"lip depth {format_length(lip.depth, unit)}"
    return PlanLayer(name, lip.depth, (parallel(plain, lip.outset)[0],), pattern="dashed")


def label_layer(label: Label, unit: Unit) -> PlanLayer:
    """The label's strokes, its middle in its place."""
    x = -engraved_width(label.text, label.height) / 2
    cos, sin = math.cos(label.turn), math.sin(label.turn)
    strokes = tuple(
        tuple(
            (label.at[0] + cos * px - sin * py, label.at[1] + sin * px + cos * py)
            for px, py in stroke
        )
        for stroke in engraved(label.text, (x, -label.height / 2), label.height)
    )
    name = f"label depth {format_length(label.depth, unit)}"
    return PlanLayer(name, label.depth, strokes=strokes)
