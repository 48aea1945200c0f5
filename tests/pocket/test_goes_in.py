"""The chance that a part goes in, against the normal distribution's own table."""

import pytest
from scipy.stats import norm

from snugline.fit.part_uncertainty import PartUncertainty, SizeRead
from snugline.pocket.clearance import Clearance, even
from snugline.pocket.goes_in import chance, chance_notices
from snugline.pocket.season import SeasonalGap
from snugline.pocket.width_error import WidthError

SIZE = (400.0, 100.0)
EXACT = WidthError(0.0, 0.0, cuts=5)


def part(length=0.0, width=0.0, **more):
    return PartUncertainty(0.0, length, width, **more)


def test_with_one_uncertain_axis_it_is_the_normal_distribution_s():
    # U95 of the length 0.784 mm is u 0.2 mm per side.
    for gap in (0.1, 0.2, 0.4):
        found = chance(even(gap), part(length=0.784), SIZE, (), EXACT)
        assert found.probability == pytest.approx(norm.cdf(gap / 0.2), abs=1e-9)


def test_the_machine_s_error_is_common_to_both_axes():
    found = chance(even(0.2), part(), SIZE, (), WidthError(0.0, 0.2, cuts=5))
    assert found.probability == pytest.approx(norm.cdf(1.0), abs=0.02)
    apart = chance(even(0.2), part(0.784, 0.784), SIZE, (), EXACT)
    assert apart.probability == pytest.approx(norm.cdf(1.0) ** 2, abs=1e-9)


def test_a_machine_that_cuts_narrow_takes_its_share():
    narrow = WidthError(-0.1, 0.0, cuts=5)
    assert chance(even(0.05), part(0.1, 0.1), SIZE, (), narrow).probability < 0.05
    assert chance(even(0.2), part(0.1, 0.1), SIZE, (), narrow).probability > 0.99


def test_each_axis_has_its_own_clearance():
    found = chance(Clearance(0.6, 0.05), part(0.8, 0.05), SIZE, (), EXACT)
    assert found.worst.name == "length"
    assert found.probability > chance(even(0.05), part(0.8, 0.05), SIZE, (), EXACT).probability


def test_the_worst_season_counts_with_its_own_uncertainty():
    dry = SeasonalGap("driest", "width", True, -0.8, 0, 0.0, -0.1, u95=0.1)
    found = chance(even(0.3), part(0.01, 0.01), SIZE, (dry,), EXACT)
    assert found.worst.season == "driest"
    assert found.worst.gap == pytest.approx(-0.1)
    assert found.probability < 0.05
    (notice,) = chance_notices(found)
    assert (notice.code, notice.severity) == ("does-not-go-in", "cannot be cut")
    assert "on the driest day" in notice.text


def test_a_corner_that_the_cutter_leaves_can_decide():
    found = chance(even(0.3), part(0.05, 0.05), SIZE, (), EXACT, corner_gap=-0.2)
    assert found.worst.name == "corner"
    assert found.probability < 0.01
    assert "relieve the corners" in chance_notices(found)[0].mend


def test_a_soft_part_goes_in_while_its_squeeze_is_allowed():
    soft = chance(even(-0.05), part(0.05, 0.05), SIZE, (), EXACT, squeeze=0.1)
    assert soft.probability > 0.9
    assert chance(even(-0.05), part(0.05, 0.05), SIZE, (), EXACT).probability < 0.1


def test_a_tape_that_contradicts_the_outline_counts_by_its_weight():
    # Set-up j08: photos 481.19 +- 4.03 mm, tape 483 mm; the true part needs 0.68 mm per side.
    read = {"length": (SizeRead(483.0, 0.5, "tape"),)}
    for gap in (0.4, 0.6):
        alone = chance(even(gap), part(4.03, 0.1), (481.19, 188.7), (), EXACT)
        both = chance(even(gap), part(4.03, 0.1, read=read), (481.19, 188.7), (), EXACT)
        assert alone.probability > 0.6
        assert both.probability < 0.5
    assert (
        chance(even(1.5), part(4.03, 0.1, read=read), (481.19, 188.7), (), EXACT).probability > 0.8
    )


