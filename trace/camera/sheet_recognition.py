"""Which built-in sheet a photo shows, whatever was described: by ids and layout of its markers."""

from collections.abc import Iterator, Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.marker_search import FoundMarkers
from snugline.trace.camera.projection import homography
from snugline.trace.sheet.builtin_sheets import DICTIONARY, PAPERS, SHEETS, builtin_name
from snugline.trace.sheet.frame_description import Frame, read_frame

Floats = NDArray[np.float64]

# Of a sheet's markers this many must be seen, most of them where a plane puts them: off by less
# than this share of their side, which neither lens nor bent paper moves half of them by.
_FEWEST, _OFF = 4, 0.2


def recognised(found: FoundMarkers, dictionary: str, described: Sequence[str] = ()) -> str | None:
    """The name of the built-in sheet that fits best, its window's tone aside; None where none does.

    Parameters
    ----------
    described : names that are left out, since they were tried.
    """
    if dictionary != DICTIONARY:
        return None
    plain = {name.removesuffix("-dark") for name in described}
    fits = {f.name: _misfit(found, f) for f in _sheets() if f.name not in plain}
    name = min(fits, key=lambda key: fits[key])
    return name if fits[name] < _OFF else None


@cache
def _sheets() -> tuple[Frame, ...]:
    return tuple(_built_in())


def _built_in() -> Iterator[Frame]:
    for paper in PAPERS:
        for sheet in range(1, SHEETS + 1):
            frame = read_frame(builtin_name(paper, sheet))
            assert isinstance(frame, Frame)
            yield frame


def _misfit(found: FoundMarkers, frame: Frame) -> float:
    """Median distance of the markers' corners from their places, over the markers' side."""
    here = np.isin(found.ids, frame.ids)
    if here.sum() < _FEWEST or here.sum() < 0.5 * len(found.ids):
        return np.inf
    places = {int(i): k for k, i in enumerate(frame.ids)}
    order = [places[int(i)] for i in found.ids[here]]
    design, seen = frame.corners[order].reshape(-1, 2), found.corners[here].reshape(-1, 2)
    matrix = homography(seen, design)
    expected = np.column_stack([seen, np.ones(len(seen))]) @ matrix.T
    off = np.linalg.norm(expected[:, :2] / expected[:, 2:] - design, axis=1)
    side = float(np.linalg.norm(design[1] - design[0]))
    return float(np.median(off)) / side
