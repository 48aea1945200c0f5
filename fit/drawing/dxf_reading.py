"""Drawings from DXF: closed polylines with bulges, circles, and chains of lines and arcs."""

import io
import math
import re
from dataclasses import dataclass, field
from typing import Any

from snugline.errors import FileError, FitError, SnuglineError
from snugline.fit.drawing.drawing import Drawing, Layer, Note, Pattern, Unit, usable_name
from snugline.fit.geometry.outline import Arc, Line, Outline, Point, arc_from_bulge
from snugline.fit.geometry.primitives import circle

MAX_BYTES = 20_000_000
MAX_ENTITIES = 20_000

SNAP_TOL = 1e-6
"""mm; vertices of one polyline closer than this are one."""

GAP_TOL = 1e-3
"""mm; ends of separate lines and arcs closer than this are joined."""

_MM_PER_CODE = {1: 25.4, 4: 1.0, 5: 10.0, 6: 1000.0}

# Entities about the drawing that are not part of its shape.
_REMARKS = {"POINT", "DIMENSION", "LEADER", "MULTILEADER", "VIEWPORT", "HATCH", "XLINE", "RAY"}


def read_dxf(content: bytes, unit: Unit | None = None, where: str = "DXF file") -> Drawing:
    """The drawing that a DXF file holds.

    Parameters
    ----------
    content : the file, of any version.
    unit : for a file that states none.
    where : names the file in errors.

    Raises
    ------
    FileError : no DXF, too large, no unit, curves other than lines and circular arcs, or lines
        and arcs that do not close.
    """
    return _held(_recovered(content, where), content, unit, where)


def read_sound_dxf(content: bytes, encoding: str, where: str = "DXF file") -> Drawing:
    """The drawing that a DXF file holds which needs no repair, such as one just written.

    Parameters
    ----------
    content : the file, its unit stated.
    encoding : of its text.

    Raises
    ------
    FileError : as from `read_dxf`, and for anything that only a repair could read.
    """
    from ezdxf import decode_dxf_unicode, read  # type: ignore[attr-defined]

    try:
        document = read(io.StringIO(decode_dxf_unicode(content.decode(encoding))))
    except Exception as error:  # as in _recovered
        raise FileError("it is not a sound DXF file", where, "export it again") from error
    return _held(document, content, None, where)


def _held(document: Any, content: bytes, unit: Unit | None, where: str) -> Drawing:
    mm, own_unit = _scale(document, content, unit, where)
    found: dict[str, _Contents] = {}
    # A layer of our own is kept in the drawing even where it is empty.
    for row in document.layers:
        if row.dxf.name.casefold() not in ("0", "defpoints"):
            found[row.dxf.name] = _Contents(_pattern(row.dxf.get("linetype", "")))
    for count, entity in enumerate(document.modelspace(), start=1):
        if count > MAX_ENTITIES:
            raise FileError(
                f"it holds more than {MAX_ENTITIES} entities", where, "give the outline alone"
            )
        attributes = entity.dxfattribs()
        layer = str(attributes.get("layer", "0"))
        contents = found.setdefault(layer, _Contents("solid"))
        place = f"{where}, {entity.dxftype()} {attributes.get('handle', '')} on layer {layer}"
        try:
            _take(entity, mm, contents)
        except SnuglineError as error:
            raise FileError(error.what, place, error.mend) from error
        except Exception as error:  # as above: an entity with parts missing
            raise FileError("it is broken", place, "draw it again") from error
    layers = []
    for name, contents in found.items():
        try:
            contents.outlines += chained(contents.loose)
        except SnuglineError as error:
            raise FileError(error.what, f"{where}, layer {name}", error.mend) from error
        c = contents
        layers.append(
            Layer(usable_name(name), tuple(c.outlines), c.pattern, tuple(c.strokes), tuple(c.notes))
        )
    title = _remark(content, r"^(.*) \((?:mm|in)\)$") or "untitled"
    return Drawing(title, tuple(layers), own_unit)


def _recovered(content: bytes, where: str) -> Any:
    from ezdxf import recover

    if len(content) > MAX_BYTES:
        raise FileError(
            f"{len(content) / 1e6:.0f} MB is too large for an outline",
            where,
            f"give a file below {MAX_BYTES // 1_000_000} MB with the outline alone",
        )
    try:
        document, _ = recover.read(io.BytesIO(content))
    # A broken file makes the reader fail in many ways, which need not be distinguished here.
    except Exception as error:
        raise FileError("it is not a readable DXF file", where, "give a whole DXF file") from error
    return document


def _scale(document: Any, content: bytes, unit: Unit | None, where: str) -> tuple[float, Unit]:
    code = int(document.header.get("$INSUNITS", 0))
    if document.dxfversion < "AC1015":
        # Older versions have no such variable; ours give it in a comment.
        code = {"mm": 4, "in": 1}.get(_remark(content, r"^Unit: (mm|in)\."), 0)
    if code in _MM_PER_CODE:
        return _MM_PER_CODE[code], "in" if code == 1 else "mm"
    if unit is None:
        raise FileError(
            f"it states no unit that is known ($INSUNITS {code})",
            where,
            "say whether it is in mm or in",
        )
    return {"mm": 1.0, "in": 25.4}[unit], unit


def _remark(content: bytes, pattern: str) -> str:
    """What a pattern finds in the comments at the file's start."""
    head = content[:2000].decode("utf-8", "replace").replace("\r", "")
    for line in re.findall(r"^ *999\n(.*)$", head, re.MULTILINE):
        match = re.match(pattern, line)
        if match:
            return str(match[1])
    return ""


