import pytest

from snugline.errors import InputError, PlanError
from snugline.fit.geometry.outline import Arc
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.pocket.relief import relieved
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


def test_corners_that_the_part_meets_block_the_template():
    # Set-up j03: square corners, a part left 0.86 mm in the wood, yet "usable".
    part = rounded_rectangle(120, 80)
    pocket = parallel(part, 0.3)[0]
    (notice,) = template_notices(pocket, part, Follower(17, 8))
    assert (notice.code, notice.severity) == ("template-corner-too-tight", "cannot be cut")
    assert "meet 1.23 mm" in notice.text
    round_part = rounded_rectangle(120, 80, 10)
    assert template_notices(parallel(round_part, 0.3)[0], round_part, Follower(17, 8)) == ()


def test_corners_that_the_cutter_leaves_but_the_part_keeps_clear_of_are_for_information():
    part = rounded_rectangle(120, 80, 3)
    (notice,) = template_notices(parallel(part, 0.5)[0], part, Follower(17, 8))
    assert notice.severity == "note"


def test_a_relief_for_the_template_s_cutter_lets_the_part_in():
    part = rounded_rectangle(120, 80)
    pocket = relieved(parallel(part, 0.3)[0], 8.0, "dog-bone", 0.2).outline
    assert template_notices(pocket, part, Follower(17, 8)) == ()
    # The bush turns in the relief: its arcs have the cutter's radius, the allowance, the offset.
    radii = [
        s.radius
        for s in template_outline(pocket, Follower(17, 8)).segments
        if isinstance(s, Arc) and s.sweep > 0
    ]
    assert max(radii) == pytest.approx(4.2 + 4.5)


def test_a_cutter_that_does_not_pass_the_bush_is_refused():
    with pytest.raises(InputError, match="does not pass a bush"):
        template_outline(POCKET, Follower(8, 8))
    with pytest.raises(InputError, match="above 0"):
        template_outline(POCKET, Follower(0, 8))


def test_a_template_that_vanishes_is_refused():
    with pytest.raises(PlanError, match="falls into 0 pieces"):
        template_outline(rounded_rectangle(30, 10, 5), Follower(4, 20, "bearing"))
