"""One pocket at one clearance: its layers, and everything that is checked about it."""

from dataclasses import dataclass
from typing import Any

from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.outline import Outline
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.fit.readings.thickness import Thickness
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.pocket.access import notch_outline, ribbon_outline
from snugline.pocket.border import border_notices, border_outline, least_land
from snugline.pocket.choices import PocketChoices
from snugline.pocket.clearance import (
    Clearance,
    Gap,
    clearance_notices,
    disagreement_notices,
    gaps,
)
from snugline.pocket.cutter import Reach, cutter_centres, cutter_notices, reach
from snugline.pocket.depth import Depth, depth_notices, pocket_depth
from snugline.pocket.enlarge import enlarged
from snugline.pocket.fits import fit_of
from snugline.pocket.goes_in import BLOCKED, DOUBTFUL, Chance, chance, chance_notices
from snugline.pocket.merge import united
from snugline.pocket.pocket_layers import Shape, overlap_notices, pocket_layers, step_notices
from snugline.pocket.relief import Disc, relieved
from snugline.pocket.season import SeasonalGap, season_notices, seasonal_gaps, turning_saves
from snugline.pocket.sheet import PlanLayer, Sheet, merged_layers
from snugline.pocket.state import State, state_of
from snugline.pocket.tool_shape import tool_notices
from snugline.pocket.width_error import WidthError, unknown_machine
from snugline.sentence import Sentence, length

LARGE_CLEARANCE = 2.0  # mm; more is more likely a slip in the unit (common practice, no source)
_REACH_PLAY = 1e-4  # mm; a relief as wide as the cutter admits it by this much less


@dataclass(frozen=True)
class Opening:
    """A pocket for one clearance, mm.

    Attributes
    ----------
    clearance : per side, along both axes.
    plain : the part's outline with the clearance round it.
    outline : of the pocket: that, with reliefs, notches of its own depth and ribbon slots.
    gaps : per side along length and width, with their U95.
    seasons : gaps at the driest and the dampest day; empty where nothing moves.
    reach : of the chosen cutter; None without one.
    discs : where corners are relieved.
    border, land : the outer cut, and the thinnest wood to it; None without one.
    sheet : the layers.
    chance : how likely the part goes in.
    notices : all remarks on it.
    state, because : what they make of it, and the codes of those that decide.
    """

    clearance: Clearance
    plain: Outline
    outline: Outline
    gaps: tuple[Gap, Gap]
    seasons: tuple[SeasonalGap, ...]
    reach: Reach | None
    discs: tuple[Disc, ...]
    border: Outline | None
    land: float | None
    sheet: Sheet
    chance: Chance
    notices: tuple[Notice, ...]
    state: State
    because: tuple[str, ...]

    @property
    def blocked(self) -> bool:
        return self.state == "not to be cut"

    def as_json(self) -> dict[str, Any]:
        """The pocket's verdict, as under `pockets` in the result's cut plan."""
        return {
            "clearance": self.clearance.as_json(),
            "state": self.state,
            "because": list(self.because),
            "goes_in": self.chance.as_json(),
        }


@dataclass(frozen=True)
class Given:
    """What all pockets of one plan have in common."""

    part: Outline
    uncertainty: PartUncertainty
    thickness: Thickness
    depth: Depth
    choices: PocketChoices
    width_error: WidthError
    unit: Unit

    @property
    def size(self) -> tuple[float, float]:
        low_x, low_y, high_x, high_y = self.part.bounds
        return high_x - low_x, high_y - low_y

    @property
    def cutter_width(self) -> float:
        return self.choices.cutter.diameter if self.choices.cutter else 0.0


def given_of(
    part: Outline,
    uncertainty: PartUncertainty,
    thickness: Thickness,
    choices: PocketChoices,
    width_error: WidthError | None,
    unit: Unit = "mm",
) -> Given:
    """What all pockets of one plan have in common; a machine without a claim counts as unknown."""
    known = width_error if width_error is not None and width_error.claimed else unknown_machine()
    depth = _depth(thickness, choices)
    return Given(part, uncertainty, thickness, depth, choices, known, unit)


def _depth(thickness: Thickness, choices: PocketChoices) -> Depth:
    seat = thickness.thickest - choices.above + choices.sanding
    deeper = [choices.step.deeper if choices.step else 0.0]
    deeper.append(choices.feet.deeper if choices.feet else 0.0)
    deeper += [notch.depth - seat for notch in choices.notches if notch.depth is not None]
    deeper += [r.depth if r.from_seat else r.depth - seat for r in choices.recesses]
    deeper += [lip.depth - seat for lip in choices.lips]
    stock = choices.stock.thickness
    return pocket_depth(thickness, choices.above, choices.sanding, max(deeper), stock)


def plan_opening(given: Given, clearance: Clearance) -> Opening:
    """Everything about the pocket of one clearance.

    Raises
    ------
    PlanError : a pocket that cannot be drawn so.
    """
    choices = given.choices
    plain, outline, discs, found = _cut(given, clearance)
    border, land = None, None
    if choices.border is not None:
        border = border_outline(plain, choices.border.land, choices.border.corner)
        land = least_land(_widest(plain, outline, choices, given.cutter_width), border)
    shape = Shape(given.part, plain, outline, border)
    layers = pocket_layers(shape, given.depth, choices, given.unit)
    seasons = seasons_of(given, clearance)
    likely = _chance(given, clearance, seasons, found)
    notices = [*_fit_notices(given, clearance, seasons, likely)]
    if found is not None:
        notices += cutter_notices(outline, found, clearance, choices.squeezed)
    notices += _cut_notices(given, clearance, plain, land, layers)
    state, because = state_of(notices)
    return Opening(
        clearance,
        plain,
        outline,
        gaps(clearance, given.uncertainty),
        seasons,
        found,
        discs,
        border,
        land,
        Sheet("pocket", clearance, merged_layers(layers), state == "not to be cut"),
        likely,
        tuple(notices),
        state,
        because,
    )


