"""Seasonal gaps of a part in a board, against equation 13-2 worked by hand."""

import pytest

from snugline.pocket.clearance import Clearance, even
from snugline.pocket.season import (
    Movers,
    SeasonalGap,
    season_notices,
    seasonal_gaps,
    turning_saves,
    wood_notices,
)
from snugline.pocket.species import species
from snugline.pocket.thermal import material
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


def of_one_day(gap, part=0.0, opening=0.0, u95=0.0, direction="width", season="driest"):
    return SeasonalGap(season, direction, True, opening, 0.0, part, gap, u95)


def test_a_part_of_metal_in_a_board_grows_with_warmth_and_so_does_the_board():
    # 400 mm of aluminium, 23.1e-6 / K (Swyt, J. Res. NIST 99, 31), 25 K warmer: 0.231 mm; the
    # board's opening along the grain 4.5e-6 / K on 401 mm: 0.0451 mm.
    wood = Timber(
        species("walnut"), "length", "flat sawn", Climate(8, 10), Climate(8, 35), Climate(8, 0)
    )
    found = seasonal_gaps(Movers(wood, part_material=material("aluminium")), (400, 100), even(0.5))
    warm = gap_of(found, "driest", "length")
    assert warm.part == pytest.approx(400 * 23.1e-6 * 25)
    assert warm.opening == pytest.approx(401 * 4.5e-6 * 25)
    assert warm.gap == pytest.approx(0.5 + (warm.opening - warm.part) / 2)
    assert warm.closes == pytest.approx((0.231 - 0.045113) / 2, abs=1e-5)
    cold = gap_of(found, "dampest", "length")
    assert cold.part == pytest.approx(-400 * 23.1e-6 * 10)
    assert cold.u95 == pytest.approx(1.96 * (401 * 5e-5 * 3**-0.5) / 2, rel=0.5)


def test_each_part_of_wood_follows_its_own_year():
    part = timber(grain="width", now=9.0, driest=7.0, dampest=12.0)
    found = seasonal_gaps(Movers(timber(), part), (100, 50), even(0.5))
    # 100 mm of walnut, flat sawn: 0.00274 for 1 % (GTR-190, table 13-5).
    assert gap_of(found, "driest", "length").part == pytest.approx(-100 * 0.00274 * 2)
    assert gap_of(found, "dampest", "length").part == pytest.approx(100 * 0.00274 * 3)
    assert [g.across for g in found] == [False, True, False, True]
    alone = seasonal_gaps(Movers(part=part), (100, 50), even(0.5))
    assert not any(g.across or g.opening or g.land for g in alone)
    assert seasonal_gaps(Movers(), (100, 50), even(0.5)) == ()


def test_what_a_season_closes_is_half_of_what_part_and_opening_come_nearer():
    assert of_one_day(0.3, part=0.4, opening=-0.2).closes == pytest.approx(0.3)
    assert of_one_day(0.3, part=-0.4, opening=0.2).closes == pytest.approx(-0.3)


@pytest.mark.parametrize(
    ("gap", "u95", "part_u95", "squeeze", "code"),
    [
        (0.1, 0.0, 0.0, 0.0, None),
        (0.0, 0.0, 0.0, 0.0, None),  # free still
        (-0.01, 0.0, 0.0, 0.0, "squeezed-in-season"),
        (-0.01, 0.0, 0.0, 0.05, None),  # a soft part gives
        (0.05, 0.03, 0.04, 0.0, None),  # 3, 4, 5
        (0.049, 0.03, 0.04, 0.0, "may-close-in-season"),
    ],
)
def test_a_gap_closes_in_season_where_its_doubts_add_up_to_more(gap, u95, part_u95, squeeze, code):
    day = of_one_day(gap, opening=-0.4, u95=u95)
    found = season_notices((day,), {"length": 9.0, "width": part_u95}, None, squeeze)
    assert [n.code for n in found] == ([code] if code else [])


