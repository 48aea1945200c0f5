import pytest

from snugline.errors import InputError, PlanError
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.thickness import Thickness, thickness_of
from snugline.pocket.depth import depth_notices, pocket_depth

NINE = Thickness(9.5, 0.025)


def test_flush_is_the_thickness_and_sanding_goes_on_top():
    assert pocket_depth(NINE).pocket == 9.5
    assert pocket_depth(NINE, removal=0.3).pocket == pytest.approx(9.8)
    assert pocket_depth(NINE, above=0.5, removal=0.3).pocket == pytest.approx(9.3)
    assert pocket_depth(NINE, above=-0.5).pocket == pytest.approx(10.0)


def test_the_floor_is_what_the_deepest_cut_leaves():
    made = pocket_depth(NINE, deeper=2.0, stock=18)
    assert made.deepest == 11.5
    assert made.floor == pytest.approx(6.5)


@pytest.mark.parametrize("stock", [9.5, 8.0])
def test_a_depth_through_the_board_is_refused(stock):
    with pytest.raises(PlanError, match="goes through the board") as caught:
        pocket_depth(NINE, stock=stock)
    assert "12.5 mm or more" in caught.value.mend


def test_a_part_cannot_stand_higher_than_it_is_thick():
    with pytest.raises(PlanError, match="cannot stand"):
        pocket_depth(NINE, above=10)


def test_negative_sanding_is_refused():
    with pytest.raises(InputError, match="negative"):
        pocket_depth(NINE, removal=-0.1)


def test_thin_floor_short_cutter_and_uneven_part_are_said():
    uneven = thickness_of([Reading("thickness", (9.3, 9.5, 9.7), "caliper")])
    depth = pocket_depth(uneven, stock=11)
    notices = depth_notices(depth, uneven, cutter_length=8)
    assert [n.code for n in notices] == [
        "thin-floor",
        "cutter-shorter-than-depth",
        "uneven-thickness",
    ]
    assert depth_notices(pocket_depth(NINE, stock=18), NINE, cutter_length=20) == ()
