"""A radius at corners whose tips no photo shows: drawn sharp, but not without a word."""

import numpy as np
import pytest

from snugline.fit.outline_doubts import sharp_by_default
from snugline.fit.result import SectionResult

TIPS = np.array([[50.0, 20.0], [-50.0, 20.0], [-50.0, -20.0], [50.0, -20.0]])


def beside_a_tip(nearest):
    along = np.arange(nearest, 30.0, 0.3)
    points = np.column_stack([50.0 - along, np.full(len(along), 20.0)])
    kept = np.ones(len(points), dtype=bool)
    return SectionResult("left.jpg", np.eye(2, 3), points, np.zeros(len(points)), kept)


# By hand: an arc of radius R strays (R - t)^2 / 2 R from its side at t from the tip, and passes the
# tip at 0.41 R; it matters from 0.3 mm on.
@pytest.mark.parametrize(("nearest", "told"), [(0.2, False), (0.6, True), (1.5, True)])
def test_a_radius_that_no_point_would_show_is_told_where_it_matters(nearest, told):
    notices = sharp_by_default([beside_a_tip(nearest)], TIPS)
    assert bool(notices) == told
    for notice in notices:
        radius = nearest + np.sqrt(2 * nearest * 0.05)
        assert f"a radius of up to {radius:.1f} mm" in str(notice.text)
        assert notice.severity == "fine"
