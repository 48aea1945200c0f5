"""Paper sizes are checked against ISO 216 and ASME Y14.1, layouts against shared frames."""

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from snugline.errors import InputError
from snugline.trace.sheet.builtin_sheets import PAPERS, SHEETS, builtin_description, builtin_name
from snugline.trace.sheet.frame_description import Frame, read_frame

FRAMES = Path(__file__).parents[3].parent / "shared" / "photos" / "frames"
ALL_NAMES = [
    builtin_name(paper, sheet, dark)
    for paper in PAPERS
    for sheet in range(1, SHEETS + 1)
    for dark in (False, True)
]


def frame_of(name: str) -> Frame:
    frame = read_frame(name)
    assert isinstance(frame, Frame)
    return frame


@pytest.mark.parametrize("name", ["border-a4", "border-a4-2", "border-a4-dark", "border-a3"])
def test_the_rule_gives_the_frames_that_photos_were_made_with(name: str) -> None:
    path = FRAMES / f"{name}.json"
    if not path.exists():
        pytest.skip("the shared frame descriptions are not beside the repository")
    assert builtin_description(name) == json.loads(path.read_text())


def test_iso_papers_halve_down_from_one_square_metre() -> None:
    # ISO 216: A0 is 841 x 1189; each next size halves the long side, rounded down.
    short, long = 841, 1189
    sizes = {}
    for number in range(5):
        sizes[f"a{number}"] = (long, short)
        short, long = long // 2, short
    for name in ("a3", "a4"):
        assert (PAPERS[name].width, PAPERS[name].height) == sizes[name]


def test_american_papers_are_their_sizes_in_inches() -> None:
    # ASME Y14.1: A is 8.5 x 11 in, B 11 x 17 in.
    assert builtin_description("border-letter")["sheet"] == [279.4, 215.9]
    assert builtin_description("border-tabloid")["sheet"] == [431.8, 279.4]


@pytest.mark.parametrize("name", ALL_NAMES)
def test_every_built_in_frame_is_sound(name: str) -> None:
    frame = frame_of(name)
    assert frame.name == name
    assert frame.window_dark == name.endswith("-dark")
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, frame.dictionary))
    assert frame.ids.max() < len(dictionary.bytesList)
    assert np.unique(frame.ids // 100).size == 1  # the sheet's own hundred

    low, high = frame.corners.min(axis=1), frame.corners.max(axis=1)
    assert low.min() >= 8
    assert (frame.sheet - high).min() >= 8
    np.testing.assert_allclose(low.min(axis=0), frame.sheet - high.max(axis=0), atol=1e-9)
    # A white module or more between markers, and towards a dark window.
    gap = np.maximum(low[:, None] - high[None], low[None] - high[:, None]).max(axis=2)
    module = (high - low)[0, 0] / 8
    assert gap[~np.eye(len(gap), dtype=bool)].min() >= 2 * module
    window_low, window_high = frame.window.min(axis=0), frame.window.max(axis=0)
    outside = np.maximum(window_low - high, low - window_high).max(axis=1)
    assert outside.min() >= 4 * module

    # Corners run clockwise from the top left.
    top_left = frame.corners[:, 0]
    np.testing.assert_allclose(top_left[:, 0], low[:, 0])
    np.testing.assert_allclose(top_left[:, 1], high[:, 1])
    edges = np.roll(frame.corners, -1, axis=1) - frame.corners
    turn = edges[:, 0, 0] * edges[:, 1, 1] - edges[:, 0, 1] * edges[:, 1, 0]
    assert (turn < 0).all()

    for axis, bar in frame.bars.items():
        along = "xy".index(axis)
        span = bar.ends[1] - bar.ends[0]
        assert span[along] == pytest.approx(bar.nominal)
        assert span[1 - along] == 0
        assert ((bar.ends < window_low) | (bar.ends > window_high)).any(axis=1).all()


def test_the_sheets_of_one_paper_share_no_marker() -> None:
    for paper in PAPERS:
        ids = [frame_of(builtin_name(paper, sheet)).ids for sheet in range(1, SHEETS + 1)]
        together = np.concatenate(ids)
        assert np.unique(together).size == together.size


@pytest.mark.parametrize("name", ALL_NAMES)
def test_a_name_leads_back_to_its_frame(name: str) -> None:
    assert builtin_description(name)["name"] == name


def refused(call: Any, *arguments: Any) -> str:
    with pytest.raises(InputError) as caught:
        call(*arguments)
    assert caught.value.mend
    return str(caught.value)


@pytest.mark.parametrize("name", ["", "border", "border-a5", "Border-a4", "border-a4-", "a4"])
def test_an_unknown_name_is_answered_with_those_that_exist(name: str) -> None:
    text = refused(builtin_description, name)
    for paper in PAPERS:
        assert f"border-{paper}" in text


@pytest.mark.parametrize("name", ["border-a4-6", "border-a3-0", "border-letter-99-dark"])
def test_a_sheet_beyond_the_ids_is_refused(name: str) -> None:
    assert "from 1 to 5" in refused(builtin_description, name)


def test_paper_and_sheet_are_checked_when_a_name_is_made() -> None:
    assert "a4, a3, letter or tabloid" in refused(builtin_name, "a2")
    assert "no sheet 6" in refused(builtin_name, "a4", 6)
    assert builtin_name("a4", 1) == "border-a4"
    assert builtin_name("a3", 2, True) == "border-a3-2-dark"
