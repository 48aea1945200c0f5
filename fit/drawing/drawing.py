"""What a drawing holds: named layers of outlines, engraved strokes and notes, in millimetres.

A drawing's unit is the unit its files are written in; all lengths here are millimetres, x to the
right and y up. Layers differ by name and line pattern, never by colour.
"""

import math
import re
from dataclasses import dataclass
from typing import Literal

from snugline.counting import counted
from snugline.errors import InputError
from snugline.fit.geometry.outline import Outline, Point
from snugline.lengths import MM_PER_INCH

Unit = Literal["mm", "in"]
Pattern = Literal["solid", "dashed", "dotted", "dash-dot"]

MM_PER_UNIT: dict[Unit, float] = {"mm": 1.0, "in": MM_PER_INCH}

PATTERNS: dict[Pattern, tuple[float, ...]] = {
    "solid": (),
    "dashed": (6.0, 3.0),
    "dotted": (0.5, 2.0),
    "dash-dot": (8.0, 2.0, 0.5, 2.0),
}
"""mm, dash and gap in turn."""

STROKE = "#1a1a1a"
"""The one colour of all lines."""

STROKE_WIDTH = 0.2  # mm

# What DXF refuses in a layer's name, and control characters.
_REFUSED = re.compile(r'[<>/\\":;?*|=`,\x00-\x1f]')


@dataclass(frozen=True)
class Note:
    """A line of plain text to be read, not cut: its left end on the base line, and its height."""

    text: str
    at: Point
    height: float = 3.0

    def __post_init__(self) -> None:
        _one_line(self.text, "note")


@dataclass(frozen=True)
class Layer:
    """Outlines that belong together.

    Attributes
    ----------
    name : shown by every program that reads the file; carries depth where there is one.
    outlines : closed; each becomes one closed path.
    pattern : of the lines.
    strokes : open polylines, for engraved text.
    notes : plain text.
    """

    name: str
    outlines: tuple[Outline, ...] = ()
    pattern: Pattern = "solid"
    strokes: tuple[tuple[Point, ...], ...] = ()
    notes: tuple[Note, ...] = ()

    def __post_init__(self) -> None:
        refused = _REFUSED.search(self.name)
        if refused or self.name != self.name.strip() or not 0 < len(self.name) < 256:
            raise InputError(
                f"{self.name!r} cannot name a layer",
                "drawing",
                'use 1 to 255 characters without < > / \\ " : ; ? * | = ` or commas',
            )
        if self.pattern not in PATTERNS:
            raise InputError(
                f"{self.pattern!r} is not a line pattern",
                f"drawing, layer {self.name}",
                f"choose one of {', '.join(PATTERNS)}",
            )
        for stroke in self.strokes:
            if len(stroke) < 2 or not all(map(math.isfinite, sum(stroke, ()))):
                raise InputError(
                    f"a stroke of {counted(len(stroke), 'point')}",
                    f"drawing, layer {self.name}",
                    "give two finite points or more",
                )


@dataclass(frozen=True)
class Drawing:
    """A titled stack of layers, written in one unit."""

    title: str
    layers: tuple[Layer, ...]
    unit: Unit = "mm"

    def __post_init__(self) -> None:
        _one_line(self.title, "drawing")
        if self.unit not in MM_PER_UNIT:
            raise InputError(f"{self.unit!r} is not a drawing unit", "drawing", "use mm or in")
        seen: set[str] = set()
        for layer in self.layers:
            # Programs that read DXF treat names of different case as one layer.
            if layer.name.casefold() in seen:
                raise InputError(
                    f"two layers are called {layer.name!r}", "drawing", "give each its own name"
                )
            seen.add(layer.name.casefold())

    @property
    def mm_per_unit(self) -> float:
        return MM_PER_UNIT[self.unit]

    @property
    def unit_remark(self) -> str:
        """The sentence in every file that keeps inches from being cut as millimetres."""
        name = {"mm": "millimetres", "in": "inches"}[self.unit]
        return f"Unit: {self.unit}. All numbers are {name}."

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """(low x, low y, high x, high y) of all that is drawn, notes by a rough width.

        Raises
        ------
        InputError : nothing is drawn.
        """
        boxes = [outline.bounds for layer in self.layers for outline in layer.outlines]
        boxes += [(x, y, x, y) for layer in self.layers for s in layer.strokes for x, y in s]
        for note in (note for layer in self.layers for note in layer.notes):
            x, y = note.at
            boxes.append((x, y, x + 0.6 * note.height * len(note.text), y + note.height))
        if not boxes:
            raise InputError(
                "nothing is drawn", f"drawing {self.title!r}", "give a layer with an outline"
            )
        lows_x, lows_y, highs_x, highs_y = zip(*boxes, strict=True)
        return min(lows_x), min(lows_y), max(highs_x), max(highs_y)


def _one_line(text: str, where: str) -> None:
    if not text.isprintable() or text != text.strip() or not text:
        raise InputError(
            f"{text!r} is not one line of text", where, "give one line, without blanks at its ends"
        )


def usable_name(text: str) -> str:
    """A foreign file's name for a layer, with what `Layer` refuses replaced by hyphens."""
    return _REFUSED.sub("-", text).strip()[:255] or "unnamed"


def number(value: float) -> str:
    """A number as the text formats carry it: twelve decimals, without idle zeros.

    That is a millionth of what any machine resolves, yet not for show: a half arc's centre is
    read back from its ends, and moves by the root of their rounding.
    """
    text = f"{value:.12f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
