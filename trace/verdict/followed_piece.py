"""A followed edge with what the checks on it share, and the longest stretch that a check marks."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, gaussian_filter1d

from snugline.place import Region
from snugline.trace.camera.projection import Camera
from snugline.trace.edge.relief_displacement import Lifted, PartSides, lift
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.image.polyline import right_normals
from snugline.trace.image.step_edge import sample_luminance
from snugline.trace.verdict.edge_strips import Beside

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Px across the edge where its contrast is measured: beyond its blur.
_CONTRAST_PX = np.array([-5.0, -4.0, -3.0, 3.0, 4.0, 5.0])
# Two of three channels at the top of the scale: the true luminance is not known.
_FULL = 254
_CLOSE_GAPS = 9  # points that may interrupt a stretch
_SLOPE_SMOOTH = 6  # points over which the part's slope is smoothed, as for the contour
_CONTRAST_SMOOTH = 6.0  # points, more than grain


@dataclass(frozen=True)
class EdgeEvidence:
    """The part's outer edge as it was followed.

    Attributes
    ----------
    rgb : (H, W, 3) uint8, the photo.
    pieces : the silhouette, in one piece or several.
    windows : (K, 2) mm in the world coordinate system, of the sheets seen.
    paper : linear luminance of the paper; NaN where it is not known.
    whole : the edge was followed beyond the windows, over all sheets.
    border_printed : the window's border shows, as that of a dark window or a plain frame does.
    """

    rgb: NDArray[np.uint8]
    camera: Camera
    sides: PartSides
    pieces: tuple[Silhouette, ...]
    windows: tuple[Floats, ...]
    paper: float
    whole: bool = False
    border_printed: bool = True


class FollowedPiece:
    """A silhouette with what the checks share."""

    def __init__(self, edge: EdgeEvidence, silhouette: Silhouette, mm_per_px: float) -> None:
        self.edge = edge
        self.silhouette = silhouette
        self.mm_per_px = mm_per_px
        self.pixels = silhouette.pixels
        self.on_sheet = edge.camera.on_plane(self.pixels)
        step = np.linalg.norm(np.diff(self.on_sheet, axis=0, append=self.on_sheet[-1:]), axis=1)
        self.length: Floats = step
        self.inside = np.ones(len(step), bool) if edge.whole else self._deep() > 0

    @cached_property
    def lifted(self) -> Lifted:
        s = self.silhouette
        return lift(self.edge.camera, s.pixels, self.edge.sides, s.closed, smooth=_SLOPE_SMOOTH)

    @cached_property
    def beside(self) -> Beside:
        e = self.edge
        return Beside.of(e.rgb, e.camera, e.sides, self.silhouette, self.mm_per_px)

    def _deep(self) -> Floats:
        """(N,) mm inside the nearest window's border; negative outside of all."""
        import shapely

        deepest = np.full(len(self.on_sheet), -np.inf)
        at = shapely.points(self.on_sheet)
        for window in self.edge.windows:
            area = shapely.Polygon(window)
            distance = shapely.distance(at, area.exterior)
            inside = shapely.contains_xy(area, *self.on_sheet.T)
            deepest = np.maximum(deepest, np.where(inside, distance, -distance))
        return deepest

    @cached_property
    def deep(self) -> Floats:
        return self._deep()

    @cached_property
    def contrast(self) -> Floats:
        """(N,) luminance just outside less just inside, as a share of the paper's."""
        normals = right_normals(self.pixels, self.silhouette.closed)
        places = self.pixels[:, None] + _CONTRAST_PX[:, None] * normals[:, None]
        light = sample_luminance(self.edge.rgb, places[..., 0], places[..., 1])
        half = len(_CONTRAST_PX) // 2
        step = light[:, half:].mean(axis=1) - light[:, :half].mean(axis=1)
        # Point-to-point variation due to grain is not edge contrast.
        calm: Floats = (
            gaussian_filter1d(step.astype(np.float64), _CONTRAST_SMOOTH) / self.edge.paper
        )
        return np.nan_to_num(np.abs(calm), nan=1.0)

    def clipped(self, beside_px: float) -> Mask:
        """Whether the photo is clipped to white beside the edge; positive is outside the part."""
        normals = right_normals(self.pixels, self.silhouette.closed)
        spots = np.round(self.pixels + beside_px * normals).astype(np.int64)
        height, width = self.edge.rgb.shape[:2]
        x, y = np.clip(spots[:, 0], 0, width - 1), np.clip(spots[:, 1], 0, height - 1)
        return np.asarray((self.edge.rgb[y, x] >= _FULL).sum(axis=1) >= 2)


@dataclass(frozen=True)
class Stretch:
    """The longest run of marked points over all pieces."""

    length_mm: float
    share: float
    pixels: Floats
    piece: FollowedPiece
    run: slice


def longest_stretch(pieces: Sequence[FollowedPiece], marks: Sequence[Mask]) -> Stretch | None:
    """The longest run; interruptions of a few points do not end it."""
    total = sum(float(p.length[p.inside].sum()) for p in pieces)
    marked = sum(float(p.length[m & p.inside].sum()) for p, m in zip(pieces, marks, strict=True))
    best: Stretch | None = None
    for piece, mark in zip(pieces, marks, strict=True):
        for run in runs_of(piece, mark):
            length = float(piece.length[run].sum())
            if best is None or length > best.length_mm:
                share = marked / max(total, 1e-9)
                best = Stretch(length, share, piece.pixels[run], piece, run)
    return best


def runs_of(piece: FollowedPiece, mark: Mask) -> list[slice]:
    """Runs of marked points in the window; interruptions of a few points do not end one."""
    run = binary_closing(mark & piece.inside, np.ones(_CLOSE_GAPS, bool))
    change = np.diff(np.concatenate([[False], run, [False]]).astype(np.int8))
    ends = zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True)
    return [slice(int(a), int(b)) for a, b in ends]


def region_of(points: Floats, margin_px: float = 20.0) -> Region:
    """The box round (N, 2) points in the photo, to a tenth of a pixel."""
    left, top = (points.min(axis=0) - margin_px).round(1).tolist()
    right, bottom = (points.max(axis=0) + margin_px).round(1).tolist()
    return Region((left, top, right, bottom))
