"""The uncertainty budget against the GUM's own worked example."""

import math

import pytest

from snugline.fit.readings.uncertainty_budget import Budget, Contribution, coverage_factor

# JCGM 100:2008, annex H.1 (end gauge), nm: contributions, and degrees of freedom.
END_GAUGE = Budget(
    "length",
    50.000838e6,
    (
        Contribution("standard", 25.0, 18),
        Contribution("difference", math.sqrt(5.8**2 + 3.9**2 + 6.7**2), 25.6),
        Contribution("expansion difference", 2.9, 50),
        Contribution("temperature difference", 50e6 * 11.5e-6 * 0.029, 2),
    ),
)


def test_the_end_gauge_of_gum_h1_is_reproduced():
    assert END_GAUGE.contributions[3].u == pytest.approx(16.6, abs=0.1)
    assert END_GAUGE.u == pytest.approx(31.7106, abs=0.01)
    assert math.floor(END_GAUGE.dof) == 16
    assert END_GAUGE.dof == pytest.approx(16.66, abs=0.05)
    assert coverage_factor(END_GAUGE.dof, 0.99) == pytest.approx(2.920782, abs=1e-6)
    assert END_GAUGE.expanded(0.99) == pytest.approx(92.62, abs=0.1)
    assert END_GAUGE.expanded(0.95) == pytest.approx(2.119905 * 31.7106, abs=0.05)


def test_the_same_budget_in_millimetres_keeps_its_degrees_of_freedom():
    small = Budget(
        "length",
        50.0,
        tuple(Contribution(p.source, p.u * 1e-90, p.dof) for p in END_GAUGE.contributions),
    )
    assert small.dof == pytest.approx(END_GAUGE.dof)


def test_known_uncertainties_alone_take_the_normal_quantile():
    assert Budget("width", 1.0, (Contribution("caliper", 1.0),)).u95 == pytest.approx(1.959964)


def test_a_budget_of_nothing_has_no_uncertainty():
    assert Budget("width", 1.0, ()).u95 == 0.0
