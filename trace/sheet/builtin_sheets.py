"""The built-in frames: a border of markers round a clear window, laid out by one rule.

As many markers as fit form a border, centred on the paper; inside them a strip of paper
for the scale bars and a few words, then the window. Names read `border-PAPER[-SHEET][-dark]`.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from snugline.errors import InputError
from snugline.lengths import MM_PER_INCH

DICTIONARY = "DICT_APRILTAG_36h11"  # 587 markers of 8 x 8 modules, which differ by 11 bits or more
SHEETS = 5  # sheets of one paper that can be used together, each with ids of its own
IDS_PER_SHEET = 100

# Printers leave up to 6 mm blank, and a marker needs a white module, 2 mm, round it.
LEAST_MARGIN = 8.0
STRIP = 7.0  # beyond the white that a marker has towards its neighbours
BAR_INSET = 6.0  # from the window to the scale bars: in the middle of the strip, nearly
BAR_LENGTHS = (200.0, 150.0, 120.0, 100.0)  # what a shop caliper spans
BAR_SPARE = 20.0  # what the window is at least longer than its bar


@dataclass(frozen=True)
class Paper:
    """A paper, lying on its long side, and the markers that suit it; mm."""

    width: float
    height: float
    marker: float
    pitch: float
    first_id: int


# The large papers start at 100: their first sheet and a small paper's second share ids.
PAPERS = {
    "a4": Paper(297, 210, 14, 20, 0),  # ISO 216
    "a3": Paper(420, 297, 16, 23, 100),  # ISO 216
    "letter": Paper(11 * MM_PER_INCH, 8.5 * MM_PER_INCH, 14, 20, 0),  # ASME Y14.1, size A
    "tabloid": Paper(17 * MM_PER_INCH, 11 * MM_PER_INCH, 16, 23, 100),  # ASME Y14.1, size B
}

_NAME = re.compile(r"border-(?P<paper>[a-z0-9]+)(?:-(?P<sheet>\d+))?(?P<dark>-dark)?")


def builtin_name(paper: str, sheet: int = 1, dark: bool = False) -> str:
    """The name of a built-in frame; sheet 1 and the white window are not named.

    Raises
    ------
    InputError : no such paper or sheet.
    """
    if paper not in PAPERS:
        raise InputError(f"the paper {paper!r} is unknown", "frame", f"use {_either(PAPERS)}")
    if not 1 <= sheet <= SHEETS:
        raise InputError(
            f"there is no sheet {sheet}", "frame", f"use one from 1 to {SHEETS}, each once"
        )
    return f"border-{paper}" + (f"-{sheet}" if sheet > 1 else "") + ("-dark" if dark else "")


def parsed_name(name: str) -> tuple[str, int, bool] | None:
    """Paper, sheet number and dark window of a built-in frame's name; None for any other name.

    >>> parsed_name("border-a4-2-dark")
    ('a4', 2, True)
    """
    match = _NAME.fullmatch(name)
    if match is None or match["paper"] not in PAPERS:
        return None
    return match["paper"], int(match["sheet"] or 1), match["dark"] is not None


def builtin_description(name: str) -> dict[str, Any]:
    """The description of a built-in frame, in the form of the file contract.

    Raises
    ------
    InputError : no built-in frame has this name.
    """
    parsed = parsed_name(name)
    if parsed is None:
        raise InputError(
            f"no built-in frame is called {name!r}",
            "frame",
            f"use {_either('border-' + paper for paper in PAPERS)}, with -2 to -{SHEETS} for "
            "another sheet and -dark for a dark window, or the path of a description (.json)",
        )
    paper, sheet, dark = parsed
    return _layout(builtin_name(paper, sheet, dark), PAPERS[paper], sheet, dark)


def _layout(name: str, paper: Paper, sheet: int, dark: bool) -> dict[str, Any]:
    left, columns = _row(paper.width, paper)
    bottom, rows = _row(paper.height, paper)
    right, top = paper.width - left, paper.height - bottom

    # Reading order: from the top left, row by row.
    places = [
        (left + column * paper.pitch, top - row * paper.pitch)
        for row in range(rows)
        for column in range(columns)
        if row in (0, rows - 1) or column in (0, columns - 1)
    ]
    first_id = paper.first_id + (sheet - 1) * IDS_PER_SHEET
    inset = paper.pitch + STRIP  # the marker and the white that it has towards its neighbours
    x0, y0, x1, y1 = left + inset, bottom + inset, right - inset, top - inset
    bar_x, bar_y = _bar_length(x1 - x0), _bar_length(y1 - y0)
    xm, ym = paper.width / 2, paper.height / 2
    record: dict[str, Any] = {"name": name, "units": "mm"}
    if dark:
        record["window_printed"] = "dark"
    return record | {
        "axes": "x right, y up, origin at the sheet's lower left corner; mm",
        "corner_order": "as OpenCV's ArUco detector returns them: the printed marker's own top "
        "left first, then clockwise seen from above",
        "sheet": _point(paper.width, paper.height),
        "dictionary": DICTIONARY,
        "markers": [
            {"id": first_id + i, "corners": _square(x, y, paper.marker)}
            for i, (x, y) in enumerate(places)
        ],
        "window": [_point(x0, y0), _point(x1, y0), _point(x1, y1), _point(x0, y1)],
        "scale_bars": {
            "x": {
                "ends": [
                    _point(xm - bar_x / 2, y0 - BAR_INSET),
                    _point(xm + bar_x / 2, y0 - BAR_INSET),
                ],
                "nominal": bar_x,
            },
            "y": {
                "ends": [
                    _point(x0 - BAR_INSET, ym - bar_y / 2),
                    _point(x0 - BAR_INSET, ym + bar_y / 2),
                ],
                "nominal": bar_y,
            },
        },
    }


def _row(length: float, paper: Paper) -> tuple[float, int]:
    """The margin and the number of markers along one side."""
    steps = math.floor((length - 2 * LEAST_MARGIN - paper.marker) / paper.pitch)
    return (length - steps * paper.pitch - paper.marker) / 2, steps + 1


def _bar_length(window: float) -> float:
    return next(length for length in BAR_LENGTHS if length <= window - BAR_SPARE)


def _square(left: float, top: float, side: float) -> list[list[float]]:
    """Corners clockwise from the top left."""
    right, bottom = left + side, top - side
    return [_point(left, top), _point(right, top), _point(right, bottom), _point(left, bottom)]


def _point(x: float, y: float) -> list[float]:
    # Paper in inches ends on 0.05 mm and its middle on 0.025; what lies beyond is float noise.
    return [round(x, 6), round(y, 6)]


def _either(names: Iterable[str]) -> str:
    *most, last = names
    return ", ".join(most) + " or " + last
