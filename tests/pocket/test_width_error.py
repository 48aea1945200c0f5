import itertools

import numpy as np
import pytest
from scipy.stats import norm

from snugline.errors import InputError
from snugline.pocket.cut_record import Cut, same_name
from snugline.pocket.fits import VERDICTS, fit_of, verdict_of
from snugline.pocket.width_error import (
    EDGE_U,
    FEEL_U,
    WidthError,
    _least_gap,
    estimate,
    next_test,
    unknown_machine,
)


def simulated_shop(rng, hidden, cuts=5, kind="firm", opening=False):
    """Cuts of a shop whose machine has a hidden width error, and its own edges between words."""
    made = []
    fit = fit_of(kind)
    edges = np.array(fit.edges) + rng.normal(0, EDGE_U)
    for number in range(cuts):
        found = estimate(made, "router", "oak", 6.0)
        clearance = (0.15, 0.05, 0.25)[number] if number < 3 else next_test(kind, found)
        gap = clearance + hidden + rng.normal(0, FEEL_U)
        verdict = VERDICTS[int(np.searchsorted(edges, gap))]
        seen = hidden + rng.normal(0, 0.015) if opening else None
        made.append(Cut(clearance, verdict, "oak", "router", 6.0, kind, opening_error=seen))
    return made


def test_measured_openings_find_a_hidden_width_error_to_three_hundredths():
    rng = np.random.default_rng(5)
    errors = []
    for _ in range(60):
        hidden = rng.normal(0, 0.1)
        cuts = simulated_shop(rng, hidden, opening=True)
        errors.append(estimate(cuts, "router", "oak", 6.0).value - hidden)
    assert np.mean(np.abs(errors) < 0.03) >= 0.95


def test_the_stated_uncertainty_holds_with_words_alone():
    # 1,000 shops have their own row in benchmarks/pocket.py; 100 of them scatter by 0.02.
    rng = np.random.default_rng(6)
    held = []
    for _ in range(100):
        hidden = rng.normal(0, unknown_machine().u)
        found = estimate(simulated_shop(rng, hidden), "router", "oak", 6.0)
        held.append(abs(found.value - hidden) < found.u95)
    assert np.mean(held) >= 0.90


def consistent(count, error=0.05):
    return [
        Cut(0.25, "loose", "oak", "router", 6.0, opening_error=error + 0.004 * (-1) ** k)
        for k in range(count)
    ]


def test_one_typing_error_is_named_and_not_averaged():
    # Five consistent cuts and one typo: 0.05 became 0.18 mm, its U95 still 0.02.
    cuts = [*consistent(5), Cut(0.25, "loose", "oak", "router", 6.0, opening_error=0.83)]
    found = estimate(cuts, "router", "oak", 6.0)
    assert found.value == pytest.approx(0.05, abs=0.01)
    assert found.contradicting == (5,)
    assert "1 cut contradicts the others" in found.sentence()
    assert estimate(consistent(5), "router", "oak", 6.0).contradicting == ()


def test_disagreement_widens_the_uncertainty():
    even = estimate(consistent(6), "router", "oak", 6.0)
    spread = [
        Cut(0.25, "loose", "oak", "router", 6.0, opening_error=0.05 + off)
        for off in (-0.05, -0.03, -0.01, 0.01, 0.03, 0.05)
    ]
    assert estimate(spread, "router", "oak", 6.0).u > 2 * even.u


def test_a_natural_series_of_words_contradicts_nothing():
    # 0.05 does not enter, 0.10 tight, 0.15 snug: the edges between words are learnt.
    words = ((0.05, "does not enter"), (0.10, "tight"), (0.15, "snug"))
    found = estimate([Cut(c, w, "oak", "router") for c, w in words], "router", "oak")
    assert found.contradicting == ()
    # It entered at 0.10, not at 0.05: the error lies about -0.075.
    assert found.value == pytest.approx(-0.06, abs=0.04)
    assert found.u95 > 0.03


def test_nothing_is_claimed_before_three_cuts():
    for count in (0, 1, 2):
        found = estimate(consistent(count), "router", "oak", 6.0)
        assert (found.value, found.claimed) == (0.0, False)
        assert found.u == unknown_machine().u
    assert "at least 3" in found.sentence()
    assert estimate(consistent(3), "router", "oak", 6.0).claimed


