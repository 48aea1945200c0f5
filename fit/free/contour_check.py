"""Contours that cannot be a part's edge, refused before any search is spent on them."""

import numpy as np
from numpy.typing import NDArray

from snugline.counting import counted
from snugline.errors import FitError
from snugline.fit.section import Section

_NODES = 150  # points of the coarse polygon: noise does not tangle it
_LEAST = 16  # points
_THIN = 5.0  # standard uncertainties that an edge must go beyond, or a contour be wide


def check_contour(section: Section) -> None:
    """Refuse a contour in which no outline is to be found.

    Raises
    ------
    FitError : too few points, points that are not numbers or have no sigma; all at one point; one
        that crosses itself, encloses nothing or, closed, runs clockwise.
    """
    points, where = section.points, section.name
    if len(points) < _LEAST:
        raise FitError(
            f"only {counted(len(points), 'point')} along the contour",
            where,
            "trace more of the edge",
        )
    if not (np.isfinite(points).all() and np.isfinite(section.noise).all()):
        raise FitError("a point or its sigma is not a number", where, "trace the contour again")
    if not (section.noise > 0).all():
        raise FitError("a point has no sigma above zero", where, "trace the contour again")
    sigma = float(np.median(section.noise))
    if np.ptp(points, axis=0).max() <= _THIN * sigma:
        raise FitError("all its points lie in one place", where, "trace the part's edge")
    coarse = _coarse(points)
    if section.closed:
        area, round_it = _area(points), np.vstack([points, points[:1]])
        length = float(np.hypot(*np.diff(round_it, axis=0).T).sum())
        if 2 * abs(area) <= _THIN * sigma * length:
            raise FitError("the contour encloses nothing", where, "trace the part's edge all round")
        coarse = np.vstack([coarse, coarse[:1]])
    _uncrossed(coarse, _THIN * sigma, where)
    if section.closed and area < 0:
        raise FitError("the contour runs clockwise", where, "give it with the part on the left")


def _area(points: NDArray[np.float64]) -> float:
    """Area of the polygon, positive counter-clockwise."""
    x, y = (points - points.mean(axis=0)).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def _coarse(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Means of runs of neighbours."""
    count = min(_NODES, len(points))
    start = np.arange(count) * len(points) // count
    size = np.diff(start, append=len(points))
    means: NDArray[np.float64] = np.add.reduceat(points, start, axis=0) / size[:, None]
    return means


def _uncrossed(line: NDArray[np.float64], blur: float, where: str) -> None:
    import shapely

    # Points that dwell in one place make a tangle no larger than their noise.
    path = shapely.LineString(line).simplify(blur, preserve_topology=False)
    if path.is_simple:
        return
    # Cut at its crossings, the first piece ends at one.
    x, y = shapely.get_parts(shapely.unary_union(path))[0].coords[-1]
    raise FitError(
        f"the contour crosses itself near ({x:.1f}, {y:.1f}) mm",
        where,
        "check the overlay: the edge that was traced is not the part's alone",
    )
