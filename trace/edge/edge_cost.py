"""Cost (negative log-likelihood) of every candidate edge position along the normals of a line.

The light across the line is sampled once; a candidate's cost is what the best fit of the profile
model with the edge at that position leaves unexplained.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.edge_profile import (
    Normal,
    ProfileGeometry,
    expected,
    light_normal_equations,
    profile_geometry,
)
from snugline.trace.edge.edge_shading import EVERY, TERMS, Rows, Shading, fit_shading
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.image.linear_light import coded_per_light, linear_to_srgb
from snugline.trace.image.robust_scale import SIGMA_PER_MAD, ranked
from snugline.trace.image.step_edge import sample_light

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Two neighbouring rows are averaged to one: as good as fitting each, in half the time.
_ROWS = np.array([-0.35, 0.35])
# The edge's geometry is constant within a bin of this width of the slope (tangent of the ray's
# lean).
_SLOPE_BIN = 0.03
# Chroma is subsampled 2:1, so about this many samples carry the information of one.
_COLOUR_PER_FREE = 3.0
# What the model leaves besides grain, as a share of the coded step at the edge (halo, uneven
# shade).
_UNLIKE = 0.004
# Samples from which the part's and the sheet's own grain are estimated.
_FACE = slice(None, 8)
_SHEET = slice(-8, None)
_ROUGHEST = 4.0  # largest ratio of the two
# No single row may cost more than this: it may show dust, a highlight or a scratch.
_MOST = 30.0
_FACE_ROWS = 4.0  # rows over which the brightness of the part's face is averaged
_GRAIN_ROWS = 3.0  # rows over which grain is averaged
# Rows that share weights; and one group in this many is fitted first, to estimate the model's
# residual.
_TOGETHER = 12
_FITTED_FIRST = 6
# Degrees of freedom that a profile's fit takes up: two levels, their slopes, the position; the
# other unknowns are held by their priors.
_DETERMINED = 5
# Colour differences (coded, 0 to 1) may change by this even where no step is seen.
_LEAST_COLOUR = 0.01
_LEAST_NOISE = 2e-3  # half a byte's step; a lower one is chance
_LEAST_VARIANCE = 4e-6  # its square
_RESIDUAL_ROWS = 15.0  # rows over which a residual variance is averaged
_SECOND_DIFFERENCE = 6  # variance of a second difference of independent samples: 1 + 4 + 1


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
    """The light across a line, sampled for the search of the edge.

    Attributes
    ----------
    candidates : (G,) px, positive outwards.
    known : (N,) whether the row lies in the picture.
    rougher : the grain of the face is assumed to be at least this many times that of the sheet.
    """

    candidates: Floats
    known: Mask
    rougher: float
    _bins: tuple[_Bin, ...]
    _direction: Floats
    _face: Floats

    @staticmethod
    def of(
        scene: Scene,
        line: Floats,
        normals: Floats,
        slope: Floats,
        closed: bool,
        candidates: Floats,
        beyond: Floats,
        rougher: float,
    ) -> "Across":
        """Sample the light across each point of a line.

        Parameters
        ----------
        slope : (N,) tangent of the angle by which the rays lean outwards there.
        beyond : (N,) px, how much farther out than in the edge may be.
        """
        key = np.column_stack([np.round(slope / _SLOPE_BIN).astype(np.int64), beyond > 0])
        reach = -candidates[0]
        geometries = {}
        for value, far in np.unique(key, axis=0).tolist():
            over = float(beyond[np.all(key == (value, far), axis=1)].max())
            allowed = candidates[candidates < over + reach + 1e-6]
            geometries[value, far] = profile_geometry(
                scene.sides, value * _SLOPE_BIN, scene.px_per_mm, scene.blur_px, allowed, over
            )
        first = min(geometry.places[0] for geometry in geometries.values())
        last = max(geometry.places[-1] for geometry in geometries.values())
        light = _profiles(scene.rgb, line, normals, np.arange(first, last + 0.5))
        known, bins = np.zeros(len(line), dtype=bool), []
        face = np.full(len(line), np.nan)
        for value, geometry in geometries.items():
            start = round(geometry.places[0] - first)
            own = light[:, :, start : start + len(geometry.places)]
            mine = np.all(key == value, axis=1) & np.isfinite(own[0]).all(axis=1)
            if mine.any():
                known |= mine
                face[mine] = own[0, mine, :4].mean(axis=1)
                bins.append(_Bin(np.flatnonzero(mine), geometry, own[:, mine]))
        face = np.where(known, face, np.nanmedian(face) if known.any() else 0.0)
        face = gaussian_filter1d(face, _FACE_ROWS, mode="wrap" if closed else "nearest")
        direction = np.arctan2(normals[:, 1], normals[:, 0])
        return Across(candidates, known, rougher, tuple(bins), direction, face)

    @cached_property
    def _weighed(self) -> "list[tuple[_ByLight, Floats]]":
        return [(_ByLight.of(part, self.rougher), _by_colour(part)) for part in self._bins]

    def costs(self, shading: Shading | None) -> Floats:
        """(N, G) half the sum of squares of each candidate, scaled by the best one's residual."""
        cost = np.zeros((len(self.known), len(self.candidates)))
        mean, spread = np.zeros((len(self.known), TERMS)), None
        if shading is not None:
            mean, spread = shading.expected(self._direction)
            mean *= self._face[:, None]
        for part, (by_light, by_colour) in zip(self._bins, self._weighed, strict=True):
            own = by_light.costs(mean[part.rows], spread) + by_colour
            own -= own.min(axis=1, keepdims=True)
            own /= np.sqrt(1 + (own / _MOST) ** 2)
            cost[part.rows, : own.shape[1]] = own
            # Farther out than a row's edge may be costs as much as the worst candidate.
            cost[part.rows, own.shape[1] :] = own.max(axis=1, keepdims=True)
        return cost

    def shading(self, best: NDArray[np.int64], sure: Mask) -> Shading | None:
        """The illumination, from the rows whose edge is `sure` to be the `best` (N,) candidate."""
        equations = []
        for part in self._bins:
            mine = sure[part.rows] & (best[part.rows] < len(part.geometry.columns))
            calm = gaussian_filter1d(part.light[0], _GRAIN_ROWS, axis=0)[mine][::EVERY]
            if not len(calm):
                continue
            rows = part.rows[mine][::EVERY]
            prior = expected(float(self._face[rows].mean()), float(calm[:, -3:].mean()))
            scale = coded_per_light(calm)
            of_light = light_normal_equations(
                part.geometry.columns[best[rows]] * scale[..., None],
                calm * part.geometry.weight * scale,
                _grain(part.light[0] * coded_per_light(part.light[0].mean(axis=0))),
                prior,
            )
            equations.append((self._direction[rows], self._face[rows], *of_light))
        if not equations:
            return None
        return fit_shading(Rows(*(np.concatenate(each) for each in zip(*equations, strict=True))))


