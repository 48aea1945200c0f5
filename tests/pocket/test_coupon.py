import itertools

import numpy as np
import pytest
import shapely
import shapely.affinity
from pocket_scenes import choices

from snugline.errors import InputError
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Arc, polygon_of
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.pocket.clearance import even
from snugline.pocket.coupon import end_coupon, gauge, nested, width_slip
from snugline.pocket.coupon_sheets import slips
from snugline.pocket.lettering import engraved, engraved_width
from snugline.pocket.step_gauge import step_gauge

PART = rounded_rectangle(418, 146, 27.4)
SMALL = rounded_rectangle(90, 20, 4)


def admitted(polygon, part_size, low, thickness):
    """Whether a strip as long as the part and as thick goes into the slot from that level on."""
    window = shapely.box(-1e4, low, 1e4, low + thickness)
    ends = polygon.intersection(window)
    # The longest strip has its ends at the innermost place of each end wall.
    ring = np.array(ends.exterior.coords)
    middle = (ring[:, 0].min() + ring[:, 0].max()) / 2
    left, right = ring[ring[:, 0] < middle, 0].max(), ring[ring[:, 0] > middle, 0].min()
    return right - left >= part_size


def as_cut(slot, cutter, error):
    """What a cutter of that diameter clears of a slot, its walls moved outwards by an error."""
    whole = polygon_of(slot)
    radius = cutter / 2
    return whole.buffer(-radius, quad_segs=64).buffer(radius + error, quad_segs=64)


LADDER = tuple(round(0.05 * k, 2) for k in range(1, 8))


@pytest.mark.parametrize("direction", ["length", "width"])
@pytest.mark.parametrize("error", [-0.28, -0.12, 0.0, 0.07])
def test_the_first_step_that_admits_the_part_is_the_right_one(direction, error):
    size = {"length": 418.0, "width": 146.0}[direction]
    made = step_gauge(size, LADDER, 9.5, 6.0, "x")
    cut = as_cut(made.slot, 6.0, error)
    found = [
        rung for rung, low in zip(LADDER, made.levels, strict=True) if admitted(cut, size, low, 9.5)
    ]
    assert found == [rung for rung in LADDER if rung + error >= 1e-9]


def test_a_gauge_lies_as_the_pocket_does_and_is_closed():
    for direction, size in (("length", 418.0), ("width", 146.0)):
        made = gauge(PART, direction, LADDER, 9.5, 6.0)
        (slot,) = made.pocket
        assert made.through
        assert polygon_of(made.outer).contains(polygon_of(slot))
        low_x, low_y, high_x, high_y = slot.bounds
        along = high_x - low_x if direction == "length" else high_y - low_y
        assert along == pytest.approx(size + 2 * LADDER[-1])
        land = polygon_of(made.outer) - polygon_of(slot)
        assert land.covers(shapely.MultiLineString(made.mark))


def test_an_end_has_both_corners_and_both_flanks():
    made = end_coupon(PART, 0.25, 20, 6)
    (opening,) = made.pocket
    assert sum(isinstance(s, Arc) for s in opening.segments) == 2
    _, low_y, _, high_y = opening.bounds
    assert high_y - low_y == pytest.approx(146.5)
    # Both flanks are straight for the run that is asked for, then the piece ends.
    assert made.size == pytest.approx((12 + 27.65 + 20, 146.5 + 24), abs=1.5)


def test_a_machine_that_cuts_too_narrow_fails_at_an_end_coupon():
    # Set-ups j03, j06, j08: a corner open on two sides was passed at every rung by a machine that
    # cuts 0.5 mm too narrow.
    part = polygon_of(PART, 1e-4)
    for rung, error, goes in ((0.2, -0.1, True), (0.05, -0.1, False), (0.45, -0.5, False)):
        (opening,) = end_coupon(PART, rung, 20, 6).pocket
        cut = as_cut(opening, 6.0, error)
        left, bottom, _, top = opening.bounds
        # The part from its left end, middle on the opening's middle, pushed to the wall.
        laid = shapely.affinity.translate(
            part, left + 209 + rung, bottom + (top - bottom) / 2
        ).intersection(shapely.box(-1e3, -1e3, cut.bounds[2] - 5, 1e3))
        assert cut.covers(laid) == goes


