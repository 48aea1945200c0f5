"""From an outline and a shop's choices to the cut plan: layers with depths, checks and cautions.

The plan ends at outlines with depths; how the cutter moves is the CAM program's affair.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from snugline.errors import InputError, PlanError
from snugline.fit.drawing.drawing import Drawing
from snugline.fit.geometry.outline import Outline
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.fit.readings.thickness import Thickness
from snugline.lengths import format_length
from snugline.notebook_svg import notebook_svg
from snugline.notice import Notice
from snugline.place import OfPart
from snugline.pocket.board import Group, laid_out
from snugline.pocket.choices import PocketChoices
from snugline.pocket.choices_record import unit_notices
from snugline.pocket.clearance import Suggestion, suggest
from snugline.pocket.coupon import Coupon, corner_coupon, nested, width_slip
from snugline.pocket.cutting_time import TimeRow, time_table
from snugline.pocket.depth import Depth, depth_notices, pocket_depth
from snugline.pocket.opening import Opening, plan_opening
from snugline.pocket.overcut import Overcut
from snugline.pocket.relief import relieved
from snugline.pocket.sheet import PlanLayer, Sheet, Unit, merged_layers
from snugline.pocket.template import template_notices, template_outline

_COUPON_DEPTH = 6.0  # mm at most, unless chosen: enough to feel the fit
_MARK_DEPTH = 0.3
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

    def _repr_svg_(self) -> str:
        layers = self.openings[0].sheet.layers
        loops = [outline for layer in layers for outline in layer.outlines]
        return notebook_svg((loop.inscribed(0.01).tolist(), True) for loop in loops)

    def as_json(self) -> dict[str, Any]:
        """The form that stands under `cut_plan` in the result contract; lengths in mm."""
        return {
            "layers": [layer for sheet in self.sheets for layer in sheet.as_json()],
            "depth": {"pocket": self.depth.pocket, "above": self.depth.above,
                      "u95": self.depth.u95, "floor": self.depth.floor},
            "gaps": [
                {"clearance": opening.clearance, "along": gap.direction, "u95": gap.u95}
                for opening in self.openings for gap in opening.gaps
            ],
            "seasons": [
                {"clearance": opening.clearance, "season": gap.season, "along": gap.direction,
                 "opening": gap.opening, "land": gap.land, "part": gap.part, "gap": gap.gap}
                for opening in self.openings for gap in opening.seasons
            ],
            "suggestion": {"low": self.suggestion.low, "high": self.suggestion.high,
                           "ladder": list(self.suggestion.ladder),
                           "basis": self.suggestion.basis},
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
    overcut: Overcut | None = None,
    readings_in: frozenset[str] = frozenset(),
) -> CutPlan:
    """The cut plan of a part.

    Parameters
    ----------
    outline : the part's plan outline, counter-clockwise, centred, mm.
    uncertainty : U95 of its dimensions and of its edge.
    thickness : of the part.
    choices : the shop's; one pocket is planned for each clearance.
    unit : that files are written in.
    overcut : what the shop's records know of the machine.
    readings_in : units that hand readings were written in (`mm`, `in`).

    Raises
    ------
    PlanError : a plan that cannot be cut: a depth through the board, a cutter wider than the
        pocket, stock that is too small, and the like.
    InputError : clearances that read the same in the job's unit.
    """
    _told_apart(choices.clearance, unit)
    depth = _depth(thickness, choices)
    made = [
        plan_opening(outline, clearance, uncertainty, depth, choices, unit)
        for clearance in choices.clearance
    ]
    openings = tuple(opening for opening, _ in made)
    notices = list(unit_notices(choices.written, readings_in, unit))
    length = choices.cutter.length if choices.cutter else None
    notices += depth_notices(depth, thickness, length)
    notices += _placed_notices(made, unit)

    offered = _suggestion(uncertainty, choices, openings, overcut)
    coupons = _coupons(outline, depth, choices, offered, unit)
    sheets = [opening.sheet for opening in openings]
    sheets += _coupon_sheets(coupons, _slips(outline, choices, offered, unit), depth, choices, unit)
    if choices.template is not None:
        for opening in openings:
            sheets.append(_template_sheet(opening, choices, unit))
        notices += template_notices(openings[0].outline, choices.template)
    if choices.stock.length is not None and choices.stock.width is not None:
        groups = _groups(openings[0], coupons, depth, choices, unit)
        size = (choices.stock.length, choices.stock.width)
        layers = laid_out(groups, size, choices.stock.margin, _between(choices), choices.stock.turn)
        sheets.append(Sheet("layout", openings[0].clearance, layers))
    times: tuple[TimeRow, ...] = ()
    if choices.feeds is not None:
        cut = openings[0].outline
        times = time_table(cut.area, cut.perimeter, depth.pocket, choices.feeds)
        if choices.cutter and choices.feeds.step_over > choices.cutter.diameter:
            notices.append(
                Notice(
                    "step-over-wider-than-cutter",
                    f"a step-over of {choices.feeds.step_over:.2f} mm leaves ridges: the cutter "
                    f"is {choices.cutter.diameter:.2f} mm wide",
                    f"take {0.4 * choices.cutter.diameter:.1f} mm or so",
                )
            )
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
        tuple(sheets),
        tuple(dict.fromkeys(notices)),
        _cautions(choices),
    )


def drawings(plan: CutPlan, clearance: float) -> Drawing:
    """The drawing of the pocket for one of the plan's clearances, mm.

    Raises
    ------
    PlanError : a clearance that the plan does not hold.
    """
    for opening in plan.openings:
        if math.isclose(opening.clearance, clearance, abs_tol=1e-9):
            return opening.sheet.drawing(plan.part, plan.unit)
    held = ", ".join(format_length(o.clearance, plan.unit) for o in plan.openings)
    raise PlanError(
        f"no pocket is planned for a clearance of {format_length(clearance, plan.unit)}",
        "cut plan",
        f"choose one of: {held}",
    )


def _told_apart(clearances: Sequence[float], unit: Unit) -> None:
    """Each clearance names its files, in the job's unit and decimals."""
    names = [format_length(c, unit) for c in clearances]
    for name in names:
        if names.count(name) > 1:
            raise InputError(
                f"two clearances both read {name}",
                "pocket.clearance",
                "let them differ by 0.001 in or more" if unit == "in" else "let them differ",
            )


