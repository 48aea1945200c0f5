"""Turned pictures, and places in them."""

import cv2
import numpy as np
import pytest

from snugline.desk.turning import (
    turned_box,
    turned_pixels,
    turned_png,
    turned_points,
    turned_size,
)

SIZE = (7, 5)


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_place_is_where_its_pixel_went(turn):
    for x in range(SIZE[0]):
        for y in range(SIZE[1]):
            picture = np.zeros((SIZE[1], SIZE[0], 3), dtype=np.uint8)
            picture[y, x] = 255
            (row, column), *_ = np.argwhere(turned_pixels(picture, turn)[..., 0])
            placed = turned_points(np.array([x, y], dtype=float), turn, SIZE)
            assert placed.tolist() == [column, row]
    assert turned_pixels(picture, turn).shape[1::-1] == turned_size(SIZE, turn)


@pytest.mark.parametrize(
    ("turn", "code"),
    [
        (90, cv2.ROTATE_90_CLOCKWISE),
        (180, cv2.ROTATE_180),
        (270, cv2.ROTATE_90_COUNTERCLOCKWISE),
    ],
)
def test_turning_is_clockwise_as_opencv_has_it(turn, code):
    picture = np.random.default_rng(1).integers(0, 255, (5, 7, 3), dtype=np.uint8)
    assert np.array_equal(turned_pixels(picture, turn), cv2.rotate(picture, code))
    png = cv2.imencode(".png", picture)[1].tobytes()
    again = cv2.imdecode(np.frombuffer(turned_png(png, turn), np.uint8), cv2.IMREAD_COLOR)
    assert np.array_equal(again, cv2.rotate(picture, code))


def test_a_box_keeps_its_order_and_nothing_turned_is_left_alone():
    assert turned_box((1, 2, 3, 4), 90, SIZE) == (0, 1, 2, 3)
    assert turned_box((1, 2, 3, 4), 180, SIZE) == (3, 0, 5, 2)
    assert turned_png(b"no picture", 0) == b"no picture"
