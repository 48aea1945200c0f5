"""Drawings as PDF at 1:1, to lay the part on the print: one page, or tiles to join.

Each page carries a 100 mm bar to verify the print by, the unit, and which line pattern is which
layer. PDF has no arcs: they are cubic curves within `bezier.CURVE_TOL`.
"""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from snugline.fit.drawing.bezier import outline_steps
from snugline.fit.drawing.drawing import PATTERNS, STROKE, STROKE_WIDTH, Drawing, Layer, Pattern
from snugline.fit.drawing.pdf_check import verify_pdf
from snugline.fit.drawing.tiling import BAR, MARGIN, Page, Tiling, tiling
from snugline.fit.geometry.outline import Point

if TYPE_CHECKING:
    from fpdf import FPDF
    from fpdf.drawing import PaintedPath

POINTS_PER_MM = 72 / 25.4

_TEXT = 3.0  # mm, height of the texts in the foot
_LINE = 5.0  # mm, from line to line
_BAR_AT = 8.0  # mm, from the lower margin up to the bar
_CROSS = 3.0  # mm, half an alignment cross
_AS_IT_IS = False  # no copy is made of what is drawn; the library's word for it has changed


def write_pdf(drawing: Drawing, paper: str | None = None, overlap: float = 10.0) -> bytes:
    """The drawing as a PDF at true size; equal drawings give equal bytes.

    Parameters
    ----------
    paper : `a5` to `a0`, `letter`, `tabloid`, upright or across as fits better; a larger drawing
        is tiled over several sheets. None makes one page as large as the drawing.
    overlap : mm, that neighbouring tiles share; crosses in it show how to join them.

    Raises
    ------
    InputError : nothing is drawn, an unknown paper, or a drawing too large for it.
    FileError : the file, read back, does not hold what was drawn.
    """
    from fpdf import FPDF
    from fpdf.prefs import ViewerPreferences

    tiles = tiling(drawing, paper, _foot(drawing), overlap)
    width, height = (length * POINTS_PER_MM for length in tiles.paper)
    # Only a page unlike the default gets a box of its own, and some readers see no inherited one.
    pdf = FPDF(unit="pt", format=(width, height + 1e-6))
    # A fixed date: equal drawings give equal bytes.
    pdf.set_creation_date(datetime(2000, 1, 1, tzinfo=UTC))
    pdf.set_compression(False)
    pdf.set_auto_page_break(False)
    pdf.set_title(f"{drawing.title} ({drawing.unit})")
    pdf.set_subject(drawing.unit_remark)
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    ink = _ink(drawing, tiles.crosses)
    for page in tiles.pages:
        pdf.add_page(format=(width, height))
        _Sheet(pdf, drawing, ink, tiles, page).draw()
    content = bytes(pdf.output())
    verify_pdf(drawing, tiles, content)
    return content


def _foot(drawing: Drawing) -> float:
    """Height kept for the bar, two lines of text and a line for each layer, mm."""
    return _BAR_AT + 6.0 + 2 * _LINE + _LINE * len(drawing.layers)


def _ink(drawing: Drawing, crosses: Sequence[Point]) -> list["PaintedPath"]:
    """All lines but the foot's, in points from the drawing's origin, y down; alike on all pages."""
    from fpdf.drawing import PaintedPath

    paths = []
    for layer in drawing.layers:
        for outline in layer.outlines:
            path = PaintedPath(*_down(outline.segments[0].start))
            for step in outline_steps(outline):
                if isinstance(step[0], tuple):
                    (ax, ay), (bx, by), (x, y) = map(_down, step)
                    path.curve_to(ax, ay, bx, by, x, y)
                else:
                    path.line_to(*_down(step))
            path.close()
            paths.append(_stroked(path, layer.pattern))
        if layer.strokes:
            lines = [[_down(p) for p in stroke] for stroke in layer.strokes]
            paths.append(_stroked(_open_path(lines), layer.pattern))
    if crosses:
        arms = [
            [_down((x - dx, y - dy)), _down((x + dx, y + dy))]
            for x, y in crosses
            for dx, dy in ((_CROSS, 0.0), (0.0, _CROSS))
        ]
        paths.append(_stroked(_open_path(arms), "solid"))
    return paths


def _down(point: Point) -> Point:
    return point[0] * POINTS_PER_MM, -point[1] * POINTS_PER_MM


def _open_path(lines: Sequence[Sequence[Point]]) -> "PaintedPath":
    from fpdf.drawing import PaintedPath

    path = PaintedPath()
    path.style.auto_close = False
    for line in lines:
        path.move_to(*line[0])
        for place in line[1:]:
            path.line_to(*place)
    return path


