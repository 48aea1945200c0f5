"""Markers drawn with known corners: found, measured to hundredths of a pixel, never shrunk."""

import cv2
import numpy as np
import pytest
from drawn_pictures import INK, PAPER, area_light, developed, exposed, tags
from numpy.typing import NDArray

from snugline.errors import InputError
from snugline.trace.light import linear_to_srgb, srgb_to_linear
from snugline.trace.markers import (
    edge_corners,
    find_markers,
    measure_edges,
    reduce_grey,
)

Floats = NDArray[np.float64]
APRILTAG = "DICT_APRILTAG_36h11"


def tag_corners(count: int, side: float, seed: int) -> tuple[Floats, tuple[int, int]]:
    """(M, 4, 2) px of markers turned and foreshortened at random, and a picture's size."""
    rng = np.random.default_rng(seed)
    across = int(np.ceil(np.sqrt(count)))
    pitch = 1.9 * side
    quads = []
    for k in range(count):
        middle = pitch * (np.array([k % across, k // across]) + 0.5) + rng.uniform(-1, 1, 2)
        turn = rng.uniform(0, 2 * np.pi)
        c, s = np.cos(turn), np.sin(turn)
        square = side / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        quads.append(
            middle + square @ np.array([[c, s], [-s, c]]) + rng.uniform(-0.03, 0.03, (4, 2)) * side
        )
    rows = -(-count // across)
    return np.array(quads), (int(np.ceil(across * pitch)), int(np.ceil(rows * pitch)))


def found_in_order(rgb: NDArray[np.uint8], factor: int) -> tuple[list[int], Floats]:
    found = find_markers(rgb, APRILTAG, factor)
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
    found, places = found_in_order(rgb, 1)
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


def test_the_scatter_of_an_edge_is_within_twice_the_bound_of_the_pixels_noise() -> None:
    """How near it comes is the business of benchmarks/camera_noise.py; here it must not be lost."""
    corners, size = tag_corners(4, 70, seed=2)
    blur, noise = 0.8, 0.02
    picture = area_light(size, tags(corners, range(4)), fine=4)
    clean = measure_edges(developed(picture, blur), corners)
    across = [
        np.sum((measure_edges(developed(picture, blur, noise, seed=s), corners).points
                - clean.points) * clean.normals, axis=-1)
        for s in range(12)
    ]  # fmt: skip
    scatter = rms(np.array(across))
    # All pixels of half a side, with the blur of the pixel's own square.
    total = np.hypot(blur, 1 / np.sqrt(12))
    rows = 70 / 2
    bound = np.sqrt(2 * total * np.sqrt(np.pi)) * noise / (PAPER - INK) / np.sqrt(rows)
    assert bound < scatter < 2 * bound


def test_a_reduced_picture_gives_the_same_corners() -> None:
    corners, size = tag_corners(4, 120, seed=5)
    rgb = exposed(size, tags(corners, range(4)), fine=3)
    for factor in (1, 2, 3):
        found, places = found_in_order(rgb, factor)
        assert found == [0, 1, 2, 3]
        assert np.abs(places - corners).max() < 1.5 * factor
        # Each corner may be off by a pixel, all of them together must not.
        assert np.abs((places - corners).mean(axis=(0, 1))).max() < 0.35 * factor


@pytest.mark.parametrize("factor", [1, 2, 3, 4])
def test_a_place_of_the_reduced_picture_maps_back(factor: int) -> None:
    # The centroid of a soft spot does not care how large the pixels are.
    centre = np.array([61.3, 47.8])

    def spot(x: Floats, y: Floats) -> Floats:
        return np.exp(-((x - centre[0]) ** 2 + (y - centre[1]) ** 2) / (2 * 9.0**2))

    rgb = np.rint(255 * area_light((121, 97), spot, fine=2)).astype(np.uint8)
    small = reduce_grey(np.repeat(rgb[..., None], 3, axis=2), factor).astype(np.float64)
    v, u = np.mgrid[: small.shape[0], : small.shape[1]]
    found = np.array([np.sum(u * small), np.sum(v * small)]) / small.sum()
    np.testing.assert_allclose(factor * found + (factor - 1) / 2, centre, atol=0.05)


def test_a_marker_that_stands_twice_is_taken_once_the_larger_one() -> None:
    big, small = tag_corners(1, 120, seed=1)[0][0], tag_corners(1, 60, seed=2)[0][0]
    corners = np.array([big, small + np.array([230, 0])])
    rgb = exposed((380, 240), tags(corners, [7, 7]), fine=3)
    found = find_markers(rgb, APRILTAG, 1)
    assert found.ids.tolist() == [7]
    assert np.abs(found.corners[0] - big).max() < 2


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


def test_an_empty_picture_has_no_markers_and_an_unknown_dictionary_is_refused() -> None:
    grey = np.full((80, 120, 3), 128, np.uint8)
    found = find_markers(grey, APRILTAG)
    assert len(found.ids) == 0
    assert found.corners.shape == (0, 4, 2)
    with pytest.raises(InputError, match="DICT_NONSENSE"):
        find_markers(grey, "DICT_NONSENSE")


def test_the_levels_of_ink_and_paper_come_with_the_edges(
    clean_tags: tuple[Floats, list[int], NDArray[np.uint8]],
) -> None:
    corners, _, rgb = clean_tags
    edges = measure_edges(rgb, corners)
    assert np.median(edges.dark) == pytest.approx(INK, abs=0.01)
    assert np.median(edges.light) == pytest.approx(PAPER, abs=0.02)
    assert np.median(edges.blur) == pytest.approx(np.hypot(0.7, 1 / np.sqrt(12)), abs=0.12)
    assert srgb_to_linear(linear_to_srgb(INK)) == pytest.approx(INK)
