"""Whole-outline shapes: distances, their derivatives, and the chains of lines and arcs."""

import math

import numpy as np
import pytest

from snugline.fit.corners.corner_families import (
    ARC,
    CHAMFER,
    DOUBLE_ARC,
    ELLIPSE,
    SQUARE,
    SUPERELLIPSE,
)
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Arc
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.shapes.outline_families import (
    GROUPS,
    adopt,
    circle,
    ellipse,
    mirrored,
    rectangle,
    regular_polygon,
    seen_corners,
    stadium,
)
from snugline.fit.shapes.sided_shape import TERMS

L, W = 100.0, 60.0
APART = GROUPS["none"]

SHAPES = [
    (rectangle([ARC]), [L, W, 12]),
    (rectangle([SQUARE]), [L, W]),
    (rectangle([CHAMFER], GROUPS["lengthwise"]), [L, W, 12, 8]),
    (rectangle([ARC], APART).with_terms(TERMS[:3]), [L, W, 12, 9, 8, 14, 0.01, -0.02, 0.02]),
    (rectangle([SUPERELLIPSE]), [L, W, 20, 2.6]),
    (rectangle([ELLIPSE], GROUPS["crosswise"]), [L, W, 12, 18, 9, 14]),
    (rectangle([DOUBLE_ARC], APART), [L, W, 12, 18, 9, 14, 10, 11, 15, 12]),
    (rectangle([ARC, CHAMFER], GROUPS["lengthwise"]), [L, W, 12, 8]),
    (stadium(), [L, W]),
    (circle(), [W]),
    (ellipse(), [L, W]),
    (regular_polygon(6), [40]),
    (regular_polygon(5, ARC), [40, 6]),
]


def points_near(shape, params, count=300, spread=0.3, seed=3):
    rng = np.random.default_rng(seed)
    outline = shape.to_outline(np.array(params, dtype=float)).sampled(0.5)
    return outline[rng.integers(0, len(outline), count)] + rng.normal(0, spread, (count, 2))


@pytest.mark.parametrize(("shape", "params"), SHAPES, ids=lambda v: getattr(v, "family", ""))
def test_derivatives_are_those_of_differences(shape, params):
    params = np.array(params, dtype=float)
    points = points_near(shape, params)
    found = shape.distance(points, params)
    step = 1e-6
    for i, unit in enumerate(step * np.eye(len(params))):
        rise = shape.distance(points, params + unit).value
        slope = (rise - shape.distance(points, params - unit).value) / (2 * step)
        # At a kink of the distance (a vertex, a sector's border) both are right by themselves.
        assert np.quantile(np.abs(slope - found.by_params[:, i]), 0.97) < 1e-6
    for axis, unit in enumerate(step * np.eye(2)):
        rise = shape.distance(points + unit, params).value
        slope = (rise - shape.distance(points - unit, params).value) / (2 * step)
        assert np.quantile(np.abs(slope - found.normal[:, axis]), 0.97) < 1e-6


@pytest.mark.parametrize(("shape", "params"), SHAPES, ids=lambda v: getattr(v, "family", ""))
def test_distances_are_those_to_the_outline(shape, params):
    params = np.array(params, dtype=float)
    outline = shape.to_outline(params, tolerance=1e-4)
    points = points_near(shape, params, spread=1.0)
    value = shape.distance(points, params).value
    assert np.abs(value - signed_distance(outline, points)).max() < 2e-4


def test_the_derivative_by_a_bow_is_that_of_differences_where_the_side_is_straight():
    shape = rectangle([ARC], APART).with_terms(TERMS)
    params = np.array([L, W, 12, 9, 8, 14, 0.01, -0.02, 0.02, 0, 0, 0, 0])
    points = points_near(shape, params)
    found = shape.distance(points, params)
    for i in range(9, 13):
        unit = np.zeros(13)
        unit[i] = 1e-6
        rise = shape.distance(points, params + unit).value
        slope = (rise - shape.distance(points, params - unit).value) / 2e-6
        assert np.quantile(np.abs(slope - found.by_params[:, i]), 0.97) < 1e-6


@pytest.mark.parametrize("corner", [ARC, CHAMFER, SUPERELLIPSE])
def test_a_bowed_side_is_drawn_where_its_distances_have_it(corner):
    shape = rectangle([corner]).with_terms(("sag back", "sag left", "taper"))
    own = {"arc": [14], "chamfer": [10], "superellipse": [15, 2.5]}[corner.name]
    params = np.array([L, W, *own, 0.4, -0.2, 0.004])
    points = shape.to_outline(params, tolerance=1e-3).sampled(0.5)
    assert np.abs(shape.distance(points, params).value).max() < 3e-3
    # ... and not where a straight side would be.
    params[-3] = 0
    assert np.abs(shape.distance(points, params).value).max() > 0.3


