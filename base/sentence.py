"""Sentences that keep their quantities, so that each reader gets them in their own unit."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Any, Literal

from snugline.units import MM_PER_INCH, LengthUnit

Kind = Literal["length", "position", "angle", "pixels", "share", "number"]

# An inch is 25.4 times a millimetre, so that its figures need one more digit.
_MORE_DIGITS = 1
_AFTER: dict[Kind, str] = {
    "angle": " degrees",
    "pixels": " px",
    "share": " %",
    "number": "",
}
_UNIT: dict[Kind, str] = {
    "length": "mm",
    "position": "mm",
    "angle": "deg",
    "pixels": "px",
    "share": "%",
    "number": "",
}


@dataclass(frozen=True)
class Figure:
    """A figure of a sentence: what it is, in mm, degrees, px, per cent or plain.

    Attributes
    ----------
    value : one number, or two for a position; lengths and positions in mm.
    decimals : in mm; inches take one more.
    signed : a plus sign is written, too.
    """

    value: float | tuple[float, float]
    kind: Kind = "length"
    decimals: int = 2
    signed: bool = False

    def text(self, unit: LengthUnit = "mm") -> str:
        """As it is read, its unit behind it.

        >>> length(0.32).text("in")
        '0.013 in'
        """
        decimals, scale, after = self.decimals, 1.0, _AFTER.get(self.kind, "")
        if self.kind in ("length", "position"):
            after = f" {unit}"
            if unit == "in":
                decimals, scale = decimals + _MORE_DIGITS, MM_PER_INCH
        sign = "+" if self.signed else ""
        if isinstance(self.value, tuple):
            rounded = (round(v / scale, decimals) + 0.0 for v in self.value)  # no "-0"
            x, y = (f"{v:{sign}.{decimals}f}" for v in rounded)
            return f"({x}, {y}){after}"
        return f"{self.value / scale:{sign}.{decimals}f}{after}"

    def as_json(self) -> dict[str, Any]:
        """The form under `figures` in the file contracts."""
        value = list(self.value) if isinstance(self.value, tuple) else self.value
        record: dict[str, Any] = {"value": value, "unit": _UNIT[self.kind], "kind": self.kind}
        record["decimals"] = self.decimals
        if self.signed:
            record["signed"] = True
        return record

    @staticmethod
    def from_json(record: Mapping[str, Any]) -> "Figure":
        value = record["value"]
        return Figure(
            (float(value[0]), float(value[1])) if isinstance(value, list) else value,
            record["kind"],
            record["decimals"],
            record.get("signed", False),
        )


def length(mm: float, decimals: int = 2, *, signed: bool = False) -> Figure:
    """A length in mm."""
    return Figure(float(mm), "length", decimals, signed)


def position(x: float, y: float, decimals: int = 0) -> Figure:
    """A position in mm."""
    return Figure((float(x), float(y)), "position", decimals)


def angle(degrees: float, decimals: int = 0) -> Figure:
    """An angle in degrees."""
    return Figure(float(degrees), "angle", decimals)


def pixels(px: float, decimals: int = 1) -> Figure:
    """A length in the photo."""
    return Figure(float(px), "pixels", decimals)


def share(part: float, decimals: int = 0) -> Figure:
    """A part of one, written in per cent."""
    return Figure(100 * float(part), "share", decimals)


def number(value: float, decimals: int = 0) -> Figure:
    """A plain number."""
    return Figure(float(value), "number", decimals)


def verbatim(text: str) -> str:
    """A name for a template: its braces are not places for quantities.

    >>> Sentence(f"{verbatim('a{1}.jpg')} is {{}} wide.", length(2, 0))
    'a{1}.jpg is 2 mm wide.'
    """
    return text.replace("{", "{{").replace("}", "}}")


class Sentence(str):
    """Text made of a template and quantities; as a `str` it reads in millimetres.

    Parameters
    ----------
    template : the words, with `{}` for each quantity and `{name}` for each of the words.
    figures : the quantities, in the order of the template.
    words : names, counts and the like, the same in every unit.

    Raises
    ------
    ValueError : the template has more or fewer places than there are quantities.

    Examples
    --------
    >>> remark = Sentence("The edge near {} is {} away.", position(120, 35), length(0.32))
    >>> remark
    'The edge near (120, 35) mm is 0.32 mm away.'
    >>> remark.in_unit("in")
    'The edge near (4.7, 1.4) in is 0.013 in away.'
    >>> Sentence("The {side} side bows by {}.", length(0.4), side="back")
    'The back side bows by 0.40 mm.'
    """

    __slots__ = ("figures", "template")
    template: str
    figures: tuple[Figure, ...]

    def __new__(cls, template: str, *figures: Figure, **words: object) -> "Sentence":
        for name, word in words.items():
            template = template.replace(f"{{{name}}}", verbatim(str(word)))
        fields = [field for _, field, _, _ in Formatter().parse(template) if field is not None]
        if len(fields) != len(figures) or any(fields):
            raise ValueError(f"{template!r} does not take {len(figures)} quantities")
        sentence = super().__new__(cls, template.format(*(f.text() for f in figures)))
        sentence.template, sentence.figures = template, figures
        return sentence

    def __getnewargs__(self) -> tuple[Any, ...]:
        return (self.template, *self.figures)

    def in_unit(self, unit: LengthUnit) -> str:
        """The text with its lengths in `unit`."""
        return self.template.format(*(figure.text(unit) for figure in self.figures))

    def as_json(self) -> dict[str, Any]:
        """Template and quantities, for whoever puts them together in another unit."""
        return {"template": self.template, "figures": [f.as_json() for f in self.figures]}

    @staticmethod
    def of(text: str) -> "Sentence":
        """A sentence of any text; one without quantities keeps its braces."""
        if isinstance(text, Sentence):
            return text
        return Sentence(verbatim(text))

    @staticmethod
    def joined(parts: Iterable[str], between: str = " ") -> "Sentence":
        """Several as one; empty ones are passed over.

        >>> Sentence.joined(["It is wide.", "", Sentence("Take {} off.", length(1))]).in_unit("in")
        'It is wide. Take 0.039 in off.'
        """
        of = [Sentence.of(part) for part in parts if part]
        template = verbatim(between).join(part.template for part in of)
        return Sentence(template, *(figure for part in of for figure in part.figures))

    @staticmethod
    def from_json(record: Mapping[str, Any]) -> "Sentence":
        return Sentence(record["template"], *map(Figure.from_json, record["figures"]))


def pair_from_json(text: str, mend: str, record: Mapping[str, Any]) -> tuple[Sentence, Sentence]:
    """Text and remedy of a remark's or an error's record, whose figures are in one list."""
    if "figures" not in record:
        return Sentence.of(text), Sentence.of(mend)
    figures = [Figure.from_json(figure) for figure in record["figures"]]
    first, second = record["templates"]
    own = len(figures) - second.replace("{{", "").count("{")
    return Sentence(first, *figures[:own]), Sentence(second, *figures[own:])
