"""A step of light against its closed form: the share of each pixel's square beyond a line."""

import numpy as np
import pytest
from drawn_pictures import area_light, developed, step_light

from snugline.trace.edge.clean_step import clean_step
from snugline.trace.edge.learned_edge import edge_response

SIZE = (160, 120)
NORMAL = np.array([np.cos(0.3), np.sin(0.3)])
TURN = np.array([[0.9, 0.436], [-0.436, 0.9]])
PLACE, BLUR = 95.3, 0.7
SEEN_BLUR = float(np.sqrt(BLUR**2 + 2 / 12))  # the pixel's square and bilinear sampling add theirs


def line(off):
    """Points along the step, `off` px before it, and normals across it."""
    along = np.arange(-40, 41, 2.0)[:, None] * [-NORMAL[1], NORMAL[0]]
    middle = PLACE * NORMAL + [0.0, 30.0] - (30.0 * NORMAL[1]) * NORMAL
    return middle + along - off * NORMAL, np.tile(NORMAL, (len(along), 1))


@pytest.mark.parametrize("low", [0.05, 0.5])
@pytest.mark.parametrize("off", [-0.5, 0.0, 0.37])
def test_a_step_is_found_where_it_is(low, off):
    rgb = developed(step_light(SIZE, PLACE, NORMAL, low), BLUR, 0.004, seed=1)
    found, sigma = clean_step(rgb, *line(off), SEEN_BLUR, False)
    assert np.isfinite(sigma).all()
    assert np.abs(found - off).max() < 0.1
    assert abs(np.mean(found - off)) < 0.02


def test_a_band_beside_the_step_makes_it_unsure():
    light = step_light(SIZE, PLACE, NORMAL, 0.05)
    band = light + step_light(SIZE, PLACE + 2.5, NORMAL, 0.0, -0.3)
    clean, printed = (
        np.median(clean_step(developed(of, BLUR), *line(0.0), SEEN_BLUR, False)[1])
        for of in (light, band)
    )
    assert printed > 2 * clean


def test_where_the_picture_ends_no_step_is_known():
    rgb = developed(step_light(SIZE, 158.0, np.array([1.0, 0.0])), BLUR)
    at = np.column_stack([np.full(20, 158.0), np.linspace(20, 80, 20)])
    _, sigma = clean_step(rgb, at, np.tile([1.0, 0.0], (20, 1)), SEEN_BLUR, False)
    assert np.isinf(sigma).all()


@pytest.mark.parametrize("side", [40.0, 100.0])
def test_the_blur_at_a_marker_s_edge_does_not_depend_on_its_size(side):
    """A marker's dark rim is an eighth of its side wide; within it all may be white."""

    def marker(x, y):
        at = (np.stack([x, y], axis=-1) - 95) @ TURN.T
        off = np.abs(at).max(axis=-1)
        return np.where((off < side / 2) & (off > side * 3 / 8), 0.04, 0.75)

    quad = 95 + side / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) @ TURN
    blur, halo = edge_response(developed(area_light((190, 190), marker), BLUR), quad[None])
    assert blur == pytest.approx(SEEN_BLUR, rel=0.12)
    assert abs(halo) < 0.02
