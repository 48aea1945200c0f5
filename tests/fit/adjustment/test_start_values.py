"""First poses from made contours: exact where the contour is, in every orientation."""

import math
from dataclasses import replace

import numpy as np
import pytest
from made_contours import section

from snugline.fit.adjustment.observation_equations import CentredSection
from snugline.fit.adjustment.start_values import (
    main_direction,
    polygon_of,
    tangents,
    view_of,
)
from snugline.fit.corners.corner_families import SQUARE
from snugline.fit.geometry.primitives import circle, rounded_rectangle
from snugline.fit.shapes.outline_families import regular_polygon

PLATE = rounded_rectangle(300, 100, 20)
MIDDLE = {  # where a view's own side lies, as an angle of its outward normal
    "right end": 0.0, "left end": math.pi, "front right corner": -math.pi / 4,
    "back right corner": math.pi / 4, "back left corner": 3 * math.pi / 4,
    "front left corner": -3 * math.pi / 4,
}  # fmt: skip


def seen(shows, turn, outline=PLATE, **settings):
    usual = {"sigma": 0.001, "pitch": 0.5, "reach": 80.0}
    given = section(outline, shows, np.random.default_rng(1), turn=turn, **(usual | settings))
    return CentredSection.of(given, {})


def test_chords_run_along_a_circle_and_weigh_its_whole_length():
    angle = np.linspace(0, 2 * math.pi, 629)[:-1]
    ring = 30 * np.column_stack([np.cos(angle), np.sin(angle)])
    found = tangents(ring, closed=True)
    assert np.cos(found.angle - angle[found.index] - math.pi / 2) == pytest.approx(1, abs=1e-8)
    assert np.ptp(found.angle) > 2 * math.pi  # followed round past where it began
    assert set(found.index.tolist()) == set(range(628))
    assert found.weight == pytest.approx(60 * math.pi / 628, rel=1e-3)


def test_an_open_contour_has_no_chord_at_its_ends_and_none_across_a_break():
    x = np.arange(0, 40, 0.5)
    line = np.column_stack([x, 0 * x])
    assert tangents(line).index.tolist() == list(range(4, 76))
    parted = tangents(line, (40,))
    assert parted.index.tolist() == [*range(4, 36), *range(44, 76)]
    assert parted.angle == pytest.approx(0)
    # On the other side of the gap, a whole turn on: the nearest is taken.
    back = np.vstack([line[:40], line[40:][::-1]])
    assert abs(tangents(back, (40,)).angle[-1]) == pytest.approx(math.pi)
    assert len(tangents(line[:7]).index) == 0


@pytest.mark.parametrize("degrees", [0.0, 7.3, 44.0, 89.5])
def test_the_main_direction_is_that_of_most_of_the_sides(degrees):
    measured = seen("whole", math.radians(degrees))
    direction, share = main_direction(tangents(measured.local, closed=True))
    # By quarter turns: 0 and 90 degrees are one direction.
    assert abs(math.sin(2 * (direction - math.radians(degrees)))) < 4e-3
    straight = 2 * (260 + 60)
    assert share == pytest.approx(straight / PLATE.perimeter, abs=0.03)


@pytest.mark.parametrize("shows", list(MIDDLE))
@pytest.mark.parametrize("turn", [0.0, 0.07, 1.3, -2.5, 3.1])
def test_a_view_is_turned_to_where_its_name_says(shows, turn):
    measured = seen(shows, turn)
    view = view_of(measured)
    (angle,) = view.turns
    c, s = math.cos(angle), math.sin(angle)
    placed = measured.local @ np.array([[c, s], [-s, c]])
    # The part lies on the left of its edge: outward normals are the chords' right ones.
    chord = placed[8:] - placed[:-8]
    normal = np.column_stack([chord[:, 1], -chord[:, 0]]).sum(axis=0)
    outwards = [math.cos(MIDDLE[shows]), math.sin(MIDDLE[shows])]
    assert normal @ outwards / np.hypot(*normal) > 0.95
    # Distances of the sides it sees: of opposite ones together the part's own size.
    right, back, left, front = view.sides
    if "end" in shows:
        assert front + back == pytest.approx(100, abs=0.01)
        assert (right is None) == (shows == "left end")
        assert (left is None) == (shows == "right end")
        end = right if shows == "right end" else left
        assert end == pytest.approx(placed[:, 0].max() if right else -placed[:, 0].min(), abs=0.01)
    else:
        assert (front is not None) == ("front" in shows)
        assert (back is not None) == ("back" in shows)
        assert (right is not None) == ("right" in shows)
        assert (left is not None) == ("left" in shows)


def test_a_part_seen_whole_lies_along_its_length_either_way():
    for turn in (0.3, 1.5, 2.9):
        measured = seen("whole", turn)
        view = view_of(measured)
        assert len(view.turns) == 2
        assert abs(view.turns[0]) <= abs(view.turns[1])
        for option in view.options:
            (angle,) = option.turns
            c, s = math.cos(angle), math.sin(angle)
            placed = measured.local @ np.array([[c, s], [-s, c]])
            assert np.ptp(placed, axis=0) == pytest.approx([300, 100], abs=0.05)
            extremes = (*placed.max(axis=0), *-placed.min(axis=0))
            assert option.sides == pytest.approx(extremes, abs=0.01)


def test_a_section_without_a_name_may_lie_in_four_ways():
    measured = seen("front right corner", 0.4)
    unnamed = replace(measured, section=replace(measured.section, shows="section"))
    view = view_of(unnamed)
    assert len(view.turns) == 4
    gaps = np.sort(np.mod(view.turns, 2 * math.pi))
    assert np.diff(gaps) == pytest.approx(math.pi / 2)
    named = view_of(measured)
    assert min(abs(math.cos(t - named.turns[0]) - 1) for t in view.turns) < 1e-9


@pytest.mark.parametrize("sides", [3, 5, 6, 8])
@pytest.mark.parametrize("turn", [0.0, 0.2])
def test_a_regular_polygon_is_known_by_its_directions(sides, turn):
    outline = regular_polygon(sides, SQUARE).to_outline(np.array([40.0]))
    measured = seen("whole", turn, outline)
    count, angle = polygon_of(measured)
    assert count == sides
    c, s = math.cos(angle), math.sin(angle)
    placed = measured.local @ np.array([[c, s], [-s, c]])
    # One side lies to the right, upright.
    right = placed[placed[:, 0] > placed[:, 0].max() - 0.05]
    assert np.ptp(right[:, 1]) == pytest.approx(80 * math.tan(math.pi / sides), abs=1.2)
    assert abs(angle) <= math.pi / sides + 1e-9


def test_rectangles_and_circles_are_no_polygons():
    assert polygon_of(seen("whole", 0.1)) is None
    assert polygon_of(seen("whole", 0.0, circle(40.0))) is None
    assert polygon_of(seen("right end", 0.0)) is None
