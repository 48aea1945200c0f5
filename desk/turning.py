"""What is shown of a photo, turned by quarters: its picture, and places in it.

Measuring is independent of it: a photo is measured as it was taken.
"""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def turned_points(points: Floats, turn: int, size: tuple[int, int]) -> Floats:
    """(..., 2) pixels of a picture of (width, height) `size`, in the picture turned clockwise."""
    width, height = size
    x, y = points[..., 0], points[..., 1]
    if turn == 90:
        return np.stack([height - 1 - y, x], axis=-1)
    if turn == 180:
        return np.stack([width - 1 - x, height - 1 - y], axis=-1)
    if turn == 270:
        return np.stack([y, width - 1 - x], axis=-1)
    return points


def turned_size(size: tuple[int, int], turn: int) -> tuple[int, int]:
    """Width and height of the turned picture."""
    return size if turn in (0, 180) else size[::-1]


def turned_box(
    box: tuple[float, float, float, float], turn: int, size: tuple[int, int]
) -> tuple[float, float, float, float]:
    """A region (left, top, right, bottom) in the turned picture."""
    ends = turned_points(np.array(box, dtype=np.float64).reshape(2, 2), turn, size)
    (left, top), (right, bottom) = ends.min(axis=0).tolist(), ends.max(axis=0).tolist()
    return left, top, right, bottom


def turned_pixels(pixels: NDArray[np.uint8], turn: int) -> NDArray[np.uint8]:
    """(H, W, ...) pixels turned clockwise."""
    return np.ascontiguousarray(np.rot90(pixels, -(turn // 90))) if turn else pixels


def turned_png(png: bytes, turn: int) -> bytes:
    """A PNG turned clockwise; the same bytes where there is nothing to turn."""
    if not turn:
        return png
    import cv2

    pixels = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR)
    done, encoded = cv2.imencode(".png", turned_pixels(np.asarray(pixels, dtype=np.uint8), turn))
    if not done:
        raise RuntimeError("the picture could not be encoded")
    return encoded.tobytes()
