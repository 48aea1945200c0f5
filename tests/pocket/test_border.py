import math

import pytest

from snugline.errors import PlanError
from snugline.fit.geometry.primitives import circle, rounded_rectangle
from snugline.pocket.access import FingerNotch, notch_outline
from snugline.pocket.border import (
    EdgeTreatment,
    border_notices,
    border_outline,
    least_land,
    thinnest_wall,
)
from snugline.pocket.merge import united

POCKET = rounded_rectangle(120, 80, 10)


def codes(*arguments):
    return [n.code for n in border_notices(*arguments)]


def test_a_parallel_border_keeps_its_land_all_round():
    border = border_outline(POCKET, 15)
    assert border.area == pytest.approx(POCKET.area + POCKET.perimeter * 15 + math.pi * 225)
    assert least_land(POCKET, border) == pytest.approx(15, abs=1e-9)


def test_a_border_with_its_own_corners_is_a_rounded_rectangle_about_the_pocket():
    border = border_outline(POCKET, 15, corner=40)
    assert border.bounds == pytest.approx((-75, -55, 75, 55))
    # Corner circles: centre (35, 15) R 40 outside, centre (50, 30) R 10 inside, on one diagonal.
    assert least_land(POCKET, border) == pytest.approx(40 - 15 * math.sqrt(2) - 10, abs=1e-3)


@pytest.mark.parametrize("land", [0, -3, float("nan")])
def test_no_land_is_refused(land):
    with pytest.raises(PlanError, match="leaves no wood"):
        border_outline(POCKET, land)


def test_a_corner_too_large_for_the_border_is_refused():
    with pytest.raises(PlanError, match="does not fit a border"):
        border_outline(POCKET, 15, corner=60)


def test_a_notch_through_the_border_is_refused():
    wide = united(POCKET, [notch_outline(POCKET, FingerNotch("front", 40), 6)], "notch")
    land = least_land(wide, border_outline(POCKET, 15))
    assert land == pytest.approx(-5, abs=0.01)
    with pytest.raises(PlanError, match=r"passes the border by 5\.0"):
        border_notices(land, None, 9, 18)


@pytest.mark.parametrize(
    ("kind", "below", "taken"),
    [  # by hand: a leg of 6, a circle of 6 about a point within the wood, one about the arris
        ("chamfer", 0, 6),
        ("chamfer", 2, 4),
        ("round-over", 0, 6),
        ("round-over", 3, 6 - math.sqrt(27)),
        ("cove", 0, 6),
        ("cove", 3, math.sqrt(27)),
        ("cove", 7, 0),
    ],
)
def test_an_edge_profile_takes_what_its_section_says(kind, below, taken):
    assert EdgeTreatment(kind, 6.0).taken(below) == pytest.approx(taken)


def test_the_flat_left_on_top_is_judged_in_four_degrees():
    edge = EdgeTreatment("round-over", 6.0)
    assert codes(10.0, edge, 9, 18) == []
    assert codes(8.0, edge, 9, 18) == ["narrow-flat"]
    assert codes(6.5, edge, 9, 18) == ["feather-edge"]
    assert codes(6.0 - 0.5, edge, 9, 18) == ["thin-wall", "edge-breaks-into-pocket"]


def test_a_profile_on_both_faces_is_judged_where_the_wall_is_thinnest():
    edge = EdgeTreatment("chamfer", 8.0, both_faces=True)
    assert thinnest_wall(10, edge, 14, 18) == pytest.approx(2.0, abs=0.05)
    assert thinnest_wall(10, EdgeTreatment("chamfer", 12.0, both_faces=True), 17, 18) < 0
    assert "edge-higher-than-board" in codes(20.0, EdgeTreatment("cove", 10, True), 9, 18)


def test_a_round_part_gets_a_round_border():
    border = border_outline(circle(30), 10)
    assert border.area == pytest.approx(1600 * math.pi)
