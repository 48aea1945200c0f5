"""Chains of lines and arcs against closed forms and differences."""

import math
from dataclasses import replace

import numpy as np
import pytest

from snugline.fit.free.chain_fit import close, refine
from snugline.fit.geometry.arc_chain import (
    Chain,
    closure,
    drop,
    halved,
    jacobian,
    outline_of,
    point_at,
    segments_of,
)
from snugline.fit.geometry.distance import signed_distance

STADIUM = Chain(
    (0.0, 0.0), 0.0, np.array([60.0, 20 * math.pi, 60.0, 20 * math.pi]),
    np.array([0.0, 0.05, 0.0, 0.05]), np.zeros(4), np.array([True, False, True, False]),
    np.zeros(4, dtype=bool), closed=True,
)  # fmt: skip
# A square of 40 mm, all its corners free to turn.
SQUARE = Chain(
    (0.0, 0.0), 0.0, np.full(4, 40.0), np.zeros(4), np.full(4, math.pi / 2), np.ones(4, dtype=bool),
    np.ones(4, dtype=bool), closed=True,
)  # fmt: skip


def test_free_parameters_are_counted_as_by_hand():
    # A stadium is known by place and direction (3), length and radius.
    assert STADIUM.free == 3 + 2 + 1  # two lengths of lines are not tied by the kind itself
    # Four lines: eight parameters, as of any quadrangle's corners.
    assert SQUARE.free == 8
    assert replace(STADIUM, closed=False).free == 3 + 4 + 2


@pytest.mark.parametrize("chain", [STADIUM, SQUARE])
def test_closed_chains_close_and_carry_a_corner_at_their_start(chain):
    gap, rows = closure(chain)
    assert np.abs(gap).max() < 1e-12
    assert rows.shape == (3 - int(chain.corner[0]), len(chain.values()))
    again = chain.with_values(chain.values())
    assert again.turns == pytest.approx(chain.turns)
    assert again.total_turn() == pytest.approx(2 * math.pi)
    if chain.corner[0]:
        bent = chain.values()
        bent[-1] += 0.2  # what one corner turns more, the first turns less
        assert chain.with_values(bent).turns[0] == pytest.approx(chain.turns[0] - 0.2)
        backwards = replace(chain, turns=-chain.turns)
        assert backwards.with_values(backwards.values()).turns[0] == pytest.approx(-math.pi / 2)


def test_a_chain_out_of_true_is_closed_by_the_nearest_one():
    values = STADIUM.values()
    open_ = STADIUM.with_values(values + 0.01 * np.random.default_rng(1).normal(size=len(values)))
    assert np.abs(closure(open_)[0]).max() > 1e-3
    shut = close(open_, np.ones(len(values)))
    assert np.abs(closure(shut)[0]).max() < 1e-12
    moved = shut.values() - open_.values()
    # Nearest: the step is a combination of the conditions' own rows.
    rows = closure(open_)[1]
    across = moved - rows.T @ np.linalg.lstsq(rows.T, moved, rcond=None)[0]
    assert np.linalg.norm(across) < 0.02 * np.linalg.norm(moved)


def test_feet_near_where_they_were_are_the_nearest_of_all():
    rng = np.random.default_rng(2)
    for chain in (STADIUM, SQUARE, replace(STADIUM, closed=False)):
        segment = rng.integers(0, 4, 200)
        along = rng.uniform(0, 1, 200) * chain.lengths[segment]
        points = point_at(chain, segment, along) + rng.normal(0, 0.5, (200, 2))
        free = drop(chain, points)
        near = drop(chain, points, near=free.segment)
        assert near.distance == pytest.approx(free.distance)
        # A foot that lay on the segment before or after finds its own again.
        for step in (-1, 1):
            was = free.segment + step
            was = was % 4 if chain.closed else np.clip(was, 0, 3)
            assert drop(chain, points, near=was).distance == pytest.approx(free.distance)
        assert points == pytest.approx(free.foot + free.distance[:, None] * free.normal)
        assert np.hypot(*free.normal.T) == pytest.approx(1)


def test_the_distance_off_an_outline_is_that_of_the_outline():
    rng = np.random.default_rng(3)
    for chain in (STADIUM, SQUARE):
        points = rng.uniform(-25, 85, (300, 2))
        own = drop(chain, points)
        over = np.maximum(np.maximum(-own.along, own.along - chain.lengths[own.segment]), 0.0)
        beside = over == 0  # beyond a corner the distance is to the corner itself
        expected = -signed_distance(outline_of(chain), points)  # a chain has its part on the left
        assert beside.mean() > 0.6
        assert own.distance[beside] == pytest.approx(expected[beside], abs=1e-9)


