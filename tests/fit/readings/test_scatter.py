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
