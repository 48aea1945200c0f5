"""Parallel outlines and distances: exact to Steiner, close to shapely, and how fast.

Run as `python benchmarks/parallel.py [OUTLINES] [SEED]`. Prints one row per bound: figure, bound,
pass or FAIL. Times are ratios to shapely's own buffer of the same outline at a chord error of
1 micrometre, and milliseconds of processor time for the record.
"""

import math
import sys
import time
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from random_outlines import convex_outline, distance_to_shapely, random_outline

from snugline.errors import FitError
from snugline.fit.geometry.distance import contains, nearest, signed_distance
from snugline.fit.geometry.outline import polygon_of
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import filleted_polygon, rounded_rectangle


def row(what, figure, bound, good):
    print(f"{what:<58} {figure:>14} {bound:>14}  {'pass' if good else 'FAIL'}")


def clock(call, repeats=5):
    call()
    best = math.inf
    for _ in range(repeats):
        start = time.process_time()
        call()
        best = min(best, time.process_time() - start)
    return best


def steiner(rng):
    """Worst relative difference of area and perimeter over convex outlines, and breaks."""
    worst = 0.0
    for _ in range(500):
        outline = convex_outline(rng)
        d = rng.uniform(0.001, 80)
        (loop,) = parallel(outline, d)
        area = outline.area + outline.perimeter * d + math.pi * d * d
        perimeter = outline.perimeter + 2 * math.pi * d
        worst = max(worst, abs(loop.area / area - 1), abs(loop.perimeter / perimeter - 1))
    return worst


def against_shapely(count, rng):
    """Hausdorff distances to unions by shapely; counts of splits and of what vanished."""
    distances, failures = [], 0
    split = vanished = inward = 0
    for _ in range(count):
        outline = random_outline(rng)
        d = float(rng.choice([-1, 1]) * rng.uniform(0.02, rng.choice([2, 12, 30])))
        try:
            loops = parallel(outline, d)
        except FitError:
            failures += 1
            continue
        distances.append(distance_to_shapely(loops, outline, d, 1e-5))
        inward += d < 0
        split += len(loops) > 1
        vanished += not loops
    return np.array(distances), failures, (inward, split, vanished)


def wavy(arcs):
    """A closed chain of tangent arcs and lines: a star with all its points rounded."""
    angle = np.arange(arcs) * 2 * np.pi / arcs
    radius = np.where(np.arange(arcs) % 2, 80, 95)
    points = radius[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
    return filleted_polygon(points.tolist(), 0.4)


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    rng = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 1)
    print(f"{'':<58} {'figure':>14} {'bound':>14}")

    worst = steiner(rng)
    row("Steiner, 500 convex outlines, worst relative", f"{worst:.1e}", "1e-9", worst < 1e-9)

    distances, failures, (inward, split, vanished) = against_shapely(count, rng)
    worst = distances.max()
    row(f"Hausdorff to shapely, {count} outlines, mm", f"{worst:.1e}", "1e-4", worst < 1e-4)
    row("  outlines without a parallel", failures, 0, failures == 0)
    print(f"  of them inward {inward}, split or with holes {split}, vanished {vanished}")

    plate = rounded_rectangle(300, 100, 12.7)
    dense = polygon_of(plate, 1e-3)
    ours = clock(lambda: parallel(plate, 0.4))
    theirs = clock(lambda: dense.buffer(0.4, quad_segs=64))
    print(f"  rounded rectangle: {ours * 1e3:.1f} ms, {ours / theirs:.1f} times shapely's buffer")
    star = wavy(200)
    dense = polygon_of(star, 1e-3)
    for d in (0.5, -0.5, -6.0):
        ours, theirs = clock(lambda d=d: parallel(star, d)), clock(lambda d=d: dense.buffer(d))
        figure = f"{ours * 1e3:.0f} ms"
        row(f"parallel of 200 arcs and 200 lines at {d:g} mm", figure, "500 ms", ours < 0.5)
        print(f"  {ours / theirs:.1f} times shapely's buffer")

    points = rng.uniform(-200, 200, (100_000, 2))
    for call in (signed_distance, nearest, contains):
        spent = clock(lambda call=call: call(plate, points))
        figure = f"{spent * 1e3:.0f} ms"
        row(f"{call.__name__}, 100,000 points x 8 segments", figure, "100 ms", spent < 0.1)
    some = shapely.points(points[:2000])
    dense = polygon_of(plate, 1e-3).exterior
    theirs = clock(lambda: shapely.distance(dense, some)) * 50
    ours = clock(lambda: signed_distance(plate, points))
    print(f"  signed_distance takes {ours / theirs:.2f} of shapely's time at 1 µm of chord error")


if __name__ == "__main__":
    main()
