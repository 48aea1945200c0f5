"""Drawn scenes have their edges where a homography puts them; rendered photos where truth says."""

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from photo_truth import Case
from scipy.special import ndtr
from shapely import Polygon, distance, points

from snugline.errors import PhotoError
from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.plain_frame import PlainEdges, find_plain_frame
from snugline.trace.camera.sighting import sight_plain
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.image.linear_light import linear_to_srgb
from snugline.trace.image.photo_file import read_photo
from snugline.trace.measure import measure_photos
from snugline.trace.photo_view import PhotoView, response, sheet_view
from snugline.trace.sheet.frame_description import PlainFrame, read_frame

Floats = NDArray[np.float64]
CASE = Path(__file__).parents[3].parent / "shared" / "photos" / "gloss-tray-plain-frame"
SHAPE = (1050, 1400)
FOCAL = 1100.0
A4 = PlainFrame("a4 sheet", np.array([297.0, 210.0]), 10, 0.0)  # ISO 216
CARD = PlainFrame("card", np.array([85.6, 53.98]), 10, 0.0)  # ISO/IEC 7810, ID-1
SHOP = PlainFrame("shop frame", np.array([254.0, 203.2]), 12, 0.0)


def camera(middle: tuple[float, float], height: float, turn: float, tilt: float = 12) -> Floats:
    """(3, 3) mm on the bench to px: a camera above `middle`, turned and tilted by degrees."""
    t, a = np.radians(turn), np.radians(tilt)
    turned = np.array([[np.cos(t), -np.sin(t), 0], [np.sin(t), np.cos(t), 0], [0, 0, 1]])
    tilted = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    rotation = tilted @ np.diag([1, -1, -1]) @ turned
    translation = np.array([0, 0, height]) - rotation @ np.array([*middle, 0])
    k = np.array([[FOCAL, 0, (SHAPE[1] - 1) / 2], [0, FOCAL, (SHAPE[0] - 1) / 2], [0, 0, 1]])
    matrix: Floats = k @ np.column_stack([rotation[:, :2], translation])
    return matrix / matrix[2, 2]


def drawn(
    matrix: Floats, ground: float, areas: list[tuple[Any, float, float]]
) -> NDArray[np.uint8]:
    """A picture of areas ((x0, y0, x1, y1), corner radius, light) on a ground, in linear light."""
    v, u = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]].reshape(2, -1).astype(np.float32)
    back = np.linalg.inv(matrix).astype(np.float32)
    x, y, w = (row[0] * u + row[1] * v + row[2] for row in back)
    x, y = x / w, y / w
    px_per_mm = np.sqrt(abs(np.linalg.det(matrix[:2, :2])))
    light = np.full(u.size, ground, np.float32)
    for (x0, y0, x1, y1), radius, level in areas:
        dx = np.abs(x - (x0 + x1) / 2) - (x1 - x0) / 2 + radius
        dy = np.abs(y - (y0 + y1) / 2) - (y1 - y0) / 2 + radius
        outside = np.maximum(dx, dy)
        corner = (dx > 0) & (dy > 0)
        outside[corner] = np.hypot(dx[corner], dy[corner])
        inwards = (radius - outside) * px_per_mm / 0.9  # a blur of 0.9 px
        share = (inwards > 0).astype(np.float32)
        near = np.abs(inwards) < 5
        share[near] = ndtr(inwards[near])
        light += share * (level - light)
    noise = 0.004 * np.random.default_rng(7).standard_normal(light.size, np.float32)
    coded = linear_to_srgb(np.clip(light * 0.85 + noise, 0, 1)).reshape(SHAPE)
    return np.repeat(np.rint(coded * 255).astype(np.uint8)[..., None], 3, axis=2)


def frame_areas(frame: PlainFrame, level: float, inside: float) -> list[tuple[Any, float, float]]:
    (w, h), b = frame.opening, frame.border
    return [((-b, -b, w + b, h + b), 0, level), ((0, 0, w, h), 0, inside)]


def errors_px(edges: PlainEdges, matrix: Floats, frame: PlainFrame) -> Floats:
    """Signed distance of each point from the true side it claims, px outwards."""
    w, h = frame.opening
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    seen = cv2.perspectiveTransform(corners[None].astype(np.float64), matrix)[0]
    start = seen[edges.side]
    along = seen[(edges.side + 1) % 4] - start
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.linalg.norm(along, axis=1)[:, None]
    assert ((edges.outward * normal).sum(axis=1) > 0.999).all()
    result: Floats = np.sum((edges.points - start) * normal, axis=1)
    return result


def check(edges: PlainEdges, matrix: Floats, frame: PlainFrame) -> None:
    errors = errors_px(edges, matrix, frame)
    assert set(edges.side) == {0, 1, 2, 3}
    assert np.sqrt(np.mean(errors**2)) < 0.08
    assert np.abs([errors[edges.side == side].mean() for side in range(4)]).max() < 0.04
    assert np.sqrt(np.mean((errors / edges.sigma) ** 2)) < 1.5
    w, h = frame.opening
    corners = np.array([[[0, 0], [w, 0], [w, h], [0, h]]], dtype=np.float64)
    seen = cv2.perspectiveTransform(corners, matrix)[0]
    assert np.abs(edges.corners - seen).max() < 3


