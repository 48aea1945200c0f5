"""DXF files read back and audited by ezdxf, and the reader on what other programs write."""

import io
import math

import ezdxf
import pytest
from ezdxf import recover
from ezdxf.entitydb import EntityDB

from snugline.errors import FileError, InputError
from snugline.fit.drawing.drawing import Drawing, Layer, Note
from snugline.fit.drawing.dxf import bulges, r12_name, write_dxf
from snugline.fit.drawing.dxf_reading import read_dxf
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


def drawing(unit="mm"):
    part = Layer("part", tuple(OUTLINES.values()))
    pocket = Layer(
        "pocket 9.5 mm deep",
        (circle(5),),
        "dash-dot",
        strokes=(((0, 0), (1, 2), (3, 3)),),
        notes=(Note("0.25 mm, Buche ⌀", (1, 2), 4),),
    )
    return Drawing("slate tray", (part, pocket), unit)


def read_with_ezdxf(content):
    document, auditor = recover.read(io.BytesIO(content))
    assert not auditor.errors
    assert not auditor.fixes
    assert not document.audit().errors
    return document


def vertices(entity):
    if entity.dxftype() == "LWPOLYLINE":
        return [tuple(v) for v in entity.get_points("xyb")]
    return [(*v.dxf.location.vec2, v.dxf.bulge) for v in entity.vertices]


def measures(points):
    """Area and perimeter by the formulas of check-values.md, section 6.3."""
    area = perimeter = 0.0
    for (ax, ay, bulge), (bx, by, _) in zip(points, points[1:] + points[:1], strict=True):
        chord = math.hypot(bx - ax, by - ay)
        assert chord > 1e-6
        area += (ax * by - bx * ay) / 2
        perimeter += chord
        if bulge:
            radius = chord * (1 + bulge * bulge) / (4 * bulge)
            swept = 4 * math.atan(bulge)
            area += radius**2 / 2 * (swept - math.sin(swept))
            perimeter += radius * swept - chord
    return area, perimeter


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_a_whole_circle_is_a_circle_and_the_extents_are_those_of_what_is_drawn(version, unit):
    drawn = drawing(unit)
    document = read_with_ezdxf(write_dxf(drawn, version))
    size = {"mm": 1, "in": 25.4}[unit]
    circles = [c for o in OUTLINES.values() if (c := as_circle(o)) is not None]
    found = document.modelspace().query("CIRCLE[layer=='part']i")
    for entity, ((x, y), radius) in zip(found, circles, strict=True):
        assert entity.dxf.radius * size == pytest.approx(radius, rel=1e-12)
        assert [v * size for v in entity.dxf.center.vec2] == pytest.approx([x, y], abs=1e-9)
    low_x, low_y, high_x, high_y = (v / size for v in drawn.bounds)
    assert document.header["$EXTMIN"][:2] == pytest.approx((low_x, low_y))
    assert document.header["$EXTMAX"][:2] == pytest.approx((high_x, high_y))


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_the_extents_are_true_where_a_corner_is_the_origin(version):
    piece = Drawing("piece", (Layer("edge", (rounded_rectangle(20, 10).translated(10, 5),)),))
    document = read_with_ezdxf(write_dxf(piece, version))
    assert document.header["$EXTMIN"][:2] == pytest.approx((0, 0))
    assert document.header["$EXTMAX"][:2] == pytest.approx((20, 10))


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_ezdxf_finds_closed_polylines_of_the_same_area_and_perimeter(version, unit):
    document = read_with_ezdxf(write_dxf(drawing(unit), version))
    kind = {"R2010": "LWPOLYLINE", "R12": "POLYLINE"}[version]
    entities = document.modelspace().query(f"{kind}[layer=='part']i")
    paths = [o for o in OUTLINES.values() if as_circle(o) is None]
    size = {"mm": 1, "in": 25.4}[unit]
    for entity, outline in zip(entities, paths, strict=True):
        assert entity.is_closed
        points = vertices(entity)
        assert len(points) == len(outline.segments)
        area, perimeter = measures(points)
        assert area * size**2 == pytest.approx(outline.area, rel=1e-12)
        assert perimeter * size == pytest.approx(outline.perimeter, rel=1e-12)


