"""Drawings from SVG: closed paths of lines and circular arcs, and what goes with them.

Read are `path`, `polygon`, `polyline`, `line`, `rect`, `circle` and `text`, under any transform
that keeps circles round. Curves of other kinds are refused by name, since an outline made of them
is not an outline of lines and arcs. x stays as it is and y is turned up; where the page lies round
the shapes does not matter.
"""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from snugline.errors import FileError, FitError, SnuglineError
from snugline.fit.drawing.drawing import (
    MM_PER_UNIT,
    PATTERNS,
    Drawing,
    Layer,
    Note,
    Pattern,
    Unit,
    usable_name,
)
from snugline.fit.drawing.path_data import MAX_STEPS, Chain, chains, numbers
from snugline.fit.geometry.outline import Outline, Point
from snugline.fit.geometry.primitives import circle

MAX_BYTES = 20_000_000

_MM_PER_CSS_UNIT = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6}
_LENGTH = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([a-z%]*)\s*$")
_TRANSFORM = re.compile(r"(matrix|translate|scale|rotate)\s*\(([^)]*)\)")
_SHAPES = ("path", "polygon", "polyline", "line", "rect", "circle")
_REFUSED = ("ellipse", "use", "image", "foreignObject", "symbol")
_UNSEEN = ("defs", "clipPath", "mask", "marker", "pattern", "metadata", "style", "script")

Matrix = tuple[float, float, float, float, float, float]
_IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


def read_svg(content: bytes, unit: Unit | None = None, where: str = "SVG file") -> Drawing:
    """The drawing that an SVG file holds.

    Parameters
    ----------
    content : the file.
    unit : of one user unit, for a file whose size is given in pixels or not at all.
    where : names the file in errors.

    Returns
    -------
    drawing : a layer for each group that holds shapes itself, named by its title or id.

    Raises
    ------
    FileError : no SVG, too large, no true size, or a shape that is not of lines and arcs.
    """
    root = _parsed(content, where)
    mm, own_unit = _scale(root, unit, where)
    reader = _Reader(where)
    try:
        reader.visit(root, (mm, 0.0, 0.0, -mm, 0.0, 0.0), "drawing", "solid", mm)
    except RecursionError as error:
        raise FileError("its groups are nested too deeply", where, "ungroup the shapes") from error
    title = " ".join(_child_text(root, "title").split()) or "untitled"
    title = title.removesuffix(f" ({own_unit})")
    layers = tuple(
        Layer(name, tuple(c.outlines), c.pattern, tuple(c.strokes), tuple(c.notes))
        for name, c in reader.layers.items()
    )
    return Drawing(title, layers, own_unit)


def _parsed(content: bytes, where: str) -> Any:
    from xml.etree.ElementTree import ParseError

    from defusedxml import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    if len(content) > MAX_BYTES:
        raise FileError(
            f"{len(content) / 1e6:.0f} MB is too large for an outline",
            where,
            f"give a file below {MAX_BYTES // 1_000_000} MB with the outline alone",
        )
    try:
        root = fromstring(content)
    except DefusedXmlException as error:
        raise FileError(
            "it defines entities or refers to other files", where, "save it as plain SVG"
        ) from error
    except (ParseError, ValueError, LookupError) as error:
        raise FileError(f"it is not SVG ({error})", where, "give a whole SVG file") from error
    if _name(root) != "svg":
        raise FileError(f"it holds <{_name(root)}>, not SVG", where, "give an SVG file")
    return root


def _scale(root: Any, unit: Unit | None, where: str) -> tuple[float, Unit]:
    """Millimetres of a user unit, and the unit that the file is in."""
    box = numbers(root.get("viewBox", ""))
    sizes = [_LENGTH.match(root.get(key, "")) for key in ("width", "height")]
    known = [m for m in sizes if m is not None and m[2] in _MM_PER_CSS_UNIT]
    if len(known) < 2:
        if unit is None:
            raise FileError(
                "its width and height carry no unit of length",
                where,
                "say what one user unit is (mm or in), or save it with its size in mm",
            )
        return MM_PER_UNIT[unit], unit
    page = [float(m[1]) * _MM_PER_CSS_UNIT[m[2]] for m in known]
    own: Unit = "in" if known[0][2] == "in" else "mm"
    if not box:
        # Without a viewBox a user unit is a CSS pixel, 96 to the inch.
        return 25.4 / 96, own
    if len(box) != 4 or min(box[2:]) <= 0:
        raise FileError("its viewBox has no size", where, "give four numbers")
    across, down = page[0] / box[2], page[1] / box[3]
    if abs(across - down) > 1e-6 * across:
        raise FileError(
            f"its viewBox has another shape than its size ({across:.6g} and {down:.6g} mm)",
            where,
            "save it with a viewBox in the proportion of width and height",
        )
    # A size printed with few digits must not move an even scale.
    nearby = round(across, 9)
    return (nearby if abs(nearby - across) < 1e-9 else across), own