def test_a_rounded_rectangle_has_eight_segments_and_its_handbook_measures():
    # Area LW - (4 - π)R², perimeter 2(L + W) - (8 - 2π)R for 300 × 100, R 12.7.
    outline = rectangle([ARC]).to_outline(np.array([300.0, 100.0, 12.7]))
    assert len(outline.segments) == 8
    assert outline.area == pytest.approx(29861.547479, abs=1e-6)
    assert outline.perimeter == pytest.approx(778.196453, abs=1e-6)
    assert outline.bounds == pytest.approx((-150, -50, 150, 50), abs=1e-12)


@pytest.mark.parametrize(("shape", "params"), SHAPES, ids=lambda v: getattr(v, "family", ""))
def test_outlines_are_closed_to_the_last_bit_and_run_counter_clockwise(shape, params):
    outline = shape.to_outline(np.array(params, dtype=float))
    for before, after in zip(outline.segments, outline.segments[1:] + outline.segments[:1],
                             strict=True):  # fmt: skip
        assert before.end == after.start
    assert outline.area > 0


@pytest.mark.parametrize(
    ("shape", "params", "count"),
    [
        (rectangle([ARC]), [418, 118.5, 27.4], 8),
        (rectangle([ARC], APART), [418, 118.5, 27.4, 20, 10, 5], 8),
        (rectangle([ARC]).with_terms(("taper",)), [418, 118.5, 27.4, 0.003], 8),
        (rectangle([ARC]).with_terms(("sag back",)), [418, 118.5, 27.4, 0.6], 8),
        (stadium(), [418, 118.5], 4),
        (circle(), [118.5], 2),
    ],
)
def test_tangents_break_by_less_than_a_nanoradian(shape, params, count):
    outline = shape.to_outline(np.array(params, dtype=float))
    assert len(outline.segments) == count
    assert np.abs(outline.turns).max() < 1e-9


def test_corners_that_noise_made_too_large_share_their_side():
    outline = rectangle([ARC]).to_outline(np.array([200.0, 80.0, 40.01]))
    assert outline.bounds == pytest.approx((-100, -40, 100, 40))
    assert max(s.radius for s in outline.segments if isinstance(s, Arc)) == pytest.approx(40.0)


def test_the_shape_agrees_with_an_outline_made_by_other_means():
    shape = rectangle([ARC]).to_outline(np.array([L, W, 12.0]))
    other = rounded_rectangle(L, W, 12.0)
    assert np.abs(signed_distance(other, shape.sampled(0.7))).max() < 1e-12


def test_a_mirrored_corner_swaps_what_lies_along_its_sides():
    assert mirrored(ELLIPSE) == (1, 0)
    assert mirrored(SUPERELLIPSE) == (0, 1)
    assert mirrored(DOUBLE_ARC) == (1, 0)
    shape = rectangle([ELLIPSE])
    points = points_near(shape, [L, W, 10, 20])
    value = shape.distance(points, np.array([L, W, 10.0, 20.0])).value
    for flip in ([-1, 1], [1, -1], [-1, -1]):
        image = shape.distance(points * flip, np.array([L, W, 10.0, 20.0])).value
        assert np.abs(value - image).max() < 1e-9


def test_length_and_width_include_bows_that_stand_out():
    shape = rectangle([ARC]).with_terms(("sag back", "sag front"))
    assert shape.dimension("width", np.array([L, W, 12, 0.3, 0.1]))[0] == pytest.approx(W + 0.4)
    # Bowed in they are farthest apart where the corners begin: what jaws and a tape touch.
    for radius in (5, 12, 30):
        bowed_in = np.array([L, W, radius, -0.6, -0.2])
        low, high = (shape.to_outline(bowed_in).bounds[k] for k in (1, 3))
        assert shape.dimension("width", bowed_in)[0] == pytest.approx(high - low, abs=0.01)
    shape = rectangle([ARC]).with_terms(("sag right",))
    bowed_in = np.array([282.0, 100.0, 29.0, -1.9])
    left, right = (shape.to_outline(bowed_in).bounds[k] for k in (0, 2))
    assert shape.dimension("length", bowed_in)[0] == pytest.approx(right - left, abs=0.02)
    assert right - left < 282 - 1.5
    hexagon = regular_polygon(6)
    value, slope = hexagon.dimension("width", np.array([30.0]))
    assert value == pytest.approx(60 / math.cos(math.pi / 6))  # across corners
    assert slope == pytest.approx([2 / math.cos(math.pi / 6)])


def test_an_unseen_corner_is_adopted_by_the_one_across():
    groups, orphans = adopt(GROUPS["none"], [True, True, True, False])
    assert groups == (0, 1, 2, 0)
    assert orphans == ["front right"]
    assert adopt(GROUPS["both"], [False, True, False, False]) == ((0, 0, 0, 0), [])


def test_only_corners_with_both_their_sides_count_as_seen():
    outline = rounded_rectangle(300, 100, 20).sampled(0.5)
    left = outline[outline[:, 0] < -60]
    assert seen_corners([left], 300, 100) == [False, True, True, False]
