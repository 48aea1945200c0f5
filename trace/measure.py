"""The pipeline of this package: photos of a part on its frame to contours of its plan outline."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import InputError, PhotoError
from snugline.notice import Notice
from snugline.trace.camera.camera_solution import Solved, solve
from snugline.trace.camera.lens import LENS_SIZE, LensPrior
from snugline.trace.camera.projection import Camera, rotation_from_vector
from snugline.trace.camera.sighting import (
    FEWEST_MARKERS,
    Sighting,
    first_marker,
    sight_markers,
    sight_plain,
)
from snugline.trace.contour import CommonUncertainty, Contour, Curve, PhotoFacts
from snugline.trace.contour_join import join
from snugline.trace.edge.learned_edge import Response, edge_response
from snugline.trace.edge.relief_displacement import Lifted, PartSides, lift
from snugline.trace.edge.silhouette import Silhouette, locate, right_normals
from snugline.trace.image.linear_light import linear_table, srgb_to_linear
from snugline.trace.image.photo_file import Photo, read_photo, reduced
from snugline.trace.image.step_edge import sample_rgb
from snugline.trace.part.coarse_border import CoarseEdge
from snugline.trace.part.paper_light import fit_light, quiet_zone_points
from snugline.trace.part.part_search import Region, SheetView, find_part
from snugline.trace.part.whole_part import whole_border
from snugline.trace.sheet.frame_description import AnyFrame, Frame, PlainFrame
from snugline.trace.verdict.edge_verdict import EdgeEvidence
from snugline.trace.verdict.photo_verdict import Evidence, judge

__all__ = ["Measured", "MeasuredPhoto", "PartSides", "measure_photos"]

Floats = NDArray[np.float64]

# The part is separated from the sheet on a picture of about this width or height.
_COARSE_SIDE_PX = 1000
# Where no paper is known, the brightest of the photo but for this share stands for it.
_WHITE_SHARE = 0.98
# Nearer to the window's border than this the contour ends.
_WINDOW_MARGIN_MM = 0.3
_MARKER_MARGIN_MM = 2.0
# This much of the paper round a white window is white too, before the scale bars begin.
_WHITE_MARGIN_MM = 5.0
_FREE_BORDER_MM = 1.5
# A run of fewer good points than this is dropped.
_SHORTEST_RUN = 12
_CAMERA_U_EVERY = 8  # points
# What blur, halo and unevenness leave after the profile model (shares of a pixel): from point to
# point, and common to all of one photo's edge.
_EDGE_MODEL_U_PX = 0.06
_EDGE_OFFSET_U_PX = 0.06


@dataclass(frozen=True)
class MeasuredPhoto:
    """One photo's contour, with what a picture of it needs.

    Attributes
    ----------
    camera : in the world coordinate system (that of the first frame).
    contour_px : the contour's curves in the displayed photo's pixels, where they were seen.
    markers_used, markers_rejected : (M, 4, 2) px.
    """

    file: Path
    contour: Contour
    camera: Camera
    contour_px: tuple[Floats, ...]
    markers_used: Floats
    markers_rejected: Floats


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
    known: Callable[[Photo], LensPrior | None] = lambda photo: None,
) -> Measured:
    """Measure the part's plan outline in photos of it.

    Parameters
    ----------
    frames : one, or the several that lie on the bench together; bars as measured are in them
        (`with_print_scale`).
    known : what is known of a photo's lens beforehand (see `known_cameras`).

    Raises
    ------
    FileError, PhotoError : a photo that cannot be read or measured; it names the photo.
    """
    paths = [Path(f) for f in files]
    kept: Photo | None = None
    sightings = []
    for path in paths:
        kept = read_photo(path)
        sightings.append(_sight(kept, frames, known(kept)))
    solved = solve(sightings, frames)
    measured = []
    for number, path in enumerate(paths):
        # One photo is still at hand; of several each is read again when its turn comes.
        photo = kept if kept is not None and len(paths) == 1 else read_photo(path)
        view = _View(photo, number, sightings[number], solved, tuple(frames), sides)
        measured.append(_measure(view))
    if len(frames) == 1:
        return Measured(tuple(measured))
    return _joined(measured)


def _sight(photo: Photo, frames: Sequence[AnyFrame], prior: LensPrior | None) -> Sighting:
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


@dataclass(frozen=True)
class _View:
    """One photo with all that is known of it once the cameras are solved."""

    photo: Photo
    number: int
    sighting: Sighting
    solved: Solved
    frames: tuple[AnyFrame, ...]
    sides: PartSides

    @property
    def camera(self) -> Camera:
        return self.solved.adjusted.cameras[self.number]

    def window(self, sheet: int) -> Floats:
        """(K, 2) true mm in the world coordinate system."""
        frame = self.frames[sheet]
        if isinstance(frame, Frame):
            design = frame.window
        else:
            w, h = frame.opening
            design = np.array([[0, 0], [w, 0], [w, h], [0, h]])
        return self.solved.adjusted.sheets[sheet].place(design)

    def sheets_seen(self) -> list[int]:
        """Sheets with enough markers in the photo, the best seen first."""
        if isinstance(self.frames[0], PlainFrame):
            return [0]
        count = np.bincount(self.sighting.sheet, minlength=len(self.frames))
        return [int(s) for s in np.argsort(-count, kind="stable") if count[s] >= FEWEST_MARKERS]


def _measure(view: _View) -> MeasuredPhoto:
    photo = view.photo
    step = max(1, round(max(photo.rgb.shape[:2]) / _COARSE_SIDE_PX))
    small = reduced(photo.rgb, step)
    light = np.asarray(cv2.LUT(small, linear_table()), dtype=np.float32)
    notices = [*photo.notices, *view.sighting.notices]
    regions: list[Region] = []
    nothing: PhotoError | None = None
    for sheet in view.sheets_seen():
        try:
            parts = find_part(light, _sheet_view(view, sheet, step))
        except PhotoError as error:
            nothing = PhotoError(error.what, str(photo.path), error.mend)
            continue
        regions.extend(parts.regions)
        notices.extend(parts.notices)
    if not regions and nothing is not None:
        raise nothing
    curves: list[Curve] = []
    pixels: list[Floats] = []
    silhouettes: list[list[Silhouette]] = []
    response = _response(view)
    for edges in _edges(view, regions, small, step):
        traced = [
            locate(
                photo.rgb,
                view.camera,
                view.sides,
                edge.points * step + (step - 1) / 2,
                edge.closed,
                response,
            )
            for edge in edges
        ]
        curve, seen = _curve(traced, view)
        if curve is not None:
            curves.append(curve)
            pixels.append(seen)
            silhouettes.append(traced)
    if not curves:
        raise PhotoError(
            "no edge of the part could be followed in the frame's window",
            str(photo.path),
            "make sure that the part's edge is lit and sharp, and take the photo again",
        )
    facts = _facts(view, curves[0])
    notices.extend(judge(_evidence(view, facts, silhouettes[0])))
    used, rejected = _split_markers(view)
    best = view.sheets_seen()[0]
    layout = view.solved.adjusted.layout
    scale_u = np.sqrt(np.diag(view.solved.adjusted.covariance)[layout.scale(best)])
    outer = curves[0]
    shared = np.sqrt(np.mean(outer.sigma**2 - outer.noise**2))
    contour = Contour(
        frame=view.frames[best].name,
        outer=outer,
        photo=facts,
        common=CommonUncertainty(float(shared), float(scale_u[0]), float(scale_u[1])),
        others=tuple(curves[1:]),
        notices=tuple(notices),
    )
    return MeasuredPhoto(photo.path, contour, view.camera, tuple(pixels), used, rejected)


def _edges(
    view: _View, regions: list[Region], small: NDArray[np.uint8], step: int
) -> list[tuple[CoarseEdge, ...]]:
    """Coarse edges, those of one curve together, the part's outer one first."""
    if len(view.sheets_seen()) > 1:
        border = whole_border(
            small,
            [np.concatenate([edge.points for edge in region.outer]) for region in regions],
            [_reduced(view, view.window(s), step) for s in view.sheets_seen()],
            (view.sighting.quads - (step - 1) / 2) / step,
        )
        if border is not None:
            whole = CoarseEdge(border, np.ones(len(border), dtype=bool), closed=True)
            return [(whole,), *[(hole,) for region in regions for hole in region.holes]]
        # The part leaves the photo: its pieces in the windows are one open curve with gaps.
        pieces = tuple(edge for region in regions for edge in region.outer)
        return [pieces, *[(hole,) for region in regions for hole in region.holes]]
    edges = []
    for region in regions:
        edges.append(region.outer)
        edges.extend((hole,) for hole in region.holes)
    return edges


