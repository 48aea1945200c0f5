import math

import numpy as np
import pytest
import shapely

from snugline.errors import FitError
from snugline.fit.free.arc_spline import arc_spline
from snugline.fit.free.chain_moves import lined
from snugline.fit.geometry.arc_chain import Chain, closure, drop, jacobian, outline_of
from snugline.fit.geometry.outline import Arc, Line
from snugline.fit.geometry.primitives import filleted_polygon, rounded_rectangle

PALETTE = filleted_polygon(
    [(-120, -45), (40, -60), (130, -20), (115, 50), (0, 25), (-90, 55)], [25, 60, 18, 30, 90, 20]
)


def contour(outline, sigma, correlation=0.0, seed=0, pitch=0.15):
    """Points of an outline with noise along the normal."""
    points = outline.sampled(pitch)
    ahead = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    normals = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    noise = np.random.default_rng(seed).standard_normal(len(points))
    fade = math.exp(-pitch / correlation) if correlation else 0.0
    for i in range(1, len(noise)):
        noise[i] = fade * noise[i - 1] + math.sqrt(1 - fade * fade) * noise[i]
    return points + sigma * noise[:, None] * normals


def strays(outline, truth):
    """The largest distance of either from the other, by shapely between dense polygons."""
    edges = [shapely.Polygon(o.inscribed(1e-4)).exterior for o in (outline, truth)]
    points = [shapely.points(o.sampled(0.3)) for o in (outline, truth)]
    return max(shapely.distance(p, e).max() for p, e in zip(points, reversed(edges), strict=True))


def bends(outline):
    return [math.copysign(1, s.sweep) for s in outline.segments if isinstance(s, Arc)]


def flips(outline):
    sides = bends(outline)
    return sum(a != b for a, b in zip(sides, sides[1:] + sides[:1], strict=True))


@pytest.fixture
def chain():
    return Chain(
        start=(3.0, -2.0),
        heading=0.3,
        lengths=np.array([20.0, 12.0, 7.0, 25.0, 9.0]),
        curvatures=np.array([0.0, 0.03, -0.05, 0.0, 0.1]),
        turns=np.array([0.0, 0.0, 0.4, 0.0, -0.3]),
        straight=np.array([True, False, False, True, False]),
        corner=np.array([False, False, True, False, True]),
        closed=False,
    )


def test_the_derivatives_of_distances_are_those_of_differences(chain):
    rng = np.random.default_rng(3)
    points = np.vstack([f + rng.uniform(-0.3, 0.3, (9, 2)) for f in chain.middles[0]])
    feet = drop(chain, points)
    exact = jacobian(chain, feet)
    values = chain.values()
    for j in range(len(values)):
        nudge = np.zeros(len(values))
        nudge[j] = 1e-6
        ahead, behind = (
            drop(chain.with_values(values + s * nudge), points, feet.segment).distance
            for s in (1, -1)
        )
        assert exact[:, j] == pytest.approx((ahead - behind) / 2e-6, abs=1e-6)


def test_the_derivatives_of_the_closure_are_those_of_differences(chain):
    from dataclasses import replace

    chain = replace(chain, closed=True)
    exact, values = closure(chain)[1], chain.values()
    for j in range(len(values)):
        nudge = np.zeros(len(values))
        nudge[j] = 1e-6
        ahead, behind = (closure(chain.with_values(values + s * nudge))[0] for s in (1, -1))
        assert exact[:, j] == pytest.approx((ahead - behind) / 2e-6, abs=1e-6)


def test_distances_to_a_chain_are_shapelys(chain):
    s = np.linspace(0, 1, 4001)
    curve = []
    for i in range(len(chain)):
        kappa, length, heading = chain.curvatures[i], chain.lengths[i], chain.poses.heading[i]
        along = s * length
        middle = heading + kappa * along / 2
        reach = along * np.sinc(kappa * along / (2 * math.pi))
        curve.append(
            chain.poses.start[i]
            + reach[:, None] * np.column_stack([np.cos(middle), np.sin(middle)])
        )
    line = shapely.LineString(np.vstack(curve))
    points = chain.middles[0] + np.array([0.7, -0.4])
    expected = shapely.distance(shapely.points(points), line)
    assert np.abs(drop(chain, points).distance) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("truth", "sigma", "correlation"),
    [
        (PALETTE, 0.03, 0.0),
        (PALETTE, 0.05, 1.0),
        (rounded_rectangle(150, 90, [0, 12, 0, 20]), 0.03, 0.0),
        (rounded_rectangle(140, 60, 30.0), 0.05, 0.0),
    ],
)
def test_a_shape_of_lines_and_arcs_is_found_again(truth, sigma, correlation):
    points = contour(truth, sigma, correlation)
    found = outline_of(arc_spline(points, closed=True).fit.chain)
    assert len(found.segments) <= 1.2 * len(truth.segments)
    assert flips(found) == flips(truth)
    assert strays(found, truth) < 0.1
    breaks = [t for t in found.turns if abs(t) >= 1e-9]
    assert all(abs(t) > 0.1 for t in breaks)
    assert len(breaks) == sum(abs(t) > 1e-6 for t in truth.turns)