def test_a_stadium_s_end_reaches_its_straight_sides():
    stadium = rounded_rectangle(400, 100, 50)
    (opening,) = end_coupon(stadium, 0.2, 20, 6).pocket
    assert opening.bounds[3] - opening.bounds[1] == pytest.approx(100.4)
    assert opening.bounds[2] - opening.bounds[0] > 50 + 20


def test_the_walls_of_an_end_are_the_pocket_s():
    made = end_coupon(PART, 0.4, 20, 6)
    (pocket,) = parallel(PART, 0.4)
    low_x, low_y, *_ = pocket.bounds
    (opening,) = (o.translated(low_x - 12, low_y - 12) for o in made.pocket)
    points = opening.sampled(0.5)
    wall = points[points[:, 0] < low_x + 40]
    on_wall = np.abs(signed_distance(pocket, wall)) < 1e-6
    assert on_wall.all()


def test_the_mark_names_the_clearance_in_the_job_s_unit_and_stays_on_the_land():
    metric, inch = (end_coupon(PART, 0.254, 20, 6, unit) for unit in ("mm", "in"))
    assert (metric.name, inch.name) == ("0.25 mm", "0.010 in")
    for made in (metric, inch):
        land = polygon_of(made.outer) - polygon_of(made.pocket[0])
        marks = shapely.MultiLineString([s for s in made.mark if len(s) > 1])
        assert land.covers(marks)


def test_the_slip_is_a_channel_of_the_pocket_s_width():
    made = width_slip(PART, even(0.25), 6)
    (channel,) = made.pocket
    low_x, low_y, high_x, high_y = channel.bounds
    assert high_y - low_y == pytest.approx(146.5)
    assert (low_x, high_x) == pytest.approx((-4, 422))
    assert made.size == pytest.approx((418, 146.5 + 24))


@pytest.mark.parametrize(("count", "rows"), [(1, 1), (3, 1), (4, 2), (5, 1), (6, 2)])
def test_coupons_lie_apart_on_the_smallest_scrap(count, rows):
    coupons = [end_coupon(SMALL, 0.1 * k, 20, 6) for k in range(count)]
    found, size = nested(coupons, gap=8)
    boxes = [shapely.box(*c.outer.bounds) for c in found]
    for a, b in itertools.combinations(boxes, 2):
        assert a.distance(b) > 8 - 1e-6
    assert shapely.box(8, 8, size[0] - 8, size[1] - 8).buffer(1e-6).covers(shapely.union_all(boxes))
    assert size[1] == pytest.approx(rows * (max(c.size[1] for c in coupons) + 8) + 8)


def test_a_coupon_without_a_run_or_rungs_is_refused():
    with pytest.raises(InputError, match="run above 0"):
        end_coupon(PART, 0.25, 0, 6)
    with pytest.raises(InputError, match="no rungs"):
        step_gauge(100, (), 9, 6, "x")


def test_letters_keep_their_height_and_advance():
    strokes = engraved("0.25 mm", (10, 20), 6)
    points = np.array([p for s in strokes for p in s])
    assert points.min(axis=0) == pytest.approx((10, 20))
    assert points.max(axis=0) == pytest.approx((10 + engraved_width("0.25 mm", 6), 26))
    assert all(len(s) > 1 and s[0] != s[-1] for s in strokes)
    assert all(a != b for s in strokes for a, b in itertools.pairwise(s))


def test_all_letters_differ_and_an_unknown_one_is_marked():
    letters = "0123456789ABCDEFGHIJKLMNPQRSTUVWXYZmnix.,-+/=?"  # O looks like 0
    for letter in letters:
        assert all(s[0] != s[-1] for s in engraved(letter, (0, 0), 6))
    drawn = {engraved(letter, (0, 0), 6) for letter in letters}
    assert len(drawn) == len(letters)
    assert engraved("é", (0, 0), 6) == engraved("?", (0, 0), 6)
    assert engraved("b", (0, 0), 6) == engraved("B", (0, 0), 6)