def _reduced(view: _View, points: Floats, step: int) -> Floats:
    placed: Floats = (view.camera.pixels(points) - (step - 1) / 2) / step
    return placed


def _response(view: _View) -> Response:
    """How the photo shows a sharp edge, and paper, by its markers' edges and quiet zones."""
    rgb, quads = view.photo.rgb, view.sighting.quads
    if isinstance(view.frames[0], PlainFrame):
        white = np.quantile(rgb[::16, ::16].reshape(-1, 3), _WHITE_SHARE, axis=0) / 255
        light = np.maximum(srgb_to_linear(white), 0.05)
        return Response(1.0, 0.05, lambda points: np.tile(light, (len(points), 1)), False)
    blur, halo = edge_response(rgb, quads)
    points = quiet_zone_points(quads)
    light = sample_rgb(rgb, points[:, 0], points[:, 1]).T.astype(np.float64)
    seen = np.isfinite(light).all(axis=1)
    field = fit_light(points[seen], light[seen], 2)
    best = view.frames[view.sheets_seen()[0]]
    return Response(blur, halo, field.at, isinstance(best, Frame) and best.window_dark)


def _sheet_view(view: _View, sheet: int, step: int) -> SheetView:
    camera = view.camera
    frame = view.frames[sheet]
    quads, found = np.empty((0, 4, 2)), np.empty(0, dtype=bool)
    if isinstance(frame, Frame):
        corners = view.solved.adjusted.sheets[sheet].place(frame.corners.reshape(-1, 2))
        quads = _reduced(view, corners, step).reshape(-1, 4, 2)
        found = np.zeros(len(frame.ids), dtype=bool)
        found[view.sighting.marker[view.sighting.sheet == sheet]] = True
    window = view.window(sheet)
    if isinstance(frame, Frame) and not frame.window_dark:
        window = _seen_window(window, camera, view.sides.thickness)
    return SheetView(
        window=window,
        pixel_from_sheet=lambda points: _reduced(view, points, step),
        sheet_from_pixel=lambda points: camera.on_plane(points * step + (step - 1) / 2),
        markers=quads,
        found=found,
        window_dark=isinstance(frame, Frame) and frame.window_dark,
        camera=camera.centre,
        thickness=view.sides.thickness,
    )


