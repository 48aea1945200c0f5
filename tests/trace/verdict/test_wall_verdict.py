"""A wall that was left out, told by the step at its foot; pictures are drawn."""

import cv2
import numpy as np
import pytest
from followed_edge import CAMERA, SIZE, followed
from numpy.typing import NDArray

from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.verdict.edge_strips import Beside
from snugline.trace.verdict.wall_verdict import wall_outside

PX_PER_MM = 7.5
# The camera's foot is far to the left of the part, so that its left wall shows.
SIDES = PartSides(8.0)


def wall_px(foot: float) -> float:
    """How wide the left wall shows whose foot is at `foot` px, right of the camera's own foot."""
    mm = float(CAMERA.on_plane(np.array([[foot, 350.0]]))[0, 0])
    return mm * SIDES.thickness / (200.0 - SIDES.thickness) * PX_PER_MM


def picture(foot: float, wall: int, slope: float = 0.0) -> NDArray[np.uint8]:
    """A dark face, its left wall of a level of its own, and paper that darkens towards the part."""
    x = np.arange(SIZE[0], dtype=np.float64)
    row = np.where(x < foot, 210.0 - slope * np.exp(-np.maximum(foot - x, 0) / 10), float(wall))
    row = np.where(x > foot + wall_px(foot), 70.0, row)
    rgb = np.repeat(np.repeat(row[None, :, None], SIZE[1], axis=0), 3, axis=2)
    rgb[:150] = rgb[551:] = 210.0
    rgb[:, 851:] = 210.0
    rgb += np.random.default_rng(2).normal(0, 2.0, rgb.shape)
    return np.asarray(np.clip(cv2.GaussianBlur(rgb, (0, 0), 0.9), 0, 255), np.uint8)


def marked(rgb: NDArray[np.uint8], left: float) -> float:
    """Share of the left side that is marked, away from its corners."""
    corners = np.array([[left, 150.0], [left, 550.0], [850.0, 550.0], [850.0, 150.0]])
    found = followed(corners)
    x, y = found.pixels.T
    side = (np.abs(x - left) < 2) & (y > 210) & (y < 490)
    return float(wall_outside(Beside.of(rgb, CAMERA, SIDES, found, 1 / PX_PER_MM))[side].mean())


@pytest.mark.parametrize("foot", [600.0, 700.0])
def test_the_foot_beside_an_upper_edge_that_was_followed_is_told(foot: float) -> None:
    rgb = picture(foot, wall=190)
    assert wall_px(foot) > 6
    assert marked(rgb, foot + wall_px(foot)) > 0.9
    assert marked(rgb, foot) == 0


def test_a_shadow_beside_the_foot_is_no_wall() -> None:
    assert marked(picture(700.0, wall=120, slope=60.0), 700.0) == 0


def test_a_wall_too_like_the_sheet_tells_nothing() -> None:
    assert marked(picture(700.0, wall=209), 700.0 + wall_px(700.0)) == 0
