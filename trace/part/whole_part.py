"""The whole part over several sheets and the bench top between them, on a reduced photo.

In the windows the part is known (`find_part`). Its colours there, and those of paper and bench top,
decide the rest by a graph cut (Rother, Kolmogorov and Blake 2004, as in OpenCV's grabCut).
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

Floats = NDArray[np.float64]

_ROUNDS = 3  # of estimating the colours and cutting
# Beyond the sheets' common hull by this share of its size there is only the bench top.
_BENCH = 0.35
_SURE_INSET = 3  # px from the known part's border within which the cut may move it
# Quads scaled about their middle: round a found marker its white module is paper, too.
_MARKER_GROWN = 1.3
_OPENED_PX = 5  # side of the squares by which thin bridges to other things are opened
_BORDER_BLUR_PX = 1.2
_MODEL = (1, 65)  # size of OpenCV's colour models


def whole_border(
    rgb: NDArray[np.uint8],
    part_pieces: Sequence[Floats],
    windows: Sequence[Floats],
    markers: Floats,
) -> Floats | None:
    """The closed border of the part, or None where it leaves the photo.

    Parameters
    ----------
    rgb : (h, w, 3) the reduced photo.
    part_pieces : polygons (N, 2) px that the part fills in each window, at least.
    windows : the windows' polygons, px.
    markers : (M, 4, 2) px, the markers that were found: certainly paper.

    Returns
    -------
    border : (N, 2) px of the reduced photo, with the part on the left as seen.
    """
    shape = rgb.shape[:2]

    def filled(polygons: Sequence[Floats]) -> NDArray[np.uint8]:
        mask = np.zeros(shape, dtype=np.uint8)
        for polygon in polygons:
            cv2.fillPoly(mask, [np.round(polygon).astype(np.int32)], 1)
        return mask

    hull = cv2.convexHull(np.concatenate([*windows, markers.reshape(-1, 2)]).astype(np.float32))
    hull = hull[:, 0].astype(np.float64)
    grown = hull.mean(axis=0) + (1 + _BENCH) * (hull - hull.mean(axis=0))
    part = filled(part_pieces)
    between = cv2.convexHull(np.concatenate(list(part_pieces)).astype(np.float32))[:, 0]
    labels = np.full(shape, cv2.GC_BGD, dtype=np.uint8)
    labels[filled([grown]) > 0] = cv2.GC_PR_BGD
    labels[filled([between.astype(np.float64)]) > 0] = cv2.GC_PR_FGD
    # Between two pieces of border the part may fill a window's corner: paper is likely there,
    # and certain only round the markers.
    labels[(filled(windows) > 0) & (part == 0)] = cv2.GC_PR_BGD
    around = [m.mean(axis=0) + _MARKER_GROWN * (m - m.mean(axis=0)) for m in markers]
    labels[filled(around) > 0] = cv2.GC_BGD
    kernel = np.ones((2 * _SURE_INSET + 1,) * 2, np.uint8)
    rim = cv2.dilate(part, kernel) - cv2.erode(part, kernel, borderValue=0)
    labels[(part > 0) & (rim == 0)] = cv2.GC_FGD
    labels[(rim > 0) & (part > 0)] = cv2.GC_PR_FGD
    labels[(rim > 0) & (part == 0)] = cv2.GC_PR_BGD
    cv2.setRNGSeed(1)
    bgr = np.ascontiguousarray(rgb[:, :, ::-1])
    cv2.grabCut(
        bgr,
        labels,
        (0, 0, 0, 0),  # the labels count, not a rectangle
        np.zeros(_MODEL),
        np.zeros(_MODEL),
        _ROUNDS,
        cv2.GC_INIT_WITH_MASK,
    )
    found = np.isin(labels, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)
    opened = cv2.morphologyEx(found, cv2.MORPH_OPEN, np.ones((_OPENED_PX, _OPENED_PX), np.uint8))
    count, pieces, _, _ = cv2.connectedComponentsWithStats(opened)
    if count < 2:
        return None
    # The piece that holds most of what is known to be part.
    votes = np.bincount(pieces[part > 0], minlength=count)
    votes[0] = 0
    mask = pieces == int(votes.argmax())
    if mask[0].any() or mask[-1].any() or mask[:, 0].any() or mask[:, -1].any():
        return None
    soft = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), _BORDER_BLUR_PX)
    lines = find_contours(soft, 0.5)  # type: ignore[no-untyped-call]
    longest = max(lines, key=len)[:-1, ::-1]
    return np.asarray(longest if _area(longest) < 0 else longest[::-1], dtype=np.float64)


def _area(points: Floats) -> float:
    """Signed area; with y down a walk with the inside on the left as seen has a negative one."""
    x, y = points[:, 0], points[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
