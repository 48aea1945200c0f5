"""A frame to engrave on a board and fill dark: closed outlines in SVG and DXF, at true size.

Layers differ by name and line pattern. Marker fields and a dark window are to be engraved
inside their outline; bars are lines to be followed; a white window's outline is only a guide.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from io import StringIO
from typing import Any

import numpy as np
import svgwrite
from ezdxf import units
from ezdxf.filemanagement import new
from numpy.typing import NDArray

from snugline.trace.sheet.frame_description import Frame
from snugline.trace.sheet.marker_shape import dark_fields, marker_frame
from snugline.trace.sheet.sheet_print import bar_lines

STROKE = "#202020"
STROKE_MM = 0.1
TEXT_MM = 3.0


@dataclass(frozen=True)
class Layer:
    """A layer's name, its dashes in mm (SVG) and its line type (DXF)."""

    name: str
    dashes: str
    line_type: str


FIELDS = Layer("marker fields", "", "CONTINUOUS")
WINDOW = Layer("window", "4 2", "DASHED")
BARS = Layer("bars", "6 1.5 1 1.5", "DASHDOT")
TEXT = Layer("text", "1 1", "DOT")
LAYERS = (FIELDS, WINDOW, BARS, TEXT)


def engraved_svg(description: dict[str, Any]) -> str:
    """A frame's description as SVG, in mm.

    Raises
    ------
    InputError : the description is not that of a frame of markers.
    """
    frame = marker_frame(description)
    width, height = frame.sheet
    drawing = svgwrite.Drawing(
        size=(f"{width:g}mm", f"{height:g}mm"), viewBox=f"0 0 {width:g} {height:g}", debug=False
    )
    groups = {}
    for layer in LAYERS:
        group = drawing.g(
            id=layer.name.replace(" ", "-"), fill="none", stroke=STROKE, stroke_width=STROKE_MM
        )
        group.set_desc(title=layer.name)
        if layer.dashes:
            group["stroke-dasharray"] = layer.dashes
        groups[layer] = drawing.add(group)
    for layer, points, closed in _paths(frame):
        turned = [f"{x:.6g},{height - y:.6g}" for x, y in points]
        path = "M " + " L ".join(turned) + (" Z" if closed else "")
        groups[layer].add(drawing.path(d=path))
    x, y = _text_place(frame)
    groups[TEXT].add(
        drawing.text(
            frame.name, insert=(f"{x:.6g}", f"{height - y:.6g}"), font_size=TEXT_MM,
            font_family="sans-serif", fill=STROKE, stroke="none",
        )
    )  # fmt: skip
    return '<?xml version="1.0" encoding="utf-8"?>\n' + str(drawing.tostring()) + "\n"


def engraved_dxf(description: dict[str, Any]) -> str:
    """A frame's description as DXF (R2000, ASCII), in mm.

    Raises
    ------
    InputError : the description is not that of a frame of markers.
    """
    frame = marker_frame(description)
    document = new("R2000", setup=["linetypes"], units=units.MM)
    document.header["$MEASUREMENT"] = 1  # metric line patterns
    for layer in LAYERS:
        document.layers.add(layer.name, linetype=layer.line_type)
    space = document.modelspace()
    for layer, points, closed in _paths(frame):
        attributes = {"layer": layer.name}
        if len(points) == 2:
            space.add_line(points[0], points[1], dxfattribs=attributes)
        else:
            space.add_lwpolyline(points.tolist(), close=closed, dxfattribs=attributes)
    space.add_text(
        frame.name, height=TEXT_MM, dxfattribs={"layer": TEXT.name, "insert": _text_place(frame)}
    )
    stream = StringIO()
    document.write(stream)
    return stream.getvalue()


def _paths(frame: Frame) -> Iterator[tuple[Layer, NDArray[np.float64], bool]]:
    """Each path with its layer and whether it is closed, mm from the sheet's lower left corner."""
    for fields in dark_fields(frame):
        for rings in fields:
            for ring in rings:
                yield FIELDS, ring, True
    yield WINDOW, frame.window, True
    for bar in frame.bars.values():
        for line in bar_lines(bar):
            yield BARS, line, False


def _text_place(frame: Frame) -> tuple[float, float]:
    left, _ = frame.window.min(axis=0)
    _, top = frame.window.max(axis=0)
    return float(left), float(top) + TEXT_MM / 2
