"""Cameras from sighted frames: alone, sharing a lens, over several sheets, and when they cannot."""

from dataclasses import replace

import numpy as np
import pytest
from made_views import SIZE, camera_over, edge_observations, phone_lens, seen_by_opencv
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.lens import prior_from_exif
from snugline.trace.camera.observations import plane_rotation
from snugline.trace.camera.projection import Camera
from snugline.trace.camera.sighting import Sighting
from snugline.trace.sheet.builtin_sheets import builtin_description
from snugline.trace.sheet.frame_description import Frame, frame_from_record

Floats = NDArray[np.float64]
MIDDLE = np.array([148.5, 105.0])
POSE = np.array([420.0, 15.0, 1.2])


def frame(name: str = "border-a4") -> Frame:
    found = frame_from_record(builtin_description(name), name)
    assert isinstance(found, Frame)
    return replace(found, scale_u=(5e-5, 5e-5))


def sighting(
    name: str,
    frames: list[Frame],
    camera: Camera,
    shown: list[int] | None = None,
    key: tuple[object, ...] | None = None,
    seed: int = 1,
    sigma: float = 0.05,
) -> Sighting:
    """What a camera sees of one sheet, or of a second one at `POSE`; those of `shown` only."""
    rng = np.random.default_rng(seed)
    corners = np.concatenate([f.corners for f in frames])
    sheet = np.repeat(np.arange(len(frames)), [len(f.ids) for f in frames])
    poses = [(np.ones(2), np.zeros(3)), (np.ones(2), POSE)]
    seen = edge_observations(corners, camera, poses, sheet, sigma=sigma, rng=rng)
    bench = np.array([
        c @ plane_rotation(poses[s][1][2]).T + poses[s][1][:2]
        for c, s in zip(corners, sheet, strict=True)
    ])  # fmt: skip
    flat = np.column_stack([bench.reshape(-1, 2), np.zeros(4 * len(bench))])
    quads = seen_by_opencv(camera, flat).reshape(-1, 4, 2)
    keep = np.isin(sheet, range(len(frames)) if shown is None else shown)
    marker = np.concatenate([np.arange(len(f.ids)) for f in frames])
    return Sighting(
        file=name, size=SIZE, observations=seen.only(keep[seen.marker]), sheet=sheet[keep],
        marker=marker[keep], design=corners[keep], quads=quads[keep], blur_px=0.8,
        light=np.full(keep.sum(), 0.7), dark=np.full(keep.sum(), 0.05),
        prior=prior_from_exif(SIZE, 26), camera_key=key,
    )  # fmt: skip


def off_plane(found: Camera, true: Camera) -> float:
    x, y = np.meshgrid(np.linspace(40, 260, 6), np.linspace(35, 175, 5))
    places = np.column_stack([x.ravel(), y.ravel()])
    return float(np.abs(found.on_plane(true.pixels(places)) - places).max())


def test_a_photo_is_solved_and_its_hold_out_is_of_the_size_of_its_error() -> None:
    camera = camera_over(MIDDLE)
    solved = solve([sighting("a.jpg", [frame()], camera)], [frame()])
    assert off_plane(solved.adjusted.cameras[0], camera) < 0.02
    # 0.05 px across each edge is 0.005 mm here, in two coordinates.
    one_px = 1 / 10.0
    assert 0.5 < solved.holdout_mm[0] / (0.05 * one_px * np.sqrt(2)) < 2


def test_a_bent_sheet_shows_in_the_hold_out() -> None:
    camera = camera_over(MIDDLE)
    flat = sighting("a.jpg", [frame()], camera)
    # The right end is lifted: its markers appear up to half a millimetre farther out.
    lifted = np.maximum(flat.observations.design[:, 0] - 200, 0) / 97
    ahead = camera.pixels(flat.observations.design + np.array([0.5, 0.0]))
    shift = (ahead - camera.pixels(flat.observations.design)) * (lifted**2)[:, None]
    bent = replace(
        flat, observations=replace(flat.observations, pixels=flat.observations.pixels + shift)
    )
    calm, warned = (solve([s], [frame()]).holdout_mm[0] for s in (flat, bent))
    assert warned > 2 * calm


def test_photos_of_one_camera_share_a_lens() -> None:
    cameras = [camera_over(MIDDLE, tilt_deg=t, azimuth_deg=a) for t, a in ((6, 0), (25, 130))]
    for key, lenses in ((("phone", 4000), 1), (None, 2)):
        seen = [sighting(f"{k}.jpg", [frame()], c, key=key, seed=k) for k, c in enumerate(cameras)]
        solved = solve(seen, [frame()])
        assert len({c.lens for c in solved.adjusted.cameras}) == lenses
        for found, camera in zip(solved.adjusted.cameras, cameras, strict=True):
            assert off_plane(found, camera) < 0.02


def test_two_sheets_are_tied_by_a_photo_that_sees_both() -> None:
    frames = [frame(), frame("border-a4-2")]
    lens = phone_lens()
    there = POSE[:2] + plane_rotation(POSE[2]) @ MIDDLE
    seen = [
        sighting("left.jpg", frames, camera_over(MIDDLE, lens=lens), [0], seed=1),
        sighting("right.jpg", frames, camera_over(there, roll_deg=70, lens=lens), [1], seed=2),
        sighting("both.jpg", frames, camera_over([300, 150], 700, 15, lens=lens), seed=3),
    ]
    solved = solve(seen, frames)
    pose = solved.adjusted.sheets[1].pose
    np.testing.assert_allclose(pose[:2], POSE[:2], atol=0.05)
    assert pose[2] == pytest.approx(POSE[2], abs=2e-4)
    # The place on the bench of the far sheet's middle matters, not its origin's alone.
    np.testing.assert_allclose(plane_rotation(pose[2]) @ MIDDLE + pose[:2], there, atol=0.03)
    assert np.isfinite(solved.holdout_mm).all()


def test_sheets_that_no_photo_ties_are_named() -> None:
    frames = [frame(), frame("border-a4-2")]
    there = POSE[:2] + plane_rotation(POSE[2]) @ MIDDLE
    seen = [
        sighting("left.jpg", frames, camera_over(MIDDLE), [0]),
        sighting("right.jpg", frames, camera_over(there), [1]),
    ]
    with pytest.raises(PhotoError, match="border-a4-2") as caught:
        solve(seen, frames)
    assert "right.jpg" in caught.value.where
    assert "both sheets" in caught.value.mend


def test_markers_that_lie_elsewhere_than_described_are_another_frame() -> None:
    camera = camera_over(MIDDLE)
    seen = sighting("a.jpg", [frame()], camera)
    shuffled = np.random.default_rng(1).permutation(len(seen.design))
    with pytest.raises(PhotoError, match="border-a4") as caught:
        solve([replace(seen, design=seen.design[shuffled])], [frame()])
    assert caught.value.where == "a.jpg"
    assert caught.value.mend


def test_with_seven_markers_there_is_no_hold_out() -> None:
    seen = sighting("a.jpg", [frame()], camera_over(MIDDLE))
    few = np.array([0, 10, 13, 20, 30, 36, 43])
    reduced = replace(
        seen,
        observations=seen.observations.only(np.isin(seen.observations.marker, few)),
        sheet=seen.sheet[few], marker=seen.marker[few], design=seen.design[few],
        quads=seen.quads[few],
    )  # fmt: skip
    solved = solve([reduced], [frame()])
    assert np.isnan(solved.holdout_mm[0])
    assert off_plane(solved.adjusted.cameras[0], camera_over(MIDDLE)) < 0.2
