"""What a photo shows of its frames: edges at known positions, ready for the bundle adjustment."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.notice import Notice
from snugline.trace.camera.described_markers import described_markers
from snugline.trace.camera.lens import LensPrior, prior_from_exif
from snugline.trace.camera.lens_hypotheses import lens_hypotheses
from snugline.trace.camera.marker_edges import edge_corners, measure_edges
from snugline.trace.camera.observations import Observations
from snugline.trace.camera.plain_frame import find_plain_frame
from snugline.trace.image.photo_file import Photo
from snugline.trace.sheet.frame_description import Frame, PlainFrame

Floats = NDArray[np.float64]

# A plain frame's sides are treated in stretches of this many points, as markers are.
_STRETCH = 12


@dataclass(frozen=True)
class Sighting:
    """The frames in one photo.

    Attributes
    ----------
    file : the photo's name, for messages.
    size : (width, height) px as displayed.
    observations : the measured edges, design places in each sheet's own axes.
    sheet, marker : (M,) which sheet, and which marker of that sheet's list.
    design : (M, 4, 2) mm, corners of the markers (or of the plain opening) as designed.
    quads : (M, 4, 2) px, where these corners were seen.
    blur_px : standard deviation of the blur at the frame's edges; `halo`, of a plain one: by what
        share of the step sharpening overshoots there.
    light, dark : (M,) linear luminance next to and in each marker's border.
    prior : what is expected of the lens.
    otherwise : what else the lens may be, the strictest first and one that leaves it free last;
        empty where `prior` is not to be doubted.
    camera_key : equal for photos of one camera, or None when that is not known.
    notices : what was remarked on the way.
    """

    file: str
    size: tuple[int, int]
    observations: Observations
    sheet: NDArray[np.int64]
    marker: NDArray[np.int64]
    design: Floats
    quads: Floats
    blur_px: float
    light: Floats
    dark: Floats
    prior: LensPrior
    camera_key: tuple[object, ...] | None
    notices: tuple[Notice, ...] = ()
    otherwise: tuple[LensPrior, ...] = ()
    halo: float = 0.0


def first_marker(frames: Sequence[Frame]) -> NDArray[np.int64]:
    """(S,) number of each sheet's first marker when all sheets' markers are counted through."""
    return np.cumsum([0] + [len(f.ids) for f in frames[:-1]])


def sight_markers(
    photo: Photo, frames: Sequence[Frame], prior: LensPrior | None = None
) -> Sighting:
    """Find and measure the markers of the given frames.

    Raises
    ------
    PhotoError : no markers, those of another frame, or fewer than four.
    """
    found, mine = described_markers(photo, frames)
    places = {int(i): (s, k) for s, f in enumerate(frames) for k, i in enumerate(f.ids)}
    index = np.array([places[int(i)] for i in found.ids[mine]])
    sheet, marker = index[:, 0], index[:, 1]
    edges = measure_edges(photo.rgb, found.corners[mine])
    corners = np.empty((len(marker), 4, 2))
    for s, frame in enumerate(frames):
        corners[sheet == s] = frame.corners[marker[sheet == s]]
    side = np.roll(corners, -1, axis=1) - corners
    design = corners[:, :, None, :] + edges.fractions[:, None] * side[:, :, None, :]
    tangent = side / np.linalg.norm(side, axis=-1, keepdims=True)
    # Corners run clockwise seen from above, so with y up the outside lies to the left.
    outward = np.stack([-tangent[..., 1], tangent[..., 0]], axis=-1)
    shape = design.shape[:3]
    number = first_marker(frames)[sheet] + marker
    everything = Observations(
        sheet=np.broadcast_to(sheet[:, None, None], shape).ravel(),
        marker=np.broadcast_to(number[:, None, None], shape).ravel(),
        design=design.reshape(-1, 2),
        outward=np.broadcast_to(outward[:, :, None, :], design.shape).reshape(-1, 2),
        pixels=edges.points.reshape(-1, 2),
        normals=edges.normals.reshape(-1, 2),
        sigma=edges.sigma.ravel(),
        height=np.zeros(int(np.prod(shape))),
    )
    measured = np.isfinite(everything.sigma)
    size = (photo.width, photo.height)
    known = [] if prior is None else [prior]
    expected, *otherwise = [*known, *lens_hypotheses(size, photo.exif)]
    return Sighting(
        file=photo.path.name,
        size=size,
        observations=everything.only(measured),
        sheet=sheet,
        marker=marker,
        design=corners,
        quads=edge_corners(edges),
        blur_px=float(np.median(edges.blur.ravel()[measured])),
        # An edge that was not found has no levels either.
        light=np.median(edges.light, axis=(1, 2)),
        dark=np.median(edges.dark, axis=(1, 2)),
        prior=expected,
        otherwise=tuple(otherwise),
        camera_key=_camera_key(photo),
    )


def sight_plain(photo: Photo, frame: PlainFrame, prior: LensPrior | None = None) -> Sighting:
    """Find and measure the opening of a plain frame, or the edges of a sheet or card.

    Raises
    ------
    PhotoError : the rectangle is not in sight, or too much of it is covered.
    """
    size = (photo.width, photo.height)
    prior = prior or prior_from_exif(size, photo.exif.focal_35mm, few_edges=True)
    edges = find_plain_frame(photo.rgb, frame, prior.lens.focal, photo.path.name)
    w, h = frame.opening
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    start, end = edges.corners, np.roll(edges.corners, -1, axis=0)
    along = (end - start)[edges.side]
    # How far along its side a point lies hardly matters: only the distance across is used.
    share = np.sum((edges.points - start[edges.side]) * along, axis=1) / np.sum(along**2, axis=1)
    design_along = np.roll(corners, -1, axis=0) - corners
    design = corners[edges.side] + share[:, None] * design_along[edges.side]
    outward = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])[edges.side]
    n = len(edges.points)
    return Sighting(
        file=photo.path.name,
        size=size,
        observations=Observations(
            sheet=np.zeros(n, dtype=np.int64),
            marker=edges.side * n + np.arange(n) // _STRETCH,
            design=design,
            outward=outward,
            pixels=edges.points,
            normals=edges.outward,
            sigma=np.hypot(edges.sigma, edges.common_sigma[edges.side]),
            height=edges.height,
        ),
        sheet=np.zeros(1, dtype=np.int64),
        marker=np.zeros(1, dtype=np.int64),
        design=corners[None],
        quads=edges.corners[None],
        blur_px=edges.blur_px,
        halo=edges.halo,
        light=np.empty(0),
        dark=np.empty(0),
        prior=prior,
        camera_key=_camera_key(photo),
        notices=edges.notices,
    )


def _camera_key(photo: Photo) -> tuple[object, ...] | None:
    exif = photo.exif
    if not (exif.make and exif.model):
        return None
    # Turned another way, the lens has its centre elsewhere.
    size = (photo.width, photo.height, exif.orientation)
    return (exif.make, exif.model, exif.lens, exif.focal_mm, exif.focal_35mm, *size)
