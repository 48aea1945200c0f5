"""Movement of wood with moisture: what a season does to an opening and to the land beside it.

Coefficients and formulas: Forest Products Laboratory, Wood Handbook, FPL-GTR-190 (2010), table
13-5 and equation 13-2, equilibrium moisture by the formula under table 4-2.
"""

from dataclasses import dataclass
from typing import Literal

from snugline.errors import InputError
from snugline.notice import Notice
from snugline.place import Where
from snugline.pocket.thermal import WOOD_ACROSS, WOOD_ALONG, Material, growth

Cut = Literal["flat sawn", "quarter sawn"]
Direction = Literal["length", "width"]
_DIRECTIONS: tuple[Direction, Direction] = ("length", "width")

# Ordinary wood shrinks by 0.1 to 0.2 % along the grain from green to ovendry (GTR-190, ch. 4),
# here spread over the 30 % that its shrinkage spans; reaction wood can move ten times as much.
ALONG_GRAIN = 0.0015 / 30
VALID_MOISTURE = (6.0, 14.0)  # heading of table 13-5
FIBRE_SATURATION = 30.0  # below equation 13-3
# Tension strength over stiffness across the grain, walnut to oak, gives 0.5 to 1 % (from memory).
SPLITTING_STRAIN = 0.005


@dataclass(frozen=True)
class Species:
    """Change per 1 % of moisture content, radial and tangential, and where it was read."""

    radial: float
    tangential: float
    source: str = "Wood Handbook, table 13-5"


_FROM_SHRINKAGE = "computed from Wood Handbook, table 4-3"
_MEMORY = "from memory; look it up before relying on it"

SPECIES: dict[str, Species] = {
    "alder, red": Species(0.00151, 0.00256),
    "ash, white": Species(0.00169, 0.00274),
    "aspen, quaking": Species(0.00119, 0.00234),
    "basswood, american": Species(0.00230, 0.00330),
    "beech, american": Species(0.00190, 0.00431),
    "birch, paper": Species(0.00219, 0.00304),
    "birch, yellow": Species(0.00256, 0.00338),
    "butternut": Species(0.00116, 0.00223),
    "cherry, black": Species(0.00126, 0.00248),
    "douglas-fir, coast": Species(0.00165, 0.00267, _FROM_SHRINKAGE),
    "fir, white": Species(0.00112, 0.00245, _FROM_SHRINKAGE),
    "hickory, pecan": Species(0.00169, 0.00315),
    "mahogany": Species(0.00172, 0.00238, _MEMORY),
    "maple, red": Species(0.00137, 0.00289),
    "maple, sugar": Species(0.00165, 0.00353),
    "oak, red": Species(0.00158, 0.00369),
    "oak, white": Species(0.00180, 0.00365),
    "pine, eastern white": Species(0.00071, 0.00212, _MEMORY),
    "poplar, yellow": Species(0.00158, 0.00289, _FROM_SHRINKAGE),
    "redcedar, western": Species(0.00081, 0.00172, _FROM_SHRINKAGE),
    "sycamore, american": Species(0.00172, 0.00296),
    "teak": Species(0.00101, 0.00186, _MEMORY),
    "walnut, black": Species(0.00190, 0.00274),
}


