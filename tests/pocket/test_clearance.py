import pytest

from snugline.errors import InputError
from snugline.fit.part_uncertainty import PartUncertainty, SizeRead
from snugline.fit.readings.uncertainty_budget import Gain
from snugline.place import OfKey
from snugline.pocket.clearance import (
    Clearance,
    Gap,
    checked_clearance,
    clearance_notices,
    clearance_of,
    disagreement_notices,
    even,
    gaps,
)

PART = PartUncertainty(
    edge=0.05,
    length=0.8,
    width=0.1,
    gains={"length": (Gain("a caliper reading", 0.06), Gain("another tape", 0.6))},
)


def test_a_gap_below_the_uncertainty_is_said_with_the_reading_that_would_help_most():
    (notice,) = clearance_notices(even(0.25), PART, doubted=True)
    assert notice.code == "clearance-below-uncertainty"
    assert str(notice.about) == "length"
    assert "0.40 mm" in notice.text
    assert "a caliper reading" in notice.mend
    assert "0.06 mm" in notice.mend


def test_a_gap_above_the_uncertainty_brings_no_remark():
    assert clearance_notices(even(0.5), PART, doubted=True) == ()


def test_a_dimension_s_uncertainty_is_shared_by_both_sides():
    along, across = gaps(even(0.5), PART)
    assert (along.least, along.greatest) == pytest.approx((0.1, 0.9))
    assert (across.least, across.greatest) == pytest.approx((0.45, 0.55))


@pytest.mark.parametrize("clearance", [-0.1, float("nan"), float("inf")])
def test_a_negative_clearance_is_refused(clearance):
    with pytest.raises(InputError, match="negative") as caught:
        checked_clearance(clearance, OfKey(("pocket", "clearance"), "job.toml"))
    assert caught.value.where == "job.toml, [pocket], clearance"
    assert caught.value.mend


@pytest.mark.parametrize(
    ("opening", "part", "expected"),
    [  # limits of size in mm from ISO 286-2 tables; clearances are their differences
        ((100.000, 100.035), (99.966, 99.988), (0.012, 0.069)),  # H7/g6
        ((100.000, 100.035), (99.978, 100.000), (0.000, 0.057)),  # H7/h6
        ((100.000, 100.054), (99.929, 99.964), (0.036, 0.125)),  # H8/f7
        ((100.000, 100.220), (99.780, 100.000), (0.000, 0.440)),  # H11/h11
    ],
)
def test_limits_of_size_give_the_standard_s_clearances(opening, part, expected):
    # A gap and its interval from the middles and half widths of both tolerances, over both sides.
    middle = (sum(opening) - sum(part)) / 2
    spread = (opening[1] - opening[0] + part[1] - part[0]) / 2
    gap = Gap("width", middle / 2, spread / 2)
    assert (2 * gap.least, 2 * gap.greatest) == pytest.approx(expected, abs=1e-9)


def test_a_gap_of_its_own_along_each_axis_is_named_and_comes_back():
    two = Clearance(0.6, 0.4)
    assert two.named("mm") == "length 0.60 mm width 0.40 mm"
    assert even(0.25).named("in") == "0.010 in"
    assert clearance_of(two.as_json()) == two
    assert clearance_of(even(0.3).as_json()) == even(0.3)
    along, across = gaps(two, PART)
    assert (along.clearance, across.clearance) == (0.6, 0.4)


def test_a_tape_that_contradicts_the_outline_is_named():
    # Set-up j08: the photos give 481.19 +- 4.03 mm, the tape 483 mm.
    part = PartUncertainty(0.05, 4.03, 0.1, read={"length": (SizeRead(483.0, 0.5, "tape"),)})
    (notice,) = disagreement_notices(even(0.4), part, (481.19, 188.7))
    assert notice.code == "reading-and-outline-disagree"
    assert "the tape gives a length of 483.00 mm" in notice.text
    assert "1.81 mm apart" in notice.text
    # A gap that takes the difference up, and a reading within its own U95, are not worth a word.
    assert disagreement_notices(even(1.0), part, (481.19, 188.7)) == ()
    assert disagreement_notices(even(0.4), part, (482.2, 188.7)) == ()
