"""What keeps a piece in place while it is cut through: tabs, or a thin skin left underneath."""

import math
from dataclasses import dataclass, replace

import numpy as np

from snugline.errors import PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.outline import Outline
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.lengths import format_length
from snugline.pocket.sheet import PlanLayer

_BEYOND = 1.0  # mm that a tab reaches beyond the cutter's kerf on both sides


@dataclass(frozen=True)
class Hold:
    """How through cuts end; mm.

    Attributes
    ----------
    tabs : how many on each through cut; 0 for none.
    width, height : of a tab, along the cut and up from the board's underside.
    skin : thickness left under all of a through cut; 0 for none.
    """

    tabs: int = 0
    width: float = 8.0
    height: float = 1.5
    skin: float = 0.0


def held(
    layers: list[PlanLayer], hold: Hold, stock: float | None, cutter: float, unit: Unit
) -> list[PlanLayer]:
    """Layers with their through cuts stopped above a skin, or with tabs in layers of their own.

    Raises
    ------
    PlanError : a skin or tabs without a thickness of the board, or as thick as it.
    """
    if stock is None:
        raise PlanError(
            "tabs and skins need the board's thickness",
            "through cuts",
            "give the thickness of the board (stock)",
        )
    if max(hold.skin, hold.height if hold.tabs else 0.0) >= stock:
        raise PlanError(
            f"a skin or tab as thick as the board of {stock:.1f} mm",
            "through cuts",
            "make it thinner",
        )
    made = []
    for layer in layers:
        through = layer.depth is None and layer.name.endswith("through")
        if through and hold.skin > 0:
            name = (
                f"{layer.name.removesuffix('through')}leave skin {format_length(hold.skin, unit)}"
            )
            made.append(replace(layer, name=name, depth=stock - hold.skin))
        else:
            made.append(layer)
        if through and hold.tabs:
            name = f"{layer.name.removesuffix(' through')} tabs high"
            name = f"{name} {format_length(hold.height, unit)}"
            tabs = tuple(t for o in layer.outlines for t in tab_outlines(o, hold, cutter))
            made.append(PlanLayer(name, stock - hold.height, tabs, pattern="dotted"))
    return made


def tab_outlines(outline: Outline, hold: Hold, cutter: float) -> list[Outline]:
    """Where the cutter stays up: a box across the kerf at even distances along an outline."""
    points = outline.sampled(0.5)
    steps = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    along = np.append(0.0, np.cumsum(steps))
    wanted = (np.arange(hold.tabs) + 0.5) * along[-1] / hold.tabs
    numbers = np.searchsorted(along, wanted, "right") - 1
    deep = cutter + 2 * _BEYOND
    boxes = []
    for number in numbers:
        (x, y), (nx, ny) = points[number], points[(number + 1) % len(points)]
        angle = math.atan2(ny - y, nx - x)
        # The kerf lies outside the outline, to the right of its sense.
        out = angle - math.pi / 2
        middle = (x + math.cos(out) * cutter / 2, y + math.sin(out) * cutter / 2)
        boxes.append(rounded_rectangle(hold.width, deep).rotated(angle).translated(*middle))
    return boxes
