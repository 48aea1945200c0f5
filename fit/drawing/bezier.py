"""Circular arcs as cubic Bézier curves, for PDF, which has no arcs."""

import math
from itertools import pairwise

from snugline.fit.geometry.outline import Arc, Outline, Point

CURVE_TOL = 1e-5
"""mm; how far a curve may stray from its arc."""

Cubic = tuple[Point, Point, Point]


def cubics(arc: Arc, tolerance: float = CURVE_TOL) -> list[Cubic]:
    """The arc in equal pieces, each by its two control points and its end.

    The curve touches the circle at both ends and the middle of each piece; between, it lies
    outside by at most 2/27 r sin(a)^6 / cos(a)^2, a being a quarter of the piece's sweep.
    (For a quarter circle 2.7253e-4 r, as in M. Goldapp, Approximation of circular arcs by cubic
    polynomials, Computer Aided Geometric Design 8 (1991).)
    """
    count = max(1, math.ceil(abs(arc.sweep) / (math.pi / 2) - 1e-12))
    while deviation(arc.radius, arc.sweep / count) > tolerance:
        count += 1
    step = arc.sweep / count
    pull = 4 / 3 * math.tan(step / 4)
    (cx, cy), (sx, sy) = arc.centre, arc.start
    arms = [(sx - cx, sy - cy)]
    for k in range(1, count + 1):
        cos, sin = math.cos(k * step), math.sin(k * step)
        x, y = arms[0]
        arms.append((cos * x - sin * y, sin * x + cos * y))
    pieces: list[Cubic] = []
    for k, ((ax, ay), (bx, by)) in enumerate(pairwise(arms), start=1):
        # The arc's own end is copied, not computed: the path closes as the outline does.
        end = arc.end if k == count else (cx + bx, cy + by)
        first = cx + ax - pull * ay, cy + ay + pull * ax
        pieces.append((first, (cx + bx + pull * by, cy + by - pull * bx), end))
    return pieces


def deviation(radius: float, sweep: float) -> float:
    """How far one cubic strays from its arc."""
    quarter = abs(sweep) / 4
    return 2 / 27 * radius * math.sin(quarter) ** 6 / math.cos(quarter) ** 2


def outline_steps(outline: Outline) -> list[Point | Cubic]:
    """A closed outline as line ends and cubics; a straight last segment is left to the closing."""
    steps: list[Point | Cubic] = []
    for segment in outline.segments:
        if isinstance(segment, Arc):
            steps += cubics(segment)
        elif segment is not outline.segments[-1]:
            steps.append(segment.end)
    return steps
