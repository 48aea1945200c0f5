"""What was probably meant by bar readings that are not those of the frame named."""

from collections.abc import Callable

from snugline.lengths import MM_PER_INCH
from snugline.trace.sheet.builtin_sheets import (
    PAPERS,
    builtin_description,
    builtin_name,
    parsed_name,
)

_Fits = Callable[[float, float], bool]
_Pair = tuple[float, float]


def likely_slip(name: str, nominal: _Pair, read: _Pair, fits: _Fits) -> str:
    """What to do about it, in words; empty where nothing explains the readings.

    Parameters
    ----------
    name : of the frame.
    nominal, read : the bars' lengths along x and y, mm.
    fits : whether a print can have these two scales.
    """
    if fits(read[1] / nominal[0], read[0] / nominal[1]):
        return "bar x and bar y have changed places: enter them the other way round"
    if fits(read[0] * MM_PER_INCH / nominal[0], read[1] * MM_PER_INCH / nominal[1]):
        return 'give the unit that they were read in: they look like inches, as in "7.84 in"'
    if parsed_name(name) is None:
        return ""
    others = [
        builtin_name(paper)
        for paper in PAPERS
        for x, y in [_bars(builtin_name(paper))]
        if (x, y) != nominal and fits(read[0] / x, read[1] / y)
    ]
    if not others:
        return ""
    return f"name the sheet that was printed: these are the bars of {' or '.join(others)}"


def _bars(name: str) -> _Pair:
    bars = builtin_description(name)["scale_bars"]
    return bars["x"]["nominal"], bars["y"]["nominal"]
