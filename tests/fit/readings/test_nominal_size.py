import json
import math
from fractions import Fraction

import pytest

from snugline.errors import InputError
from snugline.fit.readings.nominal_size import (
    _MAKING_LIMITS,
    Dimension,
    nominal_candidates,
    parse_listed,
    snap,
)
from snugline.fit.readings.preferred_sizes import (
    DIN_250_FIRST,
    DIN_250_SECOND,
    R5,
    R10,
    R20,
    R40,
    decades,
    inch_label,
)


def labels(nominal):
    return [c.label for c in nominal.candidates]


def test_the_basic_series_are_those_of_iso_3():
    # ISO 3:1973.
    assert R5 == (1, 1.6, 2.5, 4, 6.3)
    assert R10 == (1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8)
    assert R20[1::2] == (1.12, 1.4, 1.8, 2.24, 2.8, 3.55, 4.5, 5.6, 7.1, 9)
    deviation = {n: 100 * (n / 10 ** (i / 40) - 1) for i, n in enumerate(R40)}
    # Largest deviations from the exact 10^(i/40): +1.2626 % at 1.7 and -1.0140 % at 1.32.
    assert max(deviation, key=deviation.get) == 1.7
    assert deviation[1.7] == pytest.approx(1.2626, abs=5e-5)
    assert min(deviation, key=deviation.get) == 1.32
    assert deviation[1.32] == pytest.approx(-1.0140, abs=5e-5)


def test_preferred_numbers_carry_through_the_decades_without_rounding_dust():
    assert {0.315, 3.15, 31.5, 315.0} <= set(decades(R10))
    assert list(decades(R40)) == sorted(decades(R40))


def test_din_250_choices_do_not_overlap_and_ascend():
    assert not set(DIN_250_FIRST) & set(DIN_250_SECOND)
    assert list(DIN_250_FIRST) == sorted(DIN_250_FIRST)


@pytest.mark.parametrize(
    ("fraction", "mm", "label"),
    [
        ("1/64", 0.396875, "1/64 in"),
        ("3/16", 4.7625, "3/16 in"),
        ("99/8", 314.325, "12 3/8 in"),
        ("35/32", 27.78125, "1 3/32 in"),
        ("4", 101.6, "4 in"),
        ("43/10", 109.22, "4.3 in"),
    ],
)
def test_inches_are_labelled_as_exact_fractions(fraction, mm, label):
    assert float(Fraction(fraction) * Fraction("25.4")) == pytest.approx(mm, abs=1e-12)
    assert inch_label(mm) == label


def test_a_tie_is_a_tie():
    # Fitted 12.35 with U95 0.5: 12, 12.5 and 12.7 (1/2 in) all lie inside.
    dimension = Dimension("corner radius", 12.35, 0.5)
    (nominal,) = nominal_candidates([dimension])
    assert {"12 mm", "12.5 mm", "1/2 in"} <= set(labels(nominal))
    assert nominal.decisive is None
    snapped = snap(dimension, nominal)
    assert (snapped.value, snapped.moved) == (12.35, 0.0)
    assert snapped.notice.code == "snap-undecided"


def test_the_other_dimensions_settle_the_system():
    radius = Dimension("corner radius", 12.6, 0.3)
    inch = [radius, Dimension("length", 304.9, 0.3), Dimension("width", 101.55, 0.2)]
    metric = [radius, Dimension("length", 300.1, 0.3), Dimension("width", 100.05, 0.1)]
    assert labels(nominal_candidates(inch)[0])[0] == "1/2 in"
    assert labels(nominal_candidates(metric)[0])[0] == "12.5 mm"
    systems = [n.metric for n in nominal_candidates(inch)]
    assert systems[0] == systems[1] == systems[2] < 0.05
    assert nominal_candidates(metric)[0].metric > 0.9


def test_a_part_drawn_in_millimetres_and_sold_in_inches_is_seen():
    dimensions = [Dimension("length", 300.2, 0.3), Dimension("width", 99.9, 0.1)]
    length, width = nominal_candidates(dimensions, ("4 in x 12 in",))
    assert labels(length)[0] == "300 mm"
    assert labels(width)[0] == "100 mm"


def test_a_listed_size_weighs_more_than_one_that_is_not():
    dimension = [Dimension("width", 146.6, 1.0)]
    weight = {
        listed: {c.label: c.weight for n in nominal_candidates(dimension, listed)
                 for c in n.candidates}.get("147 mm", 0.0)
        for listed in ((), ("418 x 147 mm",))
    }  # fmt: skip
    assert weight[("418 x 147 mm",)] > 3 * weight[()]


