"""Growth of a part with temperature: less than wood moves, except for rubber and plastic."""

from dataclasses import dataclass

from snugline.errors import InputError
from snugline.place import Where

# Douglas-fir and red oak at 12 % moisture: 3.8-5.9 along, 25.4-39.1 across the grain
# (Callister, Fundamentals of Materials Science and Engineering, table B.6); middles of these.
WOOD_ALONG = 4.5e-6
WOOD_ACROSS = 32e-6


@dataclass(frozen=True)
class Material:
    """A part's material.

    Attributes
    ----------
    expansion : 1/K, the usual figure.
    least, greatest : 1/K, the range over published tables.
    kind : `soft`, `firm`, `brittle` or `metal`: which clearances it is offered.
    """

    expansion: float
    least: float
    greatest: float
    kind: str


# Callister table B.6: silicone, acrylic, glass; Swyt, J. Res. NIST 99, 31 (1994): aluminium, steel;
# slate: one supplier's data sheet; granite, marble, rubber: general tables; cork: a materials
# database; ceramic: from memory.
MATERIALS: dict[str, Material] = {
    "acrylic": Material(70e-6, 50e-6, 162e-6, "firm"),
    "aluminium": Material(23.1e-6, 23.1e-6, 23.1e-6, "metal"),
    "borosilicate glass": Material(3.3e-6, 3.3e-6, 3.3e-6, "brittle"),
    "ceramic": Material(6e-6, 4e-6, 8e-6, "brittle"),
    "cork": Material(155e-6, 130e-6, 181e-6, "soft"),
    "glass": Material(9.0e-6, 9.0e-6, 9.0e-6, "brittle"),
    "granite": Material(7.9e-6, 7.9e-6, 7.9e-6, "brittle"),
    "marble": Material(7e-6, 7e-6, 12e-6, "brittle"),
    "rubber": Material(77e-6, 77e-6, 77e-6, "soft"),
    "silicone": Material(270e-6, 270e-6, 270e-6, "soft"),
    "slate": Material(8.0e-6, 8.0e-6, 8.0e-6, "brittle"),
    "steel": Material(11.5e-6, 11.5e-6, 11.5e-6, "metal"),
}


def material(name: str, where: Where = "material") -> Material:
    """The named material's figures."""
    try:
        return MATERIALS[name]
    except KeyError:
        raise InputError(
            f"no expansion is known for {name!r}", where, f"use one of: {', '.join(MATERIALS)}"
        ) from None


def growth(size_mm: float, expansion: float, kelvin: float) -> float:
    """Change in mm of a length of `size_mm` for a change in temperature of `kelvin`.

    >>> round(growth(300, MATERIALS["silicone"].expansion, 10), 3)
    0.81
    """
    return size_mm * expansion * kelvin
