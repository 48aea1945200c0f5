"""Values that cannot be right: what was probably meant, and the sensible slip first."""

import pytest

from snugline.fit.readings.reading import Reading
from snugline.fit.readings.slips import Expected, first_words, likely_slips

INCH = 25.4


def first(what, value, tool, expected, u=0.3, **more):
    found = likely_slips(Reading(what, (value,), tool), Expected(expected, u), **more)
    return found[0] if found else None


@pytest.mark.parametrize(
    ("what", "value", "tool", "expected", "kind", "meant"),
    [
        ("width", 11.87, "caliper", 118.66, "factor-10", 118.7),
        ("width", 1186.6, "caliper", 118.66, "factor-10", 118.66),
        ("length", 16.44, "tape", 417.5, "inch-for-mm", 16.4375 * INCH),
        ("width", 118.66 * INCH, "caliper", 118.6, "mm-for-inch", 118.66),
        ("length", 16.7 * INCH, "tape", 417.5, "tenths-for-sixteenths", 16.4375 * INCH),
        ("length", 443.0, "tape", 417.6, "start-forgotten", 417.6),
        ("length", 428.0, "tape", 418.1, "start-forgotten", 418.0),
        ("corner radius", 54.8, "0.5 mm", 27.4, "doubled", 27.4),
        ("length", 481.0, "rule", 418.0, "digits-swapped", 418.0),
        ("length", 416.5, "tape", 418.3, "hook", 416.5),
    ],
)
def test_the_sensible_slip_comes_first(what, value, tool, expected, kind, meant):
    slip = first(what, value, tool, expected)
    assert slip is not None
    assert slip.kind == kind
    assert slip.meant == pytest.approx(meant, abs=0.3)


def test_the_length_typed_for_the_width_is_named():
    slip = first("width", 418.0, "caliper", 118.5, typed={"length": 417.5})
    assert slip is not None
    assert slip.kind == "other-dimension"
    assert "length" in slip.words


def test_a_value_that_no_slip_explains_is_left_unexplained():
    assert first("width", 83.0, "caliper", 118.5, u=0.1) is None
    assert first_words(()) == ""


def test_a_value_between_a_tape_s_marks_was_hardly_meant():
    # 16.44 mm typed for 16 7/16 in; ten times as much would be 164.4 mm, which no tape shows.
    unknown = Expected(None, 1.0, 160.0)
    found = likely_slips(Reading("length", (16.44,), "tape"), unknown)
    assert found[0].kind == "inch-for-mm"
    assert found[0].meant == pytest.approx(16.4375 * INCH)


def test_beyond_limits_counts_and_within_does_not():
    limits = Expected(None, 0.5, 160.0, 700.0)
    assert limits.off(418.0, 0.5) == 0.0
    assert limits.off(16.44, 0.5) > 100
    assert limits.off(4180.0, 0.5) > 100