def species(name: str, where: Where = "species") -> Species:
    """Look up a species; the plain name will do where only one has it (`walnut`, not `oak`)."""
    key = " ".join(name.lower().split())
    if key in SPECIES:
        return SPECIES[key]
    words = set(key.replace("-", " ").replace(",", " ").split())
    found = [n for n in SPECIES if words <= set(n.replace("-", " ").replace(",", " ").split())]
    if len(found) == 1 and words:
        return SPECIES[found[0]]
    if found and words:
        raise InputError(f"{name!r} may be several woods", where, f"use one of: {'; '.join(found)}")
    raise InputError(
        f"no movement figures are known for {name!r}", where, f"use one of: {'; '.join(SPECIES)}"
    )


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
class Board:
    """The wood that the pocket is cut in.

    Attributes
    ----------
    wood : its species.
    grain : which way of the part the grain runs: along its `length` or its `width`.
    cut : `flat sawn` (width moves tangentially) or `quarter sawn` (radially).
    now, driest, dampest : climate at cutting, and the extremes in service.
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
            return ALONG_GRAIN
        return self.wood.tangential if self.cut == "flat sawn" else self.wood.radial

    def change(self, width: float, direction: Direction, climate: Climate) -> float:
        """Change in mm of `width` mm of this wood from now to that climate."""
        expansion = WOOD_ALONG if direction == self.grain else WOOD_ACROSS
        return movement(
            width, self.coefficient(direction), self.now.moisture, climate.moisture
        ) + growth(width, expansion, climate.celsius - self.now.celsius)


@dataclass(frozen=True)
class SeasonalGap:
    """What one extreme of the year does in one direction; all in mm.

    Attributes
    ----------
    season : `driest` or `dampest`.
    direction : `length` or `width` of the part.
    across : whether this is across the grain.
    opening, land, part : change of the opening, of the two lands beside it together, of the part.
    gap : what is left of the clearance on each side; negative means squeezed.
    """

    season: str
    direction: Direction
    across: bool
    opening: float
    land: float
    part: float
    gap: float


def seasonal_gaps(
    board: Board,
    size: tuple[float, float],
    clearance: float,
    land: float = 0.0,
    part_material: Material | None = None,
) -> tuple[SeasonalGap, ...]:
    """Gap per side at the driest and the dampest day, along the length and the width.

    Parameters
    ----------
    size : (length, width) of the part, mm.
    clearance : gap per side as cut, mm.
    land : wood beside the opening on each side, mm.
    part_material : for the part's own growth with temperature; none leaves it out.
    """
    gaps = []
    for season, climate in (("driest", board.driest), ("dampest", board.dampest)):
        for direction, part in zip(_DIRECTIONS, size, strict=True):
            opening = board.change(part + 2 * clearance, direction, climate)
            warmer = climate.celsius - board.now.celsius
            grown = growth(part, part_material.expansion, warmer) if part_material else 0.0
            gaps.append(
                SeasonalGap(
                    season=season,
                    direction=direction,
                    across=direction != board.grain,
                    opening=opening,
                    land=board.change(2 * land, direction, climate),
                    part=grown,
                    gap=clearance + (opening - grown) / 2,
                )
            )
    return tuple(gaps)


def movement_notices(
    board: Board, gaps: tuple[SeasonalGap, ...], rigid: bool, glued: bool
) -> tuple[Notice, ...]:
    """Warnings of squeezing, of splitting round a part glued in, and of doubtful figures."""
    notices = []
    outside = [
        c.moisture
        for c in (board.now, board.driest, board.dampest)
        if not VALID_MOISTURE[0] <= c.moisture <= VALID_MOISTURE[1]
    ]
    if outside:
        notices.append(
            Notice(
                "moisture-outside-table",
                f"a moisture content of {outside[0]:.1f} % lies outside the 6 to 14 % that the "
                "movement coefficients hold for",
                "take the stated movement as a rough figure",
            )
        )
    worst = min(gaps, key=lambda g: g.gap)
    if worst.gap < 0:
        mend = f"add at least {-worst.gap:.2f} mm of clearance along the {worst.direction}"
        notices.append(
            Notice(
                "squeezed-in-season" if rigid else "soft-part-pressed-in-season",
                f"on the {worst.season} day the opening closes on the part by "
                f"{-worst.gap:.2f} mm per side along its {worst.direction}",
                mend if rigid else f"{mend}, or accept that the soft part bulges",
                "retake" if rigid else "usable",
            )
        )
    strain = max(
        board.coefficient("width" if board.grain == "length" else "length")
        * (board.now.moisture - board.driest.moisture),
        0.0,
    )
    if glued and rigid and strain > SPLITTING_STRAIN:
        notices.append(
            Notice(
                "glue-would-split-land",
                f"glued to a rigid part, the wood is kept from shrinking by {100 * strain:.1f} % "
                f"across the grain; about {100 * SPLITTING_STRAIN:.1f} % can split the land",
                "leave it unglued, or fix it at one spot with an elastic glue",
                "retake",
            )
        )
    return tuple(notices)
