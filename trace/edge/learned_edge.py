"""The learned edge model: a network that has seen made edges says where each row's edge may lie.

It is given the light across a coarse border, along with where the part's wall and upper face would
begin by geometry, and gives for each row a distribution over places and the probability that the
place cannot be told. How it was learned is in `training/`; what it is given is the same there,
number by number.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from snugline.trace.camera.projection import Camera
from snugline.trace.edge.relief_displacement import PartSides, outward_normals
from snugline.trace.image.linear_light import LUMINANCE_WEIGHTS, linear_to_srgb
from snugline.trace.image.network import network
from snugline.trace.image.step_edge import ACROSS_PX, REACH_PX, sample_rgb, step_response

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

WEIGHTS = Path(__file__).with_name("learned_edge.onnx")
# As the network was learned (training/strips.py, training/network.py): px between the rows, places
# across (positive outwards), the widest wall, points over which the direction is taken.
STEP_PX = 2.0
FIRST = -16
PLACES = 64
CHANNELS = 20
_LOOKS = 3  # of each strip: brightness and two colours
_WIDEST = 40.0
_SLOPE_REACH = 8
LINE_SMOOTH = 6.0
NORMAL_SMOOTH = 4.5
# Standard deviation of a logistic distribution of scale 1 (pi / sqrt 3); what lies about one place.
_LOGISTIC = 1.8138
ABOUT_PX = 1.6
_FARTHEST_OFF = 2.0
_LARGEST_EXPONENT = 40.0
# What the network is given is scaled to about one, by these, as it was learned:
_PER_WALL_PX = 1 / 16
_PER_PLACE = 1 / 32
_USUAL_PX_PER_MM = 12.0
_USUAL_THICKNESS = 6.0  # mm
_LEAST_THICKNESS = 0.05
_HALO_TIMES = 4.0
_THICKNESS_TIMES = 0.5
_BRIGHTEST = 1.6  # of the paper's light
_HUE_TIMES = 3.0
_DARK = 0.08  # of white: hue means little below
_STEEPEST = 0.2  # least share of a px's size that lies across the edge
_LEAST_SCALE = -4.4
_MOST_SCALE = 1.5
# At the ends of a line this many rows are added that see what lies beyond.
BESIDE = 32
_MULTIPLE = 8  # of rows, which the network halves three times
_RIMS = 10  # of a marker's dark rim across it, with some to spare: there are eight modules at least
_ALONG = np.linspace(0.25, 0.75, 16)  # of each side, away from its corners
# The row is blurred by linear luma weights of coded values: ITU-R BT.601, as JPEG (JFIF) has it.
_LUMA = (0.299, 0.587, 0.114)

# The made scenes had this many px for a mm (training/scenes.py). A photo of another scale is told
# as one of a smaller or larger thing: it looks the same px by px.
_TRAINED_PX_PER_MM = (4.0, 20.0)
WIDEST_BLUR_PX = 2.1  # they had no more


@dataclass(frozen=True)
class Response:
    """How this photo shows a sharp edge, and paper.

    Attributes
    ----------
    blur : px, standard deviation; `halo` by what share of the step sharpening overshoots.
    paper : linear light (N, 3) that lit paper would have at pixels (N, 2).
    window_dark : the sheet is printed dark beside the part.
    """

    blur: float
    halo: float
    paper: Callable[[Floats], Floats]
    window_dark: bool


@dataclass(frozen=True)
class Distribution:
    """For each row across a line a mixture of logistic distributions over the edge's place.

    Attributes
    ----------
    share, middle, scale : (N, PLACES) sums to 1 over a row; px outwards; px.
    untold : (N,) probability that the place cannot be told.
    """

    share: Floats
    middle: Floats
    scale: Floats
    untold: Floats

    def seen_from(self, at: Floats, px: float) -> "Distribution":
        """The same from a line at these places (N,), in a photo that has `px` for one of this."""
        middle = px * (self.middle - at[:, None])
        return replace(self, middle=middle, scale=px * self.scale)

    def with_rows(self, rows: Mask, new: "Distribution") -> "Distribution":
        """The same with those rows (N,) replaced by new ones."""
        fields = {}
        for name in ("share", "middle", "scale", "untold"):
            fields[name] = getattr(self, name).copy()
            fields[name][rows] = getattr(new, name)
        return Distribution(**fields)

    def density(self, places: Floats) -> Floats:
        """(N, G) probability per px at places (G,), px."""
        density = np.empty((len(self.share), len(places)))
        weight = self.share / self.scale
        for k, place in enumerate(places):
            e = np.exp(-np.minimum(np.abs(place - self.middle) / self.scale, _LARGEST_EXPONENT))
            density[:, k] = np.sum(weight * e / (1 + e) ** 2, axis=1)
        return (1 - self.untold)[:, None] * density + (self.untold / PLACES)[:, None]

    def masses(self) -> Floats:
        """(N, PLACES) probability of each px across, what cannot be told shared out evenly."""
        rows, bins = np.arange(len(self.share))[:, None], np.rint(self.middle - FIRST)
        index = (rows * PLACES + np.clip(bins, 0, PLACES - 1)).astype(np.int64)
        counted = np.bincount(index.ravel(), self.share.ravel(), self.share.size)
        mass: Floats = counted.reshape(self.share.shape) * (1 - self.untold[:, None])
        return np.asarray(mass + self.untold[:, None] / PLACES)

    def near(self, place: Floats) -> tuple[Floats, Floats, Floats]:
        """(N,) mean and standard deviation, px, of what lies about a place, and its probability.

        The mean weighs each part by its precision: a wide part tells little of the place.
        """
        own = self.share * (np.abs(self.middle - place[:, None]) < ABOUT_PX)
        total, sharp = own.sum(axis=1), own / self.scale**2
        mean = (sharp * self.middle).sum(axis=1) / np.maximum(sharp.sum(axis=1), 1e-9)
        square = own * ((self.middle - mean[:, None]) ** 2 + (_LOGISTIC * self.scale) ** 2)
        sigma = np.sqrt(square.sum(axis=1) / np.maximum(total, 1e-9))
        there = total > 1e-6
        mean, sigma = np.where(there, mean, place), np.where(there, sigma, PLACES)
        return mean, sigma, total * (1 - self.untold)


def through_network(given: NDArray[np.float32]) -> tuple[Floats, Floats]:
    """(12, N / 2, PLACES / 2) and (2, N / 2, 1) from (1, CHANNELS, N, PLACES); 8 divides N."""
    model = network(WEIGHTS)
    model.setInput(given)
    place, untold = model.forward(["place", "open"])
    return place[0].astype(np.float64), untold[0].astype(np.float64)


def edge_response(rgb: NDArray[np.uint8], quads: Floats) -> tuple[float, float]:
    """Blur (px) and halo at the edges of markers (M, 4, 2), whose corners run clockwise as seen."""
    side = np.roll(quads, -1, axis=1) - quads
    length = np.linalg.norm(side, axis=-1, keepdims=True)
    # Of a small marker's dark rim no more is looked at than there is.
    step = min(1.0, float(np.median(length)) / (_RIMS * REACH_PX))
    outward = np.stack([side[..., 1], -side[..., 0]], axis=-1) / length
    at = (quads[:, :, None] + _ALONG[:, None] * side[:, :, None])[:, :, :, None]
    at = at + step * ACROSS_PX[:, None] * outward[:, :, None, None]
    light = np.tensordot(LUMINANCE_WEIGHTS, sample_rgb(rgb, at[..., 0], at[..., 1]), 1)
    blur, halo = step_response(light.reshape(-1, *light.shape[2:]).mean(axis=1))
    return step * blur, halo


def edge_distribution(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    response: Response,
    line: Floats,
    normals: Floats,
    closed: bool,
    rows: Mask | None = None,
) -> Distribution:
    """Where the edge lies across each point of a line of even step (STEP_PX), or some of them."""
    around, asked = _around(np.ones(len(line), bool) if rows is None else rows, closed)
    looked, row = np.unique(around, return_inverse=True)
    given = _given(rgb, camera, sides, response, line, normals, closed, looked)
    place, untold = through_network(given[None, :, row])
    own = np.flatnonzero(asked)[np.argsort(around[asked])]
    _, half, cells = place.shape
    place = place.reshape(2, 2, 3, half, cells).transpose(3, 0, 4, 1, 2)
    place = place.reshape(2 * half, 2 * cells, 3)[own]
    untold = untold[..., 0].T.ravel()[own]
    share = np.exp(place[..., 0] - place[..., 0].max(axis=1, keepdims=True))
    share /= share.sum(axis=1, keepdims=True)
    middle = FIRST + np.arange(PLACES) + _FARTHEST_OFF * np.tanh(place[..., 1] / 2)
    scale = np.exp(np.clip(place[..., 2], _LEAST_SCALE, _MOST_SCALE))
    return Distribution(share, middle, scale, 1 / (1 + np.exp(-untold)))


def _around(rows: Mask, closed: bool) -> tuple[NDArray[np.int64], Mask]:
    """Indices of these rows with those beside them, which they see, and which of them are asked."""
    n = len(rows)
    first = int(np.argmin(rows)) if closed else 0  # a closed line is cut where none is asked
    index, beyond = first + np.arange(-BESIDE, n + BESIDE), np.zeros(BESIDE, bool)
    asked = np.r_[beyond, np.roll(rows, -first), beyond]
    near = maximum_filter1d(asked, 2 * BESIDE + 1, mode="constant")
    index, asked = index[near], asked[near]
    more = -len(index) % _MULTIPLE
    index, asked = np.r_[index, np.repeat(index[-1], more)], np.r_[asked, np.zeros(more, bool)]
    return (index % n if closed else np.clip(index, 0, n - 1)), asked


def widths(sides: PartSides, slope: Floats) -> tuple[Floats, Floats]:
    """(N,) mm from the silhouette in to the wall's top, and to where the upper face begins."""
    wall, lean = sides.thickness - sides.edge_size, float(np.tan(sides.draft))
    top = wall * (slope - lean)
    crease = sides.thickness * slope - wall * lean - sides.edge_size
    farthest = np.maximum(np.maximum(0.0, top), crease)
    if sides.edge == "round":
        rounded = top + sides.edge_size * (np.sqrt(1 + slope**2) - 1)
        farthest = np.where(slope > 0, np.maximum(farthest, rounded), farthest)
    return farthest - top, farthest - crease