def _stroked(path: "PaintedPath", pattern: Pattern, width: float = STROKE_WIDTH) -> "PaintedPath":
    style = path.style
    style.fill_color = None
    style.auto_close = False
    style.stroke_color = STROKE
    style.stroke_width = width * POINTS_PER_MM
    style.stroke_dash_pattern = [v * POINTS_PER_MM for v in PATTERNS[pattern]] or None
    return path


class _Sheet:
    """One page being drawn; lengths in millimetres from its lower left corner, y up."""

    def __init__(
        self, pdf: "FPDF", drawing: Drawing, ink: list["PaintedPath"], tiles: Tiling, page: Page
    ) -> None:
        self.pdf = pdf
        self.drawing = drawing
        self.ink = ink
        self.tiles = tiles
        self.page = page
        self.foot = _foot(drawing)

    def draw(self) -> None:
        from fpdf.drawing import GraphicsContext, Transform  # type: ignore[attr-defined]

        window = MARGIN, MARGIN, *self.tiles.shown
        with self.pdf.rect_clip(*(v * POINTS_PER_MM for v in window)):
            shown = GraphicsContext()
            shown.transform = Transform.translation(*self._points(self._at((0.0, 0.0))))
            for path in self.ink:
                shown.add_item(path, _AS_IT_IS)
            with self.pdf.drawing_context() as context:
                context.add_item(shown, _AS_IT_IS)
            for layer in self.drawing.layers:
                for note in layer.notes:
                    self._text(note.text, self._at(note.at), note.height)
        with self.pdf.drawing_context() as context:
            for path in self._foot_lines():
                context.add_item(path, _AS_IT_IS)
        self._foot_texts()

    def _at(self, point: Point) -> Point:
        """A place on the page of a place in the drawing."""
        x, y = self.page.origin
        return point[0] - x + MARGIN, point[1] - y + MARGIN + self.foot

    def _points(self, place: Point) -> Point:
        return place[0] * POINTS_PER_MM, (self.tiles.paper[1] - place[1]) * POINTS_PER_MM

    def _foot_lines(self) -> Iterator["PaintedPath"]:
        """The ruler, a sample of each layer's lines, and round a tile its edge."""

        def line(*places: Point) -> list[Point]:
            return [self._points(place) for place in places]

        base = MARGIN + _BAR_AT
        ticks = [(MARGIN + 10.0 * k, 4.0 if k % 5 == 0 else 2.5) for k in range(11)]
        bar = line((MARGIN, base), (MARGIN + BAR, base))
        yield _stroked(
            _open_path([bar, *(line((x, base), (x, base + size)) for x, size in ticks)]), "solid"
        )
        for layer, y in self._rows():
            sample = line((MARGIN, y + 1.0), (MARGIN + 30.0, y + 1.0))
            yield _stroked(_open_path([sample]), layer.pattern)
        if len(self.tiles.pages) > 1:
            width, height = self.tiles.shown
            right, top = MARGIN + width, self.tiles.paper[1] - MARGIN
            corners = [(MARGIN, top - height), (right, top - height), (right, top), (MARGIN, top)]
            yield _stroked(_open_path([line(*corners, corners[0])]), "dotted", 0.1)

    def _rows(self) -> Iterator[tuple[Layer, float]]:
        """Each layer with the height of its line in the foot, from the bottom up."""
        for place, layer in enumerate(reversed(self.drawing.layers)):
            yield layer, MARGIN + _BAR_AT + 7.0 + place * _LINE

    def _foot_texts(self) -> None:
        text = "This bar is 100 mm long. If it measures otherwise, print again at actual size."
        self._text(text, (MARGIN, MARGIN + 2.0), 2.2)
        for layer, y in self._rows():
            self._text(layer.name, (MARGIN + 33.0, y))
        tiles, page = self.tiles, self.page
        sheet = "Scale 1:1."
        if len(tiles.pages) > 1:
            sheet += (
                f" Sheet {tiles.pages.index(page) + 1} of {len(tiles.pages)}:"
                f" column {page.column} of {tiles.columns}, row {page.row} of {tiles.rows}"
                " from below. Join at the crosses."
            )
        y = MARGIN + _BAR_AT + 7.0 + _LINE * len(self.drawing.layers)
        self._text(sheet, (MARGIN, y), 2.2)
        self._text(f"{self.drawing.title}. {self.drawing.unit_remark}", (MARGIN, y + _LINE - 1.0))

    def _text(self, text: str, place: Point, height: float = _TEXT) -> None:
        # A capital of Helvetica is 0.72 of the font's size high.
        self.pdf.set_font("helvetica", size=height / 0.72 * POINTS_PER_MM)
        self.pdf.text(*self._points(place), _latin(text))


def _latin(text: str) -> str:
    """Text in the letters of PDF's own fonts; dashes and quotes made plain, others shown as ?."""
    plain = text.translate(str.maketrans("–—‘’“”″′", "--''\"\"\"'"))
    return plain.encode("latin-1", "replace").decode("latin-1")