@pytest.mark.parametrize(("unit", "code", "metric"), [("mm", 4, 1), ("in", 1, 0)])
def test_the_unit_stands_in_the_header(unit, code, metric):
    # DXF Reference: $INSUNITS 4 = mm, 1 = inch; $MEASUREMENT 1 = metric.
    content = write_dxf(drawing(unit))
    document = read_with_ezdxf(content)
    assert document.dxfversion == "AC1024"
    assert document.header["$INSUNITS"] == code
    assert document.header["$MEASUREMENT"] == metric
    assert f"Unit: {unit}." in document.header.custom_vars.get("Unit")
    r12 = write_dxf(drawing(unit), "R12")
    assert read_with_ezdxf(r12).dxfversion == "AC1009"
    for text in (content, r12):
        assert f"({unit})".encode() in text[:100]


def test_layers_are_told_apart_by_name_and_line_type_in_one_colour():
    document = read_with_ezdxf(write_dxf(drawing()))
    layers = {la.dxf.name: la for la in document.layers}
    assert layers["part"].dxf.linetype.upper() == "CONTINUOUS"
    assert layers["pocket 9.5 mm deep"].dxf.linetype == "DASHDOT"
    assert {layers[n].dxf.color for n in ("part", "pocket 9.5 mm deep")} == {7}
    for entity in document.modelspace():
        assert not entity.dxf.hasattr("color")
        assert not entity.dxf.hasattr("linetype")


def test_bulges_are_the_published_ones():
    # check-values.md, section 6.3: 90 degrees 0.414214, 180 degrees 1.
    assert {round(b, 6) for *_, b in bulges(rounded_rectangle(40, 20, 5))} == {0.414214, 0.0}
    assert [b for *_, b in bulges(circle(5))] == pytest.approx([1, 1])
    mirrored = bulges(circle(5).mirrored((1, 0)))
    assert [b for *_, b in mirrored] == pytest.approx([-1, -1])


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_our_own_reader_finds_what_was_drawn(version, unit):
    drawn = drawing(unit)
    found = read_dxf(write_dxf(drawn, version))
    assert (found.title, found.unit) == (drawn.title, unit)
    for one, other in zip(drawn.layers, found.layers, strict=True):
        assert other.name == (one.name if version == "R2010" else r12_name(one.name))
        assert other.pattern == one.pattern
        for a, b in zip(one.outlines, other.outlines, strict=True):
            assert b.area == pytest.approx(a.area, rel=1e-12)
            assert [type(s) for s in b.segments] == [type(s) for s in a.segments]
    assert sum(found.layers[1].strokes[0], ()) == pytest.approx((0, 0, 1, 2, 3, 3))
    assert found.layers[1].notes[0].text == drawn.layers[1].notes[0].text


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_equal_drawings_give_equal_bytes(version):
    assert write_dxf(drawing(), version) == write_dxf(drawing(), version)


def test_no_order_of_a_set_shows_in_the_bytes(monkeypatch):
    written = write_dxf(drawing())
    kinds = EntityDB.dxf_types_in_use
    for backwards in (False, True):
        monkeypatch.setattr(
            EntityDB,
            "dxf_types_in_use",
            lambda db, b=backwards: dict.fromkeys(sorted(kinds(db), reverse=b)),
        )
        assert write_dxf(drawing()) == written


def test_r12_names_that_fall_together_are_refused():
    layers = (
        Layer("pocket 1.5 mm deep and " + "x" * 20),
        Layer("pocket 1.5 mm deep and " + "x" * 30),
    )
    assert r12_name("Tiefe 9.5 mm") == "TIEFE_9P5_MM"
    with pytest.raises(InputError, match="R12"):
        write_dxf(Drawing("t", layers), "R12")


def made(build, unit=4):
    document = ezdxf.new("R2010", units=unit)
    build(document.modelspace())
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def one(content, **named):
    (outline,) = (o for la in read_dxf(content, **named).layers for o in la.outlines)
    return outline


