"""Arc corners against the statistical bound, and with the window's ends moved.

python benchmarks/corner_bounds.py [TRIALS]

The published bounds are those of the check values, section 11.4, for a turn that is free; so the
turn's prior is left wide here. Efficiency and bias are taken against the best linear estimate on
the same noise, which knows truth and noise and whose deviation is the bound: chance falls out.
"""

import math
import sys

import numpy as np
from corner_scenes import SIGMA, Table, best_linear, corner, finish, noise, turned

from snugline.fit.corners.corner_families import ARC
from snugline.fit.corners.single_corner import fit_corner

PUBLISHED = {
    ("independent", 20): (0.025, 0.018, 0.017),
    ("independent", 40): (0.022, 0.015, 0.014),
    ("independent", 60): (0.021, 0.013, 0.013),
    ("ar 1", 20): (0.104, 0.077, 0.075),
    ("ar 1", 40): (0.093, 0.067, 0.063),
    ("ar 1", 60): (0.090, 0.060, 0.058),
}
RADII = (6, 25, 30)


def bounds(trials):
    print(f"\nEfficiency >= 0.95, |bias| < 0.1 of the bound, no failure; {trials} trials each")
    table = Table(("noise", 12), ("side", 5), ("R", 4), ("published", 10), ("bound", 8),
                  ("rmse", 8), ("efficiency", 10), ("bias/bound", 10), ("failed", 7))  # fmt: skip
    for (kind, side), published in PUBLISHED.items():
        for radius, stated in zip(RADII, published, strict=True):
            rng = np.random.default_rng(20240501 + radius + side)
            points, normals = corner(radius, side)
            sigma = np.full(len(points), SIGMA)
            row, own = best_linear(radius, side, kind)
            errors, best = [], []
            for _ in range(trials):
                e = SIGMA * noise(kind, len(points), rng)
                fit = fit_corner(turned(points + e[:, None] * normals, rng), sigma, families=(ARC,),
                                 turn_deviation=math.radians(20))  # fmt: skip
                if fit:
                    errors.append(fit.params[0] - radius)
                    best.append(row @ e)
            failed = trials - len(errors)
            rmse = math.sqrt(np.mean(np.square(errors)))
            bias = float(np.mean(errors) - np.mean(best)) / own
            efficiency = float(np.mean(np.square(best))) / rmse**2
            cells = (kind, side, radius, stated, own, rmse, efficiency, bias, failed)
            table.row(*cells, passed=efficiency >= 0.95 and abs(bias) < 0.1 and failed == 0)
    return table


def window_ends(trials):
    print("\nBoth ends of the window moved by 5 mm: root mean square shift of R / u < 0.3")
    table = Table(("noise", 12), ("side", 5), ("by", 5), ("shift/u", 8))
    for kind in ("independent", "ar 1"):
        for side in (40, 60):
            points, normals = corner(25, side + 5)
            sigma = np.full(len(points), SIGMA)
            rng = np.random.default_rng(7)
            shifts = {-5: [], 5: []}
            for _ in range(trials):
                e = SIGMA * noise(kind, len(points), rng)
                seen = points + e[:, None] * normals
                cut = {by: fit_corner(seen[k : len(seen) - k], sigma[k : len(seen) - k],
                                      families=(ARC,))
                       for by, k in ((5, 0), (0, 50), (-5, 100)) if k < len(seen) // 2}  # fmt: skip
                for by in shifts:
                    shifts[by].append((cut[by].params[0] - cut[0].params[0]) / cut[0].u[0])
            for by, shift in shifts.items():
                size = math.sqrt(np.mean(np.square(shift)))
                table.row(kind, side, f"{by:+d}", size, passed=size < 0.3)
    return table


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    finish(bounds(count), window_ends(max(count // 10, 50)))
