"""The noise model's parts against dense algebra and plain sums."""

import itertools
import math

import numpy as np
import pytest
from scipy.fft import dct

from snugline.fit.contour_noise import (
    LEAST,
    RAISED,
    SURE,
    WIDTH,
    _block_length,
    _block_means,
    _cosines,
    _Means,
    _persistence,
    _slow_level,
    _whitened,
    belonging,
    estimate_scaled,
    modelled,
    robust_scale,
)


@pytest.fixture
def rng():
    return np.random.default_rng(12)


def test_cosines_are_the_orthonormal_transform_s(rng):
    series = rng.normal(size=40)
    assert series @ _cosines(40, 40) == pytest.approx(dct(series, type=2, norm="ortho"))


@pytest.mark.parametrize(("at_least", "waves"), [(0, 8), (11, 11)])
def test_the_slow_level_is_the_mean_square_of_the_slowest_cosines(rng, at_least, waves):
    series = rng.normal(size=60)
    level, dof = _slow_level(series[None], at_least)
    expected = dct(series, type=2, norm="ortho")[:waves]
    assert level == pytest.approx(np.mean(expected**2))
    assert dof == waves


def test_long_series_count_a_tenth_of_their_waves(rng):
    series = rng.normal(size=200)
    assert _slow_level(series[None], 0)[1] == 20
    assert _slow_level(rng.normal(size=(1, 3000)), 0)[1] == 30
    # Unit variance stays unit variance, stairs or not.
    levels = [_slow_level(rng.normal(size=(1, 1000)), 0)[0] for _ in range(200)]
    assert np.mean(levels) == pytest.approx(1, abs=0.06)


def test_what_a_fit_took_out_of_the_waves_is_put_back(rng):
    """By the residual maker M = 1 - X (X'X)^-1 X': slow waves C' M z, of C' M C in all."""
    design, e = np.vander(np.linspace(-1, 1, 60), 3), rng.normal(size=60)
    maker = np.eye(60) - design @ np.linalg.pinv(design)
    z = maker @ e
    waves = 3 + 8
    cosines = np.array([dct(row, type=2, norm="ortho") for row in np.eye(60)])[:, :waves]
    level, dof = _slow_level(np.vstack([design.T, z]), 0)
    assert dof == pytest.approx(np.trace(cosines.T @ maker @ cosines))
    assert level == pytest.approx(np.sum((cosines.T @ maker @ z) ** 2) / dof)
    # A column that repeats another, in any unit, takes nothing more.
    again = np.vstack([design.T, 7 * design[:, :1].T, z])
    assert _slow_level(again, 7)[1] == pytest.approx(
        np.trace((c := np.array([dct(r, type=2, norm="ortho") for r in np.eye(60)])[:, :12]).T
                 @ maker @ c)
    )  # fmt: skip


