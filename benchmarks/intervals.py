"""How often the stated 95 % interval of a corner radius holds the truth.

python benchmarks/intervals.py [TRIALS]

The turn of each trial is drawn as the fit's prior states it. Rows marked "beyond" are not asked
for: a corner of R 6 with short sides shows eight independent points of noise at 3 mm, and the mixed
noise has a kernel that no single correlation length describes.
"""

import math
import sys

import numpy as np
from corner_scenes import SIGMA, Table, corner, finish, noise, turned

from snugline.fit.corners.corner_families import ARC
from snugline.fit.corners.single_corner import TURN_DEVIATION, fit_corner

KINDS = ("independent", "ar 0.5", "ar 1", "ar 3", "se 0.5", "se 1")


def coverage(trials, kind, radius, side, rng):
    held, widths, errors = 0, [], []
    for _ in range(trials):
        points, normals = corner(radius, side, turn=math.pi / 2 + rng.normal(0, TURN_DEVIATION))
        if kind == "mixed":
            e = noise("independent", len(points), rng) + noise("ar 3", len(points), rng)
            e /= math.sqrt(2)
        else:
            e = noise(kind, len(points), rng)
        points = turned(points + SIGMA * e[:, None] * normals, rng)
        fit = fit_corner(points, np.full(len(points), SIGMA), families=(ARC,))
        error = fit.params[0] - radius
        held += abs(error) <= fit.u95[0]
        widths.append(fit.u95[0])
        errors.append(error)
    return held / trials, float(np.mean(widths)), float(np.std(errors))


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    print(f"95 % intervals hold 93 to 97 %; {count} trials each, sigma {SIGMA} mm")
    table = Table(("noise", 12), ("R", 4), ("side", 5), ("held", 7), ("mean U95", 9), ("spread", 8))
    for radius, side in ((25, 40), (6, 40)):
        rng = np.random.default_rng(99 + radius)
        for kind in KINDS:
            held, width, spread = coverage(count, kind, radius, side, rng)
            table.row(kind, radius, side, held, width, spread, passed=0.93 <= held <= 0.97)
    for kind, radius, side in (("ar 3", 6, 20), ("mixed", 25, 40)):
        held, width, spread = coverage(count, kind, radius, side, rng)
        table.row(kind, radius, side, held, width, spread, "beyond")
    finish(table)
