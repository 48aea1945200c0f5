"""From sighted frames to cameras: the bundle adjustment and its hold-out error."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.place import OfPhoto
from snugline.trace.camera.adjusted_cameras import Adjusted
from snugline.trace.camera.bundle_adjustment import BLOOM_U, adjust, readjusted
from snugline.trace.camera.described_markers import FEWEST_MARKERS, another_sheet
from snugline.trace.camera.first_camera import bench_corners, camera_at, chosen_lens
from snugline.trace.camera.lens import LensPrior
from snugline.trace.camera.lens_choice import Chosen
from snugline.trace.camera.marker_search import FoundMarkers
from snugline.trace.camera.observations import (
    Observations,
    SheetState,
    expected_points,
    on_bench,
    plane_rotation,
)
from snugline.trace.camera.projection import homography, mapped
from snugline.trace.camera.sighting import Sighting
from snugline.trace.sheet.frame_description import AnyFrame, Frame

Floats = NDArray[np.float64]

# Standard uncertainty of an unmeasured print scale (common practice, no source).
UNMEASURED_SCALE_U = 5e-4
# Markers that lie farther than this share of their side from where lens and pose, adjusted to them,
# put them belong to another frame: no paper bends that much over half a sheet.
_WRONG_FRAME = 0.15
_FOLDS = 4
# Decentring of a phone's lens: 0.1 to 0.2 px at the rim of what a sheet fills (common practice, no
# source).
_DECENTRING_U = 5e-5


@dataclass(frozen=True)
class Solved:
    """Cameras of all photos, with their hold-out errors.

    Attributes
    ----------
    adjusted : the bundle adjustment; its cameras are in the world coordinate system, which is that
        of the first sheet.
    holdout_mm : (P,) hold-out error, rms mm on the sheet (the check-point RMSE of photogrammetry);
        NaN with too few markers.
    lenses : (P,) what each photo's lens was chosen to be.
    """

    adjusted: Adjusted
    holdout_mm: Floats
    lenses: tuple[Chosen, ...]

    def camera_covariance(self, photo: int) -> Floats:
        """(13, 13) of a photo's lens and pose, as they stand in `Layout`.

        Where nothing but the markers tells focal length and centre, the lens's ripples do most of
        it, and these are only as round about the centre as the lens is centred.
        """
        adjusted = self.adjusted
        where = np.r_[adjusted.layout.lens(photo), adjusted.layout.pose(photo)]
        covariance: Floats = adjusted.covariance[np.ix_(where, where)]
        if self.lenses[photo].prior.kind in ("learned", "whole"):
            return covariance
        off = adjusted.by_decentring[adjusted.layout.lens_of_photo[photo]][where] * _DECENTRING_U
        both: Floats = covariance + off @ off.T
        return both


def solve(sightings: Sequence[Sighting], frames: Sequence[AnyFrame]) -> Solved:
    """Adjust all photos and sheets together, then test each photo with markers held out.

    Raises
    ------
    PhotoError : markers are not where the frame's description puts them, or photos that show
        different sheets are not connected by one that shows both.
    """
    sheets = _place_sheets(sightings, frames)
    lens_of = _lenses(sightings)
    lenses = [
        chosen_lens([s for s, k in zip(sightings, lens_of, strict=True) if k == lens], sheets)
        for lens in range(max(lens_of) + 1)
    ]
    cameras = [
        camera_at(lenses[k].lens, s, sheets) for s, k in zip(sightings, lens_of, strict=True)
    ]
    priors = [lens.prior for lens in lenses]
    bloom_u = BLOOM_U if all(isinstance(f, Frame) for f in frames) else 0.0
    observations = [s.observations for s in sightings]
    # Free to bend, a lens would follow bent paper before anybody doubts that.
    near = any(p.kind == "free" for p in priors)
    try:
        adjusted = adjust(
            observations, cameras, sheets, priors, lens_of, bloom_u=bloom_u, near=near
        )
    except np.linalg.LinAlgError:
        raise _elsewhere(sightings[0], frames) from None
    _check_places(sightings, frames, adjusted)
    holdout = [
        _holdout(i, adjusted, o, priors[k], bloom_u)
        for i, (o, k) in enumerate(zip(observations, lens_of, strict=True))
    ]
    return Solved(adjusted, np.array(holdout), tuple(lenses[k] for k in lens_of))


def _place_sheets(sightings: Sequence[Sighting], frames: Sequence[AnyFrame]) -> list[SheetState]:
    """First poses of the sheets in the world, by photos that show a placed and an unplaced one."""
    sheets = []
    for frame in frames:
        u = [value if value > 0 else UNMEASURED_SCALE_U for value in frame.scale_u]
        sheets.append(SheetState(np.array(frame.scale), np.array(u), np.zeros(3)))
    placed = {0}
    while len(placed) < len(sheets):
        for sighting in sightings:
            seen = {s for s in range(len(sheets)) if np.sum(sighting.sheet == s) >= FEWEST_MARKERS}
            if seen & placed and seen - placed:
                break
        else:
            missing = next(s for s in range(len(sheets)) if s not in placed)
            raise PhotoError(
                f"no photo shows the sheet {frames[missing].name} together with another one",
                ", ".join(s.file for s in sightings),
                "take one more photo from higher up that shows markers of both sheets",
            )
        known, new = min(seen & placed), min(seen - placed)
        directions = sighting.prior.lens.directions(sighting.quads.reshape(-1, 2)).reshape(-1, 4, 2)
        mine, theirs = sighting.sheet == known, sighting.sheet == new
        bench_from_direction = homography(
            directions[mine].reshape(-1, 2),
            sheets[known].place(sighting.design[mine].reshape(-1, 2)),
        )
        target = mapped(bench_from_direction, directions[theirs].reshape(-1, 2))
        source = sighting.design[theirs].reshape(-1, 2) * sheets[new].scale
        sheets[new] = replace(sheets[new], pose=_rigid(source, target))
        placed.add(new)
    return sheets


def _rigid(source: Floats, target: Floats) -> Floats:
    """(x, y, turn) that brings source nearest to target."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    turn = np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b))
    move = target.mean(axis=0) - plane_rotation(turn) @ source.mean(axis=0)
    return np.array([*move, turn])


