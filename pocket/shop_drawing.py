"""The shop sheet's drawings: the pocket from above with its dimensions, and in section."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.outline import Arc, Outline
from snugline.lengths import format_length
from snugline.pocket.opening import Opening
from snugline.pocket.plan import CutPlan

if TYPE_CHECKING:
    from fpdf import FPDF

_DASH = {"solid": (0.0, 0.0), "dashed": (2.0, 1.0), "dotted": (0.4, 0.8)}
_OTHER_DASH = (3.0, 0.8)
_ROOM = 11.0  # mm beside a drawing, for a dimension with its text
_TEXT = 8.0  # points
_ARROW = 1.8  # mm
_UNKNOWN_FLOOR = 6.0  # mm of wood drawn under the seat where the board's thickness is not known


@dataclass(frozen=True)
class Box:
    """A place on the paper, mm from its upper left."""

    x: float
    y: float
    width: float
    height: float


def plan_height(opening: Opening, width: float, least: float, most: float) -> float:
    """The height that the view from above needs in a box of that width, within limits, mm."""
    low_x, low_y, high_x, high_y = _bounds(opening)
    wanted = (width - _ROOM) * (high_y - low_y) / (high_x - low_x) + _ROOM
    return min(most, max(least, wanted))


def _bounds(opening: Opening) -> tuple[float, float, float, float]:
    bounds = [outline.bounds for layer in opening.sheet.layers for outline in layer.outlines]
    low_x, low_y = (min(b[i] for b in bounds) for i in (0, 1))
    high_x, high_y = (max(b[i] for b in bounds) for i in (2, 3))
    return low_x, low_y, high_x, high_y


def draw_plan(pdf: "FPDF", plan: CutPlan, opening: Opening, box: Box) -> None:
    """The pocket with the part in it, as large as the box allows, with length, width and radius."""
    layers = opening.sheet.layers
    low_x, low_y, high_x, high_y = _bounds(opening)
    scale = min((box.width - _ROOM) / (high_x - low_x), (box.height - _ROOM) / (high_y - low_y))
    left = box.x + _ROOM + (box.width - _ROOM - scale * (high_x - low_x)) / 2

    def at(x: float, y: float) -> tuple[float, float]:
        return left + scale * (x - low_x), box.y + scale * (high_y - y)

    def line(outline: Outline, pattern: str, width: float) -> None:
        pdf.set_line_width(width)
        dash, gap = _DASH.get(pattern, _OTHER_DASH)
        pdf.set_dash_pattern(dash, gap)
        pdf.polygon([at(*point) for point in outline.inscribed(0.02 / scale)])
        pdf.set_dash_pattern()

    line(plan.outline, "dotted", 0.15)
    for layer in layers:
        for outline in layer.outlines:
            line(outline, layer.pattern, 0.3)
    x0, y0, x1, y1 = opening.plain.bounds
    pdf.set_font("helvetica", "B", _TEXT)
    foot = at(0, low_y)[1] + 6
    _along(pdf, at(x0, y0), at(x1, y0), foot, format_length(x1 - x0, plan.unit))
    side = at(low_x, 0)[0] - 6
    _upright(pdf, at(x0, y1), at(x0, y0), side, format_length(y1 - y0, plan.unit))
    radius = _radius(opening.plain, plan.unit)
    if radius:
        pdf.text(*_inside(at(x0, y1), 6.0), radius)
    pdf.text(*_inside(at(x0, (y0 + y1) / 2), 6.0), f"part, {_gap(opening, plan.unit)}")


def draw_section(pdf: "FPDF", plan: CutPlan, opening: Opening, box: Box) -> None:
    """A long side's wall in section: depth, floor, seat and clearance; heights to one scale."""
    depth, unit, sanding = plan.depth, plan.unit, plan.choices.sanding
    floor = depth.floor if depth.floor is not None else _UNKNOWN_FLOOR
    top = sanding - depth.above  # of the part, below the board's face
    above = max(0.0, -top)
    scale = (box.height - 6) / (above + depth.pocket + floor)
    face = box.y + 6 + scale * above
    seat, bottom = face + scale * depth.pocket, face + scale * (depth.pocket + floor)
    wall, right = box.x + _ROOM + (box.width - _ROOM) * 0.4, box.x + box.width
    start = box.x + _ROOM
    gap = 1.2  # mm on paper: the clearance itself would not be seen
    pdf.set_line_width(0.3)
    pdf.set_fill_color(225)
    wood = [(start, face), (wall, face), (wall, seat), (right, seat), (right, bottom)]
    pdf.polygon([*wood, (start, bottom)], style="DF")
    pdf.set_line_width(0.2)
    pdf.rect(wall + gap, face + scale * top, right - wall - gap, seat - face - scale * top)
    if sanding:
        pdf.set_dash_pattern(1.5, 1)
        pdf.line(start, face + scale * sanding, wall, face + scale * sanding)
        pdf.set_dash_pattern()
    pdf.set_font("helvetica", "B", _TEXT)
    side = start - 4
    _upright(pdf, (start, face), (start, seat), side, format_length(depth.pocket, unit))
    if depth.floor is not None:
        _upright(pdf, (start, seat), (start, bottom), side, format_length(depth.floor, unit))
    pdf.text(wall + gap + 2, (face + scale * top + seat) / 2 + 1, "part")
    pdf.text(start + 2, bottom - 1.5, "wood")
    gap_words = f"{format_length(opening.clearance.width, unit)} at the long sides"
    pdf.text(min(wall - 8, right - pdf.get_string_width(gap_words)), box.y + 3.5, gap_words)


