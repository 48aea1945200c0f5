"""Single-stroke letters for engraving, drawn for this project on a grid of 4 by 6."""

from snugline.fit.geometry.outline import Point

_HEIGHT = 6
_ADVANCE = 6

# Strokes are parted by semicolons; each point is its two grid coordinates. None ends where it
# began: readers would take it for a closed outline.
_LETTERS = {
    "0": "10 01 05 16 36;36 45 41 30 10", "1": "15 26 20;10 30", "2": "05 16 36 45 44 00 40",
    "3": "06 46 23 33 42 41 30 10 01", "4": "30 36 02 42", "5": "46 06 03 33 42 41 30 10 01",
    "6": "36 16 04 01 10 30 41 42 33 03", "7": "06 46 10",
    "8": "13 04 05 16 36 45 44 33 13 02 01 10 30 41 42 33", "9": "10 30 42 45 36 16 05 04 13 43",
    "A": "00 04 26 44 40;03 43", "B": "00 06 36 45 44 33 03;33 42 41 30 00",
    "C": "41 30 10 01 05 16 36 45", "D": "00 06 26 44;44 42 20 00", "E": "40 00 06 46;03 33",
    "F": "00 06 46;03 33", "G": "45 36 16 05 01 10 30 41 43 23", "H": "00 06;40 46;03 43",
    "I": "10 30;20 26;16 36", "J": "01 10 30 41 46", "K": "00 06;46 03 40", "L": "06 00 40",
    "M": "00 06 23 46 40", "N": "00 06 40 46", "O": "10 01 05 16 36;36 45 41 30 10",
    "P": "00 06 36 45 44 33 03", "Q": "10 01 05 16 36;36 45 41 30 10;22 40",
    "R": "00 06 36 45 44 33 03;23 40", "S": "01 10 30 41 42 33 13 04 05 16 36 45",
    "T": "20 26;06 46", "U": "06 01 10 30 41 46", "V": "06 20 46", "W": "06 10 23 30 46",
    "X": "00 46;06 40", "Y": "06 23 46;23 20", "Z": "06 46 00 40",
    "m": "00 04;03 14 23 20;23 34 43 40", "n": "00 04;03 14 34 43 40", "i": "20 24;25 26",
    "x": "00 44;04 40", ".": "20 21", ",": "21 10", "-": "13 33", "+": "03 43;21 25",
    "/": "00 46", "=": "02 42;04 44", "?": "05 16 36 45 33 22;20 21",
}  # fmt: skip


def engraved(text: str, at: Point, height: float) -> tuple[tuple[Point, ...], ...]:
    """Strokes of a line of text, mm.

    Small letters other than `i`, `m`, `n` and `x` are written as capitals; a letter that is not
    drawn here becomes a question mark.

    Parameters
    ----------
    at : left end of the base line.
    height : of capitals and figures.
    """
    scale = height / _HEIGHT
    strokes = []
    for place, letter in enumerate(text):
        if letter == " ":
            continue
        drawn = _LETTERS.get(letter) or _LETTERS.get(letter.upper()) or _LETTERS["?"]
        left = at[0] + place * _ADVANCE * scale
        for stroke in drawn.split(";"):
            points = [(int(p[0]), int(p[1])) for p in stroke.split()]
            strokes.append(tuple((left + x * scale, at[1] + y * scale) for x, y in points))
    return tuple(strokes)


def engraved_width(text: str, height: float) -> float:
    """Width of a line of text, mm."""
    return (len(text) * _ADVANCE - 2) * height / _HEIGHT if text else 0.0
