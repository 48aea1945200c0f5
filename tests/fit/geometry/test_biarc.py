"""Smooth curves as arcs, and arcs as cubic curves, against what geometry says."""

import itertools
import math

import numpy as np
import pytest

from snugline.errors import FitError
from snugline.fit.drawing.bezier import cubics, deviation, outline_steps
from snugline.fit.geometry.biarc import biarcs
from snugline.fit.geometry.outline import Arc, Line, arc_from_bulge
from snugline.fit.geometry.primitives import rounded_rectangle


def ellipse(a, b):
    def sample(t):
        tangent = np.array([-a * math.sin(t), b * math.cos(t)])
        return np.array([a * math.cos(t), b * math.sin(t)]), tangent / np.linalg.norm(tangent)

    def strays(points):
        t = np.linspace(0, math.pi, 20_001)
        curve = np.column_stack([a * np.cos(t), b * np.sin(t)])
        return max(np.hypot(*(curve - p).T).min() for p in points)

    return sample, strays


@pytest.mark.parametrize("tolerance", [0.5, 0.01])
@pytest.mark.parametrize(("a", "b"), [(50.0, 20.0), (20.0, 50.0), (30.0, 30.0)])
def test_arcs_follow_an_ellipse_within_their_tolerance_and_without_kinks(a, b, tolerance):
    sample, strays = ellipse(a, b)
    arcs = biarcs(sample, strays, 0.2, 2.8, tolerance)
    ends = [sample(0.2), sample(2.8)]
    assert arcs[0].start == pytest.approx(tuple(ends[0][0]))
    assert arcs[-1].end == pytest.approx(tuple(ends[1][0]))
    assert arcs[0].directions[0] == pytest.approx(tuple(ends[0][1]), abs=1e-9)
    assert arcs[-1].directions[1] == pytest.approx(tuple(ends[1][1]), abs=1e-9)
    for one, other in itertools.pairwise(arcs):
        assert one.end == other.start
        assert one.directions[1] == pytest.approx(other.directions[0], abs=1e-9)
    assert all(arc.sweep > 0 for arc in arcs)
    for arc in arcs:
        x, y = np.array(arc.start) - arc.centre
        t = np.linspace(0, arc.sweep, 30)
        points = np.column_stack([np.cos(t) * x - np.sin(t) * y, np.sin(t) * x + np.cos(t) * y])
        assert strays(points + arc.centre) < 1.2 * tolerance + 1e-3
        assert math.hypot(x, y) == pytest.approx(arc.radius)
    if a == b:
        assert [arc.radius for arc in arcs] == pytest.approx([a] * len(arcs))
        assert len(arcs) == 2


def test_a_curve_that_turns_back_is_refused():
    def back(t):
        return np.array([-t, 0.0]), np.array([1.0, 0.0])

    with pytest.raises(FitError, match="runs backwards"):
        biarcs(back, lambda points: 0.0, 0.0, 1.0, 0.1)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("along", [(1.0, 0.0), (0.6, 0.8), (-0.28, 0.96)])
def test_a_straight_piece_is_lines(along):
    along = np.array(along)
    pieces = biarcs(lambda t: (t * along, along), lambda points: 0.0, 0.0, 40.0, 0.01)
    assert pieces[0].start == (0.0, 0.0)
    assert pieces[-1].end == pytest.approx(tuple(40 * along))
    assert sum(piece.length for piece in pieces) == pytest.approx(40)
    assert all(isinstance(p, Line) or p.radius > 1e6 for p in pieces)


@pytest.mark.parametrize("radius", [0.5, 27.4, 3000.0])
@pytest.mark.parametrize("bulge", [0.1, -0.4142, 1.0, 2.5])
def test_cubics_lie_on_their_arc_within_a_hundredth_of_a_micrometre(radius, bulge):
    end = (2 * radius * math.sin(2 * math.atan(abs(bulge))), 0.0)
    arc = arc_from_bulge((0.0, 0.0), end, bulge)
    assert arc.radius == pytest.approx(radius)
    pieces = cubics(arc)
    assert pieces[-1][2] == arc.end
    start, worst = np.array(arc.start), 0.0
    t = np.linspace(0, 1, 201)[:, None]
    for piece in pieces:
        p, q, r = (np.array(point) for point in piece)
        curve = (1 - t) ** 3 * start + 3 * (1 - t) ** 2 * t * p + 3 * (1 - t) * t**2 * q + t**3 * r
        away = np.hypot(*(curve - arc.centre).T) - radius
        worst = max(worst, float(np.abs(away).max()))
        # Ends and middle touch the circle; between them the curve is outside.
        assert away.min() > -1e-9 * radius
        assert abs(away[100]) < 1e-9 * radius
        start = r
    step = arc.sweep / len(pieces)
    assert worst == pytest.approx(deviation(radius, step), rel=1e-3, abs=1e-12 * radius)
    assert worst <= 1e-5
    assert abs(step) <= math.pi / 2 + 1e-9
    # One piece fewer would stray too far, or turn too much.
    if len(pieces) > 1:
        fewer = arc.sweep / (len(pieces) - 1)
        assert abs(fewer) > math.pi / 2 or deviation(radius, fewer) > 1e-5


def test_a_quarter_circle_s_curve_strays_by_the_published_share():
    """2.7253e-4 of the radius: M. Goldapp, Computer Aided Geometric Design 8 (1991)."""
    assert deviation(1.0, math.pi / 2) == pytest.approx(2.7253e-4, abs=1e-7)
    assert deviation(2.0, -math.pi / 2) == pytest.approx(2 * 2.7253e-4, abs=2e-7)


def test_an_outline_s_last_straight_side_is_left_to_the_closing():
    made = rounded_rectangle(100, 60, 10)
    steps = outline_steps(made)
    arcs = sum(len(cubics(s)) for s in made.segments if isinstance(s, Arc))
    lines = sum(1 for s in made.segments if not isinstance(s, Arc))
    closing = not isinstance(made.segments[-1], Arc)
    assert len(steps) == arcs + lines - closing
    assert [s for s in steps if len(s) == 2] == [
        s.end for s in made.segments[: -1 if closing else None] if not isinstance(s, Arc)
    ]
