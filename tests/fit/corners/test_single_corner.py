"""Corners: side + corner + side in one go. Light forms of benchmarks/corner_*.py are here."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from snugline.errors import FitError
from snugline.fit.corners.corner_families import (
    ARC,
    CHAMFER,
    ELLIPSE,
    FREE,
    SQUARE,
    SUPERELLIPSE,
    outgoing,
)
from snugline.fit.corners.single_corner import fit_corner
from snugline.fit.section import Systematic

SIGMA = 0.05


def corner(radius=25.0, side=40.0, turn=math.pi / 2, pitch=0.1):
    """Exact points and outward normals of side + arc + side in local axes."""
    direction, normal = outgoing(turn)
    tangent = radius * math.tan(turn / 2)
    straight = tangent + pitch * np.arange(1, round(side / pitch) + 1)
    n = round(radius * turn / pitch)
    t = (np.arange(n) + 0.5) / n * turn
    around = np.stack([np.cos(t), np.sin(t)], axis=1)
    points = np.concatenate([
        np.stack([0 * straight, -straight[::-1]], axis=1),
        np.array([-radius, -tangent]) + radius * around,
        straight[:, None] * direction,
    ])  # fmt: skip
    sides = np.tile([1.0, 0.0], (len(straight), 1)), np.tile(normal, (len(straight), 1))
    return points, np.concatenate([sides[0], around, sides[1]])


def correlated(n, rng, length=10.0):
    phi = math.exp(-1 / length)
    white = rng.standard_normal(n) * math.sqrt(1 - phi * phi)
    return lfilter([1.0], [1.0, -phi], white)


def placed(points, angle=0.7, shift=(310.0, -42.0)):
    c, s = math.cos(angle), math.sin(angle)
    return points @ np.array([[c, s], [-s, c]]) + shift


def fit(points, **options):
    return fit_corner(points, np.full(len(points), SIGMA), **options)


def test_exact_points_give_the_exact_corner_in_any_pose():
    points, _ = corner(12.5, 20, turn=1.2)
    found = fit(placed(points), families=(ARC,), turn=1.2)
    assert found.params == pytest.approx([12.5], abs=1e-6)
    assert found.turn == pytest.approx(1.2, abs=1e-8)
    assert found.apex == pytest.approx((310, -42), abs=1e-6)
    assert found.direction == pytest.approx(math.pi / 2 + 0.7, abs=1e-8)
    assert np.abs(found.residuals).max() < 1e-6
    assert found.to_local(placed(points)) == pytest.approx(points, abs=1e-6)


def test_a_turn_that_is_not_the_nominal_one_does_not_pull_the_radius():
    points, normals = corner(turn=math.radians(90.1))
    noise = np.random.default_rng(0).standard_normal((len(points), 1))
    free, imposed = (
        fit(points + SIGMA * noise * normals, families=(ARC,), turn_deviation=deviation).params[0]
        for deviation in (math.radians(0.5), 1e-7)
    )
    assert free == pytest.approx(25, abs=0.04)
    # The turn that isn't so pulls the radius by some 0.065 mm, at R 25 and with 40 mm sides.
    assert abs(imposed - free) == pytest.approx(0.065, abs=0.02)


@pytest.mark.parametrize(
    ("radius", "side", "published"),
    # Check values, section 11.4, independent noise, the turn free.
    [(6, 20, 0.025), (25, 20, 0.018), (25, 40, 0.015), (30, 60, 0.013)],
)
def test_the_stated_uncertainty_is_the_published_bound(radius, side, published):
    points, normals = corner(radius, side)
    rng, stated = np.random.default_rng(1), []
    for _ in range(12):
        seen = points + SIGMA * rng.standard_normal((len(points), 1)) * normals
        stated.append(fit(seen, families=(ARC,), turn_deviation=0.3).u[0])
    assert np.mean(stated) == pytest.approx(published, rel=0.1)


@pytest.mark.parametrize("noise", [np.random.Generator.standard_normal, correlated])
def test_intervals_hold_and_nothing_is_biased(noise):
    if noise is correlated:
        draw, bound = (lambda n, rng: correlated(n, rng)), 0.066
    else:
        draw, bound = (lambda n, rng: rng.standard_normal(n)), 0.0149
    points, normals = corner()
    rng, errors, held = np.random.default_rng(2), [], 0
    for _ in range(200):
        seen = points + SIGMA * draw(len(points), rng)[:, None] * normals
        found = fit(seen, families=(ARC,), turn_deviation=0.3)
        errors.append(found.params[0] - 25)
        held += abs(errors[-1]) < found.u95[0]
    assert 0.90 <= held / 200 <= 0.985  # 95 % over 200 trials, within three deviations
    assert np.std(errors) < 1.15 * bound  # three deviations of a spread of 200
    assert abs(np.mean(errors)) < 0.25 * bound


def test_longer_sides_and_moved_window_ends_shift_the_radius_little():
    points, normals = corner(side=45)
    rng, shifts = np.random.default_rng(3), []
    for _ in range(40):
        seen = points + SIGMA * correlated(len(points), rng)[:, None] * normals
        short, long = fit(seen[50:-50], families=(ARC,)), fit(seen, families=(ARC,))
        shifts.append((long.params[0] - short.params[0]) / short.u[0])
    assert math.sqrt(np.mean(np.square(shifts))) < 0.3 * 1.2  # chance of 40 trials


@pytest.mark.parametrize("flanks", [False, True])
@pytest.mark.parametrize("where", [0, 250, 540, 1070])
def test_a_shadow_of_a_tenth_of_the_contour_is_set_aside_with_its_flanks(where, flanks):
    points, normals = corner()
    e = SIGMA * np.random.default_rng(4).standard_normal(len(points))
    e[where : where + 119] += 0.5 * (np.sin(np.linspace(0, math.pi, 119)) ** 2 if flanks else 1)
    found = fit(points + e[:, None] * normals, families=(ARC,))
    assert found.params[0] == pytest.approx(25, abs=0.08)  # a plain fit is up to 0.9 mm off
    assert np.mean(found.weights[where + 20 : where + 95]) < 0.05
    assert np.mean(np.delete(found.weights, np.s_[max(where - 20, 0) : where + 140])) > 0.98


def test_scattered_outliers_cost_next_to_nothing():
    points, normals = corner()
    rng, errors = np.random.default_rng(5), []
    for _ in range(30):
        e = SIGMA * rng.standard_normal(len(points))
        e[rng.choice(len(e), len(e) // 10, replace=False)] = rng.uniform(-1.5, 1.5, len(e) // 10)
        errors.append(fit(points + e[:, None] * normals, families=(ARC,)).params[0] - 25)
    assert math.sqrt(np.mean(np.square(errors))) < 1.25 * 0.0149 * 1.3  # chance of 30 trials


@pytest.mark.parametrize(
    ("family", "params"),
    [(ARC, (25.0,)), (ELLIPSE, (25.0, 22.0)), (SUPERELLIPSE, (25.0, 2.4)), (CHAMFER, (2.0,)),
     (SQUARE, ())],
)  # fmt: skip
def test_families_are_told_apart_under_correlated_noise(family, params):
    points, normals = shaped(family, np.array(params))
    rng = np.random.default_rng(6)
    names = []
    for _ in range(3):
        found = fit(placed(points + SIGMA * correlated(len(points), rng)[:, None] * normals))
        assert sum(weight for _, weight in found.ranking) == pytest.approx(1)
        assert found.ranking[0][0] == found.family.name
        names.append(found.family.name)
    alike = {
        "ellipse": {"ellipse", "double arc"},
        "superellipse": {"superellipse", "three-centred arc"},
    }
    assert set(names) <= alike.get(family.name, {family.name})


def shaped(family, params, side=40.0):
    """Points about 0.1 mm apart on side + corner + side of any family."""
    reach = max(family.reach(params, math.pi / 2)) + side
    at = np.arange(-reach, reach, 0.1) + 0.05
    square = np.stack([np.minimum(-at, 0), np.minimum(at, 0)], axis=1)  # the sharp corner
    seen = family.distance(square, params, math.pi / 2)
    points = square - seen.value[:, None] * seen.normal
    keep = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > 1e-9])
    return points[keep], family.distance(points[keep], params, math.pi / 2).normal


def soft_chamfer(leg=15.0, radius=8.0, side=40.0, pitch=0.1):
    """A chamfer with rounded edges, which no named family describes: points and normals."""
    tangent, start = radius * math.tan(math.pi / 8), -leg - side
    t = np.arange(0.5, radius * math.pi / 4 / pitch) * pitch / radius
    around = np.stack([np.cos(t), np.sin(t)], axis=1)
    straight = np.arange(start, -leg - tangent, pitch)
    flat = np.arange(tangent, leg / math.sqrt(2), pitch)[:, None] * math.sqrt(0.5) * [-1, 1]
    half = np.concatenate([
        np.stack([0 * straight, straight], axis=1),
        [-radius, -leg - tangent] + radius * around,
        flat - [0, leg],
    ])  # fmt: skip
    diagonal = np.full((len(flat), 2), math.sqrt(0.5))
    normals = np.concatenate([np.tile([1.0, 0.0], (len(straight), 1)), around, diagonal])
    both = [np.concatenate([a, a[::-1, ::-1]]) for a in (half, normals)]
    return both[0], both[1]


def test_a_corner_of_no_named_family_is_free_and_followed_within_the_noise():
    points, normals = soft_chamfer()
    rng = np.random.default_rng(10)
    noise = SIGMA * correlated(len(points), rng)
    found = fit(placed(points + noise[:, None] * normals))
    assert found.family is FREE
    assert not found.too_close_to_call
    assert found.weights.mean() > 0.98
    local = found.to_local(placed(points))
    off = FREE.distance(local, found.params, found.turn).value
    assert np.abs(off).max() < 0.15
    assert np.sqrt(np.mean(off**2)) < 0.04
    named = fit(placed(points), families=(ARC, CHAMFER, ELLIPSE, SUPERELLIPSE, SQUARE))
    assert np.abs(named.residuals).max() > 0.4  # what the free curve is there for


def test_a_free_curve_is_not_tried_where_a_named_family_leaves_only_noise(monkeypatch):
    points, normals = corner()
    noise = SIGMA * correlated(len(points), np.random.default_rng(11))
    monkeypatch.setattr(type(FREE), "start", None)  # trying it would raise
    found = fit(placed(points + noise[:, None] * normals))
    assert found.family is ARC
    assert "free" not in dict(found.ranking)


def test_what_data_cannot_decide_is_too_close_to_call():
    points, normals = corner(25, 40)
    rng = np.random.default_rng(7)
    few, e = slice(None, None, 25), 5 * SIGMA * rng.standard_normal(len(points))
    vague = fit((points + e[:, None] * normals)[few], families=(ARC, ELLIPSE, SUPERELLIPSE))
    assert vague.ranking[0][1] < 0.95
    clear = fit(points + 0.01 * e[:, None] * normals, families=(ARC, SQUARE))
    assert not clear.too_close_to_call
    assert clear.ranking[0] == ("arc", pytest.approx(1))
    even = replace(clear, ranking=(("arc", 0.5), ("ellipse", 0.4), ("square", 0.1)))
    assert even.too_close_to_call


def test_an_offset_goes_into_the_radius_one_to_one_and_a_scale_in_proportion():
    points, normals = corner()
    e = SIGMA * np.random.default_rng(8).standard_normal(len(points))
    seen = points + e[:, None] * normals
    alone = fit(seen, families=(ARC,))
    shifted = fit(seen, families=(ARC,), systematic=Systematic(offset=0.04))
    scaled = fit(seen, families=(ARC,), systematic=Systematic(scale_x=0.002, scale_y=0.002))
    assert math.sqrt(shifted.u[0] ** 2 - alone.u[0] ** 2) == pytest.approx(0.04, rel=0.02)
    # Both scales in common would move R by 0.002 R; apart they share it as root of halves.
    own = math.sqrt(scaled.u[0] ** 2 - alone.u[0] ** 2)
    assert own == pytest.approx(0.002 * 25 / math.sqrt(2), rel=0.1)
    assert shifted.u95[0] / shifted.u[0] < alone.u95[0] / alone.u[0]


def test_gaps_are_allowed():
    points, normals = corner()
    e = SIGMA * correlated(len(points), np.random.default_rng(9))
    kept = np.r_[0:300, 420:700, 760 : len(points)]
    seen = (points + e[:, None] * normals)[kept]
    found = fit_corner(seen, np.full(len(seen), SIGMA), (300, 580), families=(ARC,))
    assert abs(found.params[0] - 25) < found.u95[0]


@pytest.mark.parametrize(
    ("points", "reason"),
    [
        (np.zeros((5, 2)), "too few"),
        (np.zeros((50, 2)), "coincide"),
        (np.stack([np.linspace(0, 9, 50), np.zeros(50)], axis=1), "not a corner"),
        (corner()[0][::-1], "not a corner"),
        (np.concatenate([corner()[0][:380], corner()[0][-380:]])[:395], ""),
    ],
)
def test_a_contour_without_a_corner_gives_a_false_value_with_its_reason(points, reason):
    found = fit(points, families=(ARC,))
    assert not found
    assert reason in found.reason


@pytest.mark.parametrize(
    ("points", "sigma", "families", "text"),
    [
        (np.zeros((20, 3)), np.ones(20), (ARC,), "points"),
        (np.zeros((20, 2)), np.ones(19), (ARC,), "sigma"),
        (np.full((20, 2), np.nan), np.ones(20), (ARC,), "not finite"),
        (np.zeros((20, 2)), np.zeros(20), (ARC,), "zero or negative"),
        (np.zeros((20, 2)), np.ones(20), (), "no family"),
    ],
)
def test_arguments_that_are_no_contour_raise(points, sigma, families, text):
    with pytest.raises(FitError, match=text):
        fit_corner(points, sigma, families=families)
