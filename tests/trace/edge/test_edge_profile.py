"""The profile model against a made edge: where its surfaces begin, and how they face."""

import numpy as np
import pytest
from made_solids import edge_profile, lit_edge
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from snugline.trace.edge.edge_profile import (
    LIGHT,
    Normal,
    _depth,
    _normals,
    expected,
    light_normal_equations,
    profile_geometry,
)
from snugline.trace.edge.relief_displacement import PartSides

Floats = NDArray[np.float64]
SIDES = {
    "crisp": PartSides(9.3),
    "rounded": PartSides(11.6, edge="round", edge_size=1.2),
    "chamfered": PartSides(7.4, edge="chamfer", edge_size=0.7),
    "drafted": PartSides(8.8, edge="round", edge_size=1.0, draft=np.radians(1.5)),
}
SLOPES = [-0.4, -0.15, 0.0, 0.15, 0.4]


def seen_places(sides: PartSides, slope: float) -> tuple[Floats, Floats, Floats]:
    """Surface places that the camera sees, as (depth inside the edge, normal aside, normal up)."""
    profile = edge_profile(sides, dense=2000, wall_steps=2000)
    appears = -profile[:, 0] + slope * profile[:, 1]  # outwards, on the sheet
    ahead = np.diff(profile, axis=0)
    length = np.maximum(np.linalg.norm(ahead, axis=1), 1e-12)
    normals = np.column_stack([ahead[:, 1], ahead[:, 0]]) / length[:, None]
    middle = (appears[1:] + appears[:-1]) / 2
    # A place is seen where the profile runs inwards as it rises, and no higher one covers it.
    covered = middle < np.maximum.accumulate(middle[::-1])[::-1] - 1e-9
    shown = (np.diff(appears) < -1e-9) & ~covered
    return appears.max() - middle[shown], normals[shown, 0], normals[shown, 1]


@pytest.mark.parametrize("slope", SLOPES)
@pytest.mark.parametrize("kind", list(SIDES))
def test_normals_are_those_of_the_profile(kind: str, slope: float) -> None:
    sides = SIDES[kind]
    depth, aside, up = seen_places(sides, slope)
    if not len(depth):
        return
    ours_aside, ours_up = _normals(sides, slope, depth)
    # At a crisp meeting of two surfaces, and on the coarse steps of the rounding, a place or two
    # may fall on either side.
    wrong = np.hypot(ours_aside - aside, ours_up - up) > 0.05
    assert np.mean(wrong) < 0.02


@pytest.mark.parametrize("slope", SLOPES)
@pytest.mark.parametrize("kind", list(SIDES))
def test_wall_and_edge_reach_as_deep_as_they_appear(kind: str, slope: float) -> None:
    sides = SIDES[kind]
    profile = edge_profile(sides, dense=2000)
    appears = -profile[:, 0] + slope * profile[:, 1]
    assert _depth(sides, slope) == pytest.approx(appears.max() - appears[-1], abs=1e-5)


def test_beyond_the_edge_lies_the_flat_face() -> None:
    for sides in SIDES.values():
        aside, up = _normals(sides, -0.2, np.array([5.0, 20.0, 60.0]))
        np.testing.assert_allclose(aside, 0, atol=1e-9)
        np.testing.assert_allclose(up, 1, atol=1e-9)


@pytest.mark.parametrize("slope", SLOPES)
@pytest.mark.parametrize("kind", list(SIDES))
def test_the_edge_is_found_where_the_light_was_made(kind: str, slope: float) -> None:
    """A matt edge under a lamp from aside, blurred: the true place explains it best."""
    sides, px_per_mm, blur = SIDES[kind], 9.0, 0.8
    candidates = np.arange(-2.0, 2.01, 0.1)
    geometry = profile_geometry(sides, slope, px_per_mm, blur, candidates)
    places, light = lit_edge(sides, slope)
    edge = places[np.flatnonzero(light != light[-1])[-1]]
    step_px = (places[1] - places[0]) * px_per_mm
    seen = gaussian_filter1d(light, np.hypot(blur, 0.29) / step_px)
    for true in (-0.73, 0.0, 0.4):
        at = edge + (geometry.places - true) / px_per_mm
        profile = np.interp(at, places, seen)[None, None] * geometry.weight
        doubt = Normal.of(geometry.columns, profile).misfit(0.004, expected(0.25, 0.75))
        best = int(doubt[0, 0].argmin())
        assert candidates[best] == pytest.approx(true, abs=0.15)


def least_doubtful(candidates: Floats, doubt: Floats) -> float:
    """Where the parabola through the least of evenly spaced doubts and its neighbours is lowest."""
    best = int(doubt.argmin())
    before, here, after = doubt[best - 1 : best + 2]
    half = 0.5 * (candidates[1] - candidates[0])
    return float(candidates[best] + half * (before - after) / (before - 2 * here + after))


