"""Distances to outlines against shapely, and where signs are easily lost."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from random_outlines import random_outline

from snugline.fit.geometry.distance import contains, nearest, signed_distance, winding_number
from snugline.fit.geometry.outline import Arc, Line, Outline, polygon_of
from snugline.fit.geometry.primitives import circle, polygon, rounded_rectangle

CHORD_ERROR = 1e-5


def keyhole() -> Outline:
    """A slot with a round end of more than half a turn."""
    half = math.atan2(5, 12)
    arc = Arc((30, 5), (30, -5), (42, 0), 13, -2 * (math.pi - half))
    return Outline((arc, Line((30, -5), (0, -5)), Line((0, -5), (0, 5)), Line((0, 5), (30, 5))))


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1))
def test_distances_and_sides_agree_with_shapely(seed):
    rng = np.random.default_rng(seed)
    outline = random_outline(rng)
    points = rng.uniform(-200, 200, (500, 2))
    dense = polygon_of(outline, CHORD_ERROR)
    distance = signed_distance(outline, points)
    reference = shapely.distance(dense.exterior, shapely.points(points))
    assert np.abs(np.abs(distance) - reference).max() < 1.5 * CHORD_ERROR
    clear = reference > CHORD_ERROR
    inside = shapely.contains(dense, shapely.points(points))
    assert np.array_equal((distance < 0)[clear], inside[clear])
    assert np.array_equal(contains(outline, points)[clear], inside[clear])


@pytest.mark.parametrize(
    "outline",
    [
        keyhole(),
        keyhole().reversed().rotated(math.pi / 2),
        rounded_rectangle(60, 40, [10, 20, 0, 5]),
        polygon([(-20, -10), (20, -10), (20, 10), (0, 0), (-20, 10)]),
        circle(20),
    ],
)
def test_points_level_with_joints_and_chords_are_on_the_right_side(outline):
    grid = np.stack(np.meshgrid(np.arange(-60, 61), np.arange(-60, 61)), axis=-1)
    points = grid.reshape(-1, 2).astype(float)
    dense = polygon_of(outline, CHORD_ERROR)
    distance = signed_distance(outline, points)
    clear = np.abs(distance) > CHORD_ERROR
    inside = shapely.contains(dense, shapely.points(points))
    assert np.array_equal((distance < 0)[clear], inside[clear])


def test_distances_of_a_square_are_the_worked_ones():
    square = polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
    points = np.array([(5, 5), (5, 1), (13, 14), (-2, 5), (10, 5)], dtype=float)
    assert signed_distance(square, points) == pytest.approx([-5, -1, 5, 2, 0])


@pytest.mark.parametrize("outline", [keyhole(), rounded_rectangle(60, 40, [10, 20, 0, 5])])
def test_a_point_is_its_foot_plus_distance_times_normal(outline):
    points = np.random.default_rng(1).uniform(-80, 80, (2000, 2))
    found = nearest(outline, points)
    assert np.allclose(found.foot + found.distance[:, None] * found.normal, points, atol=1e-12)
    assert np.allclose(np.hypot(*found.normal.T), 1)
    assert np.abs(signed_distance(outline, found.foot)).max() < 1e-12
    assert np.allclose(found.distance, signed_distance(outline, points), atol=1e-12)


@pytest.mark.parametrize("outline", [keyhole(), keyhole().reversed(), rounded_rectangle(60, 40, 9)])
def test_normals_on_the_curve_point_outwards(outline):
    points = outline.sampled(0.7)
    # Away from sharp joints, where the outside is not at one normal's side only.
    sharp = [s.start for s, turn in zip(outline.segments, outline.turns, strict=True) if turn]
    apart = np.min([np.hypot(*(points - p).T) for p in sharp] or [np.ones(len(points))], axis=0)
    points = points[apart > 0.1]
    found = nearest(outline, points)
    assert signed_distance(outline, points + 1e-3 * found.normal) == pytest.approx(1e-3)
    assert signed_distance(outline, points - 1e-3 * found.normal) == pytest.approx(-1e-3)


def test_the_centre_of_a_circle_has_a_foot_on_it():
    found = nearest(circle(7), np.zeros((1, 2)))
    assert found.distance[0] == -7
    assert math.hypot(*found.foot[0]) == pytest.approx(7)


def test_the_winding_number_counts_turns_with_their_sense():
    inside = np.zeros((1, 2))
    assert winding_number(circle(3), inside) == 1
    assert winding_number(circle(3).reversed(), inside) == -1
    star = [(math.cos(4 * math.pi * k / 5), math.sin(4 * math.pi * k / 5)) for k in range(5)]
    assert winding_number(polygon(star), inside) == 2


def test_many_points_and_none_are_taken_alike():
    outline = rounded_rectangle(60, 40, 9)
    points = np.random.default_rng(2).uniform(-80, 80, (30000, 2))
    whole = signed_distance(outline, points)
    assert np.array_equal(whole[::1000], signed_distance(outline, points[::1000]))
    assert signed_distance(outline, np.empty((0, 2))).shape == (0,)
    assert nearest(outline, np.empty((0, 2))).foot.shape == (0, 2)
