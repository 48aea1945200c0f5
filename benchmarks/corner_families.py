"""Is the right corner family found at R 25, and is an arc told from its neighbours?

python benchmarks/corner_families.py [TRIALS]

`told` counts the trials in which the leading family is an arc for arcs, and is none for the others;
of the last three, from which every named family departs by 0.19 mm or more, those in which it is
the free curve.
"""

import sys
import time

import numpy as np
from corner_scenes import (
    SIGMA,
    Table,
    bezier,
    family_corner,
    finish,
    noise,
    path_corner,
    rounded_chamfer,
    turned,
)

from snugline.fit.corners.corner_families import (
    ARC,
    CHAMFER,
    ELLIPSE,
    FAMILIES,
    FREE,
    SQUARE,
    SUPERELLIPSE,
)
from snugline.fit.corners.single_corner import fit_corner

SHAPES = {
    "arc 25": (ARC, (25.0,)),
    "arc 6": (ARC, (6.0,)),
    "ellipse 25 x 24": (ELLIPSE, (25.0, 24.0)),
    "superellipse 2.2": (SUPERELLIPSE, (25.0, 2.2)),
    "chamfer 2": (CHAMFER, (2.0,)),
    "square": (SQUARE, ()),
    "hollow": (FREE, (20.0, 20.0, -7.0, -7.0, 20.0, 20.0)),
}
PATHS = {"rounded chamfer": rounded_chamfer(15.0, 8.0), "uneven curve": bezier(30, 12, 10, 12)}


if __name__ == "__main__":
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    print(f"Arcs called arcs, others told from an arc, free curves called free: >= 95 %; "
          f"{trials} trials each, {len(FAMILIES)} families")  # fmt: skip
    table = Table(("noise", 12), ("side", 5), ("shape", 17), ("told", 6), ("exact", 6),
                  ("too close", 9), ("failed", 7), ("ms", 6))  # fmt: skip
    for kind, side in (("ar 1", 40), ("ar 1", 60), ("independent", 40)):
        made = {name: (family, family_corner(family, params, side))
                for name, (family, params) in SHAPES.items()}  # fmt: skip
        made |= {name: (FREE, path_corner(path, side)) for name, path in PATHS.items()}
        for name, (family, (points, normals)) in made.items():
            sigma, rng = np.full(len(points), SIGMA), np.random.default_rng(11)
            told = exact = close = failed = 0
            start = time.process_time()
            for _ in range(trials):
                e = SIGMA * noise(kind, len(points), rng)
                fit = fit_corner(turned(points + e[:, None] * normals, rng), sigma)
                if not fit:
                    failed += 1
                    continue
                free = family is FREE
                told += fit.family is FREE if free else (fit.family is ARC) == (family is ARC)
                exact += fit.family is family
                close += fit.too_close_to_call
            ms = 1e3 * (time.process_time() - start) / trials
            table.row(kind, side, name, told / trials, exact / trials, close / trials, failed, ms,
                      passed=told >= 0.95 * trials and failed == 0)  # fmt: skip
    finish(table)
