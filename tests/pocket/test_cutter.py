import math

import pytest

from snugline.errors import PlanError
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import circle, filleted_polygon, polygon, rounded_rectangle
from snugline.pocket.clearance import even
from snugline.pocket.cutter import (
    cutter_notices,
    largest_cutter,
    leftover,
    neck_width,
    reach,
)

DUMBBELL = [
    (-50, -20), (-10, -20), (-10, -4), (10, -4), (10, -20), (50, -20),
    (50, 20), (10, 20), (10, 4), (-10, 4), (-10, 20), (-50, 20),
]  # fmt: skip


@pytest.mark.parametrize(
    ("radius", "diagonal"),
    [  # r (sqrt 2 - 1): what a round cutter leaves in a square corner
        (1.5875, 0.657564),
        (3.175, 1.315128),
        (6.35, 2.630256),
        (1.5, 0.621320),
        (3.0, 1.242641),
    ],
)
def test_a_square_corner_keeps_what_geometry_says(radius, diagonal):
    found = reach(rounded_rectangle(120, 80), 2 * radius)
    assert len(found.uncut) == 4
    for corner in found.uncut:
        assert corner.stands == pytest.approx(diagonal, abs=1e-6)
        assert abs(corner.at[0]) == pytest.approx(60)
        assert abs(corner.at[1]) == pytest.approx(40)
    assert leftover(radius, 0, math.pi / 2) == pytest.approx(diagonal, abs=1e-6)


@pytest.mark.parametrize(("degrees", "share"), [(60, 1.0), (120, 0.154701)])
def test_leftover_at_other_angles_is_the_formula_s(degrees, share):
    alpha = math.radians(degrees)
    assert leftover(3.0, 0, alpha) == pytest.approx(3 * share, abs=1e-5)
    points = [(0, 0), (80, 0), (80 * math.cos(alpha), 80 * math.sin(alpha))]
    found = reach(polygon(points), 6.0)
    at_origin = min(found.uncut, key=lambda c: math.hypot(*c.at))
    assert at_origin.stands == pytest.approx(3 * share, abs=1e-5)


def test_a_rounded_corner_loses_only_the_difference_of_the_radii():
    found = reach(rounded_rectangle(120, 80, 2.0), 8.0)
    assert len(found.uncut) == 4
    assert max(c.stands for c in found.uncut) == pytest.approx(2 * (math.sqrt(2) - 1), abs=1e-9)


def test_a_cutter_that_fits_the_corners_leaves_nothing():
    found = reach(rounded_rectangle(120, 80, 4.0), 8.0)
    assert found.uncut == ()
    assert largest_cutter(rounded_rectangle(120, 80, 4.0)) == pytest.approx(8.0, abs=1e-6)


def test_square_corners_admit_no_cutter_at_all():
    assert largest_cutter(rounded_rectangle(120, 80)) == 0.0


@pytest.mark.parametrize(
    ("cutter", "corner", "least"),
    [
        (6.35, 3.175, 0.929936),
        (3.175, 0, 0.929936),
        (6.35, 5, 0.395406),
        (12.7, 10, 0.790812),
        (3.175, 2, 0.344150),
    ],
)
def test_a_part_drops_in_from_the_least_clearance_on(cutter, corner, least):
    # (r - rho)(1 - 1 / sqrt 2): circle inside circle, both touching the same two walls
    assert (cutter - corner) * (1 - math.sqrt(0.5)) == pytest.approx(least, abs=1e-6)
    part = rounded_rectangle(120, 80, corner)
    for clearance, fits in ((least - 0.001, False), (least + 0.001, True)):
        (pocket,) = parallel(part, clearance)
        found = reach(pocket, 2 * cutter, part)
        assert (found.part_overlap < 0) == fits


def test_a_neck_narrower_than_the_cutter_is_measured():
    pocket = filleted_polygon(DUMBBELL, 4.0)
    found = reach(pocket, 10.0)
    assert found.regions == 2
    assert neck_width(pocket, 10.0) == pytest.approx(8.0, abs=1e-3)
    assert neck_width(pocket, 7.0) is None
    codes = [n.code for n in cutter_notices(pocket, found, even(0.3))]
    assert codes == ["neck-narrower-than-cutter", "uncut-corner"]


def test_a_cutter_wider_than_the_pocket_is_refused():
    with pytest.raises(PlanError, match=r"takes 20\.00 mm at most"):
        reach(rounded_rectangle(60, 20, 5), 25.0)