@pytest.mark.parametrize(
    ("turn", "ground", "face", "part"),
    [(10, 0.7, 0.1, 0.12), (100, 0.7, 0.1, 0.6), (250, 0.08, 0.6, 0.3)],
)
def test_a_frame_is_found_with_a_part_over_one_side(
    turn: float, ground: float, face: float, part: float
) -> None:
    matrix = camera((110, 95), 390, turn)
    areas = [*frame_areas(SHOP, face, ground), ((-250, 25, 170, 176), 30, part)]
    edges = find_plain_frame(drawn(matrix, ground, areas), SHOP, FOCAL)
    check(edges, matrix, SHOP)
    # The covered side is the left one, however the camera was turned.
    assert (edges.side == 3).sum() < 0.5 * (edges.side == 1).sum()
    assert not ((edges.side == 3) & (errors_px(edges, matrix, SHOP) > 1)).any()


def test_a_covered_long_side_is_the_front_one() -> None:
    matrix = camera((127, 80), 390, 160)
    areas = [*frame_areas(SHOP, 0.1, 0.7), ((60, -150, 200, 120), 20, 0.15)]
    edges = find_plain_frame(drawn(matrix, 0.7, areas), SHOP, FOCAL)
    check(edges, matrix, SHOP)


@pytest.mark.parametrize("focal", [FOCAL, None])
def test_a_sheet_of_paper_is_found_with_a_part_over_a_side(focal: float | None) -> None:
    matrix = camera((140, 150), 480, 4)
    w, h = A4.opening
    areas = [((0, 0, w, h), 0, 0.8), ((60, 170, 200, 400), 25, 0.05)]
    half_turn = np.array([[-1, 0, w], [0, -1, h], [0, 0, 1.0]])  # the covered side is the front
    check(find_plain_frame(drawn(matrix, 0.15, areas), A4, focal), matrix @ half_turn, A4)


def test_a_card_beside_the_part_is_found() -> None:
    matrix = camera((60, 60), 330, 0)
    areas = [((0, 0, 85.6, 53.98), 3.18, 0.75), ((-60, 70, 300, 200), 12, 0.05)]
    edges = find_plain_frame(drawn(matrix, 0.1, areas), CARD, FOCAL)
    check(edges, matrix, CARD)


def test_readings_of_the_opening_change_what_is_looked_for() -> None:
    matrix = camera((110, 95), 390, 10)
    areas = [*frame_areas(SHOP, 0.1, 0.7), ((-250, 25, 170, 176), 30, 0.12)]
    wrong = PlainFrame("square", np.array([254.0, 140.0]), 12, 0.0)
    picture = drawn(matrix, 0.7, areas)
    with pytest.raises(PhotoError, match="no rectangle"):
        find_plain_frame(picture, wrong, FOCAL, "left.jpg")
    right = PlainFrame("square", np.array([254.0, 140.0]), 12, 0.0, (1.0, 203.2 / 140))
    check(find_plain_frame(picture, right, FOCAL), matrix, SHOP)


@pytest.mark.parametrize("kind", ["blank", "noise", "no frame"])
def test_a_photo_without_the_frame_is_refused(kind: str) -> None:
    picture = np.full((*SHAPE, 3), 190, np.uint8)
    if kind == "noise":
        picture = np.random.default_rng(1).integers(0, 256, picture.shape, np.uint8)
    if kind == "no frame":
        picture = drawn(camera((110, 95), 390, 10), 0.7, [((-250, 25, 170, 176), 30, 0.12)])
    with pytest.raises(PhotoError) as caught:
        find_plain_frame(picture, SHOP, FOCAL, "left.jpg")
    assert caught.value.where == "left.jpg"
    assert "254 x 203.2 mm" in caught.value.what
    assert "\n" not in str(caught.value)


def test_a_plain_frame_always_says_that_it_is_less_sure() -> None:
    matrix = camera((127, 100), 390, 10)
    picture = drawn(matrix, 0.7, frame_areas(SHOP, 0.1, 0.7))
    codes = [notice.code for notice in find_plain_frame(picture, SHOP, FOCAL).notices]
    assert codes == ["plain-frame"]


def test_a_rectangle_of_slightly_other_proportions_is_no_silent_match() -> None:
    matrix = camera((127, 100), 390, 10)
    picture = drawn(matrix, 0.7, frame_areas(SHOP, 0.1, 0.7))
    other = PlainFrame("other", np.array([254.0, 199.0]), 12, 0.0)  # 2 % narrower
    notices = {n.code: n for n in find_plain_frame(picture, other, FOCAL).notices}
    assert notices["plain-frame-proportions"].severity == "retake"


