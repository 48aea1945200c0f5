"""From photos to cameras: markers matched to frames, the joint adjustment, the hold-out test."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.errors import InputError, PhotoError
from snugline.trace.adjust import Adjusted, Observations, SheetState, adjust, plane_rotation
from snugline.trace.camera import Camera, homography, pose_from_plane
from snugline.trace.frame import Frame
from snugline.trace.lens import LensPrior, prior_from_exif
from snugline.trace.markers import (
    FoundMarkers,
    MarkerEdges,
    edge_corners,
    find_markers,
    measure_edges,
)
from snugline.trace.photo import Photo

Floats = NDArray[np.float64]

FEWEST_MARKERS = 4
# Fewer markers than this on the reduced picture: look again at full size.
_FEW = 8
# A print scale that nobody measured is known to this (common practice, no source).
_UNMEASURED_SCALE_U = 5e-4
# Markers that lie farther than this share of their side from where a plane puts them belong to
# another frame: no lens bends that much over one sheet.
_WRONG_FRAME = 0.25
_FOLDS = 4


@dataclass(frozen=True)
class Sighting:
    """The frames' markers in one photo.

    Attributes
    ----------
    file : name for messages.
    size : (width, height) px as displayed.
    sheet, marker : (M,) which sheet, and which marker of that sheet's list.
    quads : (M, 4, 2) px, corners as the sides' lines meet.
    edges : the measured edges of the same markers.
    strangers : ids seen that no frame has.
    prior : what is known of the lens.
    camera_key : equal for photos of one camera, or None when that is not known.
    """

    file: str
    size: tuple[int, int]
    sheet: NDArray[np.int64]
    marker: NDArray[np.int64]
    quads: Floats
    edges: MarkerEdges
    strangers: tuple[int, ...]
    prior: LensPrior
    camera_key: tuple[object, ...] | None


def sight_markers(
    photo: Photo, frames: Sequence[Frame], prior: LensPrior | None = None
) -> Sighting:
    """Find and measure the markers of the given frames.

    Raises
    ------
    PhotoError : no markers, those of another frame, or fewer than four.
    """
    found = _found(photo, frames[0].dictionary, 0)
    known = {int(i): (s, k) for s, f in enumerate(frames) for k, i in enumerate(f.ids)}
    mine = np.array([int(i) in known for i in found.ids], dtype=bool)
    if mine.sum() < _FEW:
        again = _found(photo, frames[0].dictionary, 1)
        if len(again.ids) > len(found.ids):
            found = again
            mine = np.array([int(i) in known for i in found.ids], dtype=bool)
    where = str(photo.path)
    names = " or ".join(f.name for f in frames)
    if len(found.ids) == 0:
        raise PhotoError(
            "no marker of a frame was found",
            where,
            "photograph the part on the printed frame, sharp and with most of its markers in view",
        )
    if not mine.any():
        raise PhotoError(
            f"the {len(found.ids)} markers found (ids {_few(found.ids)}) are not those of {names}",
            where,
            "give the description of the frame that lies in the photo",
        )
    if mine.sum() < FEWEST_MARKERS:
        raise PhotoError(
            f"only {mine.sum()} of the frame's markers were found, {FEWEST_MARKERS} are needed",
            where,
            "step back or cover less of the frame, so that markers on all sides show",
        )
    places = np.array([known[int(i)] for i in found.ids[mine]])
    edges = measure_edges(photo.rgb, found.corners[mine])
    exif = photo.exif
    size = (photo.width, photo.height)
    key = (exif.make, exif.model, exif.lens, exif.focal_35mm, size)
    return Sighting(
        file=photo.path.name,
        size=size,
        sheet=places[:, 0],
        marker=places[:, 1],
        quads=edge_corners(edges),
        edges=edges,
        strangers=tuple(int(i) for i in found.ids[~mine]),
        prior=prior or prior_from_exif(size, exif.focal_35mm),
        camera_key=key if exif.make and exif.model else None,
    )


def _found(photo: Photo, dictionary: str, factor: int) -> FoundMarkers:
    return find_markers(photo.rgb, dictionary, factor or None)


def _few(ids: NDArray[np.int64]) -> str:
    shown = ", ".join(str(int(i)) for i in ids[:5])
    return shown + (", ..." if len(ids) > 5 else "")


@dataclass(frozen=True)
class Solved:
    """Cameras of all photos, with the hold-out test.

    Attributes
    ----------
    adjusted : the adjustment; its cameras are in the axes of the first sheet.
    observations : by photo, what went in.
    holdout_mm : (P,) rms of markers that were left out of the solution, on the sheet.
    first_marker : (S,) number of each sheet's first marker in the observations.
    """

    adjusted: Adjusted
    observations: tuple[Observations, ...]
    holdout_mm: Floats
    first_marker: NDArray[np.int64]


def solve(sightings: Sequence[Sighting], frames: Sequence[Frame]) -> Solved:
    """Adjust all photos and sheets together, then test each photo with markers left out.

    Raises
    ------
    PhotoError : markers do not lie where the frame's description puts them, or photos that see
        different sheets are not tied together by one that sees both.
    """
    sheets = [_sheet_state(frame) for frame in frames]
    observations = [_observations(s, frames) for s in sightings]
    sheets = _place_sheets(sightings, frames, sheets)
    cameras = [_first_camera(s, frames, sheets) for s in sightings]
    lens_of, priors = _lenses(sightings)
    adjusted = adjust(observations, cameras, sheets, priors, lens_of)
    holdout = np.array(
        [_holdout(i, adjusted, observations[i], sightings[i].prior) for i in range(len(sightings))]
    )
    return Solved(adjusted, tuple(observations), holdout, _first_marker(frames))


def _sheet_state(frame: Frame) -> SheetState:
    u = [value if value > 0 else _UNMEASURED_SCALE_U for value in frame.scale_u]
    return SheetState(np.array(frame.scale), np.array(u), np.zeros(3))


def _observations(sighting: Sighting, frames: Sequence[Frame]) -> Observations:
    corners = _design(sighting, frames)
    edges = sighting.edges
    side = np.roll(corners, -1, axis=1) - corners
    design = corners[:, :, None, :] + edges.fractions[:, None] * side[:, :, None, :]
    tangent = side / np.linalg.norm(side, axis=-1, keepdims=True)
    # Corners run clockwise seen from above, so with y up the outside lies to the left.
    outward = np.stack([-tangent[..., 1], tangent[..., 0]], axis=-1)
    outward = np.broadcast_to(outward[:, :, None, :], design.shape)
    first = _first_marker(frames)
    shape = design.shape[:3]
    everything = Observations(
        sheet=np.broadcast_to(sighting.sheet[:, None, None], shape).ravel(),
        marker=np.broadcast_to(
            (first[sighting.sheet] + sighting.marker)[:, None, None], shape
        ).ravel(),
        design=design.reshape(-1, 2),
        outward=outward.reshape(-1, 2),
        pixels=edges.points.reshape(-1, 2),
        normals=edges.normals.reshape(-1, 2),
        sigma=edges.sigma.ravel(),
    )
    return everything.only(np.isfinite(everything.sigma))


def _first_marker(frames: Sequence[Frame]) -> NDArray[np.int64]:
    return np.cumsum([0] + [len(f.ids) for f in frames[:-1]])


def _design(sighting: Sighting, frames: Sequence[Frame]) -> Floats:
    """(M, 4, 2) designed corners of the sighted markers, each in its own sheet's axes."""
    corners = np.empty((len(sighting.marker), 4, 2))
    for s, frame in enumerate(frames):
        mine = sighting.sheet == s
        corners[mine] = frame.corners[sighting.marker[mine]]
    return corners


