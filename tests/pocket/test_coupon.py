import itertools

import numpy as np
import pytest
import shapely

from snugline.errors import InputError
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Arc, polygon_of
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.pocket.coupon import corner_coupon, nested, width_slip
from snugline.pocket.lettering import engraved, engraved_width

PART = rounded_rectangle(418, 146, 27.4)


def test_one_corner_is_the_pocket_s_own_corner_with_a_run_of_both_sides():
    made = corner_coupon(PART, 0.25, 1, 60, 6)
    assert made.size == pytest.approx((72, 72))
    (opening,) = made.pocket
    (arc,) = [s for s in opening.segments if isinstance(s, Arc)]
    assert arc.radius == pytest.approx(27.65)
    # Open on two sides: the pocket passes the outer cut by more than the cutter's radius.
    assert opening.bounds == pytest.approx((12, 12, 76, 76))


def test_two_corners_keep_the_whole_width():
    made = corner_coupon(PART, 0.25, 2, 60, 6)
    assert made.size == pytest.approx((72, 146.5 + 24))
    (opening,) = made.pocket
    assert sum(isinstance(s, Arc) for s in opening.segments) == 2


def test_the_coupon_s_walls_are_the_pocket_s():
    made = corner_coupon(PART, 0.4, 1, 60, 6)
    (pocket,) = parallel(PART, 0.4)
    low_x, low_y, *_ = pocket.bounds
    (opening,) = (o.translated(low_x - 12, low_y - 12) for o in made.pocket)
    points = opening.sampled(0.5)
    wall = points[(points[:, 0] < low_x + 60) & (points[:, 1] < low_y + 60)]
    assert np.abs(signed_distance(pocket, wall)).min() < 1e-9
    on_wall = np.abs(signed_distance(pocket, wall)) < 1e-6
    assert on_wall.sum() > 150


def test_the_mark_names_the_clearance_in_the_job_s_unit_and_stays_on_the_land():
    metric, inch = (corner_coupon(PART, 0.254, 1, 40, 6, unit) for unit in ("mm", "in"))
    assert (metric.name, inch.name) == ("0.25 mm", "0.010 in")
    for made in (metric, inch):
        land = polygon_of(made.outer) - polygon_of(made.pocket[0])
        marks = shapely.MultiLineString([s for s in made.mark if len(s) > 1])
        assert land.covers(marks)


def test_the_slip_is_a_channel_of_the_pocket_s_width():
    made = width_slip(PART, 0.25, 6)
    (channel,) = made.pocket
    low_x, low_y, high_x, high_y = channel.bounds
    assert high_y - low_y == pytest.approx(146.5)
    assert (low_x, high_x) == pytest.approx((-4, 422))
    assert made.size == pytest.approx((418, 146.5 + 24))


@pytest.mark.parametrize(("count", "rows"), [(1, 1), (3, 1), (4, 2), (5, 1), (6, 2)])
def test_coupons_lie_apart_on_the_smallest_scrap(count, rows):
    coupons = [corner_coupon(PART, 0.1 * k, 1, 40, 6) for k in range(count)]
    found, size = nested(coupons, gap=8)
    boxes = [shapely.box(*c.outer.bounds) for c in found]
    for a, b in itertools.combinations(boxes, 2):
        assert a.distance(b) > 8 - 1e-6
    assert shapely.box(8, 8, size[0] - 8, size[1] - 8).buffer(1e-6).covers(shapely.union_all(boxes))
    assert size[1] == pytest.approx(rows * 60 + 8)


@pytest.mark.parametrize(("corners", "run"), [(0, 40), (3, 40), (1, 0)])
def test_an_impossible_coupon_is_refused(corners, run):
    with pytest.raises(InputError, match="1 or 2 corners"):
        corner_coupon(PART, 0.25, corners, run, 6)


def test_letters_keep_their_height_and_advance():
    strokes = engraved("0.25 mm", (10, 20), 6)
    points = np.array([p for s in strokes for p in s])
    assert points.min(axis=0) == pytest.approx((10, 20))
    assert points.max(axis=0) == pytest.approx((10 + engraved_width("0.25 mm", 6), 26))
    assert all(len(s) > 1 and s[0] != s[-1] for s in strokes)
    assert all(a != b for s in strokes for a, b in itertools.pairwise(s))


def test_all_letters_differ_and_an_unknown_one_is_marked():
    letters = "0123456789ABCDEFGHIJKLMNPQRSTUVWXYZmnix.,-+/=?"  # O is nought's twin
    for letter in letters:
        assert all(s[0] != s[-1] for s in engraved(letter, (0, 0), 6))
    drawn = {engraved(letter, (0, 0), 6) for letter in letters}
    assert len(drawn) == len(letters)
    assert engraved("é", (0, 0), 6) == engraved("?", (0, 0), 6)
    assert engraved("b", (0, 0), 6) == engraved("B", (0, 0), 6)
