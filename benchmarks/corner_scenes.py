"""Corners with known truth for the benchmarks: points, noise, outliers, and the bound."""

import math
import sys

import numpy as np
from scipy.signal import lfilter

from snugline.fit.corners.corner_families import ARC, outgoing
from snugline.fit.geometry.outline import Arc

SIGMA, PITCH = 0.05, 0.1  # mm


def corner(radius, side, pitch=PITCH, turn=math.pi / 2):
    """Exact points (N, 2) of side + arc + side in local axes, and their outward normals."""
    direction, normal = outgoing(turn)
    tangent = radius * math.tan(turn / 2)
    straight = tangent + pitch * np.arange(1, round(side / pitch) + 1)
    n = max(1, round(radius * turn / pitch))
    t = (np.arange(n) + 0.5) / n * turn
    around = np.stack([np.cos(t), np.sin(t)], axis=1)
    points = [
        np.stack([np.zeros(len(straight)), -straight[::-1]], axis=1),
        np.array([-radius, -tangent]) + radius * around,
        straight[:, None] * direction,
    ]
    normals = [np.tile([1.0, 0.0], (len(straight), 1)), around, np.tile(normal, (len(straight), 1))]
    return np.concatenate(points), np.concatenate(normals)


def family_corner(family, params, side, pitch=PITCH, turn=math.pi / 2):
    """The same for any family, at equal distances along it."""
    params = np.array(params, dtype=float)
    before, after = family.reach(params, turn)
    direction = outgoing(turn)[0]
    path = [np.array([[0.0, -before - side], [0.0, -before]])]
    for segment in family.chain(params, turn, 1e-5):
        if isinstance(segment, Arc):
            x, y = np.subtract(segment.start, segment.centre)
            t = np.linspace(0, segment.sweep, 200)
            c, s = np.cos(t), np.sin(t)
            path.append(segment.centre + np.stack([x * c - y * s, x * s + y * c], axis=1))
        else:
            path.append(np.array([segment.start, segment.end]))
    path.append(np.outer([after, after + side], direction))
    path = np.concatenate(path)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.arange(0, along[-1], pitch)
    points = np.stack([np.interp(at, along, path[:, k]) for k in (0, 1)], axis=1)
    seen = family.distance(points, params, turn)
    return points - seen.value[:, None] * seen.normal, seen.normal


def rounded_chamfer(leg, radius):
    """A chamfer whose two edges are rounded, as a path in local axes at a turn of 90 degrees."""
    tangent = radius * math.tan(math.pi / 8)
    t = np.linspace(0, math.pi / 4, 200)
    first = np.array([-radius, -leg - tangent]) + radius * np.stack([np.cos(t), np.sin(t)], axis=1)
    return np.concatenate([first, first[::-1, ::-1]])


def bezier(before, after, leaving, arriving):
    """A cubic curve from side to side, its tangents `leaving` and `arriving` mm long."""
    t = np.linspace(0, 1, 800)[:, None]
    corners = np.array([[0, -before], [0, leaving - before], [arriving - after, 0], [-after, 0]])
    weights = np.hstack([(1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t**2, t**3])
    return weights @ corners


def path_corner(path, side, pitch=PITCH):
    """Points and normals of a corner that runs along a path in local axes, at a turn of 90."""
    path = np.concatenate([path[:1] - [0, side], path, path[-1:] - [side, 0]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.arange(0, along[-1], pitch)
    points = np.stack([np.interp(at, along, path[:, k]) for k in (0, 1)], axis=1)
    ahead = np.gradient(points, axis=0)
    normals = np.stack([ahead[:, 1], -ahead[:, 0]], axis=1)
    return points, normals / np.hypot(*normals.T)[:, None]


def noise(kind, n, rng, pitch=PITCH):
    """Unit noise along the contour: `independent`, `ar L` or `se L`, L mm its correlation length.

    The correlation at distance d is exp(-d / L) or exp(-d^2 / 2 L^2).
    """
    if kind == "independent":
        return rng.standard_normal(n)
    name, length = kind.split()
    length = float(length) / pitch
    if name == "ar":
        phi = math.exp(-1 / length)
        white = rng.standard_normal(n) * math.sqrt(1 - phi * phi)
        white[0] /= math.sqrt(1 - phi * phi)
        return lfilter([1.0], [1.0, -phi], white)
    reach = math.ceil(5 * length)  # a normal curve folded with itself gives the kernel
    weights = np.exp(-((np.arange(-reach, reach + 1) / length) ** 2))
    weights /= np.sqrt(weights @ weights)
    return np.convolve(rng.standard_normal(n + 2 * reach), weights, "valid")


def best_linear(radius, side, kind):
    """The row that turns displacements into the best linear estimate of R, and its deviation.

    It knows truth and noise; its standard deviation is the Cramer-Rao bound, pose and turn free.
    """
    points, _ = corner(radius, side)
    d = ARC.distance(points, np.array([radius]), math.pi / 2)
    (nx, ny), (x, y) = d.normal.T, points.T
    rows = -np.column_stack([nx, ny, nx * y - ny * x, d.by_turn, d.by_params])
    # Exponential correlation is whitened by differences, exactly.
    phi = 0.0 if kind == "independent" else math.exp(-PITCH / float(kind.split()[1]))
    unit = math.sqrt(1 - phi * phi)
    white = rows.copy()
    white[1:] = (rows[1:] - phi * rows[:-1]) / unit
    covariance = np.linalg.inv(white.T @ white)
    weights = covariance[-1] @ white.T
    out = weights.copy()  # the transposed differences
    out[1:] /= unit
    out[:-1] -= phi * weights[1:] / unit
    return out, SIGMA * math.sqrt(covariance[-1, -1])


def turned(points, rng):
    """Points in a pose nobody chose."""
    angle = rng.uniform(-math.pi, math.pi)
    c, s = math.cos(angle), math.sin(angle)
    return points @ np.array([[c, s], [-s, c]]) + rng.uniform(-200, 200, 2)


class Table:
    """Rows with bound, figure and verdict; the exit status tells whether all passed."""

    def __init__(self, *columns):
        self.failed = 0
        print("  ".join(f"{c:>{w}}" for c, w in columns))
        self.widths = [w for _, w in columns]

    def row(self, *cells, passed=None):
        cells = [f"{c:.4g}" if isinstance(c, float) else str(c) for c in cells]
        verdict = "" if passed is None else ("pass" if passed else "FAIL")
        self.failed += passed is False
        line = "  ".join(f"{c:>{w}}" for c, w in zip(cells, self.widths, strict=False))
        print(line, verdict, flush=True)


def finish(*tables):
    sys.exit(1 if any(table.failed for table in tables) else 0)
