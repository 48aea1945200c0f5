"""From an outline and a shop's choices to the cut plan: layers with depths, checks and cautions.

The plan ends at outlines with depths; how the cutter moves is the CAM program's affair.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from snugline.errors import InputError, PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.outline import Outline
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.fit.readings.thickness import Thickness
from snugline.lengths import format_length
from snugline.notebook_svg import notebook_svg
from snugline.notice import Notice
from snugline.place import OfKey, OfPart
from snugline.pocket.board import Group, laid_out
from snugline.pocket.board_plan import boards
from snugline.pocket.choices import PocketChoices
from snugline.pocket.choices_record import unit_notices
from snugline.pocket.clearance import Clearance
from snugline.pocket.coupon import Coupon
from snugline.pocket.coupon_sheets import (
    coupon_layers,
    coupon_notices,
    coupon_sheets,
    coupons,
    slips,
)
from snugline.pocket.cutting_time import TimeRow, time_table
from snugline.pocket.depth import Depth
from snugline.pocket.fits import fit_of
from snugline.pocket.merge import united
from snugline.pocket.opening import Given, Opening, bays, given_of, placed, plan_opening
from snugline.pocket.relief import relieved
from snugline.pocket.season import wood_notices
from snugline.pocket.shared_board import GuestPocket, Known
from snugline.pocket.sheet import PlanLayer, Sheet
from snugline.pocket.suggestion import Suggestion, suggest
from snugline.pocket.template import template_notices, template_outline
from snugline.pocket.width_error import WidthError
from snugline.sentence import Sentence, length

_GAP = 2.0  # mm between pieces beyond the cutter's diameter


@dataclass(frozen=True)
class CutPlan:
    """Everything that is to be cut for one part.

    Attributes
    ----------
    part : its name.
    unit : that files are written in.
    outline, uncertainty, thickness : the part's.
    choices : the shop's.
    depth : of the pocket.
    openings : one for each clearance.
    suggestion : clearances to start with, offered only.
    times : minutes for several step-downs; empty without feeds.
    sheets : all drawings.
    notices, cautions : remarks on this plan, and what holds for every cut.
    guests : pockets of further parts in the same board.
    """

    part: str
    unit: Unit
    outline: Outline
    uncertainty: PartUncertainty
    thickness: Thickness
    choices: PocketChoices
    depth: Depth
    openings: tuple[Opening, ...]
    suggestion: Suggestion
    times: tuple[TimeRow, ...]
    sheets: tuple[Sheet, ...]
    notices: tuple[Notice, ...]
    cautions: tuple[str, ...]
    guests: tuple[GuestPocket, ...] = ()

    def _repr_svg_(self) -> str:
        layers = self.openings[0].sheet.layers
        loops = [outline for layer in layers for outline in layer.outlines]
        return notebook_svg((loop.inscribed(0.01).tolist(), True) for loop in loops)

    def as_json(self) -> dict[str, Any]:
        """The form under `cut_plan` in the result contract; lengths in mm."""
        return {
            "layers": [
                layer for sheet in self.sheets if not sheet.blocked for layer in sheet.as_json()
            ],
            "pockets": [opening.as_json() for opening in self.openings],
            "guests": [guest.as_json() for guest in self.guests],
            "depth": {"pocket": self.depth.pocket, "above": self.depth.above,
                      "u95": self.depth.u95, "floor": self.depth.floor},
            "gaps": [
                {"clearance": gap.clearance, "along": gap.direction, "u95": gap.u95}
                for opening in self.openings for gap in opening.gaps
            ],
            "seasons": [
                {"pocket": number, "clearance": opening.clearance.along(gap.direction),
                 "season": gap.season,
                 "along": gap.direction, "opening": gap.opening, "land": gap.land,
                 "part": gap.part, "gap": gap.gap, "u95": gap.u95}
                for number, opening in enumerate(self.openings) for gap in opening.seasons
            ],
            "suggestion": self.suggestion.as_json(self.unit),
            "times": [
                {"step_down": row.step_down, "passes": row.passes, "minutes": row.minutes}
                for row in self.times
            ],
            "cautions": list(self.cautions),
        }  # fmt: skip


def make_plan(
    outline: Outline,
    uncertainty: PartUncertainty,
    thickness: Thickness,
    choices: PocketChoices,
    *,
    part: str = "part",
    unit: Unit = "mm",
    width_error: WidthError | None = None,
    readings_in: frozenset[str] = frozenset(),
    outlines: Mapping[str, Known] | None = None,
) -> CutPlan:
    """The cut plan of a part.

    Parameters
    ----------
    outline : the part's plan outline, counter-clockwise, centred, mm.
    uncertainty : U95 of its dimensions and of its edge.
    thickness : of the part.
    choices : the shop's; one pocket is planned for each clearance.
    unit : that files are written in.
    width_error : of the cut, from the shop's records of the machine.
    readings_in : units that hand readings were written in (`mm`, `in`).
    outlines : what the files hold that a shared board names, by their names.

    Raises
    ------
    PlanError, InputError : nothing can be drawn, or clearances read the same in the job's unit.
    """
    _told_apart(choices.clearance, unit)
    given = given_of(outline, uncertainty, thickness, choices, width_error, unit)
    depth = given.depth
    openings, refused = _openings(given)
    part_u95 = {direction: uncertainty.per_side(direction) for direction in ("length", "width")}
    offered = suggest(choices.kind, part_u95, width_error, openings[0].seasons)
    notices = [*refused, *_placed_notices(openings, unit)]
    notices += unit_notices(choices.written, readings_in, unit)
    notices += wood_notices(choices.movers, choices.glued, fit_of(choices.kind).rigid)
    sheets, remarks = _further_sheets(given, openings, offered)
    guests, shared, about_board = boards(openings, given, outlines or {})
    times, about_time = _times(openings[0], depth, choices)
    return CutPlan(
        part,
        unit,
        outline,
        uncertainty,
        thickness,
        choices,
        depth,
        openings,
        offered,
        times,
        (*(opening.sheet for opening in openings), *sheets, *shared),
        tuple(dict.fromkeys([*notices, *remarks, *about_board, *about_time])),
        _cautions(choices),
        guests,
    )


def _further_sheets(
    given: Given, openings: Sequence[Opening], offered: Suggestion
) -> tuple[list[Sheet], list[Notice]]:
    """Coupons, templates and layouts, and what is said of them."""
    choices, depth, unit = given.choices, given.depth, given.unit
    notices = [*coupon_notices(depth, choices)]
    pieces = coupons(given.part, given.thickness, choices, offered, unit)
    sheets = coupon_sheets(
        pieces, slips(given.part, choices, unit), depth, choices, _between(choices), unit
    )
    for opening in openings:
        sheet, remarks = _template_sheet(opening, given)
        sheets += sheet
        notices += remarks
    laid_out_here = choices.stock.length is not None and choices.stock.width is not None
    if laid_out_here and choices.shared is None:
        laid, remarks = _layouts(openings, pieces, depth, choices, unit)
        sheets += laid
        notices += remarks
    return sheets, notices


def _openings(given: Given) -> tuple[tuple[Opening, ...], list[Notice]]:
    """A pocket for each clearance, and a remark on each that cannot even be drawn.

    Raises
    ------
    PlanError : none can be drawn; the first one's error.
    """
    made, refused = [], []
    first: PlanError | None = None
    for clearance in given.choices.clearance:
        try:
            made.append(plan_opening(given, clearance))
        except PlanError as error:
            first = first or error
            refused.append(
                Notice(
                    "pocket-cannot-be-drawn",
                    f"{error.where}: {error.what}",
                    error.mend,
                    "cannot be cut",
                    f"clearance {clearance.named(given.unit)}",
                )
            )
    if not made and first is not None:
        raise first
    return tuple(made), refused


def _told_apart(clearances: Sequence[Clearance], unit: Unit) -> None:
    """Each clearance names its files, in the job's unit and decimals."""
    names = [clearance.named(unit) for clearance in clearances]
    for name in names:
        if names.count(name) > 1:
            raise InputError(
                f"two clearances both read {name}",
                "pocket.clearance",
                "let them differ by 0.001 in or more" if unit == "in" else "let them differ",
            )


