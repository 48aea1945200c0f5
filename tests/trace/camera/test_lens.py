"""The lens against OpenCV's projection, its own derivatives, and what is known of it beforehand."""

import numpy as np
import pytest
from made_views import phone_lens, seen_by_opencv
from numpy.typing import NDArray

from snugline.trace.camera.lens import Lens, LensPrior, prior_from_exif, project, radial_precision
from snugline.trace.camera.projection import Camera

Floats = NDArray[np.float64]


def points_before_the_camera(n: int = 400, seed: int = 2) -> Floats:
    """(N, 3) in the camera's axes, over all of the picture and a bit beyond."""
    rng = np.random.default_rng(seed)
    z = rng.uniform(200, 500, n)
    return np.column_stack([rng.uniform(-0.7, 0.7, n) * z, rng.uniform(-0.55, 0.55, n) * z, z])


@pytest.mark.parametrize(
    "radial", [(0.0, 0.0, 0.0, 0.0), (0.02, -0.03, 0.01, 0.0), (-0.28, 0.11, -0.02, 0.0)]
)
def test_pixels_are_those_of_opencv(radial: tuple[float, float, float, float]) -> None:
    lens = phone_lens(radial=radial)
    points = points_before_the_camera()
    expected = seen_by_opencv(Camera(lens, np.eye(3), np.zeros(3)), points)
    np.testing.assert_allclose(lens.pixels(points[:, :2] / points[:, 2:]), expected, atol=1e-9)
    np.testing.assert_allclose(project(lens, points)[0], expected, atol=1e-9)
    np.testing.assert_allclose(project(lens, points, derivatives=False)[0], expected, atol=1e-9)


def test_the_fourth_radial_term_is_a_polynomial_s() -> None:
    lens = Lens(1000.0, (0.0, 0.0), (0.0, 0.0, 0.0, 0.05), (100, 100))
    # r = 1: u = f (1 + k4). OpenCV's own k4 stands in a denominator instead.
    assert lens.pixels(np.array([[1.0, 0.0]]))[0, 0] == pytest.approx(1050)


def test_derivatives_are_those_of_finite_differences() -> None:
    lens = phone_lens(radial=(0.03, -0.05, 0.04, -0.02))
    points = points_before_the_camera(50)
    _, by_lens, by_point = project(lens, points)
    for k, h in enumerate([1e-3, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-6]):
        step = np.zeros(7)
        step[k] = h
        ahead, behind = (
            project(lens.with_vector(lens.vector() + s), points)[0] for s in (step, -step)
        )
        np.testing.assert_allclose(by_lens[:, :, k], (ahead - behind) / (2 * h), atol=1e-5)
    for k in range(3):
        step3 = np.zeros(3)
        step3[k] = 1e-4
        ahead, behind = (project(lens, points + s)[0] for s in (step3, -step3))
        np.testing.assert_allclose(by_point[:, :, k], (ahead - behind) / 2e-4, atol=1e-5)


@pytest.mark.parametrize(
    "radial", [(0.0, 0.0, 0.0, 0.0), (0.03, -0.05, 0.04, -0.02), (-0.28, 0.11, -0.02, 0.0)]
)
def test_directions_undo_pixels(radial: tuple[float, float, float, float]) -> None:
    lens = phone_lens(radial=radial)
    points = points_before_the_camera()
    directions = points[:, :2] / points[:, 2:]
    np.testing.assert_allclose(lens.directions(lens.pixels(directions)), directions, atol=1e-9)
    centre = np.array([lens.centre])
    np.testing.assert_array_equal(lens.directions(centre), [[0.0, 0.0]])


def test_a_vector_goes_there_and_back() -> None:
    lens = phone_lens()
    assert lens.with_vector(lens.vector()) == lens


def lens_u(prior: LensPrior) -> Floats:
    u: Floats = np.sqrt(np.diag(np.linalg.inv(prior.precision)))
    return u


def test_the_focal_length_follows_from_the_35_mm_equivalent() -> None:
    # 50 mm on 36 x 24 mm film, whose diagonal is 43.27 mm; the picture's is 5000 px.
    prior = prior_from_exif((4000, 3000), 50)
    assert prior.lens.focal == pytest.approx(5000 * 50 / np.hypot(36, 24))
    assert prior.lens.centre == (1999.5, 1499.5)
    assert prior.lens.radial == (0, 0, 0, 0)
    # Half a millimetre of rounding, rectangular, and a percent of breathing.
    assert lens_u(prior)[0] / prior.lens.focal == pytest.approx(np.hypot(0.5 / 3**0.5 / 50, 0.01))
    assert "50 mm" in prior.source


@pytest.mark.parametrize("nothing", [None, 0, 4])
def test_without_exif_the_focal_length_is_hardly_known(nothing: float | None) -> None:
    prior = prior_from_exif((640, 480), nothing)
    # A phone's main camera has 24 to 28 mm, its second one about 50: within two uncertainties.
    for focal_35mm in (24, 28, 50):
        focal = 800 * focal_35mm / np.hypot(36, 24)
        assert abs(focal - prior.lens.focal) < 2 * lens_u(prior)[0]
    assert "no knowledge" in prior.source


def test_an_upright_photo_has_the_same_prior_but_for_its_centre() -> None:
    lying, upright = prior_from_exif((4000, 3000), 26), prior_from_exif((3000, 4000), 26)
    assert lying.lens.focal == upright.lens.focal
    assert lying.lens.centre == upright.lens.centre[::-1]
    np.testing.assert_allclose(lying.precision, upright.precision)


def test_the_radial_prior_allows_ripples_of_the_stated_size() -> None:
    focal, half_diagonal = 3000.0, 2500.0
    spread = np.array([30.0, 12.0, 5.0, 2.0])
    covariance = np.linalg.inv(radial_precision(focal, half_diagonal, spread))
    rng = np.random.default_rng(5)
    terms = rng.multivariate_normal(np.zeros(4), covariance, 2000, method="cholesky")
    rho = np.sqrt((np.arange(300) + 0.5) / 300)
    r = rho * half_diagonal / focal
    displaced = focal * (terms @ (r ** (2 * np.arange(1, 5)[:, None] + 1)))
    # What is proportional to the radius is focal length; the ripples are what is left over, and
    # their squares add up, since they are orthogonal over the picture's area.
    plain = displaced @ rho / (rho @ rho)
    left_over = displaced - plain[:, None] * rho
    rms = np.sqrt(np.mean(left_over**2))
    assert rms == pytest.approx(np.sqrt(np.sum(spread**2)), rel=0.08)


@pytest.mark.parametrize("focal_35mm", [26, None])
def test_a_rectangle_s_four_sides_leave_the_picture_s_rim_to_what_phones_do(
    focal_35mm: float | None,
) -> None:
    rng = np.random.default_rng(7)
    rim = []
    for few_edges in (True, False):
        prior = prior_from_exif((4000, 3000), focal_35mm, few_edges)
        covariance = np.linalg.inv(prior.precision[3:, 3:])
        terms = rng.multivariate_normal(np.zeros(4), covariance, 500, method="cholesky")
        r = 2500 / prior.lens.focal
        bend = prior.lens.focal * (terms @ r ** (2 * np.arange(1, 5) + 1))
        # The part of it that is focal length stands out most; phones have up to some percent.
        rim.append(float(np.std(bend)))
    assert rim[0] < 0.1 * 2500
    assert rim[0] < 0.7 * rim[1]
