"""Job files: what is read, and how every fault is told."""

import json
import math
import re
from pathlib import Path
from typing import get_args

import pytest

from snugline.desk.advice import advice
from snugline.desk.job import inspect_job, read_job
from snugline.desk.job_outline import traced_thickness
from snugline.desk.job_run import sides_of
from snugline.errors import FileError, InputError, SnuglineError
from snugline.fit.shapes.family_words import OutlineFamily
from snugline.pocket.clearance import Clearance, even

GOOD = """
[part]
name = "slate pouring tray"
thickness = "9.5 mm"
edge_radius = "0.5 mm"
draft = "0.5 deg"
listed = "420 x 150 mm"
family = "auto"
symmetry = "both"

[frame]
description = "frame.json"
bar_x = "199.2 mm"
bar_y = "120.3 mm"

[[photo]]
file = "left-end.jpg"
shows = "left end"

[[reading]]
what = "length"
values = ["418 mm", "417.5 mm"]
tool = "tape"

[[reading]]
what = "width"
value = "5-3/4 in"
tool = "0.2 mm"

[pocket]
clearance = ["0.25 mm", "0.50 mm"]
"""


@pytest.fixture
def job_file(tmp_path, frame_record):
    (tmp_path / "frame.json").write_text(json.dumps(frame_record))
    (tmp_path / "left-end.jpg").touch()
    path = tmp_path / "job.toml"
    path.write_text(GOOD)
    return path


def edited(path, old, new):
    assert old in GOOD
    path.write_text(GOOD.replace(old, new, 1))
    return path


def test_a_job_is_read_in_millimetres_and_radians(job_file):
    job = read_job(job_file)
    assert job.part.thickness == 9.5
    assert job.part.draft == pytest.approx(math.radians(0.5))
    assert job.part.listed == "420 x 150 mm"
    assert job.reading[0].values == (418.0, 417.5)
    assert job.readings[1].values_mm == (5.75 * 25.4,)
    assert job.frame[0].bar_x == (199.2,)
    assert job.photo[0].shows == "left end"


def test_the_frame_comes_with_the_print_scale_of_its_bars(job_file):
    (frame,) = read_job(job_file).frames()
    assert frame.scale == pytest.approx((199.2 / 200, 120.3 / 120))


def test_a_frame_may_stand_once_or_several_times(job_file):
    edited(job_file, "[frame]", "[[frame]]")
    assert len(read_job(job_file).frame) == 1
    edited(job_file, "[frame]", '[[frame]]\ndescription = "frame.json"\n[[frame]]')
    assert len(read_job(job_file).frame) == 2


def test_several_thickness_readings_go_before_the_plain_value(job_file):
    more = '[[reading]]\nwhat = "thickness"\nvalues = ["9.4 mm", "9.6 mm"]\ntool = "caliper"\n\n'
    edited(job_file, "[pocket]", more + "[pocket]")
    thickness = read_job(job_file).thickness
    assert thickness.value == pytest.approx(9.5)
    assert thickness.values == (9.4, 9.6)


@pytest.mark.parametrize("text", ["4 in x 12 in", "420 × 150 mm", "16-1/2 x 6 in", '4" x 12"'])
def test_listed_sizes_are_taken_as_sellers_write_them(job_file, text):
    edited(job_file, '"420 x 150 mm"', f"'{text}'")
    assert read_job(job_file).part.listed == text


# old text, new text, what the line must name besides the file
def left_out(line):
    """A table [[leave_out]] with one line of its own, before the pocket."""
    good = {"photo": '"left-end.jpg"', "at": '["120 mm", "-3 mm"]', "within": '"4 mm"'}
    key, _, value = line.partition(" = ")
    lines = [f"{name} = {text}" for name, text in (good | {key: value}).items()]
    return "\n".join(["[[leave_out]]", *lines, "", "[pocket]"])