def _placed_notices(openings: Sequence[Opening], unit: Unit) -> list[Notice]:
    """Each pocket's remarks with its clearance; what is the same for all of them only once."""
    notices = []
    for opening in openings:
        for notice in opening.notices:
            if all(notice in other.notices for other in openings):
                notices.append(notice)
            else:
                at = placed(opening, unit)
                name = f"{at}, {notice.about}" if notice.about else at
                notices.append(replace(notice, about=OfPart(name)))
    return notices


def _template_sheet(opening: Opening, given: Given) -> tuple[list[Sheet], list[Notice]]:
    """The template for one pocket, its corners relieved for the hand router's own cutter."""
    choices, unit, follower = given.choices, given.unit, given.choices.template
    if follower is None:
        return [], []
    corners = opening.plain
    if choices.relief is not None:
        allowance = choices.relief_allowance
        corners = relieved(corners, follower.cutter, choices.relief, allowance).outline
    pocket = united(corners, bays(opening.plain, choices, follower.cutter), "notch")
    notices = template_notices(pocket, given.part, follower, choices.squeezed)
    blocked = opening.blocked or any(n.severity == "cannot be cut" for n in notices)
    size, cutter = (format_length(d, unit) for d in (follower.diameter, follower.cutter))
    name = f"{follower.name} {size} cutter {cutter}"
    layer = PlanLayer(name, None, (template_outline(pocket, follower),))
    return [Sheet("template", opening.clearance, (layer,), blocked)], list(notices)