def _profiles(rgb: NDArray[np.uint8], line: Floats, normals: Floats, places: Floats) -> Floats:
    """(3, N, T) luminance and colour differences across the line, averaged over `_ROWS`."""
    tangents = np.column_stack([normals[:, 1], -normals[:, 0]])
    starts = line + _ROWS[:, None, None] * tangents
    x, y = (starts[..., k, None] + normals[:, k, None] * places for k in (0, 1))
    return np.asarray(sample_light(rgb, x, y).mean(axis=1), dtype=np.float64)


@dataclass(frozen=True)
class _ByLight:
    """The luminance of a bin's n rows, whatever the illumination is expected to be.

    Attributes
    ----------
    inner, outer : typical luminance of the part's face and of the sheet.
    noise : standard deviation of a scaled sample, as far as it is grain.
    odds : (G,) cost of the change of grain at each candidate.
    """

    geometry: ProfileGeometry
    normal: Normal
    inner: float
    outer: float
    noise: float
    odds: Floats

    @staticmethod
    def of(part: _Bin, rougher: float) -> "_ByLight":
        light, geometry = _grouped(part.light[0]), part.geometry
        scale = coded_per_light(light.mean(axis=1))
        seen = light * scale[:, None]
        inner, outer = float(light[..., :3].mean()), float(light[..., -3:].mean())
        unlike = _UNLIKE * float(np.abs(np.diff(linear_to_srgb([inner, outer])))[0])
        face, sheet = (float(np.hypot(_grain(seen[..., end]), unlike)) for end in (_FACE, _SHEET))
        rougher = float(np.clip(face / sheet, rougher, _ROUGHEST))
        variance = 1 + (rougher**2 - 1) * np.clip(geometry.inside, 0, 1)
        normal = Normal.of(geometry.columns, light * geometry.weight, scale, 1 / variance)
        # A change of grain marks the edge as well: the log-determinant of its variance.
        odds = 0.5 * np.sum(np.log(variance) * geometry.weight**2, axis=1)
        return _ByLight(geometry, normal, inner, outer, float(np.hypot(_grain(seen), unlike)), odds)

    def costs(self, shading: Floats, spread: Floats | None) -> Floats:
        """(n, G) cost; shading (n, 4) is expected, with covariance `spread` (4, 4) if known."""
        prior, grouped = expected(self.inner, self.outer, spread), _grouped(shading)
        few = self.normal.every(_FITTED_FIRST).misfit(self.noise, prior, grouped[::_FITTED_FIRST])
        unlike = np.median(few.min(axis=2)) / _free(self.geometry)
        left = self.normal.misfit(max(self.noise, float(np.sqrt(unlike))), prior, grouped)
        left = left.reshape(-1, left.shape[2])[: len(shading)]
        return np.asarray(_scaled_by_residual(left, self.geometry) + self.odds)


