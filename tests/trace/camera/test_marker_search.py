"""Markers drawn with known corners: found to a pixel, each once, at any reduction."""

import numpy as np
import pytest
from drawn_pictures import area_light, exposed, tag_corners, tags
from numpy.typing import NDArray

from snugline.errors import InputError
from snugline.trace.camera.marker_search import find_markers, reduce_grey

Floats = NDArray[np.float64]
APRILTAG = "DICT_APRILTAG_36h11"


def found_in_order(rgb: NDArray[np.uint8], factor: int) -> tuple[list[int], Floats]:
    found = find_markers(rgb, APRILTAG, factor)
    order = np.argsort(found.ids)
    return found.ids[order].tolist(), found.corners[order]


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


def test_an_empty_picture_has_no_markers_and_an_unknown_dictionary_is_refused() -> None:
    grey = np.full((80, 120, 3), 128, np.uint8)
    found = find_markers(grey, APRILTAG)
    assert len(found.ids) == 0
    assert found.corners.shape == (0, 4, 2)
    with pytest.raises(InputError, match="DICT_NONSENSE"):
        find_markers(grey, "DICT_NONSENSE")
