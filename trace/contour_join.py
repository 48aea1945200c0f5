"""Contours of a part that was not moved, seen in several photos, to one contour.

The longest closed contour gives the order; at every point along it the other photos' distances
from it are averaged with their weights. Where photos disagree by more than they should, the point
is named.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.spatial import cKDTree

from snugline.notice import Notice
from snugline.place import OfPhoto, Position
from snugline.sentence import Sentence, length, position
from snugline.trace.contour import Curve
from snugline.trace.edge.relief_displacement import outward_normals
from snugline.trace.image.polyline import resample

Floats = NDArray[np.float64]

_STEP_MM = 0.5
# A photo's points represent the edge between them up to this gap.
_GAP_MM = 2.0
# Gaps up to this (a printed marker under the edge) leave an outline closed.
_CLOSED_GAP_MM = 30.0
# Points farther than this from the reference belong to another edge.
_REACH_MM = 2.0
_DISAGREE = 4.0  # standard uncertainties between a photo and the others
_SCATTER_POINTS = 20.0  # over which the scatter of the photos is averaged
_LONG_ENOUGH_MM = 4.0


@dataclass(frozen=True)
class Joined:
    """One contour of all photos, and remarks on where they disagree."""

    curve: Curve
    notices: tuple[Notice, ...]


def join(curves: Sequence[Curve], names: Sequence[str]) -> Joined | None:
    """Average contours that share their axes; None where no photo shows the whole edge."""
    whole = [c for c in curves if c.closed]
    if not whole:
        return None
    reference = max(whole, key=lambda c: len(c.points)).points
    line = resample(reference, _STEP_MM, closed=True)
    line = np.asarray(gaussian_filter1d(line, 2.0, axis=0, mode="wrap"))
    normals = outward_normals(line, closed=True, reach=4)
    tree = cKDTree(line)
    n = len(line)
    weight = np.zeros((len(curves), n))
    offset = np.zeros((len(curves), n))
    own = np.zeros((len(curves), n))  # variance of each point alone
    moved = {of: np.zeros((len(curves), n)) for of in curves[0].sensitivity}
    for k, curve in enumerate(curves):
        distance, index = tree.query(curve.points)
        near = distance < _REACH_MM
        if not near.any():
            continue
        apart = np.sum((curve.points - line[index]) * normals[index], axis=1)
        on_line = _OnLine(index, near, n)
        offset[k], own[k] = on_line.mean(apart), on_line.mean(curve.noise**2)
        for of, by in curve.sensitivity.items():
            moved[of][k] = on_line.mean(by)
        weight[k] = np.where(on_line.seen, on_line.mean(1 / curve.sigma**2), 0.0)
    total = weight.sum(axis=0)
    seen = total > 0
    mean = np.sum(weight * offset, axis=0) / np.maximum(total, 1e-12)
    notices = _disagreements(offset, weight, mean, line, names)
    # Weights are reduced to what the photos' own scatter allows.
    photos = (weight > 0).sum(axis=0)
    chi = np.sum(weight * (offset - mean) ** 2, axis=0) / np.maximum(photos - 1, 1)
    inflate = np.sqrt(np.maximum(gaussian_filter1d(chi, _SCATTER_POINTS, mode="wrap"), 1.0))
    sigma = inflate / np.sqrt(np.maximum(total, 1e-12))
    share = weight / np.maximum(total, 1e-12)
    noise = np.minimum(inflate * np.sqrt(np.sum(share**2 * own, axis=0)), sigma)
    points = line + mean[:, None] * normals
    gaps = np.flatnonzero(seen & ~np.roll(seen, 1))
    kept = np.flatnonzero(seen)
    breaks = tuple(int(np.searchsorted(kept, g)) for g in gaps if g != kept[0])
    longest = max(np.diff(np.append(kept, kept[0] + n))) * _STEP_MM
    closed = bool(longest <= _CLOSED_GAP_MM)
    sensitivity = {of: np.sum(share * by, axis=0)[seen] for of, by in moved.items()}
    curve = Curve(points[seen], sigma[seen], noise[seen], closed, breaks, sensitivity)
    return Joined(curve, notices)


@dataclass(frozen=True)
class _OnLine:
    """One curve's values brought to the places of the line.

    Attributes
    ----------
    index, near : (N,) the place next to each point of the curve, and whether it is near enough.
    count : places.
    """

    index: NDArray[np.intp]
    near: NDArray[np.bool_]
    count: int

    @property
    def _filled(self) -> NDArray[np.intp]:
        return np.flatnonzero(np.bincount(self.index[self.near], minlength=self.count))

    def mean(self, values: Floats) -> Floats:
        """(M,) from (N,): averaged at each place, drawn across gaps.

        Neighbouring points of one photo err together: their weights are averaged, not added.
        """
        index = self.index[self.near]
        sums = np.bincount(index, weights=values[self.near], minlength=self.count)
        counts = np.bincount(index, minlength=self.count)
        filled = self._filled
        around = np.concatenate([filled - self.count, filled, filled + self.count])
        here = np.arange(self.count)
        return np.interp(here, around, np.tile(sums[filled] / counts[filled], 3))

    @property
    def seen(self) -> NDArray[np.bool_]:
        """(M,) places that lie in no gap of the curve."""
        filled, here = self._filled, np.arange(self.count)
        around = np.concatenate([filled - self.count, filled, filled + self.count])
        ahead = around[np.searchsorted(around, here)] - here
        behind = here - around[np.searchsorted(around, here, side="right") - 1]
        inside: NDArray[np.bool_] = ahead + behind <= _GAP_MM / _STEP_MM
        return inside


def _disagreements(
    offset: Floats, weight: Floats, mean: Floats, line: Floats, names: Sequence[str]
) -> tuple[Notice, ...]:
    notices = []
    window = int(_LONG_ENOUGH_MM / _STEP_MM)
    for k, name in enumerate(names):
        rest = weight.sum(axis=0) - weight[k]
        both = (weight[k] > 0) & (rest > 0)
        others = (np.sum(weight * offset, axis=0) - weight[k] * offset[k]) / np.maximum(rest, 1e-12)
        apart = np.where(both, offset[k] - others, 0.0)
        allowed = np.sqrt(1 / np.maximum(weight[k], 1e-12) + 1 / np.maximum(rest, 1e-12))
        calm = np.convolve(apart, np.ones(window) / window, mode="same")
        z = np.where(both, np.abs(calm) / allowed, 0.0)
        worst = int(z.argmax())
        if z[worst] > _DISAGREE:
            x, y = line[worst]
            notices.append(
                Notice(
                    "photos-disagree",
                    Sentence(
                        "In {photo} the edge near {} is {} away from where the other photos place "
                        "it.",
                        position(x, y),
                        length(abs(calm[worst])),
                        photo=name,
                    ),
                    "Make sure that neither the part nor the sheets moved between photos, or drop "
                    "the worse photo.",
                    "usable",
                    OfPhoto(name),
                    Position((round(float(x), 1), round(float(y), 1))),
                )
            )
    return tuple(notices)
