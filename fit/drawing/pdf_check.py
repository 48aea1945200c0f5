"""The PDF that was written, checked before it is handed over.

Read are the page boxes and, in the uncompressed page contents, the closed paths with the area that
their lines and curves enclose.
"""

import re
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from snugline.counting import counted
from snugline.errors import FileError
from snugline.fit.drawing.bezier import CURVE_TOL
from snugline.fit.drawing.drawing import Drawing
from snugline.fit.drawing.tiling import Tiling

PAGE_TOL = 0.01  # mm
_ROUNDING = 5e-5  # mm; half of the fourth decimal of a point, with room
_MM_PER_POINT = 25.4 / 72

_STEP = re.compile(r"((?:-?[\d.]+ )+)(m|l|c)\b|\b(h|S)\b")


def verify_pdf(drawing: Drawing, tiles: Tiling, content: bytes) -> None:
    """Compare the written file with what was drawn.

    Raises
    ------
    FileError : the first difference; the file must not be used.
    """
    for difference in differences(drawing, tiles, content.decode("latin-1")):
        raise FileError(
            f"the PDF file as written differs from the drawing: {difference}",
            f"drawing {drawing.title!r}",
            "do not lay the part on it; report this with the job file",
        )


def differences(drawing: Drawing, tiles: Tiling, text: str) -> Iterator[str]:
    """How the file differs from the drawing, one sentence for each difference."""
    for box in re.findall(r"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]\n/Parent", text):
        page = [float(v) * _MM_PER_POINT for v in box]
        if any(abs(a - b) > PAGE_TOL for a, b in zip(page, tiles.paper, strict=True)):
            yield f"a page is {page[0]:.3f} by {page[1]:.3f} mm"
    outlines = [outline for layer in drawing.layers for outline in layer.outlines]
    sheets = [s for s in re.findall(r"stream\n(.*?)endstream", text, re.DOTALL) if " re W n" in s]
    if len(sheets) != len(tiles.pages):
        yield f"it has {counted(len(sheets), 'page')}, not {len(tiles.pages)}"
    for number, sheet in enumerate(sheets, start=1):
        areas = [_area(path) for path in _closed_paths(sheet)]
        if len(areas) != len(outlines):
            yield f"page {number} has {len(areas)} closed paths, not {len(outlines)}"
            continue
        for outline, area in zip(outlines, areas, strict=True):
            allowed = outline.perimeter * (CURVE_TOL + _ROUNDING)
            if abs(area - outline.area) > allowed:
                yield f"page {number} has an area of {area:.6g}, not {outline.area:.6g} mm²"


def _closed_paths(sheet: str) -> Iterator[list[NDArray[np.float64]]]:
    """Closed paths as pieces, each of 2 or 4 points in mm, y up."""
    pieces: list[NDArray[np.float64]] = []
    at = start = np.zeros(2)
    for numbers, step, other in _STEP.findall(sheet):
        if other == "h":
            if not np.array_equal(at, start):
                pieces.append(np.array([at, start]))
            yield pieces
        elif step:
            points = np.array(numbers.split(), dtype=float).reshape(-1, 2) * _MM_PER_POINT
            points[:, 1] *= -1
            if step == "m":
                pieces, start = [], points[0]
            else:
                pieces.append(np.vstack((at, points)))
            at = points[-1]


def _area(path: list[NDArray[np.float64]]) -> float:
    """The area enclosed by lines and cubic curves, by Green's theorem."""
    total = 0.0
    for piece in path:
        if len(piece) == 2:
            total += _cross(piece[0], piece[1]) / 2
        else:
            a, b, c, d = piece
            outer = 6 * _cross(a, b) + 3 * _cross(a, c) + _cross(a, d)
            total += (outer + 3 * _cross(b, c) + 3 * _cross(b, d) + 6 * _cross(c, d)) / 20
    return total


def _cross(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    return float(a[0] * b[1] - a[1] * b[0])