@dataclass
class _Contents:
    pattern: Pattern = "solid"
    outlines: list[Outline] = field(default_factory=list)
    strokes: list[tuple[Point, ...]] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)


@dataclass
class _Reader:
    """Walks the tree and sorts what it finds by layer."""

    where: str
    layers: dict[str, _Contents] = field(default_factory=dict)
    count: int = 0

    def visit(self, node: Any, matrix: Matrix, layer: str, pattern: Pattern, mm: float) -> None:
        """Take up a node and what it holds; `matrix` leads to millimetres, y up."""
        name = _name(node)
        if name in _UNSEEN or not isinstance(node.tag, str) or _hidden(node):
            return
        matrix = _product(matrix, self._transform(node))
        pattern = _pattern(node, pattern, mm)
        if name in _REFUSED:
            self._refuse(node, f"a <{name}>", "redraw it as a path of lines and arcs")
        elif name in _SHAPES:
            self._take(node, matrix, layer, pattern)
        elif name == "text":
            self._note(node, matrix, layer)
        elif name in ("svg", "g", "a"):
            if name == "g":
                layer = usable_name(_child_text(node, "title") or node.get("id") or layer)
                # A group of our own is a layer even where it is empty.
                if _child_text(node, "title"):
                    self._layer(layer, pattern)
            for child in node:
                self.visit(child, matrix, layer, pattern, mm)

    def _note(self, node: Any, matrix: Matrix, layer: str) -> None:
        def first(key: str) -> float:
            return next(iter(numbers(node.get(key, ""))), 0.0)

        text = " ".join("".join(c for c in node.itertext() if c).split())
        text = "".join(c for c in text if c.isprintable())
        if text:
            height = first("font-size") * math.hypot(matrix[0], matrix[1])
            place = _at(matrix, (first("x"), first("y")))
            self._layer(layer, None).notes.append(Note(text, place, height))

    def _take(self, node: Any, matrix: Matrix, layer: str, pattern: Pattern) -> None:
        a, b, c, d, _, _ = matrix
        size = math.hypot(a, b)
        mirrors = a * d - b * c < 0
        even = (c, d) if not mirrors else (-c, -d)
        if size == 0 or math.hypot(even[0] + b, even[1] - a) > 1e-9 * size:
            self._refuse(node, "a transform that makes circles oval", "apply the transform first")
        try:
            for chain in chains(_data(node)):
                self.count += len(chain.steps)
                if self.count > MAX_STEPS:
                    self._refuse(node, f"more than {MAX_STEPS} steps", "give the outline alone")
                contents = self._layer(layer, pattern)
                if _name(node) == "circle":
                    # From its ends: arcs of half a turn say little of where their centre is.
                    right, left = (_at(matrix, p) for p in chain.points[:2])
                    middle = ((right[0] + left[0]) / 2, (right[1] + left[1]) / 2)
                    contents.outlines.append(circle(math.dist(right, left) / 2, middle))
                else:
                    self._add(chain, matrix, contents)
        except SnuglineError as error:
            if isinstance(error, FileError):
                raise
            raise FileError(error.what, f"{self.where}, {_label(node)}", error.mend) from error
        except ArithmeticError as error:
            raise FileError(
                "numbers that no shape can have", f"{self.where}, {_label(node)}", "draw it again"
            ) from error

    def _add(self, chain: Chain, matrix: Matrix, contents: _Contents) -> None:
        if not chain.steps:
            return
        if chain.closed:
            contents.outlines.append(chain.outline(lambda p: _at(matrix, p)))
        elif chain.straight:
            contents.strokes.append(tuple(_at(matrix, p) for p in chain.points))
        else:
            gap = math.dist(chain.points[0], chain.points[-1]) * math.hypot(matrix[0], matrix[1])
            raise FitError(
                f"an open path with arcs; its ends are {gap:.3g} mm apart", "path", "close the path"
            )

    def _layer(self, name: str, pattern: Pattern | None) -> _Contents:
        fresh = name not in self.layers
        contents = self.layers.setdefault(name, _Contents())
        if pattern is not None and (fresh or not (contents.outlines or contents.strokes)):
            contents.pattern = pattern
        return contents

    def _transform(self, node: Any) -> Matrix:
        text = node.get("transform", "")
        matrix = _IDENTITY
        for kind, arguments in _TRANSFORM.findall(text):
            step = _elementary(kind, numbers(arguments))
            if step is None:
                self._refuse(node, f"the transform {text!r}", "apply the transform first")
            else:
                matrix = _product(matrix, step)
        if re.sub(r"[\s,]", "", _TRANSFORM.sub("", text)):
            self._refuse(node, f"the transform {text!r}", "apply the transform first")
        return matrix

    def _refuse(self, node: Any, what: str, mend: str) -> None:
        raise FileError(f"it holds {what}", f"{self.where}, {_label(node)}", mend)


