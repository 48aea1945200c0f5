"""A go gauge for one dimension: a closed slot as long as the pocket, with a step for each rung.

The part is held on its edge and its end (or its long side) let into the slot, step by step: the
first step that admits it is the rung. Both ends of the slot are walls that the cutter makes as it
makes the pocket's, so that a machine that cuts too narrow fails here as it would there. It is cut
through, so that a part with large corners passes far enough to be felt at its widest.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from snugline.errors import InputError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.outline import Outline, Point
from snugline.fit.geometry.primitives import polygon
from snugline.pocket.lettering import engraved, engraved_width

PLAY = 1.0  # mm by which a step is higher than the part is thick
UNKNOWN_CUTTER = 8.0  # mm; room is left for the largest that is common (common practice)
TEXT = 4.0  # mm, height of engraved figures
TEXT_ROOM = 2.0  # mm round them
LAND = TEXT + 2 * TEXT_ROOM + 4.0


@dataclass(frozen=True)
class Steps:
    """The gauge before it is turned to its axis: the slot along x, its steps on the right; mm.

    Attributes
    ----------
    slot : what is cut through.
    outer : the outer cut.
    mark : strokes of the figures and of the title.
    levels : for each rung the lowest y from which the cutter leaves its step whole.
    """

    slot: Outline
    outer: Outline
    mark: tuple[tuple[Point, ...], ...]
    levels: tuple[float, ...]


def step_gauge(
    size: float,
    ladder: Sequence[float],
    thickness: float,
    cutter: float,
    title: str,
    unit: Unit = "mm",
) -> Steps:
    """The gauge for a dimension of the part.

    Parameters
    ----------
    size : the part's, mm.
    ladder : clearances per side, ascending.
    thickness : of the part, mm.
    cutter : diameter, mm; 0 where it is not known.
    title : engraved below the slot.

    Raises
    ------
    InputError : no rungs.
    """
    if not ladder:
        raise InputError("there are no rungs", "coupons", "give a ladder of clearances")
    radius = (cutter or UNKNOWN_CUTTER) / 2
    ends = [size + 2 * rung for rung in ladder]
    # Above each ledge the cutter, rolling round the ledge's corner, leaves a little uncut.
    ledges = [b - a for a, b in pairwise(ends)]
    rolled = [radius, *(math.sqrt(max(0.0, 2 * radius * s - s * s)) for s in ledges)]
    corners: list[Point] = [(0.0, 0.0)]
    level, levels = 0.0, []
    for end, lost in zip(ends, rolled, strict=True):
        levels.append(level + lost)
        corners.append((end, level))
        level += lost + thickness + PLAY
        corners.append((end, level))
    # The last step's own corner is rounded too.
    level += radius
    corners[-1] = (ends[-1], level)
    corners.append((0.0, level))
    names = [_figure(rung, unit) for rung in ladder]
    room = max(engraved_width(name, TEXT) for name in names) + 2 * TEXT_ROOM
    right = ends[-1] + room + TEXT_ROOM
    outer = polygon([(-LAND, -LAND), (right, -LAND), (right, level + LAND), (-LAND, level + LAND)])
    mark = [*engraved(title, (0.0, -LAND + TEXT_ROOM), TEXT)]
    for name, low in zip(names, levels, strict=True):
        place = (ends[-1] + TEXT_ROOM, low + (thickness + PLAY - TEXT) / 2)
        mark += engraved(name, place, TEXT)
    return Steps(polygon(corners), outer, tuple(mark), tuple(levels))


def _figure(rung: float, unit: Unit) -> str:
    return f"{rung:.2f}" if unit == "mm" else f"{rung / 25.4:.3f}"
