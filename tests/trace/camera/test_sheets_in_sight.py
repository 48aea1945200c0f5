"""Which sheets a photo shows: drawn with OpenCV's own markers, and on rendered photos."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
import rendered

from snugline.trace.camera.sheets_in_sight import described_in_sight, sheets_in_sight
from snugline.trace.image.photo_file import Exif, Photo, read_photo
from snugline.trace.sheet.builtin_sheets import PAPERS, SHEETS, builtin_name
from snugline.trace.sheet.frame_description import read_frame

PX_PER_MM = 4.0
DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)


def drawn(*names):
    """Sheets beside each other as printed, from straight above, then seen at a slant."""
    pictures = [print_of(read_frame(name)) for name in names]
    height = max(picture.shape[0] for picture in pictures)
    gap = np.full((height, 40), 120, np.uint8)
    row = [gap]
    for picture in pictures:
        low = np.full((height - picture.shape[0], picture.shape[1]), 120, np.uint8)
        row += [np.concatenate([picture, low]), gap]
    flat = np.concatenate(row, axis=1)
    h, w = flat.shape
    corners = np.float32([[0, 0], [w, 0], [w, h], [0, h]])
    slant = np.float32([[60, 30], [w - 10, 0], [w, h], [0, h - 50]])
    seen = cv2.warpPerspective(flat, cv2.getPerspectiveTransform(corners, slant), (w, h))
    return photo_of(np.repeat(seen[:, :, None], 3, axis=2))


def photo_of(rgb):
    return Photo(Path("drawn.jpg"), rgb, Exif(None, None, None, None, None, 1))


def print_of(frame):
    width, height = np.round(frame.sheet * PX_PER_MM).astype(int)
    paper = np.full((height, width), 235, np.uint8)
    if frame.window_dark:
        low, high = frame.window.min(axis=0), frame.window.max(axis=0)
        (x0, y0), (x1, y1) = (np.round(p * PX_PER_MM).astype(int) for p in (low, high))
        paper[height - y1 : height - y0, x0:x1] = 40
    for ident, corners in zip(frame.ids, frame.corners, strict=True):
        side = round(np.linalg.norm(corners[1] - corners[0]) * PX_PER_MM)
        x, y = np.round(corners[0] * PX_PER_MM).astype(int)
        tag = cv2.aruco.generateImageMarker(DICTIONARY, int(ident), side)
        paper[height - y : height - y + side, x : x + side] = np.maximum(tag, 20)
    return paper


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("dark", [False, True])
def test_each_sheet_is_known_by_its_print(paper, dark):
    for sheet in (1, SHEETS):
        name = builtin_name(paper, sheet, dark)
        (seen,) = sheets_in_sight(drawn(name))
        assert (seen.name, seen.dark) == (name, dark)
        assert seen.markers == len(read_frame(name).ids)


def test_two_sheets_in_one_photo_are_both_known():
    photo = drawn("border-a4", "border-a4-2")
    assert {sheet.name for sheet in sheets_in_sight(photo)} == {"border-a4", "border-a4-2"}
    described = [read_frame(name) for name in ("border-a4-2", "border-a4-3", "border-a4")]
    assert described_in_sight(photo, described) == (0, 2)


def test_without_a_sheet_none_is_named():
    noise = np.random.default_rng(3).integers(0, 255, (600, 800, 3), np.uint8)
    assert sheets_in_sight(photo_of(noise)) == ()
    assert described_in_sight(photo_of(noise), [read_frame("border-a4")]) == ()


def test_a_part_over_most_of_the_border_leaves_the_tone_open():
    photo = drawn("border-a4")
    rgb = photo.rgb.copy()
    rows = slice(int(45 * PX_PER_MM), int(165 * PX_PER_MM))
    rgb[rows, int(50 * PX_PER_MM) : int(165 * PX_PER_MM)] = 40  # dark over its left half
    (seen,) = sheets_in_sight(photo_of(rgb))
    assert seen.name == "border-a4"
    assert seen.dark is not True


@pytest.mark.whole
@pytest.mark.skipif(not rendered.CASES, reason="the rendered cases are not beside the repository")
def test_rendered_photos_show_the_sheets_they_were_made_with():
    for case in rendered.CASES:
        folder = rendered.PHOTOS / case
        for photo in sorted(folder.glob("photo-*.jpg"))[:2]:
            frame = json.loads((folder / "frame.json").read_text())
            names = [sheet.name for sheet in sheets_in_sight(read_photo(photo))]
            expected = [] if frame.get("kind") == "plain" else [frame["name"]]
            assert (photo.name, case, names) == (photo.name, case, expected)
