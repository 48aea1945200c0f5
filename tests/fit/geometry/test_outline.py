"""The outline's measures against closed forms and an independent integral, and its soundness."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from random_outlines import random_outline

from snugline.errors import FitError
from snugline.fit.geometry.outline import (
    Arc,
    Line,
    Outline,
    arc_from_bulge,
    outline_from_json,
    polygon_of,
)
from snugline.fit.geometry.primitives import circle, filleted_polygon, polygon, rounded_rectangle

# check-values.md, section 7: recomputed there by the direct formula and by Steiner's.
SHAPES = [
    (rounded_rectangle(300, 100, 12.7), 29861.547479, 778.196453, 8),
    (rounded_rectangle(304.8, 101.6, 19.05), 30656.161828, 780.094680, 8),
    (rounded_rectangle(250, 80, 10), 19914.159265, 642.831853, 8),
    (rounded_rectangle(300, 100), 30000.0, 800.0, 4),
    (rounded_rectangle(300, 100, 50), 27853.981634, 714.159265, 4),
    (rounded_rectangle(304.8, 101.6, 50.8), 28752.439666, 725.585814, 4),
    (rounded_rectangle(300, 100, [10, 20, 20, 10]), 29785.398163, 774.247780, 8),
]

random_outlines = st.integers(0, 2**32 - 1).map(
    lambda seed: random_outline(np.random.default_rng(seed))
)


@pytest.mark.parametrize(("outline", "area", "perimeter", "segments"), SHAPES)
def test_area_and_perimeter_are_the_published_values(outline, area, perimeter, segments):
    assert outline.area == pytest.approx(area, abs=5e-7)
    assert outline.perimeter == pytest.approx(perimeter, abs=5e-7)
    assert len(outline.segments) == segments


def test_the_outline_of_an_id_1_card_has_the_published_area_and_perimeter():
    # ISO/IEC 7810 sizes; values recomputed in check-values.md, section 5.
    card = rounded_rectangle(85.60, 53.98, 3.18)
    assert card.area == pytest.approx(4612.007442, abs=5e-7)
    assert card.perimeter == pytest.approx(273.700529, abs=5e-7)


def test_the_centroid_of_unequal_corners_and_of_its_mirror_image_are_the_published_values():
    # check-values.md, section 7: centroid x from the left end.
    outline = rounded_rectangle(300, 100, [10, 20, 20, 10]).translated(150, 50)
    assert outline.centroid == pytest.approx((149.374087, 50), abs=5e-7)
    assert outline.mirrored((0, 1), (150, 0)).centroid[0] == pytest.approx(150.625913, abs=5e-7)


def test_half_a_rounded_rectangle_has_the_published_area_and_centroid():
    # check-values.md, section 7: left half of 300 x 100, R 12.7.
    half = filleted_polygon([(0, 0), (150, 0), (150, 100), (0, 100)], [12.7, 0, 0, 12.7])
    assert half.area == pytest.approx(14930.773740, abs=5e-7)
    assert half.centroid[0] == pytest.approx(75.334583, abs=5e-7)


def test_the_remnant_of_a_corner_has_the_published_centroid():
    # check-values.md, section 7: (1 - pi/4) R^2, centroid 0.223368 R from each side.
    remnant = Outline(
        (Line((1, 0), (0, 0)), Line((0, 0), (0, 1)), Arc((0, 1), (1, 0), (1, 1), 1, math.pi / 2))
    )
    assert abs(remnant.area) == pytest.approx(0.214602, abs=5e-7)
    assert remnant.centroid == pytest.approx((0.223368, 0.223368), abs=5e-7)


def test_the_chords_of_a_corner_lose_the_published_area():
    # check-values.md, section 7: four corners R 12.7 in 8 chords each lose 3.249590 mm².
    outline = rounded_rectangle(300, 100, 12.7)
    chords = polygon_of(outline, 0.061154)
    assert outline.area - chords.area == pytest.approx(3.249590, abs=1e-4)
    assert len(outline.inscribed(0.01)) == 4 * 20 + 4


@settings(max_examples=20, deadline=None, derandomize=True)
@given(random_outlines)
def test_measures_agree_with_shapely_on_a_dense_polygon(outline):
    dense = polygon_of(outline, 1e-7)
    assert outline.winding * outline.area == pytest.approx(dense.area, rel=1e-7)
    assert outline.perimeter == pytest.approx(dense.length, rel=1e-7)
    assert outline.centroid == pytest.approx(dense.centroid.coords[0], abs=1e-5)
    assert outline.bounds == pytest.approx(dense.bounds, abs=1e-6)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(random_outlines, st.floats(-7, 7), st.floats(0.1, 10), st.floats(-300, 300))
def test_moved_copies_stay_sound_and_keep_their_measures(outline, angle, factor, shift):
    moved = outline.rotated(angle, (3, 4)).scaled(factor).translated(shift, -shift)
    mirrored = moved.mirrored((math.cos(angle), math.sin(angle)), (shift, 1))
    assert moved.area == pytest.approx(outline.area * factor**2, rel=1e-9)
    assert moved.perimeter == pytest.approx(outline.perimeter * factor, rel=1e-11)
    assert mirrored.area == pytest.approx(-moved.area, rel=1e-9)
    assert mirrored.reversed().area == pytest.approx(moved.area, rel=1e-9)
    assert np.allclose(moved.turns, outline.turns, atol=1e-9)


def test_mirroring_twice_about_the_part_axes_is_the_identity_to_the_last_bit():
    outline = rounded_rectangle(313.7, 101.3, [3.3, 17.1, 9.9, 21.7])
    for axis in ((1, 0), (0, 1)):
        assert outline.mirrored(axis).mirrored(axis) == outline


def test_four_quarter_turns_are_the_identity_to_the_last_bit():
    outline = rounded_rectangle(313.7, 101.3, [3.3, 17.1, 9.9, 21.7])
    turned = outline
    for _ in range(4):
        turned = turned.rotated(math.pi / 2)
    assert turned == outline


def test_rounded_rectangles_are_tangent_and_convex():
    for outline, *_ in SHAPES:
        assert outline.is_convex
        if len(outline.segments) == 8:
            assert max(map(abs, outline.turns)) < 1e-9
    assert max(map(abs, circle(25).turns)) < 1e-9


def test_a_concave_outline_is_not_convex():
    assert not filleted_polygon([(0, 0), (100, 0), (50, 30), (0, 80)], 5).is_convex
    # A pentagram bends one way only, but goes round twice.
    star = [(math.cos(4 * math.pi * k / 5), math.sin(4 * math.pi * k / 5)) for k in range(5)]
    assert not polygon(star).is_convex


def test_a_square_with_full_corners_is_a_circle_of_two_half_arcs():
    outline = rounded_rectangle(50, 50, 25)
    assert [s.sweep for s in outline.segments] == [math.pi, math.pi]
    assert outline.area == pytest.approx(math.pi * 625, rel=1e-12)


def test_a_side_that_its_corners_use_up_vanishes():
    outline = rounded_rectangle(100, 50, [30, 10, 10, 20])
    assert [type(s) for s in outline.segments].count(Line) == 3


@pytest.mark.parametrize("sweep", [1e-6, 1e-3, 0.1999, 0.2001, 1, math.pi, 6])
def test_flat_and_wide_arcs_keep_their_digits(sweep):
    # Against Gauss-Legendre integration of x dy / 2 - y dx / 2 and of x dA along arc and chord.
    start, radius = (10.0, 0.0), 10.0 / (2 * math.sin(min(sweep, 2) / 2))
    centre = (10.0 - radius, 0.0)
    end = (centre[0] + radius * math.cos(sweep), radius * math.sin(sweep))
    outline = Outline((Arc(start, end, centre, radius, sweep), Line(end, start)))
    t, weight = np.polynomial.legendre.leggauss(40)
    angle = (t + 1) / 2 * sweep
    # Distances from the start, in the form that keeps its digits at small angles.
    x, y = -2 * radius * np.sin(angle / 2) ** 2, radius * np.sin(angle)
    dx, dy = -radius * np.sin(angle), radius * np.cos(angle)
    area = np.sum(weight * (x * dy - y * dx) / 2) * sweep / 2
    moment = np.sum(weight * (x * dy - y * dx) * x / 3) * sweep / 2
    assert outline.area == pytest.approx(area, rel=1e-8 if sweep > 1e-5 else 1e-4)
    assert outline.centroid[0] - 10 == pytest.approx(moment / area, abs=1e-6)


def test_points_along_an_outline_lie_on_it_and_close_enough():
    outline = rounded_rectangle(300, 100, [10, 20, 0, 50])
    points = outline.sampled(0.5)
    gaps = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    assert gaps.max() <= 0.5 + 1e-12
    assert gaps.min() > 0.2
    joints = {s.start for s in outline.segments}
    assert joints <= {tuple(p) for p in points.tolist()}


def test_the_polygon_of_an_outline_strays_no_more_than_its_chord_error():
    outline = circle(40)
    chords = polygon_of(outline, 0.01)
    assert shapely.hausdorff_distance(chords.exterior, polygon_of(outline, 1e-6).exterior) < 0.01
    assert len(outline.inscribed(0.01)) < 1.1 * math.pi / math.acos(1 - 0.01 / 40) + 2


def test_an_outline_survives_json_to_the_last_bit():
    outline = rounded_rectangle(313.7, 101.3, [3.3, 17.1, 9.9, 21.7]).rotated(0.3)
    assert outline_from_json(outline.as_json()) == outline


def test_json_of_another_form_is_refused():
    with pytest.raises(FitError, match="another form"):
        outline_from_json([{"kind": "spline", "from": [0, 0]}])


@pytest.mark.parametrize(
    ("degrees", "bulge"),
    # check-values.md, section 6.3: bulge = tan(sweep / 4), DXF Reference, VERTEX code 42.
    [(30, 0.131652), (45, 0.198912), (60, 0.267949), (90, 0.414214), (120, 0.577350), (180, 1.0),
     (270, 2.414214)],
)  # fmt: skip
def test_an_arc_from_a_bulge_has_the_published_sweep(degrees, bulge):
    arc = arc_from_bulge((0, 0), (10, 10), bulge)
    # The sixth decimal of the bulge is worth up to 1.2e-4 degrees.
    assert math.degrees(arc.sweep) == pytest.approx(degrees, abs=1.2e-4)
    assert arc_from_bulge((0, 0), (10, 10), -bulge).sweep == -arc.sweep


def test_arcs_from_bulges_have_the_published_centre_and_radius():
    # check-values.md, section 6.3.
    arc = arc_from_bulge((0, 0), (10, 10), math.tan(math.pi / 8))
    assert arc.centre == pytest.approx((0, 10), abs=1e-12)
    assert arc.radius == pytest.approx(10)
    arc = arc_from_bulge((0, 0), (40, 0), 0.3)
    assert arc.radius == pytest.approx(36.333333, abs=5e-7)
    assert math.degrees(arc.sweep) == pytest.approx(66.796977, abs=5e-7)


UNSOUND = {
    "gap": (Line((0, 0), (1, 0)), Line((1, 1e-15), (0, 1)), Line((0, 1), (0, 0))),
    "zero length": (Line((0, 0), (1, 0)), Line((1, 0), (1, 0)), Line((1, 0), (0, 0))),
    "open": (Line((0, 0), (1, 0)), Line((1, 0), (1, 1))),
    "radius": (Arc((1, 0), (-1, 0), (0, 0), 1.1, math.pi), Line((-1, 0), (1, 0))),
    "sweep": (Arc((1, 0), (-1, 0), (0, 0), 1, 3.1), Line((-1, 0), (1, 0))),
    "whole turn": (Arc((1, 0), (1, 0), (0, 0), 1, 2 * math.pi),),
    "not a number": (Line((0, 0), (math.nan, 0)), Line((math.nan, 0), (0, 0))),
    "nothing": (),
}


@pytest.mark.parametrize("segments", UNSOUND.values(), ids=UNSOUND.keys())
def test_an_unsound_chain_is_refused(segments):
    with pytest.raises(FitError) as caught:
        Outline(segments)
    assert caught.value.mend


@pytest.mark.parametrize(
    "make",
    [
        lambda: rounded_rectangle(100, 50, 26),
        lambda: rounded_rectangle(100, 50, [30, 1, 1, 30]),
        lambda: rounded_rectangle(100, 50, -1),
        lambda: rounded_rectangle(-100, 50, 0),
        lambda: filleted_polygon([(0, 0), (1, 0)], 0),
        lambda: filleted_polygon([(0, 0), (1, 0), (2, 0), (1, 1)], 0.1),
        lambda: filleted_polygon([(0, 0), (1, 0), (0.5, 0), (1, 1)], 0.1),
    ],
)
def test_shapes_that_cannot_be_are_refused(make):
    with pytest.raises(FitError):
        make()


@pytest.mark.parametrize("direction", [(3.0, 4.0), (-0.2, 0.1), (0.0, 7.0), (5.0, 0.0)])
def test_a_mirror_image_lies_across_its_line_whatever_the_direction_s_length(direction):
    """In complex numbers: z' = p + (u / |u|)^2 conj(z - p)."""
    outline = rounded_rectangle(30, 20, 4).translated(7, -3)
    through = (1.0, 2.0)
    made = outline.mirrored(direction, through)
    u, p = complex(*direction), complex(*through)
    for one, other in zip(outline.segments, made.segments, strict=True):
        z = p + (u / abs(u)) ** 2 * (complex(*one.start) - p).conjugate()
        assert other.start == pytest.approx((z.real, z.imag))
    assert made.area == pytest.approx(-outline.area)
