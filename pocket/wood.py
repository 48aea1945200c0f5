"""A piece of wood and how it moves with moisture and warmth.

Equation 13-2 of the Wood Handbook (FPL-GTR-190, 2010), equilibrium moisture by the formula under
its table 4-2.
"""

import math
from dataclasses import dataclass
from typing import Literal

from snugline.errors import InputError
from snugline.pocket.species import SPREAD, Species
from snugline.pocket.thermal import WOOD_ACROSS, WOOD_ALONG, growth

Cut = Literal["flat sawn", "quarter sawn"]
Direction = Literal["length", "width"]
DIRECTIONS: tuple[Direction, Direction] = ("length", "width")

VALID_MOISTURE = (6.0, 14.0)  # heading of table 13-5
FIBRE_SATURATION = 30.0  # below equation 13-3
# % of moisture content: a meter's limit of error of 1 %, evenly spread (common practice, no source)
MOISTURE_U = 1 / math.sqrt(3)


def movement(size: float, coefficient: float, moisture_from: float, moisture_to: float) -> float:
    """Change of `size`, in its unit, between two moisture contents in % (equation 13-2).

    Raises
    ------
    InputError : a moisture content outside 0 to 30 %, where the straight line ends.

    Examples
    --------
    >>> round(movement(232, 0.00245, 8, 11), 1)  # the handbook's worked example
    1.7
    """
    for moisture in (moisture_from, moisture_to):
        if not 0 <= moisture <= FIBRE_SATURATION:
            raise InputError(
                f"a moisture content of {moisture:g} % is outside 0 to 30 %",
                "wood moisture",
                "give the moisture content of seasoned wood, usually 6 to 14 %",
            )
    return size * coefficient * (moisture_to - moisture_from)


def equilibrium_moisture(humidity_percent: float, celsius: float) -> float:
    """Moisture content in % that wood settles at (Simpson's two-hydrate sorption formula).

    Within 0.1 of the handbook's table 4-2 between 0 and 40 degrees C and 20 to 80 % humidity.

    Parameters
    ----------
    humidity_percent : relative humidity of the room, 0 to 100.
    celsius : its temperature.

    Examples
    --------
    >>> round(equilibrium_moisture(50, 21.1), 1)
    9.2
    """
    if not 0 <= humidity_percent <= 100:
        raise InputError(
            f"a humidity of {humidity_percent:g} % is outside 0 to 100 %",
            "room humidity",
            "give the relative humidity in per cent",
        )
    t, h = celsius, humidity_percent / 100
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 0.00000273 * t**2
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    kh, k1kh, k12k2h2 = k * h, k1 * k * h, k1 * k2 * (k * h) ** 2
    return 1800 / w * (kh / (1 - kh) + (k1kh + 2 * k12k2h2) / (1 + k1kh + k12k2h2))


@dataclass(frozen=True)
class Climate:
    """Wood moisture content in % and room temperature in degrees Celsius."""

    moisture: float
    celsius: float = 20.0


@dataclass(frozen=True)
class Timber:
    """A piece of wood in use: the board that the pocket is cut in, or the part.

    Attributes
    ----------
    wood : its species.
    grain : which way of the part the grain runs: along its `length` or its `width`.
    cut : `flat sawn` (width moves tangentially) or `quarter sawn` (radially).
    now, driest, dampest : climate at measuring or cutting, and the extremes in service.
    """

    wood: Species
    grain: Direction
    cut: Cut
    now: Climate
    driest: Climate
    dampest: Climate

    def coefficient(self, direction: Direction) -> float:
        """Change per 1 % of moisture content along that way of the part."""
        if direction == self.grain:
            return self.wood.along
        return self.wood.tangential if self.cut == "flat sawn" else self.wood.radial

    def change(self, width: float, direction: Direction, climate: Climate) -> float:
        """Change in mm of `width` mm of this wood from now to that climate."""
        expansion = WOOD_ALONG if direction == self.grain else WOOD_ACROSS
        return movement(
            width, self.coefficient(direction), self.now.moisture, climate.moisture
        ) + growth(width, expansion, climate.celsius - self.now.celsius)

    def change_u(self, width: float, direction: Direction, climate: Climate) -> float:
        """Standard uncertainty of that change, mm: of the coefficient and of the moisture now."""
        moved = movement(width, self.coefficient(direction), self.now.moisture, climate.moisture)
        return math.hypot(SPREAD * moved, width * self.coefficient(direction) * MOISTURE_U)

    def turned(self) -> "Timber":
        """The same piece with its grain the other way of the part."""
        other: Direction = "width" if self.grain == "length" else "length"
        return Timber(self.wood, other, self.cut, self.now, self.driest, self.dampest)