def _elementary(kind: str, v: list[float]) -> Matrix | None:
    if kind == "matrix" and len(v) == 6:
        return v[0], v[1], v[2], v[3], v[4], v[5]
    if kind == "translate" and v:
        return 1.0, 0.0, 0.0, 1.0, v[0], v[1] if len(v) > 1 else 0.0
    if kind == "scale" and v:
        return v[0], 0.0, 0.0, v[-1], 0.0, 0.0
    if kind == "rotate" and v:
        turn = math.radians(v[0])
        cos, sin = math.cos(turn), math.sin(turn)
        x, y = v[1:3] if len(v) > 2 else (0.0, 0.0)
        return cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y
    return None


def _product(p: Matrix, q: Matrix) -> Matrix:
    return (
        p[0] * q[0] + p[2] * q[1],
        p[1] * q[0] + p[3] * q[1],
        p[0] * q[2] + p[2] * q[3],
        p[1] * q[2] + p[3] * q[3],
        p[0] * q[4] + p[2] * q[5] + p[4],
        p[1] * q[4] + p[3] * q[5] + p[5],
    )


def _at(m: Matrix, point: Point) -> Point:
    x, y = point
    return m[0] * x + m[2] * y + m[4], m[1] * x + m[3] * y + m[5]


def _data(node: Any) -> str:
    """The path data of any of the shapes read."""
    name = _name(node)
    if name == "path":
        return str(node.get("d", ""))
    if name in ("polygon", "polyline"):
        return f"M {node.get('points', '')} {'Z' if name == 'polygon' else ''}"

    def value(key: str) -> float:
        text = node.get(key, "0")
        match = _LENGTH.match(text)
        if match is None or match[2] not in ("", "px"):
            raise FitError(f"{key} is {text!r}", name, "give plain numbers in user units")
        return float(match[1])

    if name == "line":
        return f"M {value('x1')} {value('y1')} L {value('x2')} {value('y2')}"
    if name == "circle":
        x, y, r = value("cx"), value("cy"), value("r")
        half = f"A {r!r} {r!r} 0 0 0"
        return f"M {x + r!r} {y!r} {half} {x - r!r} {y!r} {half} {x + r!r} {y!r} Z"
    x, y, w, h = value("x"), value("y"), value("width"), value("height")
    rx, ry = value("rx") or value("ry"), value("ry") or value("rx")
    rx, ry = min(rx, w / 2), min(ry, h / 2)
    if rx <= 0:
        return f"M {x!r} {y!r} h {w!r} v {h!r} h {-w!r} Z"
    return (
        f"M {x + rx!r} {y!r} H {x + w - rx!r} A {rx!r} {ry!r} 0 0 1 {x + w!r} {y + ry!r}"
        f" V {y + h - ry!r} A {rx!r} {ry!r} 0 0 1 {x + w - rx!r} {y + h!r}"
        f" H {x + rx!r} A {rx!r} {ry!r} 0 0 1 {x!r} {y + h - ry!r}"
        f" V {y + ry!r} A {rx!r} {ry!r} 0 0 1 {x + rx!r} {y!r} Z"
    )


def _pattern(node: Any, inherited: Pattern, mm: float) -> Pattern:
    """The line pattern whose dashes are nearest to a node's own, or the inherited one."""
    dashes = node.get("stroke-dasharray")
    if dashes is None:
        return inherited
    lengths = [v * mm for v in numbers(dashes)]
    for pattern, known in PATTERNS.items():
        if len(known) == len(lengths) and all(
            abs(a - b) < 1e-6 for a, b in zip(known, lengths, strict=True)
        ):
            return pattern
    return "dashed" if lengths else "solid"


def _hidden(node: Any) -> bool:
    style = node.get("style", "").replace(" ", "")
    return node.get("display") == "none" or "display:none" in style


def _name(node: Any) -> str:
    return str(node.tag).rpartition("}")[2]


def _label(node: Any) -> str:
    return f"<{_name(node)}>" + (f" {node.get('id')}" if node.get("id") else "")


def _child_text(node: Any, name: str) -> str:
    found: Iterator[str] = ((c.text or "").strip() for c in node if _name(c) == name)
    return next(found, "")