@pytest.mark.parametrize("blur", [0.7, 1.2])
@pytest.mark.parametrize("slope", [-0.2, 0.0, 0.2])
@pytest.mark.parametrize("kind", ["crisp", "chamfered"])
def test_a_plain_step_is_found_without_bias(kind: str, slope: float, blur: float) -> None:
    candidates = np.arange(-1.6, 1.61, 0.2)
    geometry = profile_geometry(SIDES[kind], slope, 7.5, blur, candidates)
    for true in (-0.4, 0.0, 0.17):
        light = 0.1 + 0.5 * ndtr((geometry.places - true) / np.hypot(blur, 0.3))
        prior = expected(0.1, 0.6)
        doubt = Normal.of(geometry.columns, light[None, None] * geometry.weight).misfit(
            0.002, prior
        )[0, 0]
        assert least_doubtful(candidates, doubt) == pytest.approx(true, abs=0.02)


def test_a_contact_shadow_moves_no_edge() -> None:
    """Beside its foot the sheet is darker by a sixth, and lit again a few pixels on."""
    blur = 0.8
    candidates = np.arange(-2.0, 2.01, 0.2)
    geometry = profile_geometry(SIDES["crisp"], 0.1, 8.0, blur, candidates)
    fine = np.arange(geometry.places[0] - 5, geometry.places[-1] + 5, 0.02)
    for true in (-0.3, 0.0, 0.25):
        beyond = np.maximum(fine - true, 0)
        sheet = 0.6 * (1 - np.exp(-beyond / 3) / 6)
        seen = gaussian_filter1d(np.where(fine > true, sheet, 0.1), np.hypot(blur, 0.3) / 0.02)
        light = np.interp(geometry.places, fine, seen) * geometry.weight
        doubt = Normal.of(geometry.columns, light[None, None]).misfit(0.002, expected(0.1, 0.6))[
            0, 0
        ]
        assert least_doubtful(candidates, doubt) == pytest.approx(true, abs=0.03)


@pytest.mark.parametrize("shaded", [False, True])
@pytest.mark.parametrize("weighted", [False, True])
def test_misfit_is_that_of_least_squares_with_the_expectations_as_observations(
    shaded: bool, weighted: bool
) -> None:
    """Against numpy.linalg.lstsq, candidate by candidate."""
    rng = np.random.default_rng(8)
    geometry = profile_geometry(SIDES["rounded"], 0.1, 8.0, 0.9, np.array([-1.0, 0.0, 0.7]))
    candidates, samples, _ = geometry.columns.shape
    profiles = rng.normal(0.4, 0.1, (2, 3, samples))
    noise, half = 0.02, rng.normal(size=(4, 4))
    prior = expected(0.3, 0.7, half @ half.T + 0.1 * np.eye(4))
    mean = 0.2 * rng.normal(size=(2, 3, 4)) if shaded else None
    scale = rng.uniform(0.5, 3.0, (2, samples)) if weighted else None
    trust = rng.uniform(0.2, 1.0, (candidates, samples)) if weighted else None
    found = Normal.of(geometry.columns, profiles, scale, trust).misfit(noise, prior, mean)
    root = noise * np.linalg.cholesky(prior + 1e-12 * np.eye(len(prior)) / noise**2).T
    for m, n, g in np.ndindex(found.shape):
        weight = np.ones(samples)
        if scale is not None and trust is not None:
            weight = scale[m] * np.sqrt(trust[g])
        centre = np.zeros(len(prior))
        if mean is not None:
            centre[LIGHT] = mean[m, n]
        system = np.vstack([weight[:, None] * geometry.columns[g], root])
        wanted = np.concatenate([weight * profiles[m, n], root @ centre])
        left = wanted - system @ np.linalg.lstsq(system, wanted, rcond=None)[0]
        assert found[m, n, g] == pytest.approx(left @ left, rel=1e-6)


def test_what_a_profile_tells_of_the_light_is_what_least_squares_finds() -> None:
    rng = np.random.default_rng(9)
    geometry = profile_geometry(SIDES["rounded"], 0.1, 8.0, 0.9, np.array([-0.5, 0.2]))
    columns = geometry.columns[1]
    profile = rng.normal(0.4, 0.1, len(geometry.places))
    noise, prior = 0.02, expected(0.3, 0.7)
    information, right = light_normal_equations(columns[None], profile[None], noise, prior)
    rest = prior.copy()
    rest[LIGHT, LIGHT] = 1e-6 * np.eye(4)  # the terms themselves nearly free
    root = noise * np.linalg.cholesky(rest + 1e-12 * np.eye(len(rest)) / noise**2).T
    system = np.vstack([columns, root])
    wanted = np.concatenate([profile, np.zeros(len(rest))])
    terms = np.linalg.lstsq(system, wanted, rcond=None)[0][LIGHT]
    np.testing.assert_allclose(information[0] @ terms, right[0], rtol=1e-3, atol=1e-3)
