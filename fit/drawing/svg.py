"""Drawings as SVG: true size, one closed path per outline, true arcs.

The root's width and height carry the unit and the viewBox the same numbers, so that one user
unit is one millimetre or inch. x is the part's own; y points down in SVG and is negated.
"""

import math
import re
from xml.etree.ElementTree import Element, SubElement, tostring

from snugline.fit.drawing.contract import verify
from snugline.fit.drawing.drawing import (
    PATTERNS,
    STROKE,
    STROKE_WIDTH,
    Drawing,
    Layer,
    number,
)
from snugline.fit.geometry.outline import Arc, Outline, Point
from snugline.fit.geometry.primitives import as_circle

_MARGIN = 2.0  # mm round the drawing, so that no line is cut off

_HALF_TURN_TOL = 3e-7
"""rad; nearer to half a turn an arc is written as a half arc.

There the centre hangs on the rounding of the ends; a radius a trifle too small makes every
reader put it in the middle of the chord (SVG 1.1, F.6.6: such radii are enlarged until they fit).
"""


def write_svg(drawing: Drawing) -> bytes:
    """The drawing as an SVG file; equal drawings give equal bytes.

    Raises
    ------
    InputError : nothing is drawn.
    FileError : the file, read back, does not hold what was drawn.
    """
    from snugline.fit.drawing.svg_reading import read_svg

    per_unit = drawing.mm_per_unit
    low_x, low_y, high_x, high_y = drawing.bounds
    left, top = (low_x - _MARGIN) / per_unit, -(high_y + _MARGIN) / per_unit
    width = (high_x - low_x + 2 * _MARGIN) / per_unit
    height = (high_y - low_y + 2 * _MARGIN) / per_unit
    page = Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "version": "1.1",
            "width": number(width) + drawing.unit,
            "height": number(height) + drawing.unit,
            "viewBox": " ".join(map(number, (left, top, width, height))),
        },
    )
    SubElement(page, "title").text = f"{drawing.title} ({drawing.unit})"
    SubElement(page, "desc").text = drawing.unit_remark
    for position, layer in enumerate(drawing.layers, start=1):
        _add(page, f"layer-{position}-{re.sub('[^A-Za-z0-9.]+', '-', layer.name)}", layer, per_unit)
    content = bytes(tostring(page, encoding="utf-8", xml_declaration=True)) + b"\n"
    verify(drawing, read_svg(content), "SVG")
    return content


def _add(page: Element, name: str, layer: Layer, per_unit: float) -> None:
    """One layer as a group with its name as title."""
    width = number(STROKE_WIDTH / per_unit)
    style = {"id": name, "fill": "none", "stroke": STROKE, "stroke-width": width}
    if layer.pattern != "solid":
        lengths = [number(length / per_unit) for length in PATTERNS[layer.pattern]]
        style["stroke-dasharray"] = " ".join(lengths)
    group = SubElement(page, "g", style)
    SubElement(group, "title").text = layer.name
    for outline in layer.outlines:
        if (round_hole := as_circle(outline)) is not None:
            centre, radius = round_hole
            x, y = map(number, _place(centre, per_unit))
            SubElement(group, "circle", {"cx": x, "cy": y, "r": number(radius / per_unit)})
        else:
            SubElement(group, "path", {"d": path_data(outline, per_unit)})
    for stroke in layer.strokes:
        data = "M " + " L ".join(_pair(point, per_unit) for point in stroke)
        SubElement(group, "path", {"d": data})
    for note in layer.notes:
        x, y = map(number, _place(note.at, per_unit))
        style = {
            "x": x,
            "y": y,
            "font-size": number(note.height / per_unit),
            "font-family": "sans-serif",
            "stroke-width": number(0.1 / per_unit),
            "stroke-dasharray": "none",
        }
        SubElement(group, "text", style).text = note.text


def path_data(outline: Outline, per_unit: float = 1.0) -> str:
    """The `d` of one closed path; a straight last segment is drawn by the closing Z."""
    steps = [f"M {_pair(outline.segments[0].start, per_unit)}"]
    for segment in outline.segments:
        if isinstance(segment, Arc):
            radius = number(_radius(segment, per_unit))
            wide = int(abs(segment.sweep) > math.pi + _HALF_TURN_TOL)
            # Counter-clockwise with y up is the negative sense with y down.
            sense = int(segment.sweep < 0)
            end = _pair(segment.end, per_unit)
            steps.append(f"A {radius} {radius} 0 {wide} {sense} {end}")
        elif segment is not outline.segments[-1]:
            steps.append(f"L {_pair(segment.end, per_unit)}")
    return " ".join([*steps, "Z"])


def _radius(arc: Arc, per_unit: float) -> float:
    if abs(abs(arc.sweep) - math.pi) < _HALF_TURN_TOL:
        half_chord = math.dist(arc.start, arc.end) / 2
        return math.floor(half_chord / per_unit * 1e9) / 1e9
    return arc.radius / per_unit


def _place(point: Point, per_unit: float) -> Point:
    return point[0] / per_unit, -point[1] / per_unit


def _pair(point: Point, per_unit: float) -> str:
    x, y = _place(point, per_unit)
    return f"{number(x)},{number(y)}"
