"""Measuring the four edges of markers to a few hundredths of a pixel.

The light of paper and ink, which every profile across an edge leaves open by itself, costs a fourth
of its information on the position. It is the same all round a marker but for a slope of the light:
each profile is therefore led towards the levels that the marker's eight have in common, as far as
these agree.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.image.step_edge import Steps, fit_steps, sample_luminance

Floats = NDArray[np.float64]

# Rows of samples across one half of a marker's side; the first pass, to follow the lines, needs
# fewer. How many blurs of the side's ends are left out (there the neighbouring side leaks in), and
# how many before the modules within.
_ROWS = (8, 24)
_END_BLURS = 3.0
_INNER_BLURS = 3.5
_LARGEST_END = 0.2
# Across the edge, px: between samples, and how far they reach.
_STEP_PX = 1.0
_LEAST_REACH_PX, _MOST_REACH_PX = 2.5, (5.0, 6.0)
# The finder's corners are good to a pixel or two: a step less certain than that is not an edge.
_FINDER_PX = 2.0
# An edge less certain than this is not used; noise of the picture is never below the floor.
_LARGEST_SIGMA_PX = 0.5
_SIGMA_FLOOR_PX = 0.01
# A profile whose residual is this many times the typical one keeps its own noise.
_UNLIKE = 3.0
_EDGES = 8  # of a marker: both halves of its four sides
_LEVELS = 2 * _EDGES  # of ink and of paper
_PLANE = 4  # unknowns of their common light: ink, paper, two slopes
# How far a profile reaches out into the white module, and in how many steps at least.
_MODULE_SHARE, _LEAST_STEPS = 0.7, 5
_SHARED_PX = 1.5  # px between independent samples: 1 over 2 / 3 of a pixel's variance
# Middles of the sides' halves on a marker of side 1 about its own middle.
_HALVES = np.array(
    [[-1, -2], [1, -2], [2, -1], [2, 1], [1, 2], [-1, 2], [-2, 1], [-2, -1]], dtype=np.float64
) / 4  # fmt: skip


@dataclass(frozen=True)
class MarkerEdges:
    """Edges of M markers: two places on each of the four sides.

    Attributes
    ----------
    points : (M, 4, 2, 2) px, a measured place near each side's first and second half's middle; one
        on the line between the corners as given where no edge was found.
    normals : (M, 4, 2, 2) unit, outwards across the edge in the picture.
    fractions : (2,) where along the side, from its first corner, the two places lie.
    sigma : (M, 4, 2) px, normal to the edge; infinite where no edge was found.
    blur : (M, 4, 2) px, standard deviation of the blur.
    dark, light : (M, 4, 2) levels inside and outside, linear luminance.
    """

    points: Floats
    normals: Floats
    fractions: Floats
    sigma: Floats
    blur: Floats
    dark: Floats
    light: Floats


def measure_edges(rgb: NDArray[np.uint8], corners: Floats, modules: int = 8) -> MarkerEdges:
    """Measure the edges of markers whose corners are known to a pixel or two.

    Each half of a side gives one place: its rows of light are averaged across the side and a
    blurred step is fitted to the average, which is as exact as fitting every row and far cheaper.
    A second pass follows the lines that the first one found.

    Parameters
    ----------
    corners : (M, 4, 2) px.
    modules : modules across the marker, border included; the border is one module wide, and the
        samples must not reach beyond it.
    """
    shape = (len(corners), 4, 2)
    first = _profiled(rgb, corners, modules, _ROWS[0], _MOST_REACH_PX[0], blur=1.0)
    followed = _intersect_sides(first.points(first.steps.position))
    blur = float(np.median(first.steps.blur))
    last = _profiled(rgb, followed, modules, _ROWS[1], _MOST_REACH_PX[1], blur)
    position, sigma = _with_common_levels(last)
    points = last.points(position)
    chord = points[:, :, 1] - points[:, :, 0]
    chord /= np.linalg.norm(chord, axis=-1, keepdims=True)
    turned = np.stack([chord[..., 1], -chord[..., 0]], axis=-1)
    sigma = np.maximum(sigma, _SIGMA_FLOOR_PX)
    sigma = np.where(last.found & (sigma < _LARGEST_SIGMA_PX), sigma, np.inf)
    return MarkerEdges(
        points=points,
        normals=np.broadcast_to(turned[:, :, None, :], points.shape).copy(),
        fractions=last.fractions,
        sigma=sigma.reshape(shape),
        blur=last.steps.blur.reshape(shape),
        dark=last.steps.low.reshape(shape),
        light=last.steps.high.reshape(shape),
    )


@dataclass(frozen=True)
class _Profiled:
    """Steps fitted across the two halves of each side of M markers.

    `middle` and `normal` are (M, 4, 2, 2) px: where each profile crosses the line between the
    corners, and its direction, outwards. `shared` is by how much the samples' noise is shared.
    """

    steps: Steps
    found: NDArray[np.bool_]
    middle: Floats
    normal: Floats
    fractions: Floats
    shared: float

    def points(self, position: Floats) -> Floats:
        """(M, 4, 2, 2) px of (8 M,) positions; `middle` where no edge was found."""
        offset = np.where(self.found, position, 0.0).reshape(*self.middle.shape[:3], 1)
        placed: Floats = self.middle + offset * self.normal
        return placed


def _profiled(
    rgb: NDArray[np.uint8], corners: Floats, modules: int, rows: int, most: float, blur: float
) -> _Profiled:
    side = np.roll(corners, -1, axis=1) - corners
    length = np.linalg.norm(side, axis=-1)
    tangent = side / length[..., None]
    # Corners run clockwise as seen, with y down: the outside lies to the left of the walk.
    normal = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)
    mean_length = float(length.mean())
    end = min(_END_BLURS * blur / mean_length, _LARGEST_END)
    half = end + (np.arange(rows) + 0.5) / rows * (0.5 - end)
    along = np.stack([half, 1 - half[::-1]])  # (2, R)
    across = _across(mean_length / modules, most, blur)
    start = corners[:, :, None, None, :] + along[..., None] * side[:, :, None, None, :]
    spots = (
        start[:, :, :, :, None, :] + across[:, None] * normal[:, :, None, None, None, :]
    )  # (M, 4, 2, R, T, 2)
    light = sample_luminance(rgb, spots[..., 0], spots[..., 1]).mean(axis=3)
    steps = fit_steps(light.reshape(-1, len(across)), across, blur=1.0, blur_sigma=0.5)
    middle = start.mean(axis=3)
    return _Profiled(
        steps,
        steps.good & (steps.high > steps.low) & (steps.sigma < _FINDER_PX),
        middle,
        np.broadcast_to(normal[:, :, None, :], middle.shape),
        along.mean(axis=1),
        _shared(mean_length * (0.5 - end) / rows) * _shared(float(across[1] - across[0])),
    )


def _across(module: float, most: float, blur: float) -> Floats:
    """(T,) px, positions of the samples across a side, inside first; `module` in px."""
    outer = float(np.clip(_MODULE_SHARE * module, _LEAST_REACH_PX, most))
    inner = min(outer, max(_LEAST_REACH_PX, module - _INNER_BLURS * blur))
    step = min(_STEP_PX, outer / _LEAST_STEPS)
    return np.linspace(-inner, outer, int(np.ceil(inner / step) + np.ceil(outer / step)) + 1)


def _shared(spacing: float) -> float:
    """How far the variance of a mean exceeds that of as many independent samples.

    Samples `spacing` px apart in a row are interpolated between the same pixels: the variance of
    one is 2 / 3 of a pixel's, that of the mean of many 1 / spacing of it for each sample.
    """
    return max(1.0, _SHARED_PX / spacing)


def _with_common_levels(profiled: _Profiled) -> tuple[Floats, Floats]:
    """Positions and sigmas (8 M,) of the edges of M markers, with levels led to their common ones.

    The common levels are a plane of light for each marker, seen on paper and, weaker, on ink. How
    far a level may be off it is what the marker's own levels scatter by.
    """
    steps, m = profiled.steps, len(profiled.middle)
    # One noise for the picture: eight profiles' own would be weights that are mostly chance.
    typical = np.median(steps.residual)
    residual = np.maximum(steps.residual, 1e-9)
    own = np.where(residual > _UNLIKE * typical, 1.0, typical / residual)
    covariance = profiled.shared * (own**2)[:, None, None] * steps.covariance
    covariance = covariance.reshape(m, _EDGES, 4, 4)
    levels = np.stack([steps.low, steps.high], axis=-1).reshape(m, _EDGES, 2)
    darkness = np.median(levels[..., 0]) / max(float(np.median(levels[..., 1])), 1e-9)
    terms = np.zeros((_EDGES, 2, _PLANE))  # ink, paper, and the light's two slopes
    terms[:, 0, 0] = terms[:, 1, 1] = 1.0
    terms[..., 2:] = np.array([darkness, 1.0])[:, None] * _HALVES[:, None, :]
    columns = terms.reshape(_LEVELS, _PLANE)
    common = levels.reshape(m, _LEVELS) @ (columns @ np.linalg.pinv(columns)).T
    off = levels - common.reshape(m, _EDGES, 2)
    scatter = np.mean(off**2, axis=1) * _LEVELS / (_LEVELS - _PLANE) + 1e-12
    by_levels = covariance[..., 2, :2]
    spread = covariance[..., :2, :2] + scatter[:, None, :, None] * np.eye(2)
    gain = np.linalg.solve(spread, by_levels[..., None])[..., 0]
    move = np.sum(gain * off, axis=-1)
    saved = np.sum(gain * by_levels, axis=-1)
    # What lies far outside of its own uncertainty is not noise (a finger, a neighbour's ink).
    like = (move**2 < 9 * saved) & profiled.found.reshape(m, 8)
    position = steps.position - np.where(like, move, 0.0).ravel()
    # The common levels hold a fourth of each level's own noise.
    variance = covariance[..., 2, 2] - np.where(like, 0.75 * saved, 0.0)
    return position, np.sqrt(np.maximum(variance, 0.0)).ravel()


def _intersect_sides(points: Floats) -> Floats:
    """(M, 4, 2) corners where the lines through each side's two places meet."""
    a, b = points[:, :, 0], points[:, :, 1]
    direction = b - a
    before, direction_before = np.roll(a, 1, axis=1), np.roll(direction, 1, axis=1)
    cross = (
        direction_before[..., 0] * direction[..., 1] - direction_before[..., 1] * direction[..., 0]
    )
    gap = a - before
    t = (gap[..., 0] * direction[..., 1] - gap[..., 1] * direction[..., 0]) / cross
    corners: Floats = before + t[..., None] * direction_before
    return corners


def edge_corners(edges: MarkerEdges) -> Floats:
    """(M, 4, 2) px, marker corners as the meeting points of the lines fitted to the sides."""
    return _intersect_sides(edges.points)
