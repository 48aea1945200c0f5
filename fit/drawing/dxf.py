"""Drawings as DXF: one closed polyline per outline, arcs as bulges; a full circle is a CIRCLE.

R2010 (LWPOLYLINE), or R12 (POLYLINE) for very old programs. The unit is in `$INSUNITS` and
`$MEASUREMENT`; R12 has neither, so both kinds also open with comments (group
code 999) that state title and unit.
"""

import io
import logging
import math
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any, Literal

from snugline.errors import InputError
from snugline.fit.drawing.contract import verify
from snugline.fit.drawing.drawing import PATTERNS, Drawing, Layer, Pattern, Unit
from snugline.fit.geometry.outline import Arc, Outline
from snugline.fit.geometry.primitives import as_circle

Version = Literal["R2010", "R12"]

LINE_TYPES: dict[Pattern, str] = {
    "solid": "CONTINUOUS",
    "dashed": "DASHED",
    "dotted": "DOTTED",
    "dash-dot": "DASHDOT",
}
INSUNITS: dict[Unit, int] = {"mm": 4, "in": 1}

_BLACK = 7  # the pen's own colour: black on a white ground

# ezdxf takes the wish for constant dates and ids from one global option.
_ezdxf_options = threading.Lock()


def write_dxf(drawing: Drawing, version: Version = "R2010") -> bytes:
    """The drawing as a DXF file; equal drawings give equal bytes.

    Parameters
    ----------
    version : `R12` also shortens layer names to what R12 allows: 31 capitals, digits and _.

    Raises
    ------
    InputError : nothing is drawn, or two layers have one name after shortening.
    FileError : the file, read back, does not hold what was drawn.
    """
    from ezdxf import new  # type: ignore[attr-defined]

    from snugline.fit.drawing.dxf_reading import read_sound_dxf

    if version == "R12":
        drawing = _with_r12_names(drawing)
    with _quiet_and_constant():
        document = new(version)
        _fill(document, drawing, version)
        # Left to itself, ezdxf lists the kinds of entities in the order of a set.
        for kind in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(kind)
        stream = io.StringIO()
        document.write(stream)
    remarks = f"  999\n{drawing.title} ({drawing.unit})\n  999\n{drawing.unit_remark}\n"
    content = bytes(document.encode(remarks + stream.getvalue()))
    verify(drawing, read_sound_dxf(content, document.output_encoding), f"DXF ({version})")
    return content


def bulges(outline: Outline) -> list[tuple[float, float, float]]:
    """Each vertex's x and y, and the bulge, tan(sweep / 4), of the segment that starts there."""
    return [
        (*s.start, math.tan(s.sweep / 4) if isinstance(s, Arc) else 0.0) for s in outline.segments
    ]


def _fill(document: Any, drawing: Drawing, version: Version) -> None:
    per_unit = drawing.mm_per_unit
    low_x, low_y, high_x, high_y = (v / per_unit for v in drawing.bounds)
    space = document.modelspace()
    # Written from the layout, or where a corner is the origin from the header itself; left alone,
    # they say that nothing is drawn.
    space.reset_extents((low_x, low_y, 0.0), (high_x, high_y, 0.0))
    document.header["$EXTMIN"] = (low_x, low_y, 0.0)
    document.header["$EXTMAX"] = (high_x, high_y, 0.0)
    if version != "R12":
        document.header["$INSUNITS"] = INSUNITS[drawing.unit]
        document.header["$MEASUREMENT"] = int(drawing.unit == "mm")
        document.header.custom_vars.append("Title", drawing.title)
        document.header.custom_vars.append("Unit", drawing.unit_remark)
    for pattern, name in LINE_TYPES.items():
        if pattern != "solid":
            lengths = [v / per_unit for v in PATTERNS[pattern]]
            signed = [-v if k % 2 else v for k, v in enumerate(lengths)]
            document.linetypes.add(name, [sum(lengths), *signed], description=pattern)
    for layer in drawing.layers:
        document.layers.add(layer.name, color=_BLACK, linetype=LINE_TYPES[layer.pattern])
        _add(space, layer, per_unit, version)


def _add(space: Any, layer: Layer, per_unit: float, version: Version) -> None:
    add = space.add_polyline2d if version == "R12" else space.add_lwpolyline
    attributes = {"layer": layer.name}
    for outline in layer.outlines:
        if (round_hole := as_circle(outline)) is not None:
            (x, y), radius = round_hole
            centre = (x / per_unit, y / per_unit)
            space.add_circle(centre, radius / per_unit, dxfattribs=attributes)
            continue
        points = [(x / per_unit, y / per_unit, bulge) for x, y, bulge in bulges(outline)]
        add(points, format="xyb", close=True, dxfattribs=attributes)
    for stroke in layer.strokes:
        points = [(x / per_unit, y / per_unit, 0.0) for x, y in stroke]
        add(points, format="xyb", close=False, dxfattribs=attributes)
    for note in layer.notes:
        text = space.add_text(note.text, height=note.height / per_unit, dxfattribs=attributes)
        text.set_placement((note.at[0] / per_unit, note.at[1] / per_unit))


@contextmanager
def _quiet_and_constant() -> Iterator[None]:
    """Let ezdxf write constant dates and ids, and not remark on what R12 cannot hold."""
    from ezdxf import options  # type: ignore[attr-defined]

    log = logging.getLogger("ezdxf")
    with _ezdxf_options:
        dates, level = options.write_fixed_meta_data_for_testing, log.level
        options.write_fixed_meta_data_for_testing = True
        log.setLevel(logging.ERROR)
        try:
            yield
        finally:
            options.write_fixed_meta_data_for_testing = dates
            log.setLevel(level)


def _with_r12_names(drawing: Drawing) -> Drawing:
    layers = tuple(replace(layer, name=r12_name(layer.name)) for layer in drawing.layers)
    try:
        return replace(drawing, layers=layers)
    except InputError as error:
        raise InputError(
            f"{error.what}, shortened for R12",
            "drawing",
            "let the names differ in their first 31 characters, or write R2010",
        ) from error


def r12_name(name: str) -> str:
    """A layer's name in the letters that R12 allows; a decimal point becomes P.

    >>> r12_name("pocket 9.5 mm deep")
    'POCKET_9P5_MM_DEEP'
    """
    plain = re.sub(r"(?<=\d)\.(?=\d)", "P", name).upper()
    return re.sub(r"[^A-Z0-9$_-]", "_", plain)[:31]
