"""Lips, recesses, labels, tabs, skins and passes: where they lie, how deep, and how large."""

import math

import numpy as np
import pytest
import shapely
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices

from snugline.errors import InputError, PlanError
from snugline.fit.geometry.outline import polygon_of
from snugline.fit.geometry.primitives import as_circle, circle, rounded_rectangle
from snugline.pocket.hold_down import Hold, tab_outlines
from snugline.pocket.plan import make_plan
from snugline.pocket.recess import Recess, recess_outline

BARE = {"clearance": "1 mm", "wood": None, "coupons": None, "feeds": None, "step": None,
        "notch": None, "push_hole": None, "stock": {"thickness": "20 mm"}}  # fmt: skip


def layers(**changes):
    chosen = choices(**(BARE | changes))
    made = make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen)
    return {layer.name: layer for layer in made.sheets[0].layers}


def test_a_lip_is_a_wider_shallower_opening():
    found = layers(lip={"outset": "4 mm", "depth": "2 mm"})["lip depth 2.00 mm"]
    assert found.depth == 2.0
    # The part's box and the gap of 1 mm on each side, and the lip's 4 mm.
    assert found.outlines[0].bounds == pytest.approx((-214, -78, 214, 78))


def test_a_magnet_s_recess_goes_below_the_seat_and_a_cable_s_starts_at_the_face():
    recess = [
        {"name": "magnet", "diameter": "10 mm", "depth": "3 mm", "x": "40 mm", "below": "seat"},
        {"name": "cable", "shape": "slot", "length": "60 mm", "width": "8 mm", "depth": "5 mm",
         "x": "200 mm", "turn": "30 deg"},
    ]  # fmt: skip
    found = layers(recess=recess)
    magnet = found["magnet depth 12.70 mm"]
    assert magnet.depth == pytest.approx(9.7 + 3)
    (centre, radius) = as_circle(magnet.outlines[0])
    assert (*centre, radius) == pytest.approx((40, 0, 5))
    slot = polygon_of(found["cable depth 5.00 mm"].outlines[0], 1e-5)
    assert slot.area == pytest.approx(52 * 8 + math.pi * 16, rel=1e-4)
    axis = np.array(slot.minimum_rotated_rectangle.exterior.coords)
    sides = np.hypot(*np.diff(axis, axis=0).T)
    assert sorted(sides)[::2] == pytest.approx([8, 60], abs=0.01)


def test_a_recess_as_deep_as_the_board_is_refused():
    deep = {"diameter": "10 mm", "depth": "12 mm", "below": "seat"}
    with pytest.raises(PlanError, match="goes through the board"):
        layers(recess=deep)


def test_a_recess_narrower_than_the_cutter_is_refused():
    with pytest.raises(PlanError, match=r"narrower than the cutter"):
        recess_outline(Recess("cable", "slot", 4.0, 3.0, length=30.0), 6.0)


def test_a_rectangle_s_corners_are_the_cutter_s():
    made = recess_outline(Recess("plate", "rectangle", 20.0, 3.0, length=30.0), 6.0)
    assert made.area == pytest.approx(600 - (4 - math.pi) * 9)


def test_a_hole_in_the_middle_of_a_wider_recess_is_meant_so():
    recess = [{"name": "magnet", "diameter": "20 mm", "depth": "3 mm", "below": "seat"}]
    chosen = choices(**(BARE | {"recess": recess, "push_hole": {"diameter": "8 mm"}}))
    made = make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen)
    assert "holes-overlap" not in {n.code for n in made.notices}


def test_a_label_s_middle_is_its_place_and_it_is_engraved():
    found = layers(label={"text": "SLATE", "height": "6 mm", "y": "-85 mm", "turn": "90 deg"})
    label = found["label depth 0.30 mm"]
    lines = shapely.MultiLineString(label.strokes)
    low_x, low_y, high_x, high_y = lines.bounds
    assert ((low_x + high_x) / 2, (low_y + high_y) / 2) == pytest.approx((0, -85), abs=0.6)
    assert high_x - low_x == pytest.approx(6)
    assert high_y - low_y > 20


def test_tabs_stand_across_the_kerf_at_even_distances():
    border = rounded_rectangle(200, 100, 20)
    tabs = tab_outlines(border, Hold(4, 8.0, 1.5), 6.0)
    kerf = polygon_of(border, 1e-4).buffer(6.0, quad_segs=64) - polygon_of(border, 1e-4)
    centres = []
    for tab in tabs:
        box = polygon_of(tab)
        # All of the kerf's width is covered, by the tab's own width.
        assert (kerf & box).area == pytest.approx(8 * 6, rel=0.03)
        centres.append(box.centroid)
    ring = polygon_of(border, 1e-4).exterior
    along = np.sort([ring.project(c) for c in centres])
    gaps = np.diff(np.append(along, along[0] + ring.length))
    assert gaps == pytest.approx([ring.length / 4] * 4, abs=1.5)


def test_tabs_are_layers_of_their_own_and_the_outline_stays_whole():
    found = layers(through={"tabs": 4, "tab_height": "1.5 mm"}, border={"land": "20 mm"})
    tabs = found["border tabs high 1.50 mm"]
    assert tabs.depth == pytest.approx(18.5)
    assert len(tabs.outlines) == 4
    assert len(found["border through"].outlines) == 1