@pytest.mark.parametrize(
    ("gap", "code"), [(0.0, "may-not-go-in"), (-0.05, "does-not-go-in"), (0.4, None)]
)
def test_below_ninety_per_cent_is_a_doubt_and_below_fifty_it_is_blocked(gap, code):
    found = chance(even(gap), part(width=0.2), SIZE, (), EXACT)
    assert [n.code for n in chance_notices(found)] == ([code] if code else [])
    assert found.per_cent.endswith(" %")
    assert found.words


def test_the_remedy_is_for_the_largest_share_of_the_doubt():
    unknown = WidthError(0.0, 0.17)
    assert "cut a coupon" in chance_notices(chance(even(0.1), part(), SIZE, (), unknown))[0].mend
    unsure = chance(even(0.1), part(length=1.0), SIZE, (), EXACT)
    assert "read the length more exactly" in chance_notices(unsure)[0].mend


@pytest.mark.parametrize(
    ("gap", "squeeze", "words", "per_cent", "code"),
    [
        (0.0, 0.0, "may not go in", "50 %", "may-not-go-in"),
        (-0.001, 0.0, "most likely does not go in", "50 %", "does-not-go-in"),
        (0.1282, 0.0, "very likely goes in", "90 %", None),
        (0.1281, 0.0, "may not go in", "90 %", "may-not-go-in"),
        (0.2327, 0.0, "almost certainly goes in", "99 %", None),
        (0.2326, 0.0, "very likely goes in", "99 %", None),
        (0.40, 0.0, "almost certainly goes in", "over 99 %", None),
        (-0.40, 0.0, "most likely does not go in", "under 1 %", "does-not-go-in"),
        (-0.40, 0.40, "may not go in", "50 %", "may-not-go-in"),
    ],
)
def test_the_words_follow_the_normal_distribution_s_table(gap, squeeze, words, per_cent, code):
    # U95 of the length 0.392 mm is u 0.1 mm per side; z of 90 % 1.2816, of 99 % 2.3263.
    found = chance(Clearance(gap, 9.0), part(length=0.392), SIZE, (), EXACT, squeeze=squeeze)
    assert (found.words, found.per_cent) == (words, per_cent)
    assert [n.code for n in chance_notices(found)] == ([code] if code else [])
    assert found.probability == pytest.approx(norm.cdf((gap + squeeze) / 0.1), abs=1e-9)


def test_a_machine_s_error_moves_the_gap_and_widens_its_doubt():
    # u of the part 0.1, of the machine 0.1 along one axis alone: together 0.1414.
    found = chance(
        Clearance(0.2, 50.0), part(length=0.392), SIZE, (), WidthError(-0.1, 0.1, cuts=5)
    )
    assert found.probability == pytest.approx(norm.cdf((0.2 - 0.1) / 0.02**0.5), abs=1e-6)


def test_a_season_that_opens_the_gap_takes_and_adds_nothing():
    wet = SeasonalGap("dampest", "width", True, 0.8, 0, 0.0, 0.7, u95=0.5)
    found = chance(even(0.3), part(0.01, 0.392), SIZE, (wet,), EXACT)
    (_, width) = found.places
    assert (width.closes, width.season) == (0.0, "")
    assert width.gap == pytest.approx(0.3)
    assert width.u == pytest.approx(0.1)


def test_of_two_days_the_one_that_may_close_more_counts():
    calm = SeasonalGap("driest", "width", True, -0.4, 0, 0.0, 0.1, u95=0.0)
    vague = SeasonalGap("dampest", "width", True, -0.3, 0, 0.0, 0.15, u95=0.196)
    (_, width) = chance(even(0.3), part(0.01, 0.392), SIZE, (calm, vague), EXACT).places
    assert (width.season, width.closes) == ("dampest", pytest.approx(0.15))
    assert width.gap == pytest.approx(0.3 - 0.15)
    assert width.u == pytest.approx((0.1**2 + 0.1**2) ** 0.5)


