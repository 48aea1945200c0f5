"""Photos that cannot be measured: one line, status 2, nothing written."""

import json
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

SAMPLE = Path(__file__).parents[2] / "samples" / "basalt-plate-in-ash-board"
GOOD = SAMPLE / "left-end.jpg"


def picture(width=1200, height=900, kind="JPEG"):
    stream = BytesIO()
    noise = np.random.default_rng(1).integers(90, 110, (height, width, 3), dtype=np.uint8)
    Image.fromarray(noise).save(stream, kind)
    return stream.getvalue()


def claimed_size(width, height):
    """A small JPEG whose header claims another size."""
    data = bytearray(picture(64, 64))
    at = data.index(b"\xff\xc0") + 5  # SOF0: length, precision, then height and width
    data[at : at + 4] = height.to_bytes(2, "big") + width.to_bytes(2, "big")
    return bytes(data)


def with_few_markers(count):
    """The sample's photo at a third of its size, all but the first markers painted over."""
    from snugline.trace.camera.sighting import sight_markers
    from snugline.trace.image.photo_file import read_photo
    from snugline.trace.sheet.frame_description import read_frame

    photo = read_photo(GOOD)
    seen = sight_markers(photo, [read_frame(SAMPLE / "frame.json")])
    pixels = photo.rgb.copy()
    for quad in seen.quads[count:]:
        (left, top), (right, bottom) = quad.min(axis=0).astype(int), quad.max(axis=0).astype(int)
        pixels[top - 3 : bottom + 4, left - 3 : right + 4] = 200
    stream = BytesIO()
    Image.fromarray(pixels).save(stream, "JPEG", quality=90)
    return stream.getvalue()


def bare_sheet():
    """The built-in A4 frame as printed, seen from straight above, with nothing on it."""
    import pypdfium2

    from snugline.trace.sheet.builtin_sheets import builtin_description
    from snugline.trace.sheet.sheet_print import sheet_pdf

    page = pypdfium2.PdfDocument(sheet_pdf(builtin_description("border-a4")))[0]
    stream = BytesIO()
    page.render(scale=2.5).to_pil().convert("RGB").save(stream, "JPEG", quality=92)
    return stream.getvalue()


BAD = {
    "empty": (lambda: b"", "frame.json"),
    "truncated": (lambda: GOOD.read_bytes()[:200_000], "frame.json"),
    "text": (lambda: b"<html>not a picture</html>" * 100, "frame.json"),
    "cut-header": (lambda: GOOD.read_bytes()[:30], "frame.json"),
    "300-megapixels": (lambda: claimed_size(20_000, 15_000), "frame.json"),
    "no-frame": (picture, "frame.json"),
    "wrong-frame": (lambda: GOOD.read_bytes(), "border-a3"),
    "three-markers": (lambda: with_few_markers(3), "frame.json"),
    "no-part": (bare_sheet, "border-a4"),
}


@pytest.mark.parametrize("kind", BAD)
def test_what_cannot_be_measured_is_refused(snugline, tmp_path, monkeypatch, kind):
    make, frame = BAD[kind]
    monkeypatch.chdir(tmp_path)
    Path("photo.jpg").write_bytes(make())
    description = str(SAMPLE / frame) if frame.endswith(".json") else frame
    sizes = ["--frame", description, "--thickness", "5.2mm"]
    outputs = ["--out", "contour.json", "--overlay", "overlay.png"]
    status, out, err = snugline("trace", "photo.jpg", *sizes, *outputs)
    assert status == 2
    assert out == ""
    assert err.count("\n") == 1
    assert err.startswith("snugline: photo.jpg: ")
    assert ";" in err
    assert [path.name for path in tmp_path.iterdir()] == ["photo.jpg"]


def test_a_missing_photo_is_refused(snugline, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sizes = ["--frame", str(SAMPLE / "frame.json"), "--thickness", "5.2mm"]
    status, out, err = snugline("trace", "absent.jpg", *sizes, "--out", "contour.json")
    assert (status, out) == (2, "")
    assert "absent.jpg" in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--thickness", "5.2mm", "--bar-x", "150mm"], "bar x"),
        (["--thickness", "5.2"], "no unit"),
        (["--thickness", "-5mm"], "-5"),
        (["--thickness", "5mm", "--edge-radius", "1mm", "--edge-chamfer", "1mm"], "--edge-chamfer"),
        (["--thickness", "5mm", "--edge-radius", "9mm"], "top edge"),
        (["--thickness", "5mm", "--draft", "0.5mm"], "'mm'"),
        (["--thickness", "5mm", "--out", "no-such-folder/contour.json"], "no-such-folder"),
        ([], "--thickness"),
    ],
)
def test_options_that_make_no_sense_are_refused(snugline, tmp_path, monkeypatch, arguments, named):
    monkeypatch.chdir(tmp_path)
    photo, frame = str(GOOD), str(SAMPLE / "frame.json")
    status, out, err = snugline("trace", photo, "--frame", frame, *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert named in err
    assert list(tmp_path.iterdir()) == []


def test_a_contour_is_written_as_the_contract_has_it(snugline, tmp_path):
    frame = str(SAMPLE / "frame.json")
    edge = ["--thickness", "5.27mm", "--edge-radius", "0.8mm", "--draft", "0.5deg"]
    bars = ["--bar-x", "199.17mm", "--bar-y", "120.23mm"]
    outputs = ["--out", tmp_path / "contour.json", "--overlay", tmp_path / "overlay.png"]
    status, out, err = snugline("trace", GOOD, "--frame", frame, *edge, *bars, *outputs)
    assert status == 0
    assert "left-end.jpg" in out
    record = json.loads((tmp_path / "contour.json").read_text())
    # Remarks that do not ask for another photo go to standard error and to the file alike.
    remarks = [w for w in record["warnings"] if w["severity"] == "usable"]
    assert len(err.splitlines()) == len(remarks)
    assert (record["schema"], record["units"]) == ("snugline/contour/2", "mm")
    assert record["closed"] is False
    assert len(record["points"]) == len(record["sigma"]) > 500
    assert record["photo"]["file"] == "left-end.jpg"
    assert record["photo"]["markers_found"] >= 30
    with Image.open(tmp_path / "overlay.png") as overlay:
        assert overlay.format == "PNG"
