"""The moments of a few unknowns, against closed forms and plain numerical integration."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from snugline.pocket.expectation import Sites, posterior

NOT_SEEN = math.nan


def sites(rows, value, offset=None, noise=0.02, slip=0.0):
    rows = np.atleast_2d(np.array(rows, dtype=float))
    count = len(rows)
    shift = np.zeros(count) if offset is None else np.array(offset, dtype=float)
    cut = tuple(range(count))
    return Sites(rows, shift, np.full(count, noise), np.array(value, dtype=float), cut, slip)


def test_measured_sums_are_the_linear_model_s_exactly():
    """Without slips: covariance (C^-1 + A' A / s^2)^-1, the normal linear model (any textbook)."""
    rows = [[1, 1, 0], [1, 0, 1], [1, 1, 0], [0, 1, -1]]
    value, offset = [0.10, -0.05, 0.13, 0.02], [0.01, 0.0, -0.02, 0.03]
    u, mean = np.array([0.15, 0.05, 0.07]), np.array([0.0, 0.02, -0.01])
    found = posterior(sites(rows, value, offset), u, mean)
    a = np.array(rows, dtype=float)
    covariance = np.linalg.inv(np.diag(u**-2) + a.T @ a / 0.02**2)
    expected = covariance @ (mean / u**2 + a.T @ (np.array(value) - offset) / 0.02**2)
    assert found.mean == pytest.approx(expected, abs=1e-6)
    assert found.covariance == pytest.approx(covariance, rel=1e-4, abs=1e-9)
    assert found.right == pytest.approx(np.ones(4))
    residual = (np.array(value) - offset - a @ expected) / 0.02
    assert found.residual == pytest.approx(residual, abs=1e-3)
    ratio = math.sqrt(residual @ residual / 3)  # Birge 1932
    assert found.scatter(np.ones(4, dtype=bool)) == pytest.approx(ratio, rel=1e-3)


def by_integration(likelihood, u, mean=0.0):
    x = np.linspace(mean - 9 * u, mean + 9 * u, 200_001)
    weight = norm.pdf(x, mean, u) * likelihood(x)
    weight /= weight.sum()
    middle = float(weight @ x)
    return middle, float(weight @ (x - middle) ** 2)


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(("offset", "slip"), [(0.05, 0.0), (-0.2, 0.05), (0.3, 0.3), (0.0, 0.05)])
def test_one_side_seen_has_the_integral_s_moments(sign, offset, slip):
    one = sites([[sign]], [NOT_SEEN], [offset], noise=0.05, slip=slip)
    found = posterior(one, np.array([0.15]), np.array([0.02]))

    def seen(x):
        return (1 - slip) * norm.cdf((sign * x + offset) / 0.05) + slip / 2

    mean, variance = by_integration(seen, 0.15, 0.02)
    assert found.mean[0] == pytest.approx(mean, abs=2e-5)
    assert found.covariance[0, 0] == pytest.approx(variance, rel=2e-3)
    z = (sign * 0.02 + offset) / math.hypot(0.05, 0.15)
    above = (1 - slip) * norm.cdf(z)
    assert found.right[0] == pytest.approx(above / (above + slip / 2), abs=1e-3)
    assert math.isnan(found.residual[0])


@pytest.mark.parametrize("value", [0.0, 0.1, 0.25])
def test_one_value_that_may_be_a_slip_has_the_mixture_s_moments(value):
    # A slip says nothing: it is a value of a standard deviation of 0.5 mm about zero.
    one = sites([[1.0]], [value], [0.01], noise=0.03, slip=0.05)
    found = posterior(one, np.array([0.15]), np.array([0.0]))

    def seen(x):
        return 0.95 * norm.pdf(value, x + 0.01, 0.03) + 0.05 * norm.pdf(value, 0, 0.5)

    mean, variance = by_integration(seen, 0.15)
    assert found.mean[0] == pytest.approx(mean, abs=2e-5)
    assert found.covariance[0, 0] == pytest.approx(variance, rel=2e-3)
    own = 0.95 * norm.pdf(value, 0.01, math.hypot(0.03, 0.15))
    assert found.right[0] == pytest.approx(own / (own + 0.05 * norm.pdf(value, 0, 0.5)), abs=1e-3)


def test_two_sides_box_the_unknown_in():
    # Above -0.1 and below 0.05: no normal shape, so its spread is met on the wide side alone.
    both = sites([[1.0], [-1.0]], [NOT_SEEN] * 2, [0.1, 0.05], noise=0.02)
    found = posterior(both, np.array([0.2]), np.array([0.0]))
    mean, variance = by_integration(
        lambda x: norm.cdf((x + 0.1) / 0.02) * norm.cdf((0.05 - x) / 0.02), 0.2
    )
    assert found.mean[0] == pytest.approx(mean, abs=2e-3)
    assert variance < found.covariance[0, 0] < 1.4 * variance


def test_nothing_seen_leaves_what_was_known():
    none = Sites(np.zeros((0, 2)), *(np.zeros(0) for _ in range(3)), (), 0.05)
    found = posterior(none, np.array([0.1, 0.2]), np.array([0.3, -0.1]))
    assert found.mean == pytest.approx([0.3, -0.1])
    assert found.covariance == pytest.approx(np.diag([0.01, 0.04]))


def test_fewer_than_two_values_have_no_scatter():
    for count, ratio in ((1, 1.0), (2, pytest.approx(3.0, rel=0.05))):
        value = [0.03, -0.03][:count] if count > 1 else [0.5]
        found = posterior(
            sites([[1.0]] * count, value, noise=0.02 / 2**0.5), np.array([10.0]), np.zeros(1)
        )
        assert found.scatter(np.ones(count, dtype=bool)) == ratio
