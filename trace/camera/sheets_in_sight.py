"""Which sheets a photo shows, whatever the job says: by ids, layout and tone of the print."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.marker_search import FoundMarkers, find_markers
from snugline.trace.camera.projection import homography
from snugline.trace.image.linear_light import linear_table
from snugline.trace.image.photo_file import Photo
from snugline.trace.sheet.builtin_sheets import (
    DICTIONARY,
    IDS_PER_SHEET,
    PAPERS,
    SHEETS,
    builtin_name,
)
from snugline.trace.sheet.frame_description import AnyFrame, Frame, read_frame

Floats = NDArray[np.float64]

# Of a sheet's markers at least this many are needed, most of them where a plane puts them: off by
# less than this share of their side, which neither lens nor bent paper moves half of them by.
_FEWEST, _OFF = 4, 0.2
# The window's tone is seen along its border. A part covers two of four sides at most, so more than
# this share of the border, or less than the rest, is the sheet's own.
_MOST = 0.65
_INSIDE_MM, _STEP_MM = 4.0, 5.0
_DARK = 0.4  # of the paper's light; printed black reflects 5 to 10 %, a shadow takes half


@dataclass(frozen=True)
class SheetInSight:
    """A built-in sheet in a photo.

    Attributes
    ----------
    name : with the tone of its window where `dark` is known, else that of the white one.
    dark : whether its window is printed dark; None where the part covers too much of its border.
    markers : how many were found.
    """

    name: str
    dark: bool | None
    markers: int

    def as_json(self) -> dict[str, Any]:
        return {"name": self.name, "dark": self.dark, "markers": self.markers}


def sheets_in_sight(photo: Photo) -> tuple[SheetInSight, ...]:
    """The built-in sheets in a photo, the one with the most markers first."""
    found = find_markers(photo.rgb, DICTIONARY)
    seen = []
    for block in np.unique(found.ids // IDS_PER_SHEET).tolist():
        frames = [f for f in _sheets() if int(f.ids[0]) // IDS_PER_SHEET == block]
        fits = [(_fit(found, frame), frame) for frame in frames]
        known = [(fit, frame) for fit, frame in fits if fit is not None and fit[0] < _OFF]
        if known:
            (_, matrix, count), frame = min(known, key=lambda pair: pair[0][0])
            dark = _window_dark(photo, frame, matrix)
            seen.append(SheetInSight(frame.name + ("-dark" if dark else ""), dark, count))
    return tuple(sorted(seen, key=lambda one: -one.markers))


def described_in_sight(photo: Photo, frames: Sequence[AnyFrame]) -> tuple[int, ...]:
    """Which of the described frames have enough markers in a photo to be measured on."""
    found: dict[str, FoundMarkers] = {}
    seen = []
    for number, frame in enumerate(frames):
        if not isinstance(frame, Frame):
            seen.append(number)
            continue
        if frame.dictionary not in found:
            found[frame.dictionary] = find_markers(photo.rgb, frame.dictionary)
        if np.isin(found[frame.dictionary].ids, frame.ids).sum() >= _FEWEST:
            seen.append(number)
    return tuple(seen)


@cache
def _sheets() -> tuple[Frame, ...]:
    return tuple(_with_markers(builtin_name(p, s) for p in PAPERS for s in range(1, SHEETS + 1)))


def _with_markers(names: Iterable[str]) -> list[Frame]:
    frames = [read_frame(name) for name in names]
    return [frame for frame in frames if isinstance(frame, Frame)]


def _fit(found: FoundMarkers, frame: Frame) -> tuple[float, Floats, int] | None:
    """How far corners lie from their places, over a marker's side; sheet to photo; the number."""
    here = np.flatnonzero(np.isin(found.ids, frame.ids))
    if len(here) < _FEWEST:
        return None
    places = {int(i): k for k, i in enumerate(frame.ids)}
    order = [places[int(i)] for i in found.ids[here]]
    design, seen = frame.corners[order].reshape(-1, 2), found.corners[here].reshape(-1, 2)
    off = np.linalg.norm(_mapped(homography(seen, design), seen) - design, axis=1)
    side = float(np.linalg.norm(design[1] - design[0]))
    return float(np.median(off)) / side, homography(design, seen), len(here)


def _mapped(matrix: Floats, points: Floats) -> Floats:
    image = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    mapped: Floats = image[:, :2] / image[:, 2:]
    return mapped


def _window_dark(photo: Photo, frame: Frame, matrix: Floats) -> bool | None:
    """Whether the window is printed dark, by the light just inside its border and outside."""
    low, high = frame.window.min(axis=0), frame.window.max(axis=0)
    # The strip outside the window is white but for the bars and a few words.
    inside = _light(photo, _mapped(matrix, _ring(low + _INSIDE_MM, high - _INSIDE_MM)))
    outside = _light(photo, _mapped(matrix, _ring(low - _INSIDE_MM / 2, high + _INSIDE_MM / 2)))
    if len(inside) < 20 or len(outside) < 20:
        return None
    share = float(np.mean(inside < _DARK * np.median(outside)))
    if share > _MOST:
        return True
    return False if share < 1 - _MOST else None


def _ring(low: Floats, high: Floats) -> Floats:
    """(N, 2) points along a rectangle's border."""
    x, y = (np.arange(a, b, _STEP_MM) for a, b in zip(low, high, strict=True))
    sides = [
        np.column_stack([x, np.full(len(x), low[1])]),
        np.column_stack([x, np.full(len(x), high[1])]),
        np.column_stack([np.full(len(y), low[0]), y]),
        np.column_stack([np.full(len(y), high[0]), y]),
    ]
    return np.concatenate(sides)


def _light(photo: Photo, points: Floats) -> Floats:
    """Linear luminance at those of the points that lie in the photo."""
    columns, rows = np.round(points).astype(int).T
    there = (columns >= 0) & (rows >= 0) & (columns < photo.width) & (rows < photo.height)
    rgb = photo.rgb[rows[there], columns[there]]
    light: Floats = linear_table()[rgb].mean(axis=-1)
    return light
