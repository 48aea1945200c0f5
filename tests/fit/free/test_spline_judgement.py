"""By what rules the search for a chain judges: noise of means, the price of parts, the misfit."""

import math
from dataclasses import replace

import numpy as np
import pytest

from snugline.fit.free.arc_spline import ChainNoise, _faults, _Search, arc_spline
from snugline.fit.free.chain_fit import ChainFit
from snugline.fit.geometry.arc_chain import Chain, drop, outline_of
from snugline.fit.geometry.outline import Arc
from snugline.fit.geometry.primitives import filleted_polygon, rounded_rectangle


@pytest.mark.parametrize("correlation", [0.0, 0.4, 0.85])
@pytest.mark.parametrize("count", [1, 2, 7, 40])
def test_the_noise_of_a_mean_is_that_of_the_dense_covariance(correlation, count):
    """Variance of a mean, 1' C 1 / n^2, of a first-order autoregression."""
    noise = ChainNoise(0.03, correlation)
    lag = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    variance = 0.03**2 * (correlation**lag).sum() / count**2
    assert noise.of_mean(count) == pytest.approx(math.sqrt(variance))
    many = noise.of_mean(20_000) * math.sqrt(20_000) / 0.03
    assert many**2 == pytest.approx(noise.inflation, rel=1e-2)


def search(points, tolerance=None):
    return _Search(points, False, np.zeros(len(points), dtype=bool), tolerance)


def chain(lengths, sweeps, turns=None):
    lengths, sweeps = np.array(lengths, dtype=float), np.array(sweeps, dtype=float)
    turns = np.zeros(len(lengths)) if turns is None else np.array(turns, dtype=float)
    return Chain(
        (0.0, 0.0), 0.0, lengths, sweeps / lengths, turns, sweeps == 0, turns != 0, closed=False
    )


def fitted(one, residuals, sigma=0.05):
    x = np.linspace(1, 99, len(residuals))
    feet = drop(one, np.column_stack([x, 0 * x]))
    feet = replace(feet, distance=np.array(residuals, dtype=float))
    whole = np.full(len(residuals), sigma)
    return ChainFit(one, feet, whole, float(np.sum((feet.distance / whole) ** 2)), True)


LINE = np.column_stack([np.arange(0, 100, 0.25), np.zeros(400)])


def test_contours_are_averaged_over_steps_that_follow_their_length():
    # 600 stations at most, 0.7 mm apart at least, 150 of a short contour.
    assert search(LINE).at.step == pytest.approx(100 / 150, rel=0.01)
    assert search(LINE * 3).at.step == pytest.approx(0.75, rel=0.01)  # the points' own
    long = np.column_stack([np.arange(0, 900, 0.2), np.zeros(4500)])
    assert search(long).at.step == pytest.approx(1.5, rel=0.01)


def test_a_chain_costs_its_chi_square_and_its_parts():
    one = search(LINE)
    one.noise = ChainNoise(0.05, 0.5)
    price = 1.5 * math.log(len(one.at))
    assert one.penalty == pytest.approx(price)
    residuals = np.full(50, 0.05)
    line = fitted(chain([100], [0]), residuals)
    assert one._value(line) == pytest.approx(50 / 3 + price * 4)
    two = fitted(chain([50, 50], [0.1, 0.2]), residuals)
    assert one._value(two) == pytest.approx(50 / 3 + price * (3 + 2 + 2))
    # A change of side costs one more, and so does a segment of less than two stations, twice.
    wiggle = fitted(chain([50, 50], [0.1, -0.2]), residuals)
    assert one._value(wiggle) == pytest.approx(50 / 3 + price * (7 + 1))
    speck = fitted(chain([50, 1.0], [0.1, 0.2]), residuals)
    assert one._value(speck) == pytest.approx(50 / 3 + price * (7 + 2))
    cornered = fitted(chain([50, 50], [0, 0], [0, -0.5]), residuals)
    assert one._value(cornered) == pytest.approx(50 / 3 + price * (3 + 2 + 1))


def test_excess_is_the_worst_mean_over_what_noise_allows():
    one = search(LINE)
    one.noise = ChainNoise(0.05, 0.2)
    residuals = 0.01 * np.random.default_rng(1).normal(size=64)
    residuals[20:36] += 0.1
    found = one._excess(fitted(chain([100], [0]), residuals))
    worst = np.zeros(64)
    for size in (1, 2, 4, 8, 16, 32):
        for first in range(64 - size + 1):
            mean = abs(residuals[first : first + size].mean())
            at = first + size // 2
            worst[at] = max(worst[at], mean / (4.5 * one.noise.of_mean(size)))
    assert found == pytest.approx(worst)
    assert 20 <= int(np.argmax(found)) < 36
    assert one._fine(fitted(chain([100], [0]), residuals)) == (worst.max() <= 1)
    # Within a stated tolerance a bow may stray by it, less what the noise may hide.
    one.lax, one.tolerance = True, 0.3
    wide = one._excess(fitted(chain([100], [0]), residuals))
    worst = np.zeros(64)
    for size in (1, 2, 4, 8, 16, 32):
        noise = one.noise.of_mean(size)
        allowed = max(0.3 - noise, (4.5 if size < 4 else 3.0) * noise)
        for first in range(64 - size + 1):
            mean = abs(residuals[first : first + size].mean())
            at = first + size // 2
            worst[at] = max(worst[at], mean / allowed)
    assert wide == pytest.approx(worst)


def test_faults_are_specks_whole_turns_and_turns_back():
    assert _faults(chain([50, 20], [0, 1.0]), 0.7) == 0
    assert _faults(chain([50, 0.1], [0, 1.0]), 0.7) == 1
    assert _faults(chain([50, 20], [0, 6.5]), 0.7) == 1
    assert _faults(chain([50, 20], [0, -6.5]), 0.7) == 1
    assert _faults(chain([50, 20], [0, 1.0], [0, -math.pi]), 0.7) == 1
    assert _faults(chain([0.1, 0.1], [0, 1.0], [0, 3.2]), 0.7) == 2


@pytest.mark.parametrize(
    "outline",
    [
        rounded_rectangle(120, 70, [8, 15, 11, 22]),
        filleted_polygon([(-60, -30), (50, -35), (70, 10), (0, 8), (-50, 40)], [12, 9, 15, 25, 10]),
    ],
)
def test_exact_points_give_the_exact_outline(outline):
    points = outline.sampled(0.25)
    rolled, image = np.roll(points, len(points) // 3, axis=0), (points * [-1, 1])[::-1]
    for moved in (points, rolled, image):
        found = outline_of(arc_spline(moved, True).fit.chain)
        assert len(found.segments) == len(outline.segments)
        radii = sorted(s.radius for s in found.segments if isinstance(s, Arc))
        true = sorted(s.radius for s in outline.segments if isinstance(s, Arc))
        assert radii == pytest.approx(true, abs=2e-3)
        assert found.area == pytest.approx(outline.area, rel=1e-5)
        assert found.perimeter == pytest.approx(outline.perimeter, rel=1e-5)
