import math

import pytest

from snugline.pocket.clearance import Clearance, even
from snugline.pocket.tool_shape import Cutter, tool_notices


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
