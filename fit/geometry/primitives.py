"""Outlines of common shapes, made of true lines and arcs, counter-clockwise."""

import math
from collections.abc import Sequence

from snugline.errors import FitError
from snugline.fit.geometry.outline import Arc, Line, Outline, Point

SIDE_TOL = 1e-9
"""mm; a straight side shorter than this vanishes between its two arcs."""


def circle(radius: float, centre: Point = (0.0, 0.0)) -> Outline:
    """A circle as two half arcs."""
    x, y = centre
    right, left = (x + radius, y), (x - radius, y)
    return Outline(
        (
            Arc(right, left, centre, radius, math.pi),
            Arc(left, right, centre, radius, math.pi),
        )
    )


def as_circle(outline: Outline) -> tuple[Point, float] | None:
    """Centre and radius of an outline that is one whole circle, counter-clockwise; else None."""
    first = outline.segments[0]
    if not isinstance(first, Arc):
        return None
    whole = 0.0
    for arc in outline.segments:
        if not isinstance(arc, Arc) or arc.sweep < 0:
            return None
        if math.dist(arc.centre, first.centre) + abs(arc.radius - first.radius) > SIDE_TOL:
            return None
        whole += arc.sweep
    return (first.centre, first.radius) if abs(whole - 2 * math.pi) < 1e-6 else None


def polygon(points: Sequence[Point]) -> Outline:
    """Straight lines through the points and back to the first."""
    corners = [(float(x), float(y)) for x, y in points]
    return Outline(
        tuple(Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True))
    )


def rounded_rectangle(length: float, width: float, radii: float | Sequence[float] = 0.0) -> Outline:
    """A rectangle centred on the origin, its corners rounded by tangent arcs.

    Parameters
    ----------
    length, width : mm, along x and y.
    radii : mm, one for all corners, or front left, front right, back right, back left. A corner
        of radius 0 stays sharp.

    Returns
    -------
    outline : four lines and four arcs. A side that its corners use up vanishes, and arcs of one
        centre that meet become one: a stadium has two lines and two half arcs, a full round is
        a circle.

    Raises
    ------
    FitError : sides without length, or radii that do not fit on a side.
    """
    if not (length > 0 and width > 0):
        raise FitError(
            f"a size of {length:g} by {width:g} mm", "rectangle", "give sides longer than 0"
        )
    r = _each(radii, 4)
    if len(set(r)) == 1 and max(abs(length - 2 * r[0]), abs(width - 2 * r[0])) < SIDE_TOL:
        return circle(r[0])
    x, y = length / 2, width / 2
    return filleted_polygon(((-x, -y), (x, -y), (x, y), (-x, y)), r)


def filleted_polygon(points: Sequence[Point], radii: float | Sequence[float]) -> Outline:
    """A polygon with each corner, convex or concave, rounded by an arc tangent to both sides.

    Parameters
    ----------
    points : corners in order.
    radii : mm, one for all corners or one for each; a corner of radius 0 stays sharp.

    Raises
    ------
    FitError : a corner that turns by nothing or straight back, or arcs that do not fit on a side.
    """
    corners = [(float(px), float(py)) for px, py in points]
    count = len(corners)
    r = _each(radii, count)
    if count < 3 or len(r) != count or min(r) < 0:
        raise FitError(
            f"{count} corners with {len(r)} radii, the least {min(r, default=0):g} mm",
            "polygon",
            "give three corners or more, and for each a radius of 0 or more",
        )
    sides = [Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    turns, tangents = _turns(sides)
    reach = [ri * abs(tangent) for ri, tangent in zip(r, tangents, strict=True)]

    ends: list[tuple[Point, Point]] = []
    for i, side in enumerate(sides):
        j = (i + 1) % count
        room = side.length - reach[i] - reach[j]
        if room < -SIDE_TOL:
            raise FitError(
                f"corners need {reach[i] + reach[j]:g} mm of a side {side.length:g} mm long",
                f"polygon, side {i + 1}",
                "make the radii smaller or the side longer",
            )
        ends.append((_along(side, reach[i]), _along(side.reversed(), reach[j])))
        if room <= SIDE_TOL:
            ends[-1] = (ends[-1][0], ends[-1][0])

    segments: list[Line | Arc] = []
    for i, side in enumerate(sides):
        start, end = ends[i - 1][1], ends[i][0]
        if r[i] > 0:
            ux, uy = side.directions[0]
            left = math.copysign(r[i], turns[i])
            # Relative to the side's start: square corners then get centres without rounding.
            fx, fy = _along(side, reach[i])
            centre = fx - left * uy, fy + left * ux
            arc = Arc(start, end, centre, r[i], turns[i])
            merged = _joined(segments[-1], arc) if segments else None
            if merged is None:
                segments.append(arc)
            else:
                segments[-1] = merged
        if ends[i][0] != ends[i][1]:
            segments.append(Line(*ends[i]))
    # The first arc may continue the last one.
    if len(segments) > 2:
        merged = _joined(segments[-1], segments[0])
        if merged is not None:
            segments = [merged, *segments[1:-1]]
    return Outline(tuple(segments))


def _each(radii: float | Sequence[float], count: int) -> list[float]:
    if isinstance(radii, int | float):
        return [float(radii)] * count
    return [float(v) for v in radii]


def _turns(sides: list[Line]) -> tuple[list[float], list[float]]:
    """The turn at each side's start and the tangent of half of it, exact for square corners."""
    turns, tangents = [], []
    for i, side in enumerate(sides):
        (ax, ay), (bx, by) = sides[i - 1].directions[1], side.directions[0]
        cross, dot = ax * by - ay * bx, ax * bx + ay * by
        turn = math.atan2(cross, dot)
        if not 1e-12 < abs(turn) < math.pi - 1e-9:
            raise FitError(
                f"the outline turns by {math.degrees(turn):g} degrees",
                f"polygon, corner {i + 1}",
                "leave the corner out, or move it off the line of its neighbours",
            )
        turns.append(turn)
        tangents.append(cross / (1 + dot))
    return turns, tangents


def _along(side: Line, distance: float) -> Point:
    ux, uy = side.directions[0]
    return side.start[0] + distance * ux, side.start[1] + distance * uy


def _joined(first: Line | Arc, second: Line | Arc) -> Arc | None:
    """One arc for two of the same circle and sense that together make a half turn at most."""
    if not (isinstance(first, Arc) and isinstance(second, Arc)):
        return None
    sweep = first.sweep + second.sweep
    same = (
        math.dist(first.centre, second.centre) < SIDE_TOL
        and abs(first.radius - second.radius) < SIDE_TOL
        and first.sweep * second.sweep > 0
        and abs(sweep) < math.pi + 1e-12
        and first.end == second.start
    )
    return Arc(first.start, second.end, first.centre, first.radius, sweep) if same else None
