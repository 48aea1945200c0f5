"""Is the part's edge good enough? Where it is lost, vague, cut off, or jumps aside."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, gaussian_filter1d

from snugline.notice import Notice
from snugline.trace.camera.projection import Camera
from snugline.trace.contour import PhotoFacts
from snugline.trace.edge.part_sensitivity import sensitivities
from snugline.trace.edge.relief_displacement import Lifted, PartSides, lift
from snugline.trace.edge.silhouette import Silhouette, right_normals
from snugline.trace.image.step_edge import sample_luminance
from snugline.trace.verdict.edge_strips import Beside
from snugline.trace.verdict.shadow_verdict import in_shadow
from snugline.trace.verdict.wall_verdict import wall_outside

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Region = tuple[float, float, float, float]

# A sharp corner alone leaves a gap of up to 4 mm; over a long one nothing bridges but the fit.
LOST_MM: tuple[float, float] = (5.0, 25.0)
# An end or a corner in the window has more edge than that.
SHORT_MM = 40.0
# Points less certain than this are below the accuracy wanted, if a whole stretch of them is; with
# twice that over a good part of the edge, the neighbours no longer agree on one edge either.
VAGUE_MM: tuple[float, float] = (0.06, 0.09)
_VAGUE_STRETCH_MM = 4.0
_VAGUE_SHARE = 0.15
# Where a second edge is as likely over a stretch, the shape's eye may still tell; not where it is
# so over a good part of the edge.
RIVAL_SHARE, _RIVAL_STRETCH_MM = 0.3, 8.0
# A stretch of so much that looks like sheet in a shadow is remarked on, and with more not used.
SHADOW_MM: tuple[float, float] = (12.0, 25.0)
# So is one beside which the wall seems to have been left out.
WALL_MM: tuple[float, float] = (12.0, 25.0)
# Below this share of the paper's light a shadow's rim or the grain is as strong as the edge.
PALE, _PALE_STRETCH_MM = 0.04, 10.0
_CONTRAST_PX = np.array([-5.0, -4.0, -3.0, 3.0, 4.0, 5.0])
# So near the window's border its printed line, or its end, may be taken for the edge.
BORDER_MM, _BORDER_STRETCH_MM = 2.5, 40.0
# Beyond this from the window's border a contour has no reason to end.
_END_MM = 6.0
# Two of three channels at the top of the scale: the light's true height is not known.
_FULL, _BESIDE_PX, _GLARE_STRETCH_MM = 254, 4.0, 3.0
# A reflection is a patch; where more than this share is cut off, the exposure is too long.
_PATCH = 0.3
# A straight edge that goes on beside itself: the part has a step there, or the edge was changed.
JOG_MM: tuple[float, float] = (0.4, 0.75)
_JOG_RUN_MM, _JOG_GAP_MM = 6.0, 3.0
_JOG_STRAIGHT_MM, _JOG_TURN = 0.12, np.radians(3)
# By how much thickness may be wrong, and what that may do.
THICKNESS_MM, MOVES_MM = 0.2, 0.05
_CLOSE_GAPS = 9  # points


@dataclass(frozen=True)
class EdgeEvidence:
    """The part's outer edge as it was followed.

    Attributes
    ----------
    rgb : (H, W, 3) uint8, the photo.
    pieces : the silhouette, in one piece or several.
    windows : (K, 2) mm on the bench, of the sheets seen.
    paper : linear light of the paper; NaN where it is not known.
    whole : the edge was followed beyond the windows, over all sheets.
    """

    rgb: NDArray[np.uint8]
    camera: Camera
    sides: PartSides
    pieces: tuple[Silhouette, ...]
    windows: tuple[Floats, ...]
    paper: float
    whole: bool = False


class _Piece:
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
        return lift(self.edge.camera, s.pixels, self.edge.sides, s.closed, smooth=6)

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
        """(N,) light just outside less just inside, as a share of the paper's."""
        normals = right_normals(self.pixels, self.silhouette.closed)
        places = self.pixels[:, None] + _CONTRAST_PX[:, None] * normals[:, None]
        light = sample_luminance(self.edge.rgb, places[..., 0], places[..., 1])
        half = len(_CONTRAST_PX) // 2
        step = light[:, half:].mean(axis=1) - light[:, :half].mean(axis=1)
        # What grain does from point to point is no contrast of the edge.
        calm: Floats = gaussian_filter1d(step.astype(np.float64), 6.0) / self.edge.paper
        return np.nan_to_num(np.abs(calm), nan=1.0)

    def clipped(self, beside_px: float) -> Mask:
        """Whether the photo is cut off at white beside the edge; positive is outside the part."""
        normals = right_normals(self.pixels, self.silhouette.closed)
        spots = np.round(self.pixels + beside_px * normals).astype(np.int64)
        height, width = self.edge.rgb.shape[:2]
        x, y = np.clip(spots[:, 0], 0, width - 1), np.clip(spots[:, 1], 0, height - 1)
        return np.asarray((self.edge.rgb[y, x] >= _FULL).sum(axis=1) >= 2)


