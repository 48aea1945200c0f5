"""Hand readings against the published limits of their tools (sources beside each check)."""

import math

import numpy as np
import pytest

from snugline.errors import InputError
from snugline.fit.readings.reading import (
    Reading,
    caliper_limit,
    combined,
    inferred_step,
    tape_limit,
    uncertainty,
)

INCH = 25.4


# EU Directive 2014/32/EU, annex X (MI-008), table 1: a + b L, L in metres rounded up, and c from a
# hook.
@pytest.mark.parametrize(
    ("grade", "mm", "marks", "hook"),
    [
        ("I", 900, 0.2, 0.3),
        ("II", 300, 0.5, 0.7),
        ("II", 1000, 0.5, 0.7),
        ("III", 900, 1.0, 1.3),
        ("I", 2000, 0.3, 0.4),
        ("II", 2000, 0.7, 0.9),
        ("III", 3000, 1.8, 2.1),
        ("II", 5000, 1.3, 1.5),
        ("III", 10000, 4.6, 4.9),
    ],
)
def test_a_tapes_limit_is_that_of_its_class(grade, mm, marks, hook):
    assert sum(tape_limit(mm, grade, from_mark=True)) == pytest.approx(marks, abs=1e-12)
    assert sum(tape_limit(mm, grade)) == pytest.approx(hook, abs=1e-12)


def test_a_us_tapes_limit_is_that_of_nist_handbook_44():
    # Section 5.52, metal tapes from zero: 1/32 in up to 6 ft, 1/16 in up to 30 ft (secondary).
    assert sum(tape_limit(72 * INCH, "US")) == pytest.approx(0.79375)
    assert sum(tape_limit(73 * INCH, "US")) == pytest.approx(1.5875)


def test_a_calipers_limit_is_that_of_din_862():
    # One-page extract of DIN 862 (secondary).
    assert [caliper_limit(mm) for mm in (50, 100, 200, 300, 600, 1000)] == [
        0.02,
        0.02,
        0.03,
        0.03,
        0.03,
        0.04,
    ]
    assert [caliper_limit(mm, "vernier") for mm in (100, 400, 600)] == [0.05, 0.06, 0.08]


def test_limit_and_step_combine_as_the_gum_has_it():
    # Tape 0.7 mm from the hook with a step of 1 mm: 0.496655 (JCGM 100, 4.3.7 and F.2.2.1).
    parts = uncertainty(Reading("length", (418.0,), "tape", step_mm=1.0))
    assert math.hypot(*(p.u for p in parts.common)) == pytest.approx(0.404145, abs=1e-6)
    assert parts.own == pytest.approx(0.288675, abs=1e-6)
    assert parts.u == pytest.approx(0.496655, abs=1e-6)
    from_mark = uncertainty(Reading("length", (418.0,), "tape, from the inch mark", step_mm=1.0))
    assert math.hypot(*(p.u for p in from_mark.common)) == pytest.approx(0.288675, abs=1e-6)


def test_a_stated_tool_is_its_limit_of_error():
    parts = uncertainty(Reading("length", (418.0,), "0.3 mm"))
    assert parts.u == pytest.approx(0.3 / math.sqrt(3))


def test_a_caliper_reading_carries_its_contact_with_the_part():
    # ± 0.1 mm for hand and part: common practice, no source.
    parts = uncertainty(Reading("width", (118.5,), "caliper"))
    expected = math.hypot(0.03 / math.sqrt(3), 0.1 / math.sqrt(3), 0.01 / math.sqrt(12))
    assert parts.u == pytest.approx(expected)


@pytest.mark.parametrize(
    ("values", "step"),
    [
        ((437.0,), 1.0),
        ((417.5, 418.0), 0.5),
        ((16.4375 * INCH,), INCH / 16),
        ((417.513,), INCH / 16),  # 16 7/16 in, written in mm to a micrometre
        ((16.34375 * INCH,), INCH / 32),
        ((118.66,), 0.01),
        ((381.0,), 1.0),  # 15 in, but in millimetres as well
        ((381.0, 381.5), 0.5),
        ((419.1,), INCH / 4),  # 16 1/2 in
    ],
)
def test_the_scales_step_is_seen_in_the_values(values, step):
    assert inferred_step(values) == pytest.approx(step)


def test_repeating_a_reading_averages_its_own_error_but_not_the_tapes():
    once = uncertainty(Reading("length", (418.0,), "tape"))
    often = uncertainty(Reading("length", (417.0, 418.0, 419.0, 418.0, 416.5, 419.5), "tape"))
    assert often.common == once.common
    spread = math.sqrt(sum((v - 418) ** 2 for v in (417, 418, 419, 418, 416.5, 419.5)) / 5 / 6)
    assert often.own == pytest.approx(spread)
    assert often.own_dof == 5


def test_equal_values_do_not_hide_a_coarse_scale():
    parts = uncertainty(Reading("length", (418.0,) * 4, "tape", step_mm=1.0))
    assert parts.own == pytest.approx(1 / math.sqrt(12))


def test_two_readings_with_one_tape_are_hardly_better_than_one_and_two_tapes_are():
    one = combined([Reading("length", (418.0,), "tape")], "length")
    again = combined([Reading("length", (418.0,), "tape"), Reading("length", (418.0,), "tape")],
                     "length")  # fmt: skip
    other = combined([Reading("length", (418.0,), "tape"), Reading("length", (418.0,), "old tape")],
                     "length")  # fmt: skip
    assert one is not None
    assert again is not None
    assert other is not None
    assert again.u > 0.404
    assert other.u == pytest.approx(one.u / math.sqrt(2))


