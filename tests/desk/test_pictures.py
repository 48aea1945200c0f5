"""The report's pictures, read back by an independent SVG reader."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
import svgelements

from snugline.desk.pictures import (
    _round_factor,
    along_outline,
    outline_picture,
    plan_picture,
    residual_picture,
)
from snugline.fit.drawing.drawing import Layer
from snugline.fit.geometry.outline import Arc, Line, Outline


@pytest.fixture
def rounded():
    """Rounded rectangle 40 x 20, radius 5, from the front left."""
    x, y, r = 20.0, 10.0, 5.0
    turn = math.pi / 2
    joints = [(-x + r, -y), (x - r, -y), (x, -y + r), (x, y - r)]
    joints += [(x - r, y), (-x + r, y), (-x, y - r), (-x, -y + r)]
    centres = [(x - r, -y + r), (x - r, y - r), (-x + r, y - r), (-x + r, -y + r)]
    segments = []
    for k in range(4):
        a, b, c = joints[2 * k], joints[2 * k + 1], joints[(2 * k + 2) % 8]
        segments += [Line(a, b), Arc(b, c, centres[k], r, turn)]
    return Outline(tuple(segments))


def test_a_plan_is_drawn_with_true_arcs(rounded):
    picture = plan_picture([Layer("pocket", (rounded,))])
    path = svgelements.Path(re.search(r' d="([^"]+)"', picture)[1])
    assert path.length(error=1e-7) == pytest.approx(rounded.perimeter, abs=1e-3)
    assert path.bbox() == pytest.approx((-20, -10, 20, 10), abs=1e-6)
    assert sum(isinstance(piece, svgelements.Arc) for piece in path) == 4


def test_points_are_placed_along_the_outline_from_its_start(rounded):
    quarter = 5 * math.pi / 2
    diagonal = 6 / math.sqrt(2)
    points = np.array([[0.0, -10.1], [15 + diagonal, -5 - diagonal], [20.2, 0.0], [-15.0, -9.9]])
    share = along_outline("photo", rounded, points)
    assert share.position == pytest.approx([0, 15, 30 + quarter / 2, 30 + quarter + 5], abs=1e-9)
    assert share.residual == pytest.approx([-0.1, 0.1, 1.0, 0.2])


def test_spikes_stay_within_the_picture(rounded):
    rng = np.random.default_rng(1)
    points = rounded.sampled(0.5)
    points = points + rng.normal(0, 0.05, points.shape)
    picture, scale = outline_picture(rounded, [along_outline("photo", rounded, points)])
    x, y, width, height = map(float, re.search(r'viewBox="([^"]+)"', picture)[1].split())
    numbers = [
        tuple(map(float, pair))
        for data in re.findall(r'class="spike" d="([^"]+)"', picture)
        for pair in re.findall(r"[ML](\S+?) (-?[\d.]+)", data)
    ]
    px, py = np.array(numbers).T
    assert x <= px.min() <= px.max() <= x + width
    assert y <= py.min() <= py.max() <= y + height
    assert scale > 1


def test_spikes_show_what_is_left_beside_the_photo_s_own_shift(rounded):
    points = rounded.sampled(0.5)
    share = along_outline("photo", rounded, points)
    waves = 0.05 * np.sin(np.linspace(0, 12 * np.pi, len(points), endpoint=False))
    share, even = (replace(share, residual=waves + shift) for shift in (0.0, 0.2))
    assert even.shift == pytest.approx(0.2)
    assert outline_picture(rounded, [even]) == outline_picture(rounded, [share])


@pytest.mark.parametrize(("factor", "expected"), [(1, 1), (4.9, 2), (99, 50), (0.3, 0.2)])
def test_magnifications_are_round(factor, expected):
    assert _round_factor(factor) == pytest.approx(expected)


def test_residuals_beyond_the_limit_stay_on_the_plot_s_rim(rounded):
    share = along_outline("photo", rounded, np.array([[0.0, -12.0], [0.0, 8.0]]))
    picture = residual_picture(share, rounded.perimeter, 0.1)
    heights = [float(y) for y in re.findall(r"M[\d.]+ (-?[\d.]+)h0", picture)]
    assert heights == [-100, 100]


def test_layers_differ_by_pattern_and_never_by_colour(rounded):
    layers = [Layer("pocket", (rounded,)), Layer("border", (rounded.scaled(1.2),), "dashed")]
    picture = plan_picture(layers)
    assert re.findall(r'class="line ([a-z-]+)"', picture) == ["solid", "dashed"]
    assert "stroke=" not in picture