def test_the_model_whitens_to_unit_slow_waves(rng):
    z = np.convolve(rng.normal(size=640), np.ones(6), "valid")[:600]
    design = np.vander(np.linspace(-1, 1, 600), 3)
    z = z - design @ np.linalg.lstsq(design, z, rcond=None)[0]
    model, white = modelled(np.vstack([design.T, z]))
    assert _slow_level(white, 0)[0] == pytest.approx(1)
    assert model.dof == pytest.approx(_slow_level(white, 0)[1])
    assert model.scale == pytest.approx(np.sqrt(np.mean(z**2)))
    means = z[: 600 // model.block * model.block].reshape(-1, model.block).mean(axis=1)
    count = len(means)
    ratio = (1 - model.persistence) / (1 + model.persistence)
    spread = float(means @ means) / (count - 3)
    expected = count * ratio * spread / model.deviation**2
    assert model.effective == pytest.approx(min(expected, count), rel=0.02)
    halves = np.full(600, 0.5)
    weighed = estimate_scaled(np.vstack([design.T, z]), weights=halves)
    assert weighed.scale == pytest.approx(model.scale)


@pytest.mark.parametrize("block", [1, 3, 8])
def test_block_means_are_plain_means_of_each_run(rng, block):
    rows, breaks = rng.normal(size=(2, 50)), (7, 9, 30)
    weights = (rng.random(50) > 0.3).astype(float) * rng.uniform(0.5, 1, 50)
    for given in (None, weights):
        expected, steps = [], []
        for a, b in zip((0, *breaks), (*breaks, 50), strict=True):
            count = max(1, round((b - a) / block))
            edges = [a + k * (b - a) // count for k in range(count + 1)]
            since = 0
            for first, end in itertools.pairwise(edges):
                w = np.ones(end - first) if given is None else given[first:end]
                since += 1
                if w.sum() <= 0.5 * (end - first):
                    continue
                expected.append((rows[:, first:end] @ w) / w.sum())
                seen_before = any(s == a for s, _ in steps)
                steps.append((a, since if seen_before else 0))
                since = 0
        found = _block_means(rows, breaks, block, given)
        assert found.rows == pytest.approx(np.array(expected).T)
        assert found.steps.tolist() == [s for _, s in steps]


def test_blocks_grow_while_neighbours_are_alike(rng):
    assert _block_length(np.ones(1000)) == 8  # 1000 / 16 = 62 blocks are too few to judge
    assert _block_length(rng.normal(size=1000)) == 1
    steps = np.repeat(rng.normal(size=120), 8)
    # Means of 1, 2 and 4 points correlate by 7/8, 3/4 and 1/2: beyond 0.55 for blocks of 2.
    assert _block_length(steps) == 2
    assert _block_length(np.tile([1.0, -1.0], 400)) == 1
    many = np.repeat(rng.normal(size=400), 16)
    # Of 6400 points blocks begin at 3; means of 6 correlate by 10 / 16, of 12 by a quarter.
    assert _block_length(many) == 6


def test_persistence_lies_between_one_step_and_two(rng):
    z = np.convolve(rng.normal(size=320), 0.7 ** np.arange(20), "same")[:300]
    z -= z.mean()
    steps = np.minimum(np.arange(300), 1)
    for taken in (0, 6):
        lost = 0.5 * taken / 300
        own = np.mean(z**2)
        one = (np.mean(z[1:] * z[:-1]) / own + lost) / (1 - lost)
        two = (np.mean(z[2:] * z[:-2]) / own + lost) / (1 - lost)
        assert 0.3 < one < 0.98
        decay = min(max(two / one, 0), one)
        assert _persistence(z, steps, taken) == pytest.approx(one + 0.3 * (decay - one))
    white = rng.normal(size=300)
    first = np.mean(white[1:] * white[:-1]) / np.mean(white**2)
    assert _persistence(white, steps, 0) == pytest.approx(first)
    assert _persistence(np.tile([1.0, -1.0], 50), np.minimum(np.arange(100), 1), 0) == -0.5
    assert _persistence(np.ones(100), np.minimum(np.arange(100), 1), 0) == pytest.approx(
        0.98, abs=0.02
    )
    assert _persistence(z, np.zeros(300, dtype=int), 0) == 0
    # Neighbours across a gap are none.
    gaps = steps.copy()
    gaps[::10] = 0
    at = np.flatnonzero(gaps == 1)
    later = at[gaps[at - 1] == 1]
    one = np.mean(z[at] * z[at - 1]) / own
    decay = min(max(np.mean(z[later] * z[later - 2]) / own / one, 0), one)
    assert _persistence(z, gaps, 0) == pytest.approx(one + 0.3 * (decay - one))


def test_innovations_are_those_of_a_first_order_series(rng):
    rows, steps = rng.normal(size=(2, 9)), np.array([0, 1, 1, 0, 1, 2, 1, 3, 1])
    found = _whitened(_Means(rows, steps), 0.6)
    for i in range(9):
        carried = 0.6 ** steps[i] if steps[i] else 0.0
        before = rows[:, i - 1] if i else 0.0
        expected = (rows[:, i] - carried * before) / math.sqrt(1 - carried**2)
        assert found[:, i] == pytest.approx(expected)
    run = np.minimum(np.arange(9), 1)
    whole = _whitened(_Means(rows, run), 0.6)
    assert whole[:, 1:] == pytest.approx((rows[:, 1:] - 0.6 * rows[:, :-1]) / 0.8)
    assert whole[:, 0] == pytest.approx(rows[:, 0])


def test_who_belongs_by_plain_sums():
    for trial in range(6):
        z = np.random.default_rng(trial).normal(size=400)
        z[120 : 120 + 20 * trial] += 2.2
        z[300:306] += 9.0
        limit = 3.5 * max(robust_scale(z), LEAST)
        cut = np.abs(z) > limit
        bounded = np.clip(z, -limit, limit)
        sums = np.array([abs(bounded[i : i + WIDTH].sum()) for i in range(400 - WIDTH + 1)])
        scale = max(robust_scale(sums), LEAST * WIDTH)
        many = [2 * cut[i : i + WIDTH].sum() >= WIDTH for i in range(len(sums))]
        sure = np.array(many) | (sums > SURE * scale)
        raised = np.array(many) | (sums > RAISED * scale)
        at = [min(max(i - WIDTH // 2, 0), len(sums) - 1) for i in range(400)]
        inside = raised[at]
        out, i = cut.copy(), 0
        while i < 400:
            if not inside[i]:
                i += 1
                continue
            end = i
            while end < 400 and inside[end]:
                end += 1
            if any(sure[j - WIDTH // 2] for j in range(i, end) if 0 <= j - WIDTH // 2 < len(sums)):
                out[i:end] = True
            i = end
        assert (belonging(z) == 0).tolist() == out.tolist()
