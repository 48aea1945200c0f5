"""Whether a part lay still between two photos of it, and along which stretches they disagree.

Both are seen by the contours themselves: those of a part that lay still coincide on the sheet.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, binary_opening
from scipy.spatial import cKDTree

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.relief_displacement import Lifted, PartSides, lift
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.plan_curve import SLOPE_SMOOTH, mm_of_px

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

# Points farther apart are of different edges, mm: relief moves the edge of a thick part that far.
_REACH_MM = 8.0
_BESIDE_MM = 1.0  # along the edge, between a point and the one opposite
_SAME_WAY = 0.5  # cosine of the angle between the directions of two edges that may be one
# In standard uncertainties of the distance between two photos: what agrees.
AGREES = 3.0
# The part lay still where this share of what both photos show agrees, holds the part both ways
# (with the weight of a stretch that faces any direction), and is moved by no more than is
# uncertain, or than what makes two edges of one, mm.
_SHARE = 0.4
_MOVED_MM = 0.15
_LEAST = 12  # points of a stretch: what a contour keeps, and what the witness needs beside a row
# The other photo's stretch may be longer than the one it stands for by a half, and this, mm.
_LONGER, _LONGER_MM = 1.5, 10.0


@dataclass(frozen=True)
class Followed:
    """The part's outer edge as one photo has it.

    Attributes
    ----------
    common : mm, uncertainty that all of its points share.
    """

    name: str
    camera: Camera
    sides: PartSides
    pieces: tuple[Silhouette, ...]
    common: float

    @cached_property
    def lifted(self) -> tuple[Lifted, ...]:
        return tuple(
            lift(self.camera, p.pixels, self.sides, p.closed, SLOPE_SMOOTH) for p in self.pieces
        )

    @cached_property
    def points(self) -> Floats:
        """(N, 2) mm of all pieces."""
        return np.concatenate([one.points for one in self.lifted])

    @cached_property
    def on_sheet(self) -> Floats:
        """(N, 2) mm, where they would lie if they were on the sheet."""
        return self.camera.on_plane(np.concatenate([piece.pixels for piece in self.pieces]))

    @cached_property
    def normals(self) -> Floats:
        return np.concatenate([one.normals for one in self.lifted])

    @cached_property
    def good(self) -> Mask:
        return np.concatenate([piece.good for piece in self.pieces])

    @cached_property
    def ambiguous(self) -> Mask:
        """(N,) points of unknown height, whose place in plan cannot be compared."""
        return np.concatenate([one.ambiguous for one in self.lifted])

    @cached_property
    def own(self) -> Floats:
        """(N,) mm, noise of each point."""
        return np.concatenate(
            [
                p.sigma * mm_of_px(self.camera, p, one.height)
                for p, one in zip(self.pieces, self.lifted, strict=True)
            ]
        )

    @cached_property
    def starts(self) -> Indices:
        """Index of each piece's first point, and the number of points."""
        return np.cumsum([0, *(len(p.pixels) for p in self.pieces)])

    def of_piece(self, number: int) -> slice:
        return slice(*self.starts[number : number + 2])

    def within(self, number: int, which: slice) -> slice:
        """Points of one piece among those of all."""
        start = int(self.starts[number])
        return slice(start + which.start, start + which.stop)


@dataclass(frozen=True)
class Apart:
    """One photo's points against another's.

    Attributes
    ----------
    index : (N,) the other's point next to each; -1 where none is near.
    across, u : (N,) mm outwards to it, and the standard uncertainty of that.
    sure : (N,) both are sure of the edge there.
    height : (N,) both know its height.
    """

    index: Indices
    across: Floats
    u: Floats
    sure: Mask
    height: Mask

    @staticmethod
    def of(one: Followed, other: Followed, on_sheet: bool = False) -> "Apart":
        """Both taken as the part's edge, or as what lies on the sheet."""
        here, there = (one.on_sheet, other.on_sheet) if on_sheet else (one.points, other.points)
        distance, index = cKDTree(there).query(here)
        step = there[index] - here
        across = np.sum(step * one.normals, axis=1)
        beside = np.sqrt(np.maximum(distance**2 - across**2, 0.0))
        same = np.sum(one.normals * other.normals[index], axis=1) > _SAME_WAY
        near = (distance < _REACH_MM) & (beside < _BESIDE_MM) & same
        square = one.own**2 + other.own[index] ** 2 + one.common**2 + other.common**2
        return Apart(
            np.where(near, index, -1),
            np.where(near, across, 0.0),
            np.sqrt(square),
            near & one.good & other.good[index],
            near & ~one.ambiguous & ~other.ambiguous[index],
        )

    @property
    def near(self) -> Mask:
        return self.index >= 0

    def typical(self, which: slice) -> float:
        """Mm, how far apart the photos are along these points."""
        near = self.near[which]
        return float(np.median(np.abs(self.across[which][near]))) if near.any() else 0.0

    def differ(self, which: slice) -> bool:
        """Whether the photos have the edge in different places along these points."""
        return self.typical(which) > AGREES * float(np.median(self.u[which]))

    @property
    def close(self) -> Mask:
        """(N,) points within what is uncertain."""
        return np.asarray(self.near & (np.abs(self.across) < AGREES * self.u))

    @property
    def agrees(self) -> Mask:
        """(N,) both are sure of the edge, and have it in the same place as far as can be told."""
        return np.asarray(self.sure & (self.close | ~self.height))