def test_a_corner_s_doubt_is_of_edge_and_radius_along_its_bisector():
    # A radius off by 1 moves a square corner's arc by sqrt(2) - 1 along the diagonal.
    dry = SeasonalGap("driest", "width", True, -0.2, 0, 0.0, 0.2, u95=0.0)
    made = PartUncertainty(0.03, 0.01, 0.01, 0.04 / (2**0.5 - 1))
    found = chance(even(0.3), made, SIZE, (dry,), EXACT, corner_gap=0.25)
    corner = found.places[-1]
    assert corner.u == pytest.approx(0.05 / 1.96)
    assert (corner.gap, corner.closes, corner.season) == (pytest.approx(0.15), 0.1, "driest")


@pytest.mark.parametrize(
    ("found", "said"),
    [
        # 1.3 standard uncertainties are 90 %: 1.3 x 0.1 - 0.05 = 0.08, up to the grid 0.10.
        (chance(even(0.05), part(length=0.392), SIZE, (), EXACT), "add 0.10 mm"),
        (chance(Clearance(0.4, 0.05), part(), SIZE, (), WidthError(0.0, 0.1)), "add 0.10 mm"),
        (chance(even(0.0), part(length=0.01), SIZE, (), EXACT), "add 0.05 mm"),
    ],
)
def test_the_remedy_s_clearance_makes_it_likely(found, said):
    assert said in str(chance_notices(found)[0].mend)


def test_who_is_named_in_the_remedy():
    unknown = WidthError(0.0, 0.17)
    (notice,) = chance_notices(chance(even(0.1), part(), SIZE, (), unknown), "big {router}")
    assert "record three cuts of big {router}" in str(notice.mend)
    read = {"width": (SizeRead(101.0, 0.1, "tape"),)}
    (notice,) = chance_notices(
        chance(Clearance(1.0, 0.1), part(0.1, 0.4, read=read), SIZE, (), EXACT)
    )
    assert str(notice.mend) == "read the width again: readings and outline disagree"
    dry = SeasonalGap("driest", "width", True, -0.8, 0, 0.0, -0.1, u95=0.1)
    (notice,) = chance_notices(chance(even(0.3), part(0.01, 0.01), SIZE, (dry,), EXACT))
    assert "for what the season takes" in str(notice.mend)
    (notice,) = chance_notices(chance(even(0.3), part(), SIZE, (), EXACT, corner_gap=-0.2))
    assert "at a corner" in str(notice.text)


def test_the_gap_told_is_the_worst_place_s_with_the_machine_s_error():
    (notice,) = chance_notices(
        chance(Clearance(0.9, 0.1), part(0.1, 0.3), SIZE, (), WidthError(-0.05, 0.02, cuts=4))
    )
    u95 = 1.96 * ((0.15 / 1.96) ** 2 + 0.02**2) ** 0.5
    assert f"a gap of 0.05 mm per side along the width (U95 {u95:.2f} mm)" in str(notice.text)


def test_readings_that_contradict_pool_by_their_weights():
    """A linear pool: each opinion's probability by its weight, here 1 and (u / u_read)^2."""
    read = {"length": (SizeRead(401.0, 0.2, "tape"),)}
    found = chance(even(0.3), part(length=0.784, read=read), SIZE, (), EXACT)
    weight = (0.2 / 0.1) ** 2
    own, other = norm.cdf(0.3 / 0.2), norm.cdf((0.3 - 0.5) / 0.1)
    assert found.probability == pytest.approx((own + weight * other) / (1 + weight), abs=1e-9)
    record = found.as_json()
    assert record["places"][0] == {
        "at": "length", "gap": pytest.approx(0.3), "u95": pytest.approx(0.392), "season": ""
    }  # fmt: skip
