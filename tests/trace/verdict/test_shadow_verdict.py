"""A strip of shadow beside the part, told from the part by hue or by grain; pictures are drawn."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from followed_edge import CAMERA, SIZE, followed
from numpy.typing import NDArray
from shapely import Polygon

from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.verdict.edge_strips import Beside
from snugline.trace.verdict.shadow_verdict import in_shadow

SHADOW_PX = 14.0
PART = np.array([[150.0, 150.0], [150.0, 550.0], [750.0, 550.0], [750.0, 150.0]])


def picture(colour: tuple[int, int, int], grain: float) -> NDArray[np.uint8]:
    """A part and, to its right, its shadow, as dark as the part, on white paper."""
    rng = np.random.default_rng(4)
    rgb = np.full((SIZE[1], SIZE[0], 3), 205.0)
    shade = np.where(np.arange(SIZE[0]) < 750 + SHADOW_PX, 95.0, 205.0)
    rgb[150:551] = np.where(np.arange(SIZE[0])[None, :, None] > 400, shade[None, :, None], 205.0)
    rough = cv2.GaussianBlur(rng.normal(0, 1, rgb.shape[:2]), (0, 0), 1.5)
    part = np.array(colour) + grain * (rough / rough.std())[..., None]
    rgb[150:551, 150:751] = part[150:551, 150:751]
    rgb += rng.normal(0, 1.0, rgb.shape)
    return np.asarray(np.clip(cv2.GaussianBlur(rgb, (0, 0), 0.8), 0, 255), np.uint8)


@pytest.mark.parametrize(
    ("colour", "grain"), [((130, 92, 60), 0.0), ((95, 95, 95), 12.0)], ids=["hue", "grain"]
)
def test_a_shadow_taken_for_the_part_is_told_where_it_is(colour, grain) -> None:
    rgb, sides = picture(colour, grain), PartSides(0.0)
    right = followed(PART)
    assert np.mean(in_shadow(Beside.of(rgb, CAMERA, sides, right, 0.133))) < 0.03
    rim = PART + np.array([[0, 0], [0, 0], [SHADOW_PX, 0], [SHADOW_PX, 0]])
    assert Polygon(rim).area > Polygon(PART).area
    wrong = followed(rim)
    marked = in_shadow(Beside.of(rgb, CAMERA, sides, wrong, 0.133))
    x, y = wrong.pixels.T
    along = (x > 750 + SHADOW_PX - 2) & (y > 210) & (y < 490)
    assert marked[along].mean() > 0.9
    assert not marked[x < 650].any()


def test_a_part_that_is_grey_and_smooth_all_over_is_not_accused() -> None:
    rgb = picture((95, 95, 95), 0.0)
    assert not np.any(in_shadow(Beside.of(rgb, CAMERA, PartSides(0.0), followed(PART), 0.133)))


def test_a_strip_narrower_than_the_side_is_told_as_well() -> None:
    # The shadow is as wide as a side of the part would be seen: behind it there is only face.
    rgb, sides = picture((95, 95, 95), 12.0), PartSides(6.0)
    rim = PART + np.array([[0, 0], [0, 0], [SHADOW_PX, 0], [SHADOW_PX, 0]])
    wrong = followed(rim)
    beside = replace(
        Beside.of(rgb, CAMERA, sides, wrong, 0.133), crease=np.full(len(wrong.pixels), SHADOW_PX)
    )
    marked = in_shadow(beside)
    x, y = wrong.pixels.T
    along = (x > 750 + SHADOW_PX - 2) & (y > 210) & (y < 490)
    assert marked[along].mean() > 0.9


def test_a_smooth_strip_of_the_parts_own_hue_is_the_parts() -> None:
    # Grain that ends before the edge, as of a board sawn along it: no shadow is brown as the board.
    rgb, sides = picture((130, 92, 60), 12.0), PartSides(0.0)
    smooth = picture((130, 92, 60), 0.0)
    x = np.arange(rgb.shape[1])
    strip = x > 750 - 20
    rgb[:, strip] = smooth[:, strip]
    assert not in_shadow(Beside.of(rgb, CAMERA, sides, followed(PART), 0.133)).any()
