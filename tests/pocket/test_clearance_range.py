"""The chance over a range of clearances: each rung is what the plan says of that clearance."""

import pytest
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices

from snugline.errors import PlanError
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.pocket import clearance_range as module
from snugline.pocket.clearance import Clearance, even
from snugline.pocket.clearance_range import MOST_RUNGS, clearance_range
from snugline.pocket.cutter import cutter_path, reach
from snugline.pocket.opening import given_of
from snugline.pocket.plan import make_plan


def test_every_rung_says_what_the_plan_says_and_looser_is_never_less_likely():
    made = choices()
    rungs = clearance_range(
        given_of(TRAY, UNCERTAINTY, THICKNESS, made, None), even(0.5), 0.6, 0.05
    )
    by_clearance = {rung.clearance.length: rung for rung in rungs}
    for opening in make_plan(TRAY, UNCERTAINTY, THICKNESS, made).openings:
        said = by_clearance[opening.clearance.length].as_json()
        assert said["probability"] == opening.as_json()["goes_in"]["probability"]
        assert said["words"] == opening.as_json()["goes_in"]["words"]
    likely = [rung.chance.probability for rung in rungs]
    assert likely == sorted(likely)
    assert (rungs[0].clearance.length, rungs[-1].clearance.length) == (0.0, 1.2)


def test_axes_that_differ_stay_apart_and_what_cannot_be_drawn_has_no_chance(monkeypatch):
    made = choices(notch=None)
    given = given_of(TRAY, UNCERTAINTY, THICKNESS, made, None)

    def refusing(of, clearance):
        if clearance.length > 0.7:
            raise PlanError("too wide", "pocket", "narrower")
        return real(of, clearance)

    real = module.chance_of
    monkeypatch.setattr(module, "chance_of", refusing)
    rungs = clearance_range(given, Clearance(0.6, 0.4), 0.3, 0.1)
    assert {round(r.clearance.length - r.clearance.width, 6) for r in rungs} == {0.2}
    assert [r.chance is None for r in rungs] == [r.clearance.length > 0.7 for r in rungs]
    assert rungs[-1].as_json()["probability"] is None


def test_a_soft_part_may_be_squeezed_and_the_range_ends():
    given = given_of(TRAY, UNCERTAINTY, THICKNESS, choices(kind="soft", material=None), None)
    rungs = clearance_range(given, even(0.1), 30.0, 0.05)
    assert rungs[0].clearance.least < 0
    assert len(rungs) == MOST_RUNGS


def test_the_cleared_area_is_short_of_the_pocket_by_what_stands_in_its_corners():
    square = rounded_rectangle(120, 80)
    path = cutter_path(square, 6.0)
    (centre,), (cleared,) = path.centres, path.cleared
    assert centre.bounds == pytest.approx((-57, -37, 57, 37))
    # Four corners, each a square of the radius less a quarter of its disc: (4 - pi) r^2.
    assert square.area - cleared.area == pytest.approx((4 - 3.14159265) * 9, abs=1e-5)
    assert len(reach(square, 6.0).uncut) == 4


@pytest.mark.parametrize("step", [0.05, 0.02])
def test_a_soft_part_s_range_begins_where_it_gives_way(step):
    made = choices(kind="soft", material=None, notch=None)
    given = given_of(TRAY, UNCERTAINTY, THICKNESS, made, None)
    rungs = clearance_range(given, even(0.0), 0.3, step)
    found = [rung.clearance.length for rung in rungs]
    assert found[0] == pytest.approx(-0.1)
    assert found[-1] == pytest.approx(0.6)
    assert found == pytest.approx([-0.1 + k * step for k in range(len(found))])
    below = clearance_range(given, even(-0.13), 0.3, 0.05)
    assert below[0].clearance.length == pytest.approx(-0.15)
