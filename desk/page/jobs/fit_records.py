"""How a cut fitted: into the shop's records, and out of them, as the page asks."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from snugline.desk import cut_entry
from snugline.desk.cut_entry import Said, changed_cut, listed, new_cut, setting
from snugline.errors import InputError
from snugline.lengths import parse_length
from snugline.pocket.clearance import Clearance, even
from snugline.pocket.cut_table import written_csv
from snugline.pocket.fits import verdict_of
from snugline.pocket.records import Records

_KEYS = {"clearance", "verdict", "wood", "machine", "cutter", "kind", "opening_error"}


def record_fit(job: Path, record: Mapping[str, Any], said: Mapping[str, Any]) -> dict[str, Any]:
    """Put one fit on record; gives what the records then tell.

    Raises
    ------
    InputError : a length or a word that cannot be used.
    """
    cut, found = new_cut(job, record, _said(said))
    key = Records().add(cut)
    return {**told(record, said), "key": key, "part_uncertainty_known": found}


def change_fit(record: Mapping[str, Any], key: str, said: Mapping[str, Any]) -> dict[str, Any]:
    """Put something else in the place of what is on record; gives what the records then tell."""
    records = Records()
    whole, cut = records.find(key)
    records.change(whole, changed_cut(cut, _said(said)))
    return told(record)


def remove_fit(record: Mapping[str, Any], key: str) -> dict[str, Any]:
    """Take a cut off the record; gives what the records then tell."""
    Records().remove(key)
    return told(record)


def undo(record: Mapping[str, Any]) -> dict[str, Any]:
    """Take back the last change of the records; gives what they then tell."""
    done = Records().undo()
    return {**told(record), "undone": done}


def table() -> bytes:
    """All records as CSV."""
    return written_csv(Records().keyed())


def told(record: Mapping[str, Any], said: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """What is on record of this part, and what the machine's records tell."""
    own = {k: v for k, v in (said or {}).items() if k in ("wood", "machine", "cutter", "kind")}
    made = setting(record, _said(own))
    keyed = Records().keyed()
    rows = listed(keyed, made)
    return {
        "records": [row for row in rows if row["part"] == made.part],
        "all": rows,
        **cut_entry.told([cut for _, cut in keyed], made),
    }


def _said(said: Mapping[str, Any]) -> Said:
    """The page's words: texts with units, as typed.

    Raises
    ------
    InputError : an unknown key, a length without a unit, a word that is not a verdict.
    """
    unknown = set(said) - _KEYS
    if unknown:
        raise InputError(f"unknown key {min(unknown)!r}", "fitted", "leave it out")

    def length(key: str) -> float | None:
        value = said.get(key)
        return None if value in (None, "") else parse_length(value, key)

    verdict = said.get("verdict")
    return Said(
        _clearance(said.get("clearance")),
        None if verdict is None else verdict_of(str(verdict)),
        str(said.get("wood") or ""),
        str(said.get("machine") or ""),
        length("cutter"),
        None if said.get("kind") is None else str(said["kind"]),
        length("opening_error"),
    )


def _clearance(value: Any) -> Clearance | None:
    if value is None:
        return None
    if isinstance(value, Mapping):
        length, width = (parse_length(str(value.get(k)), "clearance") for k in ("length", "width"))
        return Clearance(length, width)
    return even(parse_length(value, "clearance"))
