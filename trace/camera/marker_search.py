"""Finding the frame's markers, to a pixel or two."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import InputError
from snugline.trace.image.photo_file import reduced

Floats = NDArray[np.float64]

# The finder works on a picture of about this width or height; more only costs time.
FINDER_SIDE_PX = 2000
# Windows of the adaptive threshold. Printed tags on white: two are enough, and smaller ones find
# noise.
_WINDOWS_PX = (13, 53)
# Of the longer side of the picture. A side of less than 15 of 2000 px could not be read anyway;
# grain makes many quadrangles of that size.
_LEAST_PERIMETER = 0.03


@dataclass(frozen=True)
class FoundMarkers:
    """Markers as found: `ids` (M,), `corners` (M, 4, 2) px of the full picture, good to a pixel."""

    ids: NDArray[np.int64]
    corners: Floats


def reduce_grey(rgb: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """The picture in grey, reduced by a whole factor with area averaging.

    Pixel x of the reduced picture is `factor * x + (factor - 1) / 2` of the full one.
    """
    return np.asarray(cv2.cvtColor(reduced(rgb, factor), cv2.COLOR_RGB2GRAY))


def find_markers(
    rgb: NDArray[np.uint8], dictionary: str | cv2.aruco.Dictionary, factor: int | None = None
) -> FoundMarkers:
    """All markers of a dictionary, each id once (the largest where one occurs twice).

    `factor` reduces the picture first; without it, to about 2000 px.
    """
    if factor is None:
        factor = max(1, round(max(rgb.shape[:2]) / FINDER_SIDE_PX))
    grey = reduce_grey(rgb, factor)
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeMax = _WINDOWS_PX
    parameters.adaptiveThreshWinSizeStep = _WINDOWS_PX[1] - _WINDOWS_PX[0]
    parameters.minMarkerPerimeterRate = _LEAST_PERIMETER
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
