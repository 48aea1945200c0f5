"""Lengths and angles as people write them, to millimetres and radians.

`9.5 mm`, `95 cm`, `2.345 in`, `7 3/16 in`, `7-3/16"` are lengths; `0.5 deg` is an angle. A number
without a unit is refused: nobody should cut an inch file as millimetres.
"""

import math
import re
from fractions import Fraction

from snugline.errors import InputError
from snugline.limits import FURTHEST, QUANTITY
from snugline.place import Where
from snugline.units import MM_PER_INCH

__all__ = ["MM_PER_INCH", "format_length", "parse_angle", "parse_length"]


_MM_PER_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "″": MM_PER_INCH,
}
_RADIANS_PER_UNIT = {"deg": math.pi / 180, "°": math.pi / 180, "rad": 1.0}

_DECIMAL = r"\d+(?:\.\d*)?|\.\d+"
_QUANTITY = re.compile(
    rf"""^\s*(?P<sign>[-+]?)\s*
    (?: (?:(?P<whole>\d+)(?:\s+|\s*-\s*))? (?P<top>\d+)\s*/\s*(?P<bottom>\d+)
      | (?P<decimal>{_DECIMAL}) )
    \s*(?P<unit>[^\d\s].*?)?\s*$""",
    re.VERBOSE,
)


_COMMA = re.compile(r"\s*[-+]?\d+,\d+\s*(?:[^\d\s,/].*)?$", re.DOTALL)


def _parse(text: str, units: dict[str, float], kind: str, example: str, where: Where) -> float:
    mend = f"write a number with its unit, such as {example}"
    if isinstance(text, str) and len(text) > QUANTITY:
        raise InputError(f"{text[:20]!r}... has {len(text)} letters", where, mend)
    if isinstance(text, str) and _COMMA.match(text):
        raise InputError(
            f"{text!r} has a decimal comma", where, f"write a point: {text.replace(',', '.')!r}"
        )
    match = _QUANTITY.match(text) if isinstance(text, str) else None
    if match is None:
        raise InputError(f"{text!r} is not {kind}", where, mend)
    unit = match["unit"]
    if unit is None:
        raise InputError(f"{text!r} has no unit", where, mend)
    if unit not in units:
        raise InputError(f"{text!r} has the unknown unit {unit!r}", where, mend)
    if match["decimal"] is not None:
        number = float(match["decimal"])
    elif int(match["bottom"]) == 0:
        raise InputError(f"{text!r} divides by zero", where, mend)
    else:
        number = float(int(match["whole"] or 0) + Fraction(int(match["top"]), int(match["bottom"])))
    return (-number if match["sign"] == "-" else number) * units[unit]


def parse_length(text: str, where: Where = "length") -> float:
    """Millimetres of a length as written.

    Raises
    ------
    InputError : no number, no unit, a unit that is not a length's, or more than 100 m. `where`
        names the source.

    Examples
    --------
    >>> parse_length("7-3/16 in")
    182.5625
    >>> parse_length("9.5 mm")
    9.5
    """
    mm = _parse(text, _MM_PER_UNIT, "a length", '"9.5 mm" or "7 3/16 in"', where)
    if not abs(mm) <= FURTHEST:
        raise InputError(
            f"{text!r} is longer than 100 m", where, f"write {FURTHEST:.0f} mm at most"
        )
    return mm


def parse_angle(text: str, where: Where = "angle") -> float:
    """Radians of an angle as written, such as `0.5 deg`."""
    return _parse(text, _RADIANS_PER_UNIT, "an angle", '"0.5 deg"', where)


def format_length(mm: float, unit: str = "mm", decimals: int | None = None) -> str:
    """A length with its unit; by default three decimals in inches, two in millimetres.

    >>> format_length(182.5625, "in")
    '7.188 in'
    """
    if decimals is None:
        decimals = 2 if unit == "mm" else 3
    return f"{mm / _MM_PER_UNIT[unit]:.{decimals}f} {unit}"


def inch_fraction(mm: float) -> str:
    """The nearest 64th of an inch, with `near` where it is not the length itself.

    >>> inch_fraction(417.5125), inch_fraction(10.0)
    ('16 7/16', 'near 25/64')
    """
    sixty_fourths = round(mm / MM_PER_INCH * 64)
    whole, rest = divmod(abs(sixty_fourths), 64)
    part = f"{Fraction(rest, 64)}" if rest else ""
    said = " ".join(filter(None, (str(whole) if whole or not rest else "", part)))
    sign = "-" if sixty_fourths < 0 else ""
    near = "" if abs(mm / MM_PER_INCH - sixty_fourths / 64) < 5e-4 else "near "
    return f"{near}{sign}{said}"
