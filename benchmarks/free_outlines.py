"""Free outlines: chains of lines and arcs found again in noisy contours of shapes that are known.

Each shape is built from lines and arcs, so the least number of segments is known; its points get
noise along the normal, independent or correlated over 1 mm. Distances are shapely's, between dense
polygons. Run as `python benchmarks/free_outlines.py [TRIALS [NAME...]]`, names or parts of them.
"""

import math
import sys
import time
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.signal import lfilter

from snugline.fit.free.arc_spline import arc_spline
from snugline.fit.geometry.arc_chain import outline_of
from snugline.fit.geometry.outline import Arc, Outline

PITCH = 0.15  # mm between points, as of a photo from 40 cm


@dataclass(frozen=True)
class Shape:
    """A closed contour: dense points, left normals, and how many segments it was built from."""

    name: str
    points: np.ndarray
    normals: np.ndarray
    least: int
    bends: tuple[int, ...]


def walk(name, pieces, pitch=PITCH):
    """A shape from pieces: length, curvature, and the left turn before the piece."""
    points, normals = [], []
    at, heading = np.zeros(2), 0.0
    for length, kappa, turn in pieces:
        heading += turn
        count = max(2, round(length / pitch))
        s = np.arange(count + 1) * (length / count)
        if kappa:
            way = np.column_stack(
                [np.sin(heading + kappa * s) - math.sin(heading),
                 math.cos(heading) - np.cos(heading + kappa * s)]
            ) / kappa  # fmt: skip
        else:
            way = s[:, None] * np.array([math.cos(heading), math.sin(heading)])
        facing = heading + kappa * s[:-1]
        points.append(at + way[:-1])
        normals.append(np.column_stack([-np.sin(facing), np.cos(facing)]))
        at, heading = at + way[-1], heading + kappa * length
    if np.hypot(*at) > 1e-6:
        raise ValueError(f"{name} does not close: {at}")
    turns = [v for i, (_, k, turn) in enumerate(pieces) for v in (turn if i else 0.0, k)]
    bends = tuple(int(math.copysign(1, v)) for v in turns if v)
    return Shape(name, np.vstack(points), np.vstack(normals), len(pieces), bends)


def polygon(name, corners, radii):
    """A polygon with rounded corners; radius 0 leaves a corner sharp."""
    corners = np.array(corners, dtype=float)
    ahead = np.roll(corners, -1, axis=0) - corners
    side = np.linalg.norm(ahead, axis=1)
    angle = np.arctan2(ahead[:, 1], ahead[:, 0])
    turn = (angle - np.roll(angle, 1) + math.pi) % (2 * math.pi) - math.pi
    radii = np.broadcast_to(np.array(radii, dtype=float), len(corners))
    cut = radii * np.tan(np.abs(turn) / 2)
    pieces = []
    for i in range(len(corners)):
        j = (i + 1) % len(corners)
        if radii[i]:
            first = angle[0] - turn[0] if i == 0 else 0.0
            pieces.append((radii[i] * abs(turn[i]), math.copysign(1 / radii[i], turn[i]), first))
            first = 0.0
        else:
            first = angle[0] if i == 0 else turn[i]
        straight = side[i] - cut[i] - cut[j]
        if straight > 1e-9:
            pieces.append((straight, 0.0, first))
    return walk(name, pieces)


def rectangle(name, length, width, radius):
    x, y = length / 2, width / 2
    return polygon(name, [(-x, -y), (x, -y), (x, y), (-x, y)], radius)


def shapes():
    quarter, eighth = math.pi / 2, math.pi / 4
    small = 40.0 * (2 - math.sqrt(2))
    return [
        rectangle("rounded rectangle", 300, 100, 25.0),
        rectangle("small radius", 180, 120, 4.0),
        walk("stadium", [(150, 0.0, 0.0), (45 * math.pi, 1 / 45, 0.0)] * 2),
        rectangle("sharp rectangle", 220, 140, 0.0),
        polygon("two radii", [(-150, -50), (150, -50), (150, 50), (-150, 50)], [10, 20, 20, 10]),
        polygon("chamfered", [(-90, -60), (90, -60), (100, -50), (100, 50), (90, 60), (-90, 60),
                              (-100, 50), (-100, -50)], 0.0),
        polygon("hollow palette", [(246, 58), (118, 90), (-62, 72), (-168, 96), (-241, 38),
                                   (-236, -72), (-92, -96), (102, -81), (232, -44)],
                [26, 60, 90, 31, 44, 18.5, 130, 55, 21]),
        polygon("long shelf", [(322, -50), (304, 70), (160, 89), (-40, 39), (-190, 61),
                               (-326, 46), (-308, -50), (-130, -85), (110, -65)],
                [30, 44, 130, 150, 110, 36, 26, 170, 260]),
        polygon("three sharp, three round", [(0, 0), (140, -20), (160, 60), (90, 110), (60, 70),
                                             (-20, 90)], [0, 15, 0, 22, 12, 0]),
        walk("egg of four arcs", [(40 * math.pi, 1 / 40, 0.0), (80 * eighth, 1 / 80, 0.0),
                                  (small * quarter, 1 / small, 0.0), (80 * eighth, 1 / 80, 0.0)]),
        walk("circle", [(2 * math.pi * 45, 1 / 45, 0.0)]),
        walk("bean", [(30 * math.pi, 1 / 30, 0.0), (20 * math.pi / 2, -1 / 20, 0.0),
                      (30 * math.pi, 1 / 30, 0.0), (80 * math.pi / 2, 1 / 80, 0.0)]),
    ]  # fmt: skip


