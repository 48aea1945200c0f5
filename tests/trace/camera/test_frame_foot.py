"""Profiles drawn from the parts that meet at a foot, blurred by a Gaussian."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.trace.camera.frame_foot import ground_ends

ACROSS = np.arange(-16.0, 16.5)


def profiles(
    ends: NDArray[np.float64], wall: float, rise: float, shade: float, shadow: float = 0
) -> NDArray[np.float64]:
    """Ground of light 1, wall of -0.05 and face of 0; the ground ends at each of `ends`."""
    fine = np.arange(-40, 40, 0.05)
    rng = np.random.default_rng(5)
    rows = []
    for end in ends:
        distance = np.maximum(end - fine, 0)
        light = 1 - shade * (1 - distance / np.hypot(distance, rise))
        if shadow:
            light = light - 0.5 * (distance < shadow)
        light = np.where(fine < end, light, np.where(fine < end + wall, -0.05, 0.0))
        blurred = gaussian_filter1d(light, 1.0 / 0.05)
        rows.append(np.interp(ACROSS, fine, blurred) + rng.normal(0, 0.003, ACROSS.size))
    return np.array(rows)


@pytest.mark.parametrize("wall", [0.0, 1.4, 2.6, 5.0])
def test_the_grounds_end_is_found_beside_a_wall_and_a_darkened_foot(wall: float) -> None:
    ends = np.linspace(-1.5, 1.5, 30)
    found = ground_ends(profiles(ends, wall, 6.0, 0.3), ACROSS, -wall, 6.0)
    assert np.abs(np.mean(found.place - ends)) < 0.1  # a single step: up to the wall's width
    assert np.std(found.place - ends) < 2 * np.median(found.sigma)
    assert np.median(found.sigma) < 0.1


@pytest.mark.parametrize("shadow", [4.2, 5.0, 6.0, 7.5, 9.0, 12.0])
def test_a_cast_shadow_is_told_from_the_foot_or_doubted(shadow: float) -> None:
    ends = np.linspace(-1, 1, 20)
    found = ground_ends(profiles(ends, 2.6, 6.0, 0.3, shadow), ACROSS, -2.6, 6.0)
    assert np.abs(found.place - ends).max() < 0.4 + 2 * found.doubt


def test_a_thin_sheet_is_a_plain_step() -> None:
    ends = np.linspace(-1, 1, 20)
    found = ground_ends(profiles(ends, 0, 1e-3, 0), ACROSS, 0.0, 0.0)
    assert np.sqrt(np.mean((found.place - ends) ** 2)) < 0.03
    assert 0.3 < np.sqrt(np.mean(((found.place - ends) / found.sigma) ** 2)) < 3
    assert found.doubt == 0


def test_a_level_without_any_step_gives_no_place() -> None:
    edge_far_away = np.tile(np.where(ACROSS < 14, 1.0, 0.0), (5, 1))
    found = ground_ends(edge_far_away, ACROSS, 0.0, 0.0)
    assert np.isnan(found.place).all()
    assert np.isinf(found.doubt)
