"""A reading that a part without parallel sides meets only in an odd direction.

The extent of such a part changes with the direction, so that a wrong reading may be met, too, by an
outline that is turned far enough. But a hand aims across the part: it keeps near the narrowest
rectangle, where caliper jaws settle. The farther off the direction is, the likelier is a slip.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.outline import Outline
from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.readings.reading_remarks import CONTRADICTED, remedy
from snugline.fit.readings.slips import Expected, Slip, likely_slips, prior_of
from snugline.notice import Notice
from snugline.sentence import Sentence, angle, length

Array = NDArray[np.float64]

# How far off the narrowest rectangle a hand takes length and width, standard deviation. Common
# practice, no source.
AIM = math.radians(2.5)
FARTHEST = math.radians(12.0)  # as `part_axes` searches
# Of readings, the share that holds a slip. Common practice, no source.
SLIPS = 0.05
# A slip this many times as likely as the value as read is asked for: to measure again costs a
# minute, a wrong width a board.
ODDS = 0.1
EXTENT_U_MM = 0.5  # of an outline that the reading has bent


def odd_directions(
    outline: Outline, readings: Sequence[Reading], of: Sequence[str]
) -> tuple[Notice, ...]:
    """Readings that fit in an odd direction only, and that a slip explains without.

    Parameters
    ----------
    outline : in part axes.
    of : the dimensions that the photos give; one that places the photos fits in any direction.
    """
    return tuple(_odd(outline, readings, of))


def _odd(outline: Outline, readings: Sequence[Reading], of: Sequence[str]) -> Iterator[Notice]:
    corners = outline.inscribed(0.05)
    turns = np.linspace(-FARTHEST, FARTHEST, 481)
    across = _extents(corners, turns + math.pi / 2)
    narrowest = float(turns[int(np.argmin(across))])
    turns = narrowest + np.linspace(-FARTHEST, FARTHEST, 481)
    for what in of:
        taken = [reading for reading in readings if reading.what == what]
        if len(taken) != 1 or len(taken[0].values_mm) != 1:
            continue  # what was read twice counts
        extents = _extents(corners, turns + (math.pi / 2 if what == "width" else 0.0))
        reading = taken[0]
        slips = _likelier(reading, extents, turns - narrowest)
        if slips:
            missed = ((extents - reading.value) / EXTENT_U_MM) ** 2
            met = float(turns[int(np.argmin(missed + ((turns - narrowest) / AIM) ** 2))])
            yield Notice(
                CONTRADICTED,
                Sentence(
                    f"The {what} of {{}} can hardly be right: the part measures that only {{}} off "
                    f"the direction of its {what}.",
                    length(reading.value),
                    angle(math.degrees(abs(met - narrowest)), 0),
                ),
                remedy(what, reading.value, slips),
                "retake",
                reading.where,
            )


def _extents(corners: Array, directions: Array) -> Array:
    across = corners @ np.stack([np.cos(directions), np.sin(directions)])
    return np.asarray(np.ptp(across, axis=0))


def _likelier(reading: Reading, extents: Array, off: Array) -> list[Slip]:
    """Slips that explain a reading better than a hand that aimed badly.

    Parameters
    ----------
    extents, off : (N,) mm in directions that are this many radians off the narrowest rectangle's.
    """
    aimed = np.exp(-0.5 * (off / AIM) ** 2)
    aimed /= aimed.sum()

    def density(value: float) -> float:
        own = uncertainty(replace(reading, values_mm=(value,))).u
        u = math.hypot(own, EXTENT_U_MM)
        return float(aimed @ np.exp(-0.5 * ((extents - value) / u) ** 2)) / u

    mean = float(aimed @ extents)
    spread = math.sqrt(float(aimed @ (extents - mean) ** 2))
    slips = [
        # A slip by a factor spreads what was meant over as many times more or less.
        replace(slip, weight=prior_of(slip) * density(slip.meant) * slip.meant / reading.value)
        for slip in likely_slips(reading, Expected(mean, math.hypot(spread, EXTENT_U_MM)))
    ]
    as_read = density(reading.value)
    found = [slip for slip in slips if SLIPS * slip.weight > ODDS * as_read]
    return sorted(found, key=lambda slip: -slip.weight)