def _place_sheets(
    sightings: Sequence[Sighting], frames: Sequence[Frame], sheets: list[SheetState]
) -> list[SheetState]:
    """First poses of the sheets on the bench, by photos that see a placed and an unplaced one."""
    placed = {0}
    while len(placed) < len(sheets):
        step = None
        for sighting in sightings:
            seen = {s for s in range(len(sheets)) if np.sum(sighting.sheet == s) >= FEWEST_MARKERS}
            if seen & placed and seen - placed:
                step = sighting, min(seen & placed), min(seen - placed)
                break
        if step is None:
            missing = next(s for s in range(len(sheets)) if s not in placed)
            raise PhotoError(
                f"no photo shows the sheet {frames[missing].name} together with another one",
                ", ".join(s.file for s in sightings),
                "take one more photo from higher up that shows markers of both sheets",
            )
        sighting, known, new = step
        design = _design(sighting, frames)
        directions = sighting.prior.lens.directions(sighting.quads.reshape(-1, 2)).reshape(-1, 4, 2)
        mine, theirs = sighting.sheet == known, sighting.sheet == new
        base = sheets[known].place(design[mine].reshape(-1, 2))
        bench = homography(directions[mine].reshape(-1, 2), base)
        flat = (
            np.column_stack([directions[theirs].reshape(-1, 2), np.ones(4 * int(theirs.sum()))])
            @ bench.T
        )
        target = flat[:, :2] / flat[:, 2:]
        source = design[theirs].reshape(-1, 2) * sheets[new].scale
        sheets[new] = replace(sheets[new], pose=_rigid(source, target))
        placed.add(new)
    return sheets