def _check_places(
    sightings: Sequence[Sighting], frames: Sequence[AnyFrame], adjusted: Adjusted
) -> None:
    """Refuse the photo whose markers, after all was done to fit them, lie elsewhere the most."""
    if not isinstance(frames[0], Frame):
        return
    shares = []
    for sighting, camera in zip(sightings, adjusted.cameras, strict=True):
        expected = camera.pixels(bench_corners(sighting, adjusted.sheets))
        off = np.linalg.norm(expected - sighting.quads.reshape(-1, 2), axis=1).reshape(-1, 4)
        side = np.linalg.norm(sighting.quads - np.roll(sighting.quads, 1, axis=1), axis=-1)
        shares.append(float(np.nan_to_num(np.median(off / side.mean(axis=1)[:, None]), nan=np.inf)))
    worst = int(np.argmax(shares))
    if shares[worst] >= _WRONG_FRAME:
        raise _elsewhere(sightings[worst], frames)


def _elsewhere(sighting: Sighting, frames: Sequence[AnyFrame]) -> PhotoError:
    """The sheet is another one, or its description is wrong."""
    marked = [f for f in frames if isinstance(f, Frame)]
    where = OfPhoto(sighting.file)
    ids = [marked[s].ids[m] for s, m in zip(sighting.sheet, sighting.marker, strict=True)]
    found = FoundMarkers(np.array(ids), sighting.quads)
    names = " or ".join(f.name for f in frames)
    return another_sheet(found, marked, where) or PhotoError(
        f"the markers are not where the description {names} puts them",
        where,
        "choose the sheet that lies in the photo, and see that it lies flat",
    )


def _lenses(sightings: Sequence[Sighting]) -> list[int]:
    """Which lens each photo has: photos of one camera share one, an unknown camera has its own."""
    keys: list[tuple[object, ...] | None] = []
    lens_of = []
    for sighting in sightings:
        if sighting.camera_key is not None and sighting.camera_key in keys:
            lens_of.append(keys.index(sighting.camera_key))
            continue
        lens_of.append(len(keys))
        keys.append(sighting.camera_key)
    return lens_of


def _holdout(
    photo: int, adjusted: Adjusted, observations: Observations, prior: LensPrior, bloom_u: float
) -> float:
    """Hold-out error: rms mm on the sheet from held-out marker edges to where the rest puts them.

    The markers are held out in `_FOLDS` groups, each predicted by a camera that was solved without
    it (cross-validation).
    """
    camera = adjusted.cameras[photo]
    inlier = adjusted.weights[photo] > 0
    flat = on_bench(observations, adjusted.sheets).only(inlier)
    markers, index = np.unique(flat.marker, return_inverse=True)
    if len(markers) < 2 * FEWEST_MARKERS:
        return float("nan")
    precision = adjusted.precision[photo][inlier]
    squares: list[Floats] = []
    for fold in range(_FOLDS):
        left_out = index % _FOLDS == fold
        again, bloom = readjusted(
            flat.only(~left_out),
            precision[~left_out],
            camera,
            float(adjusted.bloom[photo]),
            prior,
            bloom_u,
        )
        tested = flat.only(left_out)
        expected = again.pixels(expected_points(tested, bloom))
        across = np.sum((tested.pixels - expected) * tested.normals, axis=1)
        here = again.on_plane(expected, tested.height)
        there = again.on_plane(expected + tested.normals, tested.height)
        squares.append((across * np.linalg.norm(there - here, axis=1)) ** 2)
    # A marker's edge gives one coordinate; a point has two.
    return float(np.sqrt(2 * np.mean(np.concatenate(squares))))
