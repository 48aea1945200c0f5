"""The noise model: whitening against dense covariances, levels against known kernels."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import norm
from scipy.stats import t as student

from snugline.fit.adjustment.robust_solution import stated_slow
from snugline.fit.contour_noise import (
    BIWEIGHT,
    STATED_DOF,
    NoiseModel,
    belonging,
    biweights,
    cauchy_weights,
    estimate_noise,
    robust_scale,
    whiten,
)
from snugline.fit.section import Section


def exponential(n, length, rng):
    """Unit noise of correlation exp(-d / length), distances in points."""
    phi = math.exp(-1 / length)
    white = rng.standard_normal(n) * math.sqrt(1 - phi * phi)
    white[0] /= math.sqrt(1 - phi * phi)
    return lfilter([1.0], [1.0, -phi], white)


def model(persistence, block=1):
    return NoiseModel(1.0, block, persistence, 1.0, 100.0, 30.0)


def test_whitening_is_that_of_the_dense_covariance_across_gaps_too():
    n, breaks, phi = 40, (12, 13, 30), 0.8
    weights = np.ones(n)
    weights[[5, 6, 20]] = 0
    kept = np.flatnonzero(weights)
    run = np.searchsorted(breaks, np.arange(n), side="right")
    same = np.equal.outer(run, run)
    covariance = np.where(same, phi ** np.abs(np.subtract.outer(np.arange(n), np.arange(n))), 0.0)
    covariance = covariance[np.ix_(kept, kept)]
    rows = np.random.default_rng(0).standard_normal((n, 3))
    white = whiten(model(phi), rows, breaks, weights)
    expected = rows[kept].T @ np.linalg.solve(covariance, rows[kept])
    assert white.T @ white == pytest.approx(expected, abs=1e-10)


def test_blocks_average_whole_runs_and_residuals_alike():
    rows = np.arange(20.0)
    white = whiten(model(0.0, block=4), rows, (8,))
    assert white == pytest.approx([1.5, 5.5, 9.5, 13.5, 17.5])
    assert whiten(model(0.0, block=4), rows[:, None], (8,))[:, 0] == pytest.approx(white)


def test_a_block_that_lost_most_of_its_points_is_left_out():
    weights = np.ones(20)
    weights[4:7] = 0
    white = whiten(model(0.0, block=4), np.arange(20.0), (), weights)
    assert white == pytest.approx([1.5, 9.5, 13.5, 17.5])


@pytest.mark.parametrize("length", [0.01, 5, 10, 30])
def test_the_slow_level_is_that_of_the_kernel(length):
    n, rng = 2000, np.random.default_rng(3)
    phi = math.exp(-1 / length)
    true = (1 + phi) / (1 - phi)
    models = [estimate_noise(exponential(n, length, rng), np.ones(n)) for _ in range(60)]
    # At long correlations the first-order model errs to the safe side.
    assert 0.9 < np.mean([m.slow for m in models]) / true < 1.25
    assert np.median([m.effective for m in models]) == pytest.approx(n / true, rel=0.3)
    assert all(abs(m.persistence) < 1 for m in models)


def test_the_design_puts_back_what_the_fit_took_out():
    n, rng = 400, np.random.default_rng(4)
    at = np.linspace(-1, 1, n)
    design = np.vander(at, 6)
    with_design, without = [], []
    for _ in range(100):
        e = exponential(n, 10, rng)
        r = e - design @ np.linalg.lstsq(design, e, rcond=None)[0]
        with_design.append(estimate_noise(r, np.ones(n), design=design).slow)
        without.append(estimate_noise(r, np.ones(n)).slow)
    true = (1 + math.exp(-0.1)) / (1 - math.exp(-0.1))
    assert np.mean(with_design) == pytest.approx(true, rel=0.25)
    assert np.mean(without) < 0.85 * np.mean(with_design)


def test_repeated_and_empty_columns_of_the_design_change_little():
    n, rng = 500, np.random.default_rng(5)
    design = np.vander(np.linspace(-1, 1, n), 3)
    e = exponential(n, 5, rng)
    once = estimate_noise(e, np.ones(n), design=design)
    twice = estimate_noise(e, np.ones(n), design=np.column_stack([design, design, np.zeros(n)]))
    assert twice.slow == pytest.approx(once.slow, rel=0.2)


def test_intervals_of_a_mean_hold_with_noise_of_a_smooth_kernel():
    # A light form of benchmarks/intervals.py: bounds wide enough for 400 trials.
    n, rng, held = 1000, np.random.default_rng(6), 0
    weights = np.exp(-((np.arange(-40, 41) / 8.0) ** 2))
    weights /= np.sqrt(weights @ weights)
    one = np.ones((n, 1))
    for _ in range(400):
        e = np.convolve(rng.standard_normal(n + 80), weights, "valid")
        noise = estimate_noise(e - e.mean(), np.ones(n), design=one)
        rows, z = whiten(noise, one)[:, 0], whiten(noise, e)
        u = 1 / math.sqrt(rows @ rows)
        held += abs(rows @ z) * u * u < noise.quantile() * u
    assert 0.92 <= held / 400 <= 0.985


def test_the_quantile_is_students():
    assert model(0.0).quantile(0.95) == pytest.approx(student.ppf(0.975, 30))
    assert model(0.0).quantile(0.99) == pytest.approx(student.ppf(0.995, 30))


def test_exact_points_have_a_model_too():
    noise = estimate_noise(np.zeros(100), np.ones(100))
    assert noise.deviation > 0
    assert np.isfinite(noise.quantile())


def test_weights_are_one_at_zero_and_fall():
    z = np.array([0.0, 1.0, 4.7, 50.0])
    for weights in (cauchy_weights(z), biweights(z)):
        assert weights[0] == 1
        assert np.all(np.diff(weights) <= 0)
    assert biweights(z)[2] == 0
    assert cauchy_weights(z)[3] > 0
    normal = np.random.default_rng(0).standard_normal(10001)
    assert robust_scale(normal) == pytest.approx(1, abs=0.03)


def test_clean_noise_keeps_nearly_all_points_and_outliers_go():
    rng = np.random.default_rng(8)
    z = rng.standard_normal(1000)
    assert belonging(z).mean() > 0.995
    z[rng.choice(1000, 80, replace=False)] += 20
    assert belonging(z)[z > 10].sum() == 0
    assert belonging(z)[z < 10].mean() > 0.97
    bump = rng.standard_normal(1000)
    bump[300:360] += 10 * np.sin(np.linspace(0, math.pi, 60)) ** 2
    assert belonging(bump)[308:350].sum() == 0


@pytest.mark.parametrize(
    ("weights", "limit"), [(cauchy_weights, None), (biweights, BIWEIGHT)], ids=["cauchy", "tukey"]
)
def test_robust_weights_are_95_per_cent_efficient_on_normal_residuals(weights, limit):
    """(E psi')^2 / E psi^2 under the normal law, psi = w z (Holland and Welsch 1977, table 1)."""
    z = np.linspace(-12, 12, 400_001)
    density = np.exp(-z * z / 2) / math.sqrt(2 * math.pi) * (z[1] - z[0])
    psi = weights(z) * z
    slope = np.gradient(psi, z)
    assert (density @ slope) ** 2 / (density @ psi**2) == pytest.approx(0.95, abs=1e-3)
    if limit is not None:
        assert (weights(np.array([limit, -limit, 9.0])) == 0).all()


def test_the_robust_scale_is_the_median_s_over_that_of_the_normal_law():
    z = np.array([-3.0, 0.1, 0.2, -0.4, 7.0, 0.3, -0.2])
    assert robust_scale(z) == pytest.approx(0.3 / norm.ppf(0.75))


def test_one_point_far_off_goes_alone_and_a_raised_stretch_goes_whole():
    rng = np.random.default_rng(8)
    clean = rng.normal(size=600)
    limit = 3.5 * robust_scale(clean)
    clean = np.clip(clean, -0.9 * limit, 0.9 * limit)
    lone = clean.copy()
    lone[300] = 20.0
    assert np.flatnonzero(belonging(lone) == 0).tolist() == [300]
    # A shadow of 60 points, none of them beyond the cut by itself.
    shade = clean.copy()
    shade[200:260] += 2.5
    out = np.flatnonzero(belonging(shade) == 0)
    assert np.isin(np.arange(208, 252), out).all()
    assert out.min() > 200 - 25
    assert out.max() < 260 + 25
    assert len(np.flatnonzero(belonging(clean) == 0)) == 0


@pytest.mark.parametrize("persistence", [0.0, 0.4, 0.8])
def test_noise_of_first_order_is_found_again(persistence):
    """An autoregressive series of order one: slow variance s^2 (1 + r) / (1 - r)."""
    rng = np.random.default_rng(11)
    models = []
    for _ in range(30):
        z = rng.normal(size=1500)
        for i in range(1, len(z)):
            z[i] = persistence * z[i - 1] + math.sqrt(1 - persistence**2) * z[i]
        models.append(estimate_noise(0.02 * z, np.full(len(z), 0.02)))
    slow = (1 + persistence) / (1 - persistence)
    assert np.mean([m.slow for m in models]) == pytest.approx(slow, rel=0.12)
    assert np.mean([m.scale for m in models]) == pytest.approx(1.0, abs=0.05)
    assert np.mean([m.effective for m in models]) == pytest.approx(1500 / slow, rel=0.2)
    blocks = {m.block for m in models}
    assert blocks == {1} if persistence < 0.5 else max(blocks) > 1


def test_a_stated_level_counts_as_a_scaled_inverse_chi_squared_prior():
    """Against the posterior mean of the precision, integrated over scipy's densities."""
    from scipy.integrate import quad
    from scipy.stats import chi2, invgamma

    found, stated, dof = 2.0, 9.0, 30.0
    prior = invgamma(STATED_DOF / 2, scale=STATED_DOF * stated / 2)

    def posterior(variance):
        return prior.pdf(variance) * chi2.pdf(dof * found / variance, dof) * dof / variance

    mean = quad(lambda v: posterior(v) / v, 0.1, 60)[0] / quad(posterior, 0.1, 60)[0]
    drawn = NoiseModel(1.0, 1, 0.0, math.sqrt(found), 100.0, dof).drawn_to(stated)
    assert drawn.slow == pytest.approx(1 / mean, rel=1e-6)
    assert drawn.dof == dof + STATED_DOF


def test_slow_waves_of_noise_that_falls_off_over_a_length():
    """The variance of a long mean, from the autocorrelation summed (Bartlett)."""
    step, length = 0.3, 5.0
    section = Section("a", "whole", np.arange(50)[:, None] * [step, 0.0], np.full(50, 0.02))
    assert stated_slow(section) == 0.0
    lags = np.arange(1, 2000)
    total = 1 + 2 * np.exp(-lags * step / length).sum()
    assert stated_slow(replace(section, correlation_mm=length)) == pytest.approx(total, rel=1e-9)
