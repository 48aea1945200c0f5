"""What is less sure widens by its factor, and nothing else does."""

import numpy as np
import pytest

from snugline.fit.adjustment.observation_equations import CentredSection
from snugline.fit.adjustment.outlier_handling import _looser
from snugline.fit.section import Section


def test_one_source_of_doubt_grows_and_the_others_stay():
    points = np.column_stack([np.arange(5.0), np.zeros(5)])
    seen = {"thickness": np.full(5, 0.5), "lean": np.linspace(0, 1, 5)}
    section = Section("a.jpg", "whole", points, np.full(5, 0.02), sensitivity=seen)
    ready = CentredSection.of(section, {"thickness": 0.1, "lean": 0.3})
    assert ready.moved["thickness"] == pytest.approx(np.full(5, 0.05))
    wider = _looser(ready, "thickness", 3.0)
    assert wider.moved["thickness"] == pytest.approx(np.full(5, 0.15))
    assert wider.moved["lean"] == pytest.approx(ready.moved["lean"])
    # What is surely known moves nothing.
    assert CentredSection.of(section, {"lean": 0.0}).moved == {}
