"""Random outlines, and their parallels made by shapely, for tests and benchmarks."""

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from snugline.errors import FitError
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Arc, Outline, polygon_of
from snugline.fit.geometry.primitives import filleted_polygon, rounded_rectangle

Points = NDArray[np.float64]

CHORD_ERROR = 2e-5  # mm, of every arc that shapely sees


def random_outline(rng: np.random.Generator) -> Outline:
    """A rounded rectangle, a stadium, or a polygon with some corners rounded.

    The polygons are stars, dumb-bells, whose necks close when shrunk, and clasps, whose mouths
    close when enlarged.
    """
    kind = rng.integers(0, 6)
    width = rng.uniform(10, 100)
    length = width + rng.uniform(0, 200)
    if kind == 0:
        return rounded_rectangle(length, width, width / 2)
    if kind == 1:
        radii = rng.uniform(0, width / 2, 4) * rng.integers(0, 2, 4)
        return rounded_rectangle(length, width, radii.tolist())
    corners = {2: _dumb_bell, 3: _clasp}.get(int(kind), _star)
    while True:
        outline = _rounded(corners(rng), rng)
        if outline is not None:
            return outline


def convex_outline(rng: np.random.Generator) -> Outline:
    """A convex polygon with its corners on a circle, rounded by a small radius."""
    while True:
        angle = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 9)))
        gaps = np.diff(angle, append=angle[0] + 2 * np.pi)
        # Wide enough that the fillets fit: they need 0.5 tan(1.3) of a side of 20 * 0.2 or more.
        if gaps.min() > 0.2 and gaps.max() < 2.6:
            corner = np.column_stack((np.cos(angle), np.sin(angle)))
            return filleted_polygon((rng.uniform(20, 100) * corner).tolist(), rng.uniform(0, 0.5))


def _star(rng: np.random.Generator) -> Points:
    count = rng.integers(3, 11)
    angle = np.sort(rng.uniform(0, 2 * np.pi, count))
    return rng.uniform(15, 120, count)[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))


def _dumb_bell(rng: np.random.Generator) -> Points:
    x, y = rng.uniform(20, 50, 4), rng.uniform(15, 50, 4)
    neck, at = rng.uniform(3, 12, 2), rng.uniform(-10, 10, 2)
    corners = [(-x[0], -y[0]), (at[0], -neck[0]), (x[1], -y[1])]
    return np.array([*corners, (x[2], y[2]), (at[1], neck[1]), (-x[3], y[3])])


def _clasp(rng: np.random.Generator) -> Points:
    wall, mouth = rng.uniform(10, 30), rng.uniform(2, 10, 2)
    x, y = rng.uniform(40, 90), rng.uniform(30, 60)
    rim = [(x - wall, mouth[0]), (x, mouth[1]), (x, y), (-x, y), (-x, -y), (x, -y)]
    inner = [(x, -mouth[1]), (x - wall, -mouth[0]), (wall - x, wall - y), (wall - x, y - wall)]
    return np.array([*rim, *inner])


def _rounded(points: Points, rng: np.random.Generator) -> Outline | None:
    """The polygon with a random fillet at most corners, or None if it crosses itself."""
    count = len(points)
    polygon = shapely.Polygon(points)
    if not polygon.is_valid or polygon.area < 100:
        return None
    side = np.roll(points, -1, axis=0) - points
    length = np.hypot(*side.T)
    before = np.roll(side, 1, axis=0)
    turn = np.arctan2(
        before[:, 0] * side[:, 1] - before[:, 1] * side[:, 0], (before * side).sum(axis=1)
    )
    room = np.minimum(length, np.roll(length, 1)) / 2
    widest = np.minimum(room / np.abs(np.tan(turn / 2)), 60)
    radii = widest * rng.uniform(0, 1, count) * (rng.uniform(size=count) < 0.8)
    try:
        outline = filleted_polygon(points.tolist(), radii.tolist())
    except FitError:
        return None
    # A star may run clockwise where its centre lies outside; fillets may cross.
    simple = shapely.is_valid(polygon_of(outline, 1e-3)) and outline.area > 50
    return outline if simple else None


def parallel_by_shapely(
    outline: Outline, distance: float, chord_error: float = CHORD_ERROR
) -> shapely.Geometry:
    """The region within a distance (or further inside than it), by unions of simple shapes.

    Each segment is buffered by itself: buffering the whole would let GEOS simplify its input
    first, by up to a hundredth of the distance.
    """
    reach = abs(distance)
    segments = max(8, math.ceil(math.pi / 4 / math.sqrt(2 * chord_error / reach)))
    near = [
        shapely.LineString([s.start, s.end]).buffer(reach, quad_segs=segments)
        if not isinstance(s, Arc)
        else _band(s, reach, chord_error)
        for s in outline.segments
    ]
    near += [shapely.Point(s.start).buffer(reach, quad_segs=segments) for s in outline.segments]
    source = polygon_of(outline, chord_error)
    if distance > 0:
        return shapely.union_all([source, *near])
    return source.difference(shapely.union_all(near))


def _band(arc: Arc, reach: float, chord_error: float) -> shapely.Geometry:
    """The points abreast of an arc within a distance of it."""
    outer, inner = arc.radius + reach, max(arc.radius - reach, 0.0)
    count = max(2, math.ceil(abs(arc.sweep) / math.sqrt(8 * chord_error / outer)))
    start = math.atan2(arc.start[1] - arc.centre[1], arc.start[0] - arc.centre[0])
    angle = start + arc.sweep * np.linspace(0, 1, count + 1)
    ray = np.column_stack((np.cos(angle), np.sin(angle)))
    ring = np.concatenate((arc.centre + outer * ray, arc.centre + inner * ray[::-1]))
    return shapely.make_valid(shapely.Polygon(ring))


def distance_to_shapely(
    loops: list[Outline], outline: Outline, distance: float, coarse: float = CHORD_ERROR
) -> float:
    """Hausdorff distance between loops and shapely's parallel, mm.

    At a sharp tip the chords' error is enlarged by the tip's slenderness; so shapely gets shorter
    chords where it differs, down to 0.1 micrometres.
    """
    found = math.inf
    for chord_error in (coarse, 1e-6, 1e-7):
        found = hausdorff(loops, parallel_by_shapely(outline, distance, chord_error))
        if found < 3e-5:
            break
    return found


def hausdorff(loops: list[Outline], reference: shapely.Geometry) -> float:
    """Largest distance between the loops and the border of a region, both ways; mm."""
    if not loops or reference.is_empty:
        return 0.0 if not loops and reference.is_empty else math.inf
    border = shapely.get_coordinates(reference.boundary)
    to_loops = np.min([np.abs(signed_distance(loop, border)) for loop in loops], axis=0)
    points = np.concatenate([loop.sampled(0.5) for loop in loops])
    return float(max(to_loops.max(), _to_border(reference, points).max()))


def _to_border(region: shapely.Geometry, points: Points) -> Points:
    lines = shapely.get_parts(region.boundary)
    edges = np.concatenate(
        [
            shapely.linestrings(np.stack((xy[:-1], xy[1:]), axis=1))
            for xy in map(shapely.get_coordinates, lines)
        ]
    )
    _, distance = shapely.STRtree(edges).query_nearest(
        shapely.points(points), return_distance=True, all_matches=False
    )
    return np.asarray(distance)
