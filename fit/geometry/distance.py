"""Distance of points to an outline, with foot points and normals, over all points at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.outline import Outline

_BLOCK = 1 << 15
"""Point-segment pairs handled at a time: few enough to stay in the processor's cache."""

ON_CURVE = 1e-9
"""mm; nearer than this a point has the segment's own normal, not the direction to its foot."""

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Nearest:
    """Positions of points relative to an outline.

    Attributes
    ----------
    distance : (N,) mm, positive outside the enclosed region, negative inside.
    foot : (N, 2) mm, the nearest point of the outline.
    normal : (N, 2) the gradient of `distance`: a unit vector, outwards from the region.
    segment : (N,) index of the segment the foot lies on.
    """

    distance: Floats
    foot: Floats
    normal: Floats
    segment: NDArray[np.intp]


def signed_distance(outline: Outline, points: Floats) -> Floats:
    """Distance of (N, 2) points to the outline, mm, positive outside whichever way it winds."""
    return np.concatenate(
        [np.where(_winding(outline, b) != 0, -1.0, 1.0) * _unsigned(outline, b).min(axis=0)
         for b in _blocks(outline, points)]
    )  # fmt: skip


def contains(outline: Outline, points: Floats) -> Bools:
    """Whether each of (N, 2) points lies inside the outline."""
    return np.asarray(winding_number(outline, points) != 0)


def winding_number(outline: Outline, points: Floats) -> NDArray[np.int64]:
    """How often the outline runs round each of (N, 2) points, counter-clockwise positive."""
    return np.concatenate([_winding(outline, block) for block in _blocks(outline, points)])


def nearest(outline: Outline, points: Floats) -> Nearest:
    """Signed distance, foot point and outward normal of (N, 2) points."""
    parts = [_nearest(outline, block) for block in _blocks(outline, points)]
    return Nearest(
        np.concatenate([p.distance for p in parts]),
        np.concatenate([p.foot for p in parts]),
        np.concatenate([p.normal for p in parts]),
        np.concatenate([p.segment for p in parts]),
    )