FAULTS = [
    ("thickness =", "thicknes =", ["[part]", "'thicknes'", "did you mean 'thickness'"]),
    ("[frame]", "[fram]", ["'fram'", "did you mean 'frame'"]),
    ('"9.5 mm"', '"9.5"', ["[part], thickness", "no unit", "9.5 mm"]),
    ('"9.5 mm"', "9.5", ["[part], thickness", "not a length"]),
    ('"9.5 mm"', '"9.5 furlong"', ["[part], thickness", "unknown unit 'furlong'"]),
    ('"9.5 mm"', '"-9.5 mm"', ["[part], thickness", "above zero"]),
    ('"9.5 mm"', '"0 mm"', ["[part], thickness", "above zero"]),
    ('"0.5 deg"', '"0.5 mm"', ["[part], draft", "unit 'mm'"]),
    ('"0.5 deg"', '"60 deg"', ["[part], draft", "0 to 45"]),
    ('"420 x 150 mm"', '"420 mm"', ["[part], listed", "two lengths"]),
    ('"both"', '"all"', ["[part], symmetry", "'lengthwise'"]),
    ('family = "auto"', 'family = "blob"', ["[part], family", "'stadium'"]),
    ('name = "slate pouring tray"', "name = 3", ["[part], name", "quotes"]),
    ("name =", 'snap = "yes"\nname =', ["[part], snap", "true or false"]),
    ("name =", 'drawn = { lenght = "1 mm" }\nname =', ["[part], drawn", "did you mean 'length'"]),
    ("name =", 'drawn = { width = "4" }\nname =', ["[part], drawn.width", "no unit"]),
    ("name =", 'edge_chamfer = "1 mm"\nname =', ["[part]", "edge_chamfer", "leave"]),
    ("[part]", 'path = "x"\n[part]', ["unknown key 'path'"]),
    ('file = "left-end.jpg"', 'file = "left.jpg"', ["[[photo]] 1, file", "'left.jpg'"]),
    ('shows = "left end"', 'shows = "left"', ["[[photo]] 1, shows", "'right end'"]),
    ('shows = "left end"', "", ["[[photo]] 1", "'shows' is missing"]),
    ('"frame.json"', '"other.json"', ["[[frame]] 1, description", "'other.json'"]),
    ('"199.2 mm"', '"150 mm"', ["[[frame]] 1", "bar x", "measure"]),
    ('tool = "tape"', 'tool = "stick"', ["[[reading]] 1, tool", "'stick'"]),
    ('what = "length"', 'what = "height"', ["[[reading]] 1, what", "'width'"]),
    ('value = "5-3/4 in"', 'value = "5 3/0 in"', ["[[reading]] 2, value", "zero"]),
    ('value = "5-3/4 in"', "", ["[[reading]] 2", "value or values"]),
    ('"417.5 mm"]', '"417.5"]', ["[[reading]] 1, values[2]", "no unit"]),
    ('values = ["418 mm", "417.5 mm"]', "values = []", ["[[reading]] 1", "value or values"]),
    ('"0.5 mm"', '"19 mm"', ["[part]", "top edge", "larger"]),
    ("[frame]", "[part.wood]\n[frame]", ["[part], wood", "'species' is missing"]),
    ("[frame]", '[part.wood]\nspecies = "oak"\n[frame]', ["[part], wood.species", "several"]),
    ("[part]\n", "[part\n", ["is not TOML", "line 2"]),
    ('shows = "left end"', 'shows = "left end"\nturn = 45', ["[[photo]] 1, turn", "90"]),
    ("[pocket]", left_out('photo = "other.jpg"'), ["[[leave_out]] 1, photo", "'other.jpg'"]),
    ("[pocket]", left_out('at = ["120 mm"]'), ["[[leave_out]] 1, at", "position"]),
    ("[pocket]", left_out('at = ["120 mm", "35"]'), ["[[leave_out]] 1, at", "no unit"]),
    ("[pocket]", left_out('within = "0 mm"'), ["[[leave_out]] 1, within", "above zero"]),
    ("[pocket]", left_out('radius = "4 mm"'), ["[[leave_out]] 1", "unknown key 'radius'"]),
]


@pytest.mark.parametrize(
    ("old", "new", "named"), FAULTS, ids=[new or old for old, new, _ in FAULTS]
)
def test_a_fault_is_one_line_with_file_key_and_mend(job_file, old, new, named):
    with pytest.raises(SnuglineError) as caught:
        read_job(edited(job_file, old, new))
    line = str(caught.value)
    assert "\n" not in line
    for word in ["job.toml", *named]:
        assert word in line
    assert caught.value.mend


def test_points_left_out_and_turns_are_read(job_file):
    edited(job_file, "[pocket]", left_out('within = "1/4 in"'))
    job_file.write_text(job_file.read_text().replace("shows =", "turn = 270\nshows =", 1))
    job = read_job(job_file)
    assert job.photo[0].turn == 270
    (table,) = job.leave_out
    assert (table.photo, table.at) == ("left-end.jpg", (120.0, -3.0))
    assert table.within == pytest.approx(6.35)


