"""One thickness for everything that asks for it."""

import math

import pytest

from snugline.fit.readings.reading import CALIPER_CONTACT, Reading, combined
from snugline.fit.readings.thickness import thickness_of
from snugline.fit.readings.uncertainty_budget import coverage_factor

TOOL_U = math.hypot(0.02, CALIPER_CONTACT) / math.sqrt(3)  # DIN 862 up to 100 mm, and the hand


def read(*values, tool="caliper"):
    return Reading("thickness", values, tool)


def test_scatter_of_readings_is_students_t():
    # Three readings 9.4, 9.5, 9.6 with a tool without error: s = 0.1, mean's u = 0.1/sqrt(3);
    # t(0.975, 2) = 4.303 (JCGM 100:2008, table G.2, printed to two decimals as 4.30).
    made = combined([read(9.4, 9.5, 9.6, tool="0.000001 mm")], "thickness")
    u95 = coverage_factor(made.dof) * made.u
    assert u95 == pytest.approx(4.303 * 0.1 / 3**0.5, rel=1e-3)
    thickness = thickness_of([read(9.4, 9.5, 9.6)])
    assert thickness.spread == pytest.approx(0.2)
    assert thickness.readings == 3


def test_the_tool_s_own_error_does_not_average_away():
    ten = thickness_of([read(*[9.5] * 10)])
    assert ten.u95 == pytest.approx(1.96 * TOOL_U, rel=3e-3)


def test_two_tables_of_one_tool_say_what_one_table_says():
    together, apart = thickness_of([read(9.4, 9.6)]), thickness_of([read(9.4), read(9.6)])
    assert apart.value == pytest.approx(together.value)
    assert apart.u >= TOOL_U
    assert apart.readings == together.readings == 2


def test_readings_go_before_a_stated_value_which_counts_as_a_caliper_s():
    assert thickness_of([read(9.5)], 12.0).value == 9.5
    stated = thickness_of([], 9.5)
    assert stated.u == thickness_of([read(9.5)]).u
    assert stated.tools == ()
    assert thickness_of([Reading("width", (9.5,), "caliper")]) is None