def test_weights_and_none_of_these_add_up_to_one():
    for value in (2.0, 12.35, 27.41, 146.48, 418.02, 637.0):
        for u95 in (0.0, 0.05, 0.5, 5.0):
            (nominal,) = nominal_candidates([Dimension("length", value, u95)])
            assert sum(c.weight for c in nominal.candidates) + nominal.none == pytest.approx(1.0)


def test_a_vague_measurement_decides_nothing():
    (nominal,) = nominal_candidates([Dimension("length", 418.02, 20.0)])
    assert nominal.decisive is None
    assert nominal.none > 0.3


def test_a_coarse_fraction_outweighs_the_fine_one_beside_it():
    # Half way between 3/8 in and 25/64 in.
    (nominal,) = nominal_candidates([Dimension("corner radius", 9.72, 0.5)], ())
    weight = {c.label: c.weight for c in nominal.candidates}
    assert weight["3/8 in"] > 3 * weight.get("25/64 in", 0.0)


def test_snap_says_what_it_moved():
    dimension = Dimension("corner radius", 25.06, 0.08)
    (nominal,) = nominal_candidates([dimension])
    snapped = snap(dimension, nominal)
    assert snapped.value == 25.0
    assert snapped.moved == pytest.approx(-0.06)
    assert "-0.060 mm to 25 mm" in snapped.notice.text


def test_the_record_has_the_form_of_the_result_file():
    (nominal,) = nominal_candidates([Dimension("corner radius", 27.41, 0.09)])
    record = json.loads(json.dumps(nominal.as_json()))
    assert record["of"] == "corner radius"
    assert record["candidates"][0][0] == "27.5 mm"
    assert all(0 <= weight <= 1 for _, weight in record["candidates"])


@pytest.mark.parametrize(
    ("text", "sizes"),
    [
        ("420 x 150 mm", (420.0, 150.0)),
        ("4 in x 12 in", (101.6, 304.8)),
        ('4" × 12"', (101.6, 304.8)),
        ("16 1/2 x 6-1/4 in", (419.1, 158.75)),
        ("30 cm by 10 cm", (300.0, 100.0)),
        ("200mm x 4 in", (200.0, 101.6)),
    ],
)
def test_listings_are_read(text, sizes):
    assert [v for v, _ in parse_listed(text)] == pytest.approx(sizes)


@pytest.mark.parametrize("text", ["420 x 150", "", "big", "420 mm x", "0 x 3 mm", "4 furlong"])
def test_listings_that_are_no_sizes_are_refused(text):
    with pytest.raises(InputError, match="listed"):
        parse_listed(text)


@pytest.mark.parametrize(("value", "u95"), [(0.0, 0.1), (float("nan"), 0.1), (3.0, -1.0)])
def test_sizes_that_cannot_be_are_refused(value, u95):
    with pytest.raises(InputError, match="width"):
        nominal_candidates([Dimension("width", value, u95)])


def test_two_steps_of_one_series_are_as_likely_as_the_normal_law_has_them():
    """Bayes with equal priors: the ratio of the likelihoods, u of half the U95 and the making."""
    dimension = Dimension("length", 437.3, 1.0)
    (found,) = nominal_candidates([dimension])
    by_value = {c.value: c.weight for c in found.candidates}
    # 437 and 438 are steps of 1 mm, and of the same finer ones.
    u2 = (1.0 / 2) ** 2 + (_limit(437.3) / 3**0.5) ** 2
    ratio = math.exp((0.7**2 - 0.3**2) / 2 / u2)
    assert by_value[437.0] / by_value[438.0] == pytest.approx(ratio, rel=1e-6)
    assert sum(by_value.values()) + found.none == pytest.approx(1.0)


def _limit(size):
    return next(limit for upto, limit in _MAKING_LIMITS if size <= upto)


def test_first_choice_radii_are_preferred_numbers_but_for_rounding():
    """DIN 250 rounds ISO 3's series R10."""
    for value in DIN_250_FIRST:
        if value >= 1:
            assert min(abs(value / r - 1) for r in decades(R10)) <= 0.05, value


def test_standard_radii_are_preferred_numbers_in_whole_figures():
    """DIN 250 takes R10 and R20 (ISO 3), rounded by up to 5 %: 0.6 for 0.631, 1.2 for 1.259."""
    first = [-7, -4, -2, 0, 2, 4, 6, 8, 10, *range(12, 24)]
    assert list(DIN_250_FIRST) == pytest.approx([10 ** (k / 10) for k in first], rel=0.052)
    second = [-10, -6, -2, 2, 6, 10, 14, 18, 22, *range(25, 46, 2)]
    assert list(DIN_250_SECOND) == pytest.approx([10 ** (k / 20) for k in second], rel=0.052)
