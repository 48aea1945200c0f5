"""SVG files read back by other readers, and the reader against the published arc rows."""

import math
import re
import warnings
from xml.etree import ElementTree

import pytest
from svgelements import SVG, Path

from snugline.errors import FileError, InputError
from snugline.fit.drawing.drawing import Drawing, Layer, Note
from snugline.fit.drawing.path_data import Step, arc_of, chains
from snugline.fit.drawing.svg import path_data, write_svg
from snugline.fit.drawing.svg_reading import read_svg
from snugline.fit.geometry.outline import Arc, Line, Outline, arc_from_bulge
from snugline.fit.geometry.primitives import (
    as_circle,
    circle,
    filleted_polygon,
    polygon,
    rounded_rectangle,
)

OUTLINES = {
    "rounded rectangle": rounded_rectangle(304.8, 101.6, [12.7, 19.05, 6.35, 25.4]),
    "turned": rounded_rectangle(300, 100, [10, 20, 0, 30]).rotated(0.3),
    "stadium": rounded_rectangle(300, 100, 50).rotated(1),
    "circle": circle(20.123, (3.1, 4.7)).rotated(0.7),
    "hole": circle(20).reversed(),
    "concave": filleted_polygon([(0, 0), (100, 0), (100, 80), (50, 30), (0, 80)], 5),
    "sharp": polygon([(0, 0), (10, 0), (3, 7)]),
    "wide arc": Outline((arc_from_bulge((10, 0), (0, 0), 2.2), Line((0, 0), (10, 0)))),
}


PATHS = [o for o in OUTLINES.values() if as_circle(o) is None]
CIRCLES = [o for o in OUTLINES.values() if as_circle(o) is not None]


def drawing(unit="mm"):
    part = Layer("part", tuple(OUTLINES.values()))
    pocket = Layer(
        "pocket 9.5 mm deep",
        (circle(5),),
        "dash-dot",
        strokes=(((0, 0), (1, 2), (3, 3)),),
        notes=(Note("0.25 mm & less", (1, 2), 4),),
    )
    return Drawing("slate tray", (part, pocket), unit)


def svg(body, head='width="100mm" height="50mm" viewBox="0 0 100 50"'):
    return f'<svg xmlns="http://www.w3.org/2000/svg" {head}>{body}</svg>'.encode()


def one(body, **named):
    (outline,) = (o for layer in read_svg(svg(body, **named)).layers for o in layer.outlines)
    return outline


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_svgpathtools_finds_the_same_area_and_perimeter(unit):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        from svgpathtools import svgstr2paths
    paths, _ = svgstr2paths(write_svg(drawing(unit)).decode())
    size = {"mm": 1, "in": 25.4}[unit]
    for path, outline in zip(paths, PATHS, strict=False):
        assert path.isclosed()
        assert len(path) == len(outline.segments)
        assert min(piece.length() for piece in path) > 1e-3
        # Its own area goes through chords; of lines and arcs the area is closed.
        assert _area(path) * size**2 == pytest.approx(-outline.area, rel=1e-9)
        assert path.length() * size == pytest.approx(outline.perimeter, rel=1e-9)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_a_whole_circle_is_a_circle(unit):
    root = ElementTree.fromstring(write_svg(drawing(unit)))
    found = root.findall(".//{http://www.w3.org/2000/svg}circle")
    size = {"mm": 1, "in": 25.4}[unit]
    assert len(found) >= len(CIRCLES) > 0
    for node, outline in zip(found, CIRCLES, strict=False):
        (x, y), radius = as_circle(outline)
        assert float(node.get("r")) * size == pytest.approx(radius, abs=1e-9)
        assert float(node.get("cx")) * size == pytest.approx(x, abs=1e-9)
        assert -float(node.get("cy")) * size == pytest.approx(y, abs=1e-9)


def _area(path):
    total = 0.0
    for piece in path:
        a, b = piece.start, piece.end
        total += (a.real * b.imag - a.imag * b.real) / 2
        if hasattr(piece, "delta"):
            swept = math.radians(piece.delta)
            total += piece.radius.real**2 / 2 * (swept - math.sin(swept))
    return total


