import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from snugline.errors import FileError, InputError
from snugline.trace.sheet.builtin_sheets import builtin_description
from snugline.trace.sheet.frame_description import (
    BarError,
    Frame,
    PlainFrame,
    frame_from_record,
    read_frame,
    with_print_scale,
)

SHARED = Path(__file__).parents[3].parent / "shared" / "photos"
PLAIN = {
    "name": "shop frame",
    "units": "mm",
    "kind": "plain",
    "opening": [254.0, 203.2],
    "border": 12.0,
    "thickness": 0.8,
}


def marked() -> dict[str, Any]:
    return copy.deepcopy(builtin_description("border-a4"))


def refusal(record: Any) -> str:
    with pytest.raises(InputError) as caught:
        frame_from_record(record, "frame.json")
    assert caught.value.where.startswith("frame.json")
    assert caught.value.mend
    return str(caught.value)


def test_a_frame_of_markers_keeps_what_its_description_says() -> None:
    frame = frame_from_record(marked(), "frame.json")
    assert isinstance(frame, Frame)
    assert frame.ids.tolist() == list(range(44))
    assert frame.corners.shape == (44, 4, 2)
    assert frame.corners[0, 0].tolist() == [11.5, 202]
    assert frame.window.tolist() == [[38.5, 35], [258.5, 35], [258.5, 175], [38.5, 175]]
    assert frame.bars["x"].nominal == 200
    assert not frame.window_dark
    np.testing.assert_array_equal(frame.true_corners, frame.corners)


def test_a_plain_frame_keeps_what_its_description_says() -> None:
    frame = frame_from_record(PLAIN, "frame.json")
    assert isinstance(frame, PlainFrame)
    assert frame.opening.tolist() == [254, 203.2]
    assert (frame.border, frame.thickness) == (12, 0.8)


def test_unknown_keys_are_ignored() -> None:
    plain = frame_from_record(PLAIN | {"colour": "oak", "window": [[0, 0]]}, "frame.json")
    assert isinstance(plain, PlainFrame)
    record = marked() | {"printer": "office"}
    record["markers"][0]["note"] = "a little smudged"
    assert isinstance(frame_from_record(record, "frame.json"), Frame)


@pytest.mark.parametrize(
    "key", ["name", "units", "sheet", "dictionary", "markers", "window", "scale_bars"]
)
def test_a_missing_key_of_a_frame_of_markers_is_named(key: str) -> None:
    record = marked()
    del record[key]
    assert key in refusal(record)


@pytest.mark.parametrize("key", ["name", "units", "opening", "border", "thickness"])
def test_a_missing_key_of_a_plain_frame_is_named(key: str) -> None:
    assert key in refusal({k: v for k, v in PLAIN.items() if k != key})


@pytest.mark.parametrize("units", ["in", "cm", "MM", None, 1])
def test_units_other_than_millimetres_are_refused(units: Any) -> None:
    assert repr(units) in refusal(marked() | {"units": units})
    refusal(PLAIN | {"units": units})


@pytest.mark.parametrize(
    "change",
    [
        {"sheet": [297]},
        {"sheet": "a4"},
        {"window": [[0, 0], [1, 1]]},
        {"window": [[0, 0, 0]] * 4},
        {"window": None},
        {"markers": []},
        {"markers": "many"},
        {"markers": [{"id": 1}]},
        {"scale_bars": [1, 2]},
        {"scale_bars": {"x": {"ends": [[0, 0]], "nominal": 100}}},
        {"scale_bars": {"x": {"ends": [[0, 0], [1, 0]]}}},
        {"scale_bars": {"x": {"ends": [[0, 0], [1, 0]], "nominal": "long"}}},
    ],
)
def test_a_value_of_the_wrong_form_is_refused(change: dict[str, Any]) -> None:
    refusal(marked() | change)


@pytest.mark.parametrize(
    "change",
    [{"opening": [0, 100]}, {"opening": 254}, {"border": -1}, {"thickness": -0.1}, {"border": "x"}],
)
def test_a_plain_frame_of_impossible_size_is_refused(change: dict[str, Any]) -> None:
    refusal(PLAIN | change)


