"""The shop's own records of cuts, in one small SQLite file in the user's data folder.

Each change is one transaction, on disk before the call returns, and is kept with the cuts, so
that it can be undone. SQLite's rollback journal undoes what a killed program left half done, and
its locks let several programs write in turn.
"""

import json
import math
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, fields, replace
from datetime import date
from pathlib import Path
from typing import Any
from uuid import uuid4

from snugline.errors import FileError, InputError
from snugline.files import write_json, write_whole
from snugline.limits import RECORDS_BYTES
from snugline.pocket.cut_record import Cut
from snugline.pocket.cut_table import read_csv, written_csv
from snugline.pocket.fits import fit_of, verdict_of
from snugline.untrusted import parsed_json

SCHEMA = "snugline/fit-records/2"
_READ = ("snugline/fit-records/1", SCHEMA)
_WAIT_S = 30.0  # for another program's transaction
_COLUMNS = tuple(f.name for f in fields(Cut))
_TABLES = (
    """
CREATE TABLE IF NOT EXISTS cut (
  key TEXT PRIMARY KEY,
  clearance REAL NOT NULL, verdict TEXT NOT NULL, wood TEXT NOT NULL, machine TEXT NOT NULL,
  cutter REAL NOT NULL, kind TEXT NOT NULL, part TEXT NOT NULL, part_u REAL NOT NULL,
  opening_error REAL, "on" TEXT NOT NULL
)""",
    """
CREATE TABLE IF NOT EXISTS change (
  number INTEGER PRIMARY KEY AUTOINCREMENT, key TEXT NOT NULL, before TEXT, batch TEXT NOT NULL
)""",
)
_ADDED = ("clearance_width", "length_u")  # columns that files of version 0.1 lack
_NAMES = ", ".join(f'"{column}"' for column in _COLUMNS)
_INSERT = f"INSERT OR IGNORE INTO cut (key, {_NAMES}) VALUES (?{', ?' * len(_COLUMNS)})"
_RESTORE = f"INSERT INTO cut (key, rowid, {_NAMES}) VALUES (?, ?{', ?' * len(_COLUMNS)})"
_ONE = f"SELECT rowid, {_NAMES} FROM cut WHERE key = ?"


def default_path() -> Path:
    """Where the user's records live."""
    from platformdirs import user_data_path

    return user_data_path("snugline", appauthor=False) / "fits.sqlite"


