"""Finding the frame's markers, and measuring their four edges to a few hundredths of a pixel."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import InputError
from snugline.trace.edge import fit_steps, sample_luminance
from snugline.trace.photo import reduced

Floats = NDArray[np.float64]

# The finder works on a picture of about this width or height; more only costs time.
_FINDER_SIDE_PX = 2000
# Rows of samples across one half of a marker's side, and how much of the side's ends is left out:
# near a corner the blur of the neighbouring side leaks in.
_ROWS = 24
_END = 0.12
# An edge less certain than this tells nothing; noise of the picture is never below the floor.
_LARGEST_SIGMA_PX = 0.5
_SIGMA_FLOOR_PX = 0.01


@dataclass(frozen=True)
class FoundMarkers:
    """Markers as found: `ids` (M,), `corners` (M, 4, 2) px of the full picture, good to a pixel."""

    ids: NDArray[np.int64]
    corners: Floats


def reduce_grey(rgb: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """The picture in grey, reduced by a whole factor with area averaging.

    A place x of the reduced picture is `factor * x + (factor - 1) / 2` of the full one.
    """
    return np.asarray(cv2.cvtColor(reduced(rgb, factor), cv2.COLOR_RGB2GRAY))


def find_markers(
    rgb: NDArray[np.uint8], dictionary: str | cv2.aruco.Dictionary, factor: int | None = None
) -> FoundMarkers:
    """All markers of a dictionary, each id once (the largest where one stands twice).

    `factor` reduces the picture first; without it, to about 2000 px.
    """
    if factor is None:
        factor = max(1, round(max(rgb.shape[:2]) / _FINDER_SIDE_PX))
    grey = reduce_grey(rgb, factor)
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    # Printed tags on white: two windows are enough, and smaller ones find noise. A side of less
    # than 15 of 2000 px could not be read anyway; grain makes many quadrangles of that size.
    parameters.adaptiveThreshWinSizeMin = 13
    parameters.adaptiveThreshWinSizeMax = 53
    parameters.adaptiveThreshWinSizeStep = 40
    parameters.minMarkerPerimeterRate = 0.03
    detector = cv2.aruco.ArucoDetector(_dictionary(dictionary), parameters)
    quads, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return FoundMarkers(np.empty(0, np.int64), np.empty((0, 4, 2)))
    corners = np.array(quads, dtype=np.float64).reshape(-1, 4, 2)
    found = np.asarray(ids, dtype=np.int64).ravel()
    corners = corners * factor + (factor - 1) / 2
    order = np.argsort(-_area(corners), kind="stable")
    _, first = np.unique(found[order], return_index=True)
    keep = np.sort(order[first])
    return FoundMarkers(found[keep], corners[keep])


def _area(quads: Floats) -> Floats:
    x, y = quads[..., 0], quads[..., 1]
    area: Floats = 0.5 * np.abs(
        np.sum(x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1), axis=1)
    )
    return area


def _dictionary(name: str | cv2.aruco.Dictionary) -> cv2.aruco.Dictionary:
    if not isinstance(name, str):
        return name
    number = getattr(cv2.aruco, name, None) if name.startswith("DICT_") else None
    if number is None:
        raise InputError(
            f"the marker dictionary {name!r} is unknown",
            "frame description",
            "use DICT_APRILTAG_36h11, as the built-in frames do",
        )
    return cv2.aruco.getPredefinedDictionary(number)


@dataclass(frozen=True)
class MarkerEdges:
    """Edges of M markers: two places on each of the four sides.

    Attributes
    ----------
    points : (M, 4, 2, 2) px, a measured place near each side's first and second half's middle.
    normals : (M, 4, 2, 2) unit, outwards across the edge in the picture.
    fractions : (2,) where along the side, from its first corner, the two places lie.
    sigma : (M, 4, 2) px, normal to the edge; infinite where no edge was found.
    blur : (M, 4, 2) px, standard deviation of the blur.
    dark, light : (M, 4, 2) levels inside and outside, linear luminance.
    """

    points: Floats
    normals: Floats
    fractions: Floats
    sigma: Floats
    blur: Floats
    dark: Floats
    light: Floats


def measure_edges(rgb: NDArray[np.uint8], corners: Floats, modules: int = 8) -> MarkerEdges:
    """Measure the edges of markers whose corners are known to a pixel or two.

    Each half of a side gives one place: its rows of light are averaged across the side and a
    blurred step is fitted to the average, which is as exact as fitting every row and far cheaper.
    A second pass follows the lines that the first one found.

    Parameters
    ----------
    corners : (M, 4, 2) px.
    modules : modules across the marker, border included; the border is one module wide, and the
        samples must not reach beyond it.
    """
    m = len(corners)
    corners = corners.copy()
    rows = (np.arange(_ROWS) + 0.5) / _ROWS * (0.5 - _END)
    along = np.stack([_END + rows, 0.5 + rows])  # (2, R)
    fractions = along.mean(axis=1)
    for round_ in range(2):
        following = np.roll(corners, -1, axis=1)
        side = following - corners
        length = np.linalg.norm(side, axis=-1)
        tangent = side / length[..., None]
        # Corners run clockwise as seen, with y down: the outside lies to the left of the walk.
        normal = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
        module = length.mean() / modules
        reach = float(np.clip(0.7 * module, 2.5, 5.0 if round_ == 0 else 6.0))
        places = np.linspace(-reach, reach, 2 * int(np.ceil(reach / 0.75)) + 1)
        # To follow the lines at first, a third of the rows will do.
        rows_now = along if round_ else along[:, 1::3]
        start = corners[:, :, None, None, :] + rows_now[..., None] * side[:, :, None, None, :]
        spots = (
            start[:, :, :, :, None, :] + places[:, None] * normal[:, :, None, None, None, :]
        )  # (M, 4, 2, R, T, 2)
        light = sample_luminance(rgb, spots[..., 0], spots[..., 1]).mean(axis=3)
        steps = fit_steps(light.reshape(-1, len(places)), places, blur=1.0, blur_sigma=0.5)
        shape = (m, 4, 2)
        offset = steps.position.reshape(shape)
        found = steps.good.reshape(shape) & (steps.high > steps.low).reshape(shape)
        offset = np.where(found, offset, 0.0)
        middle = corners[:, :, None, :] + fractions[:, None] * side[:, :, None, :]
        points = middle + offset[..., None] * normal[:, :, None, :]
        if round_ == 0:
            corners = _intersect_sides(points)
    chord = points[:, :, 1] - points[:, :, 0]
    chord /= np.linalg.norm(chord, axis=-1, keepdims=True)
    turned = np.stack([chord[..., 1], -chord[..., 0]], axis=-1)
    sigma = np.maximum(steps.sigma.reshape(shape), _SIGMA_FLOOR_PX)
    sigma = np.where(found & (sigma < _LARGEST_SIGMA_PX), sigma, np.inf)
    return MarkerEdges(
        points=points,
        normals=np.broadcast_to(turned[:, :, None, :], points.shape).copy(),
        fractions=fractions,
        sigma=sigma,
        blur=steps.blur.reshape(shape),
        dark=steps.low.reshape(shape),
        light=steps.high.reshape(shape),
    )


def _intersect_sides(points: Floats) -> Floats:
    """(M, 4, 2) corners where the lines through each side's two places meet."""
    a, b = points[:, :, 0], points[:, :, 1]
    direction = b - a
    before, direction_before = np.roll(a, 1, axis=1), np.roll(direction, 1, axis=1)
    cross = (
        direction_before[..., 0] * direction[..., 1] - direction_before[..., 1] * direction[..., 0]
    )
    gap = a - before
    t = (gap[..., 0] * direction[..., 1] - gap[..., 1] * direction[..., 0]) / cross
    corners: Floats = before + t[..., None] * direction_before
    return corners


def edge_corners(edges: MarkerEdges) -> Floats:
    """(M, 4, 2) px, marker corners as the meeting points of the lines fitted to the sides."""
    return _intersect_sides(edges.points)
