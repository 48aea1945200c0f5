import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from snugline.errors import PlanError
from snugline.fit.geometry.outline import Arc, Line, Outline, polygon_of
from snugline.fit.geometry.primitives import circle, filleted_polygon, polygon, rounded_rectangle
from snugline.pocket.merge import difference, intersection, union, united


def region(outlines):
    """Shapely's own region of what a merge returned."""
    whole = shapely.Polygon()
    for outline in outlines:
        part = polygon_of(outline, 1e-5)
        whole = whole.union(part) if outline.winding > 0 else whole.difference(part)
    return whole


def blob(seed):
    """A star-shaped polygon with rounded corners, concave ones too."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(3, 9))
    angles = np.sort(rng.uniform(0, 2 * math.pi, count))
    gaps = np.diff(np.append(angles, angles[0] + 2 * math.pi))
    if gaps.min() < 0.3 or gaps.max() > 2.8:
        return blob(seed + 100003)
    reach = rng.uniform(15, 40, count)
    points = np.column_stack((reach * np.cos(angles), reach * np.sin(angles)))
    points += rng.uniform(-20, 20, 2)
    return filleted_polygon([tuple(p) for p in points], float(rng.uniform(0, 1.0)))


def test_a_half_round_notch_is_one_true_arc():
    (made,) = union(rounded_rectangle(100, 60, 10), circle(10, (0, 30)))
    assert len(made.segments) == 10
    assert sum(isinstance(s, Arc) for s in made.segments) == 5
    assert made.area == pytest.approx(rounded_rectangle(100, 60, 10).area + 50 * math.pi)


def test_regions_apart_stay_two():
    made = union(circle(5), circle(5, (20, 0)))
    assert len(made) == 2


def test_a_hole_comes_out_clockwise():
    outer, hole = sorted(difference(circle(20), circle(5)), key=lambda o: -o.area)
    assert outer.area > 0 > hole.area
    assert outer.area + hole.area == pytest.approx(375 * math.pi)


def test_nothing_is_left_when_all_is_taken():
    assert difference(circle(5), circle(20)) == ()
    assert intersection(circle(5), circle(5, (20, 0))) == ()


def test_a_region_within_another_adds_nothing():
    (made,) = union(rounded_rectangle(100, 60, 10), circle(5))
    assert made.area == pytest.approx(rounded_rectangle(100, 60, 10).area, rel=1e-12)


def test_shared_sides_vanish_between_neighbours():
    left = polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
    right = polygon([(10, 0), (20, 0), (20, 10), (10, 10)])
    (made,) = union(left, right)
    assert made.area == pytest.approx(200)
    assert made.perimeter == pytest.approx(60)
    assert len(made.segments) == 4


def test_shared_sides_of_the_same_sense_stay_once():
    outer = polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
    inner = polygon([(0, 2), (5, 2), (5, 8), (0, 8)])
    (whole,) = union(outer, inner)
    assert whole.area == pytest.approx(100)
    (rest,) = difference(outer, inner)
    assert rest.area == pytest.approx(70)
    (common,) = intersection(outer, inner)
    assert common.area == pytest.approx(30)


def test_equal_outlines_unite_to_themselves():
    one = rounded_rectangle(100, 60, 10)
    (made,) = union(one, one)
    assert len(made.segments) == 8
    assert made.area == pytest.approx(one.area, rel=1e-14)
    assert difference(one, one) == ()


def test_a_disc_touching_from_within_changes_nothing():
    (made,) = union(rounded_rectangle(100, 60, 10), circle(30))
    assert made.area == pytest.approx(rounded_rectangle(100, 60, 10).area, rel=1e-12)


def test_a_cut_out_apart_from_the_pocket_is_refused():
    with pytest.raises(PlanError, match="does not join"):
        united(circle(5), [circle(5, (20, 0))], "notch")


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_random_regions_merge_as_shapely_s_do(first, second):
    a, b = blob(first), blob(second)
    pa, pb = polygon_of(a, 1e-5), polygon_of(b, 1e-5)
    for ours, theirs in (
        (union(a, b), pa | pb),
        (difference(a, b), pa - pb),
        (intersection(a, b), pa & pb),
    ):
        got = region(ours)
        assert got.area == pytest.approx(theirs.area, abs=2e-3)
        assert got.symmetric_difference(theirs).area < 2e-3
        true_area = sum(o.area for o in ours)
        assert true_area == pytest.approx(theirs.area, abs=2e-3)
        for outline in ours:
            assert all(isinstance(s, Line | Arc) and s.length > 1e-7 for s in outline.segments)


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_what_is_in_both_and_in_either_adds_up_exactly(first, second):
    a, b = blob(first), blob(second)
    either = sum(o.area for o in union(a, b))
    both = sum(o.area for o in intersection(a, b))
    assert either + both == pytest.approx(a.area + b.area, rel=1e-9)
    without = sum(o.area for o in difference(a, b))
    assert without == pytest.approx(a.area - both, rel=1e-9, abs=1e-6)


def test_a_notch_in_a_side_that_is_an_arc_of_kilometres_joins_cleanly():
    # A free outline's nearly straight side: radius 2 km, chord 68 mm.
    radius, half = 2_010_977.0, 34.0
    centre = (0.0, -math.sqrt(radius**2 - half**2))
    turn = 2 * math.asin(half / radius)
    top = Arc((half, 0.0), (-half, 0.0), centre, radius, turn)
    walls = polygon([(-half, 0.0), (-half, -60.0), (half, -60.0), (half, 0.0)]).segments[:3]
    outline = Outline((*walls, top))
    for x in (-20.0, 0.0, 7.3):
        bay = circle(12.0, (x, 2.5e-4))
        made = united(outline, [bay], "notch")
        assert made.area == pytest.approx(outline.area + math.pi * 72, rel=1e-5)


@pytest.mark.parametrize("turned", [(True, False), (False, True), (True, True)])
def test_which_way_an_outline_runs_does_not_matter(turned):
    a, b = rounded_rectangle(40, 20, 3), circle(12.0, (18, 4))
    plain = [union(a, b), difference(a, b), intersection(a, b)]
    first, second = (o.reversed() if t else o for o, t in zip((a, b), turned, strict=True))
    other = [union(first, second), difference(first, second), intersection(first, second)]
    for ours, theirs in zip(other, plain, strict=True):
        assert sum(o.area for o in ours) == pytest.approx(sum(o.area for o in theirs), abs=1e-9)
        assert all(o.winding > 0 for o in ours)


@pytest.mark.parametrize("radius", [10.0, 6.0])
def test_shared_arcs_are_told_by_the_way_they_run(radius):
    """A disc and a lens that share an arc: inside it, and outside it."""
    disc = circle(radius)
    half = polygon([(-radius - 1, 0), (radius + 1, 0), (radius + 1, radius + 1),
                    (-radius - 1, radius + 1)])  # fmt: skip
    (upper,) = intersection(disc, half)
    (lower,) = difference(disc, half)
    quarter = math.pi * radius**2 / 2
    assert (upper.area, lower.area) == pytest.approx((quarter, quarter))
    (whole,) = union(upper, lower)
    assert whole.area == pytest.approx(2 * quarter)
    assert intersection(upper, lower) == ()
    (again,) = intersection(disc, upper)
    assert again.area == pytest.approx(quarter)
    (rest,) = difference(disc, upper)
    assert rest.area == pytest.approx(quarter)
    (same,) = union(disc, upper)
    assert same.area == pytest.approx(2 * quarter)
    # Beside each other along an arc: a plug and the hole it came from.
    plate = rounded_rectangle(60, 60)
    outer, hole = sorted(difference(plate, disc), key=lambda o: -o.area)
    assert (outer.area, hole.area) == pytest.approx((3600, -math.pi * radius**2))


def test_a_corner_that_touches_is_refused_or_kept_apart():
    left = polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
    right = polygon([(10, 10), (20, 10), (20, 20), (10, 20)])
    made = union(left, right)
    assert sorted(o.area for o in made) == pytest.approx([100, 100])
    assert [len(o.segments) for o in made] == [4, 4]


def test_points_nearer_than_the_snap_are_one():
    left = polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
    right = polygon([(10 + 1e-7, 0), (20, 0), (20, 10), (10 + 1e-7, 10)])
    (made,) = union(left, right)
    assert made.area == pytest.approx(200)
    apart = polygon([(10 + 1e-5, 0), (20, 0), (20, 10), (10 + 1e-5, 10)])
    assert len(union(left, apart)) == 2
