"""A smooth curve as a chain of arcs without kinks, by biarcs; a straight piece is a line.

Two arcs join two points with given tangents (Bolton 1975, "Biarc curves", CAD 7); an interval
whose biarc strays too far, or bends both ways, is halved.
"""

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FitError
from snugline.fit.geometry.outline import TANGENT_TOL, Arc, Line

Array = NDArray[np.float64]


def biarcs(
    sample: Callable[[float], tuple[Array, Array]],
    deviation: Callable[[Array], float],
    start: float,
    end: float,
    tolerance: float,
) -> tuple[Line | Arc, ...]:
    """Arcs along a convex curve.

    Parameters
    ----------
    sample : point and unit tangent at a parameter.
    deviation : the largest distance of some points (N, 2) from the curve.
    start, end : the parameters to run between.
    tolerance : mm, the largest deviation allowed.
    """
    todo = [(start, end, *sample(start), *sample(end), 0)]
    arcs: list[Line | Arc] = []
    while todo:
        a, b, p, t, q, u, depth = todo.pop()
        if not np.any(q - p):
            continue  # a curve of no length needs no arc
        pair = _biarc(p, t, q, u)
        strays = _sweep(pair[0]) * _sweep(pair[1]) < 0 or (
            deviation(np.concatenate([_points(arc) for arc in pair])) > tolerance
        )
        if strays and depth < 12:
            middle = (a + b) / 2
            m, v = sample(middle)
            todo += [(middle, b, m, v, q, u, depth + 1), (a, middle, p, t, m, v, depth + 1)]
        else:
            arcs += pair
    return tuple(arcs)


def _biarc(p: Array, t: Array, q: Array, u: Array) -> tuple[Line | Arc, Line | Arc]:
    """Two arcs from p along t to q along u, with equal tangent lengths."""
    v = q - p
    both, own = float(v @ (t + u)), float(v @ v)
    divisor = both + math.sqrt(both * both + 2 * (1 - float(t @ u)) * own)
    if not divisor > 0:
        raise FitError("a side runs backwards between its corners", "outline", "check the readings")
    reach = own / divisor
    joint = (p + q + reach * (t - u)) / 2
    ahead = joint - p - reach * t
    tangent = ahead / np.linalg.norm(ahead)
    return _arc(p, t, joint, tangent), _arc(joint, tangent, q, u)


def _arc(p: Array, t: Array, q: Array, u: Array) -> Line | Arc:
    chord = q - p
    across = float(t[0] * chord[1] - t[1] * chord[0])
    if abs(across) < TANGENT_TOL * math.hypot(*chord):
        return Line((float(p[0]), float(p[1])), (float(q[0]), float(q[1])))
    sweep = math.atan2(t[0] * u[1] - t[1] * u[0], float(t @ u))
    radius = float(chord @ chord) / (2 * across)
    centre = p + radius * np.array([-t[1], t[0]])
    return Arc(
        (float(p[0]), float(p[1])),
        (float(q[0]), float(q[1])),
        (float(centre[0]), float(centre[1])),
        abs(radius),
        sweep,
    )


def _sweep(piece: Line | Arc) -> float:
    return piece.sweep if isinstance(piece, Arc) else 0.0


def _points(arc: Line | Arc) -> Array:
    """Nine points along an arc, or the ends of a line."""
    if isinstance(arc, Line):
        return np.array([arc.start, arc.end])
    centre = np.array(arc.centre)
    x, y = np.array(arc.start) - centre
    angle = np.linspace(0, arc.sweep, 9)
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(centre + np.stack([x * c - y * s, x * s + y * c], axis=1))
