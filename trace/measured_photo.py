"""One photo's contour, once its edges have been followed: its facts, its remarks, its verdict."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from snugline.notice import Notice
from snugline.trace.camera.projection import Camera
from snugline.trace.contour import CommonUncertainty, Contour, Curve, PhotoFacts
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.edge.wall_height import wall_height
from snugline.trace.photo_view import PhotoView, split_markers
from snugline.trace.plan_curve import Planned, offset_u_px
from snugline.trace.sheet.frame_description import Frame
from snugline.trace.verdict.followed_piece import EdgeEvidence
from snugline.trace.verdict.lens_verdict import judge_lens
from snugline.trace.verdict.photo_verdict import Evidence, judge

Floats = NDArray[np.float64]


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
class Traced:
    """The edges that a photo shows, the part's outer one first; what is said of it beside them."""

    edges: tuple[Planned, ...]
    notices: tuple[Notice, ...]


def judged(view: PhotoView, traced: Traced) -> MeasuredPhoto:
    """The contour of a photo's edges, with all that is to be said of it."""
    outer = traced.edges[0].curve
    facts = _facts(view, outer)
    best = view.sheets_seen()[0]
    lens = judge_lens(
        view.solved, view.number, view.sighting, view.window(best), view.sides.thickness
    )
    of_edge = judge(_evidence(view, facts, traced.edges[0].pieces))
    used, rejected = split_markers(view)
    layout = view.solved.adjusted.layout
    scale_u = np.sqrt(np.diag(view.solved.adjusted.covariance)[layout.scale(best)])
    contour = Contour(
        frame=view.frames[best].name,
        outer=outer,
        photo=facts,
        common=CommonUncertainty(traced.edges[0].offset, float(scale_u[0]), float(scale_u[1])),
        others=tuple(edge.curve for edge in traced.edges[1:]),
        notices=(*traced.notices, *lens, *of_edge),
        wall=wall_height(view.photo.rgb, view.camera, view.sides, traced.edges[0].pieces),
    )
    return MeasuredPhoto(
        view.photo.path,
        contour,
        view.camera,
        tuple(edge.pixels for edge in traced.edges),
        used,
        rejected,
        tuple(piece for edge in traced.edges for piece in edge.pieces),
    )


def _evidence(view: PhotoView, facts: PhotoFacts, pieces: tuple[Silhouette, ...]) -> Evidence:
    windows = tuple(view.window(s) for s in view.sheets_seen())
    light = view.sighting.light
    edge = EdgeEvidence(
        rgb=view.photo.rgb,
        camera=view.camera,
        sides=view.sides,
        pieces=pieces,
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
    thickness_px = np.array(view.sides.thickness / mm_per_px)
    offset = float(offset_u_px(thickness_px, outer.noise / mm_per_px))
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
