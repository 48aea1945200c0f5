"""A step drawn at a known sub-pixel place is found there, in linear light, and only there."""

import numpy as np
import pytest
from drawn_pictures import INK, PAPER, developed, step_light
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from snugline.trace.image.linear_light import LUMINANCE_WEIGHTS, linear_to_srgb, srgb_to_linear
from snugline.trace.image.step_edge import fit_steps, sample_light, sample_luminance

Floats = NDArray[np.float64]
ACROSS = np.arange(-5, 5.01, 0.5)
SIZE = (64, 64)


def across(place: float, normal: Floats, rows: Floats) -> tuple[Floats, Floats]:
    """Places of samples across a straight edge, (rows, T), around the whole pixel next to it."""
    near = np.round(place)
    tangent = np.array([-normal[1], normal[0]])
    middle = SIZE[0] / 2 * tangent.sum() * tangent
    spots = (near + ACROSS)[None, :, None] * normal + (middle + rows[:, None] * tangent)[:, None]
    return spots[..., 0], spots[..., 1]


def found_step(rgb: NDArray[np.uint8], place: float, normal: Floats, rows: Floats) -> Floats:
    """Errors of the steps fitted to rows across the edge."""
    light = sample_luminance(rgb, *across(place, normal, rows)).astype(np.float64)
    steps = fit_steps(light, ACROSS)
    assert steps.good.all()
    error: Floats = steps.position + np.round(place) - place
    return error


@pytest.mark.parametrize("degrees", [0, 7, 30, 45, 83, 90])
def test_a_drawn_step_is_found_to_a_fiftieth_of_a_pixel(degrees: float) -> None:
    a = np.radians(degrees)
    normal = np.array([np.cos(a), np.sin(a)])
    start = 32 * normal.sum()
    for fraction in (0.0, 0.2, 0.35, 0.5, 0.7, 0.95):
        place = start + fraction
        rgb = developed(step_light(SIZE, place, normal), blur=0.8)
        error = found_step(rgb, place, normal, np.linspace(-12, 12, 61))
        assert abs(error.mean()) < 0.02


def test_a_noisy_step_is_unbiased_and_states_its_scatter() -> None:
    normal = np.array([np.cos(0.3), np.sin(0.3)])
    place = 32 * normal.sum() + 0.37
    errors, stated = [], []
    for seed in range(8):
        rgb = developed(step_light(SIZE, place, normal), blur=0.9, noise=0.012, seed=seed)
        # Rows four pixels apart share no pixel.
        light = sample_luminance(rgb, *across(place, normal, np.arange(-16, 17, 4.0)))
        steps = fit_steps(light.astype(np.float64), ACROSS)
        errors.append(steps.position + np.round(place) - place)
        stated.append(steps.sigma)
    error, sigma = np.concatenate(errors), np.concatenate(stated)
    assert abs(error.mean()) < 3 * error.std() / np.sqrt(len(error)) + 0.01
    assert abs(error.mean()) < 0.02
    # Samples at half a pixel share pixels, which the fit does not know: it may state less.
    assert 0.5 < np.median(sigma) / error.std() < 1.3


def test_in_coded_values_the_same_fit_shrinks_what_is_dark() -> None:
    normal = np.array([1.0, 0.0])
    place = 32.37
    rgb = developed(step_light(SIZE, place, normal), blur=1.2)
    right = found_step(rgb, place, normal, np.zeros(1))[0]
    coded = rgb[32, :, 0].astype(np.float64) / 255
    profile = np.interp(np.round(place) + ACROSS, np.arange(SIZE[0]), coded)
    wrong = fit_steps(profile[None], ACROSS).position[0] + np.round(place) - place
    assert abs(right) < 0.02
    # Dark lies before the step: the edge has moved into it.
    assert wrong < -0.2


