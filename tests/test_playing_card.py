"""A real photograph from photo to radius: a playing card as a plain rectangle, and as the part.

The card is 57 x 87 mm by the photographer's own hand measurement; such cards have corners of 3 to
4 mm (common practice, no source). The photograph: shared/real-photos/README.md, playing-card.
"""

from pathlib import Path

import numpy as np
import pytest

from snugline.fit.adjust import fit_outline
from snugline.fit.result import FittedOutline
from snugline.fit.section import Section, Systematic
from snugline.trace.frame import PlainFrame
from snugline.trace.lift import PartSides, lift
from snugline.trace.photo import read_photo
from snugline.trace.sight import sight_plain
from snugline.trace.silhouette import locate
from snugline.trace.solve import solve

PHOTO = Path(__file__).parents[2] / "shared" / "real-photos" / "playing-card" / "scene.png"
CARD = np.array([57.0, 87.0])

pytestmark = pytest.mark.skipif(not PHOTO.exists(), reason="the shared photographs are not here")


@pytest.fixture(scope="module")
def card() -> Section:
    photo = read_photo(PHOTO)
    frame = PlainFrame("card", CARD, border=5.0, thickness=0.3)
    sighting = sight_plain(photo, frame)
    camera = solve([sighting], [frame]).adjusted.cameras[0]
    flat = PartSides(0.0)
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * CARD
    along = np.linspace(0, 1, 40, endpoint=False)[:, None]
    rectangle = np.concatenate(
        [a + along * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    )
    found = locate(photo.rgb, camera, flat, camera.pixels(rectangle), True, 5.0, 1.0, 1.0)
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


def test_the_card_comes_out_at_the_size_its_owner_measured(card):
    outline = fitted(card, "both")
    assert abs(outline.length.value - 87) < 0.5 + outline.length.u95
    assert abs(outline.width.value - 57) < 0.5 + outline.width.u95
