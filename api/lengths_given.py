"""Lengths and angles at the front door: millimetres and degrees as numbers, or text with a unit."""

import math

from snugline.lengths import parse_angle, parse_length

LengthGiven = str | float


def mm_of(given: LengthGiven, name: str) -> float:
    """Millimetres of a number, or of text such as `7 3/16 in`.

    Raises
    ------
    InputError : text without a number and unit; it names the argument.

    Examples
    --------
    >>> mm_of("1/4 in", "cutter"), mm_of(6, "cutter")
    (6.35, 6.0)
    """
    return parse_length(given, name) if isinstance(given, str) else float(given)


def radians_of(given: str | float, name: str) -> float:
    """Radians of a number of degrees, or of text such as `0.5 deg`.

    Raises
    ------
    InputError : text without a number and unit; it names the argument.

    Examples
    --------
    >>> round(radians_of("0.5 deg", "draft") / radians_of(0.5, "draft"), 9)
    1.0
    """
    return parse_angle(given, name) if isinstance(given, str) else math.radians(given)
