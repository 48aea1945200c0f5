"""A real photograph from photo to radius: a playing card as a plain rectangle, and as the part.

Cards of this kind are 2 1/4 x 3 1/2 in and have corners of 3 to 4 mm (common practice, no source).
The photographer's own hand measurement, 57 x 87 mm, is 2 mm short of that, and the photo says so.
The photograph: shared/real-photos/README.md, playing-card.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from snugline.fit.outline_fit import fit_outline
from snugline.fit.result import FittedOutline
from snugline.fit.section import Section, Systematic
from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.sighting import sight_plain
from snugline.trace.edge.relief_displacement import PartSides, lift
from snugline.trace.edge.silhouette import locate
from snugline.trace.image.photo_file import Photo, read_photo
from snugline.trace.photo_view import PhotoView, response
from snugline.trace.sheet.frame_description import PlainFrame

Floats = NDArray[np.float64]
PHOTO = Path(__file__).parents[2] / "shared" / "real-photos" / "playing-card" / "scene.png"
CARD = np.array([57.15, 88.9])
AS_MEASURED = np.array([57.0, 87.0])

pytestmark = pytest.mark.skipif(not PHOTO.exists(), reason="the shared photographs are not here")


@pytest.fixture(scope="module")
def photo() -> Photo:
    return read_photo(PHOTO)


def viewed(photo: Photo, size: Floats) -> PhotoView:
    frame = PlainFrame("card", size, border=5.0, thickness=0.3)
    sighting = sight_plain(photo, frame)
    solved = solve([sighting], [frame])
    return PhotoView(photo, 0, sighting, solved, (frame,), PartSides(0.0))


@pytest.fixture(scope="module")
def card(photo: Photo) -> Section:
    view = viewed(photo, CARD)
    camera, flat = view.camera, view.sides
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * CARD
    along = np.linspace(0, 1, 40, endpoint=False)[:, None]
    rectangle = np.concatenate(
        [a + along * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    )
    border = camera.pixels(rectangle)
    # Here the card is the part, as pale as paper on something darker.
    shown = replace(response(view), window_dark=True)
    found = locate(photo.rgb, camera, flat, border, True, shown)
    points = lift(camera, found.pixels, flat, True).points[found.good]
    pixel = np.linalg.norm(
        np.diff(camera.on_plane(np.array([[480.0, 368.0], [481.0, 368.0]])), axis=0)
    )
    sigma = np.hypot(found.sigma[found.good], 0.1) * pixel
    index = np.flatnonzero(found.good)
    breaks = tuple((np.flatnonzero(np.diff(index) > 1) + 1).tolist())
    return Section(
        "card", "whole", points, sigma, True, breaks, Systematic(0.03, 2e-3, 2e-3, "card")
    )


def fitted(section: Section, symmetry: str) -> FittedOutline:
    return fit_outline([section], [], "rounded rectangle", symmetry)


def test_the_card_s_corner_radius_is_found_with_an_interval_that_holds_such_cards(card):
    corner = fitted(card, "both").as_json()["corners"][0]
    radius, u95 = corner["radius"]["value"], corner["radius"]["u95"]
    assert corner["family"] == "arc"
    assert u95 < 0.6
    assert radius - u95 < 4.0
    assert radius + u95 > 3.0


def test_all_four_corners_of_the_card_agree(card):
    radii = [c["radius"] for c in fitted(card, "none").as_json()["corners"]]
    values = np.array([r["value"] for r in radii])
    u95 = np.array([r["u95"] for r in radii])
    mean = np.average(values, weights=1 / np.maximum(u95, 0.05) ** 2)
    assert np.all(np.abs(values - mean) < u95), (values, u95)


def test_the_card_comes_out_at_the_size_of_such_cards(card):
    outline = fitted(card, "both")
    assert abs(outline.length.value - CARD[1]) < 0.1 + outline.length.u95
    assert abs(outline.width.value - CARD[0]) < 0.1 + outline.width.u95


def test_its_four_sides_agree_and_bend_the_lens_no_further_than_a_phone_s(photo):
    view = viewed(photo, CARD)
    sighting, adjusted = view.sighting, view.solved.adjusted
    assert adjusted.noise_px[0] < 0.4
    assert min(w.min() for w in adjusted.weights) > 0.3
    lens = adjusted.cameras[0].lens
    half_diagonal = np.hypot(*lens.size) / 2
    out = np.linspace(0, half_diagonal / lens.focal, 20)
    seen = lens.pixels(np.column_stack([out, np.zeros(20)]))[:, 0] - lens.centre[0]
    assert np.abs(seen - lens.focal * out).max() < 0.02 * half_diagonal
    assert "retake" not in {n.severity for n in sighting.notices}


def test_a_size_measured_two_millimetres_short_is_told_from_the_proportions(photo):
    notices = viewed(photo, AS_MEASURED).sighting.notices
    codes = {n.code: n.severity for n in notices}
    assert codes["plain-frame-proportions"] == "retake"
