"""What holds for any input: readers read or refuse, drawings come back, parallels keep away."""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from snugline.desk.job import inspect_record
from snugline.errors import SnuglineError
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.drawing.dxf import write_dxf
from snugline.fit.drawing.dxf_reading import read_dxf
from snugline.fit.drawing.svg import write_svg
from snugline.fit.drawing.svg_reading import read_svg
from snugline.fit.geometry.outline import outline_from_json, polygon_of
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import filleted_polygon
from snugline.lengths import format_length, parse_length
from snugline.trace.contour import Contour
from snugline.trace.sheet.builtin_sheets import builtin_description
from snugline.trace.sheet.frame_description import frame_from_record
from snugline.untrusted import parsed_json, parsed_toml

fast = settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))

VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4)
    ),
    max_leaves=12,
)
TABLES = ["part", "frame", "photo", "reading", "leave_out", "pocket", "output", "camera"]
KEYS = ["name", "thickness", "file", "shows", "what", "value", "values", "tool", "clearance"]
KEYS += ["description", "bar_x", "cutter", "notch", "wood", "stock", "at", "within", "photo"]
WORDS = ["9.5 mm", "left end", "length", "tape", "border-a4", "-1 mm", "0 mm", "1e9 mm", "a.jpg"]
ENTRIES = st.dictionaries(st.sampled_from(KEYS), st.sampled_from(WORDS) | VALUES, max_size=5)
JOBS = st.dictionaries(
    st.sampled_from(TABLES), ENTRIES | st.lists(ENTRIES, max_size=3) | VALUES, max_size=6
)


def read_or_refused(read, *arguments):
    """What it gives; None where it is refused in three parts. Anything else is a fault."""
    try:
        return read(*arguments)
    except SnuglineError as error:
        refused = error
    assert str(refused.what)
    assert str(refused.mend)
    return None


@fast
@given(st.text(max_size=300) | st.text("[]{}=.,'\"\\\n #ab1", max_size=300))
def test_any_text_is_toml_or_refused(text):
    record = read_or_refused(parsed_toml, text.encode("utf-8", "surrogatepass"), "job.toml")
    assert record is None or isinstance(record, dict)


@fast
@given(st.binary(max_size=300))
def test_any_bytes_are_toml_and_json_or_refused(content):
    read_or_refused(parsed_toml, content, "job.toml")
    read_or_refused(parsed_json, content, "result.json")


@fast
@given(JOBS)
def test_any_record_is_a_job_or_has_faults_with_their_place(tmp_path_factory, record):
    path = tmp_path_factory.getbasetemp() / "job.toml"
    job, faults = inspect_record(record, path, boxed=True)
    assert job is not None or faults
    for fault in faults:
        assert fault.where
        assert str(fault.mend)


@fast
@given(st.data())
def test_a_frame_with_any_value_in_it_is_read_or_refused_by_its_key(data):
    record = builtin_description("border-a4")
    key = data.draw(st.sampled_from(sorted(record)))
    record[key] = data.draw(VALUES | st.lists(st.lists(st.floats(), max_size=3), max_size=5))
    frame = read_or_refused(frame_from_record, record, "frame.json")
    assert frame is None or frame.name == str(record["name"])


@fast
@given(st.dictionaries(st.text(max_size=12), VALUES, max_size=8), VALUES)
def test_any_record_is_a_contour_or_refused(record, points):
    read_or_refused(Contour.from_json, record, "contour.json")
    whole = {"schema": "snugline/contour/2", "points": points, "closed": True, **record}
    read_or_refused(Contour.from_json, whole, "contour.json")


@fast
@given(st.lists(st.dictionaries(st.sampled_from(["kind", "from", "to", "radius"]), VALUES)))
def test_any_segments_are_an_outline_or_refused(records):
    read_or_refused(outline_from_json, records)


@fast
@given(st.floats(-9e4, 9e4), st.sampled_from(["mm", "in"]))
def test_a_length_comes_back_as_it_was_written(mm, unit):
    decimals = 9
    back = parse_length(format_length(mm, unit, decimals))
    assert back == pytest.approx(mm, abs=26 * 10.0**-decimals)


@st.composite
def outlines(draw):
    """Convex outlines of lines and arcs: corners on an ellipse, each rounded."""
    count = draw(st.integers(3, 8))
    step = 2 * math.pi / count
    angles = [(k + draw(st.floats(-0.25, 0.25))) * step for k in range(count)]
    a, b = draw(st.floats(30, 300)), draw(st.floats(30, 300))
    corners = [(a * math.cos(t), b * math.sin(t)) for t in angles]
    sides = [math.dist(p, q) for p, q in zip(corners, corners[1:] + corners[:1], strict=True)]
    shape = shapely.Polygon(corners)
    radius = draw(st.floats(0.05, 0.6)) * shapely.maximum_inscribed_circle(shape).length
    radius = min(radius, 0.2 * min(sides))
    return filleted_polygon(corners, max(radius, 0.5))


@fast
@given(outlines(), st.sampled_from(["mm", "in"]), st.sampled_from(["svg", "dxf", "r12"]))
def test_a_drawing_comes_back_as_it_was_written(outline, unit, kind):
    drawing = Drawing("part", (Layer("outline", (outline,)),), unit)
    if kind == "svg":
        back = read_svg(write_svg(drawing), None, "part.svg")
    else:
        version = "R12" if kind == "r12" else "R2010"
        back = read_dxf(write_dxf(drawing, version), unit, "part.dxf")
    (layer,) = [one for one in back.layers if one.outlines]
    (found,) = layer.outlines
    assert back.unit == unit
    assert len(found.segments) == len(outline.segments)
    assert found.area == pytest.approx(outline.area, rel=1e-7)
    assert found.bounds == pytest.approx(outline.bounds, abs=1e-5)


@fast
@given(outlines(), st.floats(0.05, 20))
def test_a_parallel_outline_keeps_its_distance_and_its_area(outline, gap):
    """Outwards a convex outline gains perimeter * gap + pi gap^2 (Steiner's formula)."""
    (outer,) = parallel(outline, gap)
    perimeter = sum(segment.length for segment in outline.segments)
    assert outer.area == pytest.approx(outline.area + perimeter * gap + math.pi * gap**2, rel=1e-9)
    edge = polygon_of(outline, 1e-5).exterior
    away = shapely.distance(shapely.points(outer.sampled(1.0)), edge)
    assert np.abs(away - gap).max() < 1e-4
    assert json.dumps(outer.as_json(), allow_nan=False)


@fast
@given(outlines(), st.floats(0.05, 0.9))
def test_out_and_back_in_is_the_same_outline(outline, gap):
    (outer,) = parallel(outline, gap)
    (back,) = parallel(outer, -gap)
    assert back.area == pytest.approx(outline.area, rel=1e-9)
    assert back.bounds == pytest.approx(outline.bounds, abs=1e-7)
