"""A frame as a PDF at 1:1, to be printed at actual size."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
from fpdf import FPDF
from fpdf.prefs import ViewerPreferences
from numpy.typing import NDArray

from snugline.trace.sheet.frame_description import Bar, Frame
from snugline.trace.sheet.marker_shape import dark_fields, marker_frame

PT_PER_MM = 72 / 25.4
LINE = 0.25  # mm, width of a bar's lines; readings go from centre to centre
MARK = 2.0  # mm by which an end mark projects to both sides
FONT_PT = 7.5
_BASELINES = (4.6, 1.5)  # mm from the window, of the two rows of words in the strip
_SAME_BYTES = datetime(2000, 1, 1, tzinfo=UTC)  # a date of printing would change every file


def sheet_pdf(description: dict[str, Any]) -> bytes:
    """A frame's description as a vector PDF of its paper's size.

    Fields, bars and words are black on nothing; a dark window is one black rectangle.

    Raises
    ------
    InputError : the description is not that of a frame of markers.
    """
    frame = marker_frame(description)
    # Points as the unit: in others fpdf scales by a factor that it rounds to 16 ppm.
    width, height = (float(side) * PT_PER_MM for side in frame.sheet)
    pdf = FPDF(unit="pt")
    pdf.set_creation_date(_SAME_BYTES)
    pdf.set_title(f"Calibration frame {frame.name}")
    pdf.viewer_preferences = ViewerPreferences(print_scaling="None")
    pdf.set_margin(0)
    pdf.set_auto_page_break(False)
    pdf.add_page(
        format=(width, height)
    )  # with a box of its own: not all readers look for the default
    pen = _Pen(pdf, height)

    for fields in dark_fields(frame):
        for rings in fields:
            pen.fill(rings)
    if frame.window_dark:
        pen.fill([frame.window])
    for bar in frame.bars.values():
        for line in bar_lines(bar):
            pen.line(line)
    _write_words(pen, frame)
    return bytes(pdf.output())


def bar_lines(bar: Bar) -> NDArray[np.float64]:
    """(3, 2, 2) mm: the bar, and the marks across its two ends."""
    along = (bar.ends[1] - bar.ends[0]) / np.linalg.norm(bar.ends[1] - bar.ends[0])
    across = MARK * np.array([-along[1], along[0]])
    return np.array([bar.ends, *([end - across, end + across] for end in bar.ends)])


class _Pen:
    """Draws in mm from the sheet's lower left corner."""

    def __init__(self, pdf: FPDF, height_pt: float) -> None:
        self.pdf = pdf
        self.height_pt = height_pt

    def _place(self, point: Sequence[float] | NDArray[np.float64]) -> tuple[float, float]:
        return point[0] * PT_PER_MM, self.height_pt - point[1] * PT_PER_MM

    def fill(self, rings: Sequence[NDArray[np.float64]]) -> None:
        with self.pdf.new_path() as path:
            path.style.fill_color = "#000000"
            path.style.stroke_color = None
            path.style.intersection_rule = "evenodd"
            for ring in rings:
                path.move_to(*self._place(ring[0]))
                for point in ring[1:]:
                    path.line_to(*self._place(point))
                path.close()

    def line(self, ends: NDArray[np.float64]) -> None:
        self.pdf.set_line_width(LINE * PT_PER_MM)
        self.pdf.line(*self._place(ends[0]), *self._place(ends[1]))

    def write(
        self, point: tuple[float, float], text: str, turn: float = 0, bold: bool = False
    ) -> float:
        """Words from a point on, turned counter-clockwise by degrees; returns their length."""
        self.pdf.set_font("helvetica", "B" if bold else "", FONT_PT)
        x, y = self._place(point)
        with self.pdf.rotation(turn, x, y):
            self.pdf.text(x, y, text)
        return float(self.pdf.get_string_width(text)) / PT_PER_MM


def _write_words(pen: _Pen, frame: Frame) -> None:
    """In the strip between markers and window: what it is, how to print, measure and use it."""
    left, _ = frame.window.min(axis=0)
    right, top = frame.window.max(axis=0)
    upper, lower = _BASELINES
    title = f"{frame.name}, markers {frame.ids.min()} to {frame.ids.max()}"
    length = pen.write((left, top + upper), title, bold=True)
    pen.write(
        (left + length + 4, top + upper),
        "Print at actual size (100 %), no fit to page. Tape the sheet down on a flat board.",
    )
    pen.write(
        (left, top + lower),
        "Measure both bars with a caliper, from centre to centre of their end marks, "
        "and enter the readings in the job.",
    )
    # Turned clockwise: the first row lies farther from the window, as above it.
    pen.write(
        (right + upper, top),
        "Lay the end or corner of the part inside the window, at least 5 mm from its edges. The",
        turn=-90,
    )
    pen.write(
        (right + lower, top),
        "rest may cover markers on one side only; keep all others uncovered and evenly lit.",
        turn=-90,
    )
    for axis, bar in frame.bars.items():
        x, y = bar.ends.mean(axis=0)
        beside = (x, y + lower) if axis == "x" else (x + lower, y)
        pen.write(beside, f"bar {axis}: {bar.nominal:g} mm", turn=0 if axis == "x" else -90)
