"""From silhouettes in the photo to one curve of the part's plan outline, with its uncertainty."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.camera_spread import across_u
from snugline.trace.camera.projection import Camera
from snugline.trace.contour import Alternative, Curve
from snugline.trace.edge.part_sensitivity import sensitivities, variance
from snugline.trace.edge.relief_displacement import Lifted, lift
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.image.polyline import right_normals
from snugline.trace.photo_view import PhotoView
from snugline.trace.sheet.frame_description import Frame

Floats = NDArray[np.float64]

# Nearer to the window's border than this the contour ends.
_WINDOW_MARGIN_MM = 0.3
_MARKER_MARGIN_MM = 2.0
SLOPE_SMOOTH = 6  # points over which the direction of the edge is taken, either way
# A run of fewer good points than this is dropped.
_SHORTEST_RUN = 12
_CAMERA_U_EVERY = 8  # points
# Another edge with this much of the probability is handed on, to be decided by shape or a reading.
_LIKELY = 0.2
# What blur, halo and unevenness leave after the profile model (shares of a pixel): from point to
# point, and common to all of one photo's edge.
EDGE_MODEL_U_PX = 0.06
EDGE_OFFSET_U_PX = 0.06
# The shadow at the foot is as wide as the part is thick, or less. The thinner the part in the
# picture, the less it differs from it: the offset common to an edge has been found to be 2 px
# over the thickness in px, and can be no more than a share of the shadow itself (400 scenes, seed
# 6100 of benchmarks/unseen_kinds.py).
_SHADOW_PX2 = 2.0
_SHADOW_SHARE = 0.3


def plan_curve(traced: Sequence[Silhouette], view: PhotoView) -> tuple[Curve | None, Floats]:
    """Pieces of silhouette to one curve of the plan outline, and where its points were seen."""
    camera, sides = view.camera, view.sides
    points, noise, common, seen, breaks = [], [], [], [], []
    moved: dict[str, list[Floats]] = {}
    alternatives: list[Alternative] = []
    count = 0
    closed = len(traced) == 1 and traced[0].closed
    inside = None
    if not closed or len(view.sheets_seen()) == 1:
        inside = [view.window(s) for s in view.sheets_seen()]
    for piece in traced:
        lifted = lift(camera, piece.pixels, sides, piece.closed, SLOPE_SMOOTH)
        mm_per_px = mm_of_px(camera, piece, lifted.height)
        edge = np.hypot(_told_apart(piece), EDGE_MODEL_U_PX) * mm_per_px
        by_camera = _camera_u(view, piece, lifted)
        shared = np.hypot(by_camera, offset_u_px(sides.thickness / mm_per_px) * mm_per_px)
        sensitivity = sensitivities(sides, lifted.slope)
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
        alternatives.extend(_alternatives(piece, index, count, view))
        points.append(lifted.points[keep])
        for of, by in sensitivity.items():
            moved.setdefault(of, []).append(by[keep])
        noise.append(edge[keep])
        common.append(shared[keep])
        seen.append(piece.pixels[keep])
        count += len(index)
    if not points:
        return None, np.empty((0, 2))
    own, shared = np.concatenate(noise), np.concatenate(common)
    sensitivity = {of: np.concatenate(by) for of, by in moved.items()}
    whole = np.sqrt(own**2 + shared**2 + variance(sensitivity, sides))
    curve = Curve(
        np.concatenate(points),
        whole,
        own,
        closed,
        tuple(sorted(breaks)),
        sensitivity,
        alternatives=tuple(alternatives),
    )
    return curve, np.concatenate(seen)


def mm_of_px(camera: Camera, piece: Silhouette, height: Floats) -> Floats:
    """(N,) mm of a px across the edge, whose points are seen at that height."""
    beside = piece.pixels + right_normals(piece.pixels, piece.closed)
    one_px = camera.on_plane(beside, height) - camera.on_plane(piece.pixels, height)
    return np.asarray(np.linalg.norm(one_px, axis=1))


def offset_u_px(thickness_px: Floats) -> Floats:
    """Px, standard uncertainty common to an edge of a part that is so thick in the picture."""
    by_shadow = _SHADOW_PX2 / np.maximum(thickness_px, np.sqrt(_SHADOW_PX2 / _SHADOW_SHARE))
    return np.asarray(
        np.hypot(EDGE_OFFSET_U_PX, np.minimum(_SHADOW_SHARE * thickness_px, by_shadow))
    )


def _told_apart(piece: Silhouette) -> Floats:
    """(N,) px of noise, that of not knowing which of two edges it is included."""
    if piece.other is None:
        return piece.sigma
    away, share = piece.other.T
    share = np.where(share < _LIKELY, 0.0, share)
    return np.asarray(np.hypot(piece.sigma, np.sqrt(share * (1 - share)) * away))


def _alternatives(
    piece: Silhouette, index: NDArray[np.int64], first: int, view: PhotoView
) -> Iterator[Alternative]:
    """Stretches of the kept points (`index`, from `first` on) where another edge is likely."""
    if piece.other is None:
        return
    away, share = piece.other[index].T
    normals = right_normals(piece.pixels, piece.closed)[index]
    # One stretch is in one piece, on one side.
    side = np.where(share >= _LIKELY, np.sign(away), 0.0)
    new = (np.diff(side) != 0) | (np.diff(index) != 1)
    for run in np.split(np.arange(len(index)), np.flatnonzero(new) + 1):
        if side[run[0]] == 0 or len(run) < _SHORTEST_RUN:
            continue
        there = piece.pixels[index[run]] + away[run, None] * normals[run]
        lifted = lift(view.camera, there, view.sides, False, SLOPE_SMOOTH)
        yield Alternative(
            first + int(run[0]), first + int(run[-1]), lifted.points, float(share[run].mean())
        )


def _camera_u(view: PhotoView, piece: Silhouette, lifted: Lifted) -> Floats:
    """(N,) mm across the edge: standard uncertainty from lens and pose, by their covariance."""
    # It changes slowly along the edge.
    index = np.unique(np.r_[0 : len(piece.pixels) : _CAMERA_U_EVERY, len(piece.pixels) - 1])
    spread = across_u(
        view.camera,
        view.solved.camera_covariance(view.number),
        piece.pixels[index],
        lifted.height[index],
        lifted.normals[index],
    )
    return np.interp(np.arange(len(piece.pixels)), index, spread)


def _within(points: Floats, windows: Sequence[Floats]) -> NDArray[np.bool_]:
    from shapely import Polygon, contains_xy

    inside = np.zeros(len(points), dtype=bool)
    for window in windows:
        inner = Polygon(window).buffer(-_WINDOW_MARGIN_MM, join_style="mitre")
        inside |= contains_xy(inner, points[:, 0], points[:, 1])
    return inside


def _on_markers(points: Floats, view: PhotoView) -> NDArray[np.bool_]:
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
