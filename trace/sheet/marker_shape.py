"""The dark field of a marker as polygons, for printing and engraving.

Neighbouring dark modules are one field: drawn module by module, hairlines would show between them.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely import box, get_parts, union_all

from snugline.errors import InputError
from snugline.trace.sheet.frame_description import Frame, frame_from_record

Ring = NDArray[np.float64]
Field = tuple[Ring, ...]  # an outer ring, counter-clockwise, then its holes, clockwise


def marker_frame(description: dict[str, Any]) -> Frame:
    """The described frame, which must have markers.

    Raises
    ------
    InputError : a plain frame, or not a description at all.
    """
    name = str(description.get("name", "frame"))
    frame = frame_from_record(description, name)
    if not isinstance(frame, Frame):
        raise InputError("a plain frame has no markers to draw", name, "use a frame of markers")
    return frame


def dark_fields(frame: Frame) -> list[list[Field]]:
    """For each marker the fields to be printed dark; rings are (K, 2) mm, not repeating the first.

    Fields of one marker may touch in a corner.
    """
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, frame.dictionary))
    modules = dictionary.markerSize + 2  # with the dark border
    fields = []
    for marker, corners in zip(frame.ids, frame.corners, strict=True):
        image = cv2.aruco.generateImageMarker(dictionary, int(marker), modules)
        v, u = np.nonzero(image == 0)
        area = union_all(box(u, v, u + 1, v + 1))
        fields.append(
            [
                (
                    _placed(polygon.exterior.coords, corners, modules, True),
                    *(_placed(hole.coords, corners, modules, False) for hole in polygon.interiors),
                )
                for polygon in get_parts(area)
            ]
        )
    return fields


def _placed(ring: object, corners: Ring, modules: int, counter_clockwise: bool) -> Ring:
    """A ring in whole modules, right and down from the marker's top left corner, to mm."""
    points = np.array(ring, dtype=np.float64)[:-1]
    before, after = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    points = points[before[:, 0] * after[:, 1] != before[:, 1] * after[:, 0]]
    top_left, top_right, _, bottom_left = corners
    placed = top_left + points @ np.array([top_right - top_left, bottom_left - top_left]) / modules
    x, y = placed.T
    area = np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) / 2
    placed = placed if (area > 0) == counter_clockwise else placed[::-1]
    return np.asarray(placed, dtype=np.float64)