def _given(
    rgb: NDArray[np.uint8],
    camera: Camera,
    sides: PartSides,
    response: Response,
    line: Floats,
    normals: Floats,
    closed: bool,
    rows: NDArray[np.int64],
) -> NDArray[np.float32]:
    """(C, N, PLACES) what the network is given."""
    n = len(rows)
    on_sheet = camera.on_plane(line)
    outward = outward_normals(on_sheet, closed, _SLOPE_REACH)[rows]
    line, normals, on_sheet = line[rows], normals[rows], on_sheet[rows]
    beside = camera.on_plane(line + normals) - on_sheet  # mm for a px outwards
    across = np.abs(np.sum(outward * beside, axis=1))
    centre = camera.centre
    slope = -np.sum(outward * (centre[:2] - on_sheet) / centre[2], axis=1)
    size = np.linalg.norm(beside, axis=1)
    across = np.maximum(across, _STEEPEST * size)
    wall, crease = (np.clip(w / across, 0, _WIDEST) for w in widths(sides, slope))
    places = np.arange(FIRST, FIRST + PLACES)
    paper = response.paper(line).T.astype(np.float32)[:, :, None]
    given = np.empty((CHANNELS, n, PLACES), np.float32)
    strips = given[: 3 * _LOOKS].reshape(3, _LOOKS, n, PLACES)
    shifts = (np.zeros(n), crease, wall)
    for k, (strip, shift) in enumerate(zip(strips, shifts, strict=True)):
        some = np.arange(n)
        if k:  # only what is shifted by something else than in the strip before is looked at again
            strip[:] = strips[k - 1]
            some = np.flatnonzero(shift != shifts[k - 1])
        if not len(some):
            continue
        at = places - shift[some, None]
        # Beyond the picture's border it goes on as it is there.
        x, y = (
            np.clip(line[some, k, None] + normals[some, k, None] * at, 0, rgb.shape[1 - k] - 1.001)
            for k in (0, 1)
        )
        strip[:, some] = _looks(sample_rgb(rgb, x, y) / paper[:, some])
    px_per_mm = float(1 / np.median(size))
    told = float(np.clip(px_per_mm, *_TRAINED_PX_PER_MM))
    thickness = max(sides.thickness * px_per_mm / told, _LEAST_THICKNESS)
    told_of = [
        normals[:, 0],
        normals[:, 1],
        slope,
        _PER_WALL_PX * crease,
        _PER_WALL_PX * wall,
        np.log(told / _USUAL_PX_PER_MM),
        response.blur - 1,
        _HALO_TIMES * response.halo,
        float(response.window_dark),
        _THICKNESS_TIMES * np.log(thickness / _USUAL_THICKNESS),
    ]
    place, *planes = given[3 * _LOOKS :]
    place[:] = _PER_PLACE * places
    for row, plane in zip(told_of, planes, strict=True):
        plane[:] = np.asarray(row)[..., None]
    return given


def _looks(share: NDArray[Any]) -> list[NDArray[Any]]:
    """Brightness and two opponent colours of light (3, ...) as a share of the paper's."""
    red, green, blue = linear_to_srgb(np.clip(share, 0, _BRIGHTEST))
    luma = _LUMA[0] * red + _LUMA[1] * green + _LUMA[2] * blue
    scale = _HUE_TIMES / (luma + _DARK)
    return [2 * luma - 1, (red - green) * scale, (blue - luma) * scale]
