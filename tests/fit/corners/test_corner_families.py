"""Corner families: exact distances, derivatives by differences, tangent-continuous chains."""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy.optimize import minimize_scalar

from snugline.fit.corners.corner_families import (
    ARC,
    CHAMFER,
    DOUBLE_ARC,
    ELLIPSE,
    FAMILIES,
    FREE,
    SQUARE,
    SUPERELLIPSE,
)
from snugline.fit.corners.corner_families import THREE_CENTRED as THREE
from snugline.fit.corners.corner_family import outgoing
from snugline.fit.geometry.outline import Arc

CASES = [
    (ARC, (5.0,)),
    (SQUARE, ()),
    (CHAMFER, (3.0,)),
    (ELLIPSE, (5.0, 4.0)),
    (SUPERELLIPSE, (5.0, 2.5)),
    (SUPERELLIPSE, (5.0, 1.7)),
    (DOUBLE_ARC, (3.0, 5.0)),
    (THREE, (8.0, 4.0)),
    (FREE, (5.0, 6.0, 0.0, -1.0, 4.0, 7.0)),
]
TURNS = (1.0, math.pi / 2, 2.0)
every_case = pytest.mark.parametrize(("family", "params"), CASES)
every_turn = pytest.mark.parametrize("turn", TURNS)


def near(family, params, turn, n=60, seed=1, within=0.3):
    """Points close to side + corner + side, found by moving random ones onto it."""
    rng = np.random.default_rng(seed)
    size = max(family.reach(params, turn)) + 10
    points = rng.uniform(-2 * size, 2 * size, (20 * n, 2))
    seen = family.distance(points, params, turn)
    close = np.flatnonzero(np.abs(seen.value) < size / 4)[:n]
    feet = points[close] - seen.value[close, None] * seen.normal[close]
    return feet, feet + rng.uniform(-within, within, (len(close), 1)) * seen.normal[close]


@every_case
@every_turn
def test_a_foot_lies_on_the_curve(family, params, turn):
    feet, _ = near(family, np.array(params), turn)
    assert np.abs(family.distance(feet, np.array(params), turn).value).max() < 1e-11


@every_case
@every_turn
def test_derivatives_are_those_of_finite_differences(family, params, turn):
    params = np.array(params)
    _, points = near(family, params, turn)
    seen, h = family.distance(points, params, turn), 1e-6

    def slope(move):
        return (move(h) - move(-h)) / (2 * h)

    for k, axis in enumerate(np.eye(2)):
        by_point = slope(lambda t, a=axis: family.distance(points + t * a, params, turn).value)
        assert seen.normal[:, k] == pytest.approx(by_point, abs=1e-7)
    for k, axis in enumerate(np.eye(len(params))):
        by_param = slope(lambda t, a=axis: family.distance(points, params + t * a, turn).value)
        assert seen.by_params[:, k] == pytest.approx(by_param, abs=1e-7)
    by_turn = slope(lambda t: family.distance(points, params, turn + t).value)
    assert seen.by_turn == pytest.approx(by_turn, abs=1e-7)


def test_the_ellipse_foot_is_the_nearest_point_that_a_search_finds():
    a, b = 25.0, 12.0
    point = np.array([-3.0, -1.0])  # inside of the corner at the apex, outside of the ellipse

    def distance(t):
        return math.hypot(-a + a * math.cos(t) - point[0], -b + b * math.sin(t) - point[1])

    found = minimize_scalar(distance, bounds=(0, math.pi / 2), method="bounded",
                            options={"xatol": 1e-12})  # fmt: skip
    seen = ELLIPSE.distance(point[None], np.array([b, a]), math.pi / 2)
    assert seen.value[0] == pytest.approx(found.fun, abs=1e-10)


def test_distance_is_negative_inside_the_part_and_far_inside_of_the_arc():
    points = np.array([[-1.0, -30.0], [-30.0, -1.0], [-7.0, -40.0], [-40.0, -9.0]])
    seen = ARC.distance(points, np.array([5.0]), math.pi / 2)
    assert seen.value == pytest.approx([-1, -1, -7, -9])
    assert seen.normal == pytest.approx(np.array([[1, 0], [0, 1], [1, 0], [0, 1.0]]))


def test_equal_shapes_of_different_families_have_equal_distances():
    params = np.array([6.0])
    _, points = near(ARC, params, math.pi / 2)
    arc = ARC.distance(points, params, math.pi / 2)
    for family, same in ((ELLIPSE, (6, 6)), (SUPERELLIPSE, (6, 2)), (DOUBLE_ARC, (6, 6)),
                         (THREE, (6, 6)), (FREE, (6,) * 6)):  # fmt: skip
        other = family.distance(points, np.array(same, dtype=float), math.pi / 2)
        assert other.value == pytest.approx(arc.value, abs=1e-12)
        if family in (DOUBLE_ARC, THREE, FREE):  # at another turn an oblique ellipse is no circle
            assert other.by_turn == pytest.approx(arc.by_turn, abs=1e-9)
    square = SQUARE.distance(points, np.empty(0), math.pi / 2)
    chamfer = CHAMFER.distance(points, np.zeros(1), math.pi / 2)
    assert square.value == pytest.approx(chamfer.value)


