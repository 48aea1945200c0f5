"""The adjustment on made observations: exact, honest about its uncertainty, and hard to fool."""

from dataclasses import replace

import numpy as np
import pytest
from made_views import camera_over, edge_observations, nudged, phone_lens
from numpy.typing import NDArray

from snugline.trace.camera.bundle_adjustment import adjust
from snugline.trace.camera.lens import LensPrior, prior_from_exif
from snugline.trace.camera.observations import Observations, SheetState, plane_rotation
from snugline.trace.camera.projection import Camera, rotation_from_vector
from snugline.trace.sheet.builtin_sheets import builtin_description
from snugline.trace.sheet.frame_description import Frame, frame_from_record

Floats = NDArray[np.float64]
MIDDLE = np.array([148.5, 105.0])
EXACT = np.full(2, 1e-7)


@pytest.fixture(scope="module")
def frame() -> Frame:
    frame = frame_from_record(builtin_description("border-a4"), "border-a4")
    assert isinstance(frame, Frame)
    return frame


def phone_prior(camera: Camera) -> LensPrior:
    return prior_from_exif(camera.lens.size, 26)


def prior_at(camera: Camera) -> LensPrior:
    """A prior that happens to be right, so that exact data have an exact answer."""
    return LensPrior(camera.lens, phone_prior(camera).precision, "made")


def sheet(scale: Floats | None = None, scale_u: Floats = EXACT) -> SheetState:
    return SheetState(np.ones(2) if scale is None else scale, scale_u, np.zeros(3))


def apart(a: Camera, b: Camera) -> float:
    """Greatest distance in mm between where two cameras put the same pixels on the sheet."""
    x, y = np.meshgrid(np.linspace(20, 280, 8), np.linspace(20, 190, 6))
    places = np.column_stack([x.ravel(), y.ravel()])
    return float(np.abs(b.on_plane(a.pixels(places)) - places).max())


def test_exact_observations_give_the_exact_camera(frame: Frame) -> None:
    camera = camera_over(MIDDLE)
    seen = edge_observations(frame.corners, camera)
    found = adjust([seen], [nudged(camera)], [sheet()], [prior_at(camera)])
    np.testing.assert_allclose(found.cameras[0].centre, camera.centre, atol=1e-6)
    np.testing.assert_allclose(found.cameras[0].rotation, camera.rotation, atol=1e-9)
    np.testing.assert_allclose(found.cameras[0].lens.vector()[:3], camera.lens.vector()[:3])
    assert apart(found.cameras[0], camera) < 1e-6
    assert np.abs(found.residuals[0]).max() < 1e-6
    assert found.weights[0].min() > 0.999
    assert abs(found.bloom[0]) < 1e-6


def test_three_photos_share_one_lens(frame: Frame) -> None:
    lens = phone_lens()
    cameras = [
        camera_over(MIDDLE, tilt_deg=t, azimuth_deg=a, roll_deg=r, lens=lens)
        for t, a, r in ((5, 0, 0), (20, 120, 90), (30, 250, 200))
    ]
    seen = [edge_observations(frame.corners, c) for c in cameras]
    # Three looks from different sides carry the lens: its prior may be wrong by a percent.
    prior = prior_from_exif(lens.size, 26)
    found = adjust(seen, [nudged(c, focal=1.0) for c in cameras], [sheet()], [prior], [0, 0, 0])
    assert len({c.lens for c in found.cameras}) == 1
    assert found.cameras[0].lens.focal == pytest.approx(lens.focal, rel=2e-4)
    for a, b in zip(found.cameras, cameras, strict=True):
        assert apart(a, b) < 2e-3


def test_scale_and_ink_spread_are_told_from_the_camera(frame: Frame) -> None:
    camera = camera_over(MIDDLE, tilt_deg=25)
    scale = np.array([0.997, 1.002])
    seen = edge_observations(frame.corners, camera, [(scale, np.zeros(3))], bloom=0.04)
    # The bars tell the scale to a hundredth of a percent, and are off by just that in y.
    state = sheet(scale + np.array([0, 1e-4]), np.full(2, 1e-4))
    found = adjust([seen], [nudged(camera)], [state], [prior_at(camera)])
    assert found.bloom[0] == pytest.approx(0.04, abs=0.002)
    np.testing.assert_allclose(found.sheets[0].scale, scale, atol=1.2e-4)
    ratio = found.sheets[0].scale / scale
    assert ratio[0] / ratio[1] == pytest.approx(1, abs=1.2e-4)


