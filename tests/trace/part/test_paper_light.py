"""The sheet's light fitted to samples, some of which lie on something else."""

import numpy as np
import pytest

from snugline.trace.part.paper_light import fit_light, quiet_zone_points


def falling_off(points, ratio):
    """Light of a lamp at one side and a lens that darkens the corners, per channel."""
    x, y = points.T
    base = ratio ** (-x / 600) * (1 - 0.25 * ((x - 300) ** 2 + (y - 200) ** 2) / 360**2)
    return base[:, None] * np.array([0.8, 0.7, 0.5])


def scattered(count, seed=1):
    return np.random.default_rng(seed).uniform([0, 0], [600, 400], (count, 2))


def test_the_field_follows_light_that_falls_off_to_a_third():
    points = scattered(500)
    field = fit_light(points, falling_off(points, 3.0), 3)
    other = scattered(200, seed=2)
    # Vignetting is no polynomial in the logarithm: a cubic leaves about 1 %.
    assert np.abs(field.at(other) / falling_off(other, 3.0) - 1).max() < 0.015


@pytest.mark.parametrize("tone", [0.1, 0.5])
def test_samples_on_a_dark_part_do_not_move_it(tone):
    points = scattered(600)
    light = falling_off(points, 1.3)
    on_part = (points[:, 0] < 250) & (points[:, 1] < 200)  # a fifth of them
    light[on_part] *= tone
    field = fit_light(points, light, 2)
    clean = points[~on_part]
    assert np.abs(field.at(clean) / falling_off(clean, 1.3) - 1).max() < 0.04


def test_the_rectangle_and_the_points_agree():
    points = scattered(300)
    field = fit_light(points, falling_off(points, 3.0), 2)
    block = field.over(40, 30, 50, 41)
    assert block.shape == (41, 50, 3)
    x, y = np.meshgrid(np.arange(40.0, 90), np.arange(30.0, 71))
    there = field.at(np.column_stack([x.ravel(), y.ravel()])).reshape(block.shape)
    # Interpolated between every eighth pixel: a hundredth of a photo's noise.
    np.testing.assert_allclose(block, there, rtol=1e-4)


def test_few_samples_lower_the_degree():
    points = np.array([[0.0, 0.0], [10, 0], [0, 10], [10, 10]])
    field = fit_light(points, np.full((4, 3), 0.5), 3)
    assert field.coefficients.shape == (1, 1, 3)
    assert field.at(points) == pytest.approx(np.full((4, 3), 0.5))


def test_quiet_zone_points_lie_on_the_white_round_a_marker():
    quad = np.array([[[0.0, 14], [14, 14], [14, 0], [0, 0]]])
    off = np.abs(quiet_zone_points(quad) - 7).max(axis=1)
    # The tag is 8 cells wide (AprilTag 36h11: 6 of data, 1 of border a side), so that 1.75 mm is
    # one cell: the points lie at its far side and not beyond.
    assert off == pytest.approx(np.full(20, 7 + 14 / 8))