def test_what_the_uncut_corner_does_to_the_part_is_said():
    part = rounded_rectangle(120, 80, 2.0)
    (pocket,) = parallel(part, 0.2)
    (notice,) = cutter_notices(pocket, reach(pocket, 8.0, part), even(0.2))
    assert notice.severity == "cannot be cut"
    assert "would meet" in notice.text
    (pocket,) = parallel(part, 1.0)
    (notice,) = cutter_notices(pocket, reach(pocket, 8.0, part), even(1.0))
    assert notice.severity == "note"
    assert "still drops in" in notice.text


def test_a_round_pocket_takes_any_cutter_up_to_its_own_size():
    assert largest_cutter(circle(15)) == pytest.approx(30, abs=1e-3)


def test_corners_that_bulge_into_the_pocket_limit_no_cutter():
    # A pocket with outer corners of 30 mm and a rounded nose of 2 mm that reaches into it.
    corners = [(-60, -40), (60, -40), (60, 40), (20, 40), (0, 0), (-20, 40), (-60, 40)]
    radii = [30, 30, 15, 15, 2, 15, 15]
    nosed = filleted_polygon(corners, radii)
    assert 2 * 2 < largest_cutter(nosed) <= 2 * 15


def test_a_soft_part_takes_what_it_may_be_squeezed_by():
    part = rounded_rectangle(120, 80, 2.0)
    (pocket,) = parallel(part, 0.2)
    found = reach(pocket, 8.0, part)
    # (r - rho)(sqrt 2 - 1) of wood along the bisector, less the gap there: 0.8284 x ... by hand.
    overlap = (4.0 - 2.0) * (math.sqrt(2) - 1) - 0.2 * math.sqrt(2)
    assert found.part_overlap == pytest.approx(overlap, abs=1e-6)
    assert f"would meet {overlap:.2f} mm of it" in str(
        cutter_notices(pocket, found, even(0.2))[0].text
    )
    for squeeze, jams in ((overlap - 1e-3, True), (overlap + 1e-3, False)):
        (notice,) = cutter_notices(pocket, found, even(0.2), squeeze)
        assert (notice.severity == "cannot be cut") == jams
        assert "in 4 corners" in str(notice.text)


def test_the_remedy_for_a_corner_is_the_largest_cutter_or_a_relief():
    (pocket,) = parallel(rounded_rectangle(120, 80, 2.0), 1.0)
    (notice,) = cutter_notices(pocket, reach(pocket, 8.0), even(1.0))
    assert str(notice.mend) == "leave it, or use a cutter of 6.00 mm or less"
    assert "leaves up to 0.41 mm" in str(notice.text)
    square = rounded_rectangle(120, 80)
    (notice,) = cutter_notices(square, reach(square, 8.0), even(1.0))
    assert str(notice.mend).startswith("use a relief of the corners")
    part = rounded_rectangle(118, 78, 1.0)
    (notice,) = cutter_notices(pocket, reach(pocket, 8.0, part), even(1.0))
    assert "still drops in, with" in str(notice.text)


def test_one_square_corner_among_round_ones_admits_no_cutter():
    assert largest_cutter(rounded_rectangle(120, 80, [0, 8, 8, 8])) == 0.0
    assert largest_cutter(polygon([(0, 0), (80, 0), (40, 60)])) == 0.0


def test_wood_is_left_where_the_larger_radius_meets_the_smaller():
    assert leftover(3.0, 3.0, math.pi / 2) == 0.0
    assert leftover(3.0, 4.0, math.pi / 2) == 0.0
    assert leftover(4.0, 3.0, math.pi / 2) == pytest.approx(math.sqrt(2) - 1)


def test_the_neck_is_told_with_the_cutter_that_would_pass():
    pocket = filleted_polygon(DUMBBELL, 4.0)
    notice = cutter_notices(pocket, reach(pocket, 10.0), even(0.3))[0]
    assert "a 10.00 mm cutter does not fit through a neck of 8.00 mm" in str(notice.text)
    assert "below 8.00 mm" in str(notice.mend)
    assert reach(pocket, 7.9).regions == 1


def test_what_the_widest_cutter_is_said_of_a_narrow_pocket():
    for pocket, widest in ((circle(7.5), "15.00"), (rounded_rectangle(20, 60, 5), "20.00")):
        with pytest.raises(PlanError, match=f"takes {widest} mm at most"):
            reach(pocket, 25.0)
