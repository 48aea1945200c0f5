"""Values that cannot be right: what was probably meant, and the sensible slip first."""

import pytest

from snugline.fit.readings.reading import Reading
from snugline.fit.readings.slips import (
    Expected,
    _candidates,
    _on_scale,
    _rounding,
    first_words,
    likely_slips,
)

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


def candidates(what, value, tool):
    reading = Reading(what, (value,), tool)
    return {(kind, round(meant, 4)) for kind, _, meant, _, _ in _candidates(reading, value)}


def test_every_slip_maps_a_value_to_what_was_meant():
    """By hand: an inch is 25.4 mm, a sixteenth 1.5875 mm."""
    found = candidates("length", 187.325, "tape")  # 7 3/8 in, or 7.375
    assert ("mm-for-inch", 7.375) in found
    assert ("inch-for-mm", round(187.325 * INCH, 4)) in found
    assert {("factor-10", 1873.25), ("factor-10", 18.7325)} <= found
    assert {("start-forgotten", round(187.325 - m, 4)) for m in (INCH, 10.0, 100.0)} <= found
    assert ("hook", 187.325) in found
    # 7.3 in typed for 7 3/16 in, and 7 3/16 in for 7.3 in.
    assert ("tenths-for-sixteenths", round(7.1875 * INCH, 4)) in candidates(
        "length", 7.3 * INCH, "tape"
    )
    assert ("tenths-for-sixteenths", round(7.3 * INCH, 4)) in candidates(
        "length", 7.1875 * INCH, "tape"
    )
    # 7.11 for 7 11/16; 7.16 and 7.09 are not in sixteenths.
    assert ("tenths-for-sixteenths", round(7.6875 * INCH, 4)) in candidates(
        "length", 7.11 * INCH, "tape"
    )
    for inches in (7.16, 7.09):
        kinds = {kind for kind, _ in candidates("length", inches * INCH, "tape")}
        assert "tenths-for-sixteenths" not in kinds
    # Inches typed in millimetres: 16.7 mm for 16 7/16 in.
    assert ("tenths-for-sixteenths", round(16.4375 * INCH, 4)) in candidates("length", 16.7, "tape")


def test_which_tools_and_dimensions_make_which_slips():
    def kinds(*arguments):
        return {kind for kind, _ in candidates(*arguments)}

    assert "start-forgotten" not in kinds("width", 118.66, "caliper")
    assert "hook" not in kinds("length", 418.0, "rule")
    assert "start-forgotten" in kinds("length", 418.0, "rule")
    assert "hook" in kinds("length", 418.0, "tape")
    assert "hook" not in kinds("length", 418.0, "tape from a mark")
    assert "doubled" not in kinds("width", 54.8, "caliper")
    assert {("doubled", 27.4), ("doubled", 109.6)} <= candidates("corner radius", 54.8, "0.5 mm")
    swapped = {m for kind, m in candidates("length", 418.5, "caliper") if kind == "digits-swapped"}
    assert swapped == {148.5, 481.5, 415.8}
    none = {m for kind, m in candidates("length", 44.0, "caliper") if kind == "digits-swapped"}
    assert none == set()


def test_how_far_a_value_is_off_is_counted_in_both_uncertainties():
    assert Expected(100.0, 0.3).off(101.0, 0.4) == pytest.approx(2.0)
    limits = Expected(None, 0.3, 10.0, 20.0)
    assert limits.off(9.0, 0.4) == pytest.approx(2.0)
    assert limits.off(21.0, 0.4) == pytest.approx(2.0)
    assert limits.off(10.0, 0.4) == limits.off(20.0, 0.4) == 0.0


def test_a_value_was_typed_to_half_its_last_digit():
    """Evenly spread over one step: its standard deviation is the step over sqrt 12."""
    for value, step in ((418.0, 1.0), (16.4, 0.1), (16.44, 0.01), (16.4375, 0.001)):
        assert _rounding(value) == pytest.approx(step / 12**0.5)