def test_segments_are_the_lines_and_arcs_themselves():
    line, arc, back, other = segments_of(STADIUM)
    assert (line.start, line.end) == ((0.0, 0.0), (60.0, 0.0))
    assert arc.centre == pytest.approx((60, 20))
    assert (arc.radius, arc.sweep) == pytest.approx((20, math.pi))
    assert other.end == line.start
    assert back.start == arc.end
    right = replace(STADIUM, curvatures=-STADIUM.curvatures)
    assert segments_of(right)[1].centre == pytest.approx((60, -20))
    assert segments_of(right)[1].sweep == pytest.approx(-math.pi)


def test_a_whole_circle_is_two_halves():
    round_ = Chain(
        (30.0, 0.0), math.pi / 2, np.array([60 * math.pi]), np.array([1 / 30]), np.zeros(1),
        np.zeros(1, dtype=bool), np.zeros(1, dtype=bool), closed=True,
    )  # fmt: skip
    half = halved(round_)
    assert half.lengths == pytest.approx([30 * math.pi] * 2)
    assert half.poses.end == pytest.approx(np.array([[-30, 0], [30, 0]]))
    assert np.array([s.centre for s in segments_of(round_)]) == pytest.approx(np.zeros((2, 2)))


def test_derivatives_hold_on_closed_chains_too():
    rng = np.random.default_rng(4)
    for chain in (STADIUM, SQUARE):
        points = chain.middles[0] + rng.uniform(-0.3, 0.3, (4, 2))
        feet, values = drop(chain, points), chain.values()
        exact = jacobian(chain, feet)
        for j in range(len(values)):
            nudge = np.zeros(len(values))
            nudge[j] = 1e-6
            ahead, behind = (
                drop(chain.with_values(values + s * nudge), points, feet.segment).distance
                for s in (1, -1)
            )
            assert exact[:, j] == pytest.approx((ahead - behind) / 2e-6, abs=1e-6)


@pytest.mark.parametrize("chain", [STADIUM, SQUARE])
def test_a_chain_is_found_again_from_exact_points(chain):
    rng = np.random.default_rng(5)
    segment = np.repeat(np.arange(4), 60)
    points = point_at(
        chain, segment, np.tile(np.linspace(0.01, 0.99, 60), 4) * chain.lengths[segment]
    )
    values = chain.values()
    rough = chain.with_values(values * (1 + 0.02 * rng.normal(size=len(values))) + 0.02)
    found = refine(rough, points, np.full(len(points), 0.03))
    assert found.converged
    assert found.chi2 < 1e-12
    assert np.abs(found.residuals).max() < 1e-8
    assert sorted(found.chain.lengths) == pytest.approx(sorted(chain.lengths), abs=0.5)
    assert found.chain.curvatures == pytest.approx(chain.curvatures, abs=1e-7)


@pytest.mark.parametrize("seed", range(6))
def test_no_step_makes_the_fit_worse(seed):
    rng = np.random.default_rng(seed)
    segment = np.repeat(np.arange(4), 30)
    share = np.tile(np.linspace(0.01, 0.99, 30), 4)
    points = point_at(STADIUM, segment, share * STADIUM.lengths[segment])
    values = STADIUM.values()
    rough = STADIUM.with_values(values * (1 + 0.25 * rng.normal(size=len(values))) + 0.3)
    costs = [refine(rough, points, np.full(len(points), 0.03), steps).chi2 for steps in range(14)]
    assert (np.diff(costs) <= 1e-9 * np.array(costs[:-1]) + 1e-12).all()


def test_a_chain_s_uncertainty_is_that_of_many_fits():
    from snugline.fit.free.chain_fit import covariance

    rng = np.random.default_rng(6)
    segment = np.repeat(np.arange(4), 25)
    where = np.tile(np.linspace(0.02, 0.98, 25), 4) * STADIUM.lengths[segment]
    points, sigma = point_at(STADIUM, segment, where), np.full(100, 0.05)
    normal = drop(STADIUM, points).normal
    exact = refine(STADIUM, points, sigma)
    stated = covariance(exact.chain, exact.feet, sigma)
    found = []
    for _ in range(150):
        seen = points + 0.05 * rng.normal(size=100)[:, None] * normal
        found.append(refine(STADIUM, seen, sigma, 8).chain.values())
    scatter = np.cov(np.array(found).T)
    held = np.diag(stated) > 1e-10
    ratio = np.diag(scatter)[held] / np.diag(stated)[held]
    # Of 150 fits a variance is known to 12 %.
    assert ratio == pytest.approx(1, abs=0.5)
    assert np.mean(ratio) == pytest.approx(1, abs=0.2)
