"""Model of the luminance profile across an edge of the part, with the edge's position unknown.

From outside to inside a profile shows the sheet next to the part, then the part's side, its rounded
or chamfered edge and its upper face, as far as the camera sees them. The geometry gives where each
begins; a matt surface's radiance is a constant plus a mix of the components of its normal. The
profile is thus linear in a few unknowns once the edge's position is given, and that position is
found by comparing how well each candidate explains the profile.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from snugline.trace.edge.edge_shading import FIRST_GUESS, TERMS
from snugline.trace.edge.relief_displacement import PartSides

Floats = NDArray[np.float64]

_FINE_PX = 0.1  # step in which the model is computed before it is blurred
_OUTER_PX = 8.0  # how far a profile reaches beyond the edge
_INNER_PX = 7.0  # and beyond its rounding, on the face
_DEEPEST_PX = 26.0  # and how deep at most
# A side or rounding seen wider than this is searched only this far behind the top edge.
_DEEPEST_CREASE_PX = 30.0
_SAMPLE_PX = 1.0  # between samples of a profile
_SPAN_PX = 80.0  # half the length of the model: more than any candidate and profile together
# Distance from the candidates over which a sample's weight falls, px, outside and inside. Chosen on
# the shared photos: shadows and other things come nearer outside than marks on the face inside.
_WEIGHT_OUT_PX = 7.0
_WEIGHT_IN_PX = 10.0
_WEIGHT_FLAT = 0.5  # in these lengths; within it all weights are 1
# Slopes for which the depth of the part's side is computed; interpolated between.
_DEPTHS = 12
# Points of the model: closer than the pixels of a photo.
_SIDE_POINTS = 60  # along a side or a chamfer
_ROUND_POINTS = 120  # along a rounding
# Bilinear sampling of square pixels is itself a blur of about this standard deviation.
_SAMPLING_BLUR_PX = 0.3
# JPEG and HEIC keep colour at half the resolution: 2 x 2 px averaged and spread again.
_COLOUR_BLUR_PX = 0.9


# Which of the columns is the part's, and which are the illumination's terms.
_INSIDE = 4
LIGHT = slice(_INSIDE + 1, _INSIDE + 1 + TERMS)
# How much the luminance may change (standard deviation) as a share of the part's and of the sheet's
# own (common practice, no source). Without such limits a dark part's rounding could be mistaken for
# a strip of bright paper.
_FACE_PER_10_PX = 0.15  # across the face
_SHEET_PER_10_PX = 0.3  # over the sheet next to the part
_SHEET_BEND = 0.07  # and its second-degree term over 10 px
# At the bottom edge the sheet lies in the part's own contact shadow:
_CONTACT_SHADOW = 0.05  # its depth
_CONTACT_PX = 3.0  # over which it fades
# The same for all columns in their order, as precisions; the levels themselves are free.
_FREE_OR_HELD = (
    np.array(
        [np.inf, _SHEET_PER_10_PX, _SHEET_BEND, _CONTACT_SHADOW]
        + [np.inf] * (1 + TERMS)
        + [_FACE_PER_10_PX]
    )
    ** -2.0
)
_OF_SHEET = np.arange(len(_FREE_OR_HELD)) < _INSIDE
_GUESSED = np.linalg.inv(FIRST_GUESS)


@dataclass(frozen=True)
class ProfileGeometry:
    """Where side, edge and face begin in the picture, for one stretch of the edge.

    Attributes
    ----------
    places : (T,) px across the edge, positive outwards, where the light is sampled.
    columns, colour_columns : (G, T, K) profiles of unit unknowns for each candidate; colour is
        blurred more, since photos store it at half the resolution.
    inside : (G, T) share of a sample that is the part's, for each candidate.
    weight : (T,) of the samples: far from the edge the model is less accurate.
    """

    places: Floats
    columns: Floats
    colour_columns: Floats
    inside: Floats
    weight: Floats


def profile_geometry(
    sides: PartSides,
    slope: float,
    px_per_mm: float,
    blur_px: float,
    candidates: Floats,
    beyond: float = 0.0,
) -> ProfileGeometry:
    """The columns of the linear model.

    Parameters
    ----------
    slope : tangent of the angle by which the rays lean outwards (see `lift`).
    px_per_mm : scale across the edge in the picture.
    candidates : (G,) px, ascending.
    beyond : px, how much farther out than in they reach; samples there have full weight.
    """
    # A side or rounding that fills more than this is as good as a face of its own.
    inner_px = min(_depth(sides, slope) * px_per_mm + _INNER_PX, _DEEPEST_PX)
    places = np.arange(
        np.floor(candidates[0] - inner_px), np.ceil(candidates[-1] + _OUTER_PX) + 0.5 * _SAMPLE_PX,
        _SAMPLE_PX,
    )  # fmt: skip
    inward = candidates[:, None] - places[None, :]  # (G, T) px inside the edge
    span, *blurred = _fine_columns(sides, slope, px_per_mm, blur_px)
    index = (inward - span[0]) / _FINE_PX
    low = np.clip(index.astype(np.int64), 0, len(span) - 2)
    share = np.clip(index - low, 0, 1)[..., None]
    outside = (places - np.clip(places, 0, beyond)) / _WEIGHT_OUT_PX
    far = np.where(places > 0, outside, -places / _WEIGHT_IN_PX)
    weight = np.exp(-0.5 * np.maximum(far - _WEIGHT_FLAT, 0) ** 2 * 2)
    light, colour = (
        (columns[low] * (1 - share) + columns[low + 1] * share) * weight[:, None]
        for columns in blurred
    )
    return ProfileGeometry(places, light, colour, light[..., _INSIDE] / weight, weight)


@lru_cache(maxsize=64)
def _fine_columns(
    sides: PartSides, slope: float, px_per_mm: float, blur_px: float
) -> tuple[Floats, Floats, Floats]:
    """(S,) px inside the edge, and (S, K) the columns there blurred as luminance and as colour."""
    # The edge lies between two samples: on one, it would be off by half a step.
    span = np.arange(-_SPAN_PX, _SPAN_PX, _FINE_PX) + 0.5 * _FINE_PX
    sharp = _columns(sides, slope, px_per_mm, span)
    light, colour = (
        gaussian_filter1d(sharp, blur / _FINE_PX, axis=0, mode="nearest")
        for blur in (
            np.hypot(blur_px, _SAMPLING_BLUR_PX),
            np.hypot(blur_px, np.hypot(_COLOUR_BLUR_PX, _SAMPLING_BLUR_PX)),
        )
    )
    return span, light, colour


def expected(inner: float, outer: float, shading: Floats | None = None) -> Floats:
    """(K, K) prior precision (inverse covariance) of the unknowns.

    Parameters
    ----------
    inner, outer : typical luminance of the part's face and of the sheet next to it.
    shading : (4, 4) covariance of the illumination's terms, as shares of the face's luminance;
        None before anything is known.
    """
    inner, outer = max(inner, 1e-6), max(outer, 1e-6)
    precision = np.diag(_FREE_OR_HELD / np.where(_OF_SHEET, outer, inner) ** 2)
    precision[LIGHT, LIGHT] = (_GUESSED if shading is None else np.linalg.inv(shading)) / inner**2
    return precision


@dataclass(frozen=True)
class Normal:
    """Normal equations of every candidate for M groups of R neighbouring profiles.

    Attributes
    ----------
    gram : (M, G, K, K) of the unknowns, `right` (M, G, K, R) and `total` (M, G, R) of the profiles.
    """

    gram: Floats
    right: Floats
    total: Floats

    @staticmethod
    def of(
        columns: Floats, profiles: Floats, scale: Floats | None = None, trust: Floats | None = None
    ) -> "Normal":
        """Of weighted sums of squares.

        Parameters
        ----------
        columns : (G, T, K) of a `ProfileGeometry`.
        profiles : (M, R, T) light, or a colour difference, times the samples' weight.
        scale : (M, T) weight of luminance differences, for each group.
        trust : (G, T) weight of each sample's square for each candidate.
        """
        groups, rows, samples = profiles.shape
        candidates, _, unknowns = columns.shape
        trusted = columns if trust is None else trust[..., None] * columns
        squared = np.ones((1, samples)) if scale is None else scale**2
        products = (trusted[..., :, None] * columns[..., None, :]).transpose(1, 0, 2, 3)
        gram = (squared @ products.reshape(samples, -1)).reshape(-1, candidates, unknowns, unknowns)
        scaled = (profiles * squared[:, None]).reshape(-1, samples)
        right = scaled @ trusted.transpose(1, 0, 2).reshape(samples, -1)
        total = (scaled * profiles.reshape(-1, samples)) @ (
            np.ones((samples, 1)) if trust is None else trust.T
        )
        return Normal(
            gram,
            right.reshape(groups, rows, candidates, unknowns).transpose(0, 2, 3, 1),
            total.reshape(groups, rows, -1).transpose(0, 2, 1),
        )

    def every(self, step: int) -> "Normal":
        """Those of one group in `step`."""
        return Normal(self.gram[::step], self.right[::step], self.total[::step])

    def misfit(self, noise: float, prior: Floats, shading: Floats | None = None) -> Floats:
        """How badly each candidate explains each profile: (M, R, G) weighted sums of squares.

        Least squares with a prior on the unknowns (ridge), so that an appearance which a matt part
        under ordinary light cannot have costs something.

        Parameters
        ----------
        noise : standard deviation of a scaled sample that the model leaves.
        prior : (K, K) of `expected`.
        shading : (M, R, 4) prior mean of the illumination's terms instead of zero.
        """
        right, total = self.right, self.total
        if shading is not None:
            # Each is taken of the profile less what is expected of it, without forming that.
            mean = shading.transpose(0, 2, 1)[:, None]  # (M, 1, 4, R)
            by_light = self.gram[..., LIGHT] @ mean
            total = total - np.sum((2 * right[:, :, LIGHT] - by_light[:, :, LIGHT]) * mean, axis=2)
            right = right - by_light
        solved = np.linalg.solve(self.gram + _ridge(noise, prior), right)
        explained = np.sum(right * solved, axis=2)
        left_over: Floats = np.maximum(total - explained, 0.0).transpose(0, 2, 1)
        return left_over


def light_normal_equations(
    columns: Floats, profiles: Floats, noise: float, prior: Floats
) -> tuple[Floats, Floats]:
    """Normal equations of the illumination terms.

    Parameters
    ----------
    columns : (N, T, K), those of each profile's edge, and `profiles` (N, T), scaled alike.

    Returns
    -------
    information : (N, 4, 4) and right side (N, 4), all other unknowns of the profile eliminated.
    """
    gram = columns.transpose(0, 2, 1) @ columns
    right = np.einsum("ntk,nt->nk", columns, profiles)
    rest = np.ones(columns.shape[2], bool)
    rest[LIGHT] = False
    through = gram[:, LIGHT][..., rest] @ np.linalg.inv(
        (gram + _ridge(noise, prior))[:, rest][..., rest]
    )
    information = gram[:, LIGHT, LIGHT] - through @ gram[:, rest][..., LIGHT]
    own = right[:, LIGHT] - (through @ right[:, rest, None])[..., 0]
    return information / noise**2, own / noise**2


def _ridge(noise: float, prior: Floats) -> Floats:
    ridge: Floats = noise**2 * prior + 1e-12 * np.eye(len(prior))
    return ridge


def crease_px(sides: PartSides, slope: Floats, px_per_mm: float) -> Floats:
    """(N,) px from the silhouette in to the top edge of the part, for points seen at such slopes;
    limited to the width that the search covers.
    """
    bins = np.linspace(slope.min(), slope.max(), _DEPTHS)
    depth: Floats = np.interp(slope, bins, [_depth(sides, float(s)) for s in bins])
    return np.minimum(depth * px_per_mm, _DEEPEST_CREASE_PX)


def _depth(sides: PartSides, slope: float) -> float:
    """How far (mm on the sheet) side and edge treatment reach into the picture of the part."""
    wall = sides.thickness - sides.edge_size
    lean = float(np.tan(sides.draft))
    top = sides.thickness * slope - (wall * lean + sides.edge_size)
    inset, height = sides.contact(np.array([slope]))
    return float(height[0] * slope - inset[0] - top)


def _columns(sides: PartSides, slope: float, px_per_mm: float, inward_px: Floats) -> Floats:
    """(S, K) profiles of unit unknowns at positions inside (positive) and outside the edge."""
    inside = (inward_px > 0).astype(np.float64)
    outside = 1 - inside
    sideways, upwards = _normals(sides, slope, inward_px / px_per_mm)
    depth_px = _depth(sides, slope) * px_per_mm
    face = np.maximum(inward_px - depth_px, 0) / 10
    return np.column_stack(
        [
            outside,
            outside * inward_px / 10,
            outside * (inward_px / 10) ** 2,
            outside * np.exp(np.minimum(inward_px, 0) / _CONTACT_PX),
            inside,
            inside * sideways,
            inside * upwards,
            inside * sideways**2,
            inside * sideways * upwards,
            inside * face,
        ]
    )


def _normals(sides: PartSides, slope: float, inward: Floats) -> tuple[Floats, Floats]:
    """Components of the surface normal (across the edge, upwards) at `inward` mm in the picture.

    The profile is sampled from the bottom edge up in small steps; what the camera sees of it lies
    between the point that its ray grazes and the upper face.
    """
    wall = sides.thickness - sides.edge_size
    lean = float(np.tan(sides.draft))
    x = [np.linspace(0, wall * lean, _SIDE_POINTS)]
    z = [np.linspace(0, wall, _SIDE_POINTS)]
    side = [np.full(_SIDE_POINTS, np.cos(sides.draft))]
    up = [np.full(_SIDE_POINTS, np.sin(sides.draft))]
    e = sides.edge_size
    if e > 0:
        if sides.edge == "round":
            angle = np.linspace(0, np.pi / 2, _ROUND_POINTS)
            x.append(wall * lean + e - e * np.cos(angle))
            z.append(wall + e * np.sin(angle))
            side.append(np.cos(angle))
            up.append(np.sin(angle))
        else:
            x.append(np.linspace(wall * lean + 1e-6, wall * lean + e, _SIDE_POINTS))
            z.append(np.linspace(wall, sides.thickness, _SIDE_POINTS))
            side.append(np.full(_SIDE_POINTS, np.sqrt(0.5)))
            up.append(np.full(_SIDE_POINTS, np.sqrt(0.5)))
    top_x = float(x[-1][-1])
    # Just beyond the edge, so that the normal jumps there and is not spread over the face.
    x.append(np.array([top_x + 1e-6, top_x + 100]))
    z.append(np.array([sides.thickness, sides.thickness]))
    side.append(np.zeros(2))
    up.append(np.ones(2))
    across = np.concatenate(z) * slope - np.concatenate(x)
    start = int(np.argmax(across))
    depth = across[start] - across[start:]
    # Where a slope hides a stretch behind another the depth does not grow: it is not seen.
    seen = np.concatenate([[True], depth[1:] > np.maximum.accumulate(depth)[:-1]])
    depth = depth[seen]
    return (
        np.interp(inward, depth, np.concatenate(side)[start:][seen]),
        np.interp(inward, depth, np.concatenate(up)[start:][seen]),
    )
