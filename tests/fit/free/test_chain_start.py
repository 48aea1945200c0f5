"""First chains from the pieces of a contour: each piece's own arc, exactly where it is one."""

import math

import numpy as np
import pytest

from snugline.fit.free.arc_partition import stations
from snugline.fit.free.chain_start import _own_arc, _wrap, chain_through
from snugline.fit.geometry.primitives import circle, rounded_rectangle


@pytest.mark.parametrize("kappa", [0.05, -0.05, 0.004])
@pytest.mark.parametrize("turn", [0.0, 2.0, -1.2])
def test_a_piece_of_a_circle_has_its_curvature_and_headings(kappa, turn):
    step = 0.5
    s = np.arange(20) * step
    x, y = np.sin(kappa * s) / kappa, (1 - np.cos(kappa * s)) / kappa
    c, d = math.cos(turn), math.sin(turn)
    points = np.column_stack([c * x - d * y, d * x + c * y]) + np.array([3.0, -4.0])
    bend, heading = _own_arc(points, step)
    assert bend == pytest.approx(kappa, rel=1e-6)
    # Half a step before the first point and half a step after the last.
    wanted = turn + kappa * np.array([-0.5 * step, s[-1] + 0.5 * step])
    assert _wrap(heading - wanted) == pytest.approx([0, 0], abs=1e-6)


def test_a_straight_piece_has_no_curvature():
    points = np.column_stack([np.arange(9.0), 2 * np.arange(9.0)])
    bend, heading = _own_arc(points, 1.0)
    assert bend == pytest.approx(0.0, abs=1e-9)
    assert heading == pytest.approx([math.atan2(2, 1)] * 2)
    bend, heading = _own_arc(points[:2], 1.0)
    assert (bend, heading.tolist()) == (0.0, [math.atan2(2, 1)] * 2)


def test_an_angle_is_wrapped_to_half_a_turn_either_way():
    angles = np.array([0.1, -0.1, 3.5, -3.5, 7.0, -7.0])
    wrapped = _wrap(angles)
    assert np.exp(1j * wrapped) == pytest.approx(np.exp(1j * angles))
    assert (np.abs(wrapped) <= math.pi).all()


def test_a_chain_through_a_rounded_rectangle_is_its_sides_and_corners():
    outline = rounded_rectangle(200, 100, 30)
    points = outline.sampled(0.05)
    at = stations(points, 0.5, np.zeros(len(points), dtype=bool))
    # Cut where lines and arcs meet, as measured along the outline.
    joints = np.cumsum([s.length for s in outline.segments])[:-1]
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(at.points, axis=0).T))])
    pieces = np.concatenate([[0], np.searchsorted(along, joints)])
    chain = chain_through(at, pieces, closed=True)
    assert len(chain) == 8
    assert not chain.corner.any()
    assert np.abs(chain.sweeps).sum() == pytest.approx(2 * math.pi, abs=0.1)
    radii = sorted(1 / np.sort(np.abs(chain.curvatures))[4:])
    assert radii == pytest.approx([30] * 4, rel=0.05)
    assert chain.lengths.sum() == pytest.approx(outline.perimeter, rel=0.01)


@pytest.mark.parametrize("turned", [False, True])
def test_a_full_circle_is_one_arc_of_a_full_turn(turned):
    points = circle(40.0).sampled(0.1)
    points = points[::-1] if turned else points
    at = stations(points, 1.0, np.zeros(len(points), dtype=bool))
    chain = chain_through(at, np.array([0]), closed=True)
    assert chain.sweeps == pytest.approx([-2 * math.pi if turned else 2 * math.pi])
    assert abs(1 / chain.curvatures[0]) == pytest.approx(40.0, rel=1e-3)


def test_a_square_s_corners_stay_corners():
    points = rounded_rectangle(80, 60).sampled(0.05)
    at = stations(points, 0.5, np.zeros(len(points), dtype=bool))
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(at.points, axis=0).T))])
    sides = np.hypot(*(np.diff(points, axis=0)).T)
    assert sides.sum() == pytest.approx(280, abs=0.2)
    joints = np.cumsum([s.length for s in rounded_rectangle(80, 60).segments])[:-1]
    chain = chain_through(at, np.concatenate([[0], np.searchsorted(along, joints)]), closed=True)
    assert chain.corner.all()
    assert chain.turns == pytest.approx([math.pi / 2] * 4, abs=0.05)
