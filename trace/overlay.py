"""The photo itself with what was measured drawn on it: contour, markers, places of remarks."""

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.trace.image.photo_file import read_photo
from snugline.trace.image.polyline import right_normals
from snugline.trace.measure import MeasuredPhoto

# Drawing coordinates carry this many binary digits behind the point.
_SHIFT = 4
_LONG_SIDE_PX = 2000
# Line patterns and shades distinguish things; the pale line under the dark one shows on any part.
_DARK = (20, 20, 20)
_PALE = (250, 250, 250)
# Thousandths of the picture's width: the pale line under a dark one, of a marker in use, the
# contour, and what must not be overlooked; and the number of a remark, right of and below its box's
# corner.
_MARKER_RIM = 3
_CONTOUR_RIM = 4
_BOLD_RIM = 5
_NUMBER_RIM = 6
_NUMBER_AT = (6, 30)


# How far from the edge found its probability is drawn, px, and what a whole share in a px is worth:
# half of that is as good as sure beside the blur.
_REACH_PX = 20
_SURE_PER_PX = 0.5


def draw_overlay(
    measured: MeasuredPhoto, rgb: NDArray[np.uint8] | None = None, probability: bool = False
) -> bytes:
    """PNG of the displayed photo, at most 2000 px long, with the measurement drawn on it.

    The contour is a dark line on a pale one; markers in use have a full outline, rejected ones are
    crossed out; the place of each remark is boxed and numbered as in the list of remarks.

    With `probability` the picture has the photo's own size and no contour: each place is as dark
    (pale on dark things) as the edge is likely to lie there.
    """
    photo = read_photo(measured.file).rgb if rgb is None else rgb
    scale = min(1.0, _LONG_SIDE_PX / max(photo.shape[:2]))
    if probability:
        photo, scale = _shaded(photo, measured), 1.0
    size = (round(photo.shape[1] * scale), round(photo.shape[0] * scale))
    picture = cv2.resize(photo, size, interpolation=cv2.INTER_AREA)
    unit = max(1, round(size[0] / 1000))
    right, below = _NUMBER_AT

    def place(points: NDArray[np.float64]) -> NDArray[np.int32]:
        # The area-averaged picture's pixel centres: x -> (x + 0.5) * scale - 0.5.
        small = (points + 0.5) * scale - 0.5
        fixed: NDArray[np.int32] = np.round(small * (1 << _SHIFT)).astype(np.int32)
        return fixed

    def line(points: NDArray[np.float64], closed: bool, shade: tuple[int, ...], width: int) -> None:
        cv2.polylines(picture, [place(points)], closed, shade, width, cv2.LINE_AA, _SHIFT)

    for quad in measured.markers_used:
        line(quad, True, _PALE, _MARKER_RIM * unit)
        line(quad, True, _DARK, unit)
    for quad in measured.markers_rejected:
        for pair in (quad[[0, 2]], quad[[1, 3]]):
            line(pair, False, _PALE, _BOLD_RIM * unit)
            line(pair, False, _DARK, 2 * unit)
    curves = () if probability else (measured.contour.outer, *measured.contour.others)
    for curve, pixels in zip(curves, measured.contour_px, strict=not probability):
        for piece in np.split(pixels, list(curve.breaks)):
            line(piece, curve.closed and not curve.breaks, _PALE, _CONTOUR_RIM * unit)
        for piece in np.split(pixels, list(curve.breaks)):
            line(piece, curve.closed and not curve.breaks, _DARK, unit)
    for number, notice in enumerate(measured.contour.notices, start=1):
        if notice.region_px is None:
            continue
        x0, y0, x1, y1 = notice.region_px
        box = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
        line(box, True, _PALE, _BOLD_RIM * unit)
        line(box, True, _DARK, 2 * unit)
        x, y = (place(box[:1])[0] >> _SHIFT).tolist()
        for shade, width in ((_PALE, _NUMBER_RIM * unit), (_DARK, 2 * unit)):
            cv2.putText(
                picture,
                str(number),
                (x + right * unit, y + below * unit),
                cv2.FONT_HERSHEY_SIMPLEX,
                unit,
                shade,
                width,
                cv2.LINE_AA,
            )
    done, encoded = cv2.imencode(".png", cv2.cvtColor(picture, cv2.COLOR_RGB2BGR))
    if not done:
        raise RuntimeError("the picture could not be encoded")
    return encoded.tobytes()


def _shaded(photo: NDArray[np.uint8], measured: MeasuredPhoto) -> NDArray[np.uint8]:
    """The photo, darker (paler where it is dark) by the probability of the edge."""
    height, width = photo.shape[:2]
    share = np.zeros((height, width), np.float32)
    places = np.arange(-_REACH_PX, _REACH_PX + 0.5, 1.0)
    for edge in measured.followed:
        if edge.belief is None:
            wide = np.maximum(edge.sigma, 0.5)[:, None]  # half a px: no picture shows finer
            density = np.exp(-0.5 * (places / wide) ** 2) / (wide * np.sqrt(2 * np.pi))
        else:
            density = edge.belief.density(places)
        density = density / _SURE_PER_PX
        # The points stand up to 2 px apart: drawn from the middles between them as well.
        normals = right_normals(edge.pixels, edge.closed)
        at = edge.pixels[:, None] + places[:, None] * normals[:, None]
        for between in (0.0, 0.5):
            spots = at if not between else 0.5 * (at[1:] + at[:-1])
            shade = density if not between else 0.5 * (density[1:] + density[:-1])
            x, y = np.rint(spots).astype(np.int64).reshape(-1, 2).T
            inside = (x >= 0) & (y >= 0) & (x < width) & (y < height)
            np.maximum.at(share, (y[inside], x[inside]), shade.ravel()[inside].clip(0, 1))
    against = np.where(photo.mean(axis=2, keepdims=True) < 128, _PALE[0], _DARK[0])  # mid grey
    mixed = photo + share[..., None] * (against - photo)
    return np.asarray(mixed.round().astype(np.uint8))
