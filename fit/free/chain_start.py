"""From the pieces of a contour to a first chain: each piece's own arc, joined where they meet."""

import math

import numpy as np

from snugline.fit.free.arc_partition import Stations, taubin
from snugline.fit.geometry.arc_chain import Array, Chain, Indices, left

_SHARP = math.radians(15.0)


def chain_through(at: Stations, pieces: Indices, closed: bool) -> Chain:
    """A chain of the pieces' own arcs, headings averaged where two meet without a corner."""
    points, n, k = at.points, len(at), len(pieces)
    ends = np.append(pieces[1:], n)
    bend = np.zeros(k)
    heading = np.zeros((k, 2))
    for i, (first, last) in enumerate(zip(pieces, ends, strict=True)):
        if last - first < 3:
            first, last = max(first - 1, 0), min(last + 1, n)
        bend[i], heading[i] = _own_arc(points[first:last], at.step)
    node = np.vstack([(points[pieces[1:] - 1] + points[pieces[1:]]) / 2])
    seam = (points[-1] + points[0]) / 2 if closed else points[0]
    node = np.vstack([seam, node, seam if closed else points[-1]])
    jump = np.zeros(k)
    jump[1:] = _wrap(heading[1:, 0] - heading[:-1, 1])
    if closed and k > 1:
        jump[0] = _wrap(heading[:1, 0] - heading[-1:, 1])[0]
    corner = np.abs(jump) > _SHARP
    smooth = np.where(corner, 0.0, jump / 2)
    begin = heading[:, 0] - smooth
    finish = heading[:, 1] + np.append(smooth[1:], smooth[0])
    chord = np.diff(node, axis=0)
    reach_mm = np.linalg.norm(chord, axis=1)
    walked = np.maximum((ends - pieces) * at.step, reach_mm)
    sweep = bend * walked
    sweep = sweep + _wrap(finish - begin - sweep)
    half = np.sinc(np.clip(sweep / 2, -2.5, 2.5) / math.pi)
    lengths = np.where(np.abs(sweep) < 4.0, reach_mm / np.maximum(half, 0.1), walked)
    if closed and k == 1:
        sweep = np.array([math.copysign(2 * math.pi, bend[0])])
        lengths = np.abs(sweep / bend) if bend[0] else walked
    return Chain(
        start=(float(node[0, 0]), float(node[0, 1])),
        heading=float(begin[0]),
        lengths=lengths,
        curvatures=sweep / lengths,
        turns=np.where(corner, jump, 0.0),
        straight=np.zeros(k, dtype=bool),
        corner=corner,
        closed=closed,
    )


def _own_arc(points: Array, step: float) -> tuple[float, Array]:
    """Curvature of the best arc of a piece, and its headings half a step beyond each end."""
    mean = points.mean(axis=0)
    local = points - mean
    ends = local[[1, -1]] - local[[0, -2]] if len(points) > 1 else np.ones((2, 2))
    x, y = local.T
    z = x * x + y * y
    products = (x, y, z, x * x, x * y, y * y, x * z, y * z, z * z)
    _, a, p, q = (float(v) for v in taubin(*(np.array(float(np.mean(v))) for v in products)))
    slope = 2 * a * local[[0, -1]] - np.array([p, q])
    size = np.linalg.norm(slope, axis=1)
    if len(points) < 3 or size.min() <= 1e-14 * float(z.max()) ** 2.5:
        along = local[-1] - local[0]
        return 0.0, np.full(2, math.atan2(along[1], along[0]))
    tangent = left(slope / size[:, None])
    forward = np.sign(np.sum(tangent * ends, axis=1))
    tangent = tangent * np.where(forward == 0, 1.0, forward)[:, None]
    kappa = float(-2 * a / (slope[0] @ left(tangent)[0]))
    angle: Array = np.arctan2(tangent[:, 1], tangent[:, 0])
    return kappa, angle + np.array([-0.5, 0.5]) * step * kappa


def _wrap(angle: Array) -> Array:
    return (angle + math.pi) % (2 * math.pi) - math.pi
