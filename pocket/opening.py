"""One pocket at one clearance: its layers, and everything that is checked about it."""

from dataclasses import dataclass

import numpy as np

from snugline.errors import PlanError
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Outline
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import circle
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.lengths import format_length
from snugline.notice import Notice
from snugline.pocket.access import notch_outline, push_hole_outline, ribbon_outline
from snugline.pocket.border import border_notices, border_outline, least_land
from snugline.pocket.choices import Feet, PocketChoices
from snugline.pocket.clearance import Gap, clearance_notices, gaps
from snugline.pocket.cutter import (
    Reach,
    cutter_centres,
    cutter_notices,
    reach,
)
from snugline.pocket.depth import Depth
from snugline.pocket.fits import fit_of
from snugline.pocket.merge import united
from snugline.pocket.relief import Disc, relieved
from snugline.pocket.sheet import PlanLayer, Sheet, Unit, merged_layers
from snugline.pocket.wood import SeasonalGap, movement_notices, seasonal_gaps

LARGE_CLEARANCE = 2.0  # mm; more is more likely a slip in the unit (common practice, no source)
_REACH_PLAY = 1e-4  # mm; a relief as wide as the cutter admits it by this much less


@dataclass(frozen=True)
class Opening:
    """A pocket for one clearance, mm.

    Attributes
    ----------
    clearance : per side.
    plain : the parallel of the part at the clearance.
    outline : of the pocket: that, with reliefs, notches of its own depth and ribbon slots.
    gaps : per side along length and width, with their U95.
    seasons : gaps at the driest and the dampest day; empty without a wood.
    reach : of the chosen cutter; None without one.
    discs : where corners are relieved.
    border, land : the outer cut, and the thinnest wood to it; None without one.
    sheet : the layers.
    """

    clearance: float
    plain: Outline
    outline: Outline
    gaps: tuple[Gap, Gap]
    seasons: tuple[SeasonalGap, ...]
    reach: Reach | None
    discs: tuple[Disc, ...]
    border: Outline | None
    land: float | None
    sheet: Sheet


def plan_opening(
    part: Outline,
    clearance: float,
    uncertainty: PartUncertainty,
    depth: Depth,
    choices: PocketChoices,
    unit: Unit,
) -> tuple[Opening, tuple[Notice, ...]]:
    """Everything about the pocket of one clearance."""
    plain = parallel(part, clearance)[0]
    cutter = choices.cutter
    width = cutter.diameter if cutter else 0.0
    corners: Outline = plain
    discs: tuple[Disc, ...] = ()
    found: Reach | None = None
    if cutter is not None and (choices.notches or choices.ribbons):
        cutter_centres(plain, width)  # a bay must not pass for the pocket's own width
    if cutter is not None and choices.relief is not None:
        made = relieved(plain, width, choices.relief)
        corners, discs = made.outline, made.discs
    bays = [notch_outline(plain, n, width) for n in choices.notches if n.depth is None]
    bays += [ribbon_outline(plain, ribbon, width) for ribbon in choices.ribbons]
    outline = united(corners, bays, "notch or ribbon slot")
    notices = list(clearance_notices(clearance, uncertainty))
    if clearance > LARGE_CLEARANCE:
        notices.append(
            Notice(
                "clearance-large",
                f"a clearance of {format_length(clearance, unit)} per side is unusually large",
                "check its number and unit",
            )
        )
    if cutter is not None:
        found = reach(outline, width - (_REACH_PLAY if discs else 0.0), part)
        notices += cutter_notices(outline, found, clearance)

    border, land = None, None
    if choices.border is not None:
        border = border_outline(plain, choices.border.land, choices.border.corner)
        land = least_land(_widest(plain, outline, choices, width), border)
        notices += border_notices(land, choices.border.edge, depth.pocket, choices.stock.thickness)
    seasons: tuple[SeasonalGap, ...] = ()
    if choices.board is not None:
        low_x, low_y, high_x, high_y = part.bounds
        seasons = seasonal_gaps(
            choices.board,
            (high_x - low_x, high_y - low_y),
            clearance,
            choices.border.land if choices.border else 0.0,
            choices.part_material,
        )
        rigid = fit_of(choices.kind).rigid
        notices += movement_notices(choices.board, seasons, rigid, choices.glued)
    layers = _layers(plain, outline, border, depth, choices, unit)
    sheet = Sheet("pocket", clearance, merged_layers(layers))
    opening = Opening(
        clearance,
        plain,
        outline,
        gaps(clearance, uncertainty),
        seasons,
        found,
        discs,
        border,
        land,
        sheet,
    )
    return opening, tuple(notices)


def _widest(plain: Outline, outline: Outline, choices: PocketChoices, cutter: float) -> Outline:
    """The pocket with every bay, whatever its depth: what the border must keep clear of."""
    deep = [notch_outline(plain, n, cutter) for n in choices.notches if n.depth is not None]
    return united(outline, deep, "finger notch")


def _layers(
    plain: Outline,
    outline: Outline,
    border: Outline | None,
    depth: Depth,
    choices: PocketChoices,
    unit: Unit,
) -> list[PlanLayer]:
    def at(name: str, mm: float) -> str:
        return f"{name} depth {format_length(mm, unit)}"

    width = choices.cutter.diameter if choices.cutter else 0.0
    layers = [PlanLayer(at("pocket", depth.pocket), depth.pocket, (outline,))]
    if choices.step is not None:
        inner = parallel(plain, -choices.step.inset)
        if not inner:
            raise PlanError(
                f"an inset of {choices.step.inset:.2f} mm leaves nothing of the step",
                "pocket step",
                "make the inset smaller",
            )
        for floor in inner if width else ():
            cutter_centres(floor, width)
        deep = depth.pocket + choices.step.deeper
        layers.append(PlanLayer(at("step", deep), deep, tuple(inner), pattern="dashed"))
    if choices.feet is not None:
        deep = depth.pocket + choices.feet.deeper
        recesses = _feet(plain, choices.feet, width)
        layers.append(PlanLayer(at("feet", deep), deep, recesses, pattern="dashed"))
    for notch in choices.notches:
        if notch.depth is not None:
            name = at(f"{notch.side} notch", notch.depth)
            layers.append(
                PlanLayer(
                    name, notch.depth, (notch_outline(plain, notch, width),), pattern="dotted"
                )
            )
    if choices.push_holes:
        holes = tuple(push_hole_outline(plain, hole, width) for hole in choices.push_holes)
        layers.append(PlanLayer("push hole through", None, holes, pattern="dash-dot"))
    if border is not None:
        layers.append(PlanLayer("border through", None, (border,), pattern="dash-dot"))
    return layers


def _feet(plain: Outline, feet: Feet, cutter: float) -> tuple[Outline, ...]:
    low_x, low_y, high_x, high_y = plain.bounds
    if feet.diameter < cutter:
        raise PlanError(
            f"recesses of {feet.diameter:.1f} mm are narrower than the cutter of {cutter:.1f} mm",
            "pocket feet",
            f"make them {cutter:.1f} mm or wider",
        )
    places = [
        (x, y)
        for y in (low_y + feet.inset, high_y - feet.inset)
        for x in (low_x + feet.inset, high_x - feet.inset)
    ]
    out = float(signed_distance(plain, np.array(places)).max()) + feet.diameter / 2
    if out > 0:
        raise PlanError(
            f"recesses for feet pass the pocket's wall by {out:.2f} mm",
            "pocket feet",
            "move them further in or make them smaller",
        )
    return tuple(circle(feet.diameter / 2, place) for place in places)
