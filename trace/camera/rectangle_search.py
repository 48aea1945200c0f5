"""Finding a rectangle of known sides in a photo by its straight edges, to a pixel or two.

Line segments are gathered into lines with a known bright side; of all sets of four lines, those
that enclose a rectangle of the right proportions as a camera can see it are kept, and the one with
most of its edge in sight is used. A part may cover most of one side, as long as both ends show.
"""

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError

Floats = NDArray[np.float64]

_WORKING_SIDE_PX = 1000
_MOST_LINES = 30  # the longest; 27405 sets of four
_SAME_LINE_PX = 3.0  # bending by the lens, at the working size
_SAME_LINE_COS = np.cos(np.radians(4))
# How far proportions and angle may deviate for the given focal length: EXIF rounds it, lenses bend.
# True rectangles on renders: 0.002 or less.
_PROPORTION, _PROPORTION_UNKNOWN_FOCAL = 0.03, 0.05
_LEAST_SIDE_PX = 40
# Score of a rectangle, in sides seen: its three best sides count in full, the covered one this
# much, an outer edge one side; a misfit of a fifth costs one. Chosen on the shared photos.
_COVERED_SIDE, _MISFIT = 0.3, 5
# Neighbouring lines of a rectangle meet at more than this angle, as the camera sees them; its
# corners lie in the picture or this share of it outside.
_LEAST_TURN, _OUTSIDE = np.sin(np.radians(25)), 0.02
_BESIDE_PX = 2.5  # from a segment to where the light shows its bright side
# Lines this share of the border's width away from where an outer edge should be are that edge.
_OUTER_MARGIN = 0.3
# A side seen less than this share of the next is the covered one.
_COVERED = 0.8
_LEAST_SEEN = 0.75  # of the three best sides; a row of printed marks shows less
_END_SHARE = 0.2  # a side must be in sight somewhere within this share of either end
# Focal lengths to try without EXIF, in long sides of the picture: what phones have.
_FOCAL_GUESSES = (0.6, 0.7, 0.85, 1.05)


@dataclass(frozen=True)
class Rectangle:
    """A rectangle as seen.

    Attributes
    ----------
    corners : (4, 2) px, those of (0, 0), (w, 0), (w, h) and (0, h). A covered side is the left one
        where it is one of height h, else the front one; without a covered side x runs to the
        right in the picture.
    dark_outside : the picture is darker outside the rectangle's edge than inside it.
    seen : for each side (front, right, back, left; in the order of `corners`) (S, 2) shares of it
        between which its edge is in sight.
    outer_seen : share of an outer edge that is in sight, as a frame has one round its opening.
    misfit : how far its proportions, as a camera sees them, differ from those wanted; a ratio.
    """

    corners: Floats
    dark_outside: bool
    seen: tuple[Floats, ...]
    outer_seen: float
    misfit: float

    @property
    def share_seen(self) -> Floats:
        """(4,) how much of each side is in sight."""
        return np.array([_length(spans) for spans in self.seen])


@dataclass(frozen=True)
class _Lines:
    """Lines `normal @ p = offset`, the normal towards the bright side; ordered by its angle.

    `spans` are the (S, 2) places along each line, `along @ p`, between which its segments lie.
    """

    normal: Floats
    offset: Floats
    spans: list[Floats]

    @property
    def along(self) -> Floats:
        return np.column_stack([-self.normal[:, 1], self.normal[:, 0]])


