import math

import pytest

from snugline.pocket.clearance import Clearance, even
from snugline.pocket.tool_shape import Cutter, tool_notices


def test_a_tapered_cutter_is_wider_above_its_tip():
    cutter = Cutter(6.0, taper=math.radians(2))
    # 6 + 2 x 10 x tan 2 degrees, by hand.
    assert cutter.width_at(10) == pytest.approx(6.6984, abs=1e-4)
    assert cutter.width_at(0) == 6.0


def test_a_rounded_corner_s_width_is_the_circle_s():
    ball = Cutter(6.0, corner=3.0)
    # A ball's section at height h is a circle of diameter 2 sqrt(r^2 - (r - h)^2).
    for height in (0.0, 1.0, 2.0, 3.0):
        assert ball.width_at(height) == pytest.approx(2 * math.sqrt(9 - (3 - height) ** 2))


def test_a_fillet_lifts_a_part_with_a_sharp_edge():
    cutter = Cutter(6.0, corner=1.0)
    # The edge rests where the fillet's circle is 0.25 mm from the wall: 1 - sqrt(1 - 0.75^2).
    assert cutter.lifts(0.25) == pytest.approx(1 - math.sqrt(1 - 0.75**2))
    assert cutter.lifts(1.0) == 0.0
    codes = [n.code for n in tool_notices(cutter, 9.5, even(0.25))]
    assert codes == ["fillet-lifts-part"]


def test_leaning_walls_are_told_in_the_reader_s_unit():
    (notice,) = tool_notices(Cutter(6.35, taper=math.radians(1)), 10.0, even(0.25))
    assert "0.17 mm wider" in notice.text
    assert "0.007 in wider" in notice.text.in_unit("in")
    assert tool_notices(Cutter(6.35), 10.0, even(0.25)) == ()


def test_a_corner_cuts_narrower_only_below_its_own_radius():
    cutter = Cutter(6.0, corner=1.0, taper=math.radians(3))
    assert cutter.width_at(1.0) == pytest.approx(6 + 2 * math.tan(math.radians(3)))
    assert cutter.width_at(0.0) == pytest.approx(4.0)
    # r - sqrt(r^2 - (r - h)^2) is lost on each side of a rounded corner at the height h.
    lost = 1 - math.sqrt(1 - 0.5**2)
    assert cutter.width_at(0.5) == pytest.approx(6 + math.tan(math.radians(3)) - 2 * lost)


@pytest.mark.parametrize(
    ("gap", "lift"), [(1.0, 0.0), (0.5, 1 - math.sqrt(0.75)), (0.0, 1.0), (-0.2, 1.0)]
)
def test_a_sharp_edge_rests_on_the_fillet(gap, lift):
    cutter = Cutter(6.0, corner=1.0)
    assert cutter.lifts(gap) == pytest.approx(lift)
    said = [n for n in tool_notices(cutter, 9.5, even(gap)) if n.code == "fillet-lifts-part"]
    assert bool(said) == (lift > 0.1)
    for notice in said:
        assert f"{lift:.2f} mm higher" in str(notice.text)


def test_a_lift_of_less_than_a_tenth_is_not_felt():
    # 1 - sqrt(1 - (1 - g)^2) = 0.1 at g = 1 - sqrt(0.19): common practice, no source.
    limit = 1 - math.sqrt(0.19)
    assert tool_notices(Cutter(6.0, corner=1.0), 9.5, even(limit + 0.001)) == ()
    assert tool_notices(Cutter(6.0, corner=1.0), 9.5, even(limit - 0.001)) != ()
    # The narrower axis decides.
    assert tool_notices(Cutter(6.0, corner=1.0), 9.5, Clearance(0.9, 0.3)) != ()


def test_a_taper_widens_each_side_by_its_tangent():
    (notice,) = tool_notices(Cutter(6.35, taper=math.radians(2)), 12.0, even(0.25))
    assert notice.severity == "note"
    assert f"{12 * math.tan(math.radians(2)):.2f} mm wider" in str(notice.text)
    assert "a width of 6.35 mm" in str(notice.mend)