def test_all_faults_are_listed_and_the_mistyped_key_comes_first(job_file):
    text = GOOD.replace("thickness =", "thicknes =").replace('"tape"', '"stick"')
    job_file.write_text(text)
    _, faults = inspect_job(job_file)
    assert [type(fault) for fault in faults] == [InputError, InputError]
    assert "thicknes" in str(faults[0])


def test_a_job_without_thickness_says_so(job_file):
    with pytest.raises(InputError, match="no thickness"):
        read_job(edited(job_file, 'thickness = "9.5 mm"', ""))


@pytest.mark.parametrize(
    ("typed", "against"),
    [("0.374 mm", "the stated top edge alone is higher"), ("9.5 in", "nothing so thick")],
)
def test_a_thickness_that_cannot_be_is_asked_about_and_traced_as_it_was_meant(
    job_file, typed, against
):
    job = read_job(edited(job_file, "9.5 mm", typed))  # 9.5 mm is 0.374 in
    doubt = advice(job)[0]
    assert (doubt.code, doubt.severity) == ("reading-contradicted", "retake")
    assert against in str(doubt.text)
    assert "9.50 mm" in str(doubt.mend)
    assert traced_thickness(job) == sides_of(job).thickness == pytest.approx(9.5, abs=0.01)


def test_a_top_edge_larger_than_a_thickness_that_no_slip_explains_is_refused(job_file):
    with pytest.raises(InputError, match="the top edge of 60 mm is larger than the thickness"):
        read_job(edited(job_file, 'edge_radius = "0.5 mm"', 'edge_radius = "60 mm"'))


def test_a_photo_that_stands_twice_is_refused(job_file):
    twice = '[[photo]]\nfile = "left-end.jpg"\nshows = "left end"\n\n[[photo]]'
    with pytest.raises(InputError, match="twice"):
        read_job(edited(job_file, "[[photo]]", twice))


def test_files_that_are_no_jobs_are_refused(tmp_path):
    for name, content in [("binary", b"\xff\xfe\x00job"), ("huge", b"#" * 2_000_000)]:
        path = tmp_path / name
        path.write_bytes(content)
        with pytest.raises(FileError):
            read_job(path)
    with pytest.raises(FileError, match="snugline new"):
        read_job(tmp_path / "absent.toml")
    with pytest.raises(FileError):
        read_job(tmp_path)


def test_an_empty_job_names_its_missing_tables(tmp_path):
    path = tmp_path / "job.toml"
    path.touch()
    _, faults = inspect_job(path)
    assert [fault.what for fault in faults] == [
        "the key 'part' is missing",
        "the key 'frame' is missing",
        "the key 'photo' is missing",
    ]


def test_the_readme_s_job_is_a_job(tmp_path, frame_record):
    """Both tables of the README together, with a frame and a photo put beside them."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    job, pocket = re.findall(r"```toml\n(.*?)```", readme, re.DOTALL)
    first, rest = job.replace('camera = "shop phone"', "").split("[pocket]")
    text = first + pocket + rest[rest.index("[output]") :]
    (tmp_path / "frame.json").write_text(json.dumps(frame_record))
    (tmp_path / "left-end.jpg").touch()
    (tmp_path / "tray").mkdir()
    path = tmp_path / "tray" / "job.toml"
    path.write_text(
        text.replace('"border-a4"', '"../frame.json"').replace(
            '"left-end.jpg"', '"../left-end.jpg"'
        )
    )
    with pytest.raises(FileError, match=r"board\.dxf.* is not there"):
        read_job(path)
    (path.parent / "board.dxf").touch()
    (tmp_path / "cup").mkdir()
    (tmp_path / "cup" / "job.toml").touch()
    choices = read_job(path).choices
    assert choices.clearance == (even(0.4), Clearance(0.6, 0.5))
    assert choices.board is not None
    assert choices.part_wood is not None


def test_every_family_of_corners_can_be_asked_for():
    from snugline.fit.corners.corner_families import FAMILIES
    from snugline.fit.shapes.outline_families import rectangle

    fitted = {rectangle([corner] * 4, (0, 0, 0, 0)).family for corner in FAMILIES}
    assert fitted <= set(get_args(OutlineFamily))