def find_rectangle(
    rgb: NDArray[np.uint8], size: Floats, border: float, focal_px: float | None, where: str
) -> Rectangle:
    """The rectangle of sides `size` (width, height, mm) whose edge is best in sight.

    Parameters
    ----------
    border : mm; where an outer edge of opposite contrast is seen this far outside, as round a
        frame's opening, it supports the inner one.
    focal_px : focal length in px of `rgb`; None if unknown, which is less selective.
    where : the photo's name for the error.

    Raises
    ------
    PhotoError : no such rectangle is in sight.
    """
    factor = max(1, round(max(rgb.shape[:2]) / _WORKING_SIDE_PX))
    small = cv2.resize(
        rgb[: rgb.shape[0] // factor * factor, : rgb.shape[1] // factor * factor],
        (rgb.shape[1] // factor, rgb.shape[0] // factor),
        interpolation=cv2.INTER_AREA,
    )
    grey = cv2.GaussianBlur(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), (0, 0), 1.0)
    lines = _gathered(grey)
    focals = (
        [focal_px / factor] if focal_px else [share * max(grey.shape) for share in _FOCAL_GUESSES]
    )
    best: tuple[float, Rectangle] | None = None
    for dark_outside in (True, False):
        for quad, corners in _enclosed(lines, grey.shape, dark_outside):
            for turn in (0, 1):
                turned = np.roll(corners, -turn, axis=0)
                misfit = _disproportion(turned, size, grey.shape, focals)
                if misfit > (_PROPORTION if focal_px else _PROPORTION_UNKNOWN_FOCAL):
                    continue
                order = np.roll(quad, -turn)
                seen = tuple(
                    _in_sight(lines, line, turned[side], turned[(side + 1) % 4])
                    for side, line in enumerate(order)
                )
                shares = np.sort([_length(spans) for spans in seen])
                if shares[1:].mean() < _LEAST_SEEN or not all(map(_ends_in_sight, seen)):
                    continue
                outer = _outer_edge(lines, turned, size, border, dark_outside)
                score = shares[1:].mean() + _COVERED_SIDE * shares[0] + outer - _MISFIT * misfit
                if best is None or score > best[0]:
                    best = score, Rectangle(turned, dark_outside, seen, outer, misfit)
    if best is None:
        raise PhotoError(
            f"no rectangle of {size[0]:g} x {size[1]:g} mm is in sight",
            where,
            "show all of the frame from above, on a background that is clearly lighter or darker "
            "than the frame, with at most one side covered and both ends of that side in sight",
        )
    found = _oriented(best[1])
    corners = factor * found.corners + (factor - 1) / 2
    return replace(found, corners=corners)


def _gathered(grey: NDArray[Any]) -> _Lines:
    """Segments of one straight edge, gaps and all, as one line; the longest lines only."""
    detected = cv2.createLineSegmentDetector().detect(grey)[0]
    ends = np.zeros((0, 2, 2)) if detected is None else detected.reshape(-1, 2, 2).astype(float)
    middle, step = ends.mean(axis=1), ends[:, 1] - ends[:, 0]
    length = np.maximum(np.hypot(*step.T), 1e-9)
    normal = np.column_stack([step[:, 1], -step[:, 0]]) / length[:, None]
    # Brightness on both sides, at three places along.
    places = middle + np.array([-0.3, 0, 0.3])[:, None, None] * step
    light = [_picked(grey, places + side * _BESIDE_PX * normal).mean(axis=0) for side in (1, -1)]
    normal *= np.where(light[0] > light[1], 1, -1)[:, None]

    lines = []
    free = np.ones(len(ends), dtype=bool)
    for seed in np.argsort(-length):
        if not free[seed]:
            continue
        n, c = normal[seed], normal[seed] @ middle[seed]
        for _ in range(2):
            near = (np.abs(ends @ n - c) < _SAME_LINE_PX).all(axis=1)
            near &= free & (normal @ n > _SAME_LINE_COS)
            near[seed] = True
            points, weight = ends[near].reshape(-1, 2), np.repeat(length[near], 2)
            centre = weight @ points / weight.sum()
            spread = (points - centre).T * weight @ (points - centre)
            fitted = np.linalg.eigh(spread)[1][:, 0]
            n = fitted if fitted @ n > 0 else -fitted
            c = float(n @ centre)
        free &= ~near
        spans = np.sort(ends[near] @ np.array([-n[1], n[0]]), axis=1)
        lines.append((float(length[near].sum()), n, c, spans))
    lines = sorted(lines, key=lambda line: -line[0])[:_MOST_LINES]
    lines.sort(key=lambda line: np.arctan2(line[1][1], line[1][0]))
    return _Lines(
        np.array([line[1] for line in lines]).reshape(-1, 2),
        np.array([line[2] for line in lines]),
        [line[3] for line in lines],
    )


def _picked(grey: NDArray[Any], places: Floats) -> Floats:
    x = np.clip(np.rint(places[..., 0]).astype(int), 0, grey.shape[1] - 1)
    y = np.clip(np.rint(places[..., 1]).astype(int), 0, grey.shape[0] - 1)
    return np.asarray(grey[y, x], dtype=np.float64)


def _enclosed(
    lines: _Lines, shape: tuple[int, ...], dark_outside: bool
) -> list[tuple[NDArray[np.int64], Floats]]:
    """Sets of four lines that enclose a convex region, bright sides inwards (or all outwards).

    Each with its corners, counter-clockwise as seen; corner k begins the side on line k.
    """
    if len(lines.offset) < 4:
        return []
    fours = np.array(list(combinations(range(len(lines.offset)), 4)))
    sign = 1.0 if dark_outside else -1.0
    n, c = sign * lines.normal[fours], sign * lines.offset[fours]
    after = np.roll(n, -1, axis=1)
    turn = n[..., 0] * after[..., 1] - n[..., 1] * after[..., 0]
    kept = (turn > _LEAST_TURN).all(axis=1)
    fours, n, c, after, turn = fours[kept], n[kept], c[kept], after[kept], turn[kept]
    # Corner k lies on lines k and k + 1.
    d = np.roll(c, -1, axis=1)
    corners = np.stack(
        [c * after[..., 1] - d * n[..., 1], d * n[..., 0] - c * after[..., 0]], axis=2
    ) / turn[..., None]  # fmt: skip
    inward = np.einsum("mkx,mlx->mkl", corners, n) - c[:, None, :]
    sides = np.hypot(*np.moveaxis(corners - np.roll(corners, 1, axis=1), 2, 0))
    margin = _OUTSIDE * max(shape)
    inside = (corners > -margin) & (corners < np.array(shape[1::-1]) + margin)
    kept = (inward > -1e-6).all(axis=(1, 2)) & (sides.min(axis=1) > _LEAST_SIDE_PX)
    kept &= inside.all(axis=(1, 2))
    # Angles grew clockwise as seen (y is down): reversed, corner k is between lines k - 1 and k.
    return [
        (four[::-1], corner[::-1]) for four, corner in zip(fours[kept], corners[kept], strict=True)
    ]


def _disproportion(
    corners: Floats, size: Floats, shape: tuple[int, ...], focals: list[float]
) -> float:
    """How far a quadrilateral is from a view of the rectangle: log of ratio and cosine, as one."""
    matrix = view_of_rectangle(corners - np.array([shape[1] - 1, shape[0] - 1]) / 2, size)
    errors = []
    for focal in focals:
        x, y = (matrix[:, i] / [focal, focal, 1] for i in (0, 1))
        lengths = np.linalg.norm(x), np.linalg.norm(y)
        errors.append(np.hypot(np.log(lengths[0] / lengths[1]), x @ y / (lengths[0] * lengths[1])))
    return float(min(errors))


def view_of_rectangle(corners: Floats, size: Floats) -> Floats:
    """(3, 3) homography from mm to (4, 2) px, of the rectangle from (0, 0) to `size`."""
    rectangle = np.array([[0, 0], [size[0], 0], size, [0, size[1]]], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(rectangle, corners.astype(np.float32))
    return np.asarray(matrix, dtype=np.float64)


def _in_sight(lines: _Lines, line: int, start: Floats, end: Floats) -> Floats:
    """(S, 2) shares of a side, merged and ascending, between which its line has segments."""
    along = lines.along[line]
    a, b = along @ start, along @ end
    spans = np.clip(np.sort((lines.spans[line] - a) / (b - a), axis=1), 0, 1)
    merged: list[list[float]] = []
    for low, high in spans[np.argsort(spans[:, 0])]:
        if merged and low <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], high)
        elif high > low:
            merged.append([low, high])
    return np.array(merged).reshape(-1, 2)