def loose_rounded_rectangle(space):
    """Lines and arcs in no order and no common sense, ends up to 0.5 micrometres apart."""
    source = rounded_rectangle(100, 60, 10)
    for number in (3, 0, 6, 1, 7, 4, 2, 5):
        s = source.segments[number]
        if isinstance(s, Arc):
            start = math.degrees(math.atan2(s.start[1] - s.centre[1], s.start[0] - s.centre[0]))
            space.add_arc(s.centre, s.radius, start, start + 90)
        else:
            ends = (s.start, s.end) if number % 4 else (s.end, s.start)
            space.add_line((ends[0][0] + 5e-7, ends[0][1]), ends[1])


def test_loose_lines_and_arcs_are_chained():
    found = one(made(loose_rounded_rectangle))
    assert len(found.segments) == 8
    assert abs(found.area) == pytest.approx(100 * 60 - (4 - math.pi) * 100, abs=1e-3)


def test_circles_and_polylines_of_other_programs_are_read():
    assert one(made(lambda s: s.add_circle((1, 2), 5))).area == pytest.approx(25 * math.pi)
    # Closed by a last vertex on the first instead of by the flag, one vertex twice.
    points = [(0, 0, 0), (10, 0, 0), (10, 0, 1), (10, 10, 0), (0, 10, 0), (0, 0, 0)]
    found = one(made(lambda s: s.add_lwpolyline(points, format="xyb")))
    assert len(found.segments) == 4
    assert found.area == pytest.approx(100 + math.pi * 25 / 2)


@pytest.mark.parametrize(("code", "size"), [(1, 25.4), (4, 1), (5, 10), (6, 1000)])
def test_units_are_taken_from_the_header(code, size):
    found = one(made(lambda s: s.add_circle((0, 0), 1), code))
    assert found.perimeter == pytest.approx(2 * math.pi * size)


def test_a_file_without_unit_needs_to_be_told():
    content = made(lambda s: s.add_circle((0, 0), 1), 0)
    with pytest.raises(FileError, match="unit"):
        read_dxf(content)
    assert one(content, unit="in").bounds[2] == pytest.approx(25.4)


REFUSED = {
    "spline": lambda s: s.add_spline([(0, 0), (1, 1), (2, 0)]),
    "ellipse": lambda s: s.add_ellipse((0, 0), (2, 0), 0.5),
    "open arcs": lambda s: s.add_lwpolyline([(0, 0, 1), (5, 0, 0), (9, 9, 0)], format="xyb"),
    "lone line": lambda s: s.add_line((0, 0), (1, 1)),
    "gap": lambda s: (s.add_line((0, 0), (1, 1)), s.add_line((1, 1.01), (0, 0))),
    "space": lambda s: s.add_polyline3d([(0, 0, 0), (1, 1, 1), (2, 0, 5)]),
    "upside down": lambda s: s.add_circle((0, 0), 1, dxfattribs={"extrusion": (0, 0, -1)}),
}


@pytest.mark.parametrize("build", REFUSED.values(), ids=REFUSED.keys())
def test_what_is_not_closed_lines_and_arcs_is_refused_in_three_parts(build):
    with pytest.raises(FileError) as caught:
        read_dxf(made(build), where="part.dxf")
    assert "part.dxf" in caught.value.where
    assert caught.value.mend


@pytest.mark.parametrize("content", [b"", b"\x00" * 50, b"no dxf at all", b"  0\nSECTION\n"])
def test_what_is_no_dxf_is_refused(content):
    with pytest.raises(FileError):
        read_dxf(content)


def test_huge_files_are_refused():
    with pytest.raises(FileError, match="too large"):
        read_dxf(b" " * 20_000_001)


def test_the_contract_is_verified_before_a_file_is_handed_over(monkeypatch):
    import snugline.fit.drawing.dxf as module

    monkeypatch.setattr(module, "bulges", lambda o: [(*s.start, 0.4) for s in o.segments])
    with pytest.raises(FileError, match="differs from the drawing"):
        write_dxf(drawing())
