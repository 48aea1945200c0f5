"""Nouns that agree with their number: `1 remark`, `2 remarks`."""


def counted(number: int, noun: str, plural: str | None = None) -> str:
    """The number and its noun, in the plural unless there is exactly one.

    >>> counted(1, "contour"), counted(0, "contour"), counted(2, "family", "families")
    ('1 contour', '0 contours', '2 families')
    """
    return f"{number} {noun if number == 1 else plural or noun + 's'}"
