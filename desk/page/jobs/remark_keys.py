"""Where in the job a remark or a fault has its cause, so that the page can say it there."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

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
    "may-close-in-season": ["wood"],
    "may-not-go-in": ["clearance"],
    "movement-from-memory": ["wood"],
    "pocket-cannot-be-drawn": ["clearance"],
    "reading-and-outline-disagree": ["clearance"],
    "cutter-shorter-than-depth": ["cutter", "length"],
    "edge-breaks-into-pocket": ["border", "edge_size"],
    "edge-higher-than-board": ["border", "edge_size"],
    "feather-edge": ["border", "edge_size"],
    "glue-would-split-land": ["glued"],
    "mixed-units": [],
    "moisture-outside-table": ["wood"],
    "narrow-flat": ["border", "land"],
    "neck-narrower-than-cutter": ["cutter", "diameter"],
    "squeezed-in-season": ["wood"],
    "step-over-wider-than-cutter": ["feeds", "step_over"],
    "template-corner-too-tight": ["template"],
    "thin-floor": ["stock", "thickness"],
    "thin-wall": ["border", "land"],
    "uncut-corner": ["relief"],
    "uncut-step-corner": ["relief"],
    "uneven-thickness": [],
}
# Where the pocket's own errors say that they are.
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
    "wood moisture": ["wood"],
    "room humidity": ["wood"],
}
_TABLE = re.compile(r"\[\[?([a-z_]+)\]?\](?: (\d+))?")
_STEP = re.compile(r"\w+(?:\[\d+\])?")


def key_of_where(where: str) -> Key:
    """The key that an error of the job file names: `job.toml, [[reading]] 2, tool`.

    >>> key_of_where("/jobs/a, b/job.toml, [[reading]] 2, tool")
    ['reading', 1, 'tool']
    >>> key_of_where("job.toml, [pocket].wood.now")
    ['pocket', 'wood', 'now']
    """
    if where in _PLACES:
        return ["pocket", *_PLACES[where]]
    if where.startswith("pocket."):
        return ["pocket", *_steps(where.removeprefix("pocket."))]
    tables = list(_TABLE.finditer(where))
    if not tables:
        return []
    table = tables[-1]
    key: Key = [table[1]]
    if table[2] is not None:
        key.append(int(table[2]) - 1)
    rest = where[table.end() :]
    if rest.startswith("."):
        return key + _steps(rest[1:])
    return key + [step.strip() for step in rest.split(",") if _STEP.fullmatch(step.strip())]


def _steps(dotted: str) -> Key:
    # A list inside the pocket is one value to the page.
    return [step for step in re.sub(r"\[\d+\].*", "", dotted).split(".") if step]


def key_of_notice(code: str, place: str, record: Mapping[str, Any]) -> Key:
    """The key of a remark on the outline or the plan; empty where no key brings it."""
    if code in OF_NOTICE:
        key = OF_NOTICE[code]
        return ["pocket", *key] if key else []
    for i, reading in enumerate(_tables(record, "reading")):
        if place == f"reading of the {reading.get('what')}, {reading.get('tool')}":
            return ["reading", i]
    for i, photo in enumerate(_tables(record, "photo")):
        if place and place == photo.get("file"):
            return ["photo", i]
    if place.startswith("["):
        return key_of_where(place)
    return []


def _tables(record: Mapping[str, Any], name: str) -> Sequence[Mapping[str, Any]]:
    tables = record.get(name, [])
    tables = [tables] if isinstance(tables, dict) else tables
    return [t for t in tables if isinstance(t, dict)] if isinstance(tables, list) else []
