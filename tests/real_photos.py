"""Photographs taken by others, beside the repository: hold-out figures of ours and plain OpenCV's.

Markers or board corners are split like the fields of a chessboard; one half fits the model, the
other is predicted, then the halves change places. All figures are rms 2-D errors in px of the
photo. The photographs' README says where they come from and what their geometry is.
"""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from snugline.trace.camera.bundle_adjustment import adjust
from snugline.trace.camera.first_camera import camera_at, chosen_lens
from snugline.trace.camera.lens import prior_from_exif
from snugline.trace.camera.observations import Observations, SheetState
from snugline.trace.camera.projection import pose_from_plane
from snugline.trace.camera.sighting import Sighting, sight_markers
from snugline.trace.image.photo_file import read_photo
from snugline.trace.sheet.frame_description import Frame

SETS = Path(__file__).parents[1] / ".." / "shared" / "real-photos"
# Nobody measured a board's scale: its axes may differ by this, as in `trace.solve`.
_SCALE_U = 5e-4


@dataclass(frozen=True)
class Board:
    """Markers (or corners) at documented places, and the photos of them."""

    name: str
    photos: tuple[Path, ...]
    frame: Frame
    parity: np.ndarray  # (M,) 0 or 1, the field of the chessboard that each marker is on


def frame_of(name, ids, corners, dictionary):
    """A frame of markers without paper or bars; `corners` (M, 4, 2) mm, y up."""
    corners = np.asarray(corners, dtype=np.float64)
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    window = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    return Frame(name, dictionary, np.asarray(ids), corners, window, high - low, {})


def grid(columns, rows, side, gap, down_the_columns=False, first=0):
    """Ids, (M, 4, 2) corners with y up, and parity of a grid of markers."""
    number = np.arange(columns * rows)
    column, row = (number // rows, number % rows) if down_the_columns else (
        number % columns, number // columns)  # fmt: skip
    top_left = np.column_stack([column, -row]) * (side + gap)
    square = side * np.array([[0, 0], [1, 0], [1, -1], [0, -1]])
    return number + first, top_left[:, None] + square, (column + row) % 2


def screen_grid():
    """AprilTags on a computer's screen, by a phone of 12 megapixels."""
    ids, corners, parity = grid(8, 5, 31.5, 31.5, down_the_columns=True, first=1)
    corners = np.roll(corners, -2, axis=1)  # its tags stand on their heads
    files = (SETS / "apriltag-grid-iphone8" / "taggridphoto.jpg",)
    return Board(
        "apriltag-grid-iphone8", files, frame_of("grid", ids, corners, "DICT_APRILTAG_36h11"),
        parity,
    )  # fmt: skip


def pad_board(photos=None):
    """A printed board of 4 x 5 markers, 42 photos of 640 x 480."""
    ids, corners, parity = grid(4, 5, 37.5, 5.0)
    files = tuple(sorted((SETS / "aruco-grid-multiview").glob("*.jpg")))[:photos]
    return Board(
        "aruco-grid-multiview", files, frame_of("board", ids, corners, "DICT_6X6_1000"), parity
    )


def charuco(name, files, squares, square, marker, dictionary):
    """The markers in the white squares of a ChArUco board, as OpenCV lays it out."""
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary))
    board = cv2.aruco.CharucoBoard(squares, square, marker, book)
    corners = np.array(board.getObjPoints())[:, :, :2] * [1, -1]
    field = np.round(corners.mean(axis=1) / square - [0.5, -0.5]).astype(int)
    # All lie on one colour: every second one of a row.
    parity = ((field[:, 0] - np.abs(field[:, 1])) // 2 + np.abs(field[:, 1])) % 2
    ids = board.getIds().ravel()
    return Board(name, tuple(files), frame_of("charuco", ids, corners, dictionary), parity)


def desk_charuco(name="choriginal"):
    """A ChArUco sheet on a desk; in `chocclusion_original` a computer mouse lies on it."""
    files = [SETS / "opencv-boards" / f"{name}.jpg"]
    return charuco(f"opencv-boards/{name}", files, (5, 7), 40.0, 20.0, "DICT_6X6_250")


def wide_charuco():
    """A screen with a ChArUco board, through a very wide lens."""
    files = sorted((SETS / "charuco-wide-lens").glob("*.jpg"))
    return charuco("charuco-wide-lens", files, (18, 9), 20.0, 15.0, "DICT_4X4_250")


def curled_grid(gap=10.0):
    """A curled sheet of 5 x 7 markers of a dictionary of its own; side 100, documented gap 10."""
    folder = SETS / "opencv-boards"
    book = cv2.aruco.Dictionary()
    storage = cv2.FileStorage(str(folder / "tutorial_dict.yml"), cv2.FILE_STORAGE_READ)
    assert book.readDictionary(storage.root())
    ids, corners, parity = grid(5, 7, 100.0, gap)
    return Board(
        f"opencv-boards/gboriginal, gap {gap:g}", (folder / "gboriginal.jpg",),
        frame_of("grid", ids, corners, book), parity,
    )  # fmt: skip


def sheet_of_six():
    """Six markers on a Letter sheet, laid out as in the file it was printed from (200 dpi)."""
    folder = SETS / "opencv-boards"
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250)
    quads, ids, _ = cv2.aruco.ArucoDetector(book).detectMarkers(
        cv2.imread(str(folder / "singlemarkerssource.jpg"), cv2.IMREAD_GRAYSCALE)
    )
    # Detected corners are the outermost dark pixels: half a pixel in. Printed at about 93 %.
    corners = np.array(quads)[:, 0] * [1, -1] * 25.4 / 200 * 0.93
    order = np.argsort(np.ravel(ids))
    return Board(
        "opencv-boards/singlemarkersoriginal", (folder / "singlemarkersoriginal.jpg",),
        frame_of("sheet", np.ravel(ids)[order], corners[order], "DICT_6X6_250"),
        np.arange(len(order)) % 2,
    )  # fmt: skip


