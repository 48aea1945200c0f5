"""The `[pocket]` table of a job, as TOML gives it, to the shop's choices.

Every length is text with its unit; humidity and moisture are numbers in per cent, temperatures
numbers in degrees Celsius.

Keys (all except `clearance` are optional)::

    [pocket]
    clearance = "0.25 mm"            # or a list; {length = "0.6 mm", width = "0.4 mm"}
    kind = "firm"                    # soft | firm | brittle | metal
    squeeze = "0.1 mm"               # a soft part may be squeezed so far per side
    floor = "4 mm"                   # least wood under the deepest cut
    seat = "flush"                   # or "0.5 mm above", "0.3 mm below"
    sanding = "0.2 mm"
    relief = "dog-bone"              # t-bone along length | t-bone along width
    relief_allowance = "0.2 mm"      # relief radius over the cutter's
    material = "slate"               # the part's
    glued = false
    food = false
    machine = "bench router"
    cutter = {diameter = "6 mm", length = "22 mm", taper = "1 deg", corner = "0.5 mm"}
    step = {inset = "6 mm", deeper = "2 mm"}
    feet = {diameter = "12 mm", inset = "20 mm", deeper = "2 mm"}
    lip = [{outset = "4 mm", depth = "2 mm"}]
    recess = [{name = "magnet", diameter = "10 mm", depth = "3 mm", below = "seat"}]
    label = [{text = "SLATE", height = "6 mm", y = "-90 mm"}]
    through = {tabs = 4}             # or {skin = "0.5 mm"}
    passes = {wall = "0.5 mm", floor = "0.2 mm"}
    push_hole = {diameter = "20 mm", x = "0 mm", y = "0 mm"}    # or several
    ribbon = {side = "back", width = "20 mm", reach = "3 mm"}   # or several
    notch = [{side = "front", width = "22 mm", depth = "12 mm"}]
    template = {bush = "17 mm", cutter = "8 mm"}                # or bearing = ...
    coupons = {tests = ["width"], run = "20 mm", ladder = ["0.2 mm"], depth = "5 mm"}
    feeds = {feed = "1500 mm", plunge = "500 mm", step_over = "2.4 mm", step_down = "2 mm"}

    [pocket.wood]
    species = "walnut"               # or movement = {radial = 0.19, tangential = 0.27}
    grain = "length"                 # of the part; or width
    cut = "flat sawn"                # or quarter sawn
    now = {moisture = 8}
    driest = {humidity = 30, celsius = 21}
    dampest = {humidity = 60, celsius = 21}

    [pocket.board]
    outline = "board.dxf"            # or SVG, or a job; without it the stock's rectangle
    left = "40 mm"                   # or right; front or back; neither: in the middle
    turn = "90 deg"
    [[pocket.board.part]]
    name = "cup"
    outline = "cup/job.toml"
    clearance = "0.4 mm"
    depth = "6 mm"
    right = "50 mm"

    [pocket.border]
    land = "18 mm"
    corner = "30 mm"                 # without it, parallel to the pocket
    edge = "round-over"              # chamfer | cove
    edge_size = "6 mm"
    edge_on = "top"                  # or both faces

    [pocket.stock]
    thickness = "20 mm"
    length = "900 mm"                # along the grain; with width, pieces are laid out
    width = "250 mm"
    margin = "10 mm"
    copies = 2
    turn = false
    coupons = true

Feed and plunge are per minute.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import Any, Literal, cast

from snugline.errors import InputError
from snugline.lengths import parse_length
from snugline.limits import COPIES, FASTEST
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.pocket import layers_record
from snugline.pocket.access import (
    NOTCH_SHAPES,
    SIDES,
    FingerNotch,
    NotchShape,
    PushHole,
    RibbonSlot,
    Side,
)
from snugline.pocket.border import EDGE_KINDS, EdgeTreatment
from snugline.pocket.choices import (
    TESTS,
    BorderChoice,
    Coupons,
    Feet,
    PocketChoices,
    Step,
    Stock,
)
from snugline.pocket.clearance import Clearance, checked_clearance, even
from snugline.pocket.cutting_time import Feeds
from snugline.pocket.fits import FITS, fit_of
from snugline.pocket.relief import ALLOWANCE, STYLES, Style
from snugline.pocket.species import known_name
from snugline.pocket.table import Table, text, whole, word
from snugline.pocket.template import Follower
from snugline.pocket.thermal import Material, material
from snugline.pocket.wood_record import part_timber, timber

Unit = Literal["mm", "in"]
POCKET = OfKey(("pocket",))
PART_WOOD = OfKey(("part", "wood"))


def from_record(
    record: Mapping[str, Any],
    where: OfKey = POCKET,
    part_wood: Mapping[str, Any] | None = None,
    part_where: OfKey = PART_WOOD,
) -> PocketChoices:
    """The choices of a `[pocket]` table.

    Parameters
    ----------
    record : the table, nested tables and lists as TOML gives them.
    where : the file and the table's name, for errors.
    part_wood, part_where : the `[part.wood]` table of a wooden part, and its name.

    Raises
    ------
    InputError : an unknown or missing key, a wrong unit, word or size. It names the key.
    """
    table = Table(record, where)
    choices = _choices(table, part_wood, part_where)
    table.done()
    if choices.relief is not None and choices.cutter is None:
        raise InputError(
            "a relief is asked for, but no cutter", where, 'add cutter = {diameter = "6 mm"}'
        )
    return choices


def _choices(table: Table, part_wood: Mapping[str, Any] | None, part_where: OfKey) -> PocketChoices:
    record = table.record
    kind = table.word("kind", tuple(FITS)) or "firm"
    squeeze = table.length("squeeze", None, least=0.0)
    limit = fit_of(kind).squeeze if squeeze is None else squeeze
    board = table.table("wood", timber)
    return PocketChoices(
        clearance=table.each("clearance", _clearances(limit)),
        kind=kind,
        squeeze=squeeze,
        floor=table.length("floor", None, least=0.0),
        above=table.get("seat", _seat, 0.0),
        sanding=table.length("sanding", 0.0, least=0.0),
        cutter=table.table("cutter", layers_record.cutter),
        relief=cast(Style | None, table.word("relief", STYLES)),
        relief_allowance=table.length("relief_allowance", ALLOWANCE, least=0.0),
        board=board,
        part_wood=None if part_wood is None else part_timber(part_wood, part_where, board),
        wood=str(record["wood"].get("species", "")) if isinstance(record.get("wood"), dict) else "",
        part_material=table.get("material", _material, None),
        glued=table.flag("glued"),
        food=table.flag("food"),
        machine=table.get("machine", text, ""),
        notches=table.tables("notch", _notch),
        push_holes=table.tables("push_hole", _push_hole),
        ribbons=table.tables("ribbon", _ribbon),
        step=table.table("step", _step),
        feet=table.table("feet", _feet),
        lips=table.tables("lip", layers_record.lip),
        recesses=table.tables("recess", layers_record.recess),
        labels=table.tables("label", layers_record.label),
        hold=table.table("through", layers_record.hold),
        passes=table.table("passes", layers_record.passes),
        shared=table.table("board", layers_record.shared_board),
        border=table.table("border", _border),
        stock=table.table("stock", _stock) or Stock(),
        coupons=table.table("coupons", lambda t: _coupons(t, limit)),
        template=table.table("template", _follower),
        feeds=table.table("feeds", _feeds),
        written=frozenset(units_in(record)),
    )


def units_in(value: Any) -> set[str]:
    """Which of `mm` and `in` lengths in a record are written in."""
    if isinstance(value, Mapping):
        return set().union(*(units_in(v) for v in value.values()))
    if isinstance(value, list | tuple):
        return set().union(*(units_in(v) for v in value))
    if isinstance(value, str):
        if re.search(r"\d\s*(in|inch|inches|[\"″])(\s|$)", value):
            return {"in"}
        if re.search(r"\d\s*(mm|cm|m)(\s|$)", value):
            return {"mm"}
    return set()


def unit_notices(
    written: frozenset[str], readings: frozenset[str], unit: Unit
) -> tuple[Notice, ...]:
    """Whether a job mixes units, which is how inch files get cut as millimetres.

    Parameters
    ----------
    written, readings : units that the pocket's lengths and the hand readings were written in.
    unit : that the files are written in.
    """
    names = {"mm": "millimetres", "in": "inches"}
    others = {
        "the pocket's lengths": sorted(written - {unit}),
        "hand readings": sorted(readings - {unit}),
    }
    mixed = [f"{what} are given in {names[u]}" for what, found in others.items() for u in found]
    if not mixed:
        return ()
    return (
        Notice(
            "mixed-units",
            f"the files are written in {names[unit]}, while {' and '.join(mixed)}",
            f"import into your CAM program as {names[unit]}, and check the length of the part "
            "there before cutting",
            "note",
        ),
    )


def _clearances(squeeze: float) -> Callable[[Any, OfKey], Clearance]:
    """Reads a gap all round, or one along each axis."""

    def one(value: Any, where: OfKey) -> float:
        return checked_clearance(parse_length(value, where), where, squeeze)

    def both(t: Table) -> Clearance:
        return Clearance(t.required("length", one), t.required("width", one))

    def read(value: Any, where: OfKey) -> Clearance:
        if isinstance(value, Mapping):
            return cast(Clearance, whole(value, where, both))
        return even(one(value, where))

    return read


def _material(value: Any, where: OfKey) -> Material:
    name = text(value, where)
    if known_name(name) is not None:
        raise InputError(
            f"{name!r} is a wood, which moves with moisture",
            where,
            f"leave the material out and describe the part's wood ({known_name(name)}) with its "
            "grain and moisture, under [part.wood]",
        )
    return material(name, where)


def _seat(value: Any, where: OfKey) -> float:
    seat = text(value, where).strip()
    if seat == "flush":
        return 0.0
    for side, sign in (("above", 1), ("below", -1)):
        if seat.endswith(side):
            mm = parse_length(seat.removesuffix(side).strip(), where)
            if mm >= 0:
                return sign * mm
    raise InputError(
        f"{value!r} is not a seat", where, 'write "flush", "0.5 mm above" or "0.3 mm below"'
    )


def _side(value: Any, where: OfKey) -> Side:
    return cast(Side, word(value, SIDES, where))


def _notch(t: Table) -> FingerNotch:
    depth = t.length("depth", None, above=0.0)
    return FingerNotch(
        t.required("side", _side),
        t.length("width", 20.0, above=0.0),
        depth,
        t.length("at", 0.0),
        cast(NotchShape, t.word("shape", NOTCH_SHAPES) or "half round"),
        t.length("reach", None, above=0.0),
    )


def _push_hole(t: Table) -> PushHole:
    return PushHole(t.length("diameter", 20.0, above=0.0), (t.length("x", 0.0), t.length("y", 0.0)))


def _ribbon(t: Table) -> RibbonSlot:
    width, reach = t.length("width", 20.0, above=0.0), t.length("reach", 3.0, above=0.0)
    return RibbonSlot(t.required("side", _side), width, reach)


def _step(t: Table) -> Step:
    return Step(t.length("inset", above=0.0), t.length("deeper", above=0.0))


def _feet(t: Table) -> Feet:
    sizes = (t.length(key, above=0.0) for key in ("diameter", "inset", "deeper"))
    return Feet(*sizes)


def _border(t: Table) -> BorderChoice:
    kind = t.word("edge", EDGE_KINDS)
    size = t.length("edge_size", None, above=0.0)
    faces = t.word("edge_on", ("top", "both faces"))
    edge = None
    if kind is not None:
        if size is None:
            raise InputError("the key 'edge_size' is missing", t.where, 'add edge_size = "6 mm"')
        edge = EdgeTreatment(cast(Any, kind), size, faces == "both faces")
    return BorderChoice(t.length("land", above=0.0), t.length("corner", None, least=0.0), edge)


def _stock(t: Table) -> Stock:
    length, width = t.length("length", None, above=0.0), t.length("width", None, above=0.0)
    if (length is None) != (width is None):
        raise InputError(
            "one of length and width is missing", t.where, "give both, or neither for no layout"
        )
    copies = t.number("copies", 1, COPIES, 1.0)
    if copies != int(copies):
        raise InputError(f"{copies:g} copies", t.place("copies"), "give a whole number")
    return Stock(
        t.length("thickness", None, above=0.0),
        length,
        width,
        t.length("margin", 10.0, least=0.0),
        int(copies),
        t.flag("turn"),
        t.flag("coupons"),
    )


def _coupons(t: Table, squeeze: float) -> Coupons:
    def rung(value: Any, where: OfKey) -> float:
        return checked_clearance(parse_length(value, where), where, squeeze)

    # Jobs of version 0.1 had 1 or 2 corners; a corner is now always the whole end.
    t.number("corners", 1, 2, 1.0)
    tests = lambda v, w: word(v, TESTS, w)  # noqa: E731
    return Coupons(
        t.each("tests", tests) if "tests" in t.record else t.get("tests", text, TESTS),
        t.length("run", 20.0, above=0.0),
        t.each("ladder", rung) if "ladder" in t.record else t.get("ladder", text, ()),
        t.length("depth", None, above=0.0),
        t.flag("slip"),
    )


def _follower(t: Table) -> Follower:
    bush, bearing = t.length("bush", None, above=0.0), t.length("bearing", None, above=0.0)
    if (bush is None) == (bearing is None):
        raise InputError("needs either bush or bearing", t.where, 'write bush = "17 mm"')
    cutter = t.length("cutter", above=0.0)
    if bush is not None:
        return Follower(bush, cutter, "bush")
    return Follower(bearing, cutter, "bearing")


def _feeds(t: Table) -> Feeds:
    plain = Feeds()
    return Feeds(
        *(t.length(f.name, getattr(plain, f.name), above=0.0, most=FASTEST) for f in fields(Feeds))
    )
