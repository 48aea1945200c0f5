"""The illumination of the part's edge from every side: one model for the whole contour.

A matt surface under distant light, lamps and sky and bounce alike, is as bright as a polynomial of
second degree in its normal (Ramamoorthi and Hanrahan 2001, "An efficient representation for
irradiance environment maps"). Sides, roundings and chamfers all along the edge turn their normals
in all directions, so where the edge is certain they determine the illumination, and that predicts
how they should look where it is not.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.image.robust_scale import SIGMA_PER_MAD

Floats = NDArray[np.float64]

# The terms of a profile that the illumination decides: of the normal's component across the edge,
# of the one upwards, of the first squared and of the product of both; as shares of the face's
# luminance.
TERMS = 4
# Their spread before anything is known (common practice, no source).
FIRST_GUESS = np.diag([0.5, 0.5, 0.02, 0.02]) ** 2
# The estimated spread lies between these: the first says nothing, the second is the upper limit on
# the weight of an assumed illumination.
_WIDEST = np.array([0.5, 0.5, 0.05, 0.05])
_CLOSEST = 0.05
# The spread where too few rows determine it.
_UNDETERMINED = np.array([0.125, 0.125, 0.05, 0.05])
# One row in this many is used; they share grain and dust, so that even then this many count as one.
EVERY = 4
_ROWS_PER_FREE = 2.5
_FEWEST_ROWS = 15  # about four for each of the four terms
_ROUNDS = 4  # of weights and spreads
# Chi-square, 8 degrees of freedom, 99 %: beyond it no illumination makes a matt part look so.
_IMPLAUSIBLE = 20.1
_COEFFICIENTS = 8  # of `_basis`
# A row informs a term by a share of 0 to 1 (1: fully).
_INFORMS = 0.3  # from here on it helps to estimate the term's spread
_COUNTS = 0.1  # from here on its difference counts against it
_HALF_TRUST = 9  # Cauchy weights: squared difference, in spreads, at which a row counts half


@dataclass(frozen=True)
class Rows:
    """Profiles whose edge is known, reduced to normal equations of the illumination.

    Attributes
    ----------
    direction : (N,) radians in the picture, of the outward normal.
    face : (N,) luminance of the part's face there.
    information : (N, 4, 4) of the illumination's terms, all else in the profile eliminated.
    right_side : (N, 4) of the same normal equations.
    """

    direction: Floats
    face: Floats
    information: Floats
    right_side: Floats


@dataclass(frozen=True)
class Shading:
    """The illumination's terms by direction, as shares of the face's luminance.

    Attributes
    ----------
    coefficients : (8,) of `_basis`, and `covariance`.
    spread : (4,) by how much single points differ from it.
    """

    coefficients: Floats
    covariance: Floats
    spread: Floats

    def expected(self, direction: Floats) -> tuple[Floats, Floats]:
        """(N, 4) mean of the terms for such normals and their covariance (4, 4), typical of all."""
        basis = _basis(direction)
        open_still = (basis @ self.covariance @ basis.transpose(0, 2, 1)).mean(axis=0)
        return basis @ self.coefficients, np.diag(self.spread**2) + open_still


def _basis(direction: Floats) -> Floats:
    """(N, 4, 8): a quadratic polynomial of the normal, seen in the plane across the edge."""
    c, s = np.cos(direction), np.sin(direction)
    basis = np.zeros((len(direction), TERMS, _COEFFICIENTS))
    basis[:, 0, 0], basis[:, 0, 1] = c, s
    basis[:, 1, 2] = 1
    basis[:, 2, 3], basis[:, 2, 4], basis[:, 2, 5] = 1, c * c - s * s, 2 * c * s
    basis[:, 3, 6], basis[:, 3, 7] = c, s
    return basis


_PRIOR = np.array([0.5, 0.5, 0.5, 0.2, 0.2, 0.2, 0.2, 0.2])


def fit_shading(rows: Rows) -> Shading | None:
    """The illumination that explains the rows; None where there are too few.

    A mixed model: each row may differ from the common one by the spread, which is estimated
    with it; rows that differ by far more (a highlight, a shadow, a wrong edge) count less.
    """
    if len(rows.face) < _FEWEST_ROWS:
        return None
    design = _basis(rows.direction) * rows.face[:, None, None]
    spread, trust = _WIDEST, np.ones(len(rows.face))
    for _ in range(_ROUNDS):
        # A row's information on the common terms once its own difference is left free.
        own = np.linalg.inv(
            np.eye(TERMS) + rows.information * (spread * rows.face[:, None])[:, None, :] ** 2
        )
        information = own @ rows.information
        weighted = (trust / _ROWS_PER_FREE)[:, None, None] * design.transpose(0, 2, 1)
        normal = (weighted @ information @ design).sum(axis=0) + np.diag(_PRIOR**-2)
        right = (weighted @ (own @ rows.right_side[..., None])).sum(axis=0)[:, 0]
        covariance = np.linalg.inv(normal)
        coefficients = covariance @ right
        left = rows.right_side - (rows.information @ (design @ coefficients)[..., None])[..., 0]
        left = (own @ left[..., None])[..., 0]
        difference = spread**2 * rows.face[:, None] * left
        informed = np.clip(
            (spread * rows.face[:, None]) ** 2 * np.einsum("nkk->nk", information), 1e-6, 1
        )
        size = np.abs(difference) / np.sqrt(informed)
        spread = np.array(
            [
                np.clip(
                    SIGMA_PER_MAD * np.median(size[informed[:, k] > _INFORMS, k]),
                    _CLOSEST,
                    _WIDEST[k],
                )
                if (informed[:, k] > _INFORMS).sum() >= _FEWEST_ROWS / 2
                else _UNDETERMINED[k]
                for k in range(TERMS)
            ]
        )
        trust = 1 / (1 + np.sum((size / spread) ** 2 * (informed > _COUNTS), axis=1) / _HALF_TRUST)
    if np.sum((coefficients / _PRIOR) ** 2) > _IMPLAUSIBLE:
        return None
    return Shading(coefficients, covariance, spread)
