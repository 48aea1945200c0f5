"""The road of this room: photos of a part on its frame to contours of its plan outline."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.notice import Notice
from snugline.trace.camera import Camera
from snugline.trace.contour import CommonUncertainty, Contour, Curve, PhotoFacts
from snugline.trace.frame import AnyFrame, Frame
from snugline.trace.lift import PartSides, lift
from snugline.trace.light import linear_table
from snugline.trace.part import Region, SheetView, find_part
from snugline.trace.photo import Photo, read_photo
from snugline.trace.silhouette import Silhouette, locate
from snugline.trace.solve import Sighting, Solved, require_marker_frames, sight_markers, solve

__all__ = ["Measured", "MeasuredPhoto", "PartSides", "measure_photos"]

Floats = NDArray[np.float64]

# The part is told from the sheet on a picture of about this width or height.
_COARSE_SIDE_PX = 1000
# A border told on the reduced picture is good to about this many of its pixels.
_COARSE_ERROR = 1.5
_POINT_STEP_PX = 1.5
# Nearer to the window's border than this the contour ends.
_WINDOW_MARGIN_MM = 0.3
# A run of fewer good points than this is no edge.
_SHORTEST_RUN = 12
# What remains of blur, halo and unevenness after the profile model (share of a pixel).
_EDGE_MODEL_U_PX = 0.1


@dataclass(frozen=True)
class MeasuredPhoto:
    """One photo's contour, with what a picture of it needs.

    Attributes
    ----------
    camera : in the bench's axes.
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
    """All photos of a job, in one set of axes where several frames lie on one bench."""

    photos: tuple[MeasuredPhoto, ...]
    notices: tuple[Notice, ...] = ()


def measure_photos(
    files: Sequence[str | Path], frames: Sequence[AnyFrame], sides: PartSides
) -> Measured:
    """Measure the part's plan outline in photos of it.

    Parameters
    ----------
    frames : one, or the several that lie on the bench together; bars as measured are in them
        (`with_print_scale`).

    Raises
    ------
    FileError, PhotoError : a photo that cannot be read or measured; it names the photo.
    """
    with_markers = require_marker_frames(frames)
    paths = [Path(f) for f in files]
    photos: list[Photo | None] = []
    sightings = []
    for path in paths:
        photo = read_photo(path)
        sightings.append(sight_markers(photo, with_markers))
        # One photo is kept; of several each is read again when its turn comes.
        photos.append(photo if len(paths) == 1 else None)
    solved = solve(sightings, with_markers)
    measured = []
    for number, path in enumerate(paths):
        photo = photos[number] or read_photo(path)
        measured.append(_measure(photo, number, sightings[number], solved, with_markers, sides))
    return Measured(tuple(measured))


def _measure(
    photo: Photo,
    number: int,
    sighting: Sighting,
    solved: Solved,
    frames: Sequence[Frame],
    sides: PartSides,
) -> MeasuredPhoto:
    camera = solved.adjusted.cameras[number]
    blur = float(np.median(sighting.edges.blur[np.isfinite(sighting.edges.sigma)]))
    used, rejected = _split_markers(sighting, solved, number)
    best = int(np.bincount(sighting.sheet).argmax())
    frame = frames[best]
    window = solved.adjusted.sheets[best].place(frame.window)
    regions, step, notices = _find(photo, camera, sighting, solved, frames, best, window, sides)
    curves: list[Curve] = []
    pixels: list[Floats] = []
    for region in regions:
        for edges in (region.outer, *[(hole,) for hole in region.holes]):
            traced = [
                locate(
                    photo.rgb,
                    camera,
                    sides,
                    edge.points * step + (step - 1) / 2,
                    edge.closed,
                    _COARSE_ERROR * step,
                    blur,
                    _POINT_STEP_PX,
                )
                for edge in edges
            ]
            curve, seen = _curve(traced, camera, sides, window, sighting, solved, number)
            if curve is not None:
                curves.append(curve)
                pixels.append(seen)
    if not curves:
        raise PhotoError(
            "no edge of the part could be followed in the frame's window",
            str(photo.path),
            "see that the part's edge is lit and sharp, and take the photo again",
        )
    state = solved.adjusted.sheets[best]
    scale_u = [
        float(np.sqrt(solved.adjusted.covariance[i, i]))
        for i in range(*solved.adjusted.layout.scale(best).indices(10**6))
    ]
    contour = Contour(
        frame=frame.name,
        outer=curves[0],
        photo=_facts(photo, number, sighting, solved, frames, window),
        common=CommonUncertainty(
            offset=0.0, scale_x=scale_u[0] / state.scale[0], scale_y=scale_u[1] / state.scale[1]
        ),
        others=tuple(curves[1:]),
        notices=(*photo.notices, *notices),
    )
    return MeasuredPhoto(photo.path, contour, camera, tuple(pixels), used, rejected)


def _split_markers(sighting: Sighting, solved: Solved, number: int) -> tuple[Floats, Floats]:
    """Quads of the markers that the solution believes, and of those it does not."""
    o = solved.observations[number]
    weights = solved.adjusted.weights[number]
    size = int(o.marker.max(initial=0)) + 1
    trust = np.bincount(o.marker, weights=weights, minlength=size) / np.maximum(
        np.bincount(o.marker, minlength=size), 1
    )
    own = solved.first_marker[sighting.sheet] + sighting.marker
    believed = np.array([m < size and trust[m] > 0.2 for m in own], dtype=bool)
    return sighting.quads[believed], sighting.quads[~believed]