@dataclass(frozen=True)
class _Stretch:
    """The longest run of marked points over all pieces."""

    length_mm: float
    share: float
    pixels: Floats
    piece: _Piece
    run: slice


def judge_edge(edge: EdgeEvidence, facts: PhotoFacts) -> list[Notice]:
    """Remarks on the part's edge in one photo."""
    pieces = [_Piece(edge, s, facts.mm_per_px) for s in edge.pieces if len(s.pixels) > 2]
    checks = (
        _short,
        _lost,
        _vague,
        _rivals,
        _shadow,
        _wall,
        _ends,
        _border,
        _glare,
        _jog,
        _thickness,
    )
    return [notice for check in checks for notice in check(pieces, facts.file)] if pieces else []


def region_of(points: Floats, margin_px: float = 20.0) -> Region:
    """The box round points, (left, top, right, bottom) px."""
    left, top = points.min(axis=0) - margin_px
    right, bottom = points.max(axis=0) + margin_px
    return float(left), float(top), float(right), float(bottom)


def _longest(pieces: Sequence[_Piece], marks: Sequence[Mask]) -> _Stretch | None:
    """The longest run; what interrupts it for a few points only does not end it."""
    total = sum(float(p.length[p.inside].sum()) for p in pieces)
    marked = sum(float(p.length[m & p.inside].sum()) for p, m in zip(pieces, marks, strict=True))
    best: _Stretch | None = None
    for piece, mark in zip(pieces, marks, strict=True):
        run = binary_closing(mark & piece.inside, np.ones(_CLOSE_GAPS, bool))
        change = np.diff(np.concatenate([[False], run, [False]]).astype(np.int8))
        for a, b in zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True):
            length = float(piece.length[a:b].sum())
            if best is None or length > best.length_mm:
                share = marked / max(total, 1e-9)
                best = _Stretch(length, share, piece.pixels[a:b], piece, slice(int(a), int(b)))
    return best


