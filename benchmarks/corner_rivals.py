"""Side by side: our corner fit and circle fits of a window somebody picked by hand.

python benchmarks/corner_rivals.py [TRIALS]

The others get the arc alone, with the window's ends off by 0, 3 or 5 mm of straight side; ours gets
everything. Second table: cost on the same points.
"""

import math
import sys
import time
from functools import partial

import numpy as np
from circle_fit import hyperSVD, taubinSVD
from corner_scenes import SIGMA, Table, corner, finish, noise
from scipy.optimize import least_squares
from skimage.measure import CircleModel

from snugline.fit.corners.circle import fit_circle
from snugline.fit.corners.corner_families import ARC
from snugline.fit.corners.single_corner import fit_corner


def scipy_circle(points):
    def distances(p):
        return np.hypot(points[:, 0] - p[0], points[:, 1] - p[1]) - p[2]

    middle = points.mean(axis=0)
    spread = np.hypot(*(points - middle).T).mean()
    return least_squares(distances, [*middle, spread], method="lm").x[2]


RIVALS = {
    "skimage": lambda points: CircleModel.from_estimate(points).radius,
    "Taubin": lambda points: taubinSVD(points)[2],
    "hyper": lambda points: hyperSVD(points)[2],
    "scipy": scipy_circle,
    "our circle": lambda points: fit_circle(points).radius,
}


def accuracy(trials):
    print(f"Root mean square error of R in mm, sides 40 mm; {trials} trials each; ours never worse")
    table = Table(("noise", 12), ("R", 4), ("ends off", 8), *((name, 10) for name in RIVALS),
                  ("ours", 8), ("best / ours", 11))  # fmt: skip
    for kind in ("independent", "ar 1"):
        for radius in (6, 25, 30):
            points, normals = corner(radius, 40)
            sigma = np.full(len(points), SIGMA)
            around = round(radius * math.pi / 2 / 0.1)
            before = (len(points) - around) // 2
            for off in (0, 3, 5):
                rng, errors = np.random.default_rng(5), {name: [] for name in (*RIVALS, "ours")}
                window = slice(before - 10 * off, before + around + 10 * off)
                for _ in range(trials):
                    e = SIGMA * noise(kind, len(points), rng)
                    seen = points + e[:, None] * normals
                    for name, rival in RIVALS.items():
                        errors[name].append(rival(seen[window]) - radius)
                    errors["ours"].append(
                        fit_corner(seen, sigma, families=(ARC,)).params[0] - radius
                    )
                rmse = [math.sqrt(np.mean(np.square(e))) for e in errors.values()]
                better = min(rmse[:-1]) / rmse[-1]
                table.row(kind, radius, off, *rmse, better, passed=better >= 1)
    return table


def best_ms(call, rounds):
    times = []
    for _ in range(rounds):
        start = time.thread_time()
        call()
        times.append(time.thread_time() - start)
    return 1e3 * min(times)


def cost():
    print("\nCost in ms of processor time, the best of many; plain within 1 and 4, robust within 7")
    table = Table(("points", 8), ("noise", 12), ("plain", 8), ("robust", 8), ("skimage circle", 14),
                  ("plain / skimage", 15), ("us per point", 12))  # fmt: skip
    for n, allowed in ((1000, (1, 7)), (10_000, (4, 7)), (100_000, None)):
        for kind in ("independent", "ar 1"):
            pitch = (60 + 25 * math.pi / 2) / n
            points, normals = corner(25, 30, pitch)
            e = SIGMA * noise(kind, len(points), np.random.default_rng(1), pitch)
            seen, sigma = points + e[:, None] * normals, np.full(len(points), SIGMA)
            rounds = max(15, 300_000 // n)
            ours = partial(fit_corner, seen, sigma, families=(ARC,))
            plain, robust = (best_ms(partial(ours, robust=r), rounds) for r in (False, True))
            other = best_ms(partial(CircleModel.from_estimate, seen), rounds)
            passed = None if allowed is None else plain <= allowed[0] and robust <= allowed[1]
            table.row(n, kind, plain, robust, other, plain / other, 1e3 * plain / n, passed=passed)
    return table


if __name__ == "__main__":
    finish(accuracy(int(sys.argv[1]) if len(sys.argv) > 1 else 500), cost())