def _find(
    photo: Photo,
    camera: Camera,
    sighting: Sighting,
    solved: Solved,
    frames: Sequence[Frame],
    best: int,
    window: Floats,
    sides: PartSides,
) -> tuple[tuple[Region, ...], int, tuple[Notice, ...]]:
    """The part's regions on a reduced picture, and the factor by which it was reduced."""
    step = max(1, round(max(photo.rgb.shape[:2]) / _COARSE_SIDE_PX))
    size = (photo.width // step, photo.height // step)
    cut = photo.rgb[: size[1] * step, : size[0] * step]
    small = cv2.resize(cut, size, interpolation=cv2.INTER_AREA)
    picture = linear_table()[small]
    frame = frames[best]
    corners = solved.adjusted.sheets[best].place(frame.corners.reshape(-1, 2))
    found = np.zeros(len(frame.ids), dtype=bool)
    found[sighting.marker[sighting.sheet == best]] = True

    def reduced(points: Floats) -> Floats:
        placed: Floats = (camera.pixels(points) - (step - 1) / 2) / step
        return placed

    def on_sheet(points: Floats) -> Floats:
        return camera.on_plane(points * step + (step - 1) / 2)

    view = SheetView(
        window=window,
        pixel_from_sheet=reduced,
        sheet_from_pixel=on_sheet,
        markers=reduced(corners).reshape(-1, 4, 2),
        found=found,
        window_dark=frame.window_dark,
        camera=camera.centre,
        thickness=sides.thickness,
    )
    try:
        parts = find_part(picture, view)
    except PhotoError as error:
        raise PhotoError(error.what, str(photo.path), error.mend) from error
    return parts.regions, step, parts.notices


def _curve(
    traced: Sequence[Silhouette],
    camera: Camera,
    sides: PartSides,
    window: Floats,
    sighting: Sighting,
    solved: Solved,
    number: int,
) -> tuple[Curve | None, Floats]:
    """Pieces of silhouette to one curve of the plan outline inside the window."""
    points, sigma, seen, breaks = [], [], [], []
    count = 0
    closed = len(traced) == 1 and traced[0].closed
    for piece in traced:
        lifted = lift(camera, piece.pixels, sides, piece.closed, smooth=6)
        one_px = camera.on_plane(piece.pixels, lifted.height) - camera.on_plane(
            piece.pixels + _unit_normals(piece), lifted.height
        )
        mm_per_px = np.linalg.norm(one_px, axis=1)
        edge = np.hypot(piece.sigma, _EDGE_MODEL_U_PX) * mm_per_px
        total = np.hypot(edge, lifted.by_thickness * sides.thickness_u)
        keep = piece.good & ~lifted.ambiguous & _within(lifted.points, window)
        keep = _without_short_runs(keep)
        if not keep.any():
            continue
        index = np.flatnonzero(keep)
        gaps = np.flatnonzero(np.diff(index) > 1) + 1
        breaks.extend((count + gaps).tolist())
        if count:
            breaks.append(count)
        points.append(lifted.points[keep])
        sigma.append(total[keep])
        seen.append(piece.pixels[keep])
        count += len(index)
        closed = closed and bool(keep.all())
    if not points:
        return None, np.empty((0, 2))
    curve = Curve(np.concatenate(points), np.concatenate(sigma), closed, tuple(sorted(breaks)))
    return curve, np.concatenate(seen)


def _unit_normals(piece: Silhouette) -> Floats:
    from snugline.trace.silhouette import right_normals

    return right_normals(piece.pixels, piece.closed)


def _within(points: Floats, window: Floats) -> NDArray[np.bool_]:
    from shapely import Polygon, contains_xy

    inner = Polygon(window).buffer(-_WINDOW_MARGIN_MM, join_style="mitre")
    return np.asarray(contains_xy(inner, points[:, 0], points[:, 1]))


def _without_short_runs(keep: NDArray[np.bool_]) -> NDArray[np.bool_]:
    edges = np.diff(np.concatenate([[False], keep, [False]]).astype(np.int8))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    long_enough = ends - starts >= _SHORTEST_RUN
    kept = np.zeros(len(keep) + 1, dtype=np.int8)
    kept[starts[long_enough]] += 1
    kept[ends[long_enough]] -= 1
    return np.cumsum(kept[:-1]).astype(bool)


def _facts(
    photo: Photo,
    number: int,
    sighting: Sighting,
    solved: Solved,
    frames: Sequence[Frame],
    window: Floats,
) -> PhotoFacts:
    camera = solved.adjusted.cameras[number]
    weights = solved.adjusted.weights[number]
    residual = solved.adjusted.residuals[number]
    believed = weights > 0
    middle = window.mean(axis=0)[None]
    here = camera.pixels(middle)
    mm_per_px = np.linalg.norm(camera.on_plane(here + np.array([1.0, 0.0])) - middle)
    return PhotoFacts(
        file=photo.path.name,
        width=photo.width,
        height=photo.height,
        markers_found=len(sighting.marker),
        markers_total=sum(len(f.ids) for f in frames),
        # A marker's edge gives one coordinate; a place has two.
        reprojection_px=float(np.sqrt(2 * np.mean(residual[believed] ** 2))),
        holdout_mm=float(solved.holdout_mm[number]),
        tilt_deg=camera.tilt_deg,
        focal_px=camera.lens.focal,
        mm_per_px=float(mm_per_px),
    )