def _blocks(outline: Outline, points: Floats) -> list[Floats]:
    points = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    return np.array_split(points, max(1, len(points) * len(outline.segments) // _BLOCK))


# In what follows segments run down and points across, (S, N): the long axis innermost is fast.


def _unsigned(outline: Outline, points: Floats) -> Floats:
    """Distance of each point to each segment, (S, N)."""
    a = outline.arrays
    result = np.empty((len(a.radius), len(points)))
    x, y = np.ascontiguousarray(points.T)
    lines, arcs = np.flatnonzero(~a.is_arc), np.flatnonzero(a.is_arc)
    if len(lines):
        length = a.length[lines, None]
        sx, sy = _columns(a.start[lines])
        ux, uy = _columns((a.end - a.start)[lines] / length)
        dx, dy = x - sx, y - sy
        part = dx * ux + dy * uy
        off = dy * ux - dx * uy
        # Beyond an end the distance along the line counts too; on the line it is zero.
        beyond = part - np.minimum(np.maximum(part, 0.0), length)
        result[lines] = np.sqrt(beyond * beyond + off * off)
    if len(arcs):
        # Beyond an arc the nearer of its ends counts; its end is the start of the next segment.
        sx, sy = _columns(a.start)
        to_start = (x - sx) ** 2 + (y - sy) ** 2
        to_ends = np.minimum(to_start, np.roll(to_start, -1, axis=0))[arcs]
        cx, cy = _columns(a.centre[arcs])
        dx, dy = x - cx, y - cy
        to_circle = np.abs(np.sqrt(dx * dx + dy * dy) - a.radius[arcs, None])
        from_centre = _columns((a.start - a.centre)[arcs]), _columns((a.end - a.centre)[arcs])
        abreast = _in_wedge(*from_centre, a.sweep[arcs, None], dx, dy)
        result[arcs] = np.where(abreast, to_circle, np.sqrt(to_ends))
    return result


def _columns(vectors: Floats) -> Floats:
    """Abscissae and ordinates of (S, 2) vectors, each as a column (S, 1)."""
    return vectors.T[:, :, None]


def _in_wedge(start: Floats, end: Floats, sweep: Floats, dx: Floats, dy: Floats) -> Bools:
    """Whether directions from a centre lie between those of the arc's start and end."""
    side = np.sign(sweep)
    sx, sy = start * side
    ex, ey = end * side
    after = sx * dy >= sy * dx
    before = dx * ey >= dy * ex
    # A wedge of more than half a turn is everything but the remaining wedge.
    return np.asarray((after & before) | ((np.abs(sweep) > np.pi) & (after | before)))


def _winding(outline: Outline, points: Floats) -> NDArray[np.int64]:
    """Winding number about the polygon of chords, and what lies between chords and arcs.

    Both parts use the same cross product for the side of a chord on which a point lies, so that no
    point on a chord is counted twice or never; on the chord itself the point counts as if it
    were moved a little to the right and, less, upwards.
    """
    a = outline.arrays
    x, y = np.ascontiguousarray(points.T)
    sx, sy = _columns(a.start)
    ex, ey = _columns(a.end)
    cross = (ex - sx) * (y - sy) - (ey - sy) * (x - sx)
    on_right = (ey > sy) | ((ey == sy) & (ex < sx))
    left = (cross > 0) | ((cross == 0) & ~on_right)
    start_above, end_above = sy > y, ey > y
    rises = (~start_above & end_above & left).sum(axis=0)
    falls = (start_above & ~end_above & ~left).sum(axis=0)
    winding = rises.astype(np.int64) - falls
    arcs = np.flatnonzero(a.is_arc)
    if len(arcs):
        cx, cy = _columns(a.centre[arcs])
        in_disc = (x - cx) ** 2 + (y - cy) ** 2 < a.radius[arcs, None] ** 2
        turning_left = a.sweep[arcs, None] > 0
        in_bow = in_disc & (left[arcs] != turning_left)
        winding += (in_bow & turning_left).sum(axis=0)
        winding -= (in_bow & ~turning_left).sum(axis=0)
    return np.asarray(winding)


def _nearest(outline: Outline, points: Floats) -> Nearest:
    a = outline.arrays
    which = np.argmin(_unsigned(outline, points), axis=0)
    start, end = a.start[which], a.end[which]
    foot, outward = np.empty_like(start), np.empty_like(start)

    lines = np.flatnonzero(~a.is_arc[which])
    chord = end[lines] - start[lines]
    part = _dot(points[lines] - start[lines], chord) / _dot(chord, chord)
    foot[lines] = start[lines] + np.clip(part, 0.0, 1.0)[:, None] * chord
    outward[lines] = np.column_stack((chord[:, 1], -chord[:, 0]))

    arcs = np.flatnonzero(a.is_arc[which])
    centre, sweep = a.centre[which[arcs]], a.sweep[which[arcs]]
    start, end = start[arcs], end[arcs]
    radial = points[arcs] - centre
    # The very centre is equally far from all of the arc: its start will do.
    radial = np.where((radial == 0).all(axis=1)[:, None], start - centre, radial)
    radial /= np.hypot(*radial.T)[:, None]
    to_start = np.hypot(*(points[arcs] - start).T)
    to_end = np.hypot(*(points[arcs] - end).T)
    foot[arcs] = np.where(
        _in_wedge((start - centre).T, (end - centre).T, sweep, *radial.T)[:, None],
        centre + a.radius[which[arcs], None] * radial,
        np.where((to_start <= to_end)[:, None], start, end),
    )
    outward[arcs] = radial * np.sign(sweep)[:, None]

    away = points - foot
    size = np.hypot(*away.T)
    sign = np.where(_winding(outline, points) != 0, -1.0, 1.0)
    on_curve = size < ON_CURVE
    outward *= outline.winding
    normal = np.where(on_curve[:, None], outward, sign[:, None] * away)
    normal /= np.hypot(*normal.T)[:, None]
    return Nearest(sign * size, foot, normal, which)


def _dot(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.einsum("ij,ij->i", a, b))
