"""`snugline compare`: outlines from results and drawings, side by side."""

import json

import pytest

from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.drawing.dxf import write_dxf
from snugline.fit.drawing.svg import write_svg
from snugline.fit.geometry.outline import Line, Outline


def box(width, height):
    """A rectangle about the origin."""
    x, y = width / 2, height / 2
    corners = [(-x, -y), (x, -y), (x, y), (-x, y)]
    return Outline(
        tuple(Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True))
    )


@pytest.fixture
def files(tmp_path):
    """A 100 x 60 box as result, SVG in inches and DXF; the DXF with a larger border beside it."""
    part, grown = box(100, 60), box(100.2, 60.2)
    (tmp_path / "result.json").write_text(json.dumps({"outline": {"segments": part.as_json()}}))
    svg = write_svg(Drawing("part", (Layer("outline", (part,)),), "in"))
    (tmp_path / "part.svg").write_bytes(svg)
    layers = (Layer("outline", (part,)), Layer("border", (grown,), "dashed"))
    (tmp_path / "plan.dxf").write_bytes(write_dxf(Drawing("plan", layers)))
    return tmp_path


def test_one_outline_in_three_kinds_of_file_is_one_outline(snugline, files):
    for pair in (["part.svg", "result.json"], ["plan.dxf", "part.svg", "--layer", "outline"]):
        first, second, *layer = pair
        _, out, _ = snugline("compare", files / first, files / second, *layer, "--json")
        assert json.loads(out)["largest"] < 1e-6


def test_a_larger_outline_lies_outside_by_its_growth(snugline, files):
    status, out, _ = snugline("compare", files / "plan.dxf", files / "result.json", "--json")
    record = json.loads(out)
    assert status == 0
    # A corner of the larger box is farthest: 0.1 mm in x and in y.
    assert record["largest"] == pytest.approx(0.1 * 2**0.5, abs=1e-6)
    assert record["first_to_second"]["mean"] == pytest.approx(0.1, abs=1e-3)
    assert record["area_difference"] == pytest.approx(100.2 * 60.2 - 6000, abs=1e-6)


def test_aligning_takes_a_shift_away(snugline, files):
    moved = box(100, 60).rotated(0.02).translated(7.0, -3.0)
    (files / "moved.svg").write_bytes(write_svg(Drawing("moved", (Layer("outline", (moved,)),))))
    _, out, _ = snugline("compare", files / "moved.svg", files / "result.json", "--align")
    assert "largest distance: 0.0000 mm" in out
    assert "A was moved by" in out


@pytest.mark.parametrize(
    ("name", "content", "named"),
    [
        ("absent.svg", None, "absent.svg"),
        ("part.pdf", b"%PDF", ".pdf"),
        ("bad.json", b"{}", "no outline"),
        ("bad.json", b'{"outline": {"segments": [{"kind": "line"}]}}', "bad.json"),
        ("bad.svg", b"<svg", "bad.svg"),
        ("bad.dxf", b"0\nSECTION\n", "bad.dxf"),
    ],
)
def test_what_holds_no_outline_is_refused(snugline, files, name, content, named):
    if content is not None:
        (files / name).write_bytes(content)
    status, out, err = snugline("compare", files / name, files / "result.json")
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert named in err


def test_a_layer_that_is_not_there_is_named_with_those_that_are(snugline, files):
    command = ["compare", files / "plan.dxf", files / "plan.dxf", "--layer", "pocket"]
    status, _, err = snugline(*command)
    assert status == 2
    assert "outline, border" in err
