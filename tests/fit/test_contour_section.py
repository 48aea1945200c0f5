"""Points that a job leaves out of the fit, and the gaps that stay where they were."""

import made_contours
import numpy as np
import pytest

from snugline.desk.job_tables import LeaveOutTable
from snugline.fit.contour_section import kept_points, without
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.reading import Reading
from snugline.fit.section import Section


def ring(closed=True, breaks=()):
    """Forty points on a circle of 10 mm radius about the origin."""
    angle = np.arange(40) * 2 * np.pi / 40
    points = 10 * np.column_stack([np.cos(angle), np.sin(angle)])
    return Section("left.jpg", "whole", points, np.arange(40.0), closed, breaks)


def table(at, within, photo="left.jpg"):
    at = [f"{v} mm" for v in at]
    return LeaveOutTable.model_validate({"photo": photo, "at": at, "within": f"{within} mm"})


def test_without_a_table_nothing_changes():
    section = ring()
    assert without(section, []) is section
    assert without(section, [table((50, 50), 1)]) is section


def test_a_piece_in_the_middle_leaves_a_gap():
    section = without(ring(), [table((-10, 0), 4)])
    assert len(section.points) == 40 - 5
    assert section.breaks == (18,)
    assert section.closed
    assert np.array_equal(section.noise, [*range(18), *range(23, 40)])
    assert np.hypot(*(section.points - [-10, 0]).T).min() > 4


def test_a_gap_that_was_there_stays():
    section = without(ring(breaks=(10, 20, 30)), [table((-10, 0), 4)])
    assert section.breaks == (10, 18, 25)


def test_a_piece_at_the_seam_of_a_closed_curve_moves_the_seam():
    section = without(ring(), [table((10, 0), 4)])
    assert section.closed
    assert len(section.points) == 35
    (gap,) = section.breaks
    step = np.linalg.norm(np.diff(section.points, axis=0), axis=1)
    assert np.argmax(step) == gap - 1
    # Where the curve closes, its first and last points are neighbours.
    assert np.linalg.norm(section.points[0] - section.points[-1]) == pytest.approx(step.min())


def test_a_piece_at_the_end_of_an_open_curve_leaves_no_gap():
    section = without(ring(closed=False), [table((10, 0), 4)])
    assert section.breaks == ()
    assert np.array_equal(section.noise, np.arange(3.0, 38.0))


def test_a_gap_left_out_whole_is_one_gap():
    section = without(ring(breaks=(19, 20, 21)), [table((-10, 0), 4)])
    assert section.breaks == (18,)


def test_all_can_be_left_out_and_the_order_says_which_stay():
    assert len(without(ring(), [table((0, 0), 20)]).points) == 0
    order = kept_points(ring(), [table((10, 0), 4)])
    assert sorted(order) == list(range(3, 38))


def test_a_stray_piece_no_longer_pulls_the_outline():
    rng = np.random.default_rng(4)
    true = rounded_rectangle(200, 100, 20)
    section = made_contours.section(true, "whole", rng, turn=0.0, sigma=0.02)
    middle = section.points.mean(axis=0)
    stray = np.hypot(*(section.points - middle - [0, 50]).T) < 12
    bent = section.points + np.where(stray, 1.5, 0.0)[:, None] * [0, 1]
    section = Section(section.name, "whole", bent, section.noise, True)
    caliper = [Reading("length", (200.0,), "caliper")]
    mended = without(section, [table(middle + np.array([0, 51.5]), 14)])
    before, after = (fit_outline([one], caliper, "rounded rectangle") for one in (section, mended))
    assert abs(after.width.value - 100) < 0.03
    assert after.residual_rms < before.residual_rms
