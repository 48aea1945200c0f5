import itertools

import numpy as np
import pytest

from snugline.pocket.clearance import even
from snugline.pocket.fits import FITS
from snugline.pocket.season import Movers, seasonal_gaps
from snugline.pocket.species import species
from snugline.pocket.suggestion import suggest, sum_in_words
from snugline.pocket.width_error import WidthError
from snugline.pocket.wood import Climate, Timber

SURE = {"length": 0.0, "width": 0.0}


@pytest.mark.parametrize("kind", FITS)
def test_suggestions_are_marked_as_common_practice(kind):
    made = suggest(kind, SURE)
    assert "common practice, no source" in made.basis
    for axis in made.axes:
        assert (axis.low, axis.high) == pytest.approx((FITS[kind].low, FITS[kind].high))


def test_a_suggestion_is_the_sum_of_its_lines():
    # Set-ups j07, j08: 0.25 to 0.50 mm were offered beside an uncertainty of 0.60 mm.
    made = suggest("brittle", {"length": 0.6, "width": 0.05})
    assert (made.length.low, made.length.high) == pytest.approx((0.85, 1.1))
    assert (made.width.low, made.width.high) == pytest.approx((0.3, 0.55))
    for axis in made.axes:
        assert axis.low >= sum(line.low for line in axis.lines) - 1e-9
    assert "U95 of the length per side" in sum_in_words(made.length)


def test_the_season_is_added_to_the_axis_it_acts_on():
    # Set-ups j11, j12: 5.15 to 5.45 mm all round were suggested.
    wood = Timber(species("ash, white"), "width", "flat sawn", Climate(8), Climate(6), Climate(11))
    gaps = seasonal_gaps(Movers(wood), (531.0, 262.0), even(0.4))
    made = suggest("firm", SURE, seasons=gaps)
    closes = 531.8 * 0.00274 * 2 / 2
    assert made.length.low > 0.1 + closes
    assert made.width.low < 0.25


def test_the_machine_s_records_are_a_line_of_the_sum_from_three_cuts_on():
    narrow = WidthError(-0.1, 0.01, cuts=6, alike=4)
    made = suggest("firm", {"length": 0.05, "width": 0.05}, narrow)
    assert made.width.low == pytest.approx(0.1 + 0.05 + 0.1)
    assert "6 recorded cuts" in made.basis
    assert "0.004 in too narrow" in made.basis.in_unit("in")
    assert " mm" not in made.basis.in_unit("in")
    few = WidthError(0.0, 0.17, cuts=2)
    assert suggest("firm", SURE, few).width.low == pytest.approx(0.1)
    assert "at least 3 are needed" in suggest("firm", SURE, few).basis


@pytest.mark.parametrize("kind", FITS)
@pytest.mark.parametrize("u95", [0.02, 0.1, 0.6, 2.0])
def test_rungs_are_in_steps_of_a_twentieth_or_a_tenth_and_none_is_zero_for_a_rigid_part(kind, u95):
    for axis in suggest(kind, {"length": u95, "width": u95}, WidthError(0.0, 0.17)).axes:
        steps = np.diff(axis.ladder)
        assert steps == pytest.approx([steps[0]] * len(steps))
        assert round(float(steps[0]), 3) in (0.05, 0.1)
        if kind == "soft":
            assert axis.ladder[0] >= -0.1
        else:
            assert axis.ladder[0] > 0


def test_rungs_span_what_is_suggested():
    for kind, u95 in itertools.product(FITS, (0.02, 0.1)):
        made = suggest(kind, {"length": u95, "width": u95})
        assert made.width.ladder[0] <= made.width.low
        assert made.width.ladder[-1] >= made.width.high
