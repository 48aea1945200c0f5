"""Arc corners with points that do not belong: root mean square error against the clean bound.

python benchmarks/corner_outliers.py [TRIALS]

Scattered outliers are uniform within 1.5 mm. A bump is a shadow or a burr: a stretch at a random
place, moved out by 0.5 mm (10 sigma), with flanks or as a step.
"""

import math
import sys

import numpy as np
from corner_scenes import SIGMA, Table, best_linear, corner, finish, noise, turned

from snugline.fit.corners.corner_families import ARC
from snugline.fit.corners.single_corner import fit_corner

HEIGHT = 0.5


def spoiled(e, what, share, rng):
    """Normal displacements with outliers."""
    e, n = e.copy(), len(e)
    many = round(share * n)
    if what == "scattered":
        at = rng.choice(n, many, replace=False)
        e[at] = rng.uniform(-1.5, 1.5, many)
    else:
        start = rng.integers(0, n - many)
        shape = np.sin(np.linspace(0, math.pi, many)) ** 2 if what == "bump" else np.ones(many)
        e[start : start + many] += HEIGHT * shape
    return e


if __name__ == "__main__":
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"Root mean square error / clean bound at R 25, 40 mm sides; {trials} trials each")
    table = Table(("noise", 12), ("outliers", 10), ("share", 6), ("clean fit", 9), ("plain", 8),
                  ("robust", 8), ("allowed", 8), ("failed", 7))  # fmt: skip
    points, normals = corner(25, 40)
    sigma = np.full(len(points), SIGMA)
    for kind in ("independent", "ar 1"):
        _, bound = best_linear(25, 40, kind)
        for what, share, allowed in (
            ("scattered", 0.10, 1.25),
            ("bump", 0.05, 1.25),
            ("step", 0.05, 1.25),
            ("bump", 0.10, 1.6),
            ("step", 0.10, 1.6),
        ):
            rng, failed = np.random.default_rng(31), 0
            errors = {"clean": [], "plain": [], "robust": []}
            for _ in range(trials):
                clean = SIGMA * noise(kind, len(points), rng)
                bad = spoiled(clean, what, share, rng)
                for name, e in (("clean", clean), ("plain", bad), ("robust", bad)):
                    seen = turned(points + e[:, None] * normals, rng)
                    fit = fit_corner(seen, sigma, families=(ARC,), robust=name != "plain",
                                     turn_deviation=math.radians(20))  # fmt: skip
                    if fit:
                        errors[name].append(fit.params[0] - 25)
                    else:
                        failed += 1
            ratios = [math.sqrt(np.mean(np.square(e))) / bound for e in errors.values()]
            passed = ratios[2] <= allowed and failed == 0
            table.row(kind, what, share, *ratios, allowed, failed, passed=passed)
    finish(table)
