"""From sighted frames to cameras: the joint adjustment, and a test with markers left out."""

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

# A print scale that nobody measured is known to this (common practice, no source).
UNMEASURED_SCALE_U = 5e-4
# Markers that lie farther than this share of their side from where a plane puts them belong to
# another frame: no lens bends that much over one sheet.
_WRONG_FRAME = 0.25
_FOLDS = 4


@dataclass(frozen=True)
class Solved:
    """Cameras of all photos, with the hold-out test.

    Attributes
    ----------
    adjusted : the adjustment; its cameras are in the axes of the first sheet.
    holdout_mm : (P,) rms error on the sheet of markers that were left out; NaN with too few.
    """

    adjusted: Adjusted
    holdout_mm: Floats


def solve(sightings: Sequence[Sighting], frames: Sequence[AnyFrame]) -> Solved:
    """Adjust all photos and sheets together, then test each photo with markers left out.

    Raises
    ------
    PhotoError : markers do not lie where the frame's description puts them, or photos that see
        different sheets are not tied together by one that sees both.
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
    """First poses of the sheets on the bench, by photos that see a placed and an unplaced one."""
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


def _holdout(
    photo: int, adjusted: Adjusted, observations: Observations, prior: LensPrior, bloom_u: float
) -> float:
    """Rms distance on the sheet between left-out marker edges and where the rest puts them."""
    camera = adjusted.cameras[photo]
    believed = adjusted.weights[photo] > 0
    flat = on_bench(observations, adjusted.sheets).only(believed)
    markers, index = np.unique(flat.marker, return_inverse=True)
    if len(markers) < 2 * FEWEST_MARKERS:
        return float("nan")
    precision = adjusted.precision[photo][believed]
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
    # A marker's edge gives one coordinate; a place has two.
    return float(np.sqrt(2 * np.mean(np.concatenate(squares))))
