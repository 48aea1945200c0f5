import pytest

from snugline.errors import InputError, PlanError
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.thickness import Thickness, thickness_of
from snugline.pocket.choices import Cutter, PocketChoices
from snugline.pocket.clearance import even
from snugline.pocket.depth import depth_notices, pocket_depth

NINE = Thickness(9.5, 0.025)


def cut_with(length, diameter=6.0, floor=None):
    return PocketChoices((even(0.25),), cutter=Cutter(diameter, length), floor=floor)


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
    uneven = thickness_of([Reading("thickness", (9.35, 9.5, 9.6), "caliper")])
    depth = pocket_depth(uneven, stock=11)
    notices = depth_notices(depth, uneven, cut_with(8))
    assert [n.code for n in notices] == [
        "thin-floor",
        "cutter-shorter-than-depth",
        "uneven-thickness",
    ]
    assert depth_notices(pocket_depth(NINE, stock=18), NINE, cut_with(20)) == ()


def test_a_floor_less_than_its_own_uncertainty_is_not_to_be_cut():
    # Set-up w01: a floor of 0.04 mm where the depth is uncertain by 0.12 mm.
    thickness = Thickness(5.96, 0.12 / 1.96)
    depth = pocket_depth(thickness, stock=6.0)
    (notice,) = depth_notices(depth, thickness, PocketChoices((even(0.3),)))
    assert (notice.code, notice.severity) == ("floor-below-uncertainty", "cannot be cut")
    assert "0.04 mm" in notice.text


def test_a_stated_least_floor_is_a_limit_and_common_practice_is_a_hint():
    depth = pocket_depth(NINE, stock=12)
    for floor, severity in ((None, "check"), (3.0, "cannot be cut"), (2.0, None)):
        found = depth_notices(depth, NINE, PocketChoices((even(0.3),), floor=floor))
        assert [n.severity for n in found if n.code == "thin-floor"] == [severity] * bool(severity)


def test_a_slender_cutter_is_named():
    # Set-up w04: 3 mm thick, 80 mm long.
    (notice,) = depth_notices(pocket_depth(NINE, stock=20), NINE, cut_with(80, 3))
    assert notice.code == "cutter-slender"
    assert "27 times" in notice.text


def test_the_face_that_is_sanded_off_is_cut_through_with_the_pocket():
    """What stands above is measured from the finished face: depth = thickness - above + removal."""
    made = pocket_depth(NINE, above=1.5, removal=0.4, deeper=2.5, stock=20)
    assert (made.pocket, made.deepest) == pytest.approx((9.5 - 1.5 + 0.4, 10.9))
    assert made.floor == pytest.approx(20 - 10.9)
    assert (made.above, made.u95) == (1.5, NINE.u95)
    assert pocket_depth(NINE, deeper=-1.0, stock=20).deepest == 9.5  # a step up deepens nothing
    assert pocket_depth(NINE).floor is None
    with pytest.raises(PlanError, match="cannot stand"):
        pocket_depth(NINE, above=9.5)
    assert pocket_depth(NINE, above=9.4).pocket == pytest.approx(0.1)


def test_the_seat_is_for_the_thickest_place():
    varies = Thickness(9.5, 0.025, values=(9.2, 9.5, 9.8), varies=True)
    assert pocket_depth(varies).pocket == 9.8
    assert pocket_depth(Thickness(9.5, 0.025, values=(9.2, 9.5, 9.8))).pocket == 9.5


@pytest.mark.parametrize(
    ("stock", "codes"),
    [
        (12.5, []),  # 3 mm of floor is common practice, no source
        (12.49, ["thin-floor"]),
        (9.5 + 0.05, ["thin-floor"]),
        (9.5 + 0.049, ["floor-below-uncertainty"]),
    ],
)
def test_a_floor_is_thin_below_3_mm_and_none_within_its_uncertainty(stock, codes):
    thickness = Thickness(9.5, 0.05 / 1.96)
    found = depth_notices(pocket_depth(thickness, stock=stock), thickness, cut_with(20))
    assert [n.code for n in found] == codes


@pytest.mark.parametrize(
    ("length", "codes"),
    [
        (9.5, []),
        (9.49, ["cutter-shorter-than-depth"]),
        (48.0, []),  # eight times as long as thick is common practice, no source
        (48.1, ["cutter-slender"]),
    ],
)
def test_a_cutter_is_long_enough_and_not_too_slender(length, codes):
    found = depth_notices(pocket_depth(NINE), NINE, cut_with(length))
    assert [n.code for n in found] == codes
    if codes == ["cutter-slender"]:
        assert "8 times as long as thick" in str(found[0].text)
        assert "9.50 mm deep" in str(found[0].mend)


def test_thickness_readings_are_uneven_from_a_fifth_of_a_millimetre_on():
    for spread, said in ((0.2, False), (0.21, True)):
        uneven = thickness_of([Reading("thickness", (9.4, 9.4 + spread), "caliper")])
        found = depth_notices(pocket_depth(uneven), uneven, cut_with(20))
        assert [n.code for n in found] == (["uneven-thickness"] if said else [])
