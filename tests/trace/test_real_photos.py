"""Photographs made by others: what is left out is predicted, as well as or better than by OpenCV.

The bounds are those of `benchmarks/real_photos.py`, here on what takes a few seconds.
"""

import pytest
from real_photos import (
    SETS,
    Board,
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
)
from ruled_mat import dot_sheets

pytestmark = pytest.mark.skipif(
    not SETS.is_dir(), reason="the photographs are not beside the repository"
)


def compared(board: Board, shared: bool = False) -> tuple[float, float]:
    """Our hold-out residual and that of OpenCV's homography, px, on the same markers or more."""
    plain = opencv_corners(board)
    ours = our_holdout(board, shared)
    assert ours.found >= sum(len(p) for p in plain.plane) // 4
    print(
        f"{board.name}: ours {ours.rms:.3f} px, OpenCV's homography {homography_holdout(plain):.3f}"
    )
    return ours.rms, homography_holdout(plain)


def test_a_phones_photo_of_a_tag_grid_is_predicted_within_nine_tenths_of_a_pixel() -> None:
    ours, plain = compared(screen_grid())
    assert ours <= 0.9
    assert ours < plain


def test_a_few_photos_of_a_board_share_a_lens() -> None:
    """All 42 together reach 0.35 px; a few carry the lens less well, yet better than OpenCV."""
    board = pad_board(5)
    ours, plain = compared(board, shared=True)
    assert ours < 0.9 * plain
    assert ours < 0.9 * calibrated_holdout(opencv_corners(board))


@pytest.mark.parametrize("name", ["choriginal", "chocclusion_original"])
def test_markers_on_a_desk_are_predicted_better_than_by_opencv(name: str) -> None:
    ours, plain = compared(desk_charuco(name))
    assert ours < plain


def test_a_documented_gap_that_is_wrong_shows_in_the_residual() -> None:
    documented, _ = compared(curled_grid())
    measured, plain = compared(curled_grid(21.5))
    assert documented > 3 * measured
    assert measured < plain


def test_a_chessboard_of_one_lens_is_predicted_within_three_tenths_of_a_pixel() -> None:
    corners = chessboard("boofcv-chessboard", 4, 6, 30, every=2)
    assert len(corners.plane) == 7
    ours = corner_holdout(corners).rms
    assert ours <= 0.3
    assert ours < 0.5 * homography_holdout(corners)


def test_printed_dots_keep_to_the_ruling_of_the_mat_below() -> None:
    sheets, places, noise = dot_sheets()
    assert places > 1000
    assert noise < 0.2
    # The set's README matched 28, 26 and 23 dots of sheets 85, 87 and 86 by hand.
    assert [s.number for s in sheets] == [85, 86, 87]
    for sheet in sheets:
        assert sheet.dots >= 20
        assert sheet.rms <= 0.25
        assert sheet.scale == pytest.approx(1, abs=0.006)
