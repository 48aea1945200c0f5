import itertools

import numpy as np
import pytest

from snugline.pocket.clearance import even
from snugline.pocket.fits import FITS
from snugline.pocket.season import Movers, SeasonalGap, seasonal_gaps
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


def season(closes, u95=0.0, direction="length"):
    return SeasonalGap("driest", direction, True, -2 * closes, 0.0, 0.0, 0.0, u95)


def test_the_worst_season_is_added_with_its_doubt_and_one_that_opens_is_not():
    days = (season(0.20, 0.05), season(0.10, 0.20), season(0.90, direction="width"))
    made = suggest("firm", SURE, seasons=days)
    # 0.10 + 0.20 of doubt closes more than 0.20 + 0.05.
    assert (made.length.low, made.length.high) == pytest.approx((0.10 + 0.30, 0.25 + 0.30))
    assert (made.width.low, made.width.high) == pytest.approx((1.0, 1.15))
    for days in ((season(-0.3, 0.5),), (season(0.0, 0.5),), (season(0.004),)):
        made = suggest("firm", SURE, seasons=days)
        assert (made.length.low, made.length.high) == pytest.approx((0.1, 0.25))
    # A soft part takes what it is squeezed by, and no more.
    assert suggest("soft", SURE).length.low == -FITS["soft"].squeeze


def test_both_axes_together_take_the_larger():
    made = suggest("firm", SURE, seasons=(season(0.3),))
    assert made.low == made.length.low > made.width.low
    assert made.high == made.length.high > made.width.high
    assert made.ladder == made.width.ladder
    made = suggest("firm", SURE, seasons=(season(0.3, direction="width"),))
    assert (made.low, made.high) == (made.width.low, made.width.high)


@pytest.mark.parametrize(
    ("u95", "low", "high"),
    [
        (0.004, 0.10, 0.25),  # a tenth of a step is not worth a line
        (0.005, 0.15, 0.25),  # up to the grid; the greatest to its nearest
        (0.03, 0.15, 0.30),
        (0.05, 0.15, 0.30),
        (0.051, 0.20, 0.30),
    ],
)
def test_the_least_is_rounded_up_to_a_twentieth(u95, low, high):
    made = suggest("firm", {"length": u95, "width": 0.0})
    assert (made.length.low, made.length.high) == pytest.approx((low, high))
    assert (made.width.low, made.width.high) == pytest.approx((0.1, 0.25))


@pytest.mark.parametrize(
    ("kind", "u95", "ladder"),
    [  # from one step to the greatest suggested; 9 rungs at most
        ("firm", 0.0, [0.05 * k for k in range(1, 6)]),
        ("firm", 0.2, [0.05 * k for k in range(1, 10)]),  # 0.45 is the ninth
        ("firm", 0.25, [0.1 * k for k in range(1, 6)]),  # 0.5: a tenth apart
        ("firm", 0.65, [0.1 * k for k in range(1, 10)]),  # 0.9
        ("firm", 0.75, [0.1 * k for k in range(5, 11)]),  # about (0.85 + 1.0) / 2
        ("firm", 2.0, [0.1 * k for k in range(18, 24)]),  # about (2.1 + 2.25) / 2
        ("soft", 0.0, [-0.1, -0.05, 0.0]),
        ("soft", 0.05, [-0.1, -0.05, 0.0, 0.05]),
        ("soft", 0.5, [-0.1, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5]),
    ],
)
def test_rungs_lie_where_the_first_that_fits_can_be(kind, u95, ladder):
    made = suggest(kind, {"length": u95, "width": u95})
    assert list(made.length.ladder) == pytest.approx(ladder, abs=1e-9)


def test_what_a_season_closes_does_not_move_the_rungs():
    """No coupon feels the season: it is tried on the day it is cut."""
    calm, stormy = suggest("firm", SURE), suggest("firm", SURE, seasons=(season(0.7),))
    assert calm.length.ladder == stormy.length.ladder


def test_the_record_holds_the_lines_and_their_sum():
    record = suggest("firm", {"length": 0.1, "width": 0.0}).as_json()["axes"]["length"]
    assert [(line["low"], line["high"]) for line in record["lines"]] == [(0.1, 0.25), (0.1, 0.1)]
    assert (record["low"], record["high"]) == pytest.approx((0.2, 0.35))
    made = suggest("firm", {"length": 0.1, "width": 0.0})
    assert "0.20 mm to 0.35 mm: 0.10 mm to 0.25 mm" in str(sum_in_words(made.length))
    assert "+ 0.10 mm (U95 of the length per side)" in str(sum_in_words(made.length))