def test_weights_add_up_to_one_and_follow_the_normal_density():
    reading = Reading("width", (11.9,), "caliper")
    found = likely_slips(reading, Expected(119.0, 0.2))
    assert sum(slip.weight for slip in found) == pytest.approx(1.0)
    assert [slip.weight for slip in found] == sorted((s.weight for s in found), reverse=True)
    # Exactly ten times as much goes before what lies one uncertainty off.
    near, far = (
        next(s for s in likely_slips(reading, Expected(e, 0.2)) if s.kind == "factor-10")
        for e in (119.0, 119.2)
    )
    assert near.meant == far.meant == pytest.approx(119.0)
    assert len(likely_slips(reading, Expected(None, 0.0, 1.0, 1e4), most=2)) == 2


def test_a_slip_counts_within_3_3_standard_uncertainties():
    reading = Reading("width", (1190.0,), "0.0001 mm")
    for off, told in ((3.2, True), (3.4, False)):
        found = likely_slips(reading, Expected(119.0 + off * 0.1, 0.1))
        assert any(s.kind == "factor-10" for s in found) == told


def test_another_dimension_typed_for_this_one_is_told_within_its_own_doubt():
    # 418.0 known to half a per cent as the photos show it.
    for value, told in ((418.0, True), (424.0, True), (432.0, False)):
        found = likely_slips(
            Reading("width", (value,), "caliper"), Expected(118.5, 0.1), {"length": 418.0}
        )
        assert any(s.kind == "other-dimension" for s in found) == told
    (slip, *_) = likely_slips(
        Reading("width", (418.0,), "caliper"), Expected(118.5, 0.1), {"length": 418.0}
    )
    assert slip.meant == pytest.approx(118.5)
    both = likely_slips(
        Reading("width", (418.0,), "caliper"),
        Expected(118.5, 0.1),
        {"length": 418.0},
        {"length": 118.5},
    )
    assert both[0].meant == pytest.approx(118.5)
    assert "changed places" in both[0].words


def test_tapes_are_read_to_their_marks():
    tape = Reading("length", (41.8,), "tape")
    for meant, mark, share in (
        (418.0, 418.0, 1.0), (418.5, 418.5, 1.0), (26 * INCH / 16, 26 * INCH / 16, 1.0),
        (27 * INCH / 32, 27 * INCH / 32, 1.0), (418.2, 418.2, 0.15),
    ):  # fmt: skip
        assert _on_scale(tape, meant, 0.0) == (pytest.approx(mark, abs=1e-3), share)
    assert _on_scale(tape, 418.2, 0.2) == (418.0, 1.0)
    assert _on_scale(Reading("length", (41.8,), "caliper"), 418.2, 0.0) == (418.2, 1.0)


def test_a_slip_that_nothing_tells_from_another_is_named_beside_it():
    from snugline.fit.readings.reading_remarks import remedy
    from snugline.fit.readings.slips import Slip

    ten = Slip("factor-10", "ten times too small", 4.06, 0.6)
    inch = Slip("inch-for-mm", "typed in millimetres, read in inches", 10.31, 0.4)
    both = str(remedy("thickness", 0.406, [ten, inch]))
    assert both.startswith("Ten times too small, or typed in millimetres, read in inches?")
    assert "Then it is 4.06 mm or 10.31 mm." in both
    rare = Slip("inch-for-mm", inch.words, 10.31, 0.05)
    assert "10.31" not in str(remedy("thickness", 0.406, [ten, rare]))
    alike = Slip("digits-swapped", "two digits swapped", 4.07, 0.5)
    assert "swapped" not in str(remedy("thickness", 0.406, [ten, alike]))


def test_a_value_that_meets_another_dimension_counts_as_much_as_that_is_narrow():
    # A width of 525.4 mm, a part 526 mm long and 52.5 wide: the one as well as the other.
    reading = Reading("width", (525.4,), "caliper")
    expected = Expected(52.5, 0.7)
    kinds = [slip.kind for slip in likely_slips(reading, expected, {"length": 526.0})]
    assert set(kinds[:2]) == {"other-dimension", "factor-10"}
    far = likely_slips(reading, expected, {"length": 560.0})
    assert [slip.kind for slip in far] == ["factor-10"]
    # Known to some millimetres only, no value is offered.
    vague = likely_slips(reading, Expected(60.0, 12.0), {"length": 526.0})
    assert next(s for s in vague if s.kind == "other-dimension").meant == reading.value
