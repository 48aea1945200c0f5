import pytest

from snugline.errors import InputError, PlanError
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.pocket.template import Follower, template_notices, template_outline

POCKET = rounded_rectangle(120, 80, 10)


def test_the_template_is_wider_by_half_of_bush_less_cutter():
    made = template_outline(POCKET, Follower(17, 8))
    assert made.bounds == pytest.approx((-64.5, -44.5, 64.5, 44.5))
    assert sorted({round(getattr(s, "radius", 0), 9) for s in made.segments}) == [0, 14.5]


def test_a_bearing_of_the_cutter_s_size_copies_the_pocket():
    assert template_outline(POCKET, Follower(12, 12, "bearing")) is POCKET


def test_a_bearing_smaller_than_the_cutter_asks_for_a_smaller_template():
    made = template_outline(POCKET, Follower(10, 12, "bearing"))
    assert made.bounds == pytest.approx((-59, -39, 59, 39))


def test_a_bush_that_cannot_turn_in_the_corner_is_said():
    (notice,) = template_notices(rounded_rectangle(120, 80, 3), Follower(17, 8))
    assert notice.code == "template-corner-too-tight"
    assert "come out at 4.00 mm" in notice.text
    assert template_notices(POCKET, Follower(17, 8)) == ()
    assert template_notices(rounded_rectangle(120, 80), Follower(17, 8))


def test_a_cutter_that_does_not_pass_the_bush_is_refused():
    with pytest.raises(InputError, match="does not pass a bush"):
        template_outline(POCKET, Follower(8, 8))
    with pytest.raises(InputError, match="above 0"):
        template_outline(POCKET, Follower(0, 8))


def test_a_template_that_vanishes_is_refused():
    with pytest.raises(PlanError, match="falls into 0 pieces"):
        template_outline(rounded_rectangle(30, 10, 5), Follower(4, 20, "bearing"))
