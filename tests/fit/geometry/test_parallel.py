"""Parallel outlines against Steiner's formula, published values and shapely."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from random_outlines import convex_outline, distance_to_shapely, random_outline

from snugline.fit.geometry.outline import Arc, Line, Outline
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import circle, polygon, rounded_rectangle

# check-values.md, section 7: direct formula and Steiner's agree to the digits shown.
PUBLISHED = [
    (rounded_rectangle(300, 100, 12.7), 0.4, 30173.328715, 780.709728),
    (rounded_rectangle(300, 100, 12.7), 1, 30642.885525, 784.479639),
    (rounded_rectangle(300, 100, 12.7), 3.175, 32363.990436, 798.145567),
    (rounded_rectangle(300, 100, 12.7), -0.4, 29550.771553, 775.683179),
    (rounded_rectangle(300, 100, 12.7), -1, 29086.492618, 771.913268),
    (rounded_rectangle(304.8, 101.6, 19.05), 0.4, 30968.702355, 782.607954),
    (rounded_rectangle(304.8, 101.6, 19.05), -0.4, 30344.626611, 777.581406),
    (rounded_rectangle(250, 80, 10), 0.4, 20171.794661, 645.345127),
    (rounded_rectangle(300, 100), 0.4, 30320.502655, 802.513274),
    (rounded_rectangle(300, 100, 50), 0.4, 28140.147995, 716.672539),
    (rounded_rectangle(304.8, 101.6, 50.8), 0.4, 29043.176646, 728.099088),
]

_QUARTER = [(10, 5), (10, 20), (40, 20)]
DUMB_BELL = polygon(
    [
        *[(-x, -y) for x, y in reversed(_QUARTER)],
        *[(x, -y) for x, y in _QUARTER],
        *[(x, y) for x, y in reversed(_QUARTER)],
        *[(-x, y) for x, y in _QUARTER],
    ]
)
_MOUTH = [(60, 22), (50, 22), (50, 10), (10, 10)]
CLASP = polygon(
    [(0, 0), (60, 0), *_MOUTH, *[(x, 50 - y) for x, y in reversed(_MOUTH)], (60, 50), (0, 50)]
)


def bitten_plate() -> Outline:
    """A plate with round bites from front and back that leave a waist of 30 mm."""
    return Outline(
        (
            Line((-30, -20), (-5, -20)),
            Arc((-5, -20), (5, -20), (0, -20), 5, -math.pi),
            Line((5, -20), (30, -20)),
            Line((30, -20), (30, 20)),
            Line((30, 20), (5, 20)),
            Arc((5, 20), (-5, 20), (0, 20), 5, -math.pi),
            Line((-5, 20), (-30, 20)),
            Line((-30, 20), (-30, -20)),
        )
    )


@pytest.mark.parametrize(("outline", "distance", "area", "perimeter"), PUBLISHED)
def test_parallels_have_the_published_area_and_perimeter(outline, distance, area, perimeter):
    (loop,) = parallel(outline, distance)
    assert loop.area == pytest.approx(area, abs=5e-7)
    assert loop.perimeter == pytest.approx(perimeter, abs=5e-7)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1), st.floats(0.01, 80))
def test_convex_outlines_follow_steiners_formula_outwards(seed, distance):
    outline = convex_outline(np.random.default_rng(seed))
    (loop,) = parallel(outline, distance)
    area = outline.area + outline.perimeter * distance + math.pi * distance**2
    assert loop.area == pytest.approx(area, rel=1e-9)
    assert loop.perimeter == pytest.approx(outline.perimeter + 2 * math.pi * distance, rel=1e-9)
    assert loop.is_convex


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.floats(60, 300), st.floats(20, 60), st.floats(0.02, 0.499), st.floats(0.01, 0.99))
def test_rounded_rectangles_follow_steiners_formula_inwards_up_to_their_radius(
    length, width, round_part, part
):
    radius = round_part * width
    outline = rounded_rectangle(length, width, radius)
    (loop,) = parallel(outline, -part * radius)
    area = outline.area - outline.perimeter * part * radius + math.pi * (part * radius) ** 2
    assert loop.area == pytest.approx(area, rel=1e-9)
    assert len(loop.segments) == 8
    assert max(map(abs, loop.turns)) < 1e-9


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1))
def test_random_outlines_agree_with_unions_by_shapely(seed):
    rng = np.random.default_rng(seed)
    outline = random_outline(rng)
    distance = float(rng.choice([-1, 1]) * rng.uniform(0.05, rng.choice([2, 12, 30])))
    loops = parallel(outline, distance)
    assert distance_to_shapely(loops, outline, distance) < 1e-4


@pytest.mark.parametrize("distance", [-5.5, -2, 2, 4.9, 12])
@pytest.mark.parametrize("outline", [DUMB_BELL, CLASP, bitten_plate()])
def test_splits_and_closings_agree_with_unions_by_shapely(outline, distance):
    loops = parallel(outline, distance)
    assert distance_to_shapely(loops, outline, distance) < 1e-4


def test_a_neck_narrower_than_twice_the_distance_splits_the_outline():
    assert len(parallel(DUMB_BELL, -4.999)) == 1
    assert len(parallel(DUMB_BELL, -5.001)) == 2


def test_a_mouth_that_closes_leaves_a_hole_of_the_other_sense():
    assert [loop.winding for loop in parallel(CLASP, 2.9)] == [1]
    assert [loop.winding for loop in parallel(CLASP, 3.1)] == [1, -1]


@pytest.mark.parametrize("nearby", [0, 1e-9, -1e-9, 1e-8, -1e-8, 1e-7, -1e-7, 1e-6, -1e-6])
@pytest.mark.parametrize(
    ("outline", "distance", "area"),
    [
        # Worked by hand: what is left where sides, arcs or necks vanish exactly.
        (rounded_rectangle(300, 100, 12.7), -12.7, 274.6 * 74.6),
        (rounded_rectangle(300, 100, 50), -50, 0),
        (rounded_rectangle(300, 100), -50, 0),
        (circle(20), -20, 0),
        # Each half of 20 x 30 within its walls keeps two notches of quarter circles at the neck.
        (DUMB_BELL, -5, 2 * (20 * 30 + 5 * 10 - 2 * math.pi * 25 / 4)),
        (polygon([(0, 0), (60, 0), (60, 20), (20, 20), (20, 30), (60, 30), (60, 50), (0, 50)]), -10,
         2 * (10 * 10 - math.pi * 100 / 4)),
    ],
)  # fmt: skip
def test_exact_touches_and_their_neighbourhood_are_decided(outline, distance, area, nearby):
    loops = parallel(outline, distance + nearby)
    border = outline.perimeter + 2 * math.pi * abs(distance)
    assert sum(loop.area for loop in loops) == pytest.approx(area, abs=border * abs(nearby) + 1e-6)


def test_a_waist_of_two_arcs_that_touch_exactly_is_decided():
    for nearby in (0, 1e-9, -1e-9, 1e-7, -1e-7):
        loops = parallel(bitten_plate(), -15 + nearby)
        assert sum(loop.area for loop in loops) == pytest.approx(118.675, abs=1e-3)


def test_what_is_too_narrow_vanishes():
    assert parallel(rounded_rectangle(300, 100, 12.7), -50.001) == []
    assert parallel(circle(20), -21) == []


def test_no_distance_changes_nothing():
    outline = rounded_rectangle(300, 100, 12.7)
    assert parallel(outline, 0) == [outline]


def test_the_parallel_of_a_hole_keeps_its_sense():
    hole = circle(20).reversed()
    (wider,), (narrower,) = parallel(hole, 3), parallel(hole, -3)
    assert wider.area == pytest.approx(-math.pi * 23**2)
    assert narrower.area == pytest.approx(-math.pi * 17**2)


def test_a_parallel_has_no_more_segments_than_it_needs():
    assert len(parallel(rounded_rectangle(300, 100, 12.7), 0.4)[0].segments) == 8
    assert len(parallel(rounded_rectangle(300, 100, 50), 0.4)[0].segments) == 4
    assert len(parallel(circle(20), 1)[0].segments) == 2
    assert len(parallel(rounded_rectangle(300, 100), 0.4)[0].segments) == 8
    assert len(parallel(rounded_rectangle(300, 100, 12.7), -20)[0].segments) == 4


def test_the_way_out_and_back_is_the_identity_for_what_has_no_sharp_corner():
    outline = rounded_rectangle(304.8, 101.6, [12.7, 19.05, 6.35, 25.4])
    (out,) = parallel(outline, 3.175)
    (back,) = parallel(out, -3.175)
    assert back.area == pytest.approx(outline.area, rel=1e-12)
    assert len(back.segments) == len(outline.segments)


def test_sharp_corners_stay_sharp_where_asked():
    (loop,) = parallel(rounded_rectangle(300, 100), 3, corners="sharp")
    assert loop.area == pytest.approx(306 * 106)
    assert len(loop.segments) == 4
    (loop,) = parallel(DUMB_BELL, -2, corners="sharp")
    # Walls of 30 x 40 less 2 all round, and a neck of 10 less 2 on both sides: 24 long.
    assert loop.area == pytest.approx(2 * 26 * 36 + 24 * 6)
    assert len(loop.segments) == 12


def test_a_corner_beyond_the_limit_is_rounded_nevertheless():
    needle = polygon([(0, 0), (50, 5), (0, 10)])
    (loop,) = parallel(needle, 3, corners="sharp", limit=2)
    assert [type(s) for s in loop.segments].count(Arc) == 1
    (loop,) = parallel(needle, 3, corners="sharp", limit=20)
    assert [type(s) for s in loop.segments].count(Arc) == 0


def test_sharp_corners_between_arcs_are_carried_on_straight():
    lens = Outline(
        (
            Arc((-10, 0), (10, 0), (0, 10), math.hypot(10, 10), math.pi / 2),
            Arc((10, 0), (-10, 0), (0, -10), math.hypot(10, 10), math.pi / 2),
        )
    )
    (loop,) = parallel(lens, 2, corners="sharp")
    # Each tip: two tangents at 45 degrees to the axis, 2 mm outside the corner.
    assert loop.bounds[2] == pytest.approx(10 + 2 * math.sqrt(2))
    assert [type(s) for s in loop.segments].count(Line) == 4