@dataclass(frozen=True)
class Corners:
    """What was detected in the photos of a set: places by OpenCV, observations by us.

    Attributes
    ----------
    plane, pixels, parity : by photo, (N, 2) mm, (N, 2) px by OpenCV, (N,) 0 or 1.
    """

    plane: list
    pixels: list
    parity: list
    size: tuple


def opencv_corners(board):
    """Marker corners by OpenCV with `CORNER_REFINE_SUBPIX`, the one most people take."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    book = board.frame.dictionary
    if isinstance(book, str):
        book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, book))
    detector = cv2.aruco.ArucoDetector(book, parameters)
    place = {int(i): k for k, i in enumerate(board.frame.ids)}
    plane, pixels, parity = [], [], []
    for file in board.photos:
        grey = cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)
        quads, ids, _ = detector.detectMarkers(grey)
        found = [(place[int(i)], q[0]) for i, q in zip(np.ravel(ids), quads, strict=True)
                 if int(i) in place]  # fmt: skip
        index = [k for k, _ in found]
        plane.append(board.frame.corners[index].reshape(-1, 2))
        pixels.append(np.concatenate([q for _, q in found]).astype(np.float64))
        parity.append(np.repeat(board.parity[index], 4))
    return Corners(plane, pixels, parity, grey.shape[::-1])


def homography_holdout(found):
    """Plain OpenCV, photo by photo: `findHomography` on one half, the other predicted."""
    squares = []
    for plane, pixels, parity in zip(found.plane, found.pixels, found.parity, strict=True):
        for half in (0, 1):
            fit, test = parity == half, parity != half
            matrix, _ = cv2.findHomography(plane[fit], pixels[fit])
            seen = cv2.perspectiveTransform(plane[test][:, None], matrix)[:, 0]
            squares.append(np.sum((seen - pixels[test]) ** 2, axis=1))
    return float(np.sqrt(np.mean(np.concatenate(squares))))


def calibrated_holdout(found):
    """OpenCV's `calibrateCamera` with k1, k2, k3 over all photos' one half."""
    squares = []
    flags = cv2.CALIB_ZERO_TANGENT_DIST
    for half in (0, 1):
        solid = [
            np.column_stack([p[m == half], np.zeros(np.sum(m == half))]).astype(np.float32)
            for p, m in zip(found.plane, found.parity, strict=True)
        ]
        seen = [q[m == half].astype(np.float32)
                for q, m in zip(found.pixels, found.parity, strict=True)]  # fmt: skip
        _, matrix, lens, turns, moves = cv2.calibrateCamera(
            solid, seen, found.size, None, None, flags=flags
        )
        for k, (turn, move) in enumerate(zip(turns, moves, strict=True)):
            test = found.parity[k] != half
            plane = np.column_stack([found.plane[k][test], np.zeros(test.sum())])
            there, _ = cv2.projectPoints(plane, turn, move, matrix, lens)
            squares.append(np.sum((there[:, 0] - found.pixels[k][test]) ** 2, axis=1))
    return float(np.sqrt(np.mean(np.concatenate(squares))))


@dataclass(frozen=True)
class Ours:
    """Our hold-out on a set.

    Attributes
    ----------
    found : markers (or corners) found in all photos.
    rms : px.
    errors : by photo and half, (pixel places, errors) of what was predicted.
    """

    found: int
    rms: float
    errors: list


def our_holdout(board, shared=False):
    """Marker edges by our adjustment; the predicted corners against those our edges meet in."""
    sightings = [sight_markers(read_photo(file), [board.frame]) for file in board.photos]
    groups = [sightings] if shared else [[s] for s in sightings]
    errors = [part for group in groups for part in _marker_errors(board, group)]
    found = sum(len(s.marker) for s in sightings)
    square = np.concatenate([np.sum(e**2, axis=1) for _, e in errors])
    return Ours(found, float(np.sqrt(np.mean(square))), errors)


def _marker_errors(board, sightings: list[Sighting]):
    sheet = SheetState(np.ones(2), np.full(2, _SCALE_U), np.zeros(3))
    chosen = chosen_lens(sightings, [sheet])
    prior = chosen.prior
    cameras = [camera_at(chosen.lens, s, [sheet]) for s in sightings]
    result = []
    for half in (0, 1):
        seen = [s.observations.only(board.parity[s.observations.marker] == half)
                for s in sightings]  # fmt: skip
        fitted = adjust(seen, cameras, [sheet], [prior], [0] * len(sightings))
        for camera, bloom, s in zip(fitted.cameras, fitted.bloom, sightings, strict=True):
            test = board.parity[s.marker] != half
            design = s.design[test]
            along = np.roll(design, -1, axis=1) - design
            along /= np.linalg.norm(along, axis=2, keepdims=True)
            # A printed corner moves with both of its sides.
            corner = design + bloom * (np.roll(along, 1, axis=1) - along)
            place = fitted.sheets[0].place(corner.reshape(-1, 2))
            quads = s.quads[test].reshape(-1, 2)
            result.append((quads, quads - camera.pixels(place)))
    return result


def chessboard(name, columns, rows, square, every=1):
    """Inner corners of all photos of a chessboard, by OpenCV's sector-based finder."""
    plane, pixels, parity = [], [], []
    column, row = np.meshgrid(np.arange(columns), np.arange(rows))
    at = np.column_stack([column.ravel(), -row.ravel()]) * float(square)
    for file in sorted((SETS / name).glob("*.jpg"))[::every]:
        grey = cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)
        done, corners = cv2.findChessboardCornersSB(grey, (columns, rows))
        if not done:
            continue
        corners = corners.reshape(-1, 2).astype(np.float64)
        # Numbered from either end and either way round: take the one that is not mirrored.
        turn = np.linalg.det(corners[[1, columns]] - corners[0])
        if turn < 0:
            corners = corners.reshape(rows, columns, 2)[:, ::-1].reshape(-1, 2)
        plane.append(at)
        pixels.append(corners)
        parity.append((column + row).ravel() % 2)
    return Corners(plane, pixels, parity, grey.shape[::-1])


