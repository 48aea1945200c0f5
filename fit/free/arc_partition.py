"""A contour cut into arcs: the fewest pieces that the noise allows.

Optimal partitioning (Jackson et al., "An algorithm for optimal partitioning of data on an
interval", IEEE Signal Processing Letters 12, 2005) with the cost of a piece being its best circular
arc, found from running moments for all pieces at once (Taubin's fit, IEEE PAMI 13, 1991, in
Chernov's form). Pieces are fitted each on its own here; tangency comes after, in `arc_spline`.
Papers cited from memory.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.arc_chain import Array, Indices


@dataclass(frozen=True)
class Stations:
    """Local averages of a contour's points, in order, about one `step` apart.

    Attributes
    ----------
    points : (n, 2) mm.
    first : (n,) index of each station's first point.
    weight : (n,) 1, or less for a station of fewer points than most.
    """

    points: Array
    first: Indices
    weight: Array
    step: float

    def __len__(self) -> int:
        return len(self.points)


def stations(points: Array, step: float, gap: NDArray[np.bool_]) -> Stations:
    """Average the points (N, 2) over runs of about `step` mm along the contour.

    gap : (N,) whether something unseen lies before the point.
    """
    length = np.concatenate([[0.0], np.cumsum(_strides(points))])
    starts = np.diff(np.floor(length / step), prepend=-1.0) > 0
    return _gathered(points, starts | gap, step)


def parted(at: Stations, points: Array, segment: Indices) -> Stations:
    """The stations cut where their points pass from one segment to the next."""
    starts = np.zeros(len(points), dtype=bool)
    starts[at.first] = True
    starts[1:] |= np.diff(segment) != 0
    return _gathered(points, starts, at.step)


def _gathered(points: Array, starts: NDArray[np.bool_], step: float) -> Stations:
    first = np.flatnonzero(starts)
    count = np.diff(np.append(first, len(points)))
    weight = np.minimum(count / float(np.median(count)), 1.0)
    return Stations(averaged(points, first), first, weight, step)


def averaged(values: Array, first: Indices) -> Array:
    """Means over the runs that begin at `first`."""
    count = np.diff(np.append(first, len(values)))
    total: Array = np.add.reduceat(values, first, axis=0)
    return total / (count[:, None] if values.ndim > 1 else count)


def _strides(points: Array) -> Array:
    """Length from each point to the next, measured over a smoothed contour."""
    reach = min(4, (len(points) - 1) // 4)
    if reach < 1:
        bare: Array = np.linalg.norm(np.diff(points, axis=0), axis=1)
        return bare
    padded = np.vstack([points[:1]] * reach + [points] + [points[-1:]] * reach)
    running = np.cumsum(np.vstack([np.zeros((1, 2)), padded]), axis=0)
    smooth = (running[2 * reach + 1 :] - running[: -2 * reach - 1]) / (2 * reach + 1)
    strides: Array = np.linalg.norm(np.diff(smooth, axis=0), axis=1)
    return strides


def spread(misfit: Array) -> float:
    """Standard deviation of the stations, from the short pieces of `arc_misfit`, in mm.

    The median over the contour, since a short piece may straddle a corner.
    """
    size = min(8, len(misfit) - 1)
    short = np.array([misfit[i, size - 1] for i in range(len(misfit) - size + 1)])
    # A circle takes three parameters; chi-square's median lies below its mean.
    freedom = size - 3
    median = freedom * (1 - 2 / (9 * freedom)) ** 3
    return math.sqrt(max(float(np.median(short)) * size / median, 0.0))


def arc_misfit(points: Array) -> Array:
    """Mean squared distance from the best arc of the piece i, ..., i + m at [i, m], (n, n) mm^2.

    Infinite where the contour ends before the piece does; 0 for pieces of up to three.
    """
    n = len(points)
    misfit = np.full((n, n), math.inf)
    block = max(64, n // 8)
    for first in range(0, n, block):
        # Later pieces reach less far: the lower triangle is not computed.
        misfit[first : first + block, : n - first] = _misfit_from(points, first, block)
    misfit[:, :3] = np.where(np.isinf(misfit[:, :3]), math.inf, 0.0)
    return misfit


def _misfit_from(points: Array, first: int, block: int) -> Array:
    """The rows of `arc_misfit` that begin at `first` to before first + block."""
    n = len(points)
    rows = np.arange(first, min(first + block, n))[:, None]
    reach = np.arange(n - first)[None, :]
    local = points[np.minimum(rows + reach, n - 1)] - points[rows[:, 0], None, :]
    x, y = local[..., 0], local[..., 1]
    z = x * x + y * y
    count = reach + 1.0
    mx, my, mz = (np.cumsum(q, axis=1) / count for q in (x, y, z))
    xx, xy, yy = (np.cumsum(q, axis=1) / count for q in (x * x, x * y, y * y))
    xz, yz, zz = (np.cumsum(q, axis=1) / count for q in (x * z, y * z, z * z))
    eta = taubin(mx, my, mz, xx, xy, yy, xz, yz, zz)[0]
    eta[rows + reach >= n] = math.inf
    return eta


def taubin(
    mx: Array,
    my: Array,
    mz: Array,
    xx: Array,
    xy: Array,
    yy: Array,
    xz: Array,
    yz: Array,
    zz: Array,
) -> tuple[Array, Array, Array, Array]:
    """Mean squared distance of the best circle, and its (a, p, q).

    About the points' mean the circle is a (x^2 + y^2) - p x - q y + constant = 0. Takes the means
    of x, y, z = x^2 + y^2 and of their products, about any origin near the points.
    """
    mm = mx * mx + my * my
    cxx, cyy, cxy = xx - mx * mx, yy - my * my, xy - mx * my
    cz = mz - mm
    cxz = xz - 2 * mx * xx - 2 * my * xy + mm * mx - mx * cz
    cyz = yz - 2 * mx * xy - 2 * my * yy + mm * my - my * cz
    czz = (
        zz + 4 * (mx * mx * xx + my * my * yy + 2 * mx * my * xy - mx * xz - my * yz)
        + 2 * mm * mz - 3 * mm * mm
    )  # fmt: skip
    det = cxx * cyy - cxy * cxy
    var = czz - cz * cz
    a3, a2 = 4 * cz, -3 * cz * cz - czz
    a1 = var * cz + 4 * det * cz - cxz * cxz - cyz * cyz
    a0 = cxz * (cxz * cyy - cyz * cxy) + cyz * (cyz * cxx - cxz * cxy) - var * det
    eta = np.zeros_like(cz)
    # Newton's iteration from 0 climbs to the least root without overshooting.
    for _ in range(6):
        value = a0 + eta * (a1 + eta * (a2 + eta * a3))
        slope = a1 + eta * (2 * a2 + 3 * a3 * eta)
        eta = eta - np.divide(value, slope, out=np.zeros_like(eta), where=slope != 0)
    eta = np.where(np.isfinite(eta), np.maximum(eta, 0.0), 0.0)
    return eta, det + eta * (eta - cz), cxz * (cyy - eta) - cyz * cxy, cyz * (cxx - eta) - cxz * cxy


def cut(misfit: Array, variance: float, penalty: float) -> Indices:
    """First stations of the pieces of the cheapest partition, ascending, 0 first.

    Parameters
    ----------
    variance : mm^2 of a station's error, the correlation of neighbours included.
    penalty : what a piece costs, in units of chi-square.
    """
    n = len(misfit)
    count = np.arange(1, n + 1)
    cost = count * misfit / variance
    best, back = np.zeros(n + 1), np.zeros(n + 1, dtype=int)
    for end in range(1, n + 1):
        first = np.arange(end)
        total = best[:end] + cost[first, end - 1 - first]
        # A piece of three stations does not determine an arc; shorter ones even less.
        total[max(0, end - 2) : end] += penalty
        back[end] = int(np.argmin(total))
        best[end] = total[back[end]] + penalty
    cuts = [n]
    while cuts[-1] > 0:
        cuts.append(int(back[cuts[-1]]))
    return np.array(cuts[:0:-1], dtype=np.intp)
