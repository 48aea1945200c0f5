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
SIDES: tuple[Side, ...] = ("front", "back", "left", "right")


@dataclass(frozen=True)
class FingerNotch:
    """A half-round at a side's middle.

    Attributes
    ----------
    side : of the part.
    width : mm, twice its radius (15 to 25 mm is common practice).
    depth : mm below the face; None for the pocket's own, which makes it part of the pocket.
    """

    side: Side
    width: float = 20.0
    depth: float | None = None


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


def side_middle(pocket: Outline, side: Side) -> Point:
    """Where the pocket's outline meets the middle line of its box on that side."""
    low_x, low_y, high_x, high_y = pocket.bounds
    middle_x, middle_y = (low_x + high_x) / 2, (low_y + high_y) / 2
    if side in ("front", "back"):
        probe = Line((middle_x, low_y - 1), (middle_x, high_y + 1))
    else:
        probe = Line((low_x - 1, middle_y), (high_x + 1, middle_y))
    met = crossings(Bundle([probe, *pocket.segments]))
    on_probe = met.point[met.segment == 0]
    along = on_probe[:, 1] if side in ("front", "back") else on_probe[:, 0]
    found = on_probe[np.argmin(along) if side in ("front", "left") else np.argmax(along)]
    return float(found[0]), float(found[1])


def notch_outline(pocket: Outline, notch: FingerNotch, cutter: float) -> Outline:
    """The full circle of which the notch is the half beyond the wall."""
    _wide_enough(notch.width, cutter, "finger notch")
    low_x, low_y, high_x, high_y = pocket.bounds
    side = high_x - low_x if notch.side in ("front", "back") else high_y - low_y
    if notch.width > side:
        raise PlanError(
            f"a finger notch of {notch.width:.1f} mm is wider than the {notch.side} side, "
            f"{side:.1f} mm",
            "finger notch",
            "make it narrower or put it on a longer side",
        )
    return circle(notch.width / 2, side_middle(pocket, notch.side))


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
