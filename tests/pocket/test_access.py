import math

import pytest

from snugline.errors import PlanError
from snugline.fit.geometry.outline import Arc
from snugline.fit.geometry.primitives import circle, rounded_rectangle
from snugline.pocket.access import (
    SIDES,
    FingerNotch,
    PushHole,
    RibbonSlot,
    notch_outline,
    push_hole_outline,
    ribbon_outline,
    side_middle,
)
from snugline.pocket.merge import united

POCKET = rounded_rectangle(120, 80, 10)


def test_side_middles_lie_on_the_outline():
    assert [side_middle(POCKET, s) for s in SIDES] == [(0, -40), (0, 40), (-60, 0), (60, 0)]
    x, y = side_middle(circle(25, (3, 4)), "right")
    assert (x, y) == pytest.approx((28, 4))


@pytest.mark.parametrize("side", SIDES)
def test_a_notch_adds_a_half_round_as_one_true_arc(side):
    made = united(POCKET, [notch_outline(POCKET, FingerNotch(side, 22), 6)], "notch")
    assert made.area - POCKET.area == pytest.approx(11**2 * math.pi / 2)
    (arc,) = [s for s in made.segments if isinstance(s, Arc) and abs(s.radius - 11) < 1e-9]
    assert abs(arc.sweep) == pytest.approx(math.pi)


@pytest.mark.parametrize("side", SIDES)
def test_a_ribbon_slot_goes_into_the_wall_as_far_as_asked(side):
    made = united(POCKET, [ribbon_outline(POCKET, RibbonSlot(side, 20, 4), 6)], "slot")
    axis = 0 if side in ("left", "right") else 1
    low = 0 if side in ("left", "front") else 2
    assert made.bounds[axis + low] - POCKET.bounds[axis + low] == pytest.approx(
        -4 if low == 0 else 4
    )
    assert 20 * 4 - made.area + POCKET.area == pytest.approx(2 * (1 - math.pi / 4) * 9)


@pytest.mark.parametrize(
    "make",
    [
        lambda: notch_outline(POCKET, FingerNotch("front", 5), 6),
        lambda: ribbon_outline(POCKET, RibbonSlot("front", 5), 6),
        lambda: push_hole_outline(POCKET, PushHole(5), 6),
    ],
)
def test_what_is_narrower_than_the_cutter_is_refused(make):
    with pytest.raises(PlanError, match="narrower than the cutter"):
        make()


def test_a_notch_wider_than_its_side_is_refused():
    with pytest.raises(PlanError, match="passes the left side"):
        notch_outline(POCKET, FingerNotch("left", 90), 6)


def test_a_push_hole_must_lie_in_the_floor():
    made = push_hole_outline(POCKET, PushHole(20, (10, 5)), 6)
    assert made.area == pytest.approx(100 * math.pi)
    with pytest.raises(PlanError, match=r"reaches 5\.0 mm beyond"):
        push_hole_outline(POCKET, PushHole(20, (55, 0)), 6)


@pytest.mark.parametrize("shape", ["half round", "oblong", "square"])
@pytest.mark.parametrize("side", ["front", "back", "left", "right"])
def test_a_notch_of_any_shape_lies_where_it_is_asked_for(shape, side):
    notch = FingerNotch(side, 24.0, at=-15.0, shape=shape, reach=9.0)
    made = notch_outline(POCKET, notch, 6.0)
    low_x, low_y, high_x, high_y = POCKET.bounds
    x0, y0, x1, y1 = made.bounds
    if side in ("front", "back"):
        wall = low_y if side == "front" else high_y
        assert (x0, x1) == pytest.approx((-15 - 12, -15 + 12))
        assert (wall - y0 if side == "front" else y1 - wall) == pytest.approx(9.0)
    else:
        wall = low_x if side == "left" else high_x
        assert (y0, y1) == pytest.approx((-15 - 12, -15 + 12))
        assert (wall - x0 if side == "left" else x1 - wall) == pytest.approx(9.0)
    united(POCKET, [made], "finger notch")


def test_a_notch_beyond_its_side_is_refused():
    with pytest.raises(PlanError, match="passes the front side"):
        notch_outline(POCKET, FingerNotch("front", 24.0, at=POCKET.bounds[2]), 6.0)
