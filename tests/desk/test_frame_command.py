"""`snugline frame`: a PDF to print and the description that later finds it again."""

import json

import ezdxf
import pypdfium2
import pytest
import svgelements

from snugline.trace.sheet.frame_description import read_frame


def test_the_pdf_and_its_description_lie_side_by_side(snugline, tmp_path):
    status, out, err = snugline("frame", "border-a4", "--out", tmp_path / "frame.pdf")
    assert (status, err) == (0, "")
    assert "actual size" in out
    page = pypdfium2.PdfDocument(tmp_path / "frame.pdf")[0]
    width, height = (points * 25.4 / 72 for points in page.get_size())
    assert (width, height) == pytest.approx((297, 210), abs=0.01)  # A4, ISO 216
    assert read_frame(tmp_path / "frame.json").name == "border-a4"


def test_the_options_say_the_same_as_the_name(snugline, tmp_path):
    snugline("frame", "border-a3-2-dark", "--out", tmp_path / "by-name.pdf")
    options = ["--paper", "a3", "--sheet", 2, "--dark"]
    snugline("frame", *options, "--out", tmp_path / "by-options.pdf")
    assert (tmp_path / "by-name.pdf").read_bytes() == (tmp_path / "by-options.pdf").read_bytes()
    record = json.loads((tmp_path / "by-name.json").read_text())
    assert record["window_printed"] == "dark"


def test_a_frame_to_engrave_comes_as_svg_and_dxf(snugline, tmp_path):
    out = tmp_path / "board.svg"
    status, text, _ = snugline("frame", "border-a3", "--engraved", "--out", out)
    assert status == 0
    assert "engrave it at actual size" in text
    assert not ezdxf.readfile(tmp_path / "board.dxf").audit().errors
    assert svgelements.SVG.parse(out).width == pytest.approx(420 * 96 / 25.4)  # A3, ISO 216
    assert read_frame(tmp_path / "board.json").name == "border-a3"


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["border-a5"], "border-a5"),
        (["border-a4", "--paper", "a3"], "contradict"),
        (["border-a4", "--sheet", "9"], "sheet 9"),
        (["border-a4", "--out", "frame.png"], "frame.png"),
        (["border-a4", "--engraved", "--out", "frame.pdf"], "frame.pdf"),
        (["border-a4", "--out", "no-such-folder/frame.pdf"], "no-such-folder"),
    ],
)
def test_what_cannot_be_printed_is_refused_in_a_line(
    snugline, tmp_path, monkeypatch, arguments, named
):
    monkeypatch.chdir(tmp_path)
    status, out, err = snugline("frame", *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert named in err
    assert list(tmp_path.iterdir()) == []