def test_an_uncertain_length_explains_a_part_that_does_not_enter():
    # 0.25 mm did not enter at a length of +-0.60 mm per side: "cuts 0.32 too narrow, U95 0.13".
    def three(length_u):
        return [
            Cut(0.25, "does not enter", "oak", "router", part="slate", length_u=length_u)
            for _ in range(3)
        ]

    sure, unsure = (estimate(three(u), "router", "oak") for u in (0.0, 0.6 / 1.96))
    assert sure.value < -0.25
    assert unsure.value > -0.2
    assert unsure.u95 > 0.2


def test_both_axes_count():
    cut = Cut(0.4, "does not enter", "oak", "router", clearance_width=0.05)
    narrow = estimate([cut] * 3, "router", "oak")
    wide = estimate([Cut(0.4, "does not enter", "oak", "router")] * 3, "router", "oak")
    assert narrow.value > wide.value


def test_the_order_of_the_cuts_does_not_matter():
    cuts = [
        Cut(0.1, "tight", "oak", "router", 6),
        Cut(0.2, "snug", "walnut", "router", 3),
        Cut(0.3, "snug", "oak", "router", 3, opening_error=-0.1),
        Cut(0.05, "does not enter", "oak", "router", 6),
    ]
    there = estimate(cuts, "router", "oak", 6)
    back = estimate(cuts[::-1], "router", "oak", 6)
    assert back.value == pytest.approx(there.value, abs=2e-4)
    assert back.u == pytest.approx(there.u, abs=2e-4)


def test_names_are_matched_without_case_and_commas():
    cuts = [
        Cut(0.2, "snug", w, m)
        for w, m in zip(
            ("walnut", "Walnut, black", "black walnut"), ("Bench", "bench", " BENCH "), strict=True
        )
    ]
    found = estimate(cuts, "bench", "walnut")
    assert (found.cuts, found.alike) == (3, 3)
    assert same_name("big, Router") == same_name("router big")


def test_another_wood_lends_knowledge_but_less_of_it():
    cuts = [Cut(0.3, "snug", "oak", "router", 6, opening_error=-0.08) for _ in range(4)]
    same, other = (estimate(cuts, "router", w, 6) for w in ("oak", "walnut"))
    assert other.value < -0.05
    assert same.u < other.u < estimate([], "router", "walnut", 6).u
    assert (same.alike, other.alike) == (4, 0)


def test_another_machine_s_cuts_count_for_nothing():
    cuts = [Cut(0.3, "snug", "oak", "router", opening_error=-0.08)] * 3
    assert estimate(cuts, "other", "oak").value == 0.0
    assert "no cuts" in estimate(cuts, "other", "oak").sentence()


def test_a_part_of_doubtful_size_teaches_less_about_the_machine():
    def four(u):
        return [
            Cut(0.1, "does not enter", "oak", "router", part="tile", part_u=u) for _ in range(4)
        ]

    sure, doubtful = (estimate(four(u), "router", "oak") for u in (0.0, 0.2))
    assert abs(doubtful.value) < abs(sure.value)
    assert doubtful.u > sure.u


def test_contradicting_verdicts_give_a_finite_answer():
    cuts = [Cut(0.0, "loose", "oak", "router"), Cut(2.0, "does not enter", "oak", "router")] * 3
    found = estimate(cuts, "router", "oak")
    assert np.isfinite([found.value, found.u]).all()


def test_an_unknown_verdict_or_kind_is_refused_with_the_choices():
    with pytest.raises(InputError, match="does not enter, tight, snug, loose"):
        verdict_of("perfect")
    assert verdict_of("no-go") == "does not enter"
    with pytest.raises(InputError, match="soft, firm, brittle, metal"):
        fit_of("wobbly")


