"""Comparing outlines: known differences are found, and moved copies are laid on each other."""

import json
import math

import pytest
import shapely

from snugline.fit.geometry.outline import polygon_of
from snugline.fit.geometry.outline_comparison import aligned, compare
from snugline.fit.geometry.primitives import circle, rounded_rectangle

PLATE = rounded_rectangle(300, 100, [10, 20, 0, 50])


def test_an_outline_is_at_no_distance_from_itself_whichever_way_it_winds():
    found = compare(PLATE, PLATE.reversed())
    assert found.largest < 1e-12
    assert found.area_difference == 0


def test_a_longer_plate_stands_out_by_half_the_difference():
    found = compare(rounded_rectangle(301, 100, 12), rounded_rectangle(300, 100, 12))
    assert found.first_to_second.largest == pytest.approx(0.5)
    assert found.second_to_first.largest == pytest.approx(-0.5)
    assert abs(found.first_to_second.at[0]) == pytest.approx(150.5)
    # check-values.md, section 7: a length 1 mm too long adds W mm² and 2 mm.
    assert found.area_difference == pytest.approx(100)
    assert found.perimeter_difference == pytest.approx(2)


def test_circles_of_two_sizes_differ_evenly():
    found = compare(circle(12), circle(10))
    assert found.first_to_second.rms == pytest.approx(2)
    assert found.second_to_first.mean == pytest.approx(-2)


def test_the_largest_distance_is_shapelys_hausdorff_distance():
    other = rounded_rectangle(290, 104, [3, 45, 12, 30]).rotated(0.02)
    reference = shapely.hausdorff_distance(
        polygon_of(PLATE, 1e-3).exterior, polygon_of(other, 1e-3).exterior, densify=0.01
    )
    assert compare(PLATE, other).largest == pytest.approx(reference, abs=0.01)


@pytest.mark.parametrize("angle", [0.05, 0.5, 1.3, 2.9, -2.0])
def test_a_moved_copy_is_laid_back_exactly(angle):
    moved = PLATE.rotated(angle, (7, 8)).translated(30, -20)
    found = compare(moved, PLATE, align=True)
    assert found.largest < 1e-9
    assert found.turn == pytest.approx(-angle, abs=1e-12)


def test_alignment_is_the_least_of_its_neighbours():
    other = rounded_rectangle(301, 99, [12, 18, 3, 48]).rotated(0.1).translated(2, 3)
    moved, _, _ = aligned(other, PLATE)
    least = compare(moved, PLATE).first_to_second.rms
    for dx, dy, turn in ((0.01, 0, 0), (-0.01, 0, 0), (0, 0.01, 0), (0, 0, 1e-4), (0, 0, -1e-4)):
        beside = moved.rotated(turn, moved.centroid).translated(dx, dy)
        assert compare(beside, PLATE).first_to_second.rms > least


def test_like_outlines_are_not_turned_about():
    twin = rounded_rectangle(300, 100, 12)
    assert compare(twin.translated(1, 0), twin, align=True).turn == pytest.approx(0, abs=1e-12)
    assert compare(circle(10, (3, 4)), circle(10), align=True).turn == pytest.approx(0, abs=1e-9)


def test_the_record_is_plain_json():
    record = json.loads(json.dumps(compare(PLATE, PLATE.rotated(0.1)).as_json(), allow_nan=False))
    assert record["units"] == "mm"
    assert set(record["first_to_second"]) == {"largest", "at", "rms", "mean"}
    assert math.isclose(record["turn_deg"], 0)


@pytest.mark.parametrize("order", [1, -1])
def test_the_longer_outline_sets_how_closely_both_are_looked_at(order):
    """4,000 places along the longer one."""
    pair = [rounded_rectangle(300, 100, 10), rounded_rectangle(100, 50, 5)][::order]
    found = compare(*pair)
    assert found.step == pytest.approx(max(p.perimeter for p in pair) / 4000)
