"""Fit records as a table that a spreadsheet opens (CSV); lengths in mm."""

import csv
import io
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from snugline.pocket.cut_record import Cut

_TEXTS = ("verdict", "wood", "machine", "kind", "part", "on")
_HEADINGS = {f.name: f.name if f.name in _TEXTS else f"{f.name} (mm)" for f in fields(Cut)}
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def written_csv(keyed: Sequence[tuple[str, Cut]]) -> bytes:
    """All cuts, a row each, the key last."""
    stream = io.StringIO()
    table = csv.writer(stream)
    table.writerow([*_HEADINGS.values(), "key"])
    for key, cut in keyed:
        values = {name: getattr(cut, name) for name in _HEADINGS}
        table.writerow([*(_cell(name, value) for name, value in values.items()), key])
    return stream.getvalue().encode()


def read_csv(text: str) -> list[dict[str, Any]]:
    """The rows of such a table, as `Cut` takes them.

    Raises
    ------
    ValueError, KeyError : a heading or number that is missing.
    """
    made = []
    for row in csv.DictReader(io.StringIO(text)):
        cut: dict[str, Any] = {"key": row["key"]}
        for name, heading in _HEADINGS.items():
            value = row[heading]
            if name in _TEXTS:
                cut[name] = value[1:] if value[:1] == "'" else value
            else:
                cut[name] = float(value) if value else None
        made.append(cut)
    return made


def _cell(name: str, value: Any) -> Any:
    """A spreadsheet runs a text that begins like a formula; an apostrophe keeps it text."""
    if name in _TEXTS and str(value).startswith(_FORMULA):
        return f"'{value}"
    return "" if value is None else value