class Records:
    """Fit records in a file; every call opens it, so that no lock is held between calls.

    Parameters
    ----------
    path : the file, made at the first `add`; the user's own by default.

    Raises
    ------
    FileError : from every method, when the file holds no records or cannot be read or written.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or default_path()

    def add(self, cut: Cut) -> str:
        """Record a cut, dated today by default; returns its key."""
        _check(cut, "fit record")
        key = uuid4().hex
        self._insert([(key, cut)])
        return key

    def cuts(self) -> tuple[Cut, ...]:
        """All cuts, oldest first; none when there is no file yet."""
        return tuple(cut for _, cut in self.keyed())

    def keyed(self) -> list[tuple[str, Cut]]:
        """All cuts with their keys, oldest first."""
        if not self.path.exists():
            return []
        with self._open() as connection:
            if not _has_cuts(connection):
                return []
            missing = _missing(connection)
            names = ", ".join("NULL" if c in missing else f'"{c}"' for c in _COLUMNS)
            rows = connection.execute(f"SELECT key, {names} FROM cut ORDER BY rowid").fetchall()
        return [(key, _from_row(row)) for key, *row in rows]

    def change(self, key: str, cut: Cut) -> None:
        """Put another cut in the place of the one with that key (its first letters will do)."""
        _check(cut, "fit record")
        with self._changing() as connection:
            whole = self._whole(connection, key)
            self._note(connection, [whole], uuid4().hex)
            row = asdict(cut)
            places = ", ".join(f'"{column}" = ?' for column in _COLUMNS)
            connection.execute(
                f"UPDATE cut SET {places} WHERE key = ?", (*(row[c] for c in _COLUMNS), whole)
            )

    def remove(self, key: str) -> Cut:
        """Take a cut off the record; returns it."""
        with self._changing() as connection:
            whole = self._whole(connection, key)
            cut = _from_row(connection.execute(_ONE, (whole,)).fetchone()[1:])
            self._note(connection, [whole], uuid4().hex)
            connection.execute("DELETE FROM cut WHERE key = ?", (whole,))
        return cut

    def undo(self) -> str:
        """Take back the last change, be it a cut added, changed, removed or a whole import.

        Returns what was done, in words.

        Raises
        ------
        InputError : there is nothing to take back.
        """
        with self._changing() as connection:
            last = connection.execute(
                "SELECT batch FROM change ORDER BY number DESC LIMIT 1"
            ).fetchone()
            if last is None:
                raise InputError("there is nothing to undo", "fit records", "record a cut first")
            rows = connection.execute(
                "SELECT key, before FROM change WHERE batch = ? ORDER BY number DESC", last
            ).fetchall()
            for key, before in rows:
                connection.execute("DELETE FROM cut WHERE key = ?", (key,))
                if before is not None:
                    connection.execute(_RESTORE, (key, *json.loads(before)))
            connection.execute("DELETE FROM change WHERE batch = ?", last)
        added = sum(before is None for _, before in rows)
        if added:
            return f"{added} cut{'s' * (added != 1)} taken off the record"
        return "the cut is as it was before"

    def find(self, key: str) -> tuple[str, Cut]:
        """The cut whose key begins so, with its whole key."""
        matches = [(k, cut) for k, cut in self.keyed() if key and k.startswith(key)]
        if len(matches) != 1:
            raise _unclear(key, len(matches))
        return matches[0]

    def export_to(self, path: Path) -> int:
        """Write all cuts as JSON, or as CSV where the name ends so; returns how many."""
        keyed = self.keyed()
        if path.suffix.lower() == ".csv":
            write_whole(path, written_csv(keyed))
            return len(keyed)
        rows = [{"key": key, **asdict(cut)} for key, cut in keyed]
        write_json(path, {"schema": SCHEMA, "units": "mm", "cuts": rows})
        return len(rows)

    def import_from(self, path: Path) -> int:
        """Add the cuts of an exported file that are not here yet: all of them or, on error, none.

        Returns how many were added.
        """
        try:
            with path.open("rb") as stream:
                content = stream.read(RECORDS_BYTES)
            if path.suffix.lower() == ".csv":
                rows = read_csv(content.decode("utf-8-sig"))
            else:
                record = parsed_json(content, str(path))
                if record["schema"] not in _READ or record["units"] != "mm":
                    raise ValueError("another schema or unit")
                rows = record["cuts"]
            keyed = [(str(row["key"]), _cut(row, str(path))) for row in rows]
        except (OSError, ValueError, KeyError, TypeError) as error:
            if isinstance(error, InputError):
                raise
            raise FileError(
                f"not an export of fit records ({error})",
                str(path),
                "give a file that export wrote",
            ) from error
        return self._insert(keyed)

    def _insert(self, keyed: Sequence[tuple[str, Cut]]) -> int:
        today = date.today().isoformat()
        with self._changing() as connection:
            known = {key for (key,) in connection.execute("SELECT key FROM cut")}
            fresh = [(key, cut) for key, cut in keyed if key not in known]
            self._note(connection, [key for key, _ in fresh], uuid4().hex)
            before = connection.total_changes
            connection.executemany(_INSERT, [(key, *_row(cut, today)) for key, cut in fresh])
            return connection.total_changes - before

    @contextmanager
    def _changing(self) -> Iterator[sqlite3.Connection]:
        """A transaction on a file with its tables."""
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise self._error(error) from error
        with self._open() as connection:
            connection.execute("BEGIN IMMEDIATE")
            for table in _TABLES:
                connection.execute(table)
            _bring_up(connection)
            yield connection
            connection.execute("COMMIT")

    def _note(self, connection: sqlite3.Connection, keys: Sequence[str], batch: str) -> None:
        """Keep how these cuts are now, so that what follows can be undone."""
        rows = [(key, connection.execute(_ONE, (key,)).fetchone(), batch) for key in keys]
        connection.executemany(
            "INSERT INTO change (key, before, batch) VALUES (?, ?, ?)",
            [(key, None if row is None else json.dumps(row), batch) for key, row, batch in rows],
        )

    def _whole(self, connection: sqlite3.Connection, key: str) -> str:
        """The one key that begins so."""
        keys = [
            k for (k,) in connection.execute("SELECT key FROM cut") if key and k.startswith(key)
        ]
        if len(keys) != 1:
            raise _unclear(key, len(keys))
        return str(keys[0])

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        connection = None
        try:
            # No implicit transactions: BEGIN and COMMIT are written where they act.
            connection = sqlite3.connect(self.path, timeout=_WAIT_S, isolation_level=None)
            connection.execute("PRAGMA synchronous = FULL")
            yield connection
        except sqlite3.Error as error:
            raise self._error(error) from error
        finally:
            if connection is not None:
                connection.close()

    def _error(self, error: Exception) -> FileError:
        return FileError(
            f"the fit records cannot be used ({error})",
            str(self.path),
            "check the folder's rights and room; if the file is damaged, move it away and import "
            "your last export",
        )


def _unclear(key: str, count: int) -> InputError:
    what = f"{count} cuts have keys that begin" if count else "no cut has a key that begins"
    return InputError(f"{what} with {key!r}", "fit records", "take the key from the list")


def _has_cuts(connection: sqlite3.Connection) -> bool:
    sought = "SELECT 1 FROM sqlite_master WHERE name = 'cut'"
    return connection.execute(sought).fetchone() is not None


def _bring_up(connection: sqlite3.Connection) -> None:
    """Give a file of an older version the columns it lacks."""
    for column in _missing(connection):
        connection.execute(f"ALTER TABLE cut ADD COLUMN {column} REAL")


def _missing(connection: sqlite3.Connection) -> list[str]:
    there = {row[1] for row in connection.execute("PRAGMA table_info(cut)")}
    return [column for column in _ADDED if column not in there]


def _row(cut: Cut, today: str) -> tuple[Any, ...]:
    return tuple(getattr(replace(cut, on=cut.on or today), column) for column in _COLUMNS)


def _from_row(row: Sequence[Any]) -> Cut:
    cut = Cut(**dict(zip(_COLUMNS, row, strict=True)))
    return replace(cut, verdict=verdict_of(cut.verdict))


def _cut(row: dict[str, Any], where: str) -> Cut:
    try:
        cut = Cut(**{c: row[c] for c in _COLUMNS if c in row or c not in _ADDED})
        for name in ("clearance", "cutter", "part_u"):
            float(getattr(cut, name))
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"a cut without a usable {error}", where, "give a file that export wrote"
        ) from error
    cut = replace(cut, verdict=verdict_of(cut.verdict, where))
    _check(cut, where)
    return cut


def _check(cut: Cut, where: str) -> None:
    verdict_of(cut.verdict, where)
    rigid = fit_of(cut.kind, where).rigid
    least = min(cut.along_length[0], cut.along_width[0])
    if not math.isfinite(least) or (rigid and least < 0):
        raise InputError(
            f"a clearance of {cut.clearance:g} mm is negative",
            where,
            "give the gap per side that was drawn, 0 mm or more",
        )
    for name in ("machine", "wood"):
        if not getattr(cut, name).strip():
            raise InputError(f"no {name} is named", where, f"name the {name} of this cut")
