"""How figures and remarks are written for people: on the terminal and in the report."""

import math

from snugline.lengths import format_length
from snugline.notice import Notice
from snugline.sentence import Sentence
from snugline.units import LengthUnit

# Angles among the dimensions, in radians, by the name that results use.
_ANGLES = {
    "taper": "angle between the long sides",
    "end taper": "angle between the ends",
    "skew": "ends out of square",
}


def sentence(text: str) -> Sentence:
    """A remark with its full stop, and a capital where it begins with a plain word.

    Quantities are kept.

    >>> sentence("the sheet is bent")
    'The sheet is bent.'
    >>> sentence("left.jpg is dark.")
    'left.jpg is dark.'
    """
    given = Sentence.of(text)
    first, _, rest = given.template.partition(" ")
    start = first.capitalize() if first.isalpha() and first.islower() else first
    whole = f"{start} {rest}".strip()
    stop = "" if whole.endswith((".", "!", "?")) else "."
    return Sentence(whole + stop, *given.figures)


def remark(notice: Notice, unit: LengthUnit = "mm") -> tuple[str, str]:
    """A remark's two sentences in the reader's unit, the first with what it is about.

    >>> remark(Notice("dark", "it is dark", "add light", about="left.jpg"))
    ('left.jpg: it is dark.', 'Add light.')
    """
    text, about = notice.text.in_unit(unit), "" if notice.about is None else str(notice.about)
    if about not in text:
        text = f"{about}: {text}"
    return sentence(text), sentence(notice.mend.in_unit(unit))


def named(term: str) -> str:
    """A term of the sides' form as people read it.

    >>> named("sag back"), named("skew")
    ('bow of the back side', 'ends out of square')
    """
    if term.startswith("sag "):
        return f"bow of the {term.removeprefix('sag ')} side"
    return _ANGLES.get(term, term)


def measure(what: str, value: float, unit: str = "mm", finer: int = 0) -> str:
    """A quantity with its unit; an exponent has none. Two decimals in mm, four in inches.

    Parameters
    ----------
    finer : more decimals, for small figures.

    >>> measure("length", 417.513), measure("length", 417.513, "in"), measure("exponent", 2.7)
    ('417.51 mm', '16.4375 in', '2.70')
    >>> measure("skew", 0.00524)
    '0.30 degrees'
    """
    if what in _ANGLES:
        return f"{math.degrees(value):.{2 + finer}f} degrees"
    if what.endswith("exponent"):
        return f"{value:.{2 + finer}f}"
    return format_length(value, unit, finer + (2 if unit == "mm" else 4))
