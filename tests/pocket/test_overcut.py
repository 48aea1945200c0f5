import itertools

import numpy as np
import pytest
from scipy import stats

from snugline.errors import InputError
from snugline.pocket.fits import VERDICTS, fit_of, verdict_of
from snugline.pocket.overcut import FEEL_U, Cut, Overcut, estimate, next_test


def simulated_shop(rng, hidden, cuts=5, kind="firm", opening=False):
    """Cuts of a shop whose machine has a hidden overcut, each at the clearance we ask for."""
    made = []
    for _ in range(cuts):
        clearance = round(next_test(kind, estimate(made, "router", "oak", 6.0)), 2)
        gap = clearance + hidden + rng.normal(0, FEEL_U)
        fit = fit_of(kind)
        verdict = VERDICTS[int(np.searchsorted([fit.enters, fit.low, fit.high], gap))]
        seen = hidden + rng.normal(0, 0.015) if opening else None
        made.append(Cut(clearance, verdict, "oak", "router", 6.0, kind, opening_error=seen))
    return made


def test_five_verdicts_find_a_hidden_overcut_to_three_hundredths():
    rng = np.random.default_rng(5)
    errors = []
    for _ in range(100):
        hidden = rng.normal(0, 0.1)
        errors.append(estimate(simulated_shop(rng, hidden), "router", "oak", 6.0).value - hidden)
    assert np.sum(np.abs(errors) < 0.03) >= 95


def test_the_stated_uncertainty_is_the_spread_of_the_errors():
    rng = np.random.default_rng(6)
    scaled = []
    for _ in range(100):
        hidden = rng.normal(0, 0.15)
        found = estimate(simulated_shop(rng, hidden, cuts=3), "router", "oak", 6.0)
        scaled.append((found.value - hidden) / found.u)
    # Of 100 the rms has a standard deviation of 0.07; verdicts are flatter than normal, so less.
    assert 0.8 < np.sqrt(np.mean(np.square(scaled))) < 1.2
    assert np.mean(np.abs(scaled) < 1.96) >= 0.88


def test_one_interval_agrees_with_the_truncated_normal():
    # One verdict on one effect has a closed form: the posterior of a normal seen within limits.
    found = estimate([Cut(0.4, "snug", "oak", "router")], "router", "oak")
    grid = np.linspace(-1.5, 1.5, 60001)
    total = np.sqrt(0.15**2 + 0.05**2 + 0.05**2)
    density = stats.norm.pdf(grid, 0, total) * (
        stats.norm.cdf((0.1 - grid) / FEEL_U) - stats.norm.cdf((-0.15 - grid) / FEEL_U)
    )
    density /= density.sum()
    mean = float(density @ grid)
    assert found.value == pytest.approx(mean, abs=1e-4)
    assert found.u == pytest.approx(float(np.sqrt(density @ (grid - mean) ** 2)), abs=1e-4)


def test_the_order_of_the_cuts_does_not_matter():
    cuts = [
        Cut(0.3, "tight", "oak", "router", 6),
        Cut(0.5, "snug", "walnut", "router", 3),
        Cut(0.4, "snug", "oak", "router", 3, opening_error=-0.1),
        Cut(0.2, "no-go", "oak", "router", 6),
    ]
    there = estimate(cuts, "router", "oak", 6)
    back = estimate(cuts[::-1], "router", "oak", 6)
    assert back.value == pytest.approx(there.value, abs=1e-5)
    assert back.u == pytest.approx(there.u, abs=1e-5)


def test_another_wood_lends_knowledge_but_less_of_it():
    cuts = [Cut(0.3, "snug", "oak", "router", 6, opening_error=-0.08) for _ in range(4)]
    same, other = (estimate(cuts, "router", w, 6) for w in ("oak", "walnut"))
    assert other.value < -0.05
    assert same.u < other.u < estimate([], "router", "walnut", 6).u
    assert (same.alike, other.alike) == (4, 0)


def test_another_machine_s_cuts_count_for_nothing():
    cuts = [Cut(0.3, "snug", "oak", "router", opening_error=-0.08)]
    assert estimate(cuts, "other", "oak").value == 0.0
    assert "no cuts" in estimate(cuts, "other", "oak").sentence()


def test_a_part_of_doubtful_size_teaches_less_about_the_machine():
    def four(u):
        return [Cut(0.1, "no-go", "oak", "router", part="tile", part_u=u) for _ in range(4)]

    sure, doubtful = (estimate(four(u), "router", "oak") for u in (0.0, 0.2))
    assert abs(doubtful.value) < abs(sure.value)
    assert doubtful.u > sure.u


def test_contradicting_verdicts_give_a_finite_answer():
    cuts = [Cut(0.0, "loose", "oak", "router"), Cut(2.0, "no-go", "oak", "router")] * 3
    found = estimate(cuts, "router", "oak")
    assert np.isfinite([found.value, found.u]).all()


def test_an_unknown_verdict_or_kind_is_refused_with_the_choices():
    with pytest.raises(InputError, match="no-go, tight, snug, loose"):
        verdict_of("perfect")
    with pytest.raises(InputError, match="soft, firm, brittle, metal"):
        fit_of("wobbly")


@pytest.mark.parametrize("kind", ["soft", "firm", "brittle", "metal"])
def test_the_next_test_leaves_less_doubt_than_any_other(kind):
    """Against the doubt left by each clearance, integrated on a fine grid."""
    known = Overcut(0.04, 0.08, 3, 3)
    fit = fit_of(kind)
    grid = np.linspace(known.value - 6 * known.u, known.value + 6 * known.u, 4001)
    density = stats.norm.pdf(grid, known.value, known.u)
    density /= density.sum()

    def doubt(clearance):
        edges = [-np.inf, fit.enters, fit.low, fit.high, np.inf]
        below = [stats.norm.cdf((edge - clearance - grid) / FEEL_U) for edge in edges]
        left = 0.0
        for low, high in itertools.pairwise(below):
            share = density * (high - low)
            odds = share.sum()
            left += share @ grid**2 - (share @ grid) ** 2 / max(odds, 1e-300)
        return left

    chosen = next_test(kind, known)
    least = min(doubt(clearance) for clearance in np.linspace(0, 0.8, 161))
    assert chosen >= 0
    assert doubt(chosen) <= 1.05 * least  # it looks at nine clearances about each limit
    assert doubt(chosen) < known.u**2
