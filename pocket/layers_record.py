"""Tables of `[pocket]` for further depths, passes, tabs and a board of several parts."""

import math
from typing import Any, cast

from snugline.errors import InputError
from snugline.lengths import parse_angle, parse_length
from snugline.limits import TEXT, THINNEST_CUTTER
from snugline.place import OfKey
from snugline.pocket.clearance import Clearance, checked_clearance, even
from snugline.pocket.hold_down import Hold
from snugline.pocket.passes import Passes
from snugline.pocket.recess import SHAPES, Label, Lip, Recess, Shape
from snugline.pocket.shared_board import Guest, Placing, SharedBoard
from snugline.pocket.table import Table, text, whole
from snugline.pocket.tool_shape import Cutter

_STEEPEST = math.radians(45)
_LABEL = 60  # letters


def cutter(t: Table) -> Cutter:
    made = Cutter(
        t.length("diameter", least=THINNEST_CUTTER),
        t.length("length", None, above=0.0),
        t.get("taper", _taper, 0.0),
        t.length("corner", 0.0, least=0.0),
    )
    if made.corner > made.diameter / 2:
        raise InputError(
            f"a corner of {made.corner:g} mm is more than half the diameter",
            t.place("corner"),
            "give half the diameter for a ball nose, or less",
        )
    return made


def lip(t: Table) -> Lip:
    return Lip(t.length("outset", above=0.0), t.length("depth", above=0.0))


def recess(t: Table) -> Recess:
    shape = cast(Shape, t.word("shape", SHAPES) or "circle")
    width = t.length("diameter", above=0.0) if shape == "circle" else t.length("width", above=0.0)
    long = 0.0 if shape == "circle" else t.length("length", above=0.0)
    if shape == "slot" and long <= width:
        raise InputError("a slot is longer than wide", t.where, "make it longer, or take a circle")
    return Recess(
        t.get("name", _name, "recess"),
        shape,
        width,
        t.length("depth", above=0.0),
        (t.length("x", 0.0), t.length("y", 0.0)),
        long,
        t.length("corner", 0.0, least=0.0),
        t.get("turn", _angle, 0.0),
        (t.word("below", ("face", "seat")) or "face") == "seat",
    )


def label(t: Table) -> Label:
    return Label(
        t.required("text", _name),
        t.length("height", 6.0, above=0.0),
        (t.length("x", 0.0), t.length("y", 0.0)),
        t.length("depth", 0.3, above=0.0),
        t.get("turn", _angle, 0.0),
    )


def hold(t: Table) -> Hold:
    tabs = t.number("tabs", 0, 50, 0.0)
    if tabs != int(tabs):
        raise InputError(f"{tabs:g} tabs", t.place("tabs"), "give a whole number")
    return Hold(
        int(tabs),
        t.length("tab_width", 8.0, above=0.0),
        t.length("tab_height", 1.5, above=0.0),
        t.length("skin", 0.0, least=0.0),
    )


def passes(t: Table) -> Passes:
    return Passes(t.length("wall", above=0.0), t.length("floor", 0.0, least=0.0))


def shared_board(t: Table) -> SharedBoard:
    return SharedBoard(t.get("outline", _source, None), _placing(t), t.tables("part", _guest))


def _guest(t: Table) -> Guest:
    return Guest(
        t.required("name", _name),
        t.required("outline", _source),
        t.required("clearance", _gap),
        t.length("depth", above=0.0),
        _placing(t),
    )


def _placing(t: Table) -> Placing:
    left, right, front, back = (t.length(edge, None) for edge in ("left", "right", "front", "back"))
    for near, far, names in ((left, right, "left and right"), (front, back, "front and back")):
        if near is not None and far is not None:
            raise InputError(
                f"both {names} are given", t.where, "give one of them; the other follows from it"
            )
    return Placing(left, right, front, back, t.get("turn", _angle, 0.0))


def _gap(value: Any, where: OfKey) -> Clearance:
    def one(v: Any, w: OfKey) -> float:
        return checked_clearance(parse_length(v, w), w)

    def both(t: Table) -> Clearance:
        return Clearance(t.required("length", one), t.required("width", one))

    if isinstance(value, dict):
        return cast(Clearance, whole(value, where, both))
    return even(one(value, where))


def _source(value: Any, where: OfKey) -> str:
    name = text(value, where).strip()
    if not name.lower().endswith((".svg", ".dxf", ".toml")):
        raise InputError(
            f"{name!r} is not an outline's file",
            where,
            "give an SVG or DXF file, or the job.toml of a part that was run",
        )
    return name


def _name(value: Any, where: OfKey) -> str:
    name = " ".join(text(value, where).split())
    if not name or len(name) > min(_LABEL, TEXT) or any(c in '<>/\\":;?*|=`,' for c in name):
        raise InputError(
            f"{name!r} cannot stand in a layer's name",
            where,
            f'use 1 to {_LABEL} letters without < > / \\ " : ; ? * | = ` or commas',
        )
    return name


def _angle(value: Any, where: OfKey) -> float:
    return parse_angle(value, where)


def _taper(value: Any, where: OfKey) -> float:
    found = parse_angle(value, where)
    if not 0 <= found < _STEEPEST:
        raise InputError(
            f"{value!r} is not a taper", where, "give the lean of one side, 0 to 45 deg"
        )
    return found
