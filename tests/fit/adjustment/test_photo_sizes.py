"""What photos alone show of a dimension, by hand."""

import math

import numpy as np
import pytest

from snugline.fit.adjustment.observation_equations import CentredSection
from snugline.fit.adjustment.photo_sizes import (
    SPAN_U_MM,
    SPAN_U_SHARE,
    PhotoSizes,
    Span,
    photo_sizes,
)
from snugline.fit.adjustment.start_values import View
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.section import Section, moved_by_thickness


def section_of(outline, turn=0.0, **more):
    points = outline.rotated(turn).translated(50, 20).sampled(0.5)
    return CentredSection.of(
        Section("a.jpg", "whole", points, np.full(len(points), 0.02), True, **more)
    )


def test_a_span_is_the_distance_of_the_two_sides_that_are_seen():
    plate = rounded_rectangle(200, 80, 10)
    for turn in (0.0, 0.4, 2.0):
        section = section_of(plate, turn)
        view = View((-turn,), (100.0, 40.0, 100.0, 40.0), 0.9)
        found = photo_sizes([section], [view])
        assert [s.mm for s in found["length"].spans] == [200.0]
        assert [s.mm for s in found["width"].spans] == [80.0]
        assert found["length"].least == pytest.approx(200, abs=0.5)
        assert found["width"].least == pytest.approx(80, abs=0.5)


def test_one_side_shows_at_least_what_is_seen_and_no_view_the_least_extent():
    section = section_of(rounded_rectangle(200, 80, 10))
    one = photo_sizes([section], [View((0.0,), (None, 40.0, 100.0, 40.0), 0.9)])
    assert one["length"].spans == ()
    assert one["length"].least == pytest.approx(200, abs=0.5)
    for view in (None, View((0.0,), (100.0, 40.0, 100.0, 40.0), 0.49)):
        none = photo_sizes([section], [view])
        assert none["length"].spans == none["width"].spans == ()
        assert none["length"].least == pytest.approx(80, abs=0.5)


def test_sides_that_do_not_end_the_part_are_no_span():
    section = section_of(rounded_rectangle(200, 80, 10))
    for side, seen in ((98.6, True), (98.4, False)):  # 1.5 % of 200 mm is 3 mm
        view = View((0.0,), (side, 40.0, side, 40.0), 0.9)
        assert bool(photo_sizes([section], [view])["length"].spans) == seen


def test_another_photo_that_shows_more_takes_the_span_away():
    long, short = (section_of(rounded_rectangle(w, 80, 10)) for w in (230, 200))
    views = [None, View((0.0,), (100.0, 40.0, 100.0, 40.0), 0.9)]
    found = photo_sizes([long, short], views)
    assert len(found["length"].spans) == 1  # what lies askew shows 80 mm at least
    views[0] = View((0.0,), (None, 40.0, 115.0, 40.0), 0.9)
    assert photo_sizes([long, short], views)["length"].spans == ()


def test_a_thicker_part_shows_other_spans():
    sizes = PhotoSizes((Span(200.0, 0.4), Span(202.0, 0.2), Span(201.0, 0.3)), 202.0)
    expected = sizes.expected(2.0)
    assert expected.value == pytest.approx(201.6)  # 200.8, 202.4, 201.6
    assert expected.u == pytest.approx(math.hypot(SPAN_U_MM, SPAN_U_SHARE * 202))
    assert sizes.spread() == pytest.approx(2.0)
    assert sizes.spread(10.0) == pytest.approx(0.0)
    assert PhotoSizes().spread() == 0.0
    assert PhotoSizes((), 90.0).expected().value is None
    assert PhotoSizes((), 90.0).expected().least == 90.0


def test_a_section_of_a_thicker_part_moves_outwards_by_its_sensitivity():
    outline = rounded_rectangle(200, 80, 20)
    points = outline.sampled(0.5)
    moved = {"thickness": np.full(len(points), 0.3)}
    section = Section("a.jpg", "whole", points, np.full(len(points), 0.02), True,
                      sensitivity=moved)  # fmt: skip
    after = moved_by_thickness(section, 2.0).points
    shift = after - points
    inner = slice(20, -20)  # a contour's ends are not averaged
    assert np.hypot(*shift[inner].T) == pytest.approx(np.full(len(shift) - 40, 0.6))
    outwards = np.sum(shift[inner] * (points[inner] - [0, 0]), axis=1)
    assert (outwards > 0).all()
    assert moved_by_thickness(Section("a", "whole", points, points[:, 0]), 2.0).points is points


def test_an_end_without_parallel_sides_shows_how_long_the_part_is_at_least():
    angle = np.radians(np.arange(-60.0, 61.0, 0.5))
    points = np.column_stack([220 * np.cos(angle) - 220, 50 * np.sin(angle)])
    end = CentredSection.of(Section("a.jpg", "right end", points, np.full(len(points), 0.02)))
    whole = CentredSection.of(Section("a.jpg", "section", points, np.full(len(points), 0.02)))
    view = View((0.0,), (None, None, None, None), 0.2)
    shown = photo_sizes([end], [view])
    # In no direction within 20 degrees of its own is it less.
    aims = np.radians(np.linspace(-20, 20, 401))
    for of, along in (("length", aims), ("width", aims + np.pi / 2)):
        least = np.ptp(points @ [np.cos(along), np.sin(along)], axis=0).min()
        assert shown[of].least == pytest.approx(least, abs=1.0)
    assert photo_sizes([whole], [view])["width"].least < shown["length"].least + 1
