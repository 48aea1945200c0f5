"""How a drawing is laid on paper at 1:1: one page, or tiles that overlap."""

import math
from dataclasses import dataclass

from snugline.errors import InputError
from snugline.fit.drawing.drawing import Drawing
from snugline.fit.drawing.paper import paper_size
from snugline.fit.geometry.outline import Point

MARGIN = 10.0  # mm, blank on all sides; common printers leave 5 mm unprinted (common practice)
BAR = 100.0  # mm, the ruler
_AIR = 2.0  # mm round the drawing
_LONGEST_PAGE = 5080.0  # mm: 14400 points, the limit of ISO 32000-1, annex C.2
_MOST_PAGES = 400


@dataclass(frozen=True)
class Page:
    """One page. Drawing coordinates are the drawing's, mm, y up.

    Attributes
    ----------
    column, row : of the tile, from the left and from the bottom, counted from 1.
    origin : drawing coordinates of the lower left corner of the part that the page shows.
    """

    column: int
    row: int
    origin: Point


@dataclass(frozen=True)
class Tiling:
    """Pages of one size that together show a drawing.

    Attributes
    ----------
    paper : (width, height) of a page, mm.
    shown : (width, height) of the part of the drawing that a page shows, mm.
    overlap : by how much neighbours show the same, mm; 0 for a single page.
    columns, rows : of tiles.
    pages : row by row from the bottom left.
    crosses : drawing coordinates of the alignment crosses, each shown by two pages or more.
    """

    paper: tuple[float, float]
    shown: tuple[float, float]
    overlap: float
    columns: int
    rows: int
    pages: tuple[Page, ...]
    crosses: tuple[Point, ...]


def tiling(drawing: Drawing, paper: str | None, foot: float, overlap: float = 10.0) -> Tiling:
    """Lay a drawing on pages.

    Parameters
    ----------
    paper : its name; None for one page as large as the drawing needs.
    foot : mm, height kept free under the drawing for ruler and texts.
    overlap : mm, that neighbouring tiles share.

    Raises
    ------
    InputError : an unknown paper, or a drawing beyond the largest page or number of pages.
    """
    low_x, low_y, high_x, high_y = drawing.bounds
    low = low_x - _AIR, low_y - _AIR
    size = high_x + _AIR - low[0], high_y + _AIR - low[1]
    if paper is None:
        # A page is a whole number of millimetres, which the file's two decimals of a point hold.
        width = float(math.ceil(max(size[0], BAR + 5.0) + 2 * MARGIN))
        height = float(math.ceil(size[1] + 2 * MARGIN + foot))
        if max(width, height) > _LONGEST_PAGE:
            raise InputError(
                f"a page of {width:.0f} by {height:.0f} mm is larger than PDF allows",
                f"drawing {drawing.title!r}",
                "name a paper, to have it tiled",
            )
        return _tiled((width, height), foot, low, size, 0.0)
    upright = paper_size(paper)
    return min(
        (_tiled(p, foot, low, size, overlap) for p in (upright, upright[::-1])),
        key=lambda t: len(t.pages),
    )


def _tiled(
    paper: tuple[float, float], foot: float, low: Point, size: tuple[float, float], overlap: float
) -> Tiling:
    shown = paper[0] - 2 * MARGIN, paper[1] - 2 * MARGIN - foot
    fits = all(part <= room + 1e-9 for part, room in zip(size, shown, strict=True))
    if not fits and min(shown) < 2 * overlap + 20:
        raise InputError(
            f"paper of {paper[0]:g} by {paper[1]:g} mm leaves no room for tiles",
            "paper",
            "choose a larger paper or fewer layers",
        )
    counts = [
        1 if part <= room + 1e-9 else math.ceil((part - overlap) / (room - overlap) - 1e-9)
        for part, room in zip(size, shown, strict=True)
    ]
    columns, rows = counts
    if columns * rows > _MOST_PAGES:
        raise InputError(
            f"{columns * rows} pages are too many to join", "paper", "choose a larger paper"
        )
    # What the tiles show beyond the drawing is shared evenly between both sides.
    spans = [n * (room - overlap) + overlap for n, room in zip(counts, shown, strict=True)]
    left, bottom = (a - (span - part) / 2 for a, span, part in zip(low, spans, size, strict=True))
    step_x, step_y = shown[0] - overlap, shown[1] - overlap
    pages = tuple(
        Page(c + 1, r + 1, (left + c * step_x, bottom + r * step_y))
        for r in range(rows)
        for c in range(columns)
    )
    quarters = (0.25, 0.75)
    seams_x = [left + c * step_x + overlap / 2 for c in range(1, columns)]
    seams_y = [bottom + r * step_y + overlap / 2 for r in range(1, rows)]
    along_x = [left + c * step_x + q * shown[0] for c in range(columns) for q in quarters]
    along_y = [bottom + r * step_y + q * shown[1] for r in range(rows) for q in quarters]
    crosses = [(x, y) for x in seams_x for y in along_y] + [
        (x, y) for y in seams_y for x in along_x
    ]
    single = columns * rows == 1
    return Tiling(paper, shown, 0.0 if single else overlap, columns, rows, pages, tuple(crosses))
