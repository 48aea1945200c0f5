import math

import numpy as np
import pytest
import shapely

from snugline.errors import PlanError
from snugline.fit.geometry.outline import Arc, Line, Outline, polygon_of
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import circle, polygon, rounded_rectangle
from snugline.pocket.cutter import reach
from snugline.pocket.relief import ALLOWANCE, STYLES, relieved

QUAD = 2048  # chords of a quarter of shapely's disc: 0.3 nm of sagitta at 4 mm


def corner_points(pocket, disc, radius):
    """Places of the pocket's outline near a relieved corner."""
    points = pocket.sampled(0.05)
    near = np.hypot(*(points - np.array(disc.corner)).T) < 1.2 * radius
    return shapely.points(points[near])


def swept(pocket, disc, radius, shift=0.0, way_in=None):
    """What the cutter clears: all it reaches in the pocket, and its way to the relief.

    It goes in from the nearest place, or along the direction `way_in`.
    """
    (centres,) = parallel(pocket, -radius)
    inner = polygon_of(centres, 1e-7)
    centre = np.array(disc.centre)
    aim = inner
    if way_in is not None:
        aim = inner.intersection(shapely.LineString([centre, centre + 50 * np.array(way_in)]))
    entry = np.array(shapely.shortest_line(aim, shapely.Point(centre)).coords[0])
    inward = (entry - centre) / np.hypot(*(entry - centre))
    centre = centre + shift * inward
    way = shapely.LineString([entry, centre]).buffer(radius, quad_segs=QUAD)
    ring = inner.exterior
    near = shapely.clip_by_rect(
        ring, *(np.array(disc.corner) - 8 * radius), *(np.array(disc.corner) + 8 * radius)
    )
    return shapely.union(way, near.buffer(radius, quad_segs=QUAD))


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("rounding", [0.0, 0.25, 1.0])
def test_the_cutter_clears_the_corner_and_no_more_than_needed(style, rounding):
    radius = 3.0
    pocket = rounded_rectangle(100, 60, rounding)
    made = relieved(pocket, 2 * radius, style)
    assert len(made.discs) == 4
    for disc in made.discs[:2]:  # the others are their mirror images
        points = corner_points(pocket, disc, radius)
        assert shapely.distance(swept(pocket, disc, radius), points).max() < 1e-6
        shy = swept(pocket, disc, radius, shift=0.01)
        assert shapely.distance(shy, points).max() > 1e-5


@pytest.mark.parametrize("style", STYLES)
def test_the_relieved_pocket_is_all_within_the_cutter_s_reach_near_its_corners(style):
    pocket = rounded_rectangle(100, 60, 0.5)
    made = relieved(pocket, 6.0, style).outline
    assert reach(made, 6.0 - 1e-4).uncut == ()


def test_dog_bone_has_the_textbook_s_figures():
    radius = 3.175
    made = relieved(rounded_rectangle(100, 60), 2 * radius, "dog-bone")
    assert len(made.outline.segments) == 8
    for disc in made.discs:
        assert disc.behind == pytest.approx(0.929936, abs=1e-6)
        assert 50 - abs(disc.centre[0]) == pytest.approx(2.245064, abs=1e-6)
        assert 30 - abs(disc.centre[1]) == pytest.approx(2.245064, abs=1e-6)
    lines = sorted(s.length for s in made.outline.segments if isinstance(s, Line))
    assert lines == pytest.approx([60 - 2 * 4.490128] * 2 + [100 - 2 * 4.490128] * 2, abs=2e-6)
    assert made.outline.area - 6000 == pytest.approx(4 * 5.753984, abs=4e-6)
    for s in made.outline.segments:
        if isinstance(s, Arc):
            assert (s.radius, s.sweep) == pytest.approx((radius, math.pi))