def test_markers_that_cannot_be_told_apart_or_are_too_few_are_refused() -> None:
    record = marked()
    record["markers"][5]["id"] = 4
    refusal(record)
    record = marked()
    record["markers"] = record["markers"][:3]
    refusal(record)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("window", [[0, 0], [1, 0], [float("nan"), 1]]),
        ("window", [[0, 0], [1, 0], [1, float("inf")]]),
        ("sheet", [297, float("nan")]),
        ("sheet", [297, -210]),
        ("sheet", [0, 210]),
        ("dictionary", "DICT_OF_NOWHERE"),
        ("dictionary", "CORNER_REFINE_SUBPIX"),
        ("dictionary", 16),
        ("scale_bars", {"x": {"ends": [[0, 0], [1, 0]], "nominal": 0}}),
        ("scale_bars", {"x": {"ends": [[0, 0], [1, float("nan")]], "nominal": 100}}),
    ],
)
def test_a_value_that_no_frame_has_is_refused_by_its_key(key: str, value: Any) -> None:
    assert f"'{key}" in refusal(marked() | {key: value})


@pytest.mark.parametrize("key", ["opening", "border", "thickness"])
def test_a_plain_frame_without_finite_sizes_is_refused_by_its_key(key: str) -> None:
    for value in (float("nan"), float("inf")):
        wrong = [254.0, value] if key == "opening" else value
        assert f"'{key}'" in refusal(PLAIN | {key: wrong})


@pytest.mark.parametrize("wrong", [1.5, 3.0, "7", True, None, -1, 10**30])
def test_an_id_that_is_no_whole_number_is_refused(wrong: Any) -> None:
    record = marked()
    record["markers"][5]["id"] = wrong
    assert "'markers'" in refusal(record)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_corners_that_are_no_finite_numbers_are_refused(value: float) -> None:
    record = marked()
    record["markers"][7]["corners"][2][0] = value
    refusal(record)


@pytest.mark.parametrize("record", [[], "frame", 3, None])
def test_a_description_that_is_no_object_is_refused(record: Any) -> None:
    refusal(record)


def test_a_frame_is_read_by_its_name_or_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "own frame.json"
    path.write_text(json.dumps(marked() | {"name": "own"}))
    assert read_frame(path).name == "own"
    assert read_frame(str(path)).name == "own"
    assert read_frame("border-a3-2-dark").name == "border-a3-2-dark"
    with pytest.raises(InputError, match="border-a4"):
        read_frame("border-a7")