def lay_still(one: Followed, other: Followed) -> bool:
    """Whether what two photos show lies in the same places, as the part's edge or on the sheet.

    The outline of its shadow shows, too, whether a part was moved.
    """
    apart, sheet = Apart.of(one, other), Apart.of(one, other, on_sheet=True)
    both = apart.sure & apart.height
    agree = both & (apart.close | sheet.close)
    across = np.where(apart.close, apart.across, sheet.across)
    if agree.sum() < max(_LEAST, _SHARE * both.sum()):
        return False
    normals, at, u = one.normals[agree], one.points[agree], float(np.median(apart.u[agree]))
    if np.linalg.eigvalsh(normals.T @ normals)[0] < _LEAST:
        return False
    # The shift and turn that would bring them together, against what is uncertain: errors hang
    # together along the edge, so that they do not average out.
    arm = at - at.mean(axis=0)
    reach = float(np.linalg.norm(arm, axis=1).max())
    spin = (normals[:, 1] * arm[:, 0] - normals[:, 0] * arm[:, 1]) / reach
    design = np.column_stack([normals, spin])
    moved = np.linalg.lstsq(design, across[agree], rcond=None)[0]
    return bool(np.abs(moved).max() < max(AGREES * u, _MOVED_MM))


@dataclass(frozen=True)
class Stretch:
    """Points of one photo's piece, first to last, and of the other's piece that stand for them."""

    piece: int
    own: slice
    other_piece: int
    other: slice


def disagree(one: Followed, other: Followed) -> bool:
    return any(next(stretches(*pair), None) for pair in ((one, other), (other, one)))


def agreeing(one: Followed, other: Followed, piece: int, least: int = _LEAST) -> Mask:
    """(N,) stretches of a piece, this many points at least, along which both photos agree."""
    agree = Apart.of(one, other).agrees[one.of_piece(piece)]
    closed = binary_closing(np.pad(agree, _LEAST), np.ones(_LEAST, dtype=bool))[_LEAST:-_LEAST]
    return np.asarray(binary_opening(closed, np.ones(least, dtype=bool)))


def stretches(one: Followed, other: Followed) -> Iterator[Stretch]:
    """Where the photos show the edge in different places."""
    apart = Apart.of(one, other)
    for number in range(len(one.pieces)):
        agree = agreeing(one, other, number)
        change = np.diff(np.concatenate([[True], agree, [True]]).astype(np.int8))
        index = apart.index[one.of_piece(number)]
        first, last = np.flatnonzero(change == -1), np.flatnonzero(change == 1)
        for a, b in zip(first, last, strict=True):
            there = index[max(a - 1, 0) : b + 1]
            there = there[there >= 0]
            if b - a < _LEAST or len(there) < 2 or there[-1] - there[0] < _LEAST:
                continue
            k = int(np.searchsorted(other.starts, there[0], "right")) - 1
            if there[-1] >= other.starts[k + 1]:
                continue  # on two pieces
            start = other.starts[k]
            stretch = Stretch(
                number, slice(a, b), k, slice(there[0] - start, there[-1] + 1 - start)
            )
            if not apart.differ(one.within(number, stretch.own)):
                continue  # one of them is not sure, but has it in the same place
            own = length_along(one.lifted[number].points[stretch.own])
            if length_along(other.lifted[k].points[stretch.other]) < _LONGER * own + _LONGER_MM:
                yield stretch


def length_along(points: Floats) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