def ellipse(a=110.0, b=70.0):
    """No chain of arcs: its least number of segments for a tolerance is not known."""
    t = np.linspace(0, 2 * math.pi, 200_001)
    curve = np.column_stack([a * np.cos(t), b * np.sin(t)])
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(curve, axis=0), axis=1))])
    at = np.interp(np.arange(0, s[-1] - PITCH / 2, PITCH), s, t)
    points = np.column_stack([a * np.cos(at), b * np.sin(at)])
    normals = -np.column_stack([b * np.cos(at), a * np.sin(at)])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return Shape("ellipse", points, normals, 0, (1, 1, 1, 1))


def noisy(shape, sigma, correlation, rng):
    """Points moved along their normals by noise, exponentially correlated over `correlation` mm."""
    noise = rng.standard_normal(len(shape.points))
    if correlation:
        fade = math.exp(-PITCH / correlation)
        noise[1:] *= math.sqrt(1 - fade * fade)
        noise = lfilter([1.0], [1.0, -fade], noise)
    return shape.points + sigma * noise[:, None] * shape.normals


def flips(bends):
    """How often the curvature's sign changes once round."""
    return sum(a != b for a, b in zip(bends, bends[1:] + bends[:1], strict=True))


def bends_of(outline: Outline):
    bends = [s.sweep if isinstance(s, Arc) else 0.0 for s in outline.segments]
    turns = [v for pair in zip(outline.turns, bends, strict=True) for v in pair]
    return tuple(int(math.copysign(1, v)) for v in turns if abs(v) > 1e-9)


def strays(outline: Outline, shape: Shape) -> float:
    """The Hausdorff distance of outline and shape, in mm, by shapely."""
    found = shapely.Polygon(outline.inscribed(1e-4)).exterior
    truth = shapely.Polygon(shape.points).exterior
    to_truth = shapely.distance(shapely.points(outline.sampled(0.5)), truth)
    to_found = shapely.distance(shapely.points(shape.points), found)
    return float(max(to_truth.max(), to_found.max()))


def trial(shape, sigma, correlation, tolerance, seed):
    points = noisy(shape, sigma, correlation, np.random.default_rng(seed))
    start = time.perf_counter()
    spline = arc_spline(points, True, tolerance)
    seconds = time.perf_counter() - start
    outline = outline_of(spline.fit.chain)
    return spline, outline, strays(outline, shape), seconds


def main(trials: int, names: list[str]) -> int:
    print(f"{'shape':26}{'noise':>14}{'tol':>6}{'least':>6}{'found':>9}{'flips':>7}"
          f"{'strays':>8}{'s':>6}")  # fmt: skip
    failed = 0
    for shape in [*shapes(), ellipse()]:
        if names and not any(name in shape.name for name in names):
            continue
        for sigma, correlation in ((0.03, 0.0), (0.05, 0.0), (0.03, 1.0), (0.05, 1.0)):
            for tolerance in (None, 0.15):
                counts, wrong, worst, slowest = [], 0, 0.0, 0.0
                for seed in range(trials):
                    spline, outline, far, seconds = trial(
                        shape, sigma, correlation, tolerance, seed
                    )
                    counts.append(len(spline.fit.chain))
                    wrong += flips(bends_of(outline)) != flips(shape.bends)
                    worst, slowest = max(worst, far), max(slowest, seconds)
                few = not shape.least or max(counts) <= 1.2 * shape.least
                near = worst <= 0.15
                good = few and near and not wrong
                failed += not good
                print(f"{shape.name:26}{sigma:>6.2f} {'1 mm' if correlation else 'indep.':>7}"
                      f"{tolerance or '-':>6}{shape.least or '-':>6}"
                      f"{f'{min(counts)}-{max(counts)}':>9}{f'{wrong} off':>7}{worst:>8.3f}"
                      f"{slowest:>6.2f}  {'pass' if good else 'FAIL'}", flush=True)  # fmt: skip
    print("bounds: found <= 1.2 least, sign flips equal the shape's, strays <= 0.15 mm")
    return failed


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5, sys.argv[2:])))