def test_a_second_sheet_is_placed_by_a_photo_that_sees_both(frame: Frame) -> None:
    lens = phone_lens()
    pose = np.array([420.0, 15.0, 1.2])
    scales = np.array([0.998, 1.001]), np.array([1.002, 0.999])
    truth = [(scales[0], np.zeros(3)), (scales[1], pose)]
    corners = np.concatenate([frame.corners, frame.corners])
    number = np.repeat([0, 1], len(frame.corners))
    middle = pose[:2] + plane_rotation(pose[2]) @ MIDDLE
    cameras = [
        camera_over(MIDDLE, height=300, lens=lens),
        camera_over(middle, height=300, roll_deg=80, lens=lens),
        camera_over([300.0, 150.0], height=700, tilt_deg=16, lens=lens),
    ]
    every = [edge_observations(corners, c, truth, number) for c in cameras]
    shown = [every[0].only(every[0].sheet == 0), every[1].only(every[1].sheet == 1), every[2]]
    start = [
        SheetState(scales[0], EXACT, np.zeros(3)),
        SheetState(scales[1], EXACT, pose + np.array([2.0, -1.5, 0.01])),
    ]
    priors = [prior_at(c) for c in cameras]
    found = adjust(shown, [nudged(c, focal=1.0) for c in cameras], start, priors)
    np.testing.assert_allclose(found.sheets[1].pose, pose, atol=1e-6)
    np.testing.assert_array_equal(found.sheets[0].pose, np.zeros(3))
    for a, b in zip(found.cameras, cameras, strict=True):
        np.testing.assert_allclose(a.centre, b.centre, atol=1e-5)


@pytest.mark.parametrize("moved", [[3], [0, 21, 40]])
def test_moved_markers_are_rejected_and_change_nothing(frame: Frame, moved: list[int]) -> None:
    rng = np.random.default_rng(6)
    camera = camera_over(MIDDLE)
    corners = frame.corners.copy()
    corners[moved] += rng.uniform(0.4, 0.8, (len(moved), 1, 2))
    seen = edge_observations(corners, camera, sigma=0.05, rng=rng)
    designed = edge_observations(frame.corners, camera)
    seen = Observations(
        seen.sheet, seen.marker, designed.design, seen.outward, seen.pixels, seen.normals,
        seen.sigma, seen.height,
    )  # fmt: skip
    found = adjust([seen], [nudged(camera)], [sheet()], [prior_at(camera)])
    mine = np.isin(seen.marker, moved)
    assert found.weights[0][mine].max() == 0
    assert np.mean(found.weights[0][~mine] > 0) > 0.98
    without = adjust([seen.only(~mine)], [nudged(camera)], [sheet()], [prior_at(camera)])
    assert apart(found.cameras[0], without.cameras[0]) < 2e-3
    assert apart(found.cameras[0], camera) < 0.02


def test_single_stray_edges_are_rejected_but_not_their_markers(frame: Frame) -> None:
    rng = np.random.default_rng(8)
    camera = camera_over(MIDDLE)
    seen = edge_observations(frame.corners, camera, sigma=0.05, rng=rng)
    stray = np.arange(5, len(seen.sigma), 40)
    pixels = seen.pixels.copy()
    pixels[stray] += 1.5 * seen.normals[stray]
    wrong = Observations(
        seen.sheet, seen.marker, seen.design, seen.outward, pixels, seen.normals, seen.sigma,
        seen.height,
    )  # fmt: skip
    found = adjust([wrong], [nudged(camera)], [sheet()], [prior_at(camera)])
    assert found.weights[0][stray].max() == 0
    assert np.mean(np.delete(found.weights[0], stray) > 0) > 0.97
    assert found.noise_px[0] == pytest.approx(0.05, rel=0.2)


def drawn_from_priors(
    rng: np.random.Generator, frame: Frame, sigma: float, scale_u: float
) -> tuple[Observations, Camera, Floats, float, SheetState, LensPrior]:
    """A camera, sheet and ink as the priors say, what it sees, and what is known beforehand."""
    prior = prior_from_exif((4000, 3000), 26)
    # OpenCV's projection has no fourth term of this kind: it is taken as known to be zero.
    precision = prior.precision.copy()
    precision[6, 6] += 1e12
    prior = LensPrior(prior.lens, precision, "made")
    root = np.linalg.cholesky(np.linalg.inv(precision))
    vector = prior.lens.vector() + root @ rng.standard_normal(7)
    vector[6] = 0.0
    lens = prior.lens.with_vector(vector)
    camera = camera_over(
        MIDDLE + rng.uniform(-20, 20, 2), rng.uniform(270, 330), rng.uniform(5, 25),
        rng.uniform(0, 360), rng.uniform(0, 360), lens,
    )  # fmt: skip
    scale = 1 + scale_u * rng.standard_normal(2)
    bloom = 0.1 * rng.standard_normal()
    seen = edge_observations(
        frame.corners, camera, [(scale, np.zeros(3))], bloom=bloom, sigma=sigma, rng=rng
    )
    return seen, camera, scale, bloom, sheet(None, np.full(2, scale_u)), prior


