"""Markers drawn with known corners: measured to hundredths of a pixel, never shrunk."""

import cv2
import numpy as np
import pytest
from drawn_pictures import INK, PAPER, area_light, developed, exposed, tag_corners, tags
from numpy.typing import NDArray

from snugline.trace.camera.marker_edges import edge_corners, measure_edges
from snugline.trace.camera.marker_search import find_markers
from snugline.trace.image.linear_light import linear_to_srgb, srgb_to_linear

Floats = NDArray[np.float64]


def found_in_order(rgb: NDArray[np.uint8]) -> tuple[list[int], Floats]:
    found = find_markers(rgb, "DICT_APRILTAG_36h11", factor=1)
    order = np.argsort(found.ids)
    return found.ids[order].tolist(), found.corners[order]


@pytest.fixture(scope="module")
def clean_tags() -> tuple[Floats, list[int], NDArray[np.uint8]]:
    corners, size = tag_corners(9, 100, seed=4)
    ids = list(range(3, 12))
    return corners, ids, exposed(size, tags(corners, ids), fine=4, blur=0.7, jpeg=90)


def opencv_corners(rgb: NDArray[np.uint8], method: int) -> tuple[Floats, list[int]]:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = method
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    quads, ids, _ = cv2.aruco.ArucoDetector(book, parameters).detectMarkers(grey)
    return np.array(quads)[:, 0].astype(np.float64), np.ravel(ids).tolist()


def rms(error: Floats) -> float:
    return float(np.sqrt(np.mean(error**2)))


def test_corners_are_closer_than_those_of_opencv(
    clean_tags: tuple[Floats, list[int], NDArray[np.uint8]],
) -> None:
    corners, ids, rgb = clean_tags
    found, places = found_in_order(rgb)
    assert found == ids
    ours = edge_corners(measure_edges(rgb, places)) - corners
    assert rms(ours) < 0.05
    assert np.abs(ours.mean(axis=(0, 1))).max() < 0.02  # the half-pixel convention
    place = {marker: k for k, marker in enumerate(ids)}
    for method in (cv2.aruco.CORNER_REFINE_SUBPIX, cv2.aruco.CORNER_REFINE_CONTOUR):
        theirs, names = opencv_corners(rgb, method)
        assert rms(theirs - corners[[place[i] for i in names]]) > 2 * rms(ours)


def test_dark_markers_do_not_shrink_with_blur_as_they_do_in_coded_values() -> None:
    corners, size = tag_corners(4, 90, seed=8)
    picture = area_light(size, tags(corners, range(4)), fine=4)

    def growth(rgb: NDArray[np.uint8]) -> float:
        """Mean px by which the measured sides lie outside of the true ones."""
        edges = measure_edges(rgb, corners)
        side = np.roll(corners, -1, axis=1) - corners
        true = corners[:, :, None] + edges.fractions[:, None] * side[:, :, None]
        return float(np.mean(np.sum((edges.points - true) * edges.normals, axis=-1)))

    assert abs(growth(developed(picture, blur=1.2))) < 0.02
    # The light blurred after the curve is what a fit to coded values works on.
    coded = developed(picture, blur=1.2)
    bytes_as_light = np.rint(255 * linear_to_srgb(coded / 255.0)).astype(np.uint8)
    assert growth(bytes_as_light) < -0.15


def test_the_scatter_of_an_edge_is_near_the_bound_of_the_pixels_noise() -> None:
    corners, size = tag_corners(4, 70, seed=2)
    blur, noise = 0.8, 0.02
    picture = area_light(size, tags(corners, range(4)), fine=4)
    normals = measure_edges(developed(picture, blur), corners).normals
    seen = [measure_edges(developed(picture, blur, noise, seed=s), corners) for s in range(16)]
    across = [np.sum(edges.points * normals, axis=-1) for edges in seen]
    scatter = float(np.sqrt(np.mean(np.var(across, axis=0, ddof=1))))
    # All pixels of half a side, with the blur of the pixel's own square.
    total = np.hypot(blur, 1 / np.sqrt(12))
    rows = 70 / 2
    bound = np.sqrt(2 * total * np.sqrt(np.pi)) * noise / (PAPER - INK) / np.sqrt(rows)
    assert bound < scatter < 1.25 * bound
    stated = float(np.sqrt(np.mean(np.square([edges.sigma for edges in seen]))))
    assert 0.8 * scatter < stated < 1.25 * scatter


def test_light_that_falls_off_across_a_marker_moves_no_edge() -> None:
    corners, size = tag_corners(4, 70, seed=2)
    light = area_light(size, tags(corners, range(4)), fine=4)
    # A third of the light is lost from the upper left to the lower right.
    x, y = np.meshgrid(np.arange(size[0]) / size[0], np.arange(size[1]) / size[1])
    noise = 0.005
    even = measure_edges(developed(light, 0.8, noise, seed=1), corners)
    uneven = measure_edges(developed(light * (1.1 - 0.2 * (x + y)), 0.8, noise, seed=1), corners)
    off = np.sum((uneven.points - even.points) * even.normals, axis=-1)
    assert np.abs(off.mean(axis=(1, 2))).max() < 0.01
    assert rms(off) < 0.01


def test_one_edge_in_another_light_leaves_the_others_of_its_marker_alone() -> None:
    corners, size = tag_corners(4, 90, seed=8)
    light = area_light(size, tags(corners, range(4)), fine=4)
    a, b = corners[2, 0], corners[2, 1]
    out = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a)
    strip = np.array([a + 1 * out, b + 1 * out, b + 9 * out, a + 9 * out])
    shaded = light.copy()
    cv2.fillPoly(shaded, [np.round(strip).astype(np.int32)], 0.5)
    plain = measure_edges(developed(light, 0.8, 0.01, seed=3), corners)
    edges = measure_edges(developed(shaded, 0.8, 0.01, seed=3), corners)
    off = np.sum((edges.points - plain.points) * plain.normals, axis=-1)
    assert np.abs(off[2, 2]).max() < 0.02  # the side across
    assert np.abs(np.delete(off, 2, axis=0)).max() < 0.01


def test_a_covered_side_is_not_measured() -> None:
    corners, size = tag_corners(4, 90, seed=8)
    rgb = exposed(size, tags(corners, range(4)), fine=3)
    a, b = corners[2, 0], corners[2, 1]
    out = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a)
    strip = np.array([a - 4 * out, b - 4 * out, b + 8 * out, a + 8 * out])
    cv2.fillPoly(rgb, [np.round(strip).astype(np.int32)], (90, 90, 90))
    edges = measure_edges(rgb, corners)
    off = np.abs(np.sum((edges.points[2, 0] - a) * edges.normals[2, 0], axis=-1))
    assert (np.isinf(edges.sigma[2, 0]) | (off > 1)).all()  # not measured, or far off: rejectable
    assert np.isfinite(np.delete(edges.sigma, 2, axis=0)).all()


def test_the_levels_of_ink_and_paper_come_with_the_edges(
    clean_tags: tuple[Floats, list[int], NDArray[np.uint8]],
) -> None:
    corners, _, rgb = clean_tags
    edges = measure_edges(rgb, corners)
    assert np.median(edges.dark) == pytest.approx(INK, abs=0.01)
    assert np.median(edges.light) == pytest.approx(PAPER, abs=0.02)
    assert np.median(edges.blur) == pytest.approx(np.hypot(0.7, 1 / np.sqrt(12)), abs=0.12)
    assert srgb_to_linear(linear_to_srgb(INK)) == pytest.approx(INK)