def _gap(opening: Opening, unit: Unit) -> str:
    return f"clearance {opening.clearance.named(unit)} per side"


def _inside(corner: tuple[float, float], by: float) -> tuple[float, float]:
    return corner[0] + by, corner[1] + by


def _radius(outline: Outline, unit: Unit) -> str:
    """The corners' radius where all share one."""
    radii = {round(s.radius, 2) for s in outline.segments if isinstance(s, Arc)}
    return f"R {format_length(radii.pop(), unit)}" if len(radii) == 1 else ""


def _along(
    pdf: "FPDF", a: tuple[float, float], b: tuple[float, float], y: float, text: str
) -> None:
    """A dimension below, with its extension lines."""
    _extended(pdf, (a, (a[0], y + 1)), (b, (b[0], y + 1)))
    pdf.line(a[0], y, b[0], y)
    _arrows(pdf, ((a[0], y), (1, 0)), ((b[0], y), (-1, 0)))
    pdf.text((a[0] + b[0] - pdf.get_string_width(text)) / 2, y + 3.6, text)


def _upright(
    pdf: "FPDF", a: tuple[float, float], b: tuple[float, float], x: float, text: str
) -> None:
    """A dimension at the left, its text read from the right."""
    _extended(pdf, (a, (x - 1, a[1])), (b, (x - 1, b[1])))
    pdf.line(x, a[1], x, b[1])
    _arrows(pdf, ((x, a[1]), (0, 1)), ((x, b[1]), (0, -1)))
    y = (a[1] + b[1] + pdf.get_string_width(text)) / 2
    with pdf.rotation(90, x - 1.2, y):
        pdf.text(x - 1.2, y, text)


def _extended(pdf: "FPDF", *lines: tuple[tuple[float, float], tuple[float, float]]) -> None:
    pdf.set_line_width(0.12)
    for (x0, y0), (x1, y1) in lines:
        pdf.line(x0, y0, x1, y1)
    pdf.set_line_width(0.15)


def _arrows(pdf: "FPDF", *tips: tuple[tuple[float, float], tuple[float, float]]) -> None:
    """Filled arrows; each has its tip and the direction from there along its line."""
    pdf.set_fill_color(0)
    for (x, y), (dx, dy) in tips:
        foot_x, foot_y = x + _ARROW * dx, y + _ARROW * dy
        wide_x, wide_y = -dy * _ARROW / 6, dx * _ARROW / 6
        points: Sequence[tuple[float, float]] = (
            (x, y),
            (foot_x + wide_x, foot_y + wide_y),
            (foot_x - wide_x, foot_y - wide_y),
        )
        pdf.polygon(points, style="F")