def _short(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    """Open pieces that are hardly any edge: a print on the sheet, or what a cut went round."""
    length = sum(float(p.length[p.inside].sum()) for p in pieces)
    if length < SHORT_MM and not any(p.silhouette.closed for p in pieces):
        yield Notice(
            "edge-short",
            f"Only {length:.0f} mm of an edge were found in the window; it may be the sheet's own "
            f"print, and the part as light as the sheet.",
            "Lay the part so that its end or corner shows, or take a frame with a window that is "
            "darker or lighter than the part.",
            "retake",
            file,
            region_of(np.concatenate([p.pixels for p in pieces])),
        )


def _lost(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    found = _longest(pieces, [~p.silhouette.good for p in pieces])
    if found and found.length_mm > LOST_MM[0]:
        yield Notice(
            "edge-lost",
            f"The part's edge is lost over {found.length_mm:.0f} mm in one place, "
            f"{found.share * 100:.0f} % of it in all.",
            "Light it from another side, or lay the part so that the edge shows against the sheet.",
            "retake" if found.length_mm > LOST_MM[1] else "usable",
            file,
            region_of(found.pixels),
        )


def _vague(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    sigma = [p.silhouette.sigma * p.mm_per_px for p in pieces]
    found = _longest(pieces, [s > VAGUE_MM[0] for s in sigma])
    vague = found is not None and found.length_mm > _VAGUE_STRETCH_MM
    if found and vague:
        i = next(k for k, p in enumerate(pieces) if p is found.piece)
        very = sum(
            float(p.length[(s > VAGUE_MM[1]) & p.inside].sum())
            for p, s in zip(pieces, sigma, strict=True)
        ) / sum(float(p.length[p.inside].sum()) for p in pieces)
        yield Notice(
            "edge-vague",
            f"Over {found.length_mm:.0f} mm the part's edge can be told to "
            f"{np.median(sigma[i][found.run]):.2f} mm only{_contrast(found)}; "
            f"{found.share * 100:.0f} % of the edge is as vague.",
            "Give even light from all sides, or take a frame with a window that is darker or "
            "lighter than the part.",
            "retake" if very > _VAGUE_SHARE else "usable",
            file,
            region_of(found.pixels),
        )
        return
    found = _longest(pieces, [p.contrast < PALE for p in pieces])
    if found and found.length_mm > _PALE_STRETCH_MM:
        yield Notice(
            "edge-pale",
            f"Over {found.length_mm:.0f} mm the part is hardly darker or lighter than the sheet"
            f"{_contrast(found)}.",
            "Take a frame with a window that is darker or lighter than the part.",
            "usable",
            file,
            region_of(found.pixels),
        )


def _rivals(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    found = _longest(pieces, [p.silhouette.rival for p in pieces])
    if found and found.length_mm > _RIVAL_STRETCH_MM:
        yield Notice(
            "edge-doubtful",
            f"Over {found.length_mm:.0f} mm there is a second edge as likely beside the one that "
            f"was followed (a shadow's rim, or the part's own rounding); so it is along "
            f"{found.share * 100:.0f} % of the edge.",
            "Give even light from all sides, or take a frame with a window that is darker or "
            "lighter than the part.",
            "retake" if found.share > RIVAL_SHARE else "usable",
            file,
            region_of(found.pixels),
        )


def _shadow(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    found = _longest(pieces, [in_shadow(p.beside) for p in pieces])
    if found and found.length_mm > SHADOW_MM[0]:
        yield Notice(
            "shadow-taken",
            f"Over {found.length_mm:.0f} mm what lies just inside the edge looks like the sheet in "
            f"a shadow: the shadow's rim may have been taken for the part's edge.",
            "Soften the lamp or move it away, so that no hard shadow lies beside the part, and "
            "take the photo again.",
            "retake" if found.length_mm > SHADOW_MM[1] else "usable",
            file,
            region_of(found.pixels),
        )


def _wall(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    found = _longest(pieces, [wall_outside(p.beside) for p in pieces])
    if found and found.length_mm > WALL_MM[0]:
        yield Notice(
            "wall-left-out",
            f"Over {found.length_mm:.0f} mm a step runs beside the edge, as far out as the part's "
            f"wall would show: the wall's upper edge may have been taken for its foot.",
            "Hold the phone more nearly over that side, or light the wall so that it is darker or "
            "lighter than the sheet, and take the photo again.",
            "retake" if found.length_mm > WALL_MM[1] else "usable",
            file,
            region_of(found.pixels),
        )


def _contrast(found: _Stretch) -> str:
    if not np.isfinite(found.piece.edge.paper):
        return ""
    share = float(np.median(found.piece.contrast[found.run]))
    return f" (contrast {share * 100:.0f} % of the paper's light)"


def _ends(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    """Ends of the followed edge that lie in the middle of the window."""
    for piece in pieces:
        if piece.silhouette.closed or piece.edge.whole:
            continue
        height, width = piece.edge.rgb.shape[:2]
        for i in (0, len(piece.pixels) - 1):
            x, y = piece.pixels[i]
            in_photo = min(x, y, width - 1 - x, height - 1 - y) > 10
            if piece.deep[i] > _END_MM and in_photo:
                yield Notice(
                    "edge-ends-inside",
                    f"The part's edge could be followed to a place {piece.deep[i]:.0f} mm inside "
                    f"the window, and no farther.",
                    "Light the edge from another side, and take the photo again.",
                    "usable",
                    file,
                    region_of(piece.pixels[i : i + 1], 60.0),
                )


def _border(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    if pieces[0].edge.whole:
        return
    found = _longest(pieces, [(p.deep > 0) & (p.deep < BORDER_MM) for p in pieces])
    if found and found.length_mm > _BORDER_STRETCH_MM:
        yield Notice(
            "edge-near-border",
            f"Over {found.length_mm:.0f} mm the part's edge runs within {BORDER_MM:.1f} mm of the "
            f"window's border.",
            "Move the part so that its edge keeps clear of the border, or crosses it steeply.",
            "usable",
            file,
            region_of(found.pixels),
        )


def _glare(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    for beside, what in ((-_BESIDE_PX, "part"), (_BESIDE_PX, "sheet")):
        found = _longest(pieces, [p.clipped(beside) for p in pieces])
        if found and found.length_mm > _GLARE_STRETCH_MM:
            patch = what == "part" and found.share < _PATCH
            yield Notice(
                "glare" if patch else "overexposed",
                f"Along {found.length_mm:.0f} mm of the part's edge the {what} is cut off at "
                f"white.",
                "Move the lamp to the other side, or soften it."
                if patch
                else "Lower the camera's exposure, or take some light away.",
                "usable",
                file,
                region_of(found.pixels),
            )


def _jog(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    for piece in pieces:
        step = float(np.median(piece.length))
        run, gap = round(_JOG_RUN_MM / step), round(_JOG_GAP_MM / 2 / step)
        n = len(piece.pixels) - 2 * (run + gap)
        if n < 1:
            continue
        middle, along, apart = _lines(piece.lifted.points, run)
        before, after = np.arange(n), np.arange(n) + run + 2 * gap
        turn = along[before, 0] * along[after, 1] - along[before, 1] * along[after, 0]
        # How far the two lines are apart half-way: nothing for an even curve.
        mean = along[before] + along[after]
        mean /= np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-9)
        between = middle[after] - middle[before]
        half = 0.5 * np.sum(between * mean, axis=1)[:, None]
        gap_there = between - half * (along[before] + along[after])
        aside = np.abs(mean[:, 0] * gap_there[:, 1] - mean[:, 1] * gap_there[:, 0])
        straight = (apart[before] < _JOG_STRAIGHT_MM) & (apart[after] < _JOG_STRAIGHT_MM)
        good = piece.inside[run + gap : run + gap + n]
        same = np.sum(along[before] * along[after], axis=1) > 0
        jog = straight & good & same & (np.abs(turn) < _JOG_TURN) & (aside > JOG_MM[0])
        if not jog.any():
            continue
        k = int(np.argmax(np.where(jog, aside, 0)))
        yield Notice(
            "edge-jumps",
            f"The part's straight edge goes on {aside[k]:.1f} mm beside itself: it has a step "
            f"there, or a shadow or its wall was taken for it.",
            "Look at the place; if the part has no step, light it from another side and retake.",
            "retake" if aside[k] > JOG_MM[1] else "usable",
            file,
            region_of(piece.pixels[k : k + 2 * (run + gap)]),
        )


def _lines(points: Floats, run: int) -> tuple[Floats, Floats, Floats]:
    """Line through each window of `run` points: middle, unit direction, rms distance from it."""
    sums = np.cumsum(np.vstack([np.zeros((1, 2)), points]), axis=0)
    middle = (sums[run:] - sums[:-run]) / run
    centred = points - points.mean(axis=0)
    products = centred[:, :, None] * centred[:, None, :]
    total = np.cumsum(np.concatenate([np.zeros((1, 2, 2)), products]), axis=0)
    mean = middle - points.mean(axis=0)
    covariance = (total[run:] - total[:-run]) / run - mean[:, :, None] * mean[:, None, :]
    values, vectors = np.linalg.eigh(covariance)
    along = vectors[:, :, 1]
    chord = points[run - 1 :] - points[: len(points) - run + 1]
    along = along * np.where(np.sum(along * chord, axis=1) < 0, -1.0, 1.0)[:, None]
    return middle, along, np.sqrt(np.maximum(values[:, 0], 0))


def _thickness(pieces: Sequence[_Piece], file: str) -> Iterator[Notice]:
    moves = [
        np.abs(sensitivities(p.edge.sides, p.lifted.slope)["thickness"]) * THICKNESS_MM
        for p in pieces
    ]
    kept = [p.inside & p.silhouette.good & ~p.lifted.ambiguous for p in pieces]
    found = _longest(pieces, [(m > MOVES_MM) & k for m, k in zip(moves, kept, strict=True)])
    if found:
        i = next(k for k, p in enumerate(pieces) if p is found.piece)
        yield Notice(
            "thickness-matters",
            f"A thickness wrong by {THICKNESS_MM:.1f} mm would move the edge by up to "
            f"{moves[i][found.run].max():.2f} mm over {found.length_mm:.0f} mm, where its top is "
            f"seen.",
            "Measure the thickness there with calipers.",
            "fine",
            file,
            region_of(found.pixels),
        )
