"""The learned map on composed sheets: where it lies, and what it says of part and sheet."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely import Polygon, contains_xy
from sheet_scene import Pinhole, Scene, compose, rounded, turned

from snugline.trace.part.learned_map import HEIGHT, PART, WEIGHTS, WIDTH, placed, probabilities
from snugline.trace.part.part_search import find_part
from snugline.trace.part.sheet_view import sheet_light

RECORD = Path(__file__).parents[3] / "training" / "coarse" / "record.json"
PLATE = turned(rounded(300, 90, 20), 4, (110, 55))
SCENE = Scene(foot=PLATE, top=(0.3, 0.3, 0.3), shadow=(3.0, -3.0), soft=1.0)


def part_of(scene):
    """The map of a scene, and its cells' places on the sheet, (H, W) and (H, W, 2)."""
    picture, view, _ = compose(scene)
    at = placed(view)
    shares = probabilities(picture, view, sheet_light(picture, view), at)
    rows, columns = np.indices(shares.shape[1:])
    px = 2 * np.column_stack([columns.ravel(), rows.ravel()]) + 0.5
    return shares, at.on_sheet(px).reshape(*rows.shape, 2)


def test_the_small_picture_shows_the_whole_sheet_and_is_placed_both_ways():
    _, view, _ = compose(SCENE)
    at = placed(view)
    px = np.random.default_rng(1).uniform(0, 400, (50, 2))
    np.testing.assert_allclose(at.px(at.on_sheet(px)), px, atol=1e-9)
    sheet = at.px(np.array([[0.0, 0.0], [297.0, 0.0], [297.0, 210.0], [0.0, 210.0]]))
    # Paper is taken to end 11 mm beyond the markers; it is fitted with a few px to spare.
    assert np.all((sheet > -4) & (sheet < [WIDTH + 3, HEIGHT + 3]))
    assert np.ptp(sheet[:, 0]) > 0.95 * WIDTH


@pytest.mark.parametrize("tone", [0.05, 0.3, 0.6])
def test_part_and_sheet_are_as_they_lie(tone):
    shares, at = part_of(Scene(foot=PLATE, top=(tone,) * 3, shadow=(3.0, -3.0), soft=1.0))
    np.testing.assert_allclose(shares.sum(axis=0), 1, atol=1e-5)
    x, y = at[..., 0], at[..., 1]
    window = (x > 40) & (x < 257) & (y > 36) & (y < 174)
    plate = Polygon(PLATE)
    inside = window & contains_xy(plate.buffer(-4), x, y)
    outside = window & ~contains_xy(plate.buffer(8), x, y)
    assert np.mean(shares[PART][inside] > 0.9) > 0.98
    assert np.mean(shares[PART][outside] < 0.1) > 0.98


def test_a_clear_border_is_told():
    picture, view, _ = compose(Scene(foot=PLATE, top=(0.03, 0.03, 0.03)))
    (edge,) = find_part(picture, view)[0].outer
    assert edge.told.mean() > 0.95


def test_the_network_gives_what_it_gave_where_it_was_written():
    """The lowest and the newest supported OpenCV are to agree with the record to 1e-4."""
    if not RECORD.exists():
        pytest.skip("training/ is not here")
    network = cv2.dnn.readNetFromONNX(str(WEIGHTS))
    given = np.random.default_rng(12).normal(0, 0.5, (1, 10, HEIGHT, WIDTH)).astype(np.float32)
    network.setInput(given)
    kinds = network.forward()[0]
    probe = [*kinds[:, 40, 12], *kinds[:, 90, 125]]
    expected = json.loads(RECORD.read_text(encoding="utf-8"))["probe"]
    np.testing.assert_allclose(probe, expected, atol=1e-4, rtol=0)


def test_a_steep_view_of_a_thick_part_is_no_other():
    scene = Scene(
        foot=PLATE, top=(0.3, 0.2, 0.12), thickness=12.0, camera=Pinhole(tilt_deg=25, height=380)
    )
    shares, at = part_of(scene)
    x, y = at[..., 0], at[..., 1]
    inside = (x > 120) & (x < 250) & contains_xy(Polygon(PLATE).buffer(-4), x, y)
    assert np.mean(shares[PART][inside] > 0.9) > 0.98
