"""Walls of blocks that are drawn by their geometry: the foot, and the face where OpenCV sees it."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from made_solids import convex_silhouette, rounded_rectangle_line
from made_views import camera_over, phone_lens, seen_by_opencv

from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.edge.wall_height import common_height, wall_height
from snugline.trace.image.polyline import resample

PAPER, WALL, FACE, HEIGHT = 220, 60, 110, 350.0
MIDDLE = (130.0, 90.0)


def looked_at(thickness, tilt, wall=WALL, rim=None, unstated=()):
    """The limits for an upright block with sharp edges, seen from the front."""
    lens = phone_lens(radial=(0.0, 0.0, 0.0, 0.0))
    camera = camera_over(MIDDLE, HEIGHT, tilt, azimuth_deg=-90, roll_deg=0, lens=lens)
    outline, normals = rounded_rectangle_line(140, 80, 3, centre=MIDDLE)
    sides = PartSides(thickness)
    pixels = convex_silhouette(camera, outline, normals, sides)
    rgb = np.full((3000, 4000), PAPER, np.uint8)
    fill(rgb, pixels, wall)
    fill(rgb, raised(camera, outline, thickness), FACE)
    if rim is not None:
        fill(rgb, raised(camera, outline - rim * normals, thickness), WALL)
    rng = np.random.default_rng(1)
    rgb = cv2.GaussianBlur(rgb, (0, 0), 1.0) + rng.normal(0, 1.5, rgb.shape)
    rgb = np.repeat(np.clip(rgb, 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)
    line = resample(pixels, 2.0, True)
    known = np.ones(len(line), bool)
    piece = Silhouette(line, np.full(len(line), 0.1), known, ~known, True)
    # Stated wrongly: whatever was stated, the wall is as high as it is.
    stated = replace(sides, thickness=thickness / 10, unstated=unstated)
    return wall_height(rgb, camera, stated, (piece,))


def raised(camera, outline, height):
    return seen_by_opencv(camera, np.column_stack([outline, np.full(len(outline), height)]))


def fill(picture, pixels, light):
    cv2.fillPoly(picture, [np.round(pixels * 256).astype(np.int32)], light, cv2.LINE_AA, shift=8)


@pytest.mark.parametrize("tilt", [16.0, 24.0])
@pytest.mark.parametrize("thickness", [4.0, 9.0, 25.0])
def test_a_wall_tells_the_thickness_to_some_pixels_over_the_slope(thickness, tilt):
    least, most = looked_at(thickness, tilt)
    assert least < thickness < most
    # The foot's distance beside the camera over its height is the slope of the ray.
    slope = np.tan(np.radians(tilt)) - 40 / HEIGHT
    pixel = HEIGHT / np.cos(np.radians(tilt)) / 3000
    # Two pixels to either side, and a contact shadow.
    assert most - least < (2 * 3.0 * pixel + 0.8) / slope


def test_with_edge_and_lean_unstated_it_is_told_to_what_these_may_be():
    least, most = looked_at(9.0, 24.0, unstated=("edge", "lean"))
    assert least < 9 < most
    assert most > looked_at(9.0, 24.0)[1] + 1.9


@pytest.mark.parametrize(
    "told_nothing",
    [
        {"tilt": 0.0},  # no wall is seen
        {"tilt": 24.0, "wall": FACE},  # the crease does not show
        {"tilt": 24.0, "wall": FACE, "rim": 6.0},  # what shows is not the crease
        {"tilt": 24.0, "rim": 6.0},
    ],
)
def test_nothing_is_told_where_no_crease_is_seen_for_certain(told_nothing):
    assert looked_at(4.0, **told_nothing) is None


def test_photos_of_one_part_together_tell_its_height_closer():
    assert common_height([(2.0, 9.0), None, (4.0, 17.0)]) == (4.0, 9.0)
    assert common_height([(2.0, 3.0), (4.0, 17.0)]) is None
    assert common_height([None]) is None
