"""From silhouettes in the photo to one curve of the part's plan outline, with its uncertainty."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.camera_spread import spread_along
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
# The edge model's sigma is that of a row's whole error: error over sigma is 0.8 at the median photo
# and 1.08 over all. Of it this share is common to a photo's edge (0.42); the rest hangs together
# along it, since rows see one another, over px (63 photos of seeds 7000 and 7300 of
# benchmarks/unseen_kinds.py, those without gross errors).
COMMON_SHARE = 0.4
_CORRELATED_PX = 36.0
# The shadow at the foot is as wide as the part is thick, or less. The thinner the part in the
# picture, the less it differs from it: the offset common to an edge has been found to be 2 px
# over the thickness in px, and can be no more than a share of the shadow itself (400 scenes, seed
# 6100 of benchmarks/unseen_kinds.py).
_SHADOW_PX2 = 2.0
_SHADOW_SHARE = 0.3
# Photos that others rendered show a common offset of 0.14 px (rms of 17, by two states of the
# model) where 0.11 px is stated: it learned from none of theirs, nor from any real one. Of 215 made
# scenes without a remark, on which nothing was chosen, 97 % are then within U95; 93 % without it.
_UNLIKE_LEARNED_PX = 0.1


@dataclass(frozen=True)
class Planned:
    """The plan outline that followed pieces of one edge make.

    Attributes
    ----------
    pixels : (N, 2) px, where the curve's points were seen.
    offset : mm, uncertainty along the outward normal that its points share: of the edge model, on
        photos unlike those that it learned from, and what of the camera's no shift or turn of the
        part makes up for.
    """

    pieces: tuple[Silhouette, ...]
    curve: Curve
    pixels: Floats
    offset: float


def plan_curve(traced: Sequence[Silhouette], view: PhotoView) -> Planned | None:
    """Pieces of silhouette to one curve; None where nothing of them counts."""
    camera, sides = view.camera, view.sides
    points, noise, common, seen, px, breaks = [], [], [], [], [], []
    of_camera, of_edge = [], []
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
        told_apart = _told_apart(piece)
        edge = np.sqrt(1 - COMMON_SHARE**2) * told_apart * mm_per_px
        by_edge = offset_u_px(sides.thickness / mm_per_px, piece.sigma[piece.good])
        by_camera, shifts, places = _by_camera(view, piece, lifted)
        shared = np.hypot(by_camera, by_edge * mm_per_px)
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
        of_camera.append(np.column_stack([places, shifts])[keep[_some(piece)]])
        of_edge.append((by_edge * mm_per_px)[keep])
        noise.append(edge[keep])
        common.append(shared[keep])
        seen.append(piece.pixels[keep])
        px.append(mm_per_px[keep])
        count += len(index)
    if not points:
        return None
    own, shared = np.concatenate(noise), np.concatenate(common)
    sensitivity = {of: np.concatenate(by) for of, by in moved.items()}
    whole = np.sqrt(own**2 + shared**2 + variance(sensitivity, sides))
    median_px = float(np.median(np.concatenate(px)))
    curve = Curve(
        np.concatenate(points),
        whole,
        own,
        closed,
        tuple(sorted(breaks)),
        sensitivity,
        _CORRELATED_PX * median_px,
        tuple(alternatives),
    )
    of_edge_model = np.sqrt(np.mean(np.concatenate(of_edge) ** 2))
    of_edge_model = np.hypot(of_edge_model, _UNLIKE_LEARNED_PX * median_px)
    offset = float(np.hypot(of_edge_model, _beside_pose(np.concatenate(of_camera))))
    return Planned(tuple(traced), curve, np.concatenate(seen), offset)


def mm_of_px(camera: Camera, piece: Silhouette, height: Floats) -> Floats:
    """(N,) mm of a px across the edge, whose points are seen at that height."""
    beside = piece.pixels + right_normals(piece.pixels, piece.closed)
    one_px = camera.on_plane(beside, height) - camera.on_plane(piece.pixels, height)
    return np.asarray(np.linalg.norm(one_px, axis=1))


def offset_u_px(thickness_px: Floats, sigma_px: Floats) -> Floats:
    """Px, standard uncertainty common to the points (N,) of an edge, whose own sigmas these are, of
    a part that is so thick in the picture.
    """
    of_model = COMMON_SHARE * np.sqrt(np.mean(sigma_px**2)) if len(sigma_px) else 0.0
    by_shadow = _SHADOW_PX2 / np.maximum(thickness_px, np.sqrt(_SHADOW_PX2 / _SHADOW_SHARE))
    return np.asarray(np.hypot(of_model, np.minimum(_SHADOW_SHARE * thickness_px, by_shadow)))


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


def _some(piece: Silhouette) -> NDArray[np.int64]:
    """Points at which the camera's uncertainty, which changes slowly, is computed."""
    return np.unique(np.r_[0 : len(piece.pixels) : _CAMERA_U_EVERY, len(piece.pixels) - 1])


def _by_camera(view: PhotoView, piece: Silhouette, lifted: Lifted) -> tuple[Floats, Floats, Floats]:
    """(N,) mm across the edge, standard uncertainty from lens and pose by their covariance; at some
    points (M, 13) mm for each of its axes, and (M, 4) those points and their normals.
    """
    some = _some(piece)
    shifts = spread_along(
        view.camera,
        view.solved.camera_covariance(view.number),
        piece.pixels[some],
        lifted.height[some],
        lifted.normals[some],
    ).T
    spread = np.sqrt(np.sum(shifts**2, axis=1))
    places = np.column_stack([lifted.points, lifted.normals])[some]
    return np.interp(np.arange(len(piece.pixels)), some, spread), shifts, places


def _beside_pose(of_camera: Floats) -> float:
    """Mm, rms of what a shift and a turn of the whole contour do not make up for.

    Parameters
    ----------
    of_camera : (M, 4 + 13), points, normals, and what each axis of the covariance moves them by.
    """
    if not len(of_camera):
        return 0.0
    at, normals, shifts = np.split(of_camera, [2, 4], axis=1)
    arm = at - at.mean(axis=0)
    spin = normals[:, 1] * arm[:, 0] - normals[:, 0] * arm[:, 1]
    pose = np.column_stack([normals, spin])
    design = np.column_stack([pose, np.ones(len(at))])
    left = shifts - pose @ np.linalg.lstsq(design, shifts, rcond=None)[0][:3]
    return float(np.sqrt(np.mean(np.sum(left**2, axis=1))))


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
