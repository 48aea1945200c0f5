"""Is the right corner family found at R 25, and is an arc told from its neighbours?

python benchmarks/corner_families.py [TRIALS]

`told` counts the trials in which the leading family is an arc for arcs, and is none for the others.
"""

import sys
import time

import numpy as np
from corner_scenes import SIGMA, Table, family_corner, finish, noise, turned

from snugline.fit.corner import fit_corner
from snugline.fit.families import ARC, CHAMFER, ELLIPSE, SQUARE, SUPERELLIPSE

SHAPES = {
    "arc 25": (ARC, (25.0,)),
    "arc 6": (ARC, (6.0,)),
    "ellipse 25 x 24": (ELLIPSE, (25.0, 24.0)),
    "superellipse 2.2": (SUPERELLIPSE, (25.0, 2.2)),
    "chamfer 2": (CHAMFER, (2.0,)),
    "square": (SQUARE, ()),
}


if __name__ == "__main__":
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    print(f"Arcs called arcs, others told from an arc: >= 95 %; {trials} trials each, 7 families")
    table = Table(("noise", 12), ("side", 5), ("shape", 17), ("told", 6), ("exact", 6),
                  ("too close", 9), ("failed", 7), ("ms", 6))  # fmt: skip
    for kind, side in (("ar 1", 40), ("ar 1", 60), ("independent", 40)):
        for name, (family, params) in SHAPES.items():
            points, normals = family_corner(family, params, side)
            sigma, rng = np.full(len(points), SIGMA), np.random.default_rng(11)
            told = exact = close = failed = 0
            start = time.process_time()
            for _ in range(trials):
                e = SIGMA * noise(kind, len(points), rng)
                fit = fit_corner(turned(points + e[:, None] * normals, rng), sigma)
                if not fit:
                    failed += 1
                    continue
                told += (fit.family is ARC) == (family is ARC)
                exact += fit.family is family
                close += fit.too_close_to_call
            ms = 1e3 * (time.process_time() - start) / trials
            table.row(kind, side, name, told / trials, exact / trials, close / trials, failed, ms,
                      passed=told >= 0.95 * trials and failed == 0)  # fmt: skip
    finish(table)