@pytest.mark.parametrize("robust", [True, False])
def test_pulls_have_unit_variance(frame: Frame, robust: bool) -> None:
    """Error over stated uncertainty, with everything drawn as the priors say."""
    rng = np.random.default_rng(11)
    trials, sigma = 30, 0.06
    pulls, whole = [], []
    for _ in range(trials):
        seen, camera, scale, bloom, state, prior = drawn_from_priors(rng, frame, sigma, 2e-4)
        found = adjust([seen], [nudged(camera, focal=1.0)], [state], [prior], robust=robust)
        got = found.cameras[0]
        turn = got.rotation @ camera.rotation.T
        error = np.concatenate([
            got.lens.vector() - camera.lens.vector(),
            0.5 * np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0],
                            turn[1, 0] - turn[0, 1]]),
            got.translation - camera.translation,
            found.sheets[0].scale - scale,
            found.bloom - bloom,
        ])  # fmt: skip
        # The camera turns about itself: its translation turns with it.
        used = np.delete(np.arange(len(error)), 6)
        covariance = found.covariance[np.ix_(used, used)]
        pulls.append(error[used] / np.sqrt(np.diag(covariance)))
        whole.append(error[used] @ np.linalg.solve(covariance, error[used]) / len(used))
    # Over 30 trials the mean square of one pull is known to 0.26, that of all of them to 0.07.
    square = np.mean(np.square(pulls), axis=0)
    assert square.min() > 0.35
    assert square.max() < 2.0
    assert 0.8 < np.mean(whole) < 1.25


def test_the_camera_reaches_nine_tenths_of_the_bound_of_its_edges(frame: Frame) -> None:
    """Cramer-Rao: the inverse of the Fisher information, by finite differences, not our own."""
    rng = np.random.default_rng(12)
    camera = camera_over(MIDDLE, tilt_deg=15)
    prior = prior_at(camera)
    exact = edge_observations(frame.corners, camera)
    sigma = 0.06
    grid = np.column_stack([g.ravel() for g in np.meshgrid([60.0, 150, 240], [50.0, 105, 160])])
    target = camera.pixels(grid)

    def moved(step: Floats) -> Camera:
        return Camera(
            camera.lens.with_vector(camera.lens.vector() + step[:7]),
            rotation_from_vector(step[7:10]) @ camera.rotation,
            camera.translation + step[10:],
        )

    units = np.array([1, 1, 1, 1e-4, 1e-4, 1e-4, 1e-4, 1e-5, 1e-5, 1e-5, 1e-2, 1e-2, 1e-2])
    jacobian, on_grid = [], []
    for k, unit in enumerate(units):
        step = np.zeros(13)
        step[k] = unit
        ahead, behind = moved(step), moved(-step)
        difference = (ahead.pixels(exact.design) - behind.pixels(exact.design)) / (2 * unit)
        jacobian.append(np.sum(difference * exact.normals, axis=1))
        on_grid.append(((ahead.on_plane(target) - behind.on_plane(target)) / (2 * unit)).ravel())
    a, b = np.array(jacobian).T, np.array(on_grid).T
    information = a.T @ a / sigma**2
    information[:7, :7] += prior.precision
    bound = np.trace(b @ np.linalg.solve(information, b.T))
    squares = []
    for _ in range(45):
        truth = edge_observations(frame.corners, camera, sigma=sigma, rng=rng)
        # The lens's prior is an observation as well: it scatters as it states.
        off = np.linalg.cholesky(np.linalg.inv(prior.precision)) @ rng.standard_normal(7)
        shifted = LensPrior(
            camera.lens.with_vector(camera.lens.vector() + off), prior.precision, "made"
        )
        found = adjust([truth], [nudged(camera)], [sheet()], [shifted], bloom_u=0.0)
        squares.append(np.sum((found.cameras[0].on_plane(target) - grid) ** 2))
    # 45 trials of some eight free directions: the square root is known to about 4 %.
    efficiency = np.sqrt(bound / np.mean(squares))
    assert 0.9 < efficiency < 1.12


def test_a_sheet_bent_up_at_one_side_leaves_the_flat_part_s_solution_alone(frame: Frame) -> None:
    """A quarter of the markers off by up to 5 px, in a photo that shares its lens with another."""
    rng = np.random.default_rng(9)
    lens = phone_lens()
    cameras = [
        camera_over(MIDDLE, tilt_deg=t, azimuth_deg=a, lens=lens) for t, a in ((10, 20), (14, 160))
    ]
    flat = [edge_observations(frame.corners, c, sigma=0.04, rng=rng) for c in cameras]
    lifted = 2 * (np.maximum(flat[0].design[:, 0] - 240, 0) / 57) ** 1.5
    away = cameras[0].pixels(np.column_stack([flat[0].design, lifted]))
    bent = replace(flat[0], pixels=flat[0].pixels + away - cameras[0].pixels(flat[0].design))
    solved = [
        adjust(seen, [nudged(c) for c in cameras], [sheet()], [prior_at(cameras[0])], [0, 0])
        for seen in ([bent, flat[1]], flat)
    ]
    off, alike = ([apart(a, b) for a, b in zip(s.cameras, cameras, strict=True)] for s in solved)
    assert max(off) < 0.01
    assert max(off) < 3 * max(alike)
    assert solved[0].weights[0][lifted > 0.3].max() == 0
