"""How doubtful every place across a line is as the edge's: the profile model asked along the line.

The light across the line is sampled once; each candidate place of the edge is then doubted by what
its best fit leaves unexplained.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.trace.camera import Camera
from snugline.trace.edge import sample_light
from snugline.trace.lift import PartSides, lift
from snugline.trace.profile import (
    ProfileGeometry,
    expected,
    misfit,
    profile_geometry,
    told_of_light,
)
from snugline.trace.shading import EVERY, FIRST_GUESS, TERMS, Rows, Shading, fit_shading

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Two neighbouring rows make one place: as good as fitting each, at half the cost.
_ROWS = np.array([-0.35, 0.35])
# The edge's geometry is taken as constant over so much of the slope (tangent of the ray's lean).
_SLOPE_BIN = 0.03
# Colour is stored for every other pixel only and spread: about so many samples count as one.
_COLOUR_PER_FREE = 3.0
# The part's face is taken as even over so many rows, its grain over so many.
_FACE_ROWS, _GRAIN_ROWS = 4.0, 3.0


@dataclass(frozen=True)
class Scene:
    """A photo and what lies in it."""

    rgb: NDArray[np.uint8]
    camera: Camera
    sides: PartSides
    blur_px: float
    px_per_mm: float


@dataclass(frozen=True)
class _Bin:
    """Rows that share the edge's geometry."""

    rows: NDArray[np.int64]
    geometry: ProfileGeometry
    light: Floats  # (3, n, T), luminance and colour differences


@dataclass(frozen=True)
class Across:
    """The light across a line, ready to be asked for the edge.

    Attributes
    ----------
    candidates : (G,) px, positive outwards.
    known : (N,) whether the row lies in the picture.
    """

    candidates: Floats
    known: Mask
    _bins: tuple[_Bin, ...]
    _direction: Floats
    _face: Floats

    @staticmethod
    def of(
        scene: Scene, line: Floats, normals: Floats, closed: bool, candidates: Floats
    ) -> "Across":
        """Sample the light across each point of a line."""
        slope = lift(scene.camera, line, scene.sides, closed, smooth=8).slope
        slope_bin = np.round(slope / _SLOPE_BIN).astype(np.int64)
        geometries = {
            value: profile_geometry(
                scene.sides, value * _SLOPE_BIN, scene.px_per_mm, scene.blur_px, candidates
            )
            for value in np.unique(slope_bin).tolist()
        }
        # Profiles begin at different depths inside the part, and all end alike.
        places = max((g.places for g in geometries.values()), key=len)
        light = _profiles(scene.rgb, line, normals, places)
        known = np.isfinite(light[0]).all(axis=1)
        bins = []
        for value, geometry in geometries.items():
            rows = np.flatnonzero(known & (slope_bin == value))
            if len(rows):
                bins.append(_Bin(rows, geometry, light[:, rows, -len(geometry.places) :]))
        face = np.where(known, light[0, :, :4].mean(axis=1), np.median(light[0, known, :4]))
        face = gaussian_filter1d(face, _FACE_ROWS, mode="wrap" if closed else "nearest")
        direction = np.arctan2(normals[:, 1], normals[:, 0])
        return Across(candidates, known, tuple(bins), direction, face)

    def doubts(self, shading: Shading | None) -> Floats:
        """(N, G) half the squares that each candidate leaves, over what the best one leaves."""
        doubt = np.zeros((len(self.known), len(self.candidates)))
        mean, spread = np.zeros((len(self.known), TERMS)), FIRST_GUESS
        if shading is not None:
            mean, spread = shading.expected(self._direction)
            mean *= self._face[:, None]
        for part in self._bins:
            doubt[part.rows] = _doubt(part, mean[part.rows], spread)
        return doubt

    def shading(self, best: NDArray[np.int64], sure: Mask) -> Shading | None:
        """The light that the rows tell whose edge is `sure` to be the `best` (N,) candidate."""
        told = []
        for part in self._bins:
            calm = gaussian_filter1d(part.light[0], _GRAIN_ROWS, axis=0)[sure[part.rows]][::EVERY]
            if not len(calm):
                continue
            rows = part.rows[sure[part.rows]][::EVERY]
            prior = expected(float(self._face[rows].mean()), float(calm[:, -3:].mean()))
            of_light = told_of_light(
                part.geometry.columns,
                best[rows],
                calm * part.geometry.weight,
                _grain(part.light[:1]),
                prior,
            )
            told.append((self._direction[rows], self._face[rows], *of_light))
        if not told:
            return None
        return fit_shading(Rows(*(np.concatenate(each) for each in zip(*told, strict=True))))


def _profiles(rgb: NDArray[np.uint8], line: Floats, normals: Floats, places: Floats) -> Floats:
    """(3, N, T) luminance and colour differences across the line, averaged over rows beside it."""
    tangents = np.column_stack([normals[:, 1], -normals[:, 0]])
    starts = line + _ROWS[:, None, None] * tangents
    x, y = (starts[..., k, None] + normals[:, k, None] * places for k in (0, 1))
    return np.asarray(sample_light(rgb, x, y).mean(axis=1), dtype=np.float64)


def _doubt(part: _Bin, shading: Floats, spread: Floats) -> Floats:
    """(n, G) of the rows that share one geometry; shading (n, 4) and its covariance (4, 4)."""
    light, geometry = part.light, part.geometry
    n, samples = light.shape[1], float(np.sum(geometry.weight**2)) - 5
    levels = light[:, :, :3].mean(axis=(1, 2)), light[:, :, -3:].mean(axis=(1, 2))
    # Colour is near zero on grey things; what it may change by follows its own step.
    step = float(np.abs(levels[0] - levels[1])[1:].max()) + 0.01
    doubt = np.zeros((n, len(geometry.columns)))
    for columns, values, prior, mean, per_free in (
        (
            geometry.columns,
            light[:1],
            expected(float(levels[0][0]), float(levels[1][0]), spread),
            shading,
            1.0,
        ),
        (geometry.colour_columns, light[1:], expected(step, step), None, _COLOUR_PER_FREE),
    ):
        rows = (values * geometry.weight).reshape(-1, values.shape[-1])
        left = misfit(columns, rows, _grain(values), prior, mean).reshape(len(values), n, -1)
        own = left.min(axis=2) / samples
        calm = np.maximum(gaussian_filter1d(own, 15.0, mode="nearest"), 4e-6)
        doubt += (left / (2 * per_free * calm[..., None])).sum(axis=0)
    return doubt


def _grain(light: Floats) -> float:
    """Standard deviation of what changes from sample to sample and no model of an edge follows."""
    second = light[..., :-2] - 2 * light[..., 1:-1] + light[..., 2:]
    return max(1.4826 / 6**0.5 * float(np.median(np.abs(second))), 2e-3)