def chance_of(given: Given, clearance: Clearance) -> Chance:
    """How likely the part goes in, without planning the rest of the pocket.

    Raises
    ------
    PlanError : a pocket that cannot be drawn so.
    """
    found = _cut(given, clearance)[-1]
    return _chance(given, clearance, seasons_of(given, clearance), found)


def _cut(
    given: Given, clearance: Clearance
) -> tuple[Outline, Outline, tuple[Disc, ...], Reach | None]:
    """The plain outline, the one that is cut, its relieved corners, and what the cutter leaves."""
    plain = enlarged(given.part, clearance)
    corners, discs = _relieved(plain, given.choices)
    width = given.cutter_width
    outline = united(corners, bays(plain, given.choices, width), "notch or ribbon slot")
    if given.choices.cutter is None:
        return plain, outline, discs, None
    play = _REACH_PLAY if discs else 0.0
    return plain, outline, discs, reach(outline, width - play, given.part)


def seasons_of(given: Given, clearance: Clearance) -> tuple[SeasonalGap, ...]:
    """The gaps at the driest and the dampest day; empty where nothing moves."""
    choices = given.choices
    land = choices.border.land if choices.border else 0.0
    return seasonal_gaps(choices.movers, given.size, clearance, land)


def _chance(
    given: Given, clearance: Clearance, seasons: tuple[SeasonalGap, ...], found: Reach | None
) -> Chance:
    return chance(
        clearance,
        given.uncertainty,
        given.size,
        seasons,
        given.width_error,
        _corner_gap(found, clearance),
        given.choices.squeezed,
    )


def _cut_notices(
    given: Given, clearance: Clearance, plain: Outline, land: float | None, layers: list[PlanLayer]
) -> list[Notice]:
    """Remarks on what is cut: floor and cutter, the wood beside it, the holes in it."""
    choices = given.choices
    notices = [*depth_notices(given.depth, given.thickness, choices)]
    if land is not None and choices.border is not None:
        notices += border_notices(
            land, choices.border.edge, given.depth.pocket, choices.stock.thickness
        )
    notices += step_notices(plain, choices)
    notices += overlap_notices(layers, choices)
    if choices.cutter is not None:
        notices += tool_notices(choices.cutter, given.depth.pocket, clearance)
    return notices


def _fit_notices(
    given: Given, clearance: Clearance, seasons: tuple[SeasonalGap, ...], likely: Chance
) -> list[Notice]:
    """Remarks on whether the part goes in, and why not."""
    choices, part = given.choices, given.uncertainty
    doubted = likely.probability < DOUBTFUL
    notices = []
    if clearance.length > LARGE_CLEARANCE or clearance.width > LARGE_CLEARANCE:
        notices.append(
            Notice(
                "clearance-large",
                Sentence(
                    "a clearance of {} per side is unusually large",
                    length(max(clearance.length, clearance.width)),
                ),
                "check its number and unit",
                "check",
                OfKey(("pocket", "clearance")),
            )
        )
    notices += season_notices(
        seasons,
        {direction: part.per_side(direction) for direction in ("length", "width")},
        turning_saves(choices.movers, given.size, clearance),
        choices.squeezed,
        fit_of(choices.kind).rigid,
    )
    blocked = likely.probability < BLOCKED
    notices += disagreement_notices(clearance, part, given.size, blocked)
    notices += clearance_notices(clearance, part, doubted)
    notices += chance_notices(likely, choices.machine)
    return notices


def _relieved(plain: Outline, choices: PocketChoices) -> tuple[Outline, tuple[Disc, ...]]:
    if choices.cutter is None:
        return plain, ()
    width = choices.cutter.diameter
    if choices.notches or choices.ribbons:
        cutter_centres(plain, width)  # a bay must not pass for the pocket's own width
    if choices.relief is None:
        return plain, ()
    made = relieved(plain, width, choices.relief, choices.relief_allowance)
    return made.outline, made.discs


def bays(plain: Outline, choices: PocketChoices, width: float) -> list[Outline]:
    """Notches of the pocket's own depth and ribbon slots, which open its wall."""
    made = [notch_outline(plain, n, width) for n in choices.notches if n.depth is None]
    return made + [ribbon_outline(plain, ribbon, width) for ribbon in choices.ribbons]


def _corner_gap(found: Reach | None, clearance: Clearance) -> float | None:
    """The gap that the cutter leaves where it is less than the clearance; None where it is not."""
    if found is None or found.part_overlap is None:
        return None
    gap = -found.part_overlap
    return gap if gap < clearance.least - 1e-3 else None


def _widest(plain: Outline, outline: Outline, choices: PocketChoices, cutter: float) -> Outline:
    """The pocket with every bay, whatever its depth: what the border must keep clear of."""
    deep = [notch_outline(plain, n, cutter) for n in choices.notches if n.depth is not None]
    return united(outline, deep, "finger notch")


def placed(opening: Opening, unit: Unit) -> str:
    """How remarks name this pocket."""
    return f"clearance {opening.clearance.named(unit)}"
