"""Poses and planes against OpenCV, and there and back."""

import cv2
import numpy as np
import pytest
from made_views import camera_over, phone_lens, seen_by_opencv
from numpy.typing import NDArray

from snugline.trace.camera.projection import (
    cross_matrix,
    homography,
    pose_from_plane,
    rotation_from_vector,
)

Floats = NDArray[np.float64]
MIDDLE = np.array([148.5, 105.0])


def grid(step: float = 20) -> Floats:
    x, y = np.meshgrid(np.arange(10, 290, step), np.arange(10, 205, step))
    return np.column_stack([x.ravel(), y.ravel()])


@pytest.mark.parametrize("tilt", [0.0, 12.0, 35.0])
def test_pixels_are_those_of_opencv(tilt: float) -> None:
    camera = camera_over(MIDDLE, tilt_deg=tilt)
    points = np.column_stack([grid(), np.zeros(len(grid()))])
    np.testing.assert_allclose(camera.pixels(grid()), seen_by_opencv(camera, points), atol=1e-8)
    points[:, 2] = np.linspace(0, 20, len(points))
    np.testing.assert_allclose(camera.pixels(points), seen_by_opencv(camera, points), atol=1e-8)
    assert camera.tilt_deg == pytest.approx(tilt, abs=1e-6)


def test_a_camera_stands_where_it_was_put() -> None:
    camera = camera_over(MIDDLE, height=300, tilt_deg=0, roll_deg=-30)
    np.testing.assert_allclose(camera.centre, [148.5, 105, 300], atol=1e-9)
    # Seen from above, nothing is mirrored: x right, y up on the sheet turns like y down in pixels.
    a, b, c = camera.pixels(np.array([[100.0, 100], [110, 100], [110, 110]]))
    assert np.linalg.det(np.array([b - a, c - b])) < 0


@pytest.mark.parametrize("height", [0.0, 7.5, -2.0])
def test_rays_meet_the_plane_they_came_from(height: float) -> None:
    camera = camera_over(MIDDLE, tilt_deg=25)
    points = np.column_stack([grid(), np.full(len(grid()), height)])
    np.testing.assert_allclose(
        camera.on_plane(camera.pixels(points), height), grid(), rtol=0, atol=1e-8
    )


def test_heights_may_differ_from_ray_to_ray() -> None:
    camera = camera_over(MIDDLE)
    height = np.linspace(0, 15, len(grid()))
    points = np.column_stack([grid(), height])
    np.testing.assert_allclose(camera.on_plane(camera.pixels(points), height), grid(), atol=1e-8)


def test_the_homography_of_a_camera_is_the_camera_without_distortion() -> None:
    camera = camera_over(MIDDLE, lens=phone_lens(radial=(0, 0, 0, 0)))
    seen = np.column_stack([grid(), np.ones(len(grid()))]) @ camera.homography().T
    np.testing.assert_allclose(seen[:, :2] / seen[:, 2:], camera.pixels(grid()), atol=1e-8)


def test_a_homography_is_that_of_opencv() -> None:
    rng = np.random.default_rng(4)
    source = rng.uniform(0, 300, (30, 2))
    matrix = np.array([[1.2, 0.1, 40], [-0.2, 0.9, 70], [2e-4, -3e-4, 1]])
    target = np.column_stack([source, np.ones(30)]) @ matrix.T
    target = target[:, :2] / target[:, 2:]
    ours = homography(source, target)
    theirs, _ = cv2.findHomography(source, target)
    np.testing.assert_allclose(ours / ours[2, 2], matrix, rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(ours / ours[2, 2], theirs, rtol=1e-5, atol=1e-9)
    # With noise the two minimise different errors; they must still agree far within it.
    noisy = target + rng.normal(0, 0.5, target.shape)
    ours, (theirs, _) = homography(source, noisy), cv2.findHomography(source, noisy)
    places = cv2.perspectiveTransform(source[:, None], ours)[:, 0]
    np.testing.assert_allclose(
        places, cv2.perspectiveTransform(source[:, None], theirs)[:, 0], atol=0.2
    )
    corners = source[:4]
    exact = homography(corners, target[:4])
    np.testing.assert_allclose(
        cv2.perspectiveTransform(corners[:, None], exact)[:, 0], target[:4], atol=1e-6
    )


def test_rotations_are_those_of_opencv() -> None:
    for vector in np.random.default_rng(7).uniform(-2, 2, (20, 3)):
        np.testing.assert_allclose(
            rotation_from_vector(vector), cv2.Rodrigues(vector)[0], atol=1e-12
        )
    np.testing.assert_allclose(rotation_from_vector(np.zeros(3)), np.eye(3))
    tiny = np.array([3e-14, -2e-14, 1e-14])
    np.testing.assert_allclose(rotation_from_vector(tiny) - np.eye(3), cross_matrix(tiny))


@pytest.mark.parametrize(("tilt", "roll"), [(0.0, 0.0), (12.0, 170.0), (35.0, -90.0)])
def test_a_pose_comes_from_a_plane_and_its_pixels(tilt: float, roll: float) -> None:
    camera = camera_over(MIDDLE, tilt_deg=tilt, roll_deg=roll)
    found = pose_from_plane(camera.lens, grid(), camera.pixels(grid()))
    np.testing.assert_allclose(found.rotation, camera.rotation, atol=1e-8)
    np.testing.assert_allclose(found.centre, camera.centre, atol=1e-5)
    assert found.centre[2] > 0


def test_four_corners_suffice_for_a_pose() -> None:
    camera = camera_over(MIDDLE)
    corners = np.array([[38.5, 35], [258.5, 35], [258.5, 175], [38.5, 175]])
    found = pose_from_plane(camera.lens, corners, camera.pixels(corners))
    np.testing.assert_allclose(found.centre, camera.centre, atol=1e-5)
