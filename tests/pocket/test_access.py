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


def test_a_hole_that_just_fits_its_place_is_cut():
    # 60 mm from the middle to the right wall: a hole of 20 mm reaches it at x = 50.
    push_hole_outline(POCKET, PushHole(20, (50, 0)), 6)
    with pytest.raises(PlanError, match=r"reaches 0\.1 mm beyond"):
        push_hole_outline(POCKET, PushHole(20, (50.1, 0)), 6)
    assert push_hole_outline(POCKET, PushHole(6, (0, 0)), 6).area == pytest.approx(9 * math.pi)


@pytest.mark.parametrize("side", SIDES)
def test_a_notch_of_the_whole_side_is_the_widest(side):
    whole = 120 if side in ("front", "back") else 80
    x, y = side_middle(POCKET, side)
    made = notch_outline(POCKET, FingerNotch(side, whole, shape="square", reach=5.0), 6)
    assert (made.bounds[0] + made.bounds[2], made.bounds[1] + made.bounds[3]) == pytest.approx(
        (2 * x, 2 * y)
    )
    for width, at in ((whole + 0.1, 0.0), (whole - 10, 5.1), (whole - 10, -5.1)):
        with pytest.raises(PlanError, match="passes the"):
            notch_outline(POCKET, FingerNotch(side, width, at=at), 6)
    notch_outline(POCKET, FingerNotch(side, whole - 10, at=5.0), 6)


@pytest.mark.parametrize(
    ("shape", "reach", "radius"),
    [("half round", 4.0, 4.0), ("half round", 20.0, 12.0), ("oblong", 4.0, 4.0),
     ("oblong", 20.0, 12.0), ("square", 9.0, 3.0), ("square", 2.0, 2.0)],
)  # fmt: skip
def test_a_notch_s_corners_are_as_its_shape_says(shape, reach, radius):
    made = notch_outline(POCKET, FingerNotch("front", 24.0, shape=shape, reach=reach), 6.0)
    assert made.area == pytest.approx(24 * 2 * reach - (4 - math.pi) * radius**2)
    arcs = {round(s.radius, 9) for s in made.segments if isinstance(s, Arc)}
    assert arcs == {radius}


def test_an_oblong_notch_is_at_least_as_deep_as_the_cutter_is_wide():
    notch_outline(POCKET, FingerNotch("front", 24.0, shape="oblong", reach=3.0), 6.0)
    with pytest.raises(PlanError, match="narrower than the cutter"):
        notch_outline(POCKET, FingerNotch("front", 24.0, shape="oblong", reach=2.9), 6.0)


def test_beyond_its_corner_a_side_has_no_wall():
    round_part = circle(25)
    assert side_middle(round_part, "back", 15.0) == pytest.approx((15, 20))
    assert side_middle(round_part, "left", -15.0) == pytest.approx((-20, -15))
    with pytest.raises(PlanError, match=r"30\.0 mm from the middle the right side has no wall"):
        side_middle(round_part, "right", -30.0)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("deep", [3.0, 9.0])
def test_a_ribbon_slot_reaches_as_far_inwards_as_the_cutter_needs(side, deep):
    made = ribbon_outline(POCKET, RibbonSlot(side, 20, deep), 6)
    x, y = side_middle(POCKET, side)
    low_x, low_y, high_x, high_y = made.bounds
    inwards = max(6.0, deep)
    along = {"front": (y - deep, y + inwards), "back": (y - inwards, y + deep),
             "left": (x - deep, x + inwards), "right": (x - inwards, x + deep)}[side]  # fmt: skip
    own = (low_y, high_y) if side in ("front", "back") else (low_x, high_x)
    assert own == pytest.approx(along)
