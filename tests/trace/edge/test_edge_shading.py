"""The light of a whole contour, learned from its plain stretches."""

import numpy as np
import pytest
from numpy.typing import NDArray

from snugline.trace.edge.edge_shading import Rows, fit_shading

Floats = NDArray[np.float64]
# Lamp and sky: even light, and what grows with the normal's component towards the lamp.
LAMP = np.array([0.5, -0.3, 0.8]) / np.linalg.norm([0.5, -0.3, 0.8])


def light_of(normals: Floats) -> Floats:
    towards = normals @ LAMP
    return 0.4 + 0.5 * towards + 0.2 * towards**2


def terms_of(direction: Floats) -> Floats:
    """(N, 4) by least squares to the light on normals from flat to upright, as face's shares."""
    tilt = np.linspace(0, np.pi / 2, 40)
    across, up = np.sin(tilt), np.cos(tilt)
    terms = []
    face = float(light_of(np.array([[0.0, 0.0, 1.0]]))[0])
    for d in direction:
        normals = np.column_stack([across * np.cos(d), across * np.sin(d), up])
        basis = np.column_stack([np.ones(40), across, up, across**2, across * up])
        terms.append(np.linalg.lstsq(basis, light_of(normals), rcond=None)[0][1:] / face)
    return np.array(terms)


def rows_of(direction: Floats, terms: Floats, rng: np.random.Generator, own: float = 0.0) -> Rows:
    """Profiles that tell the terms to about 5 %, each with a difference of its own."""
    n = len(direction)
    face = rng.uniform(0.3, 0.8, n)
    look = rng.normal(size=(n, 12, 4))
    noise = 0.05
    value = (terms + own * rng.normal(size=terms.shape)) * face[:, None]
    seen = (look @ value[..., None])[..., 0] + noise * rng.normal(size=(n, 12))
    information = look.transpose(0, 2, 1) @ look / noise**2
    return Rows(direction, face, information, np.einsum("nrk,nr->nk", look, seen) / noise**2)


def test_nine_terms_hold_nearly_all_of_a_lamp_s_light_on_a_matt_part() -> None:
    """99.22 % of the energy (Ramamoorthi and Hanrahan 2001, section 4; figure from memory)."""
    rng = np.random.default_rng(1)
    normals = rng.normal(size=(40_000, 3))
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    x, y, z = normals.T
    basis = np.column_stack([np.ones(len(x)), x, y, z, x * y, y * z, x * z, x * x - y * y, z * z])
    lit = np.maximum(normals @ LAMP, 0)
    left = lit - basis @ np.linalg.lstsq(basis, lit, rcond=None)[0]
    assert 1 - np.sum(left**2) / np.sum(lit**2) == pytest.approx(0.9922, abs=0.002)


def test_the_light_is_told_to_sides_that_are_not_plain_to_see() -> None:
    rng = np.random.default_rng(2)
    seen = rng.uniform(-1.6, 1.6, 400)
    shading = fit_shading(rows_of(seen, terms_of(seen), rng))
    assert shading is not None
    hidden = np.linspace(1.7, 4.5, 30)
    mean, covariance = shading.expected(hidden)
    off = mean - terms_of(hidden)
    inverse = np.linalg.inv(covariance)
    assert np.abs(off).max() < 0.12
    assert np.mean(np.einsum("nk,kl,nl->n", off, inverse, off)) < 4 * 1.5


def test_places_that_differ_are_told_by_the_spread() -> None:
    rng = np.random.default_rng(3)
    direction = rng.uniform(-3.1, 3.1, 800)
    terms = terms_of(direction)
    calm = fit_shading(rows_of(direction, terms, rng))
    uneven = fit_shading(rows_of(direction, terms, rng, own=0.2))
    assert calm is not None
    assert uneven is not None
    assert uneven.spread[0] == pytest.approx(0.2, rel=0.4)
    assert calm.spread[0] == pytest.approx(0.05, rel=0.4)


def test_a_tenth_of_highlights_does_not_mislead() -> None:
    rng = np.random.default_rng(4)
    direction = rng.uniform(-3.1, 3.1, 400)
    terms = terms_of(direction)
    marred = terms.copy()
    marred[:40, 0] += 3.0
    shading = fit_shading(rows_of(direction, marred, rng))
    assert shading is not None
    assert np.abs(shading.expected(direction)[0] - terms)[:, :2].max() < 0.06


def test_light_that_no_matt_part_can_have_is_refused() -> None:
    rng = np.random.default_rng(5)
    direction = rng.uniform(-3.1, 3.1, 400)
    terms = terms_of(direction)
    terms[:, 1] = 4.0
    assert fit_shading(rows_of(direction, terms, rng)) is None


def test_a_few_rows_tell_no_light() -> None:
    rng = np.random.default_rng(6)
    direction = rng.uniform(-3.1, 3.1, 10)
    assert fit_shading(rows_of(direction, terms_of(direction), rng)) is None