def _length(spans: Floats) -> float:
    return float(np.sum(spans[:, 1] - spans[:, 0]))


def _ends_in_sight(spans: Floats) -> bool:
    return bool(spans.size and spans.min() < _END_SHARE and spans.max() > 1 - _END_SHARE)


def _outer_edge(
    lines: _Lines, corners: Floats, size: Floats, border: float, dark_outside: bool
) -> float:
    """The mean share of the frame's outer edge that is in sight as lines of opposite contrast."""
    matrix = view_of_rectangle(corners, size)
    w, h = size
    mm = np.array(
        [[-border, -border], [w + border, -border], [w + border, h + border], [-border, h + border]]
    )
    outer = cv2.perspectiveTransform(mm[None], matrix)[0]
    gap = np.abs(outer - corners).max(axis=1).min()
    sign = 1.0 if dark_outside else -1.0
    shares = []
    for side in range(4):
        start, end = outer[side], outer[(side + 1) % 4]
        step = end - start
        outward = np.array([-step[1], step[0]]) / np.hypot(*step)
        # Counter-clockwise as seen with y down, the left-hand normal (dy, -dx) points inwards.
        fits = np.abs(lines.normal @ start - lines.offset) < _OUTER_MARGIN * gap
        fits &= np.abs(lines.normal @ end - lines.offset) < _OUTER_MARGIN * gap
        fits &= sign * (lines.normal @ outward) > 0
        shares.append(
            max(
                (_length(_in_sight(lines, int(i), start, end)) for i in np.flatnonzero(fits)),
                default=0,
            )
        )
    return float(np.mean(shares))


def _oriented(found: Rectangle) -> Rectangle:
    """One of the two ways round that the proportions leave open."""
    share = found.share_seen
    hidden = int(np.argmin(share))
    if share[hidden] < _COVERED * np.sort(share)[1]:
        half_turn = hidden in (1, 2)
    else:
        x_axis = found.corners[1] + found.corners[2] - found.corners[0] - found.corners[3]
        half_turn = x_axis[0] < 0
    if not half_turn:
        return found
    seen = tuple(found.seen[(side + 2) % 4] for side in range(4))
    return replace(found, corners=np.roll(found.corners, -2, axis=0), seen=seen)