@pytest.mark.parametrize("style", ["t-bone along length", "t-bone along width"])
def test_t_bone_has_the_textbook_s_figures(style):
    radius = 3.175
    made = relieved(rounded_rectangle(100, 60), 2 * radius, style)
    assert made.outline.area - 6000 == pytest.approx(4 * 15.834609, abs=4e-6)
    low_x, low_y, high_x, high_y = made.outline.bounds
    grown = (high_x - low_x - 100, high_y - low_y - 60)
    expected = (2 * radius, 0) if style == "t-bone along length" else (0, 2 * radius)
    assert grown == pytest.approx(expected, abs=1e-9)
    assert all(d.behind == pytest.approx(radius) for d in made.discs)


@pytest.mark.parametrize("degrees", [50, 70, 89.95, 110, 140])
@pytest.mark.parametrize("style", ["dog-bone", "t-bone along length"])
def test_corners_of_other_angles_are_cleared_and_can_be_entered(degrees, style):
    alpha = math.radians(degrees)
    tip = (60 + 60 * math.cos(math.pi - alpha), 60 * math.sin(math.pi - alpha))
    pocket = polygon([(0, 0), (60, 0), tip, (-40, 110), (-60, 40)])
    made = relieved(pocket, 4.0, style)
    whole = polygon_of(made.outline, 1e-6)
    assert whole.is_valid
    disc = min(made.discs, key=lambda d: math.dist(d.corner, (60, 0)))
    assert math.dist(disc.corner, (60, 0)) < 1e-9
    cleared = swept(pocket, disc, 2.0, way_in=None if style == "dog-bone" else (-1, 1e-9))
    assert shapely.distance(cleared, corner_points(pocket, disc, 2.0)).max() < 1e-6
    # The relieved outline lets the cutter in, in one piece with the rest.
    inner = whole.buffer(-(2.0 - 0.02), quad_segs=64)
    assert inner.geom_type == "Polygon"
    assert inner.distance(shapely.Point(disc.centre)) < 0.02


def test_a_corner_of_several_arcs_is_cleared_as_one():
    # Front right in two tangent arcs, 2 mm and 3 mm, both tighter than the cutter.
    root = math.sqrt(0.5)
    first = (60 - 3 - root + 1, 2.0)  # centre of the smaller arc, its end on the larger one
    joint = (first[0] + 2 * root, 2 - 2 * root)
    second = (joint[0] - 3 * root, joint[1] + 3 * root)
    low, high = (first[0], 0.0), (second[0] + 3, second[1])
    pocket = Outline(
        (
            Line((0.0, 0.0), low),
            Arc(low, joint, first, 2.0, math.pi / 4),
            Arc(joint, high, second, 3.0, math.pi / 4),
            Line(high, (high[0], 50.0)),
            Line((high[0], 50.0), (0.0, 50.0)),
            Line((0.0, 50.0), (0.0, 0.0)),
        )
    )
    made = relieved(pocket, 8.0, "dog-bone")
    disc = max(made.discs, key=lambda d: d.corner[0] - d.corner[1])
    points = corner_points(pocket, disc, 4.0)
    assert shapely.distance(swept(pocket, disc, 4.0), points).max() < 1e-6
    assert shapely.distance(swept(pocket, disc, 4.0, shift=0.01), points).max() > 1e-5


@pytest.mark.parametrize("style", STYLES)
def test_a_small_chamfer_gets_one_relief_for_both_its_corners(style):
    cut_off = [(2, 0), (98, 0), (100, 2), (100, 58), (98, 60), (2, 60), (0, 58), (0, 2)]
    pocket = polygon(cut_off)
    made = relieved(pocket, 8.0, style)
    assert len(made.discs) == 4
    for disc in made.discs:
        points = corner_points(pocket, disc, 4.0)
        assert shapely.distance(swept(pocket, disc, 4.0), points).max() < 1e-6


def test_reachable_corners_are_left_alone():
    pocket = rounded_rectangle(100, 60, 5)
    assert relieved(pocket, 8.0, "dog-bone").outline is pocket


def test_one_square_corner_alone_is_relieved():
    made = relieved(rounded_rectangle(100, 60, [0, 8, 8, 8]), 6.0, "dog-bone")
    assert len(made.discs) == 1
    assert len(made.outline.segments) == 8
    assert polygon_of(made.outline).is_valid


