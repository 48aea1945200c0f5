"""Contours made of known outlines: cut to a view, moved, with noise and common errors."""

import math

import numpy as np
from scipy.signal import lfilter

from snugline.fit.geometry.outline import Outline
from snugline.fit.section import Section, Systematic

# The part of the outline that a view shows: within `reach` mm of these sides.
_NEAR = {
    "left end": (-1, 0),
    "right end": (1, 0),
    "front left corner": (-1, -1),
    "front right corner": (1, -1),
    "back right corner": (1, 1),
    "back left corner": (-1, 1),
    "whole": (0, 0),
}


def noise(rng, count, pitch, correlation=0.0, kernel="exponential"):
    """Unit noise along a contour: independent, AR(1) or with a squared-exponential kernel."""
    white = rng.normal(size=count)
    if correlation == 0:
        return white
    if kernel == "exponential":
        keep = math.exp(-pitch / correlation)
        start = rng.normal()  # stationary from the first point on
        return lfilter([math.sqrt(1 - keep**2)], [1, -keep], white, zi=[keep * start])[0]
    half = math.ceil(4 * correlation / pitch)
    # The square root of exp(-s²/2l²) is exp(-s²/l²), up to its norm.
    weights = np.exp(-((np.arange(-half, half + 1) * pitch / correlation) ** 2))
    weights /= np.sqrt(np.sum(weights**2))
    return np.convolve(rng.normal(size=count + 2 * half), weights, "valid")


def section(
    outline: Outline,
    shows: str,
    rng: np.random.Generator,
    *,
    name: str = "photo.jpg",
    sigma: float = 0.03,
    correlation: float = 0.0,
    kernel: str = "exponential",
    pitch: float = 0.2,
    reach: float = 120.0,
    offset: float = 0.0,
    scale: tuple[float, float] = (0.0, 0.0),
    systematic: Systematic | None = None,
    turn: float | None = None,
) -> Section:
    """A section of `outline` as one photo would give it, at a random pose.

    Parameters
    ----------
    offset, scale : the true common errors; `systematic` states their standard uncertainties.
    turn : rad, of the part in the frame's axes; random within 5 degrees when None.
    """
    points = outline.sampled(pitch)
    low_x, low_y, high_x, high_y = outline.bounds
    side_x, side_y = _NEAR[shows]
    inside = np.ones(len(points), dtype=bool)
    if side_x:
        edge = high_x if side_x > 0 else low_x
        inside &= np.abs(points[:, 0] - edge) < reach
    if side_y:
        edge = high_y if side_y > 0 else low_y
        inside &= np.abs(points[:, 1] - edge) < reach
    closed = bool(inside.all())
    along = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    normals = np.column_stack([along[:, 1], -along[:, 0]])
    normals /= np.hypot(*normals.T)[:, None]
    if not closed:
        first = int(np.flatnonzero(inside & ~np.roll(inside, 1))[0])
        points, normals, inside = (np.roll(a, -first, axis=0) for a in (points, normals, inside))
        points, normals = points[inside], normals[inside]
    shift = offset + sigma * noise(rng, len(points), pitch, correlation, kernel)
    points = points + shift[:, None] * normals
    angle = rng.uniform(-0.09, 0.09) if turn is None else turn
    c, s = math.cos(angle), math.sin(angle)
    points = points @ np.array([[c, s], [-s, c]]) + rng.uniform(-50, 150, 2)
    points = points * (1 + np.array(scale))
    return Section(
        name,
        shows,
        points,
        np.full(len(points), sigma),
        closed,
        systematic=systematic or Systematic(),
    )
