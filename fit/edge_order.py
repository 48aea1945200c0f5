"""Points in order along the edge, and results back in the order in which the points came.

Where a part's edge is seen at its foot in some rows and at its top in others, relief displacement
moves them by different amounts along the edge as well as across it: they overlap. A direction taken
from one to the next would then point anywhere.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from snugline.fit.section import Section

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

# Over this length, mm, the direction of the edge is taken: longer than points overlap (a thickness
# of 20 mm seen from 15 degrees aside moves them by 5), shorter than a part's features.
DIRECTION_MM = 8.0
# A point that lies less than this behind another, mm, is where noise put it.
OVERLAP_MM = 0.5


def in_order(section: Section) -> Section:
    """The section with its points in order along the edge, run by run between the gaps."""
    order = np.arange(len(section.points))
    for a, b in pairwise((0, *section.breaks, len(order))):
        way = _way(section.points[a:b])
        if np.any(np.maximum.accumulate(way) - way > OVERLAP_MM):
            order[a:b] = a + np.argsort(way, kind="stable")
    if np.array_equal(order, np.arange(len(order))):
        return section
    return replace(
        section,
        points=section.points[order],
        noise=section.noise[order],
        sensitivity={of: by[order] for of, by in section.sensitivity.items()},
        given=np.argsort(order),
    )


def _way(points: Array) -> Array:
    """(N,) mm along the edge, of points in nearly the right order."""
    step = np.diff(points, axis=0)
    if len(step) < 2:
        return np.arange(len(points), dtype=np.float64)
    typical = max(float(np.median(np.hypot(*step.T))), 1e-6)
    over = min(max(3, round(DIRECTION_MM / typical)), len(points) // 2 * 2 + 1)
    steady = np.diff(uniform_filter1d(points, over, axis=0, mode="nearest"), axis=0)
    steady /= np.maximum(np.linalg.norm(steady, axis=1, keepdims=True), 1e-12)
    return np.concatenate([[0.0], np.cumsum(np.sum(step * steady, axis=1))])
