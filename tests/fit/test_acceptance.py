"""Size errors, their uncertainty and the decision, against published values.

Sizes: ISO/IEC 7810, ISO 216 and the mints' tables, as kept with the other check values. The rule of
the decision: ISO 14253-1. Rectangular distributions: JCGM 100, 4.3.7, and JCGM 101.
"""

import math

import numpy as np
import pytest

from snugline.errors import InputError
from snugline.fit.acceptance import (
    ReferenceObject,
    ReferenceSize,
    SizeError,
    decided,
    decided_together,
    expanded,
    largest,
    scale_error,
    size_errors,
    too_coarse,
)
from snugline.fit.geometry.primitives import circle, rounded_rectangle
from snugline.fit.outline_fit import fit_outline
from snugline.fit.reference_objects import CARD, OBJECTS, block, reference_object
from snugline.fit.section import Section, Systematic


def size_error(of, measured, reference, u95, mpe=0.2, photo="a.jpg"):
    decision = decided(measured - reference, u95, mpe)
    return SizeError(photo, of, measured, reference, (), u95, 0.2, mpe, decision, u95 < mpe)


def fitted(outline, family, offset=0.05, scale=0.001):
    """What a fit makes of points on an outline that share an offset and a print's scale."""
    points = outline.sampled(0.5)
    points = points + np.random.default_rng(3).normal(0, 0.01, points.shape)
    systematic = Systematic(offset, scale, scale, "sheet")
    noise = np.full(len(points), 0.01)
    section = Section("a.jpg", "whole", points, noise, True, (), systematic)
    return fit_outline([section], [], family, thickness=0.76)


def test_published_sizes():
    assert [(s.of, s.value) for s in CARD.sizes] == [
        ("length", 85.60),
        ("width", 53.98),
        ("corner radius", 3.18),
    ]
    assert (CARD.thickness.value, CARD.thickness.tolerance) == (0.76, 0.08)
    # ISO/IEC 7810: corner radius 2.88 to 3.48.
    radius = CARD.sizes[2]
    assert (radius.value - radius.tolerance, radius.value + radius.tolerance) == pytest.approx(
        (2.88, 3.48)
    )
    # Mint tables: inches and millimetres of one coin agree to the last digit printed.
    for name, inches in (("us-cent", 0.750), ("us-nickel", 0.835), ("us-quarter", 0.955)):
        assert OBJECTS[name].sizes[0].value == pytest.approx(25.4 * inches, abs=0.01)
    # ISO 216: A6 is half of A5, and the tolerance is 1.5 mm up to 150 mm, 2 mm above.
    a5, a6 = OBJECTS["a5"].sizes, OBJECTS["a6"].sizes
    assert (a6[0].value, a6[1].value) == (a5[1].value, a5[0].value / 2)
    for size in (*a5, *a6):
        assert size.tolerance == (1.5 if size.value <= 150 else 2.0)


def test_the_notched_coin_is_not_offered():
    # The 20 cent coin has seven notches (Regulation 975/98): not a clean circle.
    with pytest.raises(InputError, match="euro-20c"):
        reference_object("euro-20c")


def test_a_tolerance_is_a_rectangular_distribution():
    # JCGM 100, 4.3.7: limits of +-0.03 mm give 0.017321 mm.
    assert ReferenceSize("length", 85.6, 0.03).u == pytest.approx(0.017321, abs=5e-7)


@pytest.mark.parametrize(("tolerance", "u"), [(0.13, 0.02), (0.06, 0.03), (0.05, 0.2)])
def test_the_expanded_uncertainty_holds_95_per_cent_of_draws(tolerance, u):
    rng = np.random.default_rng(7)
    n = 400_000
    drawn = rng.uniform(-tolerance, tolerance, n) + rng.normal(0, u, n)
    half = expanded([tolerance], u)
    assert np.mean(np.abs(drawn) <= half) == pytest.approx(0.95, abs=0.0015)
    assert half < 1.96 * math.hypot(tolerance / math.sqrt(3), u)


def test_the_expanded_uncertainty_at_its_ends():
    assert expanded([0.1], 0.0) == pytest.approx(0.095)
    assert expanded([0.0], 0.1) == pytest.approx(0.195996, abs=1e-6)
    assert expanded([0.1], 1e-4) == pytest.approx(0.095, abs=2e-4)
    assert expanded([1e-3], 0.1) == pytest.approx(0.196, abs=1e-4)


@pytest.mark.parametrize(
    ("error", "decision"),
    [
        (0.13, "passes"),
        (-0.13, "passes"),
        (0.15, "not decided"),
        (-0.25, "not decided"),
        (0.27, "fails"),
        (-0.27, "fails"),
    ],
)
def test_the_decision_allows_for_the_uncertainty_of_the_test(error, decision):
    # MPE 0.20, U95 0.06: conformity is proven up to 0.14, nonconformity from 0.26.
    assert decided(error, 0.06, 0.2) == decision


