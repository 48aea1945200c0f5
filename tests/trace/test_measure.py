"""Drawn photos of a flat part on a sheet, from file to contour; and photos that give none."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawn_pictures import area_light, developed, rounded_rectangle, sheet_light
from made_solids import rounded_rectangle_line
from made_views import camera_over, phone_lens
from numpy.typing import NDArray
from shapely import LinearRing, points

from snugline.errors import FileError, PhotoError, SnuglineError
from snugline.trace import measure as measure_module
from snugline.trace.measure import Measured, PartSides, measure_photos, measure_with_each
from snugline.trace.overlay import draw_overlay
from snugline.trace.sheet.builtin_sheets import builtin_description
from snugline.trace.sheet.frame_description import Frame, frame_from_record

Floats = NDArray[np.float64]
SIZE = (1024, 768)
FLAT = PartSides(0.0)
MIDDLE = np.array([148.5, 105.0])
CENTRE, LENGTH, WIDTH, RADIUS, TURN = (150.0, 104.0), 120.0, 70.0, 15.0, 0.15


def frame(name: str = "border-a4") -> Frame:
    found = frame_from_record(builtin_description(name), name)
    assert isinstance(found, Frame)
    # As if the bars had been read: the photos share no doubt of the scale then.
    return replace(found, scale_u=(1e-6, 1e-6))


def picture(
    part: bool = True, hidden: tuple[int, ...] = (), tilt: float = 12, roll: float = 8
) -> NDArray[np.uint8]:
    """A photo of the sheet at its design size, without lens distortion."""
    lens = phone_lens(1024.0, (0.0, 0.0, 0.0, 0.0), (513.0, 382.0), SIZE)
    camera = camera_over(MIDDLE, 340, tilt, roll_deg=roll, lens=lens)
    inside = rounded_rectangle(CENTRE, (LENGTH, WIDTH), RADIUS, TURN) if part else None
    light = sheet_light(frame(), camera.homography(), inside, hidden=hidden)
    return developed(area_light(SIZE, light, fine=2), 0.6, 0.004, seed=2)


def saved(rgb: NDArray[np.uint8], path: Path) -> Path:
    assert cv2.imwrite(str(path), rgb[:, :, ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])
    return path


@pytest.fixture(scope="module")
def photos(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("photos")
    return [
        saved(picture(), folder / "one.png"),
        saved(picture(tilt=18, roll=190), folder / "two.png"),
    ]


@pytest.fixture(scope="module")
def measured(photos: list[Path]) -> Measured:
    return measure_photos(photos, [frame()], FLAT)


def distances(found: Floats) -> Floats:
    line, _ = rounded_rectangle_line(LENGTH, WIDTH, RADIUS, CENTRE, TURN)
    off: Floats = LinearRing(line).distance(points(found))
    return off


def test_a_flat_part_is_measured_from_its_photos(measured: Measured) -> None:
    assert measured.joined is None
    for photo, name in zip(measured.photos, ("one.png", "two.png"), strict=True):
        contour = photo.contour
        assert photo.file.name == contour.photo.file == name
        assert contour.frame == "border-a4"
        assert contour.outer.closed
        assert contour.others == ()
        off = distances(contour.outer.points)
        assert np.sqrt(np.mean(off**2)) < 0.03
        assert off.max() < 0.12
        # A point for every 2 px, 0.7 mm, of 354 mm of edge.
        assert 400 < len(contour.outer.points) < 700
        x, y = contour.outer.points.T
        area = 0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))
        assert area == pytest.approx(LENGTH * WIDTH - (4 - np.pi) * RADIUS**2, rel=1e-3)


def test_facts_of_the_photo_are_those_of_the_scene(measured: Measured) -> None:
    facts = measured.photos[0].contour.photo
    assert (facts.width, facts.height) == SIZE
    assert facts.markers_found == facts.markers_total == 44
    assert facts.tilt_deg == pytest.approx(12, abs=0.5)
    assert facts.mm_per_px == pytest.approx(340 / 1024, rel=0.08)
    assert facts.reprojection_px < 0.15
    assert facts.markers_holdout_mm < 0.03
    # Under a tenth of a pixel along the edge, and the markers.
    assert 0.02 < facts.holdout_mm < 0.06
    assert len(measured.photos[0].markers_used) == 44
    assert len(measured.photos[0].markers_rejected) == 0


def test_contour_pixels_lie_where_the_camera_sees_the_contour(measured: Measured) -> None:
    photo = measured.photos[0]
    seen = photo.camera.pixels(photo.contour.outer.points)
    assert len(photo.contour_px) == 1
    np.testing.assert_allclose(photo.contour_px[0], seen, atol=0.05)


def test_the_print_scale_is_undone(photos: list[Path]) -> None:
    # The same photo, of a sheet that was designed narrower and taller and printed 1 % too wide and
    # 0.5 % too low.
    sheet, scale = frame(), np.array([1.01, 0.995])
    designed = replace(
        sheet,
        corners=sheet.corners / scale,
        window=sheet.window / scale,
        scale=(1.01, 0.995),
        scale_u=(1e-5, 1e-5),
    )
    (photo,) = measure_photos(photos[:1], [designed], FLAT).photos
    assert np.sqrt(np.mean(distances(photo.contour.outer.points) ** 2)) < 0.03
    assert photo.contour.common.scale_x < 2e-5


def test_the_same_photo_gives_the_same_contour(photos: list[Path], measured: Measured) -> None:
    # Without a common camera the other photo has no say in it.
    (again,) = measure_photos(photos[:1], [frame()], FLAT).photos
    points_before = measured.photos[0].contour.outer.points
    np.testing.assert_allclose(again.contour.outer.points, points_before, atol=2e-4)


def test_several_sides_share_one_look_at_the_photo(
    photos: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[str] = []

    def counted(name: str) -> None:
        whole = getattr(measure_module, name)
        monkeypatch.setattr(
            measure_module, name, lambda *given: (calls.append(name), whole(*given))[1]
        )

    for name in ("read_photo", "sight_markers", "solve"):
        counted(name)
    each = (FLAT, PartSides(2.0), PartSides(2.0, edge="round", edge_size=0.5))
    several = measure_with_each(photos[:1], [frame()], each)
    assert sorted(calls) == ["read_photo", "sight_markers", "solve"]
    for sides, together in zip(each, several, strict=True):
        alone = measure_photos(photos[:1], [frame()], sides)
        for one, other in zip(together.photos, alone.photos, strict=True):
            np.testing.assert_array_equal(one.contour.outer.points, other.contour.outer.points)


def refused(path: Path, frames: list[Frame], kind: type[SnuglineError]) -> SnuglineError:
    with pytest.raises(kind) as caught:
        measure_photos([path], frames, FLAT)
    assert str(path) in caught.value.where or path.name in caught.value.where
    assert caught.value.what
    assert caught.value.mend
    assert "\n" not in str(caught.value)
    return caught.value


def test_a_photo_without_a_frame_is_refused(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    noise = cv2.GaussianBlur(rng.integers(0, 255, (600, 800, 3), dtype=np.uint8), (0, 0), 6)
    error = refused(saved(noise, tmp_path / "desk.png"), [frame()], PhotoError)
    assert "no marker" in error.what


def test_a_photo_of_another_frame_is_refused(photos: list[Path]) -> None:
    error = refused(photos[0], [frame("border-a4-2")], PhotoError)
    assert "border-a4-2" in error.what


def test_a_frame_of_another_layout_with_the_same_ids_is_refused(photos: list[Path]) -> None:
    other = frame("border-a4")
    shuffled = np.random.default_rng(3).permutation(len(other.ids))
    error = refused(photos[0], [replace(other, corners=other.corners[shuffled])], PhotoError)
    assert "border-a4" in error.what


def test_fewer_than_four_markers_are_refused(tmp_path: Path) -> None:
    path = saved(picture(hidden=tuple(range(3, 44))), tmp_path / "covered.png")
    error = refused(path, [frame()], PhotoError)
    assert "3" in error.what
    assert "4" in error.what


def test_an_empty_window_is_refused(tmp_path: Path) -> None:
    refused(saved(picture(part=False), tmp_path / "empty.png"), [frame()], PhotoError)


def test_a_missing_photo_is_refused(tmp_path: Path) -> None:
    refused(tmp_path / "absent.jpg", [frame()], FileError)


def test_the_overlay_can_show_how_likely_the_edge_is_where(measured: Measured) -> None:
    shown = measured.photos[0]
    photo = cv2.imread(str(shown.file)).astype(int)
    png = draw_overlay(replace(shown, markers_used=shown.markers_used[:0]), probability=True)
    drawn = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR).astype(int)
    assert drawn.shape == photo.shape
    changed = np.abs(drawn - photo).max(axis=2) > 40
    y, x = np.nonzero(changed)
    assert len(x) > 200
    edge = shown.contour_px[0]
    apart = LinearRing(edge).distance(points(np.column_stack([x, y])))
    assert np.quantile(apart, 0.95) < 3
