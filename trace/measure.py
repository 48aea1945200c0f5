"""The pipeline of this package: photos of a part on its frame to contours of its plan outline."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import InputError, PhotoError
from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.lens import LensPrior
from snugline.trace.camera.projection import Camera
from snugline.trace.camera.sighting import (
    Sighting,
    sight_markers,
    sight_plain,
)
from snugline.trace.contour import CommonUncertainty, Contour, Curve, PhotoFacts
from snugline.trace.contour_join import join
from snugline.trace.edge.edge_line import Silhouette, px_per_mm
from snugline.trace.edge.learned_edge import TRAINED_PX_PER_MM, Response
from snugline.trace.edge.part_sensitivity import variance
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.edge.silhouette import locate
from snugline.trace.edge.two_witnesses import locate_with_both
from snugline.trace.image.linear_light import linear_table
from snugline.trace.image.photo_file import Photo, read_photo, reduced
from snugline.trace.part.part_search import CoarseEdge, Region, find_part
from snugline.trace.part.whole_part import whole_border
from snugline.trace.part.window_contents import check_window, why_nothing
from snugline.trace.photo_view import PhotoView, reduced_px, response, sheet_view, split_markers
from snugline.trace.plan_curve import offset_u_px, plan_curve
from snugline.trace.sheet.frame_description import AnyFrame, Frame, PlainFrame
from snugline.trace.verdict.followed_piece import EdgeEvidence
from snugline.trace.verdict.lens_verdict import judge_lens
from snugline.trace.verdict.photo_verdict import Evidence, judge
from snugline.trace.verdict.window_verdict import judge_window, markers_covered

__all__ = ["Measured", "MeasuredPhoto", "PartSides", "measure_photos"]

Floats = NDArray[np.float64]

# The part is separated from the sheet on a picture of about this width or height.
_COARSE_SIDE_PX = 1000
# A border found on the reduced picture is good to about this many of its pixels.
_COARSE_ERROR = 1.5
# Decoded photos that are kept to be measured once all cameras are known: two of 12 megapixels.
_KEPT_PIXELS = 25_000_000


@dataclass(frozen=True)
class MeasuredPhoto:
    """One photo's contour, with what a picture of it needs.

    Attributes
    ----------
    camera : in the world coordinate system (that of the first frame).
    contour_px : the contour's curves in the displayed photo's pixels, where they were seen.
    markers_used, markers_rejected : (M, 4, 2) px.
    followed : the edges as they were followed, with what was thought of them; only for pictures.
    """

    file: Path
    contour: Contour
    camera: Camera
    contour_px: tuple[Floats, ...]
    markers_used: Floats
    markers_rejected: Floats
    followed: tuple[Silhouette, ...] = ()


@dataclass(frozen=True)
class Measured:
    """All photos of a job.

    Attributes
    ----------
    joined : where several frames lie under a part that was not moved between the photos: the one
        contour of all photos in the first frame's coordinate system.
    """

    photos: tuple[MeasuredPhoto, ...]
    joined: Contour | None = None
    notices: tuple[Notice, ...] = ()


def measure_photos(
    files: Sequence[str | Path],
    frames: Sequence[AnyFrame],
    sides: PartSides,
    known: Callable[[Photo], LensPrior | Notice | None] = lambda photo: None,
    finished: Callable[[MeasuredPhoto, Photo], None] = lambda measured, photo: None,
) -> Measured:
    """Measure the part's plan outline in photos of it.

    Parameters
    ----------
    frames : one, or the several that lie on the bench together; bars as measured are in them
        (`with_print_scale`).
    known : what is known of a photo's lens beforehand, or why that does not hold for it (see
        `known_cameras`).
    finished : called for each photo once it is measured, in any order, with its pixels at hand.

    Raises
    ------
    FileError, PhotoError : a photo that cannot be read or measured; it names the photo.
    """
    paths = [Path(f) for f in files]
    kept: dict[int, Photo] = {}
    sightings = []
    for index, path in enumerate(paths):
        photo = kept[index] = read_photo(path)
        sightings.append(_sight(photo, frames, known(photo)))
        _forget(kept)
    solved = solve(sightings, frames)
    measured: dict[int, MeasuredPhoto] = {}
    # Those still at hand first: the others are decoded a second time.
    for index in sorted(range(len(paths)), key=lambda i: i not in kept):
        photo = kept.pop(index) if index in kept else read_photo(paths[index])
        view = PhotoView(photo, index, sightings[index], solved, tuple(frames), sides)
        measured[index] = _measure(view)
        finished(measured[index], photo)
    photos = tuple(measured[index] for index in range(len(paths)))
    if len(frames) == 1:
        return Measured(photos)
    return _joined(photos)


def _forget(kept: dict[int, Photo]) -> None:
    """Let go of the first photos while those at hand are too large together."""
    while len(kept) > 1 and sum(p.width * p.height for p in kept.values()) > _KEPT_PIXELS:
        del kept[min(kept)]


def _sight(photo: Photo, frames: Sequence[AnyFrame], known: LensPrior | Notice | None) -> Sighting:
    if isinstance(known, Notice):
        sighting = _sight(photo, frames, None)
        return replace(sighting, notices=(*sighting.notices, known))
    prior = known
    with_markers = [f for f in frames if isinstance(f, Frame)]
    if len(with_markers) == len(frames):
        return sight_markers(photo, with_markers, prior)
    plain = [f for f in frames if isinstance(f, PlainFrame)]
    if len(frames) > 1:
        raise InputError(
            "a plain frame cannot be joined with others",
            f"frame {plain[0].name}",
            "use sheets with markers where more than one lies under the part",
        )
    return sight_plain(photo, plain[0], prior)


def _followed(view: PhotoView, edge: CoarseEdge, step: int, shown: Response | None) -> Silhouette:
    """A coarse edge at full resolution: by both witnesses, or by the physical profile alone.

    The learned one knows photos with markers, whose edges say how this photo shows an edge, and the
    scales that it was trained on.
    """
    rgb, camera, sides, blur_px = view.photo.rgb, view.camera, view.sides, view.sighting.blur_px
    border = edge.points * step + (step - 1) / 2
    low, high = TRAINED_PX_PER_MM
    if shown is not None and low <= px_per_mm(camera, border, edge.closed) <= high:
        return locate_with_both(rgb, camera, sides, border, edge.closed, blur_px, shown)
    return locate(rgb, camera, sides, border, edge.closed, _COARSE_ERROR * step, blur_px)


def _measure(view: PhotoView) -> MeasuredPhoto:
    photo = view.photo
    step = max(1, round(max(photo.rgb.shape[:2]) / _COARSE_SIDE_PX))
    small = reduced(photo.rgb, step)
    light = np.asarray(cv2.LUT(small, linear_table()), dtype=np.float32)
    notices = [*photo.notices, *view.sighting.notices]
    regions = _parts(view, light, step)
    curves: list[Curve] = []
    pixels: list[Floats] = []
    silhouettes: list[list[Silhouette]] = []
    shown = None if isinstance(view.frames[0], PlainFrame) else response(view)
    for edges in _edges(view, regions, small, step):
        traced = [_followed(view, edge, step, shown) for edge in edges]
        curve, seen = plan_curve(traced, view)
        if curve is not None:
            curves.append(curve)
            pixels.append(seen)
            silhouettes.append(traced)
    covers = markers_covered(view, light, regions, step)
    if not curves:
        raise _no_edge(view, covers, light, step)
    notices.extend(covers)
    notices.extend(judge_window(view, regions, step))
    facts = _facts(view, curves[0])
    best = view.sheets_seen()[0]
    lens = judge_lens(
        view.solved, view.number, view.sighting, view.window(best), view.sides.thickness
    )
    notices.extend(lens)
    notices.extend(judge(_evidence(view, facts, silhouettes[0])))
    used, rejected = split_markers(view)
    layout = view.solved.adjusted.layout
    scale_u = np.sqrt(np.diag(view.solved.adjusted.covariance)[layout.scale(best)])
    outer = curves[0]
    shared = np.sqrt(
        np.mean(outer.sigma**2 - outer.noise**2 - variance(outer.sensitivity, view.sides))
    )
    contour = Contour(
        frame=view.frames[best].name,
        outer=outer,
        photo=facts,
        common=CommonUncertainty(float(shared), float(scale_u[0]), float(scale_u[1])),
        others=tuple(curves[1:]),
        notices=tuple(notices),
    )
    followed = tuple(silhouette for traced in silhouettes for silhouette in traced)
    return MeasuredPhoto(photo.path, contour, view.camera, tuple(pixels), used, rejected, followed)


def _parts(view: PhotoView, light: NDArray[np.float32], step: int) -> list[Region]:
    """What the windows show of the part, those of the sheet seen best first.

    Raises
    ------
    PhotoError : none shows any; it says why the best seen one does not.
    """
    regions: list[Region] = []
    nothing: PhotoError | None = None
    for sheet in view.sheets_seen():
        here, window = sheet_view(view, sheet, step), view.window(sheet)
        try:
            check_window(light, here, window)
            try:
                regions.extend(find_part(light, here))
            except PhotoError:
                raise why_nothing(light, here, window) from None
        except PhotoError as error:
            nothing = nothing or PhotoError(error.what, OfPhoto(str(view.photo.path)), error.mend)
    if not regions and nothing is not None:
        raise nothing
    return regions


def _no_edge(
    view: PhotoView, covers: Sequence[Notice], light: NDArray[np.float32], step: int
) -> PhotoError:
    """Why something lies in the window and yet shows no edge."""
    where = OfPhoto(str(view.photo.path))
    if covers:
        text = covers[0].text
        return PhotoError(text[0].lower() + text[1:].rstrip("."), where, covers[0].mend)
    best = view.sheets_seen()[0]
    why = why_nothing(light, sheet_view(view, best, step), view.window(best))
    return PhotoError(why.what, where, why.mend)


def _edges(
    view: PhotoView, regions: list[Region], small: NDArray[np.uint8], step: int
) -> list[tuple[CoarseEdge, ...]]:
    """Coarse edges, those of one curve together, the part's outer one first."""
    if len(view.sheets_seen()) > 1:
        border = whole_border(
            small,
            [np.concatenate([edge.points for edge in region.outer]) for region in regions],
            [reduced_px(view, view.window(s), step) for s in view.sheets_seen()],
            (view.sighting.quads - (step - 1) / 2) / step,
        )
        if border is not None:
            whole = CoarseEdge(border, True, np.ones(len(border), dtype=bool))
            return [(whole,), *[(hole,) for region in regions for hole in region.holes]]
        # The part leaves the photo: its pieces in the windows are one open curve with gaps.
        pieces = tuple(edge for region in regions for edge in region.outer)
        return [pieces, *[(hole,) for region in regions for hole in region.holes]]
    edges = []
    for region in regions:
        edges.append(region.outer)
        edges.extend((hole,) for hole in region.holes)
    return edges


