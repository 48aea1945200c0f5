"""How to read the test pieces: one page on which rung to use and what to enter."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from snugline.fit.drawing.paper import paper_size
from snugline.lengths import format_length
from snugline.pocket.fits import VERDICTS, fit_of

if TYPE_CHECKING:
    from snugline.pocket.plan import CutPlan

_MARGIN = 15.0  # mm
_POINTS = 10.0


def coupon_guide(plan: "CutPlan", paper: str = "a4") -> bytes:
    """The page as a PDF; equal plans give equal bytes."""
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format=paper_size(paper))
    pdf.set_creation_date(datetime(2000, 1, 1, tzinfo=UTC))  # equal plans, equal bytes
    pdf.set_title(f"Reading the coupons ({plan.unit})")
    pdf.set_margins(_MARGIN, _MARGIN)
    pdf.set_auto_page_break(True, _MARGIN)
    pdf.add_page()
    names = {"mm": "millimetres", "in": "inches"}
    pdf.set_font("helvetica", "B", _POINTS + 4)
    pdf.cell(0, 9, "Reading the coupons", new_x="LMARGIN", new_y="NEXT")
    pdf.set_font("helvetica", "", _POINTS)
    pdf.cell(0, 6, f"All lengths in {names[plan.unit]}.", new_x="LMARGIN", new_y="NEXT")
    for title, lines in _sections(plan):
        pdf.ln(2)
        pdf.set_font("helvetica", "B", _POINTS + 1)
        pdf.cell(0, 6, title, new_x="LMARGIN", new_y="NEXT")
        pdf.set_font("helvetica", "", _POINTS)
        for line in lines:
            text = line.encode("latin-1", "replace").decode("latin-1")
            pdf.multi_cell(0, 5, text, align="L", new_x="LMARGIN", new_y="NEXT")
    return bytes(pdf.output())


def _sections(plan: "CutPlan") -> list[tuple[str, list[str]]]:
    chosen = plan.choices.coupons
    tests = chosen.tests if chosen is not None else ()
    sections = [
        (
            "Cut them as you will cut the pocket",
            [
                "The same wood, laid with its grain the same way; the same cutter, feed and "
                "passes, climb or conventional; the same allowance for finishing. The layer names "
                "give the depths: gauges are cut through.",
            ],
        )
    ]
    for axis in plan.suggestion.axes:
        if axis.direction not in tests:
            continue
        rungs = (chosen.ladder if chosen is not None else ()) or axis.ladder
        sections.append((f"The {axis.direction} gauge", _gauge_lines(plan, axis.direction, rungs)))
    if "corner" in tests:
        sections.append(("The ends with corners", _corner_lines()))
    sections.append(("What to enter", _entry_lines(plan)))
    return sections


def _gauge_lines(plan: "CutPlan", direction: str, rungs: tuple[float, ...]) -> list[str]:
    fit = fit_of(plan.choices.kind)
    ladder = ", ".join(format_length(rung, plan.unit) for rung in rungs)
    low, high = (format_length(gap, plan.unit) for gap in (fit.low, fit.high))
    turn = "its end down" if direction == "width" else "its long side down"
    lines = [
        f"Steps: {ladder}, each engraved beside its step.",
        f"Stand the part on edge, {turn}, and let it into the slot, the narrowest step first. Go "
        "on until it enters without force. That step is the rung at which the gap is just zero.",
        f"Clearance to choose along the {direction}: the rung, plus the gap you want "
        f"({low} to {high} is common practice for a {plan.choices.kind} part), plus what the "
        "season takes (shop sheet).",
        "It enters the first step already: there is more room than expected; cut a gauge with "
        "smaller rungs. It enters none: measure the part again before anything else.",
    ]
    if not fit.rigid:
        lines.append("A soft part enters before the gap is zero: take the step that it fills.")
    if plan.choices.kind == "brittle":
        lines.append("Never press a brittle part: lower it by its own weight only.")
    return lines


def _corner_lines() -> list[str]:
    return [
        "Lay the part's left end flat into the piece, the rest over its open side, and push it to "
        "the wall. Start with the rung that the width gauge gave.",
        "It touches the sides but not the wall: the corners bind. Relieve the corners, use a "
        "thinner cutter, or measure the corner radius again. A gap at the corners alone does no "
        "harm.",
    ]


def _entry_lines(plan: "CutPlan") -> list[str]:
    machine = plan.choices.machine or "NAME OF THE MACHINE"
    words = ", ".join(VERDICTS)
    return [
        f"Write each piece into the shop's records with its clearance and a word ({words}). Best, "
        "measure the slot with a caliper, too, and enter measured minus drawn, per side:",
        f'   snugline fitted job.toml --clearance 0.20mm --verdict tight --machine "{machine}" '
        "--opening-error -0.03mm",
        "or on the page, after the cut. From three cuts on the records tell the width error of the "
        "cut, and the next job's suggestion uses it.",
    ]
