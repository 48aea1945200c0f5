"""Prints are drawn by PDFium and searched by OpenCV, engravings read by svgelements and ezdxf."""

import io
import re
from functools import cache
from typing import Any

import cv2
import ezdxf
import ezdxf.units
import numpy as np
import pypdfium2
import pytest
import svgelements
from numpy.typing import NDArray

from snugline.errors import InputError
from snugline.trace.sheet.builtin_sheets import builtin_description
from snugline.trace.sheet.frame_description import Frame, frame_from_record
from snugline.trace.sheet.sheet_engrave import engraved_dxf, engraved_svg
from snugline.trace.sheet.sheet_print import sheet_pdf

DPI = 600
NAMES = ["border-a3", "border-letter-5-dark"]
Picture = NDArray[np.uint8]


def frame_of(name: str) -> Frame:
    frame = frame_from_record(builtin_description(name), name)
    assert isinstance(frame, Frame)
    return frame


@cache
def printed(name: str) -> Picture:
    """The page at 600 dpi in grey, first row at the bottom.

    PDFium stretches the page to whole pixels: 5 to 80 ppm, which `scale` undoes.
    """
    with pypdfium2.PdfDocument(sheet_pdf(builtin_description(name))) as document:
        assert len(document) == 1
        bitmap = document[0].render(scale=DPI / 72, grayscale=True)
        return np.array(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width)[::-1]


def scale(name: str) -> NDArray[np.float64]:
    """Pixels a mm in x and y."""
    return np.array(printed(name).shape[::-1]) / frame_of(name).sheet


def region(name: str, low: Any, high: Any) -> tuple[slice, slice]:
    """Rows and columns of a region given in mm."""
    (x0, y0), (x1, y1) = (np.rint(np.array(p) * scale(name)).astype(int) for p in (low, high))
    return slice(y0, y1), slice(x0, x1)