def test_walls_too_short_for_reliefs_are_refused():
    with pytest.raises(PlanError, match=r"no room|too sharp"):
        relieved(rounded_rectangle(100, 7), 6.0, "t-bone along length")


def test_a_needle_sharp_corner_is_refused():
    with pytest.raises(PlanError, match="too sharp"):
        relieved(polygon([(0, 0), (100, 0), (100, 20)]), 4.0, "dog-bone")


def test_a_slot_narrower_than_the_cutter_is_refused():
    slot = rounded_rectangle(60, 8, 4)
    with pytest.raises(PlanError, match="too sharp"):
        relieved(slot, 10.0, "dog-bone")
    with pytest.raises(PlanError, match="wider than the pocket"):
        relieved(circle(3), 10.0, "dog-bone")


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize("rounding", [0.0, 0.5])
def test_with_the_allowance_the_part_enters_with_stock_left_and_with_chords(style, rounding):
    # Set-up j03: a dog-bone as wide as the cutter, 0.1 mm left to finish: 0.385 mm of wood stayed.
    cutter, clearance = 6.35, 0.3
    part = rounded_rectangle(120, 80, rounding)
    made = relieved(parallel(part, clearance)[0], cutter, style, ALLOWANCE).outline
    for left, chord in ((0.0, 1e-4), (0.1, 1e-4), (0.0, 0.05), (0.1, 0.05)):
        whole = polygon_of(made, chord).buffer(-left)
        cut = whole.buffer(-cutter / 2, quad_segs=QUAD).buffer(cutter / 2, quad_segs=QUAD)
        assert cut.covers(polygon_of(part, 1e-4)), (left, chord)
    bare = relieved(parallel(part, clearance)[0], cutter, style).outline
    whole = polygon_of(bare, 1e-4).buffer(-0.1)
    cut = whole.buffer(-cutter / 2, quad_segs=QUAD).buffer(cutter / 2, quad_segs=QUAD)
    assert not cut.covers(polygon_of(part, 1e-4)) or rounding or style != "dog-bone"


def test_a_corner_that_the_cutter_reaches_is_not_relieved_for_the_allowance_s_sake():
    pocket = rounded_rectangle(120, 80, 3.1)
    assert relieved(pocket, 6.0, "dog-bone", ALLOWANCE).discs == ()


def segment_shape(sagitta, chord=100.0, turn=0.0):
    """A chord and the arc over it, turned about the origin: two sharp corners with one curved wall.

    Radius and half angle of a circular segment are the textbook's: r = (c^2 / 4 + s^2) / 2 s.
    """
    radius = (chord**2 / 4 + sagitta**2) / (2 * sagitta)
    c, s = math.cos(turn), math.sin(turn)

    def at(x, y):
        return (c * x - s * y, s * x + c * y)

    left, right, centre = at(-chord / 2, 0), at(chord / 2, 0), at(0, sagitta - radius)
    half = math.asin(min(1.0, chord / 2 / radius))
    sweep = 2 * (half if sagitta <= radius else math.pi - half)
    return Outline((Line(left, right), Arc(right, left, centre, radius, sweep)))


@pytest.mark.parametrize("turn", [0.0, 1.0, 2.5, 4.0])
@pytest.mark.parametrize("sagitta", [50.0, 62.0])
def test_corners_with_a_curved_wall_get_their_disc_and_nothing_else(sagitta, turn):
    """The relieved outline is the union of pocket and discs, by shapely."""
    pocket = segment_shape(sagitta, turn=turn)
    made = relieved(pocket, 6.0, "dog-bone")
    assert len(made.discs) == 2
    union = polygon_of(pocket, 1e-6)
    for disc in made.discs:
        union = union.union(shapely.Point(disc.centre).buffer(disc.radius, quad_segs=QUAD))
    assert polygon_of(made.outline, 1e-6).symmetric_difference(union).area < 1e-3
    assert max(abs(s.sweep) for s in made.outline.segments if isinstance(s, Arc)) < 2 * math.pi