def _pattern(line_type: str) -> Pattern:
    name = line_type.upper()
    if "DASHDOT" in name:
        return "dash-dot"
    if "DASH" in name or "HIDDEN" in name:
        return "dashed"
    return "dotted" if "DOT" in name else "solid"


@dataclass
class _Contents:
    pattern: Pattern
    outlines: list[Outline] = field(default_factory=list)
    strokes: list[tuple[Point, ...]] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    loose: list[Line | Arc] = field(default_factory=list)


def _take(entity: Any, mm: float, contents: _Contents) -> None:
    kind = entity.dxftype()
    if kind in _REMARKS:
        return
    if entity.dxf.hasattr("extrusion") and tuple(entity.dxf.extrusion) != (0.0, 0.0, 1.0):
        raise FitError("it lies in a plane of its own", kind, "draw it flat, as seen from above")

    def place(v: Any) -> Point:
        return float(v[0]) * mm, float(v[1]) * mm

    if kind in ("LWPOLYLINE", "POLYLINE"):
        _take_polyline(entity, place, contents)
    elif kind == "CIRCLE":
        contents.outlines.append(circle(entity.dxf.radius * mm, place(entity.dxf.center)))
    elif kind == "LINE":
        start, end = place(entity.dxf.start), place(entity.dxf.end)
        if math.dist(start, end) > SNAP_TOL:
            contents.loose.append(Line(start, end))
    elif kind == "ARC":
        centre, radius = place(entity.dxf.center), entity.dxf.radius * mm
        first = math.radians(entity.dxf.start_angle)
        # An arc of DXF runs counter-clockwise.
        sweep = (math.radians(entity.dxf.end_angle) - first) % (2 * math.pi)

        def at(angle: float) -> Point:
            return centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)

        contents.loose.append(Arc(at(first), at(first + sweep), centre, radius, sweep))
    elif kind in ("TEXT", "MTEXT"):
        text = entity.dxf.text if kind == "TEXT" else entity.plain_text()
        text = "".join(c for c in " ".join(text.split()) if c.isprintable())
        height = entity.dxf.height if kind == "TEXT" else entity.dxf.char_height
        if text:
            contents.notes.append(Note(text, place(entity.dxf.insert), height * mm))
    else:
        raise FitError(
            f"a {kind} is not made of lines and circular arcs",
            kind,
            "turn it into a polyline with arcs in the program it came from, or delete it",
        )


def _take_polyline(entity: Any, place: Any, contents: _Contents) -> None:
    if entity.dxftype() == "LWPOLYLINE":
        closed = bool(entity.closed)
        vertices = [(place(v), float(v[2])) for v in entity.get_points("xyb")]
    elif entity.is_2d_polyline:
        closed = bool(entity.is_closed)
        vertices = [(place(v.dxf.location), float(v.dxf.bulge)) for v in entity.vertices]
    else:
        raise FitError("a polyline in space or a mesh", "POLYLINE", "draw it flat")
    if len(vertices) > 1 and math.dist(vertices[0][0], vertices[-1][0]) <= SNAP_TOL:
        closed = True
        vertices.pop()
    points = [p for p, _ in vertices]
    if not closed:
        if any(bulge for _, bulge in vertices[:-1]):
            gap = math.dist(points[0], points[-1])
            raise FitError(
                f"an open polyline with arcs; its ends are {gap:.3g} mm apart",
                entity.dxftype(),
                "close the polyline",
            )
        if len(points) > 1:
            contents.strokes.append(tuple(points))
        return
    segments: list[Line | Arc] = []
    kept = [
        (point, bulge)
        for (point, bulge), after in zip(vertices, points[1:] + points[:1], strict=True)
        if math.dist(point, after) > SNAP_TOL
    ]
    for (start, bulge), (end, _) in zip(kept, kept[1:] + kept[:1], strict=True):
        segments.append(arc_from_bulge(start, end, bulge) if bulge else Line(start, end))
    if segments:
        contents.outlines.append(Outline(tuple(segments)))


def chained(loose: list[Line | Arc]) -> list[Outline]:
    """Closed outlines of separate segments, each turned round where it has to be.

    Raises
    ------
    FitError : an end with no other within `GAP_TOL`.
    """
    left = list(loose)
    outlines = []
    while left:
        chain = [left.pop(0)]
        while math.dist(chain[-1].end, chain[0].start) > GAP_TOL or len(chain) < 2:
            end = chain[-1].end
            gap, index, turned = min(
                (
                    (math.dist(end, p), i, turned)
                    for i, s in enumerate(left)
                    for p, turned in ((s.start, False), (s.end, True))
                ),
                default=(math.inf, 0, False),
            )
            if gap > GAP_TOL:
                away = f"; the nearest is {gap:.3g} mm away" if gap < math.inf else ""
                raise FitError(
                    f"lines and arcs end at x {end[0]:.3f}, y {end[1]:.3f} mm{away}",
                    "chain",
                    f"let them meet within {GAP_TOL:g} mm, as one closed chain",
                )
            following = left.pop(index)
            chain.append(following.reversed() if turned else following)
        outlines.append(Outline(tuple(_joined(chain))))
    return outlines


def _joined(chain: list[Line | Arc]) -> list[Line | Arc]:
    """The chain with each segment ended on the next one's start; sweeps are kept."""
    joined: list[Line | Arc] = []
    for segment, after in zip(chain, chain[1:] + chain[:1], strict=True):
        if isinstance(segment, Line):
            joined.append(Line(segment.start, after.start))
        else:
            bulge = math.tan(segment.sweep / 4)
            joined.append(arc_from_bulge(segment.start, after.start, bulge))
    return joined
