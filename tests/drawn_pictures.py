"""Pictures drawn in linear light from a formula, then blurred, made noisy and coded like a photo.

Every pixel is the mean over a fine grid of places within it, the area coverage of an edge; pixel
centres are at whole numbers.
"""

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter

from snugline.trace.image.linear_light import linear_to_srgb

INK, PAPER, BENCH = 0.04, 0.75, 0.25


def exposed(size, light, fine=5, blur=0.7, noise=0.0, jpeg=None, seed=0):
    """(H, W, 3) uint8 picture of `light`, a function of pixel places x and y.

    Parameters
    ----------
    size : (width, height) px.
    fine : places a side within each pixel.
    blur : px, standard deviation; added to what the pixel's own square does.
    noise : standard deviation in linear light.
    jpeg : quality, or None.
    """
    return developed(area_light(size, light, fine), blur, noise, jpeg, seed)


def area_light(size, light, fine=5):
    """(H, W) linear light, each pixel the mean over its square."""
    width, height = size
    inner = (np.arange(fine) + 0.5) / fine - 0.5
    x = np.arange(width, dtype=np.float64)
    y = np.arange(height, dtype=np.float64)[:, None]
    total = np.zeros((height, width))
    for dy in inner:
        for dx in inner:
            total += light(*np.broadcast_arrays(x + dx, y + dy))
    return total / fine**2


def developed(linear, blur=0.7, noise=0.0, jpeg=None, seed=0):
    """Blur, noise, the sRGB curve, bytes and a JPEG's losses for a picture in linear light."""
    rng = np.random.default_rng(seed)
    seen = gaussian_filter(linear, blur, mode="nearest") if blur else linear
    seen = seen + noise * rng.standard_normal(seen.shape)
    coded = np.rint(255 * linear_to_srgb(np.clip(seen, 0, 1))).astype(np.uint8)
    rgb = np.repeat(coded[..., None], 3, axis=2)
    if jpeg:
        done, data = cv2.imencode(".jpg", rgb, [cv2.IMWRITE_JPEG_QUALITY, jpeg])
        assert done
        rgb = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return np.ascontiguousarray(rgb)


def step_light(size, place, normal, low=INK, high=PAPER):
    """(H, W) light that steps from `low` to `high` along `normal` at `place` (px along it).

    Exact: the share of a pixel's square beyond a line is the integral of two boxes folded together.
    """
    x = np.arange(size[0], dtype=np.float64)
    y = np.arange(size[1], dtype=np.float64)[:, None]
    beyond = x * normal[0] + y * normal[1] - place
    wide, narrow = sorted((abs(normal[0]), max(abs(normal[1]), 1e-5)), reverse=True)
    narrow = max(narrow, 1e-5)

    def square(t):
        return np.maximum(t, 0) ** 2

    both, apart = (wide + narrow) / 2, (wide - narrow) / 2
    share = square(beyond + both) - square(beyond + apart)
    share = share - square(beyond - apart) + square(beyond - both)
    return low + (high - low) * share / (2 * wide * narrow)


def tag_modules(marker, dictionary="DICT_APRILTAG_36h11"):
    """(8, 8) True where a module of the printed marker is dark, border included."""
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary))
    n = book.markerSize + 2
    return cv2.aruco.generateImageMarker(book, marker, n) < 128


def tag_corners(count, side, seed):
    """(M, 4, 2) px of markers turned and foreshortened at random, and a picture's size."""
    rng = np.random.default_rng(seed)
    across = int(np.ceil(np.sqrt(count)))
    pitch = 1.9 * side
    quads = []
    for k in range(count):
        middle = pitch * (np.array([k % across, k // across]) + 0.5) + rng.uniform(-1, 1, 2)
        turn = rng.uniform(0, 2 * np.pi)
        c, s = np.cos(turn), np.sin(turn)
        square = side / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        quads.append(
            middle + square @ np.array([[c, s], [-s, c]]) + rng.uniform(-0.03, 0.03, (4, 2)) * side
        )
    rows = -(-count // across)
    return np.array(quads), (int(np.ceil(across * pitch)), int(np.ceil(rows * pitch)))


def tags(corners, ids, dictionary="DICT_APRILTAG_36h11"):
    """Light of markers with (M, 4, 2) px corners on paper, each through its own homography."""
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)

    def light(x, y):
        result = np.full(x.shape, PAPER)
        for quad, marker in zip(np.asarray(corners, dtype=np.float32), ids, strict=True):
            (left, top), (right, bottom) = quad.min(axis=0) - 2, quad.max(axis=0) + 2
            columns = slice(*np.searchsorted(x[0], [left, right]))
            rows = slice(*np.searchsorted(y[:, 0], [top, bottom]))
            h = cv2.getPerspectiveTransform(quad, unit)
            px, py = x[rows, columns], y[rows, columns]
            u, v, w = (row[0] * px + row[1] * py + row[2] for row in h)
            u, v = u / w, v / w
            dark = tag_modules(marker, dictionary)
            n = len(dark)
            inside = (u >= 0) & (u < 1) & (v >= 0) & (v < 1)
            i = np.clip((v * n).astype(int), 0, n - 1)
            j = np.clip((u * n).astype(int), 0, n - 1)
            result[rows, columns][inside & dark[i, j]] = INK
        return result

    return light


def sheet_light(frame, matrix, part=None, part_light=0.1, hidden=(), px_per_mm=8):
    """Light of a printed sheet on a bench, with a flat part.

    Parameters
    ----------
    frame : a marker frame, drawn at its design size.
    matrix : (3, 3) sheet mm to px.
    part : function of x and y in mm, True where the part lies, or None.
    hidden : ids of markers that are not printed.
    """
    width, height = frame.sheet
    shape = (round(height * px_per_mm), round(width * px_per_mm))
    raster = np.full(shape, PAPER, dtype=np.float32)
    for marker, corners in zip(frame.ids.tolist(), frame.corners, strict=True):
        if marker in hidden:
            continue
        dark = tag_modules(marker, frame.dictionary)
        n = len(dark)
        module = round(np.linalg.norm(corners[1] - corners[0]) * px_per_mm / n)
        # The sheet's y runs up, the raster's rows down.
        left, top = corners[0] * px_per_mm
        row, column = shape[0] - round(top), round(left)
        ink = np.where(np.kron(dark, np.ones((module, module), dtype=bool)), INK, PAPER)
        raster[row : row + n * module, column : column + n * module] = ink
    back = np.linalg.inv(matrix)

    def light(x, y):
        u, v, w = (row[0] * x + row[1] * y + row[2] for row in back)
        u, v = u / w, v / w
        column = np.floor(u * px_per_mm).astype(int)
        row = shape[0] - 1 - np.floor(v * px_per_mm).astype(int)
        on = (column >= 0) & (column < shape[1]) & (row >= 0) & (row < shape[0])
        result = np.full(x.shape, BENCH)
        result[on] = raster[row[on], column[on]]
        if part is not None:
            result[part(u, v)] = part_light
        return result

    return light


def rounded_rectangle(centre, size, radius, turn=0.0):
    """Whether places lie in a rounded rectangle, as a function of x and y."""
    c, s = np.cos(turn), np.sin(turn)

    def inside(x, y):
        dx, dy = x - centre[0], y - centre[1]
        ax = np.abs(c * dx + s * dy) - size[0] / 2 + radius
        ay = np.abs(-s * dx + c * dy) - size[1] / 2 + radius
        beyond = np.hypot(np.maximum(ax, 0), np.maximum(ay, 0)) + np.minimum(np.maximum(ax, ay), 0)
        return beyond <= radius

    return inside
