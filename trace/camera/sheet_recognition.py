"""Which built-in sheets a photo shows, whatever was described: by ids and layout of its markers."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.marker_search import FoundMarkers
from snugline.trace.camera.projection import homography, mapped
from snugline.trace.sheet.builtin_sheets import DICTIONARY, PAPERS, SHEETS, builtin_name
from snugline.trace.sheet.frame_description import Frame, read_frame

Floats = NDArray[np.float64]

# Of a sheet's markers this many must be seen, most of them where a plane puts them: off by less
# than this share of their side, which neither lens nor bent paper moves half of them by.
FEWEST, _OFF = 4, 0.2


@dataclass(frozen=True)
class Fit:
    """A built-in sheet laid on the markers found.

    Attributes
    ----------
    off : median distance of the markers' corners from their places, over the markers' side.
    to_photo : (3, 3) homography of the sheet's mm to pixels.
    markers : how many of its markers were found.
    """

    frame: Frame
    off: float
    to_photo: Floats
    markers: int


def fits(found: FoundMarkers) -> list[Fit]:
    """The built-in sheets, white, that the markers may be those of, the best one first."""
    laid = [fit for frame in _sheets() if (fit := _laid(found, frame)) and fit.off < _OFF]
    return sorted(laid, key=lambda fit: fit.off)


def recognised(found: FoundMarkers, dictionary: str, described: Sequence[str] = ()) -> str | None:
    """The name of the built-in sheet that fits best, its window's tone aside; None where none does.

    Parameters
    ----------
    described : names that are left out, since they were tried.
    """
    if dictionary != DICTIONARY:
        return None
    tried = {name.removesuffix("-dark") for name in described}
    for fit in fits(found):
        if fit.frame.name not in tried and fit.markers >= 0.5 * len(found.ids):
            return fit.frame.name
    return None


@cache
def _sheets() -> tuple[Frame, ...]:
    frames = [read_frame(builtin_name(p, s)) for p in PAPERS for s in range(1, SHEETS + 1)]
    return tuple(frame for frame in frames if isinstance(frame, Frame))


def _laid(found: FoundMarkers, frame: Frame) -> Fit | None:
    here = np.flatnonzero(np.isin(found.ids, frame.ids))
    if len(here) < FEWEST:
        return None
    places = {int(i): k for k, i in enumerate(frame.ids)}
    order = [places[int(i)] for i in found.ids[here]]
    design, seen = frame.corners[order].reshape(-1, 2), found.corners[here].reshape(-1, 2)
    off = np.linalg.norm(mapped(homography(seen, design), seen) - design, axis=1)
    side = float(np.linalg.norm(design[1] - design[0]))
    return Fit(frame, float(np.median(off)) / side, homography(design, seen), len(here))