def test_one_size_that_fails_is_enough():
    good, bad = size_error("length", 85.6, 85.6, 0.1), size_error("width", 53.5, 53.98, 0.06)
    assert decided_together([good]) == "passes"
    assert decided_together([good, bad]) == "fails"
    assert largest([good, bad]) is bad


def test_a_corner_radius_may_fail_but_is_not_needed_to_pass():
    length = size_error("length", 85.6, 85.6, 0.1)
    assert decided_together([length, size_error("corner radius", 3.2, 3.18, 0.29)]) == "passes"
    assert decided_together([length, size_error("corner radius", 4.0, 3.18, 0.29)]) == "fails"
    assert largest([length, size_error("corner radius", 4.0, 3.18, 0.29)]) is length


def test_what_is_known_too_coarsely_can_fail_but_not_pass():
    # An A6 sheet: +-1.5 mm.
    close = size_error("length", 147.9, 148.0, 1.4)
    assert decided_together([close]) == "not decided"
    assert too_coarse([close])
    assert decided_together([size_error("length", 144.0, 148.0, 1.4)]) == "fails"
    narrow, wide = (
        size_error("width", 54.0, 53.98, 0.06, 0.1),
        size_error("length", 85.6, 85.6, 0.13, 0.1),
    )
    assert decided_together([narrow, wide]) == "not decided"


def test_the_share_is_that_of_the_longest_size_over_all_photos():
    errors = [
        size_error("length", 85.60 * 1.004, 85.60, 0.12),
        size_error("width", 53.98, 53.98, 0.06),
        size_error("length", 85.60 * 1.002, 85.60, 0.12, photo="b.jpg"),
    ]
    share, u95 = scale_error(errors)
    assert share == pytest.approx(0.003)
    assert u95 == pytest.approx(0.12 / 85.60)


def test_the_errors_of_a_card_that_comes_out_three_in_a_thousand_too_small():
    outline = rounded_rectangle(85.60 * 0.997, 53.98 * 0.997, 3.18)
    errors = {e.of: e for e in size_errors(fitted(outline, "rounded rectangle"), CARD, "a.jpg")}
    assert errors["length"].error == pytest.approx(-0.2568, abs=0.01)
    assert errors["width"].error == pytest.approx(-0.1619, abs=0.01)
    assert abs(errors["corner radius"].error) < 0.02
    # A rectangle of +-0.13 mm alone would give 0.1235 mm.
    assert 0.1235 <= errors["length"].u95 < 0.16
    assert not errors["corner radius"].can_pass


def test_print_and_light_are_tested_and_do_not_widen_the_test():
    errors = {}
    for offset, scale in ((0.01, 1e-4), (0.05, 1e-3)):
        outcome = fitted(rounded_rectangle(85.6, 53.98, 3.18), "rounded rectangle", offset, scale)
        sources = {part.source for part in outcome.budget("length").contributions}
        assert {"print scale", "edge offset"} <= sources
        errors[offset] = size_errors(outcome, CARD, "a.jpg")[0]
    assert errors[0.05].stated_u95 > 5 * errors[0.01].stated_u95
    assert errors[0.05].u95 == pytest.approx(errors[0.01].u95, abs=0.005)


def test_a_card_that_lies_crosswise_is_the_same_card():
    turned = rounded_rectangle(53.98, 85.60, 3.18)
    errors = size_errors(fitted(turned, "rounded rectangle"), CARD, "a.jpg")
    assert [e.of for e in errors] == ["length", "width", "corner radius"]
    assert max(abs(e.error) for e in errors) < 0.02


def test_a_coin_has_one_diameter():
    (error,) = size_errors(fitted(circle(21.21 / 2), "circle"), OBJECTS["us-nickel"], "a.jpg")
    assert (error.of, error.reference) == ("diameter", 21.21)
    assert abs(error.error) < 0.01


def test_a_block_is_what_was_read_of_it():
    gauge = block(35.0, 60.0, 9.0, 0.02)
    assert isinstance(gauge, ReferenceObject)
    assert [(s.value, s.tolerance) for s in gauge.sizes] == [(60.0, 0.02), (35.0, 0.02)]
    with pytest.raises(InputError, match="--limit"):
        block(60.0, 35.0, 9.0, -0.1)


def test_two_limits_alike_make_a_triangle():
    """The sum of two equal rectangular errors is triangular (JCGM 101, 6.4.5)."""
    # Within plus or minus 2 a: P(|e| < x) = 1 - (1 - x / 2a)^2.
    assert expanded([0.1, 0.1], 0.0) == pytest.approx(0.2 * (1 - math.sqrt(0.05)), rel=1e-3)
    # Of a large normal error little is left to notice of them but their variance.
    assert expanded([0.1, 0.1], 1.0) == pytest.approx(
        1.96 * math.hypot(1, 0.1 * math.sqrt(2 / 3)), rel=2e-3
    )