@pytest.mark.parametrize(
    ("truth", "sigma", "correlation", "seed"),
    [
        (rounded_rectangle(240, 90, 45.0), 0.05, 1.0, 0),  # noise that looks like a side's bend
        (
            rounded_rectangle(220, 140, 0.0),
            0.03,
            0.0,
            1,
        ),  # corners where two specks of arc are left
    ],
)
def test_no_segment_is_left_that_the_noise_alone_asks_for(truth, sigma, correlation, seed):
    found = arc_spline(contour(truth, sigma, correlation, seed), closed=True)
    assert len(found.fit.chain) == 4


def test_an_arc_and_a_line_become_one_line_round_the_start_too():
    side = np.array([60.0, 30.0, 60.0, 20.0, 10.0])
    bend = np.array([0.0, math.pi / 30, 0.0, math.pi / 20, -1e-4])
    none = np.zeros(5)
    chain = Chain((0.0, 0.0), 0.0, side, bend, none, bend == 0, none > 0, closed=True)
    one = lined(chain, 4)
    assert sorted(one.lengths) == pytest.approx([20, 30, 60, 70])
    assert one.straight[one.lengths > 65].all()
    assert one.total_turn() == pytest.approx(chain.total_turn())
    assert lined(chain, 0) is None  # between two lines nothing is left to bend
    two = Chain((0.0, 0.0), 0.0, side[:2], none[:2], none[:2], none[:2] == 0, none[:2] > 0, False)
    assert lined(two, 0) is None


def test_a_circle_is_one_arc_and_comes_out_as_two_halves():
    angle = np.arange(0, 2 * math.pi, 0.004)
    radius = 45 + 0.03 * np.random.default_rng(1).standard_normal(len(angle))
    points = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    chain = arc_spline(points, closed=True).fit.chain
    outline = outline_of(chain)
    assert (len(chain), len(outline.segments)) == (1, 2)
    assert 1 / chain.curvatures[0] == pytest.approx(45, abs=0.005)
    assert outline.perimeter == pytest.approx(2 * math.pi * 45, abs=0.03)


def test_an_ellipse_within_a_wide_tolerance_is_an_oval_of_four_arcs():
    # By the four-vertex theorem a closed smooth chain of arcs has at least four (but a circle). The
    # best oval on the axes 80 x 50 strays by 0.309 mm (minimised over its one free radius).
    t = np.linspace(0, 2 * math.pi, 3000, endpoint=False)
    points = np.column_stack([40 * np.cos(t), 25 * np.sin(t)])
    outline = outline_of(arc_spline(points, True, 0.35).fit.chain)
    edge = shapely.Polygon(points).exterior
    assert len(outline.segments) == 4
    assert flips(outline) == 0
    assert shapely.distance(shapely.points(outline.sampled(0.2)), edge).max() < 0.35


def test_lines_are_lines():
    outline = outline_of(arc_spline(contour(PALETTE, 0.05), True).fit.chain)
    assert sum(isinstance(s, Line) for s in outline.segments) == 6


def test_too_few_points_are_refused():
    with pytest.raises(FitError, match="trace more"):
        arc_spline(np.zeros((7, 2)), closed=True)


def test_a_tolerance_that_is_none_is_refused():
    with pytest.raises(FitError, match="positive"):
        arc_spline(contour(PALETTE, 0.03), True, tolerance=0.0)


@pytest.mark.parametrize("seed", [0, 5, 9])
def test_an_open_chain_ends_where_its_points_end(seed):
    """No point feels how far a last line or arc runs on: it ran on for up to 0.8 m here."""
    points = contour(PALETTE, 0.008, 2.0, seed)
    points = np.roll(points, -len(points) // 9 * seed, axis=0)[: len(points) * 7 // 10]
    chain = arc_spline(points, False).fit.chain
    ends = np.array([chain.start, chain.poses.end[-1]])
    assert np.linalg.norm(ends - points[[0, -1]], axis=1).max() < 0.7  # a step of the search
    assert chain.lengths.sum() == pytest.approx(
        np.linalg.norm(np.diff(points[::20], axis=0), axis=1).sum(), abs=2.0
    )
