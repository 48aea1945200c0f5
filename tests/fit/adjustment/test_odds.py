"""Odds of families, chances of misfits and sizes of doubts, against formulae and brute force."""

import math

import numpy as np
import pytest
from scipy import stats

from snugline.fit.adjustment.extra_parameters import MATERIAL, SIGN, _common_sizes
from snugline.fit.adjustment.family_choice import _posterior
from snugline.fit.adjustment.outlier_test import _chance, _equivalent, _reduced
from snugline.fit.adjustment.robust_solution import Normals


def test_odds_follow_from_the_information_criterion():
    """exp(-BIC / 2), normed: Kass and Raftery, J. Am. Stat. Assoc. 90 (1995), section 4.1.

    Their words for twice the logarithm of the odds: 2 positive, 6 strong, 10 very strong.
    """
    for apart, odds in ((2.0, math.e), (6.0, math.e**3), (10.0, math.e**5)):
        better, worse = _posterior([100.0, 100.0 + apart])
        assert better / worse == pytest.approx(odds)
        assert better + worse == pytest.approx(1.0)
    assert _posterior([5.0]) == [1.0]
    assert _posterior([3.0, 3.0, 3.0]) == pytest.approx([1 / 3] * 3)
    # As large as those of ten thousand points, without an overflow.
    assert _posterior([1e6, 1e6 + 4.0])[0] == pytest.approx(1 / (1 + math.exp(-2)))
    assert _posterior([0.0, 1e6]) == pytest.approx([1.0, 0.0])


@pytest.mark.parametrize(("square", "count"), [(0.5, 1), (9.2, 2), (30.0, 7), (3.0, 12)])
def test_the_chance_of_a_misfit_is_chi_square_s_or_fisher_s(square, count):
    assert _chance(square, count, math.inf) == pytest.approx(stats.chi2.sf(square, count))
    for dof in (3.0, 40.0):
        assert _chance(square, count, dof) == pytest.approx(stats.f.sf(square / count, count, dof))
    assert _chance(square, 0, math.inf) == 1.0


def test_a_misfit_ranks_as_the_normal_deviate_that_is_as_improbable():
    for w in (0.5, 1.96, 4.0):
        assert _equivalent(w * w, 1) == pytest.approx(w)
    assert _equivalent(9.21, 2) == pytest.approx(-stats.norm.ppf(0.01 / 2), abs=1e-3)
    assert _equivalent(1e5, 3) == pytest.approx(math.sqrt(1e5))  # beyond what tails can hold
    assert _equivalent(5.0, 0) == pytest.approx(0.0)


def test_a_section_s_own_unknowns_are_eliminated_as_schur_has_it():
    rng = np.random.default_rng(3)
    design = rng.normal(size=(40, 7))
    y = rng.normal(size=40)
    group = Normals(design.T @ design, design.T @ y, float(y @ y))
    own = np.array([False, False, False, False, True, True, False])
    matrix, gradient = _reduced(group, own, ~own)
    kept, gone = design[:, ~own], design[:, own]
    # The same by projecting the own columns out of all others.
    onto = np.eye(40) - gone @ np.linalg.pinv(gone)
    assert matrix == pytest.approx(kept.T @ onto @ kept, rel=1e-6, abs=1e-6)
    assert gradient == pytest.approx(kept.T @ onto @ y, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_the_common_sizes_of_tilts_and_bows_are_the_likeliest_that_a_search_finds(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 6))
    root = rng.normal(size=(count, count)) * 0.01
    covariance = root @ root.T + np.eye(count) * 1e-6
    bows = rng.random(count) < 0.5
    size = np.where(bows, *rng.choice([0.0, 0.02, 0.06], 2))
    terms = rng.multivariate_normal(np.zeros(count), covariance + np.diag(size**2))

    def unlikely(tilt, bow):
        total = covariance + np.diag(np.where(bows, bow, tilt) ** 2)
        own = np.linalg.slogdet(total)[1] + terms @ np.linalg.solve(total, terms)
        return own - (SIGN if tilt == bow == 0 else 0.0)

    found = _common_sizes(terms, covariance, bows, [MATERIAL, MATERIAL])
    tried = [0.0, *np.geomspace(MATERIAL / 200, MATERIAL, 60)]
    best = min(((tilt, bow) for tilt in tried for bow in tried), key=lambda pair: unlikely(*pair))
    assert unlikely(*found) <= unlikely(*best) + 0.1
    assert (found == (0.0, 0.0)) == (best == (0.0, 0.0))
    none = np.zeros(0, bool)
    assert _common_sizes(np.zeros(0), np.zeros((0, 0)), none, [MATERIAL] * 2) == (0.0, 0.0)


def test_bows_that_are_plainly_there_are_as_large_as_they_are():
    terms, bows, largest = np.array([0.05, -0.05, 0.05, -0.05]), np.ones(4, bool), [MATERIAL] * 2
    found = _common_sizes(terms, np.eye(4) * 1e-8, bows, largest)
    assert found == (0.0, pytest.approx(0.05, rel=0.08))
    assert _common_sizes(terms * 0.02, np.eye(4) * 1e-4, bows, largest) == (0.0, 0.0)
    assert _common_sizes(terms * 20, np.eye(4) * 1e-8, bows, largest)[1] == MATERIAL


def test_what_a_tilt_or_two_bows_explain_is_put_down_to_one_of_them():
    """Each alone could be without the other, and so it seems where either is looked at alone."""
    covariance = 1e-6 * np.eye(3) + np.outer([1, -1, 1], [1, -1, 1]) * 0.04
    sizes = _common_sizes(
        np.array([0.1, 0.0, 0.0]), covariance, np.array([0, 1, 1], bool), [0.3] * 2
    )
    assert max(sizes) > 0.03
