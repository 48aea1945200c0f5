"""Hold-out residuals on photographs made by others, beside plain OpenCV's in the same run.

Run as `python benchmarks/real_photos.py`. One half of the markers (or of a chessboard's corners)
fits the model, the other is predicted: rms 2-D error in px of the photo. H is OpenCV's homography
on its own sub-pixel corners, calibrated its `calibrateCamera` with three radial terms. On
chessboards both work on the same corners, OpenCV's.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from real_photos import (
    SETS,
    Board,
    Ours,
    calibrated_holdout,
    chessboard,
    corner_holdout,
    curled_grid,
    desk_charuco,
    homography_holdout,
    opencv_corners,
    our_holdout,
    pad_board,
    screen_grid,
    sheet_of_six,
    wide_charuco,
)
from ruled_mat import dot_sheets

# What a set is for, whether its photos share a lens, and its bound in px (None: OpenCV's figure).
BOARDS = (
    (screen_grid, False, 0.9),
    (pad_board, True, 0.35),
    (desk_charuco, False, None),
    (lambda: desk_charuco("chocclusion_original"), False, None),
    (sheet_of_six, False, None),
    (curled_grid, False, None),
    (lambda: curled_grid(21.5), False, None),
    (wide_charuco, True, None),
)
CHESSBOARDS = (("opencv-chessboard", 9, 6, 25), ("boofcv-chessboard", 4, 6, 30))
CHESSBOARD_PX, DOTS_MM = 0.3, 0.25


def pattern(ours: Ours) -> str:
    """How much of the residual is one shift of each photo, and one stretch along its radius."""
    shift = stretch = total = 0.0
    for at, error in ours.errors:
        middle = at - at.mean(axis=0)
        mean = error.mean(axis=0)
        shift += len(error) * float(mean @ mean)
        left = error - mean
        along = float(np.sum(left * middle) / np.sum(middle**2))
        stretch += along**2 * float(np.sum(middle**2))
        total += float(np.sum(error**2))
    return f"shift {shift / total * 100:3.0f} %, stretch {stretch / total * 100:3.0f} %"


def board_row(board: Board, shared: bool, bound: float | None) -> bool:
    """Print one set of markers, and tell whether it holds."""
    start = time.process_time()
    plain = opencv_corners(board)
    homography = homography_holdout(plain)
    calibrated = calibrated_holdout(plain)
    ours = our_holdout(board, shared)
    limit = homography if bound is None else bound
    theirs = sum(len(p) for p in plain.plane) // 4
    whole = len(board.frame.ids) * len(board.photos)
    held = ours.rms <= limit
    print(
        f"{board.name:36} {ours.found:4d} {theirs:4d} {whole:4d} {homography:6.3f} "
        f"{calibrated:6.3f} {ours.rms:6.3f} {limit:6.3f} {'pass' if held else 'FAIL'}  "
        f"{pattern(ours)}  {time.process_time() - start:.1f} s"
    )
    return held and ours.found >= 0.98 * theirs


def main() -> int:
    """Print the table; the exit status says whether all bounds hold."""
    if not SETS.is_dir():
        print("no photographs beside the repository")
        return 1
    print(
        "markers: ours, OpenCV's, printed; rms px of what was left out: H, calibrated, ours, bound"
    )
    held = [board_row(board(), shared, bound) for board, shared, bound in BOARDS]
    print("\nchessboards: photos, corners; H, calibrated, ours (one lens), bound; a lens for each")
    for name, columns, rows, square in CHESSBOARDS:
        corners = chessboard(name, columns, rows, square)
        ours, alone = corner_holdout(corners), corner_holdout(corners, shared=False)
        held.append(ours.rms <= CHESSBOARD_PX)
        print(
            f"{name:36} {len(corners.plane):4d} {ours.found:4d} {homography_holdout(corners):6.3f} "
            f"{calibrated_holdout(corners):6.3f} {ours.rms:6.3f} {CHESSBOARD_PX:6.3f} "
            f"{'pass' if held[-1] else 'FAIL'}  {alone.rms:6.3f}"
        )
    sheets, places, noise = dot_sheets()
    print(f"\ndot sheets on the ruled mat: {places} places of its ruling, {noise:.3f} px left over")
    for sheet in sheets:
        held.append(sheet.rms <= DOTS_MM and sheet.dots >= 20)
        print(
            f"sheet {sheet.number}: {sheet.dots} dots, {sheet.rms:.3f} mm (bound {DOTS_MM}), "
            f"scale {sheet.scale:.4f} {'pass' if held[-1] else 'FAIL'}"
        )
    print(f"\n{sum(held)} of {len(held)} hold")
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
