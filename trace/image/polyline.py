"""Polylines: points at an even step, smoothed, and with normals."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

Floats = NDArray[np.float64]

_FEWEST = 3  # points of a polyline, however short


def resample(points: Floats, step: float, closed: bool) -> Floats:
    """Points at an even step along a polyline; the ends of an open one are kept."""
    path = np.concatenate([points, points[:1]]) if closed else points
    lengths = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    count = max(round(lengths[-1] / step), _FEWEST)
    places = np.linspace(0, lengths[-1], count + 1)
    if closed:
        places = places[:-1]
    return np.column_stack([np.interp(places, lengths, path[:, k]) for k in (0, 1)])


def smoothed(points: Floats, sigma: float, closed: bool, truncate: float = 4.0) -> Floats:
    """Points smoothed along the line by a Gaussian of `sigma` points; open ends stay in place."""
    if sigma <= 0:
        return points
    if closed:
        return np.asarray(gaussian_filter1d(points, sigma, axis=0, mode="wrap", truncate=truncate))
    # Mirroring the residual from the chord keeps the ends from being pulled in.
    share = np.linspace(0, 1, len(points))[:, None]
    chord = points[:1] * (1 - share) + points[-1:] * share
    left_over = points - chord
    extended = np.concatenate([-left_over[::-1], left_over, -left_over[::-1]])
    filtered = gaussian_filter1d(extended, sigma, axis=0, mode="nearest", truncate=truncate)
    return np.asarray(filtered[len(points) : 2 * len(points)] + chord)


def right_normals(points: Floats, closed: bool) -> Floats:
    """(N, 2) unit normals to the right of the walk as seen on the sheet.

    What lies to the right on the sheet lies to the right in the picture as well; with y pointing
    down that is the tangent turned by (x, y) -> (-y, x).
    """
    if closed:
        tangent = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    else:
        tangent = np.gradient(points, axis=0)
    tangent = tangent / np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    return np.column_stack([-tangent[:, 1], tangent[:, 0]])
