"""The files that a board of several parts names."""

import json

import pytest

from snugline.desk.board_files import board_outlines
from snugline.desk.job import inspect_record
from snugline.errors import FileError
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.drawing.dxf import write_dxf
from snugline.fit.drawing.svg import write_svg
from snugline.fit.geometry.primitives import circle, rounded_rectangle

BOARD, CUP, TILE = rounded_rectangle(900, 400, 30), circle(40), rounded_rectangle(120, 80, 8)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "job").mkdir()
    drawing = Drawing("b", (Layer("edge", (BOARD,)), Layer("hole", (circle(5),))), "in")
    (tmp_path / "job" / "board.dxf").write_bytes(write_dxf(drawing))
    (tmp_path / "job" / "cup.svg").write_bytes(write_svg(Drawing("c", (Layer("o", (CUP,)),))))
    result = tmp_path / "tile" / "job-result"
    result.mkdir(parents=True)
    outline = {"segments": TILE.as_json(), "length": {"u95": 0.4}, "width": {"u95": 0.1}}
    (result / "result.json").write_text(json.dumps({"outline": outline}))
    return tmp_path


def outlines(folder, board="board.dxf", parts=("cup.svg", "../tile/job.toml")):
    guests = [
        {"name": f"part {i}", "outline": name, "clearance": "0.5 mm", "depth": "5 mm"}
        for i, name in enumerate(parts)
    ]
    record = {
        "part": {"thickness": "9 mm"},
        "frame": {"description": "border-a4"},
        "photo": [{"file": "a.jpg", "shows": "whole"}],
        "pocket": {"clearance": "0.5 mm", "board": {"outline": board, "part": guests}},
    }
    job, _ = inspect_record(record, folder / "job" / "job.toml")
    return board_outlines(job, job.choices)


def test_drawings_in_either_unit_and_results_of_jobs_are_read(folder):
    found = outlines(folder)
    assert found["board.dxf"].outline.area == pytest.approx(BOARD.area, rel=1e-9)
    assert found["cup.svg"].outline.area == pytest.approx(CUP.area, rel=1e-9)
    tile = found["../tile/job.toml"]
    assert tile.outline.area == pytest.approx(TILE.area, rel=1e-9)
    assert (tile.uncertainty.length, tile.uncertainty.width) == (0.4, 0.1)
    assert found["cup.svg"].uncertainty is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"board": "missing.dxf"}, "cannot be read"),
        ({"parts": ("../other/job.toml",)}, "run that job first"),
        ({"parts": ("/etc/cup.svg",)}, "leads away"),
        ({"parts": ("../../x/cup.svg",)}, "leads away"),
    ],
)
def test_what_cannot_be_read_names_its_key_and_the_remedy(folder, changes, said):
    with pytest.raises(FileError, match=said) as caught:
        outlines(folder, **changes)
    assert caught.value.about.as_json()["key"].startswith("pocket.board")
    assert caught.value.mend


def test_a_file_that_is_not_a_drawing_is_refused(folder):
    (folder / "job" / "cup.svg").write_text("<html></html>")
    with pytest.raises(FileError):
        outlines(folder)