def _joined(measured: Sequence[MeasuredPhoto]) -> Measured:
    joined = join([m.contour.outer for m in measured], [m.file.name for m in measured])
    if joined is None:
        notice = Notice(
            "whole-not-seen",
            "No single photo shows the whole edge, so the partial contours could not be joined "
            "into a closed outline.",
            "Take one more photo from higher up that shows the whole part and both sheets.",
        )
        return Measured(tuple(measured), None, (notice,))
    best = min(measured, key=lambda m: -len(m.contour.outer.points))
    contour = replace(
        best.contour,
        outer=joined.curve,
        others=(),
        notices=joined.notices,
    )
    return Measured(tuple(measured), contour, joined.notices)


def _evidence(view: PhotoView, facts: PhotoFacts, pieces: list[Silhouette]) -> Evidence:
    windows = tuple(view.window(s) for s in view.sheets_seen())
    light = view.sighting.light
    edge = EdgeEvidence(
        rgb=view.photo.rgb,
        camera=view.camera,
        sides=view.sides,
        pieces=tuple(pieces),
        windows=windows,
        paper=float(np.median(light)) if len(light) else float("nan"),
        whole=len(windows) > 1 and all(piece.closed for piece in pieces),
        border_printed=any(not isinstance(f, Frame) or f.window_dark for f in view.frames),
    )
    adjusted = view.solved.adjusted
    return Evidence(facts, view.sighting, adjusted, view.number, view.frames, windows, edge)