def corner_observations(plane, pixels, marker, sigma=0.05):
    """A corner as two edges that meet in it at right angles in the picture."""
    n = len(plane)
    normals = np.concatenate([np.tile([1.0, 0.0], (n, 1)), np.tile([0.0, 1.0], (n, 1))])
    return Observations(
        sheet=np.zeros(2 * n, dtype=np.int64),
        marker=np.tile(marker, 2),
        design=np.tile(plane, (2, 1)),
        outward=np.zeros((2 * n, 2)),  # a saddle has no ink to spread
        pixels=np.tile(pixels, (2, 1)),
        normals=normals,
        sigma=np.full(2 * n, sigma),
        height=np.zeros(2 * n),
    )


def corner_holdout(found, shared=True, focal_35mm=None):
    """Our adjustment on corners that OpenCV found: the same input as the baseline's."""
    prior = prior_from_exif(found.size, focal_35mm)
    sheet = SheetState(np.ones(2), np.full(2, _SCALE_U), np.zeros(3))
    errors = []
    photos = range(len(found.plane))
    for group in [list(photos)] if shared else [[k] for k in photos]:
        for half in (0, 1):
            seen, cameras = [], []
            for k in group:
                fit = found.parity[k] == half
                plane, pixels = found.plane[k][fit], found.pixels[k][fit]
                seen.append(corner_observations(plane, pixels, np.arange(len(plane))))
                cameras.append(pose_from_plane(prior.lens, plane, pixels))
            fitted = adjust(seen, cameras, [sheet], [prior], [0] * len(group), bloom_u=0.0)
            for k, camera in zip(group, fitted.cameras, strict=True):
                test = found.parity[k] != half
                place = fitted.sheets[0].place(found.plane[k][test])
                there = found.pixels[k][test]
                errors.append((there, there - camera.pixels(place)))
    square = np.concatenate([np.sum(e**2, axis=1) for _, e in errors])
    return Ours(sum(len(p) for p in found.plane), float(np.sqrt(np.mean(square))), errors)