def test_a_skin_stops_through_cuts_above_the_underside():
    found = layers(through={"skin": "0.5 mm"}, border={"land": "20 mm"}, push_hole={})
    assert found["border leave skin 0.50 mm"].depth == pytest.approx(19.5)
    assert found["push hole leave skin 0.50 mm"].depth == pytest.approx(19.5)
    with pytest.raises(PlanError, match="board's thickness"):
        layers(through={"skin": "0.5 mm"}, stock=None)


def test_roughing_leaves_what_is_asked_for_and_finishing_is_the_drawn_outline():
    found = layers(passes={"wall": "0.5 mm", "floor": "0.2 mm"})
    rough = found["pocket roughing leaves 0.50 mm depth 9.50 mm"]
    finish = found["pocket finishing depth 9.70 mm"]
    assert (rough.depth, finish.depth) == pytest.approx((9.5, 9.7))
    a, b = polygon_of(rough.outlines[0], 1e-5), polygon_of(finish.outlines[0], 1e-5)
    assert b.exterior.distance(a) == pytest.approx(0.5, abs=1e-4)
    with pytest.raises(PlanError, match="nothing is left to rough out"):
        layers(passes={"wall": "90 mm"})


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"recess": {"shape": "slot", "length": "5 mm", "width": "8 mm", "depth": "1 mm"}},
         "longer"),
        ({"label": {"text": "a/b"}}, "layer's name"),
        ({"through": {"tabs": 1.5}}, "whole number"),
        ({"cutter": {"diameter": "6 mm", "corner": "4 mm"}}, "half the diameter"),
        ({"cutter": {"diameter": "6 mm", "taper": "60 deg"}}, "not a taper"),
        ({"board": {"outline": "board.png"}}, "not an outline's file"),
        ({"board": {"left": "1 mm", "right": "1 mm"}}, "both left and right"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused(changes, match):
    with pytest.raises(InputError, match=match):
        choices(**(BARE | changes))


def test_tabs_stand_from_half_a_spacing_on_and_reach_past_the_kerf():
    """On a circle: an eighth, three, five and seven eighths round; 1 mm past each side."""
    ring = circle(100.0)
    tabs = tab_outlines(ring, Hold(4, 10.0, 1.5), 6.0)
    angles = []
    for tab in tabs:
        box = polygon_of(tab)
        middle = box.centroid
        assert math.hypot(middle.x, middle.y) == pytest.approx(103.0, abs=0.01)
        angles.append(math.degrees(math.atan2(middle.y, middle.x)) % 360)
        assert box.area == pytest.approx(10 * 8)
        distances = [math.hypot(x, y) for x, y in box.exterior.coords]
        assert min(distances) == pytest.approx(math.hypot(99, 5), abs=0.03)
        assert max(distances) == pytest.approx(math.hypot(107, 5), abs=0.03)
    start = math.degrees(math.atan2(*ring.segments[0].start[::-1]))
    expected = sorted((start + 45 + 90 * k) % 360 for k in range(4))
    assert sorted(angles) == pytest.approx(expected, abs=0.5)


def test_what_holds_is_thinner_than_the_board():
    board = {"border": {"land": "20 mm"}, "push_hole": {}}
    for through in ({"skin": "20 mm"}, {"tabs": 2, "tab_height": "20 mm"}):
        with pytest.raises(PlanError, match="as thick as the board"):
            layers(through=through, **board)
    # A height without tabs is none.
    found = layers(through={"tab_height": "25 mm", "skin": "0.5 mm"}, **board)
    assert not any("tabs" in name for name in found)
    found = layers(through={"tabs": 2, "skin": "0.5 mm"}, **board)
    assert found["border leave skin 0.50 mm"].depth == pytest.approx(19.5)
    tabs = found["border tabs high 1.50 mm"]
    assert (tabs.depth, len(tabs.outlines)) == (pytest.approx(18.5), 2)
    assert len(found["push hole tabs high 1.50 mm"].outlines) == 2
    # What ends in the wood is left alone.
    assert found["pocket depth 9.70 mm"].depth == pytest.approx(9.7)


@pytest.mark.parametrize(
    ("corner", "cutter", "radius"), [(0.0, 6.0, 3.0), (5.0, 6.0, 5.0), (30.0, 6.0, 10.0)]
)
def test_a_rectangle_s_corner_is_what_is_asked_for_within_cutter_and_width(corner, cutter, radius):
    made = recess_outline(Recess("p", "rectangle", 20.0, 3.0, length=30.0, corner=corner), cutter)
    assert made.area == pytest.approx(600 - (4 - math.pi) * radius**2)
    assert made.bounds == pytest.approx((-15, -10, 15, 10))
    with pytest.raises(PlanError, match="narrower"):
        recess_outline(Recess("p", "rectangle", 20.0, 3.0, length=5.9), 6.0)
    assert recess_outline(Recess("p", "circle", 6.0, 3.0), 6.0).area == pytest.approx(9 * math.pi)


def test_roughing_leaves_no_less_than_the_floor_asked_for():
    with pytest.raises(PlanError, match="nothing is left"):
        layers(passes={"wall": "0.5 mm", "floor": "9.7 mm"})
    found = layers(passes={"wall": "0.5 mm", "floor": "9.6 mm"})
    assert found["pocket roughing leaves 0.50 mm depth 0.10 mm"].depth == pytest.approx(0.1)