def _seen_window(window: Floats, camera: Camera, thickness: float) -> Floats:
    """The window grown by as much as the part's height moves its upper edge outwards in a photo.

    Less a border that no contour needs: nearer than that to the window's border it may end.
    """
    from shapely import Polygon

    place = camera.centre
    reach = float(np.linalg.norm(window - place[:2], axis=1).max())
    shift = reach * thickness / (place[2] - thickness)
    grown = min(max(shift - _FREE_BORDER_MM, 0.0), _WHITE_MARGIN_MM)
    around = Polygon(window).buffer(grown, join_style="mitre")
    return np.asarray(around.exterior.coords, dtype=np.float64)[:-1]


def _joined(measured: list[MeasuredPhoto]) -> Measured:
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


def _split_markers(view: _View) -> tuple[Floats, Floats]:
    """Quads of the markers that the camera solution used, and of its outliers."""
    sighting = view.sighting
    if isinstance(view.frames[0], PlainFrame):
        return sighting.quads, np.empty((0, 4, 2))
    o = sighting.observations
    frames = [f for f in view.frames if isinstance(f, Frame)]
    own = first_marker(frames)[sighting.sheet] + sighting.marker
    size = int(max(o.marker.max(initial=0), own.max(initial=0))) + 1
    trust = np.bincount(
        o.marker, weights=view.solved.adjusted.weights[view.number], minlength=size
    ) / np.maximum(np.bincount(o.marker, minlength=size), 1)
    used = trust[own] > 0.2
    return sighting.quads[used], sighting.quads[~used]


def _curve(traced: Sequence[Silhouette], view: _View) -> tuple[Curve | None, Floats]:
    """Pieces of silhouette to one curve of the plan outline, and where its points were seen."""
    camera, sides = view.camera, view.sides
    points, noise, common, seen, breaks = [], [], [], [], []
    count = 0
    closed = len(traced) == 1 and traced[0].closed
    inside = None
    if not closed or len(view.sheets_seen()) == 1:
        inside = [view.window(s) for s in view.sheets_seen()]
    for piece in traced:
        lifted = lift(camera, piece.pixels, sides, piece.closed, smooth=6)
        one_px = camera.on_plane(
            piece.pixels + right_normals(piece.pixels, piece.closed), lifted.height
        ) - camera.on_plane(piece.pixels, lifted.height)
        mm_per_px = np.linalg.norm(one_px, axis=1)
        edge = np.hypot(piece.sigma, _EDGE_MODEL_U_PX) * mm_per_px
        by_sides = lifted.by_thickness * sides.thickness_u
        by_camera = _camera_u(view, piece, lifted)
        shared = np.sqrt(by_camera**2 + by_sides**2 + (_EDGE_OFFSET_U_PX * mm_per_px) ** 2)
        keep = piece.good & ~lifted.ambiguous
        if inside is not None:
            keep &= _within(lifted.points, inside)
        else:
            keep &= ~_on_markers(lifted.points, view)
        keep = _without_short_runs(keep)
        if not keep.any():
            continue
        index = np.flatnonzero(keep)
        if count:
            breaks.append(count)
        breaks.extend((count + np.flatnonzero(np.diff(index) > 1) + 1).tolist())
        points.append(lifted.points[keep])
        noise.append(edge[keep])
        common.append(shared[keep])
        seen.append(piece.pixels[keep])
        count += len(index)
    if not points:
        return None, np.empty((0, 2))
    own, shared = np.concatenate(noise), np.concatenate(common)
    curve = Curve(np.concatenate(points), np.hypot(own, shared), own, closed, tuple(sorted(breaks)))
    return curve, np.concatenate(seen)