@pytest.mark.parametrize(("unit", "css"), [("mm", 96 / 25.4), ("in", 96)])
def test_svgelements_finds_the_true_size(unit, css):
    # svgelements turns all lengths into CSS pixels, 96 to the inch (CSS Values and Units).
    from io import StringIO

    read = SVG.parse(StringIO(write_svg(drawing(unit)).decode()), reify=True)
    paths = [e for e in read.elements() if isinstance(e, Path)]
    size = {"mm": 1, "in": 25.4}[unit]
    for path, outline in zip(paths, PATHS, strict=False):
        left, top, right, bottom = (v * size / css for v in path.bbox())
        low_x, low_y, high_x, high_y = outline.bounds
        assert right - left == pytest.approx(high_x - low_x, rel=1e-6)
        assert bottom - top == pytest.approx(high_y - low_y, rel=1e-6)


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_our_own_reader_finds_what_was_drawn(unit):
    drawn = drawing(unit)
    found = read_svg(write_svg(drawn))
    assert (found.title, found.unit) == (drawn.title, unit)
    assert [(la.name, la.pattern) for la in found.layers] == [
        ("part", "solid"),
        ("pocket 9.5 mm deep", "dash-dot"),
    ]
    for one_, other in zip(drawn.layers[0].outlines, found.layers[0].outlines, strict=True):
        assert other.area == pytest.approx(one_.area, rel=1e-10)
        assert other.perimeter == pytest.approx(one_.perimeter, rel=1e-10)
        assert other.winding == one_.winding
    assert sum(found.layers[1].strokes[0], ()) == pytest.approx((0, 0, 1, 2, 3, 3))
    assert found.layers[1].notes[0].text == "0.25 mm & less"


def test_the_size_carries_the_unit_and_the_view_box_the_same_numbers():
    for unit in ("mm", "in"):
        root = ElementTree.fromstring(write_svg(drawing(unit)))
        box = root.get("viewBox").split()
        assert root.get("width") == box[2] + unit
        assert root.get("height") == box[3] + unit
        assert f"({unit})" in root[0].text


def test_one_dark_colour_no_fill_and_no_transform():
    text = write_svg(drawing()).decode()
    assert set(re.findall(r'stroke="([^"]*)"', text)) == {"#1a1a1a"}
    assert set(re.findall(r'fill="([^"]*)"', text)) == {"none"}
    assert "transform" not in text


def test_equal_drawings_give_equal_bytes():
    assert write_svg(drawing()) == write_svg(drawing())


def test_path_data_of_a_rounded_rectangle_is_as_short_as_can_be():
    text = path_data(rounded_rectangle(40, 20, 5))
    assert text == (
        "M -20,5 A 5 5 0 0 0 -15,10 L 15,10 A 5 5 0 0 0 20,5 L 20,-5 A 5 5 0 0 0 15,-10"
        " L -15,-10 A 5 5 0 0 0 -20,-5 Z"
    )


def test_mirroring_flips_every_arc():
    outline = rounded_rectangle(40, 20, [1, 2, 3, 4])
    flags = re.findall(r"0 0 ([01])", path_data(outline))
    assert flags == ["0"] * 4
    assert re.findall(r"0 0 ([01])", path_data(outline.mirrored((1, 0)))) == ["1"] * 4


# check-values.md, section 6.2, the rows of circles: SVG 1.1, appendix F.6, and its example arcs01.
ARC_ROWS = [
    ((150, 200), 150, 1, 0, (300, 50), (300, 200), -270, 150),
    ((275, 25), 150, 0, 0, (125, 175), (275, 175), -90, 150),
    ((0, 10), 10, 0, 1, (10, 0), (10, 10), 90, 10),
    ((10, 0), 20, 0, 1, (30, 10), (12.583802, 19.832397), 67.975687, 20),
    ((0, 0), 3, 0, 1, (10, 0), (5, 0), 180, 5),
]


@pytest.mark.parametrize(
    ("start", "r", "wide", "sense", "end", "centre", "sweep", "grown"), ARC_ROWS
)
def test_arc_commands_have_the_published_centre_and_sweep(
    start, r, wide, sense, end, centre, sweep, grown
):
    found, radius, swept = arc_of(start, Step(end, r, bool(wide), bool(sense)))
    assert found == pytest.approx(centre, abs=5e-7)
    assert radius == pytest.approx(grown)
    assert math.degrees(swept) == pytest.approx(sweep, abs=5e-7)


def test_path_data_is_read_in_all_its_short_forms():
    (chain,) = chains("m0 0h10v-5.5a2 2 0 01-2,2L0-3z")
    assert chain.closed
    assert chain.points[:3] == [(0, 0), (10, 0), (10, -5.5)]
    assert chain.steps[2] == Step((8, -3.5), 2, False, True)
    assert chain.points[4:] == [(0, -3), (0, 0)]
    two = list(chains("M0,0 1,0 1,1z M5,5 l1e0,0 0,+1 z m 1 1 l 1 0 l 0 1 z"))
    assert [c.start for c in two] == [(0, 0), (5, 5), (6, 6)]


def test_basic_shapes_are_read_too():
    assert one('<circle cx="20" cy="20" r="10"/>').area == pytest.approx(math.pi * 100)
    assert one('<rect x="1" y="2" width="30" height="10"/>').area == pytest.approx(-300)
    rounded = one('<rect x="1" y="2" width="30" height="10" rx="2"/>')
    assert rounded.area == pytest.approx(-300 + (4 - math.pi) * 4)
    assert len(rounded.segments) == 8
    assert one('<polygon points="0,0 10,0 10,10"/>').area == pytest.approx(-50)


def test_transforms_are_applied_and_mirrors_flip_arcs():
    body = '<g transform="translate(5 5) scale(2)"><circle r="10" transform="rotate(30)"/></g>'
    found = one(body)
    assert found.area == pytest.approx(math.pi * 400)
    assert found.centroid == pytest.approx((5, -5))
    path = '<path transform="scale(-1 1)" d="M 10 0 A 10 10 0 0 1 0 10 L 0 0 Z"/>'
    found = one(path)
    assert found.area == pytest.approx(math.pi * 25)
    (arc,) = (s for s in found.segments if isinstance(s, Arc))
    assert arc.centre == pytest.approx((0, 0), abs=1e-12)


def test_the_unit_comes_from_the_file():
    box = 'viewBox="0 0 4 2"'
    body = '<rect width="1" height="1"/>'
    inches = read_svg(svg(body, f'width="4in" height="2in" {box}'))
    assert inches.unit == "in"
    assert inches.layers[0].outlines[0].area == pytest.approx(-(25.4**2))
    centimetres = read_svg(svg(body, f'width="4cm" height="2cm" {box}'))
    assert centimetres.layers[0].outlines[0].perimeter == pytest.approx(40)


def test_a_file_without_unit_needs_to_be_told():
    content = svg('<rect width="1" height="1"/>', 'width="400" height="200"')
    with pytest.raises(FileError, match="no unit"):
        read_svg(content)
    assert read_svg(content, unit="in").layers[0].outlines[0].perimeter == pytest.approx(4 * 25.4)


REFUSED = {
    "curve": '<path d="M0 0 C 1 1 2 2 3 3 Z"/>',
    "ellipse": '<ellipse rx="3" ry="2"/>',
    "oval arc": '<path d="M0 0 A 3 2 0 0 1 4 0 Z"/>',
    "oval transform": '<circle r="3" transform="scale(1 2)"/>',
    "skew": '<circle r="3" transform="skewX(20)"/>',
    "open with arcs": '<path d="M0 0 A 3 3 0 0 1 4 0 L 9 9"/>',
    "use": '<use href="#a"/>',
    "broken data": '<path d="M0 0 L 1 banana"/>',
    "per cent": '<rect width="10%" height="5"/>',
}


@pytest.mark.parametrize("body", REFUSED.values(), ids=REFUSED.keys())
def test_what_is_not_lines_and_arcs_is_refused_in_three_parts(body):
    with pytest.raises(FileError) as caught:
        read_svg(svg(body), where="part.svg")
    assert "part.svg" in caught.value.where
    assert caught.value.what
    assert caught.value.mend


def test_entity_bombs_outside_references_and_huge_files_are_refused():
    bomb = '<!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]><svg>&b;</svg>'
    with pytest.raises(FileError, match="entities"):
        read_svg(bomb.encode())
    outside = '<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]><svg>&a;</svg>'
    with pytest.raises(FileError, match="entities"):
        read_svg(outside.encode())
    with pytest.raises(FileError, match="too large"):
        read_svg(b" " * 20_000_001)


def test_more_steps_than_an_outline_can_have_are_refused(monkeypatch):
    from snugline.fit.drawing import path_data, svg_reading

    monkeypatch.setattr(path_data, "MAX_STEPS", 1000)
    monkeypatch.setattr(svg_reading, "MAX_STEPS", 1000)
    with pytest.raises(FileError, match="steps"):
        read_svg(svg(f'<path d="M0 0 {"l1 1 " * 1001}z"/>'))
    with pytest.raises(FileError, match="steps"):
        read_svg(svg('<path d="M0 0 l1 1 l1 0 z"/>' * 400))


@pytest.mark.parametrize("content", [b"", b"\x00\x01", b"<svg", b"<html/>", b"no xml"])
def test_what_is_no_svg_is_refused(content):
    with pytest.raises(FileError):
        read_svg(content)


def test_the_contract_is_verified_before_a_file_is_handed_over(monkeypatch):
    import snugline.fit.drawing.svg as module

    monkeypatch.setattr(module, "number", lambda value: f"{value:.2f}")
    with pytest.raises(FileError, match="differs from the drawing"):
        write_svg(drawing())


def test_a_drawing_of_nothing_is_refused():
    with pytest.raises(InputError, match="nothing is drawn"):
        write_svg(Drawing("empty", ()))


def test_straight_open_paths_are_strokes():
    (layer,) = read_svg(svg('<polyline points="0,0 1,1 2,0"/><line x2="3" y2="4"/>')).layers
    assert layer.strokes == (((0, 0), (1, -1), (2, 0)), ((0, 0), (3, -4)))
    assert [type(s) for o in layer.outlines for s in o.segments].count(Line) == 0


@pytest.mark.parametrize(
    ("dashes", "pattern"),
    [
        ("", "solid"),
        ("6 3", "dashed"),
        ("6,3", "dashed"),
        ("0.5 2", "dotted"),
        ("8 2 0.5 2", "dash-dot"),
        ("5 3", "dashed"),  # of another program
        ("1 1 1", "dashed"),
    ],
)
def test_dashes_are_read_as_the_pattern_they_are(dashes, pattern):
    body = f'<g><title>a</title><rect width="9" height="9" stroke-dasharray="{dashes}"/></g>'
    (layer,) = (one for one in read_svg(svg(body)).layers if one.outlines)
    assert layer.pattern == pattern
    # Twice the size, the same dashes in the file's own unit.
    head = 'width="200mm" height="100mm" viewBox="0 0 100 50"'
    halved = " ".join(f"{float(v) / 2:g}" for v in dashes.replace(",", " ").split())
    body = body.replace(dashes or "never", halved or "never")
    (layer,) = (one for one in read_svg(svg(body, head)).layers if one.outlines)
    assert layer.pattern == pattern


@pytest.mark.parametrize(
    ("corner", "area"),
    [
        ("", 600.0),
        ('rx="4"', 600 - (4 - math.pi) * 16),
        ('ry="4"', 600 - (4 - math.pi) * 16),
        ('rx="10" ry="40"', 600 - (4 - math.pi) * 100),  # half the height at most
    ],
)
def test_a_rectangle_has_the_corners_that_svg_gives_it(corner, area):
    """SVG 1.1, section 9.2: one radius stands for both, and neither is over half a side."""
    made = one(f'<rect x="3" y="7" width="30" height="20" {corner}/>')
    assert abs(made.area) == pytest.approx(area)
    assert made.bounds == pytest.approx((3, -27, 33, -7))


def test_a_rectangle_s_radii_end_each_at_half_its_own_side():
    with pytest.raises(FileError, match="elliptical arc of radii 15 and 10"):
        one('<rect width="30" height="20" rx="40"/>')


def test_what_is_not_shown_is_not_read():
    shown = '<rect width="9" height="9"/>'
    for hidden in ('display="none"', 'style="fill:none; display: none"'):
        body = f'{shown}<rect {hidden} width="30" height="20"/><g {hidden}>{shown}</g>'
        assert abs(one(body).area) == pytest.approx(81)


def test_an_open_path_with_arcs_is_refused_with_its_gap_in_mm():
    twice = 'width="200mm" height="100mm" viewBox="0 0 100 50"'
    with pytest.raises(FileError, match="ends are 40 mm apart"):
        read_svg(svg('<path d="M 10 20 A 10 10 0 0 1 30 20"/>', twice))
