"""The shop sheet: two pages to take to the machine, with room to write down the result."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from snugline.fit.drawing.drawing import Unit
from snugline.fit.drawing.paper import paper_size
from snugline.fit.geometry.outline import Arc, Outline
from snugline.lengths import format_length, inch_fraction
from snugline.notice import Notice
from snugline.pocket.clearance import Clearance
from snugline.pocket.cutter import largest_cutter
from snugline.pocket.fits import VERDICTS
from snugline.pocket.opening import Opening
from snugline.pocket.plan import CutPlan
from snugline.pocket.shop_drawing import Box, draw_plan, draw_section, plan_height
from snugline.pocket.suggestion import sum_in_words

if TYPE_CHECKING:
    from fpdf import FPDF

_MARGIN = 12.0  # mm
_SIZES = (9.0, 8.0, 7.0, 6.0, 5.0)  # points, the largest that fits its pages
_PICTURE = (50.0, 84.0)  # mm, least and greatest height of the drawings
_PLAN_SHARE = 0.7  # of the width for the view from above, the rest for the section
_PAGES = 2
_LINE = 0.46  # mm from line to line for each point of the letters

_CHECKS = (
    "CAM import unit set as above; length of the part checked in the CAM program",
    "1:1 print: bar measures what it states, outline matches the part",
    "Cutter's diameter measured, zero set on the face",
    "Coupons cut, the part tried in them, the rung written down",
    "Board clamped, clamps outside the cut",
)

Section = tuple[str, list[str]]


def shop_sheet(plan: CutPlan, readings: Sequence[str] = (), paper: str = "a4") -> bytes:
    """The sheet as a PDF of two pages; equal plans give equal bytes.

    The first has the drawing, the answer and what to check, the second what these rest on and room
    for the result.

    Parameters
    ----------
    readings : the hand readings, a line each, as printed on the sheet.
    paper : `a4` or `letter`.
    """
    size = paper_size(paper)
    for points in _SIZES:
        pdf = _pages(plan, readings, size, points)
        if pdf.page_no() == _PAGES or points == _SIZES[-1]:
            break
    return bytes(pdf.output())


def _pages(
    plan: CutPlan, readings: Sequence[str], size: tuple[float, float], points: float
) -> "FPDF":
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format=size)
    pdf.set_creation_date(datetime(2000, 1, 1, tzinfo=UTC))  # equal plans, equal bytes
    pdf.set_title(f"Shop sheet, {_plain(plan.part)} ({plan.unit})")
    pdf.set_margins(_MARGIN, _MARGIN)
    pdf.set_auto_page_break(True, _MARGIN)
    _new_page(pdf, plan, f"Shop sheet: {plan.part}", points)
    # One that is not to be cut is drawn only where all are like that.
    shown = next((o for o in plan.openings if not o.blocked), plan.openings[0])
    top, wide = pdf.get_y() + 2, size[0] - 2 * _MARGIN
    height = plan_height(shown, _PLAN_SHARE * wide, *_PICTURE)
    draw_plan(pdf, plan, shown, Box(_MARGIN, top, _PLAN_SHARE * wide, height))
    beside = Box(_MARGIN + (_PLAN_SHARE + 0.02) * wide, top, (0.98 - _PLAN_SHARE) * wide, height)
    draw_section(pdf, plan, shown, beside)
    pdf.set_y(top + height + 4)
    _write(pdf, _answer(plan), points)
    _write(pdf, _checks(plan), points)
    _new_page(pdf, plan, f"{plan.part}: what this rests on, and the result", points)
    _write(pdf, _statistics(plan, readings), points)
    _result_table(pdf, plan, points * _LINE * 1.6)
    return pdf


def _new_page(pdf: "FPDF", plan: CutPlan, title: str, points: float) -> None:
    """Both pages say what they are of, and in which unit."""
    pdf.add_page()
    line = points * _LINE
    pdf.set_font("helvetica", "B", points + 5)
    pdf.cell(0, line * 2, _plain(title), new_x="LMARGIN", new_y="NEXT")
    pdf.set_font("helvetica", "B", points + 1)
    names = {"mm": "millimetres", "in": "inches"}
    pdf.cell(0, line * 1.5, f"All lengths in {names[plan.unit]}.", new_x="LMARGIN", new_y="NEXT")


def _write(pdf: "FPDF", sections: Iterator[Section], points: float) -> None:
    line = points * _LINE
    for title, lines in sections:
        pdf.set_font("helvetica", "B", points)
        pdf.cell(0, line * 1.35, title, new_x="LMARGIN", new_y="NEXT")
        pdf.set_font("helvetica", "", points)
        for text in lines:
            pdf.multi_cell(0, line, _plain(text), align="L", new_x="LMARGIN", new_y="NEXT")


def _answer(plan: CutPlan) -> Iterator[Section]:
    """Whether it goes in, and the sizes."""
    yield "Will it go in?", [line for o in plan.openings for line in _verdict_lines(plan, o)]
    yield "Part", _part_lines(plan)
    yield "Pocket", list(_pocket_lines(plan))


def _checks(plan: CutPlan) -> Iterator[Section]:
    if plan.notices:
        graver = sorted(plan.notices, key=lambda n: -n.gravity)
        yield "Remarks", [_remark(n, plan.unit) for n in graver]
    yield "Before the cut", [f"[  ] {text}" for text in _CHECKS]
    yield "Cautions", [f"- {text}" for text in plan.cautions]


def _statistics(plan: CutPlan, readings: Sequence[str]) -> Iterator[Section]:
    if readings:
        yield "Readings", list(readings)
    yield "Clearances (per side)", [line for o in plan.openings for line in _gap_lines(plan, o)]
    yield (
        "Suggested start, per side; not applied",
        [
            f"along the {axis.direction} {sum_in_words(axis).in_unit(plan.unit)}"
            for axis in plan.suggestion.axes
        ],
    )
    if plan.times:
        yield (
            "Estimated time (the CAM program's figure takes precedence)",
            [
                "; ".join(
                    f"step-down {format_length(row.step_down, plan.unit)}: {row.passes} passes, "
                    f"{row.minutes:.0f} min"
                    for row in plan.times
                )
            ],
        )


def _remark(notice: Notice, unit: Unit) -> str:
    about = f"{notice.about}: " if notice.about else ""
    return f"- {about}{notice.text.in_unit(unit)}; {notice.mend.in_unit(unit)}"


def _part_lines(plan: CutPlan) -> list[str]:
    low_x, low_y, high_x, high_y = plan.outline.bounds
    u = plan.uncertainty

    def stated(name: str, mm: float, u95: float) -> str:
        trust = f" (U95 {format_length(u95, plan.unit)})" if u95 > 0 else ""
        return f"{name} {both(mm, plan.unit)}{trust}"

    thickness = plan.thickness
    lines = [
        stated("length", high_x - low_x, u.length),
        stated("width", high_y - low_y, u.width),
    ]
    radii = sorted({round(r, 3) for r in _corner_radii(plan.outline)})
    if len(radii) == 1:
        lines.append(stated("corner radius", radii[0], u.corner_radius))
    elif radii:
        low, high = (format_length(r, plan.unit) for r in (radii[0], radii[-1]))
        lines.append(f"radii {low} to {high}")
    spread = f", spread {format_length(thickness.spread, plan.unit)}" if thickness.spread else ""
    count = f"{thickness.readings} reading{'s' if thickness.readings > 1 else ''}"
    lines.append(f"{stated('thickness', thickness.value, thickness.u95)}, {count}{spread}")
    return ["; ".join(lines[:2]), "; ".join(lines[2:])]


def _corner_radii(outline: Outline) -> list[float]:
    return [s.radius for s in outline.segments if isinstance(s, Arc)]


def _pocket_lines(plan: CutPlan) -> Iterator[str]:
    unit, depth, choices = plan.unit, plan.depth, plan.choices
    way = "flush"
    if depth.above:
        side = "above" if depth.above > 0 else "below"
        way = f"{format_length(abs(depth.above), unit)} {side} the face"
    floor = f"; floor left {format_length(depth.floor, unit)}" if depth.floor is not None else ""
    sanding = f", after sanding off {format_length(choices.sanding, unit)}"
    yield (
        f"depth {both(depth.pocket, unit)}: the part sits {way}"
        f"{sanding if choices.sanding else ''} (U95 {format_length(depth.u95, unit)}){floor}"
    )
    first = plan.openings[0]
    if choices.cutter is not None:
        relief = ""
        if first.discs:
            radius = format_length(first.discs[0].radius, unit)
            more = format_length(choices.relief_allowance, unit)
            relief = f"; corners relieved by {choices.relief}, radius {radius}, {more} over the "
            relief += "cutter's"
        largest = largest_cutter(first.plain)
        clears = "square corners"
        if largest:
            clears = f"largest that reaches every corner: {format_length(largest, unit)}"
        yield f"cutter {format_length(choices.cutter.diameter, unit)} ({clears}){relief}"
    for layer in first.sheet.layers[1:]:
        yield f"also: {layer.name}"
    if first.land is not None:
        yield f"thinnest wall to the border {format_length(first.land, unit)}"


def _verdict_lines(plan: CutPlan, opening: Opening) -> Iterator[str]:
    """Each pocket's chance and state, in words and per cent."""
    found = opening.chance
    said = f"clearance {opening.clearance.named(plan.unit)}: {found.words} ({found.per_cent})"
    if opening.blocked:
        said += "; NOT TO BE CUT, no file is written"
    yield said