@pytest.mark.parametrize(("contrast", "blur", "noise"), [(150, 0.9, 3), (30, 1.2, 4)])
def test_the_scatter_of_a_fitted_step_is_near_the_bound(
    contrast: float, blur: float, noise: float
) -> None:
    # Cramer-Rao bound of a Gaussian-blurred step with everything else known, one sample a pixel:
    # the integral of the squared slope is contrast^2 / (2 sqrt(pi) blur).
    bound = np.sqrt(2 * blur * np.sqrt(np.pi)) * noise / contrast
    rng = np.random.default_rng(3)
    places = np.arange(-8.0, 8.5)
    true = rng.uniform(-0.5, 0.5, 3000)
    profiles = contrast * ndtr((places - true[:, None]) / blur)
    profiles += noise * rng.standard_normal(profiles.shape)
    steps = fit_steps(profiles, places, blur=blur, blur_sigma=0.2)
    error = steps.position - true
    spread = 1.4826 * np.median(np.abs(error - np.median(error)))
    assert 0.9 < spread / bound < 1.25
    assert abs(np.median(error)) < 4 * spread / np.sqrt(3000)
    assert 0.85 < np.median(steps.sigma) / spread < 1.15


def test_levels_and_blur_of_a_clean_step_come_out() -> None:
    places = np.linspace(-6, 6, 25)
    truth = [(0.3, 0.8, 0.1, 0.7), (-1.2, 1.5, 0.9, 0.2)]
    profiles = np.array([low + (high - low) * ndtr((places - p) / b) for p, b, low, high in truth])
    steps = fit_steps(profiles, places)
    found = np.column_stack([steps.position, steps.blur, steps.low, steps.high])
    np.testing.assert_allclose(found, truth, atol=1e-5)
    assert steps.good.all()
    assert steps.residual.max() < 1e-6


def test_samples_that_are_not_known_are_left_out_of_the_fit() -> None:
    places = np.linspace(-6, 6, 25)
    profile = 0.1 + 0.6 * ndtr((places - 0.4) / 0.9)
    profile[:5] = np.nan
    steps = fit_steps(profile[None], places)
    assert steps.position[0] == pytest.approx(0.4, abs=1e-4)
    profile[:20] = np.nan
    assert not fit_steps(profile[None], places).good[0]


def test_light_is_averaged_between_pixels_after_the_curve_is_undone() -> None:
    rgb = np.zeros((4, 4, 3), np.uint8)
    rgb[:, 2:] = (200, 120, 40)
    one = srgb_to_linear(np.array([200, 120, 40]) / 255) @ np.array(LUMINANCE_WEIGHTS)
    x, y = np.array([2.0, 1.5, 1.25, 1.0]), np.full(4, 1.5)
    expected = one * np.array([1, 0.5, 0.25, 0])
    np.testing.assert_allclose(sample_luminance(rgb, x, y), expected, atol=1e-6)
    light = sample_light(rgb, x, y)
    np.testing.assert_allclose(light[0], expected, atol=1e-6)
    # Luma of ITU-R BT.601; colour differences are averaged as coded.
    luma = np.array([0.299, 0.587, 0.114]) @ [200, 120, 40]
    red, blue = (200 - luma) / 255, (40 - luma) / 255
    np.testing.assert_allclose(light[1:, :2], [[red, red / 2], [blue, blue / 2]], atol=1e-6)


def test_outside_the_picture_light_is_unknown() -> None:
    rgb = np.full((5, 8, 3), 255, np.uint8)
    x, y = np.array([-0.1, 7.5, 3.0, 3.0]), np.array([2.0, 2.0, -1.0, 4.6])
    assert np.isnan(sample_luminance(rgb, x, y)).all()
    assert np.isnan(sample_light(rgb, x, y)).all()
    assert np.isfinite(sample_luminance(rgb, np.array([6.9]), np.array([3.9]))).all()


def test_linear_light_has_no_bias_where_coded_values_have() -> None:
    """The bias belongs to the curve, not to the fit: shown without pixels, on one fine profile."""
    x = np.arange(-10, 10, 0.01)
    seen = gaussian_filter(np.where(x < 0, INK, PAPER), 1.0 / 0.01)
    places = np.arange(-5, 5.01, 0.5)
    linear = np.interp(places, x, seen)[None]
    assert abs(fit_steps(linear, places).position[0]) < 0.01
    assert fit_steps(linear_to_srgb(linear), places).position[0] < -0.2
