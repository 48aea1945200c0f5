"""Which key of the job a remark or a fault is about, so that the page can show it there."""

from collections.abc import Mapping, Sequence
from itertools import takewhile
from typing import Any

from snugline.errors import SnuglineError
from snugline.place import About, OfKey, OfPhoto, OfReading

Key = list[str | int]

# What the plan remarks on, by the key of [pocket] that brings it.
OF_NOTICE: dict[str, Key] = {
    "clearance-below-uncertainty": ["clearance"],
    "clearance-large": ["clearance"],
    "coupon-deeper-than-board": ["coupons"],
    "cutter-slender": ["cutter", "length"],
    "does-not-go-in": ["clearance"],
    "floor-below-uncertainty": ["stock", "thickness"],
    "holes-overlap": [],
    "layout-does-not-fit": ["stock"],
    "may-close-in-season": ["wood"],
    "may-not-go-in": ["clearance"],
    "movement-from-memory": ["wood"],
    "part-uncertainty-unknown": ["board"],
    "pocket-cannot-be-drawn": ["clearance"],
    "pocket-off-board": ["board"],
    "reading-and-outline-disagree": ["clearance"],
    "cutter-shorter-than-depth": ["cutter", "length"],
    "edge-breaks-into-pocket": ["border", "edge_size"],
    "edge-higher-than-board": ["border", "edge_size"],
    "feather-edge": ["border", "edge_size"],
    "fillet-lifts-part": ["cutter"],
    "glue-would-split-land": ["glued"],
    "mixed-units": [],
    "moisture-outside-table": ["wood"],
    "narrow-flat": ["border", "land"],
    "neck-narrower-than-cutter": ["cutter", "diameter"],
    "squeezed-in-season": ["wood"],
    "step-over-wider-than-cutter": ["feeds", "step_over"],
    "tapered-walls": ["cutter"],
    "template-corner-too-tight": ["template"],
    "thin-floor": ["stock", "thickness"],
    "thin-wall": ["border", "land"],
    "thin-wall-on-board": ["board"],
    "uncut-corner": ["relief"],
    "uncut-step-corner": ["relief"],
    "uneven-thickness": [],
}
# The places named in the pocket's own errors.
_PLACES: dict[str, Key] = {
    "pocket step": ["step"],
    "pocket feet": ["feet"],
    "pocket depth": ["stock", "thickness"],
    "pocket outline": [],
    "sanding": ["sanding"],
    "seat": ["seat"],
    "layout": ["stock"],
    "cutter diameter": ["cutter", "diameter"],
    "finger notch": ["notch"],
    "push-out hole": ["push_hole"],
    "ribbon slot": ["ribbon"],
    "corner relief": ["relief"],
    "border land": ["border", "land"],
    "border corner": ["border", "corner"],
    "coupons": ["coupons"],
    "template": ["template"],
    "recess": ["recess"],
    "through cuts": ["through"],
    "passes": ["passes"],
    "board": ["board"],
    "wood moisture": ["wood"],
    "room humidity": ["wood"],
}


def is_of_pocket(key: Sequence[str | int]) -> bool:
    """Whether a key matters to the pocket alone, as the wood of the part does."""
    return list(key[:1]) == ["pocket"] or list(key[:2]) == ["part", "wood"]


def key_of(about: About | str | None, record: Mapping[str, Any], code: str = "") -> Key:
    """The key of the job that a fault or remark is about; empty where there is none.

    Parameters
    ----------
    about : what it names.
    record : the job file's tables, to find a photo's number and lone tables.
    code : of a remark; the plan's have their key by it.

    >>> key_of(OfKey(("reading", 1, "tool")), {})
    ['reading', 1, 'tool']
    """
    if code in OF_NOTICE:
        return ["pocket", *OF_NOTICE[code]] if OF_NOTICE[code] else []
    match about:
        case OfKey(path=path):
            return _as_page_has_it(list(path), record)
        case OfReading(number=number):
            return _as_page_has_it(["reading", number - 1], record)
        case OfPhoto(file=file):
            files = [photo.get("file") for photo in _tables(record, "photo")]
            return ["photo", files.index(file)] if file in files else []
        case str() if about in _PLACES:
            return ["pocket", *_PLACES[about]]
    return []


def key_of_error(error: SnuglineError, record: Mapping[str, Any]) -> Key:
    """The key that an error is about."""
    return key_of(error.about or error.where, record)


def _as_page_has_it(key: Key, record: Mapping[str, Any]) -> Key:
    """A single table has no number; a bar's readings and a list inside the pocket are one value."""
    if key[:1] == ["frame"] and len(key) > 1 and key[-2] in ("bar_x", "bar_y"):
        key = key[:-1]
    if len(key) > 1 and isinstance(key[1], int) and isinstance(record.get(str(key[0])), dict):
        return [key[0], *key[2:]]
    if key[:1] == ["pocket"]:
        return list(takewhile(lambda step: isinstance(step, str), key))
    return key


def _tables(record: Mapping[str, Any], name: str) -> Sequence[Mapping[str, Any]]:
    tables = record.get(name, [])
    tables = [tables] if isinstance(tables, dict) else tables
    return [t for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []
