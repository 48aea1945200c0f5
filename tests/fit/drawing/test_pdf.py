"""PDF files measured as a printer would show them, by pypdfium2."""

import math
import re

import numpy as np
import pypdfium2
import pytest
from scipy.ndimage import binary_dilation

from snugline.errors import FileError, InputError
from snugline.fit.drawing.bezier import cubics, deviation
from snugline.fit.drawing.drawing import Drawing, Layer, Note
from snugline.fit.drawing.paper import PAPERS, paper_size
from snugline.fit.drawing.pdf import write_pdf
from snugline.fit.drawing.tiling import MARGIN, tiling
from snugline.fit.geometry.outline import Arc
from snugline.fit.geometry.primitives import circle, rounded_rectangle

MM_PER_POINT = 25.4 / 72
DPI = 254  # ten pixels to the millimetre


def drawing(length=180, width=60, unit="mm"):
    part = Layer("part", (rounded_rectangle(length, width, 10), circle(5, (20, 3))))
    note = Note("to be read – not cut", (0, 0))
    pocket = Layer("pocket 9.5 mm deep", (circle(8, (-20, 0)),), "dashed", notes=(note,))
    return Drawing("slate tray", (part, pocket), unit)


def raster(content, page=0):
    """Darkness, 0 to 1, of each pixel, rows from the top."""
    image = pypdfium2.PdfDocument(content)[page].render(scale=DPI / 72, grayscale=True)
    return 1 - image.to_numpy().squeeze().astype(float) / 255


def bar_ends(dark):
    """First and last dark column of the lowest line that is dark over 90 mm, in pixels."""
    long_enough = (dark > 0.3).sum(axis=1) > 900
    row = np.flatnonzero(long_enough)[-1]
    columns = np.flatnonzero(dark[row] > 0.3)
    return columns[0], columns[-1] + 1


@pytest.mark.parametrize("paper", [None, "a4", "letter"])
def test_the_bar_of_100_mm_measures_100_mm_within_a_pixel(paper):
    left, right = bar_ends(raster(write_pdf(drawing(), paper)))
    # The end ticks stand half their width beyond the bar's ends.
    assert right - left - 2 == pytest.approx(1000, abs=1)


@pytest.mark.parametrize("name", list(PAPERS))
def test_the_page_box_is_the_papers_size_to_a_hundredth_of_a_millimetre(name):
    document = pypdfium2.PdfDocument(write_pdf(drawing(), name))
    size = [v * MM_PER_POINT for v in document[0].get_mediabox()[2:]]
    assert sorted(size) == pytest.approx(sorted(PAPERS[name]), abs=0.01)


def test_papers_have_the_standard_sizes():
    # ISO 216: A0 is a square metre in the ratio of 1 to root 2, each halving rounded down;
    # ASME Y14.1: A and B are 8.5 x 11 and 11 x 17 inches (check-values.md, section 5).
    assert paper_size("A4") == (210, 297)
    assert paper_size("a3") == (297, 420)
    width, height = PAPERS["a0"]
    for number in range(1, 6):
        width, height = height // 2, width
        assert PAPERS[f"a{number}"] == (width, height)
    assert width * height * 2**5 == pytest.approx(1e6, rel=0.01)
    assert PAPERS["letter"] == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert PAPERS["tabloid"] == pytest.approx((11 * 25.4, 17 * 25.4))
    with pytest.raises(InputError, match="not a paper"):
        paper_size("foolscap")


def test_the_user_unit_is_left_at_one():
    assert b"UserUnit" not in write_pdf(drawing())


def test_the_outline_is_drawn_at_true_size():
    plain = Drawing("plate", (Layer("part", (rounded_rectangle(180, 60, 10),)),))
    dark = raster(write_pdf(plain)) > 0.3
    above_foot = dark[: int((60 + MARGIN + 5) * 10)]
    rows, columns = np.flatnonzero(above_foot.any(axis=1)), np.flatnonzero(above_foot.any(axis=0))
    # Lines are 0.2 mm wide, so the ink is two pixels larger.
    assert columns[-1] + 1 - columns[0] - 2 == pytest.approx(1800, abs=1)
    assert rows[-1] + 1 - rows[0] - 2 == pytest.approx(600, abs=1)


def test_a_small_part_gets_a_page_with_room_for_the_bar():
    content = write_pdf(Drawing("washer", (Layer("part", (circle(3),)),)))
    left, right = bar_ends(raster(content))
    assert right - left - 2 == pytest.approx(1000, abs=1)


