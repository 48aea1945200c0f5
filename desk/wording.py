"""How figures and remarks are written for people: on the terminal and in the report."""

from snugline.lengths import format_length


def sentence(text: str) -> str:
    """A remark with its full stop, and a capital where it begins with a plain word.

    >>> sentence("the sheet is bent")
    'The sheet is bent.'
    >>> sentence("left.jpg is dark.")
    'left.jpg is dark.'
    """
    first, _, rest = text.partition(" ")
    start = first.capitalize() if first.isalpha() and first.islower() else first
    whole = f"{start} {rest}".strip()
    return whole if whole.endswith((".", "!", "?")) else f"{whole}."


def measure(what: str, value: float, unit: str = "mm", finer: int = 0) -> str:
    """A quantity with its unit; an exponent has none. Two decimals in mm, four in inches.

    Parameters
    ----------
    finer : more decimals, for small figures.

    >>> measure("length", 417.513), measure("length", 417.513, "in"), measure("exponent", 2.7)
    ('417.51 mm', '16.4375 in', '2.70')
    """
    if what.endswith("exponent"):
        return f"{value:.{2 + finer}f}"
    return format_length(value, unit, finer + (2 if unit == "mm" else 4))
