"""What a season does to the gap between a part and the wood round it, either of which may move."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from snugline.notice import Notice
from snugline.pocket.clearance import Clearance
from snugline.pocket.thermal import Material, growth
from snugline.pocket.wood import DIRECTIONS, VALID_MOISTURE, Climate, Direction, Timber
from snugline.sentence import Figure, Sentence, length, share

# Tension strength over stiffness across the grain, walnut to oak, gives 0.5 to 1 % (from memory).
SPLITTING_STRAIN = 0.005
_WORTH_TURNING = 0.05  # mm per side; the grain is not turned for less


@dataclass(frozen=True)
class Movers:
    """What moves: the board, and the part by its own wood or its material; None stands still."""

    board: Timber | None = None
    part: Timber | None = None
    part_material: Material | None = None

    @property
    def seasons(self) -> tuple[tuple[str, Climate], ...]:
        """The extremes in service, as the board has them, or the part where it alone is wood."""
        own = self.board or self.part
        return (("driest", own.driest), ("dampest", own.dampest)) if own is not None else ()


@dataclass(frozen=True)
class SeasonalGap:
    """What one extreme of the year does in one direction; all in mm.

    Attributes
    ----------
    season : `driest` or `dampest`.
    direction : `length` or `width` of the part.
    across : whether this is across the board's grain.
    opening, land, part : change of the opening, of the two lands next to it together, of the part.
    gap : what is left of the clearance on each side; negative means squeezed.
    u95 : of what the season changes of the gap.
    """

    season: str
    direction: Direction
    across: bool
    opening: float
    land: float
    part: float
    gap: float
    u95: float = 0.0

    @property
    def closes(self) -> float:
        """By how much the season closes the gap on each side, mm; negative where it opens."""
        return (self.part - self.opening) / 2


def seasonal_gaps(
    movers: Movers, size: tuple[float, float], clearance: Clearance, land: float = 0.0
) -> tuple[SeasonalGap, ...]:
    """Gap per side at the driest and the dampest day, along the length and the width.

    Parameters
    ----------
    size : (length, width) of the part, mm.
    clearance : as cut.
    land : wood next to the opening on each side, mm.
    """
    board = movers.board
    gaps = []
    for season, climate in movers.seasons:
        for direction, part in zip(DIRECTIONS, size, strict=True):
            cut = clearance.along(direction)
            whole = part + 2 * cut
            opening = board.change(whole, direction, climate) if board else 0.0
            u = board.change_u(whole, direction, climate) if board else 0.0
            grown, grown_u = _part_change(movers, part, direction, season, climate)
            gaps.append(
                SeasonalGap(
                    season=season,
                    direction=direction,
                    across=board is not None and direction != board.grain,
                    opening=opening,
                    land=board.change(2 * land, direction, climate) if board else 0.0,
                    part=grown,
                    gap=cut + (opening - grown) / 2,
                    u95=1.96 * math.hypot(u, grown_u) / 2,
                )
            )
    return tuple(gaps)


def _part_change(
    movers: Movers, size: float, direction: Direction, season: str, climate: Climate
) -> tuple[float, float]:
    """Change of the part in mm, and its standard uncertainty."""
    if movers.part is not None:
        own = movers.part.driest if season == "driest" else movers.part.dampest
        timber = movers.part
        return timber.change(size, direction, own), timber.change_u(size, direction, own)
    if movers.part_material is None or movers.board is None:
        return 0.0, 0.0
    warmer = climate.celsius - movers.board.now.celsius
    return growth(size, movers.part_material.expansion, warmer), 0.0


def turning_saves(
    movers: Movers, size: tuple[float, float], clearance: Clearance
) -> tuple[Direction, float] | None:
    """What another way of the board's grain would save: the way, and mm per side.

    Compared is the clearance that the worst season takes on the worse axis. None where nothing is
    worth saving.
    """
    if movers.board is None:
        return None
    turned = Movers(movers.board.turned(), movers.part, movers.part_material)
    here, there = (
        max((gap.closes for gap in seasonal_gaps(m, size, clearance)), default=0.0)
        for m in (movers, turned)
    )
    saved = max(here, 0.0) - max(there, 0.0)
    return (turned.board.grain, saved) if turned.board and saved > _WORTH_TURNING else None


def season_notices(
    gaps: Sequence[SeasonalGap],
    part_u95: Mapping[str, float],
    saves: tuple[Direction, float] | None,
    squeeze: float = 0.0,
    rigid: bool = True,
) -> tuple[Notice, ...]:
    """A remark on the gap that a season closes, with U95 of the part and of the movement.

    Parameters
    ----------
    part_u95 : of the part's own size, per side, by direction.
    saves : what turning the grain would save, from `turning_saves`.
    squeeze : mm per side that a soft part may be squeezed by.
    rigid : whether a part that is squeezed breaks, or breaks the wood.
    """
    found = []
    for direction in DIRECTIONS:
        own = [gap for gap in gaps if gap.direction == direction]
        doubts = [math.hypot(gap.u95, part_u95[direction]) for gap in own]
        left = [gap.gap - doubt + squeeze for gap, doubt in zip(own, doubts, strict=True)]
        if not left or min(left) >= 0:
            continue
        worst = left.index(min(left))
        # Where the gap was in doubt before any season, that is said by itself.
        matters = left[worst] + own[worst].closes + own[worst].u95 >= 0 or own[worst].gap < 0
        if own[worst].closes > 0 and matters:
            found.append(_closing(own[worst], doubts[worst], saves, squeeze, rigid))
    return tuple(found)


def _closing(
    worst: SeasonalGap,
    u95: float,
    saves: tuple[Direction, float] | None,
    squeeze: float,
    rigid: bool,
) -> Notice:
    squeezed = worst.gap + squeeze < 0
    axis = f"the {worst.direction}"
    said = f"on the {worst.season} day the part is squeezed by {{}} per side along {axis}"
    if not squeezed:
        said = f"on the {worst.season} day {{}} of gap per side is left along {axis}"
    moved, figures = _who_moves(worst)
    more = length(max(0.0, u95 - worst.gap - squeeze))
    mend = Sentence(f"add {{}} of clearance along {axis}", more)
    if saves is not None:
        mend = Sentence(
            f"let the grain run along the {saves[0]}, which saves {{}} per side, or add {{}} of "
            f"clearance along {axis}",
            length(saves[1]),
            more,
        )
    return Notice(
        "squeezed-in-season" if squeezed else "may-close-in-season",
        Sentence(
            f"{said} (U95 {{}}): {moved}, {{}} less gap than as cut",
            length(abs(worst.gap)),
            length(u95),
            *figures,
            length(worst.closes),
        ),
        mend,
        "cannot be cut" if squeezed and rigid else "check",
        worst.direction,
    )


def _who_moves(gap: SeasonalGap) -> tuple[str, list[Figure]]:
    """What grows and shrinks, with places for the figures, and the figures."""
    parts, figures = [], []
    for name, change in (("part", gap.part), ("opening", gap.opening)):
        if abs(change) >= 0.005:
            parts.append(f"the {name} {'grows' if change > 0 else 'shrinks'} by {{}}")
            figures.append(length(abs(change)))
    return " and ".join(parts) or "nothing moves much", figures


def wood_notices(movers: Movers, glued: bool, rigid: bool) -> tuple[Notice, ...]:
    """Remarks on the figures of the woods, and on a rigid part glued into one that must move."""
    notices = [*_source_notices(movers), *_moisture_notices(movers)]
    board = movers.board
    strain = 0.0
    if board is not None:
        across: Direction = "width" if board.grain == "length" else "length"
        strain = board.coefficient(across) * (board.now.moisture - board.driest.moisture)
    if glued and rigid and strain > SPLITTING_STRAIN:
        notices.append(
            Notice(
                "glue-would-split-land",
                Sentence(
                    "glued to a rigid part, the wood cannot make the {} of movement across the "
                    "grain that the seasons ask for; about {} can split the land",
                    share(strain, 1),
                    share(SPLITTING_STRAIN, 1),
                ),
                "leave it unglued, or fix it at one spot with an elastic glue",
                "cannot be cut",
            )
        )
    return tuple(notices)


def _source_notices(movers: Movers) -> Iterator[Notice]:
    woods = {t.wood.name or "the wood": t.wood for t in (movers.board, movers.part) if t}
    for name, wood in woods.items():
        if wood.from_memory:
            yield Notice(
                "movement-from-memory",
                f"the movement figures of {name} are from memory, not read in a table",
                "look them up before you rely on the seasonal gaps, and give them as movement = "
                "{ radial = ..., tangential = ... }",
                "check",
            )


def _moisture_notices(movers: Movers) -> Iterator[Notice]:
    low, high = VALID_MOISTURE
    climates = [c for t in (movers.board, movers.part) if t for c in (t.now, t.driest, t.dampest)]
    outside = [c.moisture for c in climates if not low <= c.moisture <= high]
    if outside:
        yield Notice(
            "moisture-outside-table",
            Sentence(
                "a moisture content of {} lies outside the 6 to 14 % that the movement "
                "coefficients hold for",
                share(outside[0] / 100, 1),
            ),
            "treat the stated movement as a rough figure",
            "note",
        )
