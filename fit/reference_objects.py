"""Objects of published size for the acceptance test, each with its tolerances and their source.

Lengths in mm. A tolerance that no text states is an assumption, and its source says so.
"""

from snugline.errors import InputError
from snugline.fit.acceptance import ReferenceObject, ReferenceSize

# Edge limits of an unused card, from memory: 85.47 to 85.72 by 53.92 to 54.03. The nominal sizes
# lie near their middles, so that the wider half stands for both.
CARD = ReferenceObject(
    "card",
    "ID-1 card",
    "rounded rectangle",
    (
        ReferenceSize("length", 85.60, 0.13),
        ReferenceSize("width", 53.98, 0.06),
        ReferenceSize("corner radius", 3.18, 0.30),
    ),
    ReferenceSize("thickness", 0.76, 0.08),
    0.0,
    "ISO/IEC 7810; limits of length and width from memory",
)

# ISO 216: plus or minus 1.5 mm up to 150 mm, 2 mm up to 600 mm. Office paper of 80 g/m2 is about
# 0.1 mm thick (common practice, no source).
_PAPER = ReferenceSize("thickness", 0.10, 0.03)
_SHEETS = tuple(
    ReferenceObject(
        name.lower(),
        f"{name} sheet",
        "rectangle",
        (ReferenceSize("length", length, by), ReferenceSize("width", width, 1.5)),
        _PAPER,
        0.0,
        "ISO 216",
    )
    for name, length, by, width in (("A5", 210.0, 2.0, 148.0), ("A6", 148.0, 1.5, 105.0))
)

# No tolerance is published with these diameters. Assumed are a rim rounded by 0.3 mm, 0.2 mm more
# or less, 0.1 mm for the thickness at the rim, and 0.1 mm of wear for the diameter.
_COIN_TOLERANCE, _RIM_TOLERANCE, _RIM_RADIUS, _RIM_RADIUS_TOLERANCE = 0.10, 0.10, 0.30, 0.20
_COINS = (
    ("us-dime", "US dime", 17.91, 1.35),
    ("us-cent", "US cent", 19.05, 1.52),
    ("us-nickel", "US nickel", 21.21, 1.95),
    ("us-quarter", "US quarter", 24.26, 1.75),
    ("us-half-dollar", "US half dollar", 30.61, 2.15),
    ("euro-1c", "1 euro cent", 16.25, 1.67),
    ("euro-2c", "2 euro cent", 18.75, 1.67),
    ("euro-5c", "5 euro cent", 21.25, 1.67),
    ("euro-10c", "10 euro cent", 19.75, 1.93),
    ("euro-50c", "50 euro cent", 24.25, 2.38),
    ("euro-1", "1 euro", 23.25, 2.33),
    ("euro-2", "2 euro", 25.75, 2.20),
)


def _coin(name: str, words: str, diameter: float, thickness: float) -> ReferenceObject:
    mint = (
        "US Mint coin specifications" if name.startswith("us") else "EU common-side specifications"
    )
    return ReferenceObject(
        name,
        f"{words} coin",
        "circle",
        (ReferenceSize("diameter", diameter, _COIN_TOLERANCE),),
        ReferenceSize("thickness", thickness, _RIM_TOLERANCE),
        _RIM_RADIUS,
        f"{mint}; tolerances assumed",
        _RIM_RADIUS_TOLERANCE,
    )


OBJECTS = {one.name: one for one in (CARD, *(_coin(*row) for row in _COINS), *_SHEETS)}
BLOCK = "block"


def reference_object(name: str) -> ReferenceObject:
    """The object of that name.

    Raises
    ------
    InputError : there is none; it names those that there are.
    """
    if name in OBJECTS:
        return OBJECTS[name]
    raise InputError(
        f"no object {name!r} is known",
        "--object",
        f"use one of {', '.join(OBJECTS)}, or {BLOCK}",
    )


def block(length: float, width: float, thickness: float, limit: float) -> ReferenceObject:
    """A gauge block, or one read with a caliper; mm, `limit` being the readings' limit of error."""
    longer, shorter = max(length, width), min(length, width)
    if not 0 <= limit < shorter:
        raise InputError(
            f"a limit of error of {limit:g} mm cannot be", "--limit", "give it as in '0.02mm'"
        )
    return ReferenceObject(
        BLOCK,
        f"block of {longer:g} x {shorter:g} mm",
        "rectangle",
        (ReferenceSize("length", longer, limit), ReferenceSize("width", shorter, limit)),
        ReferenceSize("thickness", thickness, limit),
        0.0,
        "sizes as entered",
    )