@pytest.mark.skipif(not CASE.exists(), reason="the shared photos are not beside the repository")
@pytest.mark.parametrize("number", [1, 2])
def test_the_rendered_frames_edges_are_met_within_their_uncertainty(number: int) -> None:
    frame = read_frame(CASE / "frame.json")
    assert isinstance(frame, PlainFrame)
    photo = read_photo(CASE / f"photo-{number}.jpg")
    assert photo.exif.focal_35mm is not None
    focal = photo.exif.focal_35mm / np.hypot(36, 24) * np.hypot(photo.width, photo.height)
    edges = find_plain_frame(photo.rgb, frame, focal, photo.path.name)
    truth = json.loads((CASE / "truth.json").read_text())["photos"][number - 1]["camera_displayed"]
    k, r, t = (np.array(truth[key]) for key in ("K", "R", "t"))
    lens = np.array(truth["dist_k1_k2_p1_p2_k3"], dtype=np.float64)
    w, h = frame.opening
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    assert (edges.side == 3).sum() < 0.5 * (edges.side == 1).sum()
    for side in range(4):
        own = edges.side == side
        share = np.linspace(0, 1, 20001)[:, None]
        line = corners[side] + share * (corners[(side + 1) % 4] - corners[side])
        space = np.column_stack([line, np.full(len(line), edges.height[own][0])])
        seen = cv2.projectPoints(space, r, t, k, lens)[0][:, 0]
        apart = edges.points[own][:, None] - seen[None, ::20]
        nearest = 20 * np.argmin(np.sum(apart**2, axis=2), axis=1)
        errors = np.sum((edges.points[own] - seen[nearest]) * edges.outward[own], axis=1)
        assert abs(errors.mean()) < 2.5 * edges.common_sigma[side]
        assert errors.std() < 2 * edges.sigma[own].mean()


@pytest.mark.skipif(not CASE.exists(), reason="the shared photos are not beside the repository")
def test_the_frames_own_dark_side_is_not_taken_for_the_dark_parts_edge() -> None:
    case = Case(CASE)
    (photo,) = measure_photos(case.photos[:1], case.frames(), case.sides()).photos
    bottom = Polygon(case.truth["photos"][0]["bottom_outline"])
    off = distance(points(photo.contour.outer.points), bottom.exterior)
    assert np.sqrt(np.mean(off**2)) < 0.15
    assert off.max() < 0.5


def sharpened(picture: NDArray[np.uint8], amount: float) -> NDArray[np.uint8]:
    soft = cv2.GaussianBlur(picture, (0, 0), 1.5)
    return np.asarray(cv2.addWeighted(picture, 1 + amount, soft, -amount, 0), np.uint8)


def test_a_flat_frame_shows_the_photos_blur_and_sharpening() -> None:
    matrix = camera((127, 100), 390, 10)
    picture = drawn(matrix, 0.7, frame_areas(SHOP, 0.1, 0.7))
    plain = find_plain_frame(picture, SHOP, FOCAL)
    assert plain.blur_px == pytest.approx(0.95, abs=0.1)  # 0.9 px, and what lies between pixels
    assert abs(plain.halo) < 0.015
    crisp = find_plain_frame(sharpened(picture, 0.6), SHOP, FOCAL)
    assert crisp.blur_px < plain.blur_px
    assert crisp.halo > 0.04


def test_the_edges_of_a_thick_frame_do_not_stand_for_the_photos() -> None:
    thick = PlainFrame("thick", SHOP.opening, SHOP.border, 0.8)
    picture = drawn(camera((127, 100), 390, 10), 0.7, frame_areas(SHOP, 0.1, 0.7))
    edges = find_plain_frame(sharpened(picture, 0.6), thick, FOCAL)
    assert (edges.blur_px, edges.halo) == (1.0, 0.05)


@pytest.mark.parametrize(("ground", "face", "dark"), [(0.7, 0.05, False), (0.05, 0.7, True)])
def test_paper_is_what_the_part_lies_on_or_a_much_lighter_frame(
    ground: float, face: float, dark: bool, tmp_path: Path
) -> None:
    areas = [*frame_areas(SHOP, face, ground), ((-250, 25, 170, 176), 30, 0.3)]
    picture = drawn(camera((127, 100), 390, 10), ground, areas)
    cv2.imwrite(str(tmp_path / "photo.png"), picture)
    photo = read_photo(tmp_path / "photo.png")
    sighting = sight_plain(photo, SHOP)
    solved = solve([sighting], [SHOP])
    view = PhotoView(photo, 0, sighting, solved, (SHOP,), PartSides(5.0))
    shown = response(view)
    assert shown.window_dark is dark
    at = view.camera.pixels(SHOP.opening[None] / 2)
    assert shown.paper(at) == pytest.approx(0.7 * 0.85, rel=0.03)
    assert sheet_view(view, 0, 1).window_dark is dark
