"""Repeated readings that scatter more than their tools: slip, contradiction, or the part itself."""

import pytest

from snugline.fit.readings.reading import Reading
from snugline.fit.readings.scatter import scatter_of
from snugline.fit.readings.thickness import thickness_of, thickness_remarks


def caliper(*values, what="thickness"):
    return Reading(what, values, "caliper")


def test_what_tools_explain_is_no_contradiction():
    assert scatter_of([caliper(9.40, 9.60)], "thickness").kind == "alike"
    tapes = [Reading("length", (417.5, 418.5), "tape"), Reading("length", (418.0,), "rule")]
    assert scatter_of(tapes, "length").kind == "alike"
    assert thickness_remarks([caliper(9.40, 9.60)]) == ()


def test_a_slip_among_good_values_does_not_count_and_is_named():
    readings = [caliper(5.27, 52.7, 5.25)]
    made = thickness_of(readings)
    assert made.values == (5.27, 5.25)
    assert made.value == pytest.approx(5.26)
    (remark,) = thickness_remarks(readings)
    assert remark.severity == "retake"
    assert "52.70 mm cannot be right" in remark.text
    assert "Ten times too large" in remark.mend
    assert "5.27 mm" in remark.mend


def test_two_values_that_nothing_explains_contradict_each_other():
    # 5.27 mm and 16.44 mm are no mean of 10.85 mm.
    readings = [caliper(5.27), caliper(16.44)]
    assert scatter_of(readings, "thickness").kind == "contradiction"
    made = thickness_of(readings)
    assert made.value in (5.27, 16.44)
    assert [n.code for n in thickness_remarks(readings)] == ["reading-contradicted"]


def test_a_hand_split_slate_varies_and_its_range_is_given():
    made = thickness_of([caliper(6.8, 7.4, 7.9, 7.1)])
    assert made.varies
    assert made.thickest == 7.9
    assert made.as_json()["range"] == [6.8, 7.9]
    assert made.u > 0.4  # any one place is as far from the mean as the places are from each other
    (remark,) = thickness_remarks([caliper(6.8, 7.4, 7.9, 7.1)])
    assert remark.code == "part-varies"
    assert remark.severity == "usable"
    assert "6.80 mm to 7.90 mm" in remark.text


def test_a_slip_of_the_length_is_told_by_the_other_reading():
    readings = [Reading("length", (418.0, 417.5), "tape"), Reading("length", (41.8,), "rule")]
    found = scatter_of(readings, "length")
    assert found.kind == "slip"
    assert [value for _, value, _ in found.odd] == [41.8]


@pytest.mark.parametrize(("apart", "kind"), [(0.27, "alike"), (0.30, "varies")])
def test_two_caliper_values_may_differ_by_what_two_contacts_allow(apart, kind):
    """Digital caliper: 0.01 mm steps, contact of 0.1 mm evenly spread, 3.3 standard uncertainties.

    sqrt(2) x 3.3 x hypot(0.1 / sqrt 3, 0.01 / sqrt 12) = 0.270 mm.
    """
    limit = 3.3 * (2 * (0.1**2 / 3 + 0.01**2 / 12)) ** 0.5
    assert limit == pytest.approx(0.2698, abs=1e-4)
    assert scatter_of([caliper(9.40, 9.40 + apart - 0.001)], "thickness").kind == kind


def test_a_value_is_judged_by_the_median_of_the_others():
    # Of five, 0.27 mm from the median of the others: 3.3 x sqrt(u^2 + u^2 / 4) = 0.213.
    found = scatter_of([caliper(9.40, 9.40, 9.41, 9.39, 9.67)], "thickness")
    assert found.kind == "varies"
    assert scatter_of([caliper(9.40, 9.40, 9.41, 9.39, 9.60)], "thickness").kind == "alike"


def test_how_far_parts_vary_before_readings_contradict_each_other():
    """Over 35 % of a thickness, or half a millimetre, no part explains."""
    assert scatter_of([caliper(10.0, 13.9)], "thickness").kind == "varies"  # 35 % of 11.95: 4.18
    assert scatter_of([caliper(10.0, 14.4)], "thickness").kind == "contradiction"
    assert scatter_of([caliper(1.1, 1.57)], "thickness").kind == "varies"
    wide = [caliper(118.0, 118.49, what="width")]
    assert scatter_of(wide, "width").kind == "varies"
    wide = [caliper(118.0, 118.6, what="width")]
    assert scatter_of(wide, "width").kind == "contradiction"
    assert scatter_of([caliper(9.4)], "thickness").kind == "alike"
    assert scatter_of([], "thickness").values == ()


def test_of_two_that_contradict_the_more_usual_size_goes_on():
    found = scatter_of([caliper(9.0), caliper(16.44)], "thickness")
    assert [r.values_mm for r in found.readings] == [(9.0,)]
    assert [value for _, value, _ in found.odd] == [16.44]
    found = scatter_of([caliper(3.1), caliper(11.3)], "thickness")
    assert [r.values_mm for r in found.readings] == [(11.3,)]
