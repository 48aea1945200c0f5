"""A stretch with two likely edges: shape, readings and the other photo say which is the part's."""

from dataclasses import replace

import numpy as np
import pytest
from made_contours import section

from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.reading import Reading
from snugline.fit.section import OtherEdge

PLATE = rounded_rectangle(160, 90, 12)
STRETCH = slice(60, 140)
BESIDE_MM = 0.8


def doubtful(taken: float, probability: float = 0.4):
    """The plate with a stretch drawn `taken` mm outside of it, 0.8 mm off the other edge."""
    whole = section(PLATE, "whole", np.random.default_rng(5), sigma=0.02)
    points = whole.points[STRETCH]
    along = np.gradient(points, axis=0)
    outward = np.column_stack([along[:, 1], -along[:, 0]])
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    other = points + (taken - np.sign(taken or -1) * BESIDE_MM) * outward
    moved, noise = whole.points.copy(), whole.noise.copy()
    moved[STRETCH] = points + taken * outward
    noise[STRETCH] = np.hypot(noise[STRETCH], 0.5 * BESIDE_MM)
    edge = OtherEdge(STRETCH.start, STRETCH.stop - 1, other, probability)
    return replace(whole, points=moved, noise=noise, alternatives=(edge,))


READINGS = (Reading("width", (90.0,), "caliper"), Reading("length", (160.0,), "caliper"))


@pytest.mark.parametrize("readings", [(), READINGS])
def test_the_shadow_s_outline_gives_way_to_the_part_s_edge(readings):
    fitted = fit_outline([doubtful(BESIDE_MM)], readings)
    assert "other-edge-taken" in [notice.code for notice in fitted.notices]
    assert abs(fitted.length.value - 160) < 0.05
    assert abs(fitted.width.value - 90) < 0.05
    assert np.abs(fitted.sections[0].residuals[STRETCH]).max() < 0.15


def test_the_right_edge_stays():
    fitted = fit_outline([doubtful(0.0)])
    assert "other-edge-taken" not in [notice.code for notice in fitted.notices]
    assert abs(fitted.length.value - 160) < 0.05


def test_an_edge_that_fits_hardly_better_is_not_exchanged():
    almost = doubtful(0.0, probability=0.3)
    (edge,) = almost.alternatives
    near = replace(edge, points=almost.points[STRETCH] + 0.01)
    fitted = fit_outline([replace(almost, alternatives=(near,))])
    assert "other-edge-taken" not in [notice.code for notice in fitted.notices]