def _placed_notices(made: Sequence[tuple[Opening, tuple[Notice, ...]]], unit: Unit) -> list[Notice]:
    """Each opening's remarks with its clearance; what all of them have alike is said once."""
    notices = []
    for opening, remarks in made:
        at = f"clearance {format_length(opening.clearance, unit)}"
        for notice in remarks:
            if all(notice in others for _, others in made):
                notices.append(notice)
            else:
                name = f"{at}, {notice.about}" if notice.about else at
                notices.append(replace(notice, about=OfPart(name)))
    return notices


def _depth(thickness: Thickness, choices: PocketChoices) -> Depth:
    seat = thickness.value - choices.above + choices.sanding
    deeper = [choices.step.deeper if choices.step else 0.0]
    deeper.append(choices.feet.deeper if choices.feet else 0.0)
    deeper += [notch.depth - seat for notch in choices.notches if notch.depth is not None]
    stock = choices.stock.thickness
    return pocket_depth(thickness, choices.above, choices.sanding, max(deeper), stock)


def _suggestion(
    uncertainty: PartUncertainty,
    choices: PocketChoices,
    openings: tuple[Opening, ...],
    overcut: Overcut | None,
) -> Suggestion:
    seasons = openings[0].seasons
    closes = max((openings[0].clearance - gap.gap for gap in seasons), default=0.0)
    u95 = max(uncertainty.per_side("length"), uncertainty.per_side("width"))
    return suggest(choices.kind, u95, overcut, max(0.0, closes))


def _ladder(choices: PocketChoices, offered: Suggestion) -> tuple[float, ...]:
    return (choices.coupons.ladder if choices.coupons else ()) or offered.ladder


def _coupons(
    outline: Outline, depth: Depth, choices: PocketChoices, offered: Suggestion, unit: Unit
) -> tuple[Coupon, ...]:
    if choices.coupons is None:
        return ()
    chosen = choices.coupons
    cutter = choices.cutter.diameter if choices.cutter else 0.0

    def finish(pocket: Outline) -> Outline:
        if choices.relief is None:
            return pocket
        return relieved(pocket, cutter, choices.relief).outline

    return tuple(
        corner_coupon(outline, clearance, chosen.corners, chosen.run, cutter, unit, finish)
        for clearance in _ladder(choices, offered)
    )


def _slips(
    outline: Outline, choices: PocketChoices, offered: Suggestion, unit: Unit
) -> tuple[Coupon, ...]:
    if choices.coupons is None or not choices.coupons.slip:
        return ()
    cutter = choices.cutter.diameter if choices.cutter else 0.0
    return tuple(width_slip(outline, c, cutter, unit) for c in choices.clearance)


def _coupon_sheets(
    coupons: tuple[Coupon, ...],
    slips: tuple[Coupon, ...],
    depth: Depth,
    choices: PocketChoices,
    unit: Unit,
) -> list[Sheet]:
    gap = _between(choices)
    sheets = []
    for name, pieces in (("coupons", coupons), ("width slips", slips)):
        if pieces:
            laid, _ = nested(pieces, gap)
            layers = [layer for c in laid for layer in _coupon_layers(c, depth, choices, unit)]
            sheets.append(Sheet(name, None, merged_layers(layers)))
    return sheets


def _coupon_layers(
    coupon: Coupon, depth: Depth, choices: PocketChoices, unit: Unit
) -> list[PlanLayer]:
    chosen = choices.coupons.depth if choices.coupons else None
    deep = min(_COUPON_DEPTH, depth.pocket) if chosen is None else chosen
    return [
        PlanLayer(f"coupon depth {format_length(deep, unit)}", deep, coupon.pocket),
        PlanLayer(
            f"mark depth {format_length(_MARK_DEPTH, unit)}",
            _MARK_DEPTH,
            strokes=coupon.mark,
            pattern="dotted",
        ),
        PlanLayer("coupon through", None, (coupon.outer,), pattern="dash-dot"),
    ]


def _template_sheet(opening: Opening, choices: PocketChoices, unit: Unit) -> Sheet:
    follower = choices.template
    assert follower is not None
    size, cutter = (format_length(d, unit) for d in (follower.diameter, follower.cutter))
    name = f"{follower.name} {size} cutter {cutter}"
    opening_layer = PlanLayer(name, None, (template_outline(opening.outline, follower),))
    return Sheet("template", opening.clearance, (opening_layer,))


def _groups(
    opening: Opening,
    coupons: tuple[Coupon, ...],
    depth: Depth,
    choices: PocketChoices,
    unit: Unit,
) -> list[Group]:
    """What one plan puts on its stock: its copies, and its coupons where they are wanted."""
    across = choices.board is not None and choices.board.grain == "width"
    groups = [
        Group(f"piece {k + 1}", opening.sheet.layers, across) for k in range(choices.stock.copies)
    ]
    if choices.stock.coupons:
        groups += [
            Group(f"coupon {c.name}", tuple(_coupon_layers(c, depth, choices, unit)), across)
            for c in coupons
        ]
    return groups


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
    said.append("The machine maker's manual and your local rules go before this sheet.")
    return tuple(said)