def test_a_doubt_that_no_season_makes_is_not_the_season_s():
    # 0.1 mm of gap on the driest day, 0.02 of it taken; the part's own U95 of 0.5 mm was there.
    vague = {"length": 0.5, "width": 0.5}
    assert season_notices((of_one_day(0.1, opening=-0.04, u95=0.01),), vague, None) == ()
    # A season that opens the gap is no cause either.
    assert season_notices((of_one_day(0.1, opening=0.04),), vague, None) == ()
    # One that takes more than the doubt leaves is.
    assert season_notices((of_one_day(0.1, opening=-0.9),), vague, None) != ()


def test_the_worst_day_of_each_axis_is_told_with_what_to_add():
    days = (
        of_one_day(-0.10, opening=-0.6, u95=0.03),
        of_one_day(-0.30, part=0.9, opening=0.1, u95=0.03, season="dampest"),
        of_one_day(0.5, direction="length"),
    )
    (found,) = season_notices(days, {"length": 0.0, "width": 0.04}, None)
    assert str(found.text) == (
        "on the dampest day the part is squeezed by 0.30 mm per side along the width (U95 0.05 "
        "mm): the part grows by 0.90 mm and the opening grows by 0.10 mm, 0.40 mm less gap than "
        "as cut"
    )
    assert str(found.mend) == "add 0.35 mm of clearance along the width"
    (turn,) = season_notices(days, {"length": 0.0, "width": 0.04}, ("width", 0.12))
    assert "let the grain run along the width, which saves 0.12 mm per side" in str(turn.mend)
    (soft,) = season_notices(days, {"length": 0.0, "width": 0.04}, None, 0.1, rigid=False)
    assert (soft.code, soft.severity) == ("squeezed-in-season", "check")
    assert str(soft.mend) == "add 0.25 mm of clearance along the width"


def test_a_change_too_small_to_see_is_not_told():
    (found,) = season_notices((of_one_day(-0.001, part=0.004, opening=-0.004),), SURE, None)
    assert "nothing moves much" in str(found.text)
    (found,) = season_notices((of_one_day(-0.1, part=0.006, opening=-0.2),), SURE, None)
    assert "the part grows by 0.01 mm and the opening shrinks by 0.20 mm" in str(found.text)


def test_the_grain_is_turned_for_a_twentieth_of_a_millimetre_and_not_for_less():
    # Across 100 mm, 0.00274 x 1 %: 0.137 mm on each side; across 50 mm half of it.
    for size, worth in (((120.0, 50.0), True), ((100.0, 90.0), False)):
        found = turning_saves(board(grain="width", driest=7.0), size, even(0.0))
        assert (found is not None) == worth
    way, saved = turning_saves(board(grain="width", driest=7.0), (120.0, 50.0), even(0.0))
    assert (way, saved) == ("length", pytest.approx((120 - 50) * 0.00274 / 2, abs=0.003))
    assert turning_saves(Movers(part=timber()), (400, 100), even(0.3)) is None


def test_the_strain_that_splits_a_glued_land_is_half_a_per_cent():
    # Walnut, flat sawn: 0.00274 for 1 %, so 1.8 % of drying is 0.49 %, 1.9 % is 0.52 %.
    assert wood_notices(board(now=8.0, driest=6.2), glued=True, rigid=True) == ()
    (found,) = wood_notices(board(now=8.0, driest=6.1), glued=True, rigid=True)
    assert found.code == "glue-would-split-land"
    assert "0.5 %" in str(found.text)
    across = board(grain="width", now=8.0, driest=6.1)
    assert [n.code for n in wood_notices(across, True, True)] == ["glue-would-split-land"]
    assert wood_notices(board(now=8.0, driest=6.1), glued=True, rigid=False) == ()
    assert wood_notices(board(now=8.0, driest=6.1), glued=False, rigid=True) == ()


@pytest.mark.parametrize(
    ("driest", "dampest", "said"), [(6, 14, None), (5.9, 11, "5.9 %"), (6, 14.1, "14.1 %")]
)
def test_the_table_of_movement_holds_from_6_to_14_per_cent(driest, dampest, said):
    found = wood_notices(board(driest=driest, dampest=dampest), False, True)
    assert [n.code for n in found] == (["moisture-outside-table"] if said else [])
    assert all(said in str(n.text) for n in found)
