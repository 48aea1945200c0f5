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
