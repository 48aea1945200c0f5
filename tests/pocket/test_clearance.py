import numpy as np
import pytest

from snugline.errors import InputError
from snugline.fit.readings.uncertainty_budget import Gain
from snugline.place import OfKey
from snugline.pocket.clearance import (
    Gap,
    PartUncertainty,
    checked_clearance,
    clearance_notices,
    gaps,
    suggest,
)
from snugline.pocket.fits import FITS
from snugline.pocket.overcut import Overcut

PART = PartUncertainty(
    edge=0.05,
    length=0.8,
    width=0.1,
    gains={"length": (Gain("a caliper reading", 0.06), Gain("another tape", 0.6))},
)


def test_a_gap_below_the_uncertainty_is_said_with_the_reading_that_would_help_most():
    (notice,) = clearance_notices(0.25, PART)
    assert notice.code == "clearance-below-uncertainty"
    assert str(notice.about) == "length"
    assert "0.40 mm" in notice.text
    assert "a caliper reading" in notice.mend
    assert "0.06 mm" in notice.mend


def test_a_gap_above_the_uncertainty_brings_no_remark():
    assert clearance_notices(0.5, PART) == ()


def test_a_dimension_s_uncertainty_is_shared_by_both_sides():
    along, across = gaps(0.5, PART)
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


@pytest.mark.parametrize("kind", FITS)
def test_suggestions_are_marked_as_common_practice(kind):
    made = suggest(kind, 0.1)
    assert "common practice, no source" in made.basis
    assert (made.low, made.high) == pytest.approx((FITS[kind].low, FITS[kind].high))


def test_the_ladder_spans_the_suggestion_and_rises_in_even_steps():
    made = suggest("firm", 0.2)
    assert made.ladder[0] <= made.low
    assert made.ladder[-1] >= made.high
    steps = np.diff(made.ladder)
    assert steps == pytest.approx([steps[0]] * len(steps))
    assert min(suggest("soft", 1.0).ladder) >= 0


def test_the_records_move_the_suggestion_and_are_quoted():
    narrow = Overcut(-0.1, 0.01, cuts=6, alike=4)
    made = suggest("firm", 0.05, narrow, season_closes=0.2)
    assert made.low == pytest.approx(0.25 + 0.1 + 0.2)
    assert "6 cuts on record" in made.basis
    assert "0.20 mm added" in made.basis
