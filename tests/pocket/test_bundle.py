"""All files of a plan, read back by readers that are not ours."""

import io
import math
import zipfile

import ezdxf.recover
import numpy as np
import pypdfium2
import pytest
import svgpathtools
from PIL import Image
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices

from snugline.fit.geometry.primitives import as_circle
from snugline.pocket.bundle import bundle, plan_files
from snugline.pocket.plan import make_plan
from snugline.pocket.shop_sheet import shop_sheet

MM_PER = {"mm": 1.0, "in": 25.4}


@pytest.fixture(scope="module", params=["mm", "in"])
def made(request):
    chosen = choices(clearance="0.7 mm", coupons={"ladder": ["0.4 mm"]}, stock=None)
    plan = make_plan(
        TRAY, UNCERTAINTY, THICKNESS, chosen, part="Slate Tray No. 3", unit=request.param
    )
    return plan, plan_files(plan)


def measures(vertices):
    """Area and perimeter of x, y, bulge rows, by the bulge's own formulas (DXF reference)."""
    x, y, bulge = np.array(vertices).T
    dx, dy = np.roll(x, -1) - x, np.roll(y, -1) - y
    chord = np.hypot(dx, dy)
    sweep = 4 * np.arctan(bulge)
    arc = np.abs(bulge) > 0
    radius = np.where(arc, chord / (2 * np.sin(np.where(arc, sweep, 1) / 2)), 0.0)
    area = (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2
    area += (radius**2 * (sweep - np.sin(sweep)) / 2).sum()
    return area, np.where(arc, radius * sweep, chord).sum(), chord


def test_every_name_says_its_unit(made):
    plan, files = made
    assert all(f"units-{plan.unit}." in name for name in files)
    assert all(name.startswith("slate-tray-no.-3-") for name in files)
    assert len(files) == 4 * len(plan.sheets) + 2


def test_dxf_files_audit_clean_and_hold_every_outline_and_layer(made):
    plan, files = made
    for sheet in plan.sheets:
        content = files[sheet.stem(plan.part, plan.unit) + ".dxf"]
        document, auditor = ezdxf.recover.read(io.BytesIO(content))
        assert not auditor.errors
        assert not auditor.fixes
        assert document.header["$INSUNITS"] == {"mm": 4, "in": 1}[plan.unit]
        for layer in sheet.layers:
            entities = document.modelspace().query(f'LWPOLYLINE[layer=="{layer.name}"]')
            closed = [e for e in entities if e.closed]
            paths = [o for o in layer.outlines if as_circle(o) is None]
            circles = document.modelspace().query(f'CIRCLE[layer=="{layer.name}"]')
            assert len(circles) == len(layer.outlines) - len(paths)
            for entity, outline in zip(closed, paths, strict=True):
                rows = [(x, y, b) for x, y, _, _, b in entity.get_points()]
                assert len(rows) == len(outline.segments)
                area, perimeter, chord = measures(rows)
                scale = MM_PER[plan.unit]
                assert area * scale**2 == pytest.approx(outline.area, rel=1e-9)
                assert perimeter * scale == pytest.approx(outline.perimeter, rel=1e-9)
                assert chord.min() > 1e-6
                for (_, _, bulge), segment in zip(rows, outline.segments, strict=True):
                    sweep = getattr(segment, "sweep", 0.0)
                    assert bulge == pytest.approx(math.tan(sweep / 4), abs=1e-12)


def test_svg_files_hold_every_outline_at_true_size(made):
    plan, files = made
    for sheet in plan.sheets:
        text = files[sheet.stem(plan.part, plan.unit) + ".svg"].decode()
        paths, _, root = svgpathtools.svgstr2paths(text, return_svg_attributes=True)
        assert root["width"].endswith(plan.unit)
        assert root["width"] == f"{root['viewBox'].split()[2]}{plan.unit}"
        closed = [p for p in paths if p.isclosed()]
        outlines = [o for layer in sheet.layers for o in layer.outlines]
        # The reader lists circles last.
        round_ones = [o for o in outlines if as_circle(o) is not None]
        outlines = [o for o in outlines if as_circle(o) is None]
        for path, outline in zip(closed[len(outlines) :], round_ones, strict=True):
            assert path.length() * MM_PER[plan.unit] == pytest.approx(outline.perimeter, rel=1e-8)
        closed = closed[: len(outlines)]
        paths = [p for p in paths if not p.isclosed()] + closed
        strokes = [s for layer in sheet.layers for s in layer.strokes]
        assert (len(closed), len(paths) - len(closed)) == (len(outlines), len(strokes))
        scale = MM_PER[plan.unit]
        for path, outline in zip(closed, outlines, strict=True):
            assert path.length() * scale == pytest.approx(outline.perimeter, rel=1e-8)
            # y points down in SVG: what runs counter-clockwise there does not here.
            sweeps = [getattr(s, "delta", 0.0) for s in path]
            rows = [
                (s.start.real, -s.start.imag, math.tan(-math.radians(d) / 4))
                for s, d in zip(path, sweeps, strict=True)
            ]
            area, _, chord = measures(rows)
            assert area * scale**2 == pytest.approx(outline.area, rel=1e-8)
            assert chord.min() > 1e-6
        for layer in sheet.layers:
            assert layer.name in text


def test_prints_open_and_say_their_unit(made):
    plan, files = made
    word = {"mm": "millimetres", "in": "inches"}[plan.unit]
    for name in (n for n in files if n.endswith(".pdf")):
        document = pypdfium2.PdfDocument(files[name])
        for page in document:
            assert word in page.get_textpage().get_text_range()


def test_a_preview_carries_its_scale(made):
    plan, files = made
    for sheet in plan.sheets:
        drawing, stem = sheet.drawing(plan.part, plan.unit), sheet.stem(plan.part, plan.unit)
        image = Image.open(io.BytesIO(files[f"{stem}.png"]))
        low_x, low_y, high_x, high_y = drawing.bounds
        shown = max(image.size) - 2 * 24
        expected = shown / max(high_x - low_x, high_y - low_y) * 25.4
        # pHYs counts whole pixels for a metre (PNG 1.2, 4.2.4.2).
        assert image.info["dpi"] == pytest.approx((expected, expected), rel=2e-3)


def test_previews_are_pictures_with_something_on_them(made):
    _, files = made
    for name in (n for n in files if n.endswith(".png")):
        pixels = np.asarray(Image.open(io.BytesIO(files[name])))
        assert max(pixels.shape) > 1000
        assert 0.001 < (pixels < 128).mean() < 0.2


def test_the_shop_sheet_is_two_pages_with_all_that_a_shop_needs(made):
    plan, files = made
    (name,) = [n for n in files if "shop-sheet" in n]
    document = pypdfium2.PdfDocument(files[name])
    assert len(document) == 2
    text = "".join(page.get_textpage().get_text_range() for page in document)
    expected = {
        "mm": (
            "418.00 mm (U95 0.30 mm)",
            "depth 9.70 mm",
            "0.70 mm drawn; real gap along the width",
        ),
        "in": (
            "16.457 in (near 16 29/64) (U95 0.012 in)",
            "depth 0.382 in",
            "0.028 in drawn; real gap along the width",
        ),
    }[plan.unit]
    for words in (
        *expected,
        "common practice, no source",
        "not applied",
        "Estimated time",
        "Cut a test in scrap",
        "eye, ear and dust",
        "local regulations",
        "does not enter",
        "opening measured",
    ):
        assert words in text


@pytest.fixture(scope="module")
def wordy():
    chosen = choices(
        clearance=[f"0.{k} mm" for k in range(1, 6)],
        stock={"thickness": "12.3 mm"},
        coupons=None,
        glued=True,
        wood={
            "species": "beech, american",
            "grain": "width",
            "now": {"moisture": 12},
            "driest": {"moisture": 5},
            "dampest": {"moisture": 15},
        },
    )
    return make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen, part="plate “Großer Ärger” →")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_shop_sheet_with_much_to_say_stays_on_two_pages(wordy, paper):
    content = shop_sheet(wordy, [f"reading {k}: 418 mm, tape" for k in range(12)], paper)
    document = pypdfium2.PdfDocument(content)
    assert len(document) == 2
    width, height = document[0].get_size()
    assert (width, height) == pytest.approx(
        {"a4": (595.28, 841.89), "letter": (612, 792)}[paper], abs=0.01
    )
    assert "Großer Ärger" in document[0].get_textpage().get_text_range()