def _layouts(
    openings: Sequence[Opening],
    pieces: tuple[Coupon, ...],
    depth: Depth,
    choices: PocketChoices,
    unit: Unit,
) -> tuple[list[Sheet], list[Notice]]:
    """A layout for each pocket; one that the stock has no room for is left out with a remark."""
    sheets, notices = [], []
    for opening in openings:
        try:
            sheets.append(_layout(opening, pieces, depth, choices, unit))
        except PlanError as error:
            about = OfKey(("pocket", "stock"))
            notices.append(
                Notice("layout-does-not-fit", error.what, error.mend, "cannot be cut", about)
            )
    return sheets, notices


def _layout(
    opening: Opening,
    pieces: tuple[Coupon, ...],
    depth: Depth,
    choices: PocketChoices,
    unit: Unit,
) -> Sheet:
    """The copies of one pocket, and its coupons, if any, on the stock."""
    across = choices.board is not None and choices.board.grain == "width"
    groups = [
        Group(f"piece {k + 1}", opening.sheet.layers, across) for k in range(choices.stock.copies)
    ]
    if choices.stock.coupons:
        groups += [
            Group(f"coupon {c.name}", tuple(coupon_layers(c, depth, choices, unit)), across)
            for c in pieces
        ]
    assert choices.stock.length is not None
    assert choices.stock.width is not None
    size = (choices.stock.length, choices.stock.width)
    layers = laid_out(groups, size, choices.stock.margin, _between(choices), choices.stock.turn)
    return Sheet("layout", opening.clearance, layers, opening.blocked)


def _times(
    opening: Opening, depth: Depth, choices: PocketChoices
) -> tuple[tuple[TimeRow, ...], list[Notice]]:
    if choices.feeds is None:
        return (), []
    cut, remarks = opening.outline, []
    if choices.cutter and choices.feeds.step_over > choices.cutter.diameter:
        remarks.append(
            Notice(
                "step-over-wider-than-cutter",
                Sentence(
                    "a step-over of {} leaves ridges: the cutter is {} wide",
                    length(choices.feeds.step_over),
                    length(choices.cutter.diameter),
                ),
                Sentence("use about {}", length(0.4 * choices.cutter.diameter)),
                "check",
                OfKey(("pocket", "feeds", "step_over")),
            )
        )
    return time_table(cut.area, cut.perimeter, depth.pocket, choices.feeds), remarks


def _between(choices: PocketChoices) -> float:
    return (choices.cutter.diameter if choices.cutter else 6.0) + _GAP


def _cautions(choices: PocketChoices) -> tuple[str, ...]:
    said = [
        "Cut a test in scrap before the good board.",
        "Keep clamps and screws outside the cutter's way; hold small pieces so that none comes "
        "loose.",
        "Wear eye, ear and dust protection.",
    ]
    if choices.kind == "brittle":
        said.append("Never press or knock a brittle part in; its edges may be sharp.")
    if choices.food:
        said.append("Where the part meets food or water, use a finish that is fit for it.")
    said.append(
        "The machine manufacturer's manual and local regulations take precedence over this sheet."
    )
    return tuple(said)