def tangents(segment):
    """Headings at the start and the end of a segment."""
    if not isinstance(segment, Arc):
        heading = math.atan2(segment.end[1] - segment.start[1], segment.end[0] - segment.start[0])
        return heading, heading
    quarter = math.copysign(math.pi / 2, segment.sweep)
    return [math.atan2(p[1] - segment.centre[1], p[0] - segment.centre[0]) + quarter
            for p in (segment.start, segment.end)]  # fmt: skip


@every_case
@every_turn
def test_a_chain_runs_from_side_to_side_within_tolerance_and_without_kinks(family, params, turn):
    params = np.array(params)
    chain = family.chain(params, turn, 1e-3)
    before, after = family.reach(params, turn)
    if family is SQUARE:
        assert chain == ()
        return
    assert chain[0].start == pytest.approx((0, -before), abs=1e-12)
    assert chain[-1].end == pytest.approx(tuple(after * outgoing(turn)[0]), abs=1e-12)
    for one, next_one in pairwise(chain):
        assert one.end == next_one.start
    if family is CHAMFER:
        return
    headings = [math.pi / 2, *(h for s in chain for h in tangents(s)), math.pi / 2 + turn]
    kinks = np.remainder(np.diff(headings)[::2] + 1, math.tau) - 1
    assert np.abs(kinks).max() < 1e-9
    arcs = [s for s in chain if isinstance(s, Arc)]
    assert sum(s.sweep for s in arcs) == pytest.approx(turn, abs=1e-9)
    middles = []
    for s in arcs:
        x, y = np.subtract(s.start, s.centre)
        c, t = math.cos(s.sweep / 2), math.sin(s.sweep / 2)
        middles.append(np.add(s.centre, (x * c - y * t, x * t + y * c)))
    off = family.distance(np.array(middles), params, turn).value
    assert np.abs(off).max() < 1e-3


@every_turn
def test_the_free_curve_like_an_arc_or_an_ellipse_is_one(turn):
    arc = FREE.like(ARC.chain(np.array([7.0]), turn, 0.01), turn)
    assert arc == pytest.approx(np.full(FREE.pieces, 7.0))
    assert FREE.reach(arc, turn) == pytest.approx(ARC.reach(np.array([7.0]), turn))
    oval = np.array([9.0, 6.0])
    free = FREE.like(ELLIPSE.chain(oval, turn, 1e-4), turn)
    assert FREE.reach(free, turn) == pytest.approx(ELLIPSE.reach(oval, turn), rel=0.02)
    leg = FREE.like(CHAMFER.chain(np.array([8.0]), turn, 0.01), turn)
    assert leg[[0, -1]] == pytest.approx(leg.sum() / 2)
    assert leg[1:-1] == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_start_is_found_on_a_seen_corner_and_refused_without_one(family):
    params = {"square": (), "chamfer": (3.0,), "arc": (5.0,)}.get(family.name, (5.0, 5.0))
    if family is SUPERELLIPSE:
        params = (5.0, 2.0)
    if family is FREE:
        params = (5.0,) * FREE.pieces
    feet, _ = near(family, np.array(params), math.pi / 2, n=600)
    start = family.start(feet, np.ones(len(feet)), math.pi / 2)
    assert start == pytest.approx(params, rel=0.1)
    aside = feet[feet[:, 1] < -12]
    missing = family.start(aside, np.ones(len(aside)), math.pi / 2)
    assert not missing
    assert "corner" in missing.reason


@pytest.mark.parametrize("degrees", [60, 90, 130])
@pytest.mark.parametrize("leg", [0.0, 4.0, 15.0])
def test_a_chamfer_s_distances_are_those_of_its_polygon(leg, degrees):
    """By shapely, at a thousand places round the corner, near its edges and far from them."""
    turn, far = math.radians(degrees), 1e4
    way = np.array([-math.sin(turn), math.cos(turn)])  # along the outgoing side
    inner = far * (np.array([0.0, -1.0]) + way)
    corners = [(0.0, -far), (0.0, -leg), tuple(leg * way), tuple(far * way), tuple(inner)]
    part = shapely.Polygon(corners)
    rng = np.random.default_rng(7)
    points = rng.uniform(-30, 30, (1000, 2))
    seen = CHAMFER.distance(points, np.array([leg]), turn)
    places = shapely.points(points)
    inside = shapely.contains(part, places)
    expected = np.where(inside, -1, 1) * shapely.distance(places, part.exterior)
    assert seen.value[inside] == pytest.approx(expected[inside], abs=1e-6)
    assert seen.value[~inside] == pytest.approx(expected[~inside], abs=1e-6)
    assert np.hypot(*seen.normal.T) == pytest.approx(np.ones(1000))