def _gap_lines(plan: CutPlan, opening: Opening) -> Iterator[str]:
    unit = plan.unit
    low_x, low_y, high_x, high_y = opening.plain.bounds
    for gap in opening.gaps:
        limits = f"{format_length(gap.least, unit)} to {format_length(gap.greatest, unit)}"
        seasons = "".join(
            f"; {s.season} season {format_length(s.gap, unit)} (U95 {format_length(s.u95, unit)})"
            for s in opening.seasons
            if s.direction == gap.direction
        )
        drawn = format_length(gap.clearance, unit)
        yield (f"{drawn} drawn; real gap along the {gap.direction} {limits} (95 %){seasons}")
    size = f"{both(high_x - low_x, unit)} x {both(high_y - low_y, unit)}"
    yield f"   pocket {size}, notches and reliefs not counted"


def both(mm: float, unit: Unit) -> str:
    """A length in the job's unit; inches with the nearest 64th after the decimals."""
    if unit == "mm":
        return format_length(mm, unit)
    return f"{format_length(mm, unit)} ({inch_fraction(mm)})"


def _result_table(pdf: "FPDF", plan: CutPlan, row: float) -> None:
    """Rows to write into: one for each clearance and one spare."""
    headings = ("clearance", *VERDICTS, "opening measured", "wood, cutter, date")
    shares = (1.7, 1.6, *[1.0] * (len(VERDICTS) - 1), 1.7, 2.5)
    widths = [share * (pdf.w - 2 * _MARGIN) / sum(shares) for share in shares]
    pdf.ln(row / 2)
    first = [_short(o.clearance, plan.unit) for o in plan.openings]
    for label in (None, *first, ""):
        cells = headings if label is None else (label, *[""] * (len(headings) - 1))
        for text, wide in zip(cells, widths, strict=True):
            pdf.cell(wide, row, text, border=1)
        pdf.ln(row)


def _short(clearance: Clearance, unit: Unit) -> str:
    """Along the length by along the width, where they differ."""
    if clearance.even:
        return clearance.named(unit)
    length = format_length(clearance.length, unit).removesuffix(f" {unit}")
    return f"{length} x {format_length(clearance.width, unit)}"


def _plain(text: str) -> str:
    """Text in the letters that every PDF reader has without a font file."""
    return text.encode("latin-1", "replace").decode("latin-1")
