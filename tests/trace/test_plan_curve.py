"""A second edge that is likely along a stretch reaches the contour, and its doubt the noise."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
from followed_edge import CAMERA, followed

from snugline.trace import plan_curve
from snugline.trace.edge.relief_displacement import PartSides

SQUARE = np.array([[300.0, 200.0], [300.0, 500.0], [600.0, 500.0], [600.0, 200.0]])
VIEW = SimpleNamespace(camera=CAMERA, sides=PartSides(0.0))


def with_other(stretch, away=6.0, share=0.4):
    edge = followed(SQUARE)
    other = np.zeros((len(edge.pixels), 2))
    other[stretch] = away, share
    return replace(edge, other=other)


def test_a_likely_edge_is_an_alternative_at_its_place():
    stretch = slice(20, 60)
    edge = with_other(stretch)
    index = np.arange(len(edge.pixels))
    (found,) = plan_curve._alternatives(edge, index, 100, VIEW)
    assert (found.first, found.last) == (120, 159)
    assert abs(found.probability - 0.4) < 1e-12
    own = CAMERA.on_plane(edge.pixels[stretch])
    apart = np.linalg.norm(found.points - own, axis=1)
    # 7.5 px a mm.
    np.testing.assert_allclose(apart, 6 / 7.5, atol=0.02)


def test_short_and_unlikely_ones_are_not():
    index = np.arange(len(followed(SQUARE).pixels))
    for edge in (with_other(slice(20, 26)), with_other(slice(20, 60), share=0.1)):
        assert not list(plan_curve._alternatives(edge, index, 0, VIEW))


def test_not_knowing_which_edge_it_is_counts_as_noise():
    edge = with_other(slice(20, 60))
    told = plan_curve._told_apart(edge)
    np.testing.assert_allclose(told[:20], edge.sigma[:20])
    np.testing.assert_allclose(told[20:60], np.hypot(0.05, np.sqrt(0.24) * 6))


def test_a_thin_part_is_told_from_its_shadow_less_well():
    thickness = np.array([0.0, 4.0, 10.0, 30.0, 1e4])
    u = plan_curve.offset_u_px(thickness, np.full(9, 0.15))
    np.testing.assert_allclose(u[[0, -1]], 0.15 * plan_curve.COMMON_SHARE, rtol=1e-3)
    # As measured on unseen scenes, within a third.
    np.testing.assert_allclose(u[1:4], [0.5, 0.25, 0.1], rtol=0.35)


def test_what_a_shift_and_a_turn_make_up_for_is_no_offset():
    angle = np.linspace(0, 1.5 * np.pi, 200)
    normals = np.column_stack([np.cos(angle), np.sin(angle)])
    at = normals * [60.0, 40.0] + [120.0, 90.0]
    spin = normals[:, 1] * (at[:, 0] - 40) - normals[:, 0] * (at[:, 1] + 30)  # about any point

    def left(*axes):
        return plan_curve._beside_pose(np.column_stack([at, normals, *axes]))

    assert left(0.3 * normals[:, 0], -0.2 * normals[:, 1], 0.004 * spin) < 1e-9
    assert abs(left(0.03 + 0.2 * normals[:, 0], 0.04 + 0.1 * spin) - 0.05) < 1e-9