@pytest.mark.parametrize("cutter", [0.0, 3.0, 8.0])
def test_the_opening_passes_the_open_edge_and_is_closed_by_land_on_the_others(cutter):
    """12 mm of land: figures of 4 mm, 2 mm round them and 4 mm of wood to spare."""
    made = end_coupon(PART, 0.3, 25, cutter)
    (opening,) = made.pocket
    low_x, low_y, high_x, high_y = opening.bounds
    wide, high = made.size
    assert (low_x, low_y, high - high_y) == pytest.approx((12, 12, 12))
    # The corner of 27.4 mm less sqrt(2 x 27.4 x 0.02), where the width is full within 0.02 mm;
    # 25 mm of run, 0.3 mm of gap on the left; then the edge, passed.
    assert wide == pytest.approx(12 + 0.3 + 27.4 - (2 * 27.4 * 0.02) ** 0.5 + 25, abs=0.3)
    assert high_x - wide == pytest.approx(cutter / 2 + 1.0)
    assert not made.through


def test_a_piece_no_longer_than_the_part_ends_with_land():
    made = end_coupon(SMALL, 0.2, 500, 6)
    assert made.size == pytest.approx((90.4 + 24, 20.4 + 24))
    (opening,) = made.pocket
    assert opening.bounds == pytest.approx((12, 12, 12 + 90.4, 12 + 20.4))


def test_a_mark_is_smaller_on_a_short_piece_and_never_larger_than_4_mm():
    long, short = end_coupon(PART, 0.3, 25, 6), end_coupon(rounded_rectangle(90, 20), 0.3, 1, 6)
    for made, full in ((long, True), (short, False)):
        points = np.array([p for s in made.mark for p in s])
        low, high = points.min(axis=0), points.max(axis=0)
        assert low == pytest.approx((2, 2))
        assert (high[1] - low[1] == pytest.approx(4.0)) == full
        assert high[0] <= made.size[0] - 2 + 1e-9
        if not full:
            assert high[0] == pytest.approx(made.size[0] - 2, abs=0.1)


@pytest.mark.parametrize("cutter", [0.0, 6.0])
def test_each_step_is_higher_than_the_part_by_a_millimetre_of_play(cutter):
    made = step_gauge(100.0, (0.1, 0.2, 0.4), 9.5, cutter, "X")
    radius = (cutter or 8.0) / 2
    # A cutter of radius r leaves sqrt(2 r s - s^2) above a ledge that juts out by s.
    lost = [radius, *((2 * radius * s - s * s) ** 0.5 for s in (0.2, 0.4))]
    levels = [lost[0], lost[0] + 10.5 + lost[1], lost[0] + 21.0 + lost[1] + lost[2]]
    assert made.levels == pytest.approx(levels)
    low_x, low_y, high_x, high_y = made.slot.bounds
    assert (low_x, low_y, high_x) == pytest.approx((0, 0, 100.8))
    assert high_y == pytest.approx(levels[-1] + 10.5 + radius)
    left, bottom, right, top = made.outer.bounds
    assert (left, bottom, top - high_y) == pytest.approx((-12, -12, 12))
    # Figures beside each step, 2 mm from the slot and from the edge.
    figures = np.array([p for s in made.mark for p in s if p[0] > 100.8])
    assert figures[:, 0].min() == pytest.approx(100.8 + 2, abs=0.5)
    assert right == pytest.approx(100.8 + 2 + engraved_width("0.10", 4.0) + 4)
    middles = [low + 5.25 for low in levels]
    assert figures[:, 1].min() == pytest.approx(middles[0] - 2)
    assert figures[:, 1].max() == pytest.approx(middles[-1] + 2)
    titles = np.array([p for s in made.mark for p in s if p[1] < 0])
    assert (titles[:, 1].min(), titles[:, 1].max()) == pytest.approx((-10, -6))


def test_one_coupon_needs_a_gap_on_every_side_of_it():
    (found,), size = nested([end_coupon(SMALL, 0.1, 20, 6)], gap=8)
    assert found.outer.bounds[:2] == pytest.approx((8, 8))
    assert size == pytest.approx((found.size[0] + 16, found.size[1] + 16))


@pytest.mark.parametrize(("cutter", "over"), [(None, 1.0), ({"diameter": "6 mm"}, 4.0)])
def test_slips_pass_both_ends_by_half_the_cutter_and_a_millimetre(cutter, over):
    chosen = choices(cutter=cutter, coupons={"slip": True}, clearance=["0.3 mm", "0.5 mm"])
    made = slips(PART, chosen, "mm")
    assert [piece.name for piece in made] == ["0.30 mm", "0.50 mm"]
    for piece in made:
        low_x, _, high_x, _ = piece.pocket[0].bounds
        assert (low_x, high_x) == pytest.approx((-over, 418 + over))
