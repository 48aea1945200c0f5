"""Which lens the markers bear out: crops, wrong EXIF and whole pictures through made cameras."""

from dataclasses import replace

import numpy as np
import pytest
from made_views import SIZE, camera_over, edge_observations, phone_lens, seen_by_opencv

from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.lens_hypotheses import lens_hypotheses, looks_whole
from snugline.trace.camera.marker_search import FoundMarkers
from snugline.trace.camera.sheet_recognition import recognised
from snugline.trace.camera.sighting import Sighting
from snugline.trace.image.photo_file import Exif
from snugline.trace.sheet.builtin_sheets import builtin_description
from snugline.trace.sheet.frame_description import frame_from_record

# 3000 px over the half diagonal of 2500 px: 26 mm on film (CIPA DCG-001, from memory).
EXIF = Exif("maker", "model", None, 5.6, 26.0, 1)
NOTHING = Exif(None, None, None, None, None, 1)
FRAME = replace(frame_from_record(builtin_description("border-a4"), "f"), scale_u=(5e-5, 5e-5))
LENS = phone_lens(focal=26 / np.hypot(36, 24) * 5000)
CAMERA = camera_over([148.5, 105.0], 320.0, 14.0, lens=LENS)


def sighting(exif, low=(0, 0), size=SIZE, seed=1):
    """What the camera sees in a part of its picture that begins at `low`."""
    seen = edge_observations(FRAME.corners, CAMERA, sigma=0.05, rng=np.random.default_rng(seed))
    flat = np.column_stack([FRAME.corners.reshape(-1, 2), np.zeros(4 * len(FRAME.ids))])
    quads = seen_by_opencv(CAMERA, flat).reshape(-1, 4, 2) - low
    n = len(FRAME.ids)
    expected, *otherwise = lens_hypotheses(size, exif)
    return Sighting(
        file="a.jpg", size=size, observations=replace(seen, pixels=seen.pixels - low),
        sheet=np.zeros(n, int), marker=np.arange(n), design=FRAME.corners, quads=quads,
        blur_px=0.8, light=np.full(n, 0.7), dark=np.full(n, 0.05), prior=expected,
        camera_key=None, otherwise=tuple(otherwise),
    )  # fmt: skip


CROP = ((250, 320), (3300, 2450))


@pytest.mark.parametrize(
    ("exif", "crop", "kinds"),
    [
        (EXIF, None, {"whole"}),
        (NOTHING, None, {"whole", "free"}),
        (EXIF, CROP, {"crop", "free"}),
        (NOTHING, CROP, {"free"}),
        (replace(EXIF, focal_35mm=39.0), None, {"whole", "free"}),
        (replace(EXIF, focal_35mm=39.0), CROP, {"crop", "free"}),
    ],
)
def test_focal_length_and_centre_are_found_whatever_the_exif_says(exif, crop, kinds):
    low, size = crop or ((0, 0), SIZE)
    solved = solve([sighting(exif, low, size)], [FRAME])
    camera, chosen = solved.adjusted.cameras[0], solved.lenses[0]
    assert chosen.prior.kind in kinds
    u = np.sqrt(np.diag(solved.camera_covariance(0))[:3])
    off = camera.lens.vector()[:3] - [LENS.focal, LENS.centre[0] - low[0], LENS.centre[1] - low[1]]
    assert np.all(np.abs(off) < 4 * u)
    # A part 10 mm high: where its upper edge is seen from the markers' camera alone.
    raised = np.column_stack([FRAME.window, np.full(4, 10.0)])
    seen = CAMERA.pixels(raised) - low
    np.testing.assert_allclose(camera.on_plane(seen, 10.0), FRAME.window, atol=0.15)


def test_a_wrong_exif_focal_length_is_refuted_and_the_true_one_is_not():
    true, wrong = (
        solve([sighting(replace(EXIF, focal_35mm=f))], [FRAME]).lenses[0] for f in (26.0, 39.0)
    )
    assert true.refuted is None
    assert "39 mm" in wrong.refuted.source


@pytest.mark.parametrize(
    ("size", "written", "whole"),
    [
        ((4000, 3000), None, True),
        ((1600, 1200), (4000, 3000), True),  # reduced
        ((3000, 4000), (4000, 3000), True),  # turned
        ((1900, 2400), None, False),
        ((2000, 1500), (1920, 1080), False),  # the camera wrote another aspect
    ],
)
def test_size_and_aspect_tell_a_whole_picture(size, written, whole):
    assert looks_whole(size, replace(EXIF, pixel_size=written)) is whole


@pytest.mark.parametrize("name", ["border-a4", "border-letter", "border-a3-2", "border-tabloid"])
def test_a_built_in_sheet_is_recognised_from_half_of_its_markers(name):
    frame = frame_from_record(builtin_description(name), name)
    camera = camera_over(frame.sheet / 2, 700.0, 20.0)
    flat = np.column_stack([frame.corners.reshape(-1, 2), np.zeros(4 * len(frame.ids))])
    quads = seen_by_opencv(camera, flat).reshape(-1, 4, 2)
    found = FoundMarkers(frame.ids[::2], quads[::2])
    assert recognised(found, frame.dictionary) == name
    assert recognised(found, frame.dictionary, [name]) != name
    shuffled = FoundMarkers(np.random.default_rng(1).permutation(frame.ids[::2]), quads[::2])
    assert recognised(shuffled, frame.dictionary) is None
