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


@pytest.mark.parametrize(
    ("kind", "land", "size", "depth", "stock", "wall"),
    [  # by hand, from the profile's section at the level named
        ("chamfer", 10.0, 8.0, 14.0, 18.0, 2.0),  # the face: 10 - 8
        ("chamfer", 10.0, 8.0, 12.0, 12.0, 2.0),  # 4 to 8 mm down both take 12 in all: 10 - 4 - 4
        ("cove", 10.0, 8.0, 4.0, 12.0, 2.0),  # the face; the other profile begins at 4 mm
        ("cove", 20.0, 8.0, 9.0, 12.0, 20 - 2 * math.sqrt(64 - 36)),  # half way down, twice
        ("round-over", 10.0, 8.0, 12.0, 12.0, 2.0),
    ],
)
def test_the_wall_between_two_treated_faces_is_the_section_s(kind, land, size, depth, stock, wall):
    edge = EdgeTreatment(kind, size, both_faces=True)
    assert thinnest_wall(land, edge, depth, stock) == pytest.approx(wall, abs=2e-3)


def test_the_second_face_takes_wood_only_where_it_is_treated():
    # A cove of 8 mm on both faces of 12 mm: half way down 10.6 of 10 mm are gone.
    both = EdgeTreatment("cove", 8.0, both_faces=True)
    assert "edge-breaks-into-pocket" in codes(10.0, both, 9, 12)
    assert codes(11.0, EdgeTreatment("cove", 8.0), 9, 12) == []
    assert "edge-higher-than-board" in codes(30.0, both, 9, 15.9)
    assert codes(30.0, both, 7, 16.0) == []
    assert codes(30.0, EdgeTreatment("cove", 8.0), 7, 8.0) == []
    assert codes(30.0, both, 7, None) == []


def test_a_wall_just_as_thick_as_is_usual_is_not_remarked_on():
    # 6 mm of wall, 3 mm of flat and 1 mm at the feather are common practice, no source.
    assert codes(6.0, None, 9, 18) == []
    assert codes(5.99, None, 9, 18) == ["thin-wall"]
    edge = EdgeTreatment("chamfer", 6.0)
    assert codes(9.0, edge, 9, 18) == []
    assert codes(8.99, edge, 9, 18) == ["narrow-flat"]
    assert codes(7.0, edge, 9, 18) == ["narrow-flat"]
    assert codes(6.99, edge, 9, 18) == ["feather-edge"]
    assert codes(6.0, edge, 9, 18) == ["feather-edge"]


def test_the_remedy_is_a_land_that_is_enough():
    edge = EdgeTreatment("chamfer", 6.0)
    for land in (5.5, 6.5, 8.0):
        found = border_notices(land, edge, 9, 18)[-1]
        assert "widen the land to 9.00 mm" in str(found.mend)
        assert codes(9.0, edge, 9, 18) == []
    (found,) = [n for n in border_notices(5.5, edge, 9, 18) if n.code == "edge-breaks-into-pocket"]
    assert "is 0.50 mm short" in str(found.text)
    with pytest.raises(PlanError, match=r"by 0\.50 mm") as caught:
        border_notices(-0.5, None, 9, 18)
    assert "6.5 mm or more" in str(caught.value.mend)
    with pytest.raises(PlanError, match="passes the border"):
        border_notices(0.0, None, 9, 18)


def test_the_largest_corner_that_fits_is_named():
    with pytest.raises(PlanError, match=r"150\.0 x 110\.0 mm") as caught:
        border_outline(POCKET, 15, corner=60)
    assert "55.0 mm or less" in str(caught.value.mend)


def test_a_border_lies_about_a_pocket_that_does_not_lie_in_the_middle():
    border = border_outline(POCKET.translated(30, -7), 15, corner=20)
    assert border.bounds == pytest.approx((-45, -62, 105, 48))
    assert least_land(POCKET.translated(30, -7), border) == pytest.approx(15, abs=1e-9)


@pytest.mark.parametrize("land", [0.01, 0.5, 1.0])
def test_a_wall_that_is_there_is_thin_and_not_passed(land):
    (found,) = border_notices(land, None, 9, 18)
    assert found.code == "thin-wall"
    assert f"is {land:.2f} mm at its thinnest" in str(found.text)
