"""The shop's printed sheets: each with its bars as measured, by name, offered to every next job.

One small file in the user's data folder. A print is found again by sheet and bars, so a job stays
whole without it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any
from uuid import uuid4

from snugline.desk.page.jobs.sheet_offers import sheet_words
from snugline.errors import FileError, InputError, SnuglineError
from snugline.files import locked, read_within, write_json
from snugline.lengths import parse_length
from snugline.limits import NAME
from snugline.trace.sheet.builtin_sheets import parsed_name
from snugline.trace.sheet.frame_description import read_frame, with_print_scale
from snugline.untrusted import parsed_json

SCHEMA = "snugline/prints/1"
_MOST = 200  # the longest unused go
_BYTES = 200_000
_WAIT_S = 10.0


@dataclass(frozen=True)
class Print:
    """A printed sheet.

    Attributes
    ----------
    sheet : its built-in name.
    bar_x, bar_y : the readings, as typed.
    used : the day when it was last taken, ISO 8601.
    """

    key: str
    name: str
    sheet: str
    bar_x: tuple[str, ...]
    bar_y: tuple[str, ...]
    used: str

    def as_json(self) -> dict[str, Any]:
        return {**asdict(self), "bar_x": list(self.bar_x), "bar_y": list(self.bar_y)}


def default_path() -> Path:
    """Where the user's prints are kept."""
    from platformdirs import user_data_path

    return user_data_path("snugline", appauthor=False) / "prints.json"


class Prints:
    """The prints in a file; every call reads it."""

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or default_path()

    def all(self) -> tuple[Print, ...]:
        """Every print, the one used last first.

        Raises
        ------
        FileError : the file is not one of prints.
        """
        try:
            content = read_within(self.path.parent, self.path.name, _BYTES)
        except FileNotFoundError:
            return ()
        record = parsed_json(content, self.path.name)
        try:
            if record["schema"] != SCHEMA:
                raise KeyError("schema")
            found = [_from_record(one) for one in record["prints"]]
        except (KeyError, TypeError) as error:
            raise FileError("is not a list of prints", self.path.name, "move it away") from error
        return tuple(sorted(found, key=lambda one: one.used, reverse=True))

    def keep(self, table: Mapping[str, Any], before: Mapping[str, Any] | None = None) -> None:
        """Keep the bars of a job's sheet, once both are read.

        Parameters
        ----------
        before : the table before the change. Where it held a print's bars, and one of them was
            corrected, that print is corrected; new bars on empty fields are a new print.
        """
        sheet, bars = str(table.get("description", "")), _bars(table)
        if bars is None or parsed_name(sheet) is None or not _plausible(sheet, *bars):
            return
        today = date.today()

        def kept(prints: list[Print]) -> list[Print]:
            for one in prints:
                if one.sheet == sheet and (one.bar_x, one.bar_y) == bars:
                    return _instead(prints, replace(one, used=today.isoformat()))
            old = _bars(before or {})
            for one in prints:
                if one.sheet == sheet and old is not None and (one.bar_x, one.bar_y) == old:
                    return _instead(
                        prints,
                        replace(one, bar_x=bars[0], bar_y=bars[1], used=today.isoformat()),
                    )
            name = _new_name(sheet, today, [one.name for one in prints])
            return [*prints, Print(uuid4().hex, name, sheet, *bars, today.isoformat())]

        self._change(kept)

    def restore(self, table: Mapping[str, Any], name: str) -> None:
        """Keep a print under a name of one's own, as when it was forgotten by mistake.

        Raises
        ------
        InputError : no bars that a print of that sheet can have, or not a name.
        """
        self.keep(table)
        bars = _bars(table)
        for one in self.all():
            if one.sheet == table.get("description") and (one.bar_x, one.bar_y) == bars:
                self.rename(one.key, name)
                return
        raise InputError("these bars are of no print", "bars", "type them again")

    def rename(self, key: str, name: str) -> None:
        """Give a print another name.

        Raises
        ------
        LookupError : there is no such print.
        InputError : not a name.
        """
        name = " ".join(name.split())
        if not 0 < len(name) <= NAME or not name.isprintable():
            raise InputError("the print has no name", "name", f"write 1 to {NAME} letters")
        self._change(lambda prints: _instead(prints, replace(_found(prints, key), name=name)))

    def remove(self, key: str) -> None:
        """Forget a print, as when it is thrown away."""
        self._change(lambda prints: [p for p in prints if p is not _found(prints, key)])

    def _change(self, change: Callable[[list[Print]], list[Print]]) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        with locked(self.path.with_suffix(".lock"), _WAIT_S):
            prints = sorted(change(list(self.all())), key=lambda one: one.used)
            listed = [one.as_json() for one in prints[-_MOST:]]
            write_json(self.path, {"schema": SCHEMA, "prints": listed})


def remember(frames: Any, before: Any) -> None:
    """Keep the prints that a job's frames hold after a change; a fault of that file stops nothing.

    Parameters
    ----------
    frames, before : the job's `frame` after the change and before it.
    """
    old = {str(t.get("description")): t for t in _tables(before)}
    for table in _tables(frames):
        was = old.get(str(table.get("description")))
        if was == table:
            continue
        try:
            Prints().keep(table, was)
        except (SnuglineError, OSError):
            return


def _tables(frames: Any) -> list[Mapping[str, Any]]:
    tables = [frames] if isinstance(frames, Mapping) else frames
    return [t for t in tables if isinstance(t, Mapping)] if isinstance(tables, list) else []


def _bars(table: Mapping[str, Any]) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
    """Both bars' readings as texts; None unless both are there."""
    found = []
    for key in ("bar_x", "bar_y"):
        value = table.get(key)
        texts = [value] if isinstance(value, str) else value
        if not isinstance(texts, list) or not texts or not all(isinstance(t, str) for t in texts):
            return None
        found.append(tuple(texts))
    return found[0], found[1]


def _plausible(sheet: str, bar_x: Sequence[str], bar_y: Sequence[str]) -> bool:
    """Whether a sheet can have been printed so: a slip is not kept."""
    try:
        x, y = ([parse_length(text) for text in bar] for bar in (bar_x, bar_y))
        with_print_scale(read_frame(sheet), x, y)
    except InputError:
        return False
    return True


def _new_name(sheet: str, today: date, names: Sequence[str]) -> str:
    """`A4 sheet, printed in Sep`, with the year or a number where the name is taken."""
    month = today.strftime("%b")
    first = f"{sheet_words(sheet)}, printed in {month}"
    candidates = [first, f"{first} {today.year}"]
    candidates += [f"{first} {today.year}, no. {n}" for n in range(2, _MOST + 2)]
    return next(name for name in candidates if name not in names)


def _found(prints: Sequence[Print], key: str) -> Print:
    for one in prints:
        if one.key == key:
            return one
    raise LookupError(key)


def _instead(prints: Sequence[Print], new: Print) -> list[Print]:
    return [new if one.key == new.key else one for one in prints]


def _from_record(record: Mapping[str, Any]) -> Print:
    key, name, sheet, used = (str(record[k]) for k in ("key", "name", "sheet", "used"))
    bar_x, bar_y = (tuple(map(str, record[k])) for k in ("bar_x", "bar_y"))
    return Print(key, name, sheet, bar_x, bar_y, used)