def test_readings_of_another_dimension_are_not_combined():
    assert combined([Reading("width", (100.0,), "caliper")], "thickness") is None


@pytest.mark.parametrize(
    ("what", "values", "tool", "seen"),
    [
        ("height", (3.0,), "tape", "'height'"),
        ("length", (), "tape", "()"),
        ("length", (-3.0,), "tape", "-3.0"),
        ("length", (math.nan,), "tape", "nan"),
        ("length", (3.0,), "yardstick", "'yardstick'"),
        ("length", (3.0,), "-1 mm", "'-1 mm'"),
        ("length", (3.0,), "tape class IV", "'IV'"),
    ],
)
def test_a_reading_that_cannot_be_used_is_refused_with_what_was_seen(what, values, tool, seen):
    with pytest.raises(InputError) as caught:
        Reading(what, values, tool, where="job.toml, reading 2")
    assert seen in caught.value.what
    assert caught.value.where == "job.toml, reading 2"
    assert caught.value.mend


def test_readings_that_share_errors_combine_as_generalised_least_squares_does():
    """Aitken's weights: V^-1 1, normed; the covariance holds what both have in common."""
    a = Reading("length", (417.0, 418.0, 419.0), "tape")
    b = Reading("length", (417.25,), "caliper")
    found = combined([a, b], "length")
    u = [uncertainty(a), uncertainty(b)]
    weight = np.array([1 / u[0].u ** 2, 1 / u[1].u ** 2])  # different tools share nothing
    assert found.value == pytest.approx(weight @ [418.0, 417.25] / weight.sum())
    assert found.u == pytest.approx(weight.sum() ** -0.5)
    # Welch and Satterthwaite: only the tape's own spread has finite degrees of freedom, two.
    share = weight[0] / weight.sum()
    assert found.dof == pytest.approx(2 * (found.u / (share * u[0].own)) ** 4, rel=1e-9)
    assert found.tools == ("tape", "caliper")
    assert combined([a], "width") is None


def test_one_tape_at_two_readings_keeps_its_hook_and_scale():
    one = Reading("length", (418.0,), "tape")
    part = uncertainty(one)
    twice = combined([one, one], "length")
    common = sum(e.u**2 for e in part.common)
    assert twice.u == pytest.approx((common + part.own**2 / 2) ** 0.5)


def test_the_parts_of_a_tape_s_limit_share_its_variance():
    part = uncertainty(Reading("length", (418.0,), "tape class II"))
    # MI-008: 0.3 for the marks, 0.2 a metre, 0.2 for the hook; the limit's variance is limit^2 / 3.
    assert sum(e.u**2 for e in part.common) == pytest.approx(0.7**2 / 3)
    assert sorted(e.u**2 for e in part.common) == pytest.approx(
        [0.2 * 0.7 / 3, 0.2 * 0.7 / 3, 0.3 * 0.7 / 3]
    )
    assert part.own == pytest.approx(1.0 / 12**0.5)  # read to whole millimetres
    far = uncertainty(Reading("length", (1418.0,), "tape class II"))
    assert sum(e.u**2 for e in far.common) == pytest.approx(0.9**2 / 3)
    stated = uncertainty(Reading("length", (418.0,), "0.3 mm"))
    assert (stated.u, stated.own) == (pytest.approx(0.3 / 3**0.5), 0.0)


@pytest.mark.parametrize(
    ("values", "tool", "own", "dof"),
    [
        ((10.00, 10.02), "caliper", 0.01, 1),  # s / sqrt 2 of two values 0.02 apart
        ((10.00, 10.01), "caliper", 0.005, 1),
        ((10.00, 10.00), "caliper", 0.01 / 12**0.5, math.inf),
        ((10.0,), "caliper", 0.01 / 12**0.5, math.inf),
        ((10.0,), "vernier caliper", 0.05 / 12**0.5, math.inf),
        ((1.0, 2.0, 3.0), "0.1 mm", 1 / 3**0.5, 2),
    ],
)
def test_a_mean_s_own_uncertainty_is_repeatability_or_resolution(values, tool, own, dof):
    part = uncertainty(Reading("thickness", values, tool))
    assert part.own == pytest.approx(own)
    assert part.own_dof == dof


def test_beyond_its_table_a_caliper_s_last_row_is_carried_on():
    assert caliper_limit(2000) == pytest.approx(0.08)
    assert caliper_limit(1500, "vernier") == pytest.approx(0.18)
    assert tape_limit(55 * 12 * INCH, "US")[1] == pytest.approx(INCH / 8)
    assert tape_limit(99 * 12 * INCH, "US")[1] == pytest.approx(INCH / 8)
    assert tape_limit(30 * 12 * INCH, "US")[1] == pytest.approx(INCH / 16)
    assert tape_limit(0.5, "II") == pytest.approx((0.3, 0.2, 0.2))


def test_every_row_of_din_862_is_its_limit():
    """DIN 862, limits for a step of 0.01 mm and for a vernier of 0.05 mm (secondary)."""
    rows = {
        100: (0.02, 0.05), 200: (0.03, 0.05), 300: (0.03, 0.05), 400: (0.03, 0.06),
        500: (0.03, 0.07), 600: (0.03, 0.08), 700: (0.04, 0.09), 800: (0.04, 0.10),
        900: (0.04, 0.11), 1000: (0.04, 0.12),
    }  # fmt: skip
    for upto, (digital, vernier) in rows.items():
        for mm in (upto, upto - 99.9):
            assert (caliper_limit(mm), caliper_limit(mm, "vernier")) == (digital, vernier)