def _facts(view: PhotoView, outer: Curve) -> PhotoFacts:
    camera = view.camera
    weights = view.solved.adjusted.weights[view.number]
    residual = view.solved.adjusted.residuals[view.number]
    middle = view.window(view.sheets_seen()[0]).mean(axis=0)[None]
    left_out = float(view.solved.holdout_mm[view.number])
    beside = camera.on_plane(camera.pixels(middle) + np.array([1.0, 0.0]))
    mm_per_px = float(np.linalg.norm(beside - middle))
    offset = float(offset_u_px(np.array(view.sides.thickness / mm_per_px)))
    edge = np.sqrt(np.mean(outer.noise**2) + (offset * mm_per_px) ** 2)
    return PhotoFacts(
        file=view.photo.path.name,
        width=view.photo.width,
        height=view.photo.height,
        markers_found=len(view.sighting.marker),
        markers_total=sum(len(f.ids) for f in view.frames if isinstance(f, Frame)),
        # A marker's edge gives one coordinate; a point has two.
        reprojection_px=float(np.sqrt(2 * np.mean(residual[weights > 0] ** 2))),
        # The markers test the camera only, not the locating of the part's own edge.
        holdout_mm=float(np.hypot(np.nan_to_num(left_out), edge)),
        tilt_deg=camera.tilt_deg,
        focal_px=camera.lens.focal,
        mm_per_px=mm_per_px,
        markers_holdout_mm=left_out,
    )
