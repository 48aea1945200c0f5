"""First cameras: the focal length searched, the lens chosen, the pose by a homography."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.adjusted_cameras import Adjusted
from snugline.trace.camera.bundle_adjustment import adjust
from snugline.trace.camera.described_markers import FEWEST_MARKERS
from snugline.trace.camera.lens import Lens, LensPrior
from snugline.trace.camera.lens_choice import Chosen, MarkersSay, choose, markers_say
from snugline.trace.camera.observations import SheetState
from snugline.trace.camera.projection import (
    Camera,
    pose_from_homography,
    pose_from_plane,
    trimmed_homography,
)
from snugline.trace.camera.sighting import Sighting

Floats = NDArray[np.float64]

# First focal lengths, over the longer side: ultra-wide lenses to tele lenses and close crops. Each
# is within 20 % of the next one's middle, from where the adjustment finds its way.
_FOCALS = np.geomspace(0.4, 4.0, 8)
# Seen straight from above all focal lengths fit: then the nearest to what is expected; px of
# misplaced corners that an e-fold of the focal length is worth.
_EXPECTED_PX = 0.3
# Flat paper leaves less noise than that; with more, each side of the sheet is left out in turn, a
# quarter of it, to see whether the rest is flat.
_NOISY_PX, _SIDE = 0.06, 0.25
# Two starts that lead to focal lengths nearer than this are one.
_APART = 0.15


def chosen_lens(sightings: Sequence[Sighting], sheets: Sequence[SheetState]) -> Chosen:
    """The lens that photos of one camera share, by the hypotheses of the first."""
    hypotheses = (sightings[0].prior, *sightings[0].otherwise)
    if hypotheses[-1].kind != "free":
        return Chosen(hypotheses[0], hypotheses[0].lens, None)
    return choose(hypotheses, [_markers_say(s, sheets) for s in sightings])


def camera_at(lens: Lens, sighting: Sighting, sheets: Sequence[SheetState]) -> Camera:
    """The camera of a lens at the pose that brings the corners nearest to where they were seen."""
    return pose_from_plane(lens, bench_corners(sighting, sheets), sighting.quads.reshape(-1, 2))


def bench_corners(sighting: Sighting, sheets: Sequence[SheetState]) -> Floats:
    """(4 M, 2) world mm, the corners of the markers seen."""
    bench = np.empty_like(sighting.design)
    for s, sheet in enumerate(sheets):
        mine = sighting.sheet == s
        bench[mine] = sheet.place(sighting.design[mine].reshape(-1, 2)).reshape(-1, 4, 2)
    return bench.reshape(-1, 2)


def _markers_say(sighting: Sighting, sheets: Sequence[SheetState]) -> MarkersSay:
    """Information on the lens from one photo's best seen sheet, from a fit that leaves it free."""
    best = int(np.bincount(sighting.sheet, minlength=len(sheets)).argmax())
    mine, o = sighting.sheet == best, sighting.observations
    alone = replace(
        sighting,
        sheet=np.zeros(int(mine.sum()), dtype=np.int64),
        marker=sighting.marker[mine],
        design=sighting.design[mine],
        quads=sighting.quads[mine],
        observations=replace(o.only(o.sheet == best), sheet=o.sheet[o.sheet == best] * 0),
    )
    sheet = replace(sheets[best], pose=np.zeros(3))
    free = (sighting.prior, *sighting.otherwise)[-1]
    found = [
        a for lens in _starts(alone, sheet, free) if (a := _adjusted(alone, sheet, lens, free))
    ]
    if not found:
        return MarkersSay(free.lens, np.zeros_like(free.precision), np.zeros(len(free.precision)))
    adjusted = min(found, key=_unlikely)
    if adjusted.noise_px[0] > _NOISY_PX:
        found += _without_a_side(alone, sheet, adjusted.cameras[0].lens, free)
        adjusted = min(found, key=_unlikely)
    where = adjusted.layout.lens(0)
    return markers_say(adjusted.cameras[0].lens, adjusted.covariance[where, where], free)


def _adjusted(
    sighting: Sighting, sheet: SheetState, lens: Lens, free: LensPrior, near: bool = False
) -> Adjusted | None:
    """One photo adjusted from a first lens; None for a start that led nowhere."""
    try:
        camera = camera_at(lens, sighting, [sheet])
        return adjust([sighting.observations], [camera], [sheet], [free], near=near)
    except np.linalg.LinAlgError:
        return None


def _unlikely(adjusted: Adjusted) -> float:
    """Noise, and more where it is small because few edges are inliers."""
    return float(adjusted.noise_px[0] / np.mean(adjusted.weights[0] > 0))


def _without_a_side(
    sighting: Sighting, sheet: SheetState, lens: Lens, free: LensPrior
) -> list[Adjusted]:
    """Adjusted from fits that leave out one side's markers: a free lens can pass for bent paper."""
    o, middle = sighting.observations, sighting.design.mean(axis=1)
    low, high = middle.min(axis=0), middle.max(axis=0)
    found = []
    for axis in (0, 1):
        for sign, border in ((1, low + _SIDE * (high - low)), (-1, high - _SIDE * (high - low))):
            kept = sign * (middle - border)[:, axis] > 0
            if kept.sum() < FEWEST_MARKERS:
                continue
            rest = replace(
                sighting,
                sheet=sighting.sheet[kept],
                marker=sighting.marker[kept],
                design=sighting.design[kept],
                quads=sighting.quads[kept],
                observations=o.only(sign * (o.design - border)[:, axis] > 0),
            )
            part = _adjusted(rest, sheet, lens, free)
            if part and (whole := _adjusted(sighting, sheet, part.cameras[0].lens, free, True)):
                found.append(whole)
    return found


def _starts(sighting: Sighting, sheet: SheetState, free: LensPrior) -> list[Lens]:
    """Lenses to start from: the best of those expected, and of any where that is another."""
    expected = [p.lens for p in (sighting.prior, *sighting.otherwise[:-1])]
    usual = sighting.prior.lens.focal
    anywhere = [replace(free.lens, focal=k * max(sighting.size)) for k in _FOCALS]
    bench, pixels = bench_corners(sighting, [sheet]), sighting.quads.reshape(-1, 2)
    # Lenses without distortion differ by the scale of their directions: one homography does.
    centre = free.lens.centre
    seen = trimmed_homography(bench, pixels - centre)

    def score(lens: Lens) -> float:
        if lens.centre == centre and not any(lens.radial):
            pose = pose_from_homography(lens, np.diag([1, 1, lens.focal]) @ seen, bench)
        else:
            pose = pose_from_plane(lens, bench, pixels)
        off = np.linalg.norm(pose.pixels(bench) - pixels, axis=1)
        misplaced = float(np.median(off)) if np.isfinite(off).all() else np.inf
        return misplaced + _EXPECTED_PX * abs(float(np.log(lens.focal / usual)))

    starts: list[Lens] = []
    for group in (expected, anywhere):
        lens = min(group, key=score)
        if all(abs(np.log(lens.focal / other.focal)) > _APART for other in starts):
            starts.append(lens)
    return starts