def test_the_archive_is_whole_and_equal_files_give_equal_bytes(made):
    _, files = made
    content = bundle(files)
    archive = zipfile.ZipFile(io.BytesIO(content))
    assert archive.testzip() is None
    assert archive.namelist() == sorted(files)
    assert all(archive.read(name) == files[name] for name in files)
    assert bundle(dict(reversed(files.items()))) == content


def test_old_dxf_is_written_when_asked_for_and_equal_plans_give_equal_bytes():
    chosen = choices(clearance="0.7 mm", coupons=None, stock=None)
    plan = make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen)
    files = plan_files(plan, r12=True)
    (content,) = [c for n, c in files.items() if n.endswith(".dxf")]
    document, auditor = ezdxf.recover.read(io.BytesIO(content))
    assert document.dxfversion == "AC1009"
    assert not auditor.errors
    closed = [e for e in document.modelspace().query("POLYLINE") if e.is_closed]
    assert len(closed) == 3
    assert len(document.modelspace().query("CIRCLE")) == 2
    assert plan_files(plan, r12=True) == files


def test_an_inch_sheet_is_in_inches_throughout_and_shows_readings_as_read():
    # Set-up j02: "all lengths in inches", then 16 7/16 in as "417.51 mm".
    chosen = choices(clearance=["1/64 in", "1/32 in"], coupons={"tests": ["width"]}, stock=None)
    plan = make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen, unit="in")
    readings = ("length: 16 7/16 in by tape", "width: 4 43/64 in by caliper")
    pages = pypdfium2.PdfDocument(shop_sheet(plan, readings))
    text = "".join(page.get_textpage().get_text_range() for page in pages)
    before_readings, after = text.split("Readings")
    assert "16 7/16 in by tape" in after
    assert " mm" not in before_readings + after
    # 9.70 mm are 0.382 in: 24.4 64ths.
    assert "0.382 in (near 3/8)" in text


