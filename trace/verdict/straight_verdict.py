"""Straight sides: where a lost one goes on as it is seen beside, and where one jumps sideways."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length
from snugline.trace.verdict.followed_piece import FollowedPiece, region_of, runs_of

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A straight edge that jumps sideways: the part has a step, or another edge was followed from there.
JOG_MM: tuple[float, float] = (0.4, 0.75)
_JOG_RUN_MM = 6.0  # over which a line is fitted before it and after it
_JOG_GAP_MM = 3.0  # between the two
_JOG_KEPT = 0.7  # share of its points that make a line
_JOG_STRAIGHT_MM = 0.12  # rms distance from either line
_JOG_TURN = np.radians(3)  # between them
# Where the edge beside a lost stretch is one straight line, and what was followed along the stretch
# keeps to that line, a fit misses nothing. Looked at on either side, the least of it, and how far
# off the line a point may lie (less than a jump).
_BESIDE_MM = 25.0
_LEAST_BESIDE_MM = 12.0
_ON_LINE_MM = 0.3


def goes_on(piece: FollowedPiece, lost: Mask) -> Mask:
    """(N,) lost points along which a straight side that is seen goes on."""
    harmless = np.zeros(len(lost), bool)
    reach = round(_BESIDE_MM / float(np.median(piece.length)))
    kept = piece.inside & ~lost
    for run in runs_of(piece, lost):
        before = np.arange(run.start - reach, run.start)
        after = np.arange(run.stop, run.stop + reach)
        # Beyond its other end a corner may follow.
        harmless[run] = any(
            _on_one_line(piece, beside, run, kept)
            for beside in (np.concatenate([before, after]), before, after)
        )
    return harmless


def _on_one_line(piece: FollowedPiece, beside: NDArray[np.int64], run: slice, kept: Mask) -> bool:
    """Whether the kept ones of these points make a line, and the run keeps to it."""
    n = len(kept)
    beside = beside % n if piece.silhouette.closed else beside[(beside >= 0) & (beside < n)]
    beside = beside[kept[beside]]
    if float(piece.length[beside].sum()) < _LEAST_BESIDE_MM:
        return False
    points = piece.lifted.points
    middle = points[beside].mean(axis=0)
    across = np.linalg.svd(points[beside] - middle, full_matrices=False)[2][1]
    straight = np.sqrt(np.mean(((points[beside] - middle) @ across) ** 2)) < _JOG_STRAIGHT_MM
    return bool(straight and np.all(np.abs((points[run] - middle) @ across) < _ON_LINE_MM))


def jump(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    """Where a straight edge jumps sideways."""
    for piece in pieces:
        step = float(np.median(piece.length))
        run, gap = round(_JOG_RUN_MM / step), round(_JOG_GAP_MM / 2 / step)
        n = len(piece.pixels) - 2 * (run + gap)
        if n < 1:
            continue
        middle, along, apart = _lines(piece.lifted.points, run)
        before, after = np.arange(n), np.arange(n) + run + 2 * gap
        turn = along[before, 0] * along[after, 1] - along[before, 1] * along[after, 0]
        # How far the two lines are apart half-way: nothing for an even curve.
        mean = along[before] + along[after]
        mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-9)
        between = middle[after] - middle[before]
        half = 0.5 * np.sum(between * mean, axis=1)[:, None]
        gap_there = between - half * (along[before] + along[after])
        aside = np.abs(mean[:, 0] * gap_there[:, 1] - mean[:, 1] * gap_there[:, 0])
        # Points that are left out make no line.
        kept = np.convolve(piece.silhouette.good, np.ones(run), "valid") > _JOG_KEPT * run
        straight = (apart[before] < _JOG_STRAIGHT_MM) & (apart[after] < _JOG_STRAIGHT_MM)
        straight &= kept[before] & kept[after]
        good = piece.inside[run + gap : run + gap + n]
        same = np.sum(along[before] * along[after], axis=1) > 0
        jog = straight & good & same & (np.abs(turn) < _JOG_TURN) & (aside > JOG_MM[0])
        if not jog.any():
            continue
        k = int(np.argmax(np.where(jog, aside, 0)))
        yield Notice(
            "edge-jumps",
            Sentence(
                "The straight edge jumps sideways by {}: either the part has a step there, or a "
                "shadow or the side of the part was mistaken for the edge.",
                length(aside[k], 1),
            ),
            "Check that spot; if the part has no step there, light it from another side and "
            "retake.",
            "retake" if aside[k] > JOG_MM[1] else "usable",
            about,
            region_of(piece.pixels[k : k + 2 * (run + gap)]),
        )


def _lines(points: Floats, run: int) -> tuple[Floats, Floats, Floats]:
    """Line through each window of `run` points: middle, unit direction, rms distance from it."""
    sums = np.cumsum(np.vstack([np.zeros((1, 2)), points]), axis=0)
    middle = (sums[run:] - sums[:-run]) / run
    centred = points - points.mean(axis=0)
    products = centred[:, :, None] * centred[:, None, :]
    total = np.cumsum(np.concatenate([np.zeros((1, 2, 2)), products]), axis=0)
    mean = middle - points.mean(axis=0)
    covariance = (total[run:] - total[:-run]) / run - mean[:, :, None] * mean[:, None, :]
    values, vectors = np.linalg.eigh(covariance)
    along = vectors[:, :, 1]
    chord = points[run - 1 :] - points[: len(points) - run + 1]
    along = along * np.where(np.sum(along * chord, axis=1) < 0, -1.0, 1.0)[:, None]
    return middle, along, np.sqrt(np.maximum(values[:, 0], 0))
