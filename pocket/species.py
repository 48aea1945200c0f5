"""How far woods and boards move for 1 % of moisture content, and where each figure was read.

Coefficients: Forest Products Laboratory, Wood Handbook, FPL-GTR-190 (2010), table 13-5, and what
its tables 4-3 and DIN 68100 give of total shrinkage; sheet goods from their own sources.
"""

from dataclasses import dataclass

from snugline.errors import InputError
from snugline.place import Where

# Ordinary wood shrinks by 0.1 to 0.2 % along the grain from green to ovendry (GTR-190, ch. 4),
# here spread over the 30 % that its shrinkage spans; reaction wood can move ten times as much.
ALONG_GRAIN = 0.0015 / 30
SPREAD = 0.15  # coefficient of variation of shrinkage within a species (GTR-190 ch. 4, from memory)

_HANDBOOK = "Wood Handbook, table 13-5"
_FROM_SHRINKAGE = "computed from Wood Handbook, table 4-3"
_DIN = (
    "computed from the total shrinkage of DIN 68100, middle of its range, as printed in the manual "
    "of a moisture meter (T2000, table 6)"
)
_FROM_MEMORY = "from memory; look it up before relying on it"
_OWN = "the job's own figures"


@dataclass(frozen=True)
class Species:
    """Change per 1 % of moisture content.

    Attributes
    ----------
    radial, tangential : across the grain. Sheet goods move alike in both.
    source : where the figures were read.
    along : along the grain (sheet goods: of the face veneer).
    name : as the tables have it.
    """

    radial: float
    tangential: float
    source: str = _HANDBOOK
    along: float = ALONG_GRAIN
    name: str = ""

    @property
    def from_memory(self) -> bool:
        return self.source == _FROM_MEMORY


def coefficient(shrinkage_percent: float) -> float:
    """Change per 1 % of moisture content, from total shrinkage, green to ovendry, in %.

    The straight line from 30 % moisture to none, referred to the size at 10 %; it gives the
    printed coefficients of 11 species of table 13-5 within 0.00001.

    >>> round(coefficient(7.8), 5)  # white ash, tangential
    0.00274
    """
    return shrinkage_percent / 30 / (100 - shrinkage_percent * 20 / 30)


def _of_shrinkage(radial: float, tangential: float) -> Species:
    return Species(coefficient(radial), coefficient(tangential), _DIN)


SPECIES: dict[str, Species] = {
    "alder, red": Species(0.00151, 0.00256),
    "ash, white": Species(0.00169, 0.00274),
    "aspen, quaking": Species(0.00119, 0.00234),
    "basswood, american": Species(0.00230, 0.00330),
    "beech, american": Species(0.00190, 0.00431),
    "beech, european": _of_shrinkage(5.8, 11.8),
    "birch, paper": Species(0.00219, 0.00304),
    "birch, yellow": Species(0.00256, 0.00338),
    "butternut": Species(0.00116, 0.00223),
    "cherry, black": Species(0.00126, 0.00248),
    "douglas-fir, coast": Species(0.00165, 0.00267, _FROM_SHRINKAGE),
    "fir, white": Species(0.00112, 0.00245, _FROM_SHRINKAGE),
    "hickory, pecan": Species(0.00169, 0.00315),
    "larch, european": _of_shrinkage(3.8, 9.1),
    "mahogany": Species(0.00172, 0.00238, _FROM_MEMORY),
    "maple, red": Species(0.00137, 0.00289),
    "maple, sugar": Species(0.00165, 0.00353),
    # 1 mm for a metre between 9 and 12 % moisture.
    "mdf": Species(
        0.00033, 0.00033, "Facts about particleboard and MDF, EWPAA (Australia)", 0.00033
    ),
    "oak, european": _of_shrinkage(4.3, 8.9),
    "oak, red": Species(0.00158, 0.00369),
    "oak, white": Species(0.00180, 0.00365),
    "pine, eastern white": Species(0.00071, 0.00212, _FROM_MEMORY),
    # 22 species of 5 mm three-ply, 7 to 20 % moisture: 0.18 % along, 0.27 % across the face grain.
    "plywood": Species(
        0.0027 / 13,
        0.0027 / 13,
        "Forest Products Research Laboratory (UK), quoted in The Technique of Furniture Making",
        0.0018 / 13,
    ),
    "poplar, yellow": Species(0.00158, 0.00289, _FROM_SHRINKAGE),
    "redcedar, western": Species(0.00081, 0.00172, _FROM_SHRINKAGE),
    "sycamore, american": Species(0.00172, 0.00296),
    "teak": Species(0.00101, 0.00186, _FROM_MEMORY),
    "walnut, black": Species(0.00190, 0.00274),
}


def species(name: str, where: Where = "species") -> Species:
    """Look up a species; the plain name will do where only one has it (`walnut`, not `oak`).

    Raises
    ------
    InputError : none or several have that name. It lists them.
    """
    key = known_name(name)
    if key is not None:
        found = SPECIES[key]
        return Species(found.radial, found.tangential, found.source, found.along, key)
    several = _called(name)
    if several:
        raise InputError(
            f"{name!r} may be several woods", where, f"use one of: {'; '.join(several)}"
        )
    raise InputError(
        f"no movement figures are known for {name!r}",
        where,
        "give its own: movement = { radial = 0.16, tangential = 0.33 } in % for 1 % of moisture, "
        f"or use one of: {'; '.join(SPECIES)}",
    )


def known_name(name: str) -> str | None:
    """The table's own name for a wood; None where it is not there, or could be several."""
    key = " ".join(name.lower().split())
    if key in SPECIES:
        return key
    found = _called(name)
    return found[0] if len(found) == 1 else None


def _called(name: str) -> list[str]:
    words = _words(name)
    return [n for n in SPECIES if words and words <= _words(n)]


def _words(name: str) -> set[str]:
    words = set(name.lower().replace("-", " ").replace(",", " ").split())
    # A veneer's wood does not change what a plywood does.
    return {"plywood"} if words & {"plywood", "ply"} else words


def own_species(percent: tuple[float, float], name: str = "") -> Species:
    """A wood of the user's own figures, radial and tangential, in % for 1 % of moisture content."""
    radial, tangential = percent
    return Species(radial / 100, tangential / 100, _OWN, name=name)


def own_shrinkage(percent: tuple[float, float], name: str = "") -> Species:
    """A wood of the user's own total shrinkage, radial and tangential, green to ovendry, in %."""
    radial, tangential = percent
    return Species(coefficient(radial), coefficient(tangential), _OWN, name=name)
