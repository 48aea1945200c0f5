"""How small a difference between drawing and file is noticed, in nodes, area and length."""

import math

import pytest

from snugline.fit.drawing.contract import differences
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.geometry.outline import Line, Outline, arc_from_bulge
from snugline.fit.geometry.primitives import circle, polygon


def told(drawn, found):
    one, other = (Drawing("x", (Layer("a", (o,)),), "mm") for o in (drawn, found))
    return list(differences(one, other))


def lens(bulge):
    """A chord of 100 mm and its arc: nodes alike whatever the bulge."""
    return Outline(
        (Line((0.0, 0.0), (100.0, 0.0)), arc_from_bulge((100.0, 0.0), (0.0, 0.0), bulge))
    )


def test_an_arc_of_another_radius_is_noticed_by_its_area_and_length():
    """A flat segment has 2/3 of chord times rise: 10 nm more of rise are 7e-4 of 670 mm2."""
    (area, perimeter) = told(lens(0.2), lens(0.2 + 2e-7))
    assert "its area is" in area
    assert "its perimeter is" in perimeter
    assert told(lens(0.2), lens(0.2)) == []
    # The hundred-millionth part is rounding.
    assert told(lens(0.2), lens(0.2 + 1e-10)) == []


@pytest.mark.parametrize(("off", "seen"), [(2e-6, True), (0.9e-6, False)])
def test_a_node_is_noticed_from_a_nanometre_on(off, seen):
    corners = [(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 50.0)]
    moved = [*corners[:2], (100.0 + off, 50.0), corners[3]]
    found = told(polygon(corners), polygon(moved))
    assert any("a node is" in text for text in found) == seen


@pytest.mark.parametrize(
    ("centre", "radius", "seen"),
    [((0.0, 0.0), 10.0, False), ((0.0, 2e-6), 10.0, True), ((0.0, 0.0), 10.0 + 2e-6, True),
     ((6e-7, 0.0), 10.0 + 6e-7, True), ((4e-7, 0.0), 10.0 + 4e-7, False)],
)  # fmt: skip
def test_a_circle_is_told_by_centre_and_radius_together(centre, radius, seen):
    assert bool(told(circle(10.0), circle(radius, centre))) == seen
    square = polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
    assert told(circle(10.0), square) == ["layer 'a': path 1: it is not a whole circle"]


def test_a_large_outline_s_area_counts_in_proportion():
    big = polygon([(0, 0), (9000, 0), (9000, 9000), (0, 9000)])
    assert told(big, big) == []
    assert math.isclose(big.area, 8.1e7)