def _grouped(rows: Floats) -> Floats:
    """(M, R, ...) neighbours of (N, ...) together, the last repeated to fill the last group."""
    count = -(-len(rows) // _TOGETHER) * _TOGETHER
    filled = rows[np.minimum(np.arange(count), len(rows) - 1)]
    return filled.reshape(-1, _TOGETHER, *rows.shape[1:])


def _by_colour(part: _Bin) -> Floats:
    """(n, G) cost by both colour differences."""
    light, geometry = part.light, part.geometry
    # Colour differences are near zero on grey things; their prior follows their own step.
    step = light[1:, :, :3].mean(axis=(1, 2)) - light[1:, :, -3:].mean(axis=(1, 2))
    change = float(np.abs(step).max()) + _LEAST_COLOUR
    prior = expected(change, change)
    normal = Normal.of(geometry.colour_columns, light[1:] * geometry.weight)
    red, blue = normal.misfit(_grain(light[1:]), prior)
    cost = _scaled_by_residual(red, geometry) + _scaled_by_residual(blue, geometry)
    return np.asarray(cost / _COLOUR_PER_FREE)


def _scaled_by_residual(left: Floats, geometry: ProfileGeometry) -> Floats:
    """Half the sums of squares (n, G) over the residual variance of the best candidates nearby."""
    own = left.min(axis=1) / _free(geometry)
    calm = np.maximum(gaussian_filter1d(own, _RESIDUAL_ROWS, mode="nearest"), _LEAST_VARIANCE)
    return np.asarray(left / (2 * calm[:, None]))


def _free(geometry: ProfileGeometry) -> float:
    """Degrees of freedom of a profile's residual."""
    return float(np.sum(geometry.weight**2)) - _DETERMINED


def _grain(light: Floats) -> float:
    """Standard deviation of the sample-to-sample noise, from second differences."""
    second = light[..., :-2] - 2 * light[..., 1:-1] + light[..., 2:]
    scale = SIGMA_PER_MAD / _SECOND_DIFFERENCE**0.5
    return float(max(scale * ranked(np.abs(second), 0.5), _LEAST_NOISE))