@pytest.mark.parametrize("content", [None, b"", b"{", b"\xff\xfe\x00", b"[1, 2"])
def test_a_file_that_is_missing_or_no_json_is_named(tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "frame.json"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(FileError) as caught:
        read_frame(path)
    assert caught.value.where == str(path)
    assert "\n" not in str(caught.value)


def test_the_bars_as_measured_scale_the_frame_about_its_origin() -> None:
    frame = frame_from_record(marked(), "frame.json")
    scaled = with_print_scale(frame, bar_x=199.2, bar_y=120.3, bar_u=0.02)
    assert isinstance(scaled, Frame)
    assert scaled.scale == pytest.approx((0.996, 1.0025))
    assert scaled.scale_u == pytest.approx((0.0001, 0.02 / 120))
    np.testing.assert_allclose(scaled.true_corners[0, 0], [11.5 * 0.996, 202 * 1.0025])
    np.testing.assert_allclose(scaled.true_window[2], [258.5 * 0.996, 175 * 1.0025])
    np.testing.assert_array_equal(scaled.corners, frame.corners)


def test_one_bar_alone_tells_the_other_axis_too_but_less_well() -> None:
    scaled = with_print_scale(frame_from_record(marked(), "f"), bar_y=119.4)
    assert scaled.scale == pytest.approx((0.995, 0.995))
    # JCGM 100, 4.3.7: limits of +-0.03 mm (DIN 862) and of +-0.1 mm (the hand's), all inside
    # equally likely, are a root of 3 smaller as standard uncertainties.
    assert scaled.scale_u[1] == pytest.approx(np.hypot(0.03, 0.1) / 3**0.5 / 120)
    assert scaled.scale_u[0] > 3 * scaled.scale_u[1]


def test_two_readings_of_a_bar_are_averaged_and_share_the_calipers_error() -> None:
    scaled = with_print_scale(frame_from_record(marked(), "f"), (199.2, 199.1), (119.9, 119.9))
    assert scaled.scale == pytest.approx((199.15 / 200, 119.9 / 120))
    placing = 0.1 / 3**0.5 / 2**0.5  # JCGM 100, 4.2.3: the mean of two
    assert scaled.scale_u[0] == pytest.approx(np.hypot(0.03 / 3**0.5, placing) / 200, rel=0.2)
    assert scaled.bar_readings == {"x": (199.2, 199.1), "y": (119.9, 119.9)}


def test_readings_that_scatter_are_trusted_less_and_those_that_contradict_are_refused() -> None:
    frame = frame_from_record(marked(), "f")
    near, far = (with_print_scale(frame, (199.2, 199.2 + d), 120.0) for d in (0.05, 0.6))
    assert far.scale_u[0] > 2 * near.scale_u[0]
    with pytest.raises(InputError, match="contradict"):
        with_print_scale(frame, (199.2, 196.2), 120.0)


def test_a_plain_frames_opening_is_its_own_bar() -> None:
    scaled = with_print_scale(frame_from_record(PLAIN, "f"), bar_x=253.96, bar_y=203.22)
    assert scaled.scale == pytest.approx((253.96 / 254, 203.22 / 203.2))


@pytest.mark.parametrize("reading", [170.0, 230.0, 7.874, float("nan")])
def test_a_slip_in_reading_a_bar_is_refused(reading: float) -> None:
    # 7.874 is 200 mm read in inches.
    with pytest.raises(InputError, match="bar x"):
        with_print_scale(frame_from_record(marked(), "f"), bar_x=reading)


@pytest.mark.parametrize(
    ("name", "x", "y", "mend"),
    [
        ("border-a4", 120.2, 199.2, "have changed places"),
        ("border-a3", 199.2, (119.8, 119.7), "these are the bars of border-a4"),
        ("border-a4", 188.0, 141.0, "these are the bars of border-a3 or border-tabloid"),
        ("border-a4", 7.843, 4.717, "they look like inches"),
        ("border-a4", 199.2, 19.8, "measure the printed bar again"),
    ],
)
def test_what_was_meant_by_bars_of_another_sheet_is_said(name, x, y, mend) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(BarError) as refused:
        with_print_scale(read_frame(name), x, y)
    assert mend in refused.value.mend


def test_bars_that_no_printer_would_print_together_are_refused_at_the_worse_one() -> None:
    frame = frame_from_record(marked(), "f")
    with_print_scale(frame, 198.2, 120.0)  # 0.9 % apart
    with pytest.raises(BarError, match="between them") as refused:
        with_print_scale(frame, 200.1, 117.5)
    assert refused.value.axis == "y"


def test_a_print_fitted_to_the_page_is_taken() -> None:
    scaled = with_print_scale(frame_from_record(marked(), "f"), 188.0, 112.8)
    assert scaled.scale == pytest.approx((0.94, 0.94))


def test_a_reading_of_a_bar_that_the_frame_has_not_is_refused() -> None:
    record = marked() | {"scale_bars": {}}
    with pytest.raises(InputError, match="no scale bar y"):
        with_print_scale(frame_from_record(record, "f"), bar_y=120)


@pytest.mark.skipif(not SHARED.exists(), reason="the shared photos are not beside the repository")
def test_every_shared_description_loads() -> None:
    paths = [*SHARED.glob("frames/*.json"), *SHARED.glob("*/frame*.json")]
    assert len(paths) > 15
    kinds = {type(read_frame(path)) for path in paths}
    assert kinds == {Frame, PlainFrame}
    dark = read_frame(SHARED / "frames" / "border-a4-dark.json")
    assert isinstance(dark, Frame)
    assert dark.window_dark
