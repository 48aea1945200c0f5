"""Ways to get the part out again: finger notches, push-out holes and ribbon slots."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from snugline.errors import PlanError
from snugline.fit.geometry.crossings import Bundle, crossings
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Line, Outline, Point
from snugline.fit.geometry.primitives import circle, rounded_rectangle

Side = Literal["front", "back", "left", "right"]
NotchShape = Literal["half round", "oblong", "square"]
NOTCH_SHAPES: tuple[NotchShape, ...] = ("half round", "oblong", "square")
SIDES: tuple[Side, ...] = ("front", "back", "left", "right")


@dataclass(frozen=True)
class FingerNotch:
    """A place in a side for a finger.

    Attributes
    ----------
    side : of the part.
    width : mm along the wall (15 to 25 mm is common practice).
    depth : mm below the face; None for the pocket's own, which makes it part of the pocket.
    at : mm from the side's middle along it, to the right or to the back.
    shape : `half round`, `oblong` with round ends along the wall, or `square` with corners as
        tight as the cutter allows.
    reach : mm that it goes into the wall; None for half its width.
    """

    side: Side
    width: float = 20.0
    depth: float | None = None
    at: float = 0.0
    shape: NotchShape = "half round"
    reach: float | None = None


@dataclass(frozen=True)
class PushHole:
    """A round hole through the floor; `at` from the part's centre, mm."""

    diameter: float = 20.0
    at: Point = (0.0, 0.0)


@dataclass(frozen=True)
class RibbonSlot:
    """A shallow bay in a wall for a ribbon that lies under the part.

    Attributes
    ----------
    side : of the part.
    width : mm along the wall, ribbon and play.
    reach : mm that it goes into the wall.
    """

    side: Side
    width: float = 20.0
    reach: float = 3.0


def side_middle(pocket: Outline, side: Side, at: float = 0.0) -> Point:
    """Where the pocket's outline meets the middle line of its box on that side, or one beside it.

    Raises
    ------
    PlanError : so far from the middle there is no wall.
    """
    low_x, low_y, high_x, high_y = pocket.bounds
    middle_x, middle_y = (low_x + high_x) / 2 + at, (low_y + high_y) / 2 + at
    upright = side in ("front", "back")
    if upright:
        probe = Line((middle_x, low_y - 1), (middle_x, high_y + 1))
    else:
        probe = Line((low_x - 1, middle_y), (high_x + 1, middle_y))
    met = crossings(Bundle([probe, *pocket.segments]))
    on_probe = met.point[met.segment == 0]
    if not len(on_probe):
        raise PlanError(
            f"{abs(at):.1f} mm from the middle the {side} side has no wall",
            "finger notch",
            "move it towards the middle",
        )
    along = on_probe[:, 1] if upright else on_probe[:, 0]
    found = on_probe[np.argmin(along) if side in ("front", "left") else np.argmax(along)]
    return float(found[0]), float(found[1])


def notch_outline(pocket: Outline, notch: FingerNotch, cutter: float) -> Outline:
    """The whole shape of which the notch is what lies beyond the wall."""
    _wide_enough(notch.width, cutter, "finger notch")
    low_x, low_y, high_x, high_y = pocket.bounds
    upright = notch.side in ("front", "back")
    side = high_x - low_x if upright else high_y - low_y
    if notch.width + 2 * abs(notch.at) > side:
        raise PlanError(
            f"a finger notch of {notch.width:.1f} mm passes the {notch.side} side, {side:.1f} mm",
            "finger notch",
            "make it narrower, move it to the middle or put it on a longer side",
        )
    place = side_middle(pocket, notch.side, notch.at)
    reach = notch.width / 2 if notch.reach is None else notch.reach
    if notch.shape == "half round" and notch.reach is None:
        return circle(notch.width / 2, place)
    # Symmetric about the wall, so that it joins a wall that bends a little, too.
    radius = cutter / 2
    if notch.shape == "half round":
        radius = min(reach, notch.width / 2)
    elif notch.shape == "oblong":
        radius = min(reach, notch.width / 2)
        _wide_enough(2 * reach, cutter, "finger notch")
    radius = min(radius, notch.width / 2, reach)
    size = (notch.width, 2 * reach) if upright else (2 * reach, notch.width)
    return rounded_rectangle(*size, radius).translated(*place)


def ribbon_outline(pocket: Outline, slot: RibbonSlot, cutter: float) -> Outline:
    """A rounded rectangle across the wall, its corners as tight as the cutter allows."""
    _wide_enough(slot.width, cutter, "ribbon slot")
    x, y = side_middle(pocket, slot.side)
    inside = max(cutter, slot.reach)
    across = slot.reach + inside
    sign = 1 if slot.side in ("back", "right") else -1
    shift = sign * (slot.reach - inside) / 2
    if slot.side in ("front", "back"):
        return rounded_rectangle(slot.width, across, cutter / 2).translated(x, y + shift)
    return rounded_rectangle(across, slot.width, cutter / 2).translated(x + shift, y)


def push_hole_outline(pocket: Outline, hole: PushHole, cutter: float) -> Outline:
    """The hole's circle.

    Raises
    ------
    PlanError : smaller than the cutter, or not wholly in the pocket's floor.
    """
    _wide_enough(hole.diameter, cutter, "push-out hole")
    room = -float(signed_distance(pocket, np.array([hole.at]))[0])
    if room < hole.diameter / 2:
        raise PlanError(
            f"a push-out hole of {hole.diameter:.1f} mm reaches "
            f"{hole.diameter / 2 - room:.1f} mm beyond the pocket",
            "push-out hole",
            "move it towards the middle or make it smaller",
        )
    return circle(hole.diameter / 2, hole.at)


def _wide_enough(width: float, cutter: float, what: str) -> None:
    if width < cutter:
        raise PlanError(
            f"a {what} of {width:.1f} mm is narrower than the cutter of {cutter:.1f} mm",
            what,
            f"make it {cutter:.1f} mm or wider",
        )
