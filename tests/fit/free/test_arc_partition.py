"""Cutting a contour into arcs: Taubin's fit, the cheapest partition, stations, the noise."""

import itertools
import math

import numpy as np
import pytest
from circle_fit import taubinSVD
from scipy.stats import chi2

from snugline.fit.free.arc_partition import (
    arc_misfit,
    averaged,
    cut,
    parted,
    spread,
    stations,
    taubin,
)


def arc(count, radius=20.0, start=0.3, step=0.05, centre=(4.0, -3.0), sigma=0.0, seed=0):
    angle = start + step * np.arange(count)
    r = radius + sigma * np.random.default_rng(seed).normal(size=count)
    return np.array(centre) + r[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])


def moments(points):
    x, y = points.T
    z = x * x + y * y
    return [
        np.array(float(np.mean(v))) for v in (x, y, z, x * x, x * y, y * y, x * z, y * z, z * z)
    ]


@pytest.mark.parametrize("sigma", [0.05, 0.4])
@pytest.mark.parametrize("origin", [(0.0, 0.0), (3.0, -2.0)])
def test_the_circle_is_taubin_s(sigma, origin):
    """As `circle_fit.taubinSVD` (the same algebraic fit by singular values) has it."""
    points = arc(30, sigma=sigma, seed=1) - np.mean(arc(30), axis=0) + origin
    eta, a, p, q = (float(v) for v in taubin(*moments(points)))
    x, y, radius, _ = taubinSVD(points)
    mean = points.mean(axis=0)
    assert np.array([p, q]) / (2 * a) + mean == pytest.approx([x, y], abs=1e-4 * radius)
    away = np.hypot(*(points - [x, y]).T)
    # Taubin's least value is the mean of (d^2 - R^2)^2 over that of 4 d^2.
    value = np.mean((away**2 - radius**2) ** 2) / np.mean(4 * away**2)
    assert eta == pytest.approx(value, rel=1e-4)


def test_misfits_of_all_pieces_are_those_of_each_alone():
    points = np.vstack([arc(40, 20, sigma=0.05), arc(40, 9, 1.0, 0.1, (20, 15), 0.05, 2)])
    misfit = arc_misfit(points)
    assert misfit.shape == (80, 80)
    for i, m in ((0, 10), (5, 34), (30, 20), (60, 19), (3, 70), (41, 6)):
        own = points[i : i + m + 1]
        x, y, radius, _ = taubinSVD(own)
        away = np.hypot(*(own - [x, y]).T)
        value = np.mean((away**2 - radius**2) ** 2) / np.mean(4 * away**2)
        assert misfit[i, m] == pytest.approx(value, rel=1e-3, abs=1e-9)
    reach = np.add.outer(np.arange(80), np.arange(80))
    assert np.isinf(misfit[reach >= 80]).all()
    assert np.isfinite(misfit[reach < 80]).all()
    assert (misfit[:, :3][reach[:, :3] < 80] == 0).all()  # three points lie on a circle


def test_the_partition_is_the_cheapest_of_all():
    """Against every partition of eleven stations, each of any number of pieces."""
    rng = np.random.default_rng(3)
    for penalty in (0.5, 4.0):
        points = np.column_stack([np.arange(11.0), 0.5 * rng.normal(size=11)])
        misfit, variance = arc_misfit(points), 0.09

        def cost(cuts, misfit=misfit, variance=variance, penalty=penalty):
            ends = [*cuts[1:], 11]
            total = 0.0
            for first, end in zip(cuts, ends, strict=True):
                size = end - first
                # A piece of one or two stations determines no arc, and costs double.
                total += (
                    penalty * (2 if size < 3 else 1) + size * misfit[first, size - 1] / variance
                )
            return total

        every = [
            (0, *inner)
            for count in range(11)
            for inner in itertools.combinations(range(1, 11), count)
        ]
        best = min(cost(cuts) for cuts in every)
        assert cost(tuple(cut(misfit, variance, penalty))) == pytest.approx(best)


def test_two_arcs_are_cut_where_they_meet():
    first = arc(60, 20, sigma=0.02)
    ahead = 0.3 + 0.05 * 59.5
    joint = np.array([4, -3]) + 20 * np.array([math.cos(ahead), math.sin(ahead)])
    centre = joint + 8 * np.array([math.cos(ahead), math.sin(ahead)])  # bends the other way
    angle = ahead + math.pi - 0.125 * (0.5 + np.arange(40))
    second = centre + 8 * np.column_stack([np.cos(angle), np.sin(angle)])
    pieces = cut(arc_misfit(np.vstack([first, second])), 0.02**2, 18.0)
    assert pieces[0] == 0
    assert len(pieces) == 2
    assert pieces[1] == pytest.approx(60, abs=2)


def test_the_noise_is_found_beside_a_corner_too():
    rng, found = np.random.default_rng(4), []
    for _ in range(20):
        side = np.column_stack([np.arange(80) * 1.0, 0.1 * rng.normal(size=80)])
        other = np.column_stack([80 + 0.1 * rng.normal(size=80), np.arange(80) * 1.0])
        found.append(spread(arc_misfit(np.vstack([side, other]))))
    assert np.mean(found) == pytest.approx(0.1, rel=0.1)


def test_the_median_of_short_pieces_is_chi_square_s():
    # Misfits that are chi-square of 8 - 3 degrees of freedom over 8, exactly at their median.
    misfit = np.full((50, 8), chi2.ppf(0.5, 5) * 0.04 / 8)
    assert spread(misfit) == pytest.approx(0.2, rel=2e-3)
    assert spread(np.zeros((20, 20))) == 0


def test_stations_average_runs_of_about_a_step():
    x = np.arange(0, 60, 0.1)
    points = np.column_stack([x, 2 * x]) / math.sqrt(5)
    at = stations(points, 2.0, np.zeros(len(x), dtype=bool))
    assert len(at) == 30
    assert np.diff(at.first)[1:] == pytest.approx(20, abs=1)
    assert at.first[1] == pytest.approx(20, abs=3)  # the smoothed contour begins a little later
    assert np.diff(at.points[1:-1], axis=0) == pytest.approx(
        np.tile([2 / math.sqrt(5), 4 / math.sqrt(5)], (27, 1)), abs=0.1
    )
    assert at.points[5] == pytest.approx(points[at.first[5] : at.first[6]].mean(axis=0))
    assert at.weight[:-1] == pytest.approx(1, abs=0.06)
    assert at.step == 2.0


def test_a_station_ends_at_a_gap_and_where_a_segment_does():
    x = np.arange(0, 20, 0.1)
    gap = np.zeros(len(x), dtype=bool)
    gap[45] = True
    at = stations(np.column_stack([x, 0 * x]), 1.0, gap)
    assert 45 in at.first
    count = np.diff([*at.first, 200])
    assert at.weight == pytest.approx(np.minimum(count / 10, 1))
    assert count.min() < 6
    segment = np.repeat([0, 1, 2], [33, 67, 100])
    split = parted(at, np.column_stack([x, 0 * x]), segment)
    assert set(split.first) == set(at.first) | {33, 100}
    assert averaged(x, split.first)[0] == pytest.approx(x[: split.first[1]].mean())


def test_noise_does_not_lengthen_the_contour():
    x = np.arange(0, 100, 0.05)
    rough = np.column_stack([x, 0.05 * np.random.default_rng(5).normal(size=len(x))])
    at = stations(rough, 1.0, np.zeros(len(x), dtype=bool))
    # By bare strides it would be well over 150 mm long.
    assert len(at) < 115
