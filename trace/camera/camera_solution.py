"""From sighted frames to cameras: the bundle adjustment and its hold-out error."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.trace.camera.bundle_adjustment import (
    BLOOM_U,
    Adjusted,
    Observations,
    SheetState,
    adjust,
    expected_points,
    on_bench,
    plane_rotation,
    readjusted,
)
from snugline.trace.camera.lens import LensPrior
from snugline.trace.camera.projection import Camera, homography, pose_from_plane
from snugline.trace.camera.sighting import FEWEST_MARKERS, Sighting
from snugline.trace.sheet.frame_description import AnyFrame, Frame

Floats = NDArray[np.float64]

# Standard uncertainty of an unmeasured print scale (common practice, no source).
UNMEASURED_SCALE_U = 5e-4
# Markers farther than this share of their side from where a plane puts them belong to another
# frame: no lens distorts that much over one sheet.
_WRONG_FRAME = 0.25
_FOLDS = 4


@dataclass(frozen=True)
class Solved:
    """Cameras of all photos, with their hold-out errors.

    Attributes
    ----------
    adjusted : the bundle adjustment; its cameras are in the world coordinate system, which is that
        of the first sheet.
    holdout_mm : (P,) hold-out error, rms mm on the sheet (the check-point RMSE of photogrammetry);
        NaN with too few markers.
    """

    adjusted: Adjusted
    holdout_mm: Floats


def solve(sightings: Sequence[Sighting], frames: Sequence[AnyFrame]) -> Solved:
    """Adjust all photos and sheets together, then test each photo with markers held out.

    Raises
    ------
    PhotoError : markers are not where the frame's description puts them, or photos that show
        different sheets are not connected by one that shows both.
    """
    sheets = _place_sheets(sightings, frames)
    cameras = [_first_camera(s, frames, sheets) for s in sightings]
    lens_of, priors = _lenses(sightings)
    bloom_u = BLOOM_U if all(isinstance(f, Frame) for f in frames) else 0.0
    observations = [s.observations for s in sightings]
    adjusted = adjust(observations, cameras, sheets, priors, lens_of, bloom_u=bloom_u)
    holdout = [
        _holdout(i, adjusted, s.observations, s.prior, bloom_u) for i, s in enumerate(sightings)
    ]
    return Solved(adjusted, np.array(holdout))


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
        seen_there = np.column_stack(
            [directions[theirs].reshape(-1, 2), np.ones(4 * int(theirs.sum()))]
        )
        target = seen_there @ bench_from_direction.T
        source = sighting.design[theirs].reshape(-1, 2) * sheets[new].scale
        sheets[new] = replace(sheets[new], pose=_rigid(source, target[:, :2] / target[:, 2:]))
        placed.add(new)
    return sheets


def _rigid(source: Floats, target: Floats) -> Floats:
    """(x, y, turn) that brings source nearest to target."""
    a, b = source - source.mean(axis=0), target - target.mean(axis=0)
    turn = np.arctan2(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]), np.sum(a * b))
    move = target.mean(axis=0) - plane_rotation(turn) @ source.mean(axis=0)
    return np.array([*move, turn])


def _first_camera(
    sighting: Sighting, frames: Sequence[AnyFrame], sheets: Sequence[SheetState]
) -> Camera:
    bench = np.empty_like(sighting.design)
    for s, sheet in enumerate(sheets):
        mine = sighting.sheet == s
        bench[mine] = sheet.place(sighting.design[mine].reshape(-1, 2)).reshape(-1, 4, 2)
    plane, pixels = bench.reshape(-1, 2), sighting.quads.reshape(-1, 2)
    camera = pose_from_plane(sighting.prior.lens, plane, pixels)
    off = np.linalg.norm(camera.pixels(plane) - pixels, axis=1).reshape(-1, 4)
    side = np.linalg.norm(sighting.quads - np.roll(sighting.quads, 1, axis=1), axis=-1).mean(axis=1)
    share = np.median(off / side[:, None])
    if not share < _WRONG_FRAME:
        names = " or ".join(f.name for f in frames)
        raise PhotoError(
            f"the markers are not where the description {names} puts them "
            f"(half of them are off by more than {share * 100:.0f} % of their side)",
            sighting.file,
            "give the description of the frame that is in the photo",
        )
    return camera


def _lenses(sightings: Sequence[Sighting]) -> tuple[list[int], list[LensPrior]]:
    """Photos of one camera share a lens; an unknown camera counts as a new one each time."""
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