def test_tiles_show_the_same_where_they_overlap():
    drawn = drawing(300, 60)
    content = write_pdf(drawn, "a4", overlap=20)
    layout = tiling(drawn, "a4", foot=34, overlap=20)
    assert (layout.columns, layout.rows, layout.overlap) == (2, 1, 20)
    left, right = raster(content, 0), raster(content, 1)
    shared = 200
    edge = round((MARGIN + layout.shown[0]) * 10)
    top = slice(int(MARGIN * 10) + 5, int((MARGIN + layout.shown[1]) * 10) - 5)
    a = left[top, edge - shared + 5 : edge - 5] > 0.5
    b = right[top, int(MARGIN * 10) + 5 : int(MARGIN * 10) + shared - 5] > 0.5
    assert a.any()
    # The sheets lie differently on the pixels: ink may be one pixel beside.
    assert not (a & ~binary_dilation(b, np.ones((3, 3)))).any()
    assert not (b & ~binary_dilation(a, np.ones((3, 3)))).any()


def test_tiles_cover_the_whole_drawing_and_share_their_crosses():
    layout = tiling(drawing(900, 500), "a4", foot=30, overlap=10)
    assert len(layout.pages) == layout.columns * layout.rows > 10
    boxes = [(*p.origin, p.origin[0] + layout.shown[0], p.origin[1] + layout.shown[1])
             for p in layout.pages]  # fmt: skip
    assert min(b[0] for b in boxes) <= -450
    assert max(b[2] for b in boxes) >= 450
    assert min(b[1] for b in boxes) <= -250
    assert max(b[3] for b in boxes) >= 250
    for x, y in layout.crosses:
        inside = [b for b in boxes if b[0] < x < b[2] and b[1] < y < b[3]]
        assert len(inside) >= 2


def test_every_sheet_says_which_it_is_and_in_which_unit():
    document = pypdfium2.PdfDocument(write_pdf(drawing(300, 60, "in"), "a4"))
    assert len(document) == 2
    for number in (1, 2):
        text = document[number - 1].get_textpage().get_text_range()
        assert f"Sheet {number} of 2" in text
        assert "Unit: in." in text
        assert "pocket 9.5 mm deep" in text
        assert "100 mm" in text
    assert document.get_metadata_dict()["Title"] == "slate tray (in)"


def test_equal_drawings_give_equal_bytes():
    assert write_pdf(drawing()) == write_pdf(drawing())


def test_one_dark_colour_and_no_fill():
    text = write_pdf(drawing()).decode("latin-1")
    sheet = re.search(r"stream\n(.*?)endstream", text, re.DOTALL)[1]
    assert set(re.findall(r"([\d.]+) G\b", sheet)) == {"0.102"}
    assert not re.search(r"\b(f|B|b|f\*|B\*|b\*)\s", re.sub(r"\(.*?\)", "", sheet))


@pytest.mark.parametrize("radius", [0.5, 12.7, 200, 5000])
@pytest.mark.parametrize("sweep", [0.01, math.pi / 2, -math.pi, 6])
def test_curves_stray_from_their_arcs_by_less_than_a_ten_thousandth(radius, sweep):
    end = radius * math.cos(sweep), radius * math.sin(sweep)
    arc = Arc((radius, 0.0), end, (0.0, 0.0), radius, sweep)
    t = np.linspace(0, 1, 1001)[:, None]
    at = np.array(arc.start)
    for control_1, control_2, to in cubics(arc):
        b, c, d = map(np.array, (control_1, control_2, to))
        curve = (1 - t) ** 3 * at + 3 * (1 - t) ** 2 * t * b + 3 * (1 - t) * t * t * c + t**3 * d
        assert np.abs(np.hypot(*curve.T) - radius).max() < 1.1e-5
        at = d
    assert tuple(at) == arc.end


def test_a_quarter_circle_in_one_curve_strays_as_published():
    # check-values.md, section 6.2: control arm 0.552284750 r, error 0 to 2.7253e-4 r.
    quarter = Arc((1.0, 0.0), (0.0, 1.0), (0.0, 0.0), 1.0, math.pi / 2)
    ((first, _, _),) = cubics(quarter, tolerance=1)
    assert first == pytest.approx((1, 0.552284750), abs=5e-10)
    assert deviation(1, math.pi / 2) == pytest.approx(2.7253e-4, rel=2e-4)


def test_drawings_too_large_for_a_page_or_the_paper_are_refused():
    with pytest.raises(InputError, match="larger than PDF allows"):
        write_pdf(drawing(6000, 60))
    with pytest.raises(InputError, match="too many"):
        write_pdf(drawing(6000, 4000), "a5")
    many = tuple(Layer(f"layer {k}", (circle(100),)) for k in range(30))
    with pytest.raises(InputError, match="no room"):
        write_pdf(Drawing("plate", many), "a5")
    with pytest.raises(InputError, match="nothing is drawn"):
        write_pdf(Drawing("empty", ()))


def test_the_contract_is_verified_before_a_file_is_handed_over(monkeypatch):
    import snugline.fit.drawing.pdf as module

    faulty = lambda outline: [s.end for s in outline.segments][:-1]  # noqa: E731
    monkeypatch.setattr(module, "outline_steps", faulty)
    with pytest.raises(FileError, match="differs from the drawing"):
        write_pdf(drawing())