def test_reading_lines_are_as_written(tmp_path):
    from snugline.desk.job import inspect_record
    from snugline.desk.pocketing import reading_lines

    record = {
        "part": {"thickness": "9 mm"},
        "frame": {"description": "border-a4"},
        "photo": [{"file": "a.jpg", "shows": "whole"}],
        "reading": [
            {"what": "length", "values": ["16 7/16 in", '16.44"'], "tool": "tape"},
            {"what": "width", "value": "118.66 mm", "tool": "caliper"},
        ],
    }
    job, _ = inspect_record(record, tmp_path / "job.toml")
    assert reading_lines(job) == (
        'length: 16 7/16 in, 16.44" by tape',
        "width: 118.66 mm by caliper",
    )


def test_a_page_says_how_to_read_the_coupons_and_what_to_enter(made):
    plan, files = made
    (name,) = [n for n in files if "reading-the-coupons" in n]
    document = pypdfium2.PdfDocument(files[name])
    assert len(document) == 1
    text = " ".join(document[0].get_textpage().get_text_range().split())
    rung = {"mm": "0.40 mm", "in": "0.016 in"}[plan.unit]
    for words in (
        f"Steps: {rung}",
        "The width gauge",
        "The length gauge",
        "without force",
        "Never press a brittle part",
        "snugline fitted job.toml",
        "bench router",
    ):
        assert words in text


def test_engraved_figures_are_drawn_in_full_lines_in_every_file(made):
    # A dotted pattern takes small figures apart.
    plan, files = made
    for sheet in plan.sheets:
        marks = [layer for layer in sheet.layers if layer.strokes]
        assert all(layer.pattern == "solid" for layer in marks)
        if not marks:
            continue
        stem = sheet.stem(plan.part, plan.unit)
        scale = 1 if plan.unit == "mm" else 25.4
        for layer in marks:
            for stroke in layer.strokes:
                points = np.array(stroke)
                assert np.hypot(*np.diff(points, axis=0).T).max() > 0.5
            # Read upright or, on the width gauge, sideways.
            extents = [np.ptp(np.array(s), axis=0).max() for s in layer.strokes]
            assert max(extents) >= 3.0
        document, _ = ezdxf.recover.read(io.BytesIO(files[f"{stem}.dxf"]))
        low = min(p[1] for layer in marks for s in layer.strokes for p in s) / scale
        assert document.header["$EXTMIN"][1] <= low + 1e-6