def _camera_u(view: _View, piece: Silhouette, lifted: Lifted) -> Floats:
    """(N,) mm across the edge: standard uncertainty from lens and pose, by their covariance."""
    adjusted = view.solved.adjusted
    camera = view.camera
    where = np.r_[adjusted.layout.lens(view.number), adjusted.layout.pose(view.number)]
    values, vectors = np.linalg.eigh(adjusted.covariance[np.ix_(where, where)])
    # It changes slowly along the edge.
    index = np.unique(np.r_[0 : len(piece.pixels) : _CAMERA_U_EVERY, len(piece.pixels) - 1])
    pixels, height = piece.pixels[index], lifted.height[index]
    base = camera.on_plane(pixels, height)
    square = np.zeros(len(base))
    for value, vector in zip(values, vectors.T, strict=True):
        # One standard deviation along each principal axis of the covariance.
        step = np.sqrt(max(value, 0.0)) * vector
        moved = Camera(
            camera.lens.with_vector(camera.lens.vector() + step[:LENS_SIZE]),
            rotation_from_vector(step[LENS_SIZE : LENS_SIZE + 3]) @ camera.rotation,
            camera.translation + step[LENS_SIZE + 3 :],
        )
        shift = moved.on_plane(pixels, height) - base
        square += np.sum(shift * lifted.normals[index], axis=1) ** 2
    return np.interp(np.arange(len(piece.pixels)), index, np.sqrt(square))


def _within(points: Floats, windows: Sequence[Floats]) -> NDArray[np.bool_]:
    from shapely import Polygon, contains_xy

    inside = np.zeros(len(points), dtype=bool)
    for window in windows:
        inner = Polygon(window).buffer(-_WINDOW_MARGIN_MM, join_style="mitre")
        inside |= contains_xy(inner, points[:, 0], points[:, 1])
    return inside


def _on_markers(points: Floats, view: _View) -> NDArray[np.bool_]:
    """Points on or next to a printed marker, whose fields could be mistaken for the part's edge."""
    from shapely import MultiPolygon, Polygon, contains_xy

    quads = [
        view.solved.adjusted.sheets[s].place(frame.corners.reshape(-1, 2)).reshape(-1, 4, 2)
        for s, frame in enumerate(view.frames)
        if isinstance(frame, Frame)
    ]
    around = MultiPolygon([Polygon(q) for q in np.concatenate(quads)]).buffer(_MARKER_MARGIN_MM)
    return np.asarray(contains_xy(around, points[:, 0], points[:, 1]))


def _without_short_runs(keep: NDArray[np.bool_]) -> NDArray[np.bool_]:
    edges = np.diff(np.concatenate([[False], keep, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    long_enough = ends - starts >= _SHORTEST_RUN
    kept = np.zeros(len(keep) + 1, dtype=np.int8)
    kept[starts[long_enough]] += 1
    kept[ends[long_enough]] -= 1
    return np.cumsum(kept[:-1]).astype(bool)


def _evidence(view: _View, facts: PhotoFacts, pieces: list[Silhouette]) -> Evidence:
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
    )
    adjusted = view.solved.adjusted
    return Evidence(facts, view.sighting, adjusted, view.number, view.frames, windows, edge)


def _facts(view: _View, outer: Curve) -> PhotoFacts:
    camera = view.camera
    weights = view.solved.adjusted.weights[view.number]
    residual = view.solved.adjusted.residuals[view.number]
    middle = view.window(view.sheets_seen()[0]).mean(axis=0)[None]
    left_out = float(view.solved.holdout_mm[view.number])
    beside = camera.on_plane(camera.pixels(middle) + np.array([1.0, 0.0]))
    mm_per_px = float(np.linalg.norm(beside - middle))
    edge = np.sqrt(np.mean(outer.noise**2) + (_EDGE_OFFSET_U_PX * mm_per_px) ** 2)
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