def left_after(kind, error, clearance):
    """Expected variance of the error after one word at that clearance, by plain integration."""
    x = np.linspace(error.value - 7 * error.u, error.value + 7 * error.u, 4001)
    prior = np.exp(-((x - error.value) ** 2) / 2 / error.u**2)
    prior /= prior.sum()
    edges = np.array(fit_of(kind).edges)
    blur = np.hypot(FEEL_U, EDGE_U)
    below = [norm.cdf((e - clearance - x) / b) for e, b in zip(edges, blur, strict=True)]
    below = [np.zeros_like(x), *below, np.ones_like(x)]
    total = 0.0
    for low, high in itertools.pairwise(below):
        joint = prior * np.maximum(high - low, 0)
        if joint.sum() > 1e-12:
            mean = joint @ x / joint.sum()
            total += joint @ (x - mean) ** 2
    return total


@pytest.mark.parametrize("kind", ["firm", "brittle", "soft"])
@pytest.mark.parametrize(("value", "u"), [(0.0, 0.17), (-0.12, 0.05), (0.08, 0.03)])
def test_the_next_test_cut_leaves_the_least_doubt(kind, value, u):
    error = WidthError(value, u, cuts=3)
    chosen = next_test(kind, error)
    fit = fit_of(kind)
    assert chosen >= -fit.squeeze - 1e-12
    tried = np.arange(-fit.squeeze, 0.8, 0.02)
    best = min(left_after(kind, error, c) for c in tried)
    assert left_after(kind, error, chosen) <= 1.03 * best
    assert left_after(kind, error, chosen) < u**2


def test_each_kind_of_part_has_edges_of_its_own():
    """Words about a soft part move its own edges, not those of a firm one."""
    firm = [Cut(0.25, "loose", "oak", "router", 6.0, opening_error=0.0)] * 3
    soft = [Cut(-0.05, "tight", "oak", "router", 6.0, kind="soft", opening_error=0.0)] * 3
    for cuts in (firm + soft, soft + firm):
        found = estimate(cuts, "router", "oak", 6.0)
        assert found.value == pytest.approx(0.0, abs=0.01)
        assert found.contradicting == ()


def test_parts_of_doubtful_size_are_unknowns_of_their_own():
    # Two parts, both uncertain by 0.2 mm: three cuts of each that did not enter say less than six
    # of one that is known.
    two = [
        Cut(0.1, "does not enter", "oak", "router", part=name, part_u=0.2)
        for name in ("tile", "tray")
        for _ in range(3)
    ]
    one = [Cut(0.1, "does not enter", "oak", "router", part="tile", part_u=0.2)] * 6
    apart, alone = (estimate(cuts, "router", "oak") for cuts in (two, one))
    assert apart.value < alone.value < 0
    assert apart.u < alone.u


def test_the_smaller_of_two_gaps_has_clark_s_moments():
    """Clark 1961; here by drawing a million pairs."""
    rng = np.random.default_rng(4)
    for a, ua, b, ub in ((0.3, 0.1, 0.2, 0.05), (0.2, 0.2, 0.2, 0.1), (0.1, 0.02, 0.5, 0.02)):
        cut = Cut(a, "snug", "oak", "router", clearance_width=b, length_u=ua, part_u=ub)
        mean, u = _least_gap(cut)
        drawn = np.minimum(rng.normal(a, ua, 10**6), rng.normal(b, ub, 10**6))
        assert mean == pytest.approx(drawn.mean(), abs=6e-4)
        assert u == pytest.approx(drawn.std(), abs=6e-4)
    assert _least_gap(Cut(0.3, "snug", "oak", "router", clearance_width=0.2)) == (0.2, 0.0)


def test_what_is_told_of_the_records():
    wide = WidthError(0.08, 0.02, cuts=4, alike=2, contradicting=(1, 3))
    assert str(wide.sentence()) == (
        "this machine cuts openings 0.08 mm too wide per side (U95 0.04 mm; from 4 recorded cuts, "
        "2 of them in this wood with this cutter); 2 cuts contradict the others: check the record"
    )
    assert "too narrow" in str(WidthError(-0.08, 0.02, cuts=3).sentence())
    assert "no cuts recorded" in str(WidthError(0.0, 0.1).sentence())
    assert "at least 3 are needed" in str(WidthError(0.0, 0.1, cuts=2).sentence())
    # The root of the sum of squares of 0.15, 0.05 and 0.05.
    assert unknown_machine().u == pytest.approx(0.0275**0.5)
