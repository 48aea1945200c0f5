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


def test_a_gap_of_its_own_along_each_axis_is_named_and_kept():
    two = Clearance(0.6, 0.4)
    assert two.named("mm") == "length 0.60 mm width 0.40 mm"
    assert even(0.25).named("in") == "0.010 in"
    assert two.as_json() == {"length": 0.6, "width": 0.4}
    assert even(0.3).as_json() == 0.3
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


@pytest.mark.parametrize(
    ("clearance", "squeeze", "good"),
    [(0.0, 0.0, True), (-0.001, 0.0, False), (-0.1, 0.1, True), (-0.101, 0.1, False)],
)
def test_a_clearance_goes_below_zero_as_far_as_the_part_may_be_squeezed(clearance, squeeze, good):
    if good:
        assert checked_clearance(clearance, "clearance", squeeze) == clearance
    else:
        match = "squeezes the part by more than the 0.1 mm" if squeeze else "negative"
        with pytest.raises(InputError, match=match):
            checked_clearance(clearance, "clearance", squeeze)


def test_the_remedy_for_a_vague_part_is_the_clearance_that_covers_it_or_the_better_reading():
    vague = PartUncertainty(0.05, length=0.62, width=0.1)
    (notice,) = clearance_notices(even(0.25), vague, doubted=False)
    assert notice.severity == "note"
    assert "0.25 mm per side is below the 0.31 mm" in str(notice.text)
    assert str(notice.mend) == "use 0.35 mm or more, or cut a coupon first"
    # A reading that is no better is not worth taking.
    useless = PartUncertainty(0.05, 0.62, 0.1, gains={"length": (Gain("a worse tape", 0.62),)})
    assert "tape" not in str(clearance_notices(even(0.25), useless, doubted=True)[0].mend)
    (best,) = clearance_notices(even(0.25), PART, doubted=True)
    assert "would fall from 0.80 mm to 0.06 mm; or use 0.40 mm or more" in str(best.mend)
    assert clearance_notices(even(0.31), vague, doubted=True) == ()
    wide = PartUncertainty(0.05, length=0.1, width=0.5, gains={"width": (Gain("a caliper", 0.2),)})
    (notice,) = clearance_notices(Clearance(0.3, 0.2), wide, doubted=True)
    assert (str(notice.about), notice.severity) == ("width", "check")
    assert "from 0.50 mm to 0.20 mm" in str(notice.mend)


def test_a_reading_disagrees_where_both_gaps_do_not_take_it_up():
    def part(value, u=0.1):
        return PartUncertainty(0.05, 0.1, 0.1, read={"width": (SizeRead(value, u, ""),)})

    # 100.6 read, 100 drawn: 0.3 mm for each side.
    assert disagreement_notices(Clearance(0.0, 0.3), part(100.6), (400, 100)) == ()
    (notice,) = disagreement_notices(Clearance(0.9, 0.29), part(100.6), (400, 100), blocked=True)
    assert (notice.severity, str(notice.about)) == ("cannot be cut", "width")
    assert "the reading gives a width of 100.60 mm, the outline has 100.00 mm: 0.60 mm" in str(
        notice.text
    )
    (notice,) = disagreement_notices(even(0.2), part(100.6), (400, 100))
    assert notice.severity == "check"
    # Within 1.96 standard uncertainties it does not contradict.
    assert disagreement_notices(even(0.0), part(100.19), (400, 100)) == ()
    assert disagreement_notices(even(0.0), part(100.2), (400, 100)) != ()
    # A part smaller than drawn goes in.
    assert disagreement_notices(even(0.0), part(99.4), (400, 100)) == ()


def test_the_least_gap_is_the_narrower_axis_s():
    assert Clearance(0.6, 0.4).least == 0.4
    assert Clearance(0.3, 0.4).least == 0.3
    assert Clearance(0.3, 0.4).along("length") == 0.3
    assert Clearance(0.3, 0.4).along("width") == 0.4
