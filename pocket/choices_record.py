"""The `[pocket]` table of a job, as TOML gives it, to the shop's choices.

Every length is text with its unit; humidity and moisture are numbers in per cent, temperatures
numbers in degrees Celsius.
"""

import re
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, Literal, cast

from snugline.errors import InputError
from snugline.lengths import parse_length
from snugline.limits import COPIES, FASTEST, THINNEST_CUTTER
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.pocket.access import SIDES, FingerNotch, PushHole, RibbonSlot, Side
from snugline.pocket.border import EDGE_KINDS, EdgeTreatment
from snugline.pocket.choices import (
    BorderChoice,
    Coupons,
    Cutter,
    Feet,
    PocketChoices,
    Step,
    Stock,
)
from snugline.pocket.clearance import checked_clearance
from snugline.pocket.cutting_time import Feeds
from snugline.pocket.fits import FITS
from snugline.pocket.relief import STYLES, Style
from snugline.pocket.table import Table, text, whole, word
from snugline.pocket.template import Follower
from snugline.pocket.thermal import material
from snugline.pocket.wood import Board, Climate, Cut, equilibrium_moisture, species

Unit = Literal["mm", "in"]
POCKET = OfKey(("pocket",))


def from_record(record: Mapping[str, Any], where: OfKey = POCKET) -> PocketChoices:
    """The choices of a `[pocket]` table.

    Keys (all but `clearance` may be left out)::

        [pocket]
        clearance = "0.25 mm"            # or a list
        kind = "firm"                    # soft | firm | brittle | metal
        seat = "flush"                   # or "0.5 mm above", "0.3 mm below"
        sanding = "0.2 mm"
        relief = "dog-bone"              # t-bone along length | t-bone along width
        material = "slate"               # the part's
        glued = false
        food = false
        machine = "bench router"
        cutter = {diameter = "6 mm", length = "22 mm"}
        step = {inset = "6 mm", deeper = "2 mm"}
        feet = {diameter = "12 mm", inset = "20 mm", deeper = "2 mm"}
        push_hole = {diameter = "20 mm", x = "0 mm", y = "0 mm"}    # or several
        ribbon = {side = "back", width = "20 mm", reach = "3 mm"}   # or several
        notch = [{side = "front", width = "22 mm", depth = "12 mm"}]
        template = {bush = "17 mm", cutter = "8 mm"}                # or bearing = ...
        coupons = {corners = 1, run = "50 mm", ladder = ["0.2 mm"], depth = "5 mm", slip = true}
        feeds = {feed = "1500 mm", plunge = "500 mm", step_over = "2.4 mm", step_down = "2 mm"}

        [pocket.wood]
        species = "walnut"
        grain = "length"                 # of the part; or width
        cut = "flat sawn"                # or quarter sawn
        now = {moisture = 8}
        driest = {humidity = 30, celsius = 21}
        dampest = {humidity = 60, celsius = 21}

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

    Parameters
    ----------
    record : the table, nested tables and lists as TOML gives them.
    where : the file and the table, for errors.

    Raises
    ------
    InputError : an unknown or missing key, a wrong unit, word or size. It names the key.
    """
    table = Table(record, where)
    choices = PocketChoices(
        clearance=table.each("clearance", _clearance),
        kind=table.word("kind", tuple(FITS)) or "firm",
        above=table.get("seat", _seat, 0.0),
        sanding=table.length("sanding", 0.0, least=0.0),
        cutter=table.table("cutter", _cutter),
        relief=cast(Style | None, table.word("relief", STYLES)),
        board=table.table("wood", _board),
        wood=str(record["wood"].get("species", "")) if isinstance(record.get("wood"), dict) else "",
        part_material=table.get("material", lambda v, w: material(text(v, w), w), None),
        glued=table.flag("glued"),
        food=table.flag("food"),
        machine=table.get("machine", text, ""),
        notches=table.tables("notch", _notch),
        push_holes=table.tables("push_hole", _push_hole),
        ribbons=table.tables("ribbon", _ribbon),
        step=table.table("step", _step),
        feet=table.table("feet", _feet),
        border=table.table("border", _border),
        stock=table.table("stock", _stock) or Stock(),
        coupons=table.table("coupons", _coupons),
        template=table.table("template", _follower),
        feeds=table.table("feeds", _feeds),
        written=frozenset(units_in(record)),
    )
    table.done()
    if choices.relief is not None and choices.cutter is None:
        raise InputError(
            "a relief is asked for, but no cutter", where, 'add cutter = {diameter = "6 mm"}'
        )
    return choices


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
            f"tell your CAM program {names[unit]}, and check the part's length in it before "
            "the cut",
        ),
    )


def _clearance(value: Any, where: OfKey) -> float:
    return checked_clearance(parse_length(value, where), where)


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
        f"{value!r} is no seat", where, 'write "flush", "0.5 mm above" or "0.3 mm below"'
    )


def _cutter(t: Table) -> Cutter:
    return Cutter(t.length("diameter", least=THINNEST_CUTTER), t.length("length", None, above=0.0))


def _climate(t: Table) -> Climate:
    celsius = t.number("celsius", -40, 60, 20.0)
    moisture = t.number("moisture", 0, 30)
    humidity = t.number("humidity", 0, 100)
    if (moisture is None) == (humidity is None):
        raise InputError(
            "needs either moisture or humidity",
            t.where,
            "write moisture = 8 (of the wood) or humidity = 45 (of the room), in per cent",
        )
    if moisture is None:
        moisture = equilibrium_moisture(humidity, celsius)
    return Climate(moisture, celsius)


def _board(t: Table) -> Board:
    board = Board(
        wood=t.required("species", lambda v, w: species(text(v, w), w)),
        grain=t.required("grain", lambda v, w: word(v, ("length", "width"), w)),
        cut=cast(Cut, t.word("cut", ("flat sawn", "quarter sawn")) or "flat sawn"),
        now=t.required("now", lambda v, w: whole(v, w, _climate)),
        driest=t.required("driest", lambda v, w: whole(v, w, _climate)),
        dampest=t.required("dampest", lambda v, w: whole(v, w, _climate)),
    )
    if board.driest.moisture > board.dampest.moisture:
        raise InputError(
            f"the driest day has {board.driest.moisture:.1f} % moisture, the dampest "
            f"{board.dampest.moisture:.1f} %",
            t.where,
            "exchange driest and dampest",
        )
    return board


def _side(value: Any, where: OfKey) -> Side:
    return cast(Side, word(value, SIDES, where))


def _notch(t: Table) -> FingerNotch:
    depth = t.length("depth", None, above=0.0)
    return FingerNotch(t.required("side", _side), t.length("width", 20.0, above=0.0), depth)


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


def _coupons(t: Table) -> Coupons:
    corners = t.number("corners", 1, 2, 1.0)
    return Coupons(
        int(corners),
        t.length("run", 50.0, above=0.0),
        t.each("ladder", _clearance) if "ladder" in t.record else t.get("ladder", text, ()),
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
