"""Which sheets a photo shows, whatever the job says: by ids, layout and tone of the print."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.marker_search import FoundMarkers, find_markers
from snugline.trace.camera.projection import mapped
from snugline.trace.camera.sheet_recognition import FEWEST, Fit, fits
from snugline.trace.image.linear_light import linear_table
from snugline.trace.image.photo_file import Photo
from snugline.trace.sheet.builtin_sheets import DICTIONARY, IDS_PER_SHEET
from snugline.trace.sheet.frame_description import AnyFrame, Frame

Floats = NDArray[np.float64]

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
    best: dict[int, SheetInSight] = {}
    for fit in fits(find_markers(photo.rgb, DICTIONARY)):
        block = int(fit.frame.ids[0]) // IDS_PER_SHEET
        if block not in best:
            dark = _window_dark(photo, fit)
            name = fit.frame.name + ("-dark" if dark else "")
            best[block] = SheetInSight(name, dark, fit.markers)
    return tuple(best[block] for block in sorted(best, key=lambda b: (-best[b].markers, b)))


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
        if np.isin(found[frame.dictionary].ids, frame.ids).sum() >= FEWEST:
            seen.append(number)
    return tuple(seen)


def _window_dark(photo: Photo, fit: Fit) -> bool | None:
    """Whether the window is printed dark, by the light just inside its border and outside."""
    low, high = fit.frame.window.min(axis=0), fit.frame.window.max(axis=0)
    # The strip outside the window is white but for the bars and a few words.
    inside = _light(photo, mapped(fit.to_photo, _ring(low + _INSIDE_MM, high - _INSIDE_MM)))
    outside = _light(
        photo, mapped(fit.to_photo, _ring(low - _INSIDE_MM / 2, high + _INSIDE_MM / 2))
    )
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