def _rigid(source: Floats, target: Floats) -> Floats:
    """(x, y, turn) that brings source nearest to target."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    turn = np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b))
    move = target.mean(axis=0) - plane_rotation(turn) @ source.mean(axis=0)
    return np.array([*move, turn])


def _first_camera(
    sighting: Sighting, frames: Sequence[Frame], sheets: Sequence[SheetState]
) -> Camera:
    design = _design(sighting, frames)
    bench = np.empty_like(design)
    for s, sheet in enumerate(sheets):
        mine = sighting.sheet == s
        bench[mine] = sheet.place(design[mine].reshape(-1, 2)).reshape(-1, 4, 2)
    lens = sighting.prior.lens
    plane, pixels = bench.reshape(-1, 2), sighting.quads.reshape(-1, 2)
    camera = pose_from_plane(lens, plane, pixels)
    off = np.linalg.norm(camera.pixels(plane) - pixels, axis=1).reshape(-1, 4)
    side = np.linalg.norm(sighting.quads - np.roll(sighting.quads, 1, axis=1), axis=-1).mean(axis=1)
    share = np.median(off / side[:, None])
    if not share < _WRONG_FRAME:
        names = " or ".join(f.name for f in frames)
        raise PhotoError(
            f"the markers do not lie where {names} has them "
            f"(half of them are off by more than {share * 100:.0f} % of their side)",
            sighting.file,
            "give the description of the frame that lies in the photo",
        )
    return camera


def _lenses(sightings: Sequence[Sighting]) -> tuple[list[int], list[LensPrior]]:
    """Photos of one camera share a lens; an unknown camera is taken as another each time."""
    priors: list[LensPrior] = []
    keys: list[tuple[object, ...] | None] = []
    lens_of = []
    for sighting in sightings:
        if sighting.camera_key is not None and sighting.camera_key in keys:
            lens_of.append(keys.index(sighting.camera_key))
            continue
        lens_of.append(len(priors))
        priors.append(sighting.prior)
        keys.append(sighting.camera_key)
    return lens_of, priors


def _holdout(photo: int, adjusted: Adjusted, observations: Observations, prior: LensPrior) -> float:
    """Rms distance on the sheet between left-out marker edges and where the rest puts them."""
    camera = adjusted.cameras[photo]
    believed = adjusted.weights[photo] > 0
    flat = _on_bench(observations, adjusted.sheets).only(believed)
    markers, index = np.unique(flat.marker, return_inverse=True)
    if len(markers) < 2 * FEWEST_MARKERS:
        return float("nan")
    bench = SheetState(np.ones(2), np.full(2, 1e-7), np.zeros(3))
    squares: list[Floats] = []
    for fold in range(_FOLDS):
        left_out = index % _FOLDS == fold
        again = adjust([flat.only(~left_out)], [camera], [bench], [prior], robust=False)
        tested = flat.only(left_out)
        place = tested.design + again.bloom[0] * tested.outward
        expected = again.cameras[0].pixels(place)
        across = np.sum((tested.pixels - expected) * tested.normals, axis=1)
        one_px = again.cameras[0].on_plane(expected + tested.normals) - place
        squares.append((across * np.linalg.norm(one_px, axis=1)) ** 2)
    # A marker's edge gives one coordinate; a place has two.
    return float(np.sqrt(2 * np.mean(np.concatenate(squares))))


def _on_bench(o: Observations, sheets: Sequence[SheetState]) -> Observations:
    """The same observations with every design place in true mm of the bench."""
    design, outward = np.empty_like(o.design), np.empty_like(o.outward)
    for s, sheet in enumerate(sheets):
        mine = o.sheet == s
        design[mine] = sheet.place(o.design[mine])
        outward[mine] = o.outward[mine] @ plane_rotation(sheet.pose[2]).T
    return replace(o, sheet=np.zeros_like(o.sheet), design=design, outward=outward)


def require_marker_frames(frames: Sequence[object]) -> list[Frame]:
    """The frames, all of which must have markers.

    Raises
    ------
    InputError : a plain frame among several.
    """
    kept = [f for f in frames if isinstance(f, Frame)]
    if len(kept) != len(frames):
        raise InputError(
            "a plain frame cannot be joined with others",
            "frame",
            "use sheets with markers where more than one lies under the part",
        )
    return kept
