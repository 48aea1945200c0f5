"""Seasonal gaps of a part in a board, against equation 13-2 worked by hand."""

import pytest

from snugline.pocket.clearance import Clearance, even
from snugline.pocket.season import (
    Movers,
    season_notices,
    seasonal_gaps,
    turning_saves,
    wood_notices,
)
from snugline.pocket.species import species
from snugline.pocket.wood import Climate, Timber

SURE = {"length": 0.0, "width": 0.0}


def timber(grain="length", now=8.0, driest=6.0, dampest=11.0, wood="walnut", cut="flat sawn"):
    return Timber(species(wood), grain, cut, Climate(now), Climate(driest), Climate(dampest))


def board(**changes):
    return Movers(timber(**changes))


def notices(movers, size, clearance, part_u95=SURE, **more):
    found = seasonal_gaps(movers, size, clearance)
    return season_notices(found, part_u95, turning_saves(movers, size, clearance), **more)


def gap_of(gaps, season, direction):
    (found,) = [g for g in gaps if (g.season, g.direction) == (season, direction)]
    return found


def test_grain_along_the_length_hardly_moves_it():
    gaps = seasonal_gaps(board(), (418, 146), even(0.5))
    along = [g for g in gaps if g.direction == "length"]
    assert all(not g.across and abs(g.opening) < 0.1 for g in along)


def test_the_gap_loses_half_of_what_the_opening_shrinks():
    gap = gap_of(seasonal_gaps(board(), (418, 146), even(0.5), land=20), "driest", "width")
    assert gap.opening == pytest.approx(-147 * 0.00274 * 2)
    assert gap.gap == pytest.approx(0.5 - 147 * 0.00274)
    assert gap.land == pytest.approx(-40 * 0.00274 * 2)


def test_each_axis_starts_from_its_own_clearance():
    gaps = seasonal_gaps(board(), (418, 146), Clearance(0.3, 0.6))
    assert gap_of(gaps, "driest", "length").gap == pytest.approx(0.3, abs=0.03)
    assert gap_of(gaps, "driest", "width").gap == pytest.approx(0.6 - 147.2 * 0.00274)


def test_the_part_s_growth_closes_the_gap_by_hand():
    # Set-up x03: a maple part 162.93 mm wide, its grain along its length, in a board whose grain
    # runs along the width; 7 to 11 %. 162.93 x 0.00353 x 4 = 2.3006 mm.
    part = timber(wood="maple, sugar", now=7.0, driest=6.5)
    other = timber(wood="maple, sugar", grain="width", now=7.0, driest=6.5)
    gap = gap_of(seasonal_gaps(Movers(other, part), (602.4, 162.93), even(0.5)), "dampest", "width")
    assert gap.part == pytest.approx(2.3006, abs=1e-4)
    # The opening is along the board's grain and hardly moves: 0.5 - 2.3006 / 2 = -0.65.
    assert gap.gap == pytest.approx(-0.63, abs=0.03)
    _, notice = notices(Movers(other, part), (602.4, 162.93), even(0.5))
    assert (notice.code, notice.severity) == ("squeezed-in-season", "cannot be cut")
    assert "squeezed by 0.63 mm per side along the width" in notice.text
    assert "the part grows by 2.30 mm" in notice.text
    assert "let the grain run along the length" in notice.mend


def test_part_and_board_of_one_wood_and_one_grain_move_together():
    both = Movers(timber(), timber())
    for gap in seasonal_gaps(both, (418, 146), even(0.5)):
        assert gap.gap == pytest.approx(0.5, abs=0.01)


def test_a_part_of_wood_in_a_board_that_does_not_move_is_reckoned_with():
    gaps = seasonal_gaps(Movers(part=timber(grain="width", dampest=12)), (100, 50), even(0.5))
    # 100 x 0.00274 x 4 = 1.096 mm.
    assert gap_of(gaps, "dampest", "length").gap == pytest.approx(0.5 - 1.096 / 2)


def test_a_rigid_part_squeezed_on_the_driest_day_is_said():
    (notice,) = notices(board(), (418, 146), even(0.25))
    assert notice.code == "squeezed-in-season"
    assert "squeezed by 0.15 mm" in notice.text
    assert notice.severity == "cannot be cut"


def test_a_gap_that_the_part_s_uncertainty_can_close_is_said():
    # Set-up j08 at 0.60 mm: 0.003 mm are left where the width is uncertain by 0.44 mm.
    unsure = {"length": 0.0, "width": 0.22}
    (notice,) = notices(board(), (418, 146), even(0.42), unsure)
    assert (notice.code, notice.severity) == ("may-close-in-season", "check")
    assert notices(board(), (418, 146), even(0.9), unsure) == ()


def test_the_season_s_own_uncertainty_is_of_coefficient_and_moisture():
    gap = gap_of(seasonal_gaps(board(), (418, 146), even(0.5)), "driest", "width")
    moved = 147 * 0.00274 * 2
    u = ((0.15 * moved) ** 2 + (147 * 0.00274 / 3**0.5) ** 2) ** 0.5
    assert gap.u95 == pytest.approx(1.96 * u / 2)


def test_a_soft_part_may_be_squeezed_within_its_limit():
    assert notices(board(), (418, 146), even(0.45), squeeze=0.3, rigid=False) == ()
    (notice,) = notices(board(), (418, 146), even(0.0), squeeze=0.1, rigid=False)
    assert notice.severity == "check"


def test_what_turning_the_grain_would_save_is_said():
    movers = board(grain="width")
    way, saved = turning_saves(movers, (418, 146), even(0.25))
    # 418.5 x 0.00274 = 1.147 mm against 146.5 x 0.00274 = 0.401 mm per side.
    assert way == "length"
    assert saved == pytest.approx(1.147 - 0.401, abs=0.01)
    assert turning_saves(board(), (418, 146), even(0.25)) is None


def test_gluing_a_rigid_part_across_much_movement_is_warned_of():
    (notice,) = wood_notices(board(now=10), glued=True, rigid=True)
    assert (notice.code, notice.severity) == ("glue-would-split-land", "cannot be cut")


def test_moisture_outside_the_table_is_said():
    assert [n.code for n in wood_notices(board(driest=4.0), False, True)] == [
        "moisture-outside-table"
    ]


@pytest.mark.parametrize("wood", ["mahogany", "teak", "pine, eastern white"])
def test_figures_from_memory_are_remarked_on(wood):
    (notice,) = wood_notices(board(wood=wood), False, True)
    assert notice.code == "movement-from-memory"
    assert wood in notice.text
