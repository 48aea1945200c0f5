import numpy as np
import pytest

from snugline.fit.adjustment.robust_solution import solve


def test_unknowns_that_stand_for_each_other_are_held_however_well_points_tell_them():
    """Here the hold is less than what the entries are rounded to; the matrix was singular."""
    matrix = 1e14 * np.array([[1.0, 1.0], [1.0, 1.0]])
    assert solve(matrix, matrix @ np.array([1.0, 1.0])).sum() == pytest.approx(2.0)