def found(picture: Picture, name: str) -> tuple[list[int], NDArray[np.float64]]:
    """Ids in order, and corners (M, 4, 2) in px of the picture."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, frame_of(name).dictionary))
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(picture)
    order = np.argsort(ids.ravel())
    return ids.ravel()[order].tolist(), np.array(corners, np.float64).reshape(-1, 4, 2)[order]


def dark_middle(name: str, low: Any, high: Any, axis: int) -> tuple[float, float]:
    """Where along an axis the dark of a region lies: its middle and its length, mm."""
    rows, columns = region(name, low, high)
    profile = (1 - printed(name)[rows, columns] / 255).mean(axis=axis)
    place = np.arange(profile.size) + (columns, rows)[axis].start + 0.5
    px_per_mm = scale(name)[axis]
    middle = (profile @ place) / profile.sum() / px_per_mm
    return float(middle), float(profile.sum() / px_per_mm)


@pytest.mark.parametrize(("name", "size"), [("border-a4", (297, 210)), ("border-a3", (420, 297))])
def test_the_page_box_is_the_papers_to_a_hundredth_of_a_millimetre(
    name: str, size: tuple[int, int]
) -> None:
    # ISO 216. A PDF's unit is 1/72 in (ISO 32000-1, 8.3.2.3).
    data = sheet_pdf(builtin_description(name))
    with pypdfium2.PdfDocument(data) as document:
        box = np.array(document[0].get_mediabox()) * 25.4 / 72
        assert document[0].get_rotation() == 0
    np.testing.assert_allclose(box, [0, 0, *size], atol=0.01)
    assert b"/PrintScaling /None" in data


@pytest.mark.parametrize("name", NAMES)
def test_every_marker_of_the_print_is_found_at_its_place(name: str) -> None:
    frame = frame_of(name)
    quarter = cv2.resize(printed(name)[::-1], None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA)
    ids, corners = found(quarter, name)
    assert ids == frame.ids.tolist()
    mm = (corners + 0.5) * 25.4 / (DPI / 4)
    mm[..., 1] = frame.sheet[1] - mm[..., 1]
    # A corner that is not refined is good to a pixel or two.
    np.testing.assert_allclose(mm, frame.corners, atol=0.3)


@pytest.mark.parametrize("name", NAMES)
def test_marker_corners_stand_within_a_fiftieth_of_a_millimetre(name: str) -> None:
    # All dark modules along a side's border row: as long as the side, with its middle there.
    frame = frame_of(name)
    errors = []
    for corners in frame.corners:
        low, high = corners.min(axis=0), corners.max(axis=0)
        module = (high - low) / 8
        for axis in (0, 1):
            for near, far in ((low + 0.2 * module, low + 0.8 * module),
                              (high - 0.8 * module, high - 0.2 * module)):  # fmt: skip
                near[axis], far[axis] = low[axis] - 1.5, high[axis] + 1.5
                middle, length = dark_middle(name, near, far, axis)
                errors.append(middle - length / 2 - low[axis])
                errors.append(middle + length / 2 - high[axis])
    assert np.abs(errors).max() < 0.02


@pytest.mark.parametrize("name", NAMES)
def test_bars_measure_their_nominal_length_between_the_middles_of_their_marks(name: str) -> None:
    for axis, bar in enumerate(frame_of(name).bars.values()):
        beside = np.array([0.6, 0.6])
        beside[1 - axis] = 0.5
        shift = np.zeros(2)
        shift[1 - axis] = 1.2  # beside the bar's own line only the end mark is dark
        ends = [
            dark_middle(name, end - shift - beside, end - shift + beside, axis) for end in bar.ends
        ]
        pixel = 25.4 / DPI
        assert ends[1][0] - ends[0][0] == pytest.approx(bar.nominal, abs=pixel)
        assert ends[0][0] == pytest.approx(bar.ends[0, axis], abs=pixel)
        assert ends[0][1] == pytest.approx(0.25, abs=pixel)


@pytest.mark.parametrize("name", NAMES)
def test_window_and_quiet_zones_hold_nothing(name: str) -> None:
    frame = frame_of(name)
    dark = printed(name) < 250
    low, high = frame.window.min(axis=0), frame.window.max(axis=0)
    inside = dark[region(name, low + 0.1, high - 0.1)]
    assert inside.all() if frame.window_dark else not inside.any()
    dark[region(name, low - 0.1, high + 0.1)] = False
    assert not dark[region(name, low - 0.5, high + 0.5)].any()
    module = np.ptp(frame.corners[0, :, 0]) / 8
    for corners in frame.corners:  # only the markers themselves are left out
        dark[region(name, corners.min(axis=0) - 0.05, corners.max(axis=0) + 0.05)] = False
    for corners in frame.corners:
        around = corners.min(axis=0) - module, corners.max(axis=0) + module
        assert not dark[region(name, *around)].any()


def test_no_seam_shows_between_dark_modules() -> None:
    low = frame_of("border-a3").corners[0].min(axis=0)
    border = printed("border-a3")[region("border-a3", low + 0.1, low + np.array([15.9, 1.9]))]
    assert border.max() == 0


def test_the_sheet_says_what_it_is_and_how_to_print_measure_and_lay() -> None:
    with pypdfium2.PdfDocument(sheet_pdf(builtin_description("border-a4-2"))) as document:
        page = document[0].get_textpage()
        text = " ".join(page.get_text_range().split())
        boxes = np.array([page.get_charbox(i) for i in range(page.count_chars())]) * 25.4 / 72
    for word in ("border-a4-2", "100 to 143", "actual size", "no fit to page", "caliper", "Lay"):
        assert word in text
    frame = frame_of("border-a4-2")
    # Words stay between the white round the markers and the window.
    (x0, y0), (x1, y1) = frame.window.min(axis=0), frame.window.max(axis=0)
    left, bottom, right, top = boxes.T
    assert (left.min(), bottom.min()) > (x0 - 7, y0 - 7)
    assert (right.max(), top.max()) < (x1 + 7, y1 + 7)
    outside = (right <= x0) | (left >= x1) | (top <= y0) | (bottom >= y1)
    assert (outside | (right == left)).all()


def test_equal_descriptions_give_equal_files() -> None:
    record = builtin_description("border-letter")
    assert sheet_pdf(record) == sheet_pdf(record)
    assert engraved_svg(record) == engraved_svg(record)


PLAIN = {
    "name": "p",
    "units": "mm",
    "kind": "plain",
    "opening": [1, 1],
    "border": 1,
    "thickness": 0,
}


@pytest.mark.parametrize("write", [sheet_pdf, engraved_svg, engraved_dxf])
def test_a_plain_frame_cannot_be_drawn(write: Any) -> None:
    with pytest.raises(InputError, match="no markers"):
        write(PLAIN)


def drawn(rings: list[NDArray[np.float64]], name: str) -> Picture:
    """Rings in mm filled by the even-odd rule at 8 px a mm."""
    frame = frame_of(name)
    width, height = (frame.sheet * 8).astype(int)
    picture = np.full((height, width), 255, np.uint8)
    pixels = []
    for ring in rings:
        x, y = ring.T
        places = np.stack([x * 8 - 0.5, (frame.sheet[1] - y) * 8 - 0.5], axis=1)
        pixels.append(np.rint(places * 16).astype(np.int32))
    cv2.fillPoly(picture, pixels, 0, shift=4)
    return picture


def test_the_engraved_svg_is_true_to_size_and_its_fields_are_the_markers() -> None:
    name = "border-a4-2"
    frame = frame_of(name)
    text = engraved_svg(builtin_description(name))
    assert 'width="297mm"' in text
    assert 'viewBox="0 0 297 210"' in text
    assert set(re.findall(r'stroke="(.*?)"', text)) == {"#202020", "none"}
    assert set(re.findall(r'fill="(.*?)"', text)) == {"#202020", "none"}  # dark: the words
    assert re.findall(r"<title>(.*?)</title>", text) == ["marker fields", "window", "bars", "text"]

    drawing = svgelements.SVG.parse(io.StringIO(text), ppi=25.4)
    layers = {
        group.id: list(group.select(lambda e: isinstance(e, svgelements.Path)))
        for group in drawing
        if isinstance(group, svgelements.Group)
    }
    rings = []
    for path in layers["marker-fields"]:
        assert isinstance(path[-1], svgelements.Close)
        points = np.array([(segment.end.x, segment.end.y) for segment in path[:-1]])
        rings.append(points * [1, -1] + [0, frame.sheet[1]])
    ids, _ = found(drawn(rings, name), name)
    assert ids == frame.ids.tolist()
    (window,) = layers["window"]
    assert window.bbox() == pytest.approx((38.5, 35, 258.5, 175), rel=1e-6)
    lengths = sorted(path.length() for path in layers["bars"])
    assert lengths == pytest.approx([4, 4, 4, 4, 120, 200], rel=1e-6)


def test_the_engraved_dxf_is_sound_and_its_fields_are_the_markers() -> None:
    name = "border-letter"
    frame = frame_of(name)
    document = ezdxf.read(io.StringIO(engraved_dxf(builtin_description(name))))
    assert not document.audit().has_issues
    assert document.units == ezdxf.units.MM
    space = document.modelspace()
    fields = space.query('LWPOLYLINE[layer=="marker fields"]')
    assert all(field.closed for field in fields)
    rings = [np.array([point[:2] for point in field.get_points("xy")]) for field in fields]
    # Right angles only, and no point in the middle of a side.
    for ring in rings:
        sides = np.roll(ring, -1, axis=0) - ring
        assert (np.isclose(sides, 0).sum(axis=1) == 1).all()
        assert np.isclose((sides * np.roll(sides, 1, axis=0)).sum(axis=1), 0).all()
    ids, _ = found(drawn(rings, name), name)
    assert ids == frame.ids.tolist()

    (window,) = space.query('LWPOLYLINE[layer=="window"]')
    np.testing.assert_allclose(window.get_points("xy"), frame.window, atol=1e-9)
    bars = [(line.dxf.start - line.dxf.end).magnitude for line in space.query("LINE")]
    assert sorted(bars) == pytest.approx([4, 4, 4, 4, 120, 150])
    patterns = {layer.dxf.name: layer.dxf.linetype for layer in document.layers}
    names = ["marker fields", "window", "bars", "text"]
    assert len({patterns[name] for name in names}) == 4
