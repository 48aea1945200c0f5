"""The shop's own records of cuts, in one small SQLite file in the user's data folder.

Each cut is one transaction, on disk before `add` returns. SQLite's rollback journal undoes what a
killed program left half done, and its locks let several programs write in turn.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, fields
from datetime import date
from pathlib import Path
from typing import Any
from uuid import uuid4

from snugline.errors import FileError, InputError
from snugline.files import write_json
from snugline.limits import RECORDS_BYTES
from snugline.pocket.fits import fit_of, verdict_of
from snugline.pocket.overcut import Cut
from snugline.untrusted import parsed_json

SCHEMA = "snugline/fit-records/1"
_WAIT_S = 30.0  # for another program's transaction
_COLUMNS = tuple(f.name for f in fields(Cut))
_TABLE = """
CREATE TABLE IF NOT EXISTS cut (
  key TEXT PRIMARY KEY,
  clearance REAL NOT NULL, verdict TEXT NOT NULL, wood TEXT NOT NULL, machine TEXT NOT NULL,
  cutter REAL NOT NULL, kind TEXT NOT NULL, part TEXT NOT NULL, part_u REAL NOT NULL,
  opening_error REAL, "on" TEXT NOT NULL
)"""
_NAMES = ", ".join(f'"{column}"' for column in _COLUMNS)
_INSERT = f"INSERT OR IGNORE INTO cut (key, {_NAMES}) VALUES (?{', ?' * len(_COLUMNS)})"
_SELECT = f"SELECT key, {_NAMES} FROM cut ORDER BY rowid"


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
    FileError : from every method, when the file is no such record or cannot be read or written.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or default_path()

    def add(self, cut: Cut) -> str:
        """Put a cut on record, dated today unless it says; returns its key."""
        _check(cut, "fit record")
        key = uuid4().hex
        self._insert([(key, cut)])
        return key

    def cuts(self) -> tuple[Cut, ...]:
        """All cuts, oldest first; none when there is no file yet."""
        return tuple(cut for _, cut in self._keyed())

    def export_to(self, path: Path) -> int:
        """Write all cuts as JSON; returns how many."""
        keyed = self._keyed()
        rows = [{"key": key, **asdict(cut)} for key, cut in keyed]
        write_json(path, {"schema": SCHEMA, "units": "mm", "cuts": rows})
        return len(rows)

    def import_from(self, path: Path) -> int:
        """Add the cuts of an exported file that are not here yet: all of them or, on error, none.

        Returns how many were added.
        """
        try:
            with path.open("rb") as stream:
                record = parsed_json(stream.read(RECORDS_BYTES), str(path))
            if record["schema"] != SCHEMA or record["units"] != "mm":
                raise ValueError("another schema or unit")
            keyed = [(str(row["key"]), _cut(row, str(path))) for row in record["cuts"]]
        except (OSError, ValueError, KeyError, TypeError) as error:
            if isinstance(error, InputError):
                raise
            raise FileError(
                f"no export of fit records ({error})", str(path), "give a file that export wrote"
            ) from error
        return self._insert(keyed)

    def _insert(self, keyed: list[tuple[str, Cut]]) -> int:
        today = date.today().isoformat()
        rows = [
            (key, *(getattr(cut, c) for c in _COLUMNS[:-1]), cut.on or today) for key, cut in keyed
        ]
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise self._error(error) from error
        with self._open() as connection:
            connection.execute("BEGIN IMMEDIATE")
            connection.execute(_TABLE)
            before = connection.total_changes
            connection.executemany(_INSERT, rows)
            added = connection.total_changes - before
            connection.execute("COMMIT")
        return added

    def _keyed(self) -> list[tuple[str, Cut]]:
        if not self.path.exists():
            return []
        with self._open() as connection:
            if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'cut'").fetchone():
                return []
            rows = connection.execute(_SELECT).fetchall()
        return [(key, Cut(**dict(zip(_COLUMNS, row, strict=True)))) for key, *row in rows]

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        connection = None
        try:
            # No implicit transactions: BEGIN and COMMIT stand where they act.
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


def _cut(row: dict[str, Any], where: str) -> Cut:
    try:
        cut = Cut(**{c: row[c] for c in _COLUMNS})
        for name in ("clearance", "cutter", "part_u"):
            float(getattr(cut, name))
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            f"a cut without a usable {error}", where, "give a file that export wrote"
        ) from error
    _check(cut, where)
    return cut


def _check(cut: Cut, where: str) -> None:
    verdict_of(cut.verdict, where)
    fit_of(cut.kind, where)
    if not cut.clearance >= 0:
        raise InputError(
            f"a clearance of {cut.clearance:g} mm is negative",
            where,
            "give the gap per side that was drawn, 0 mm or more",
        )
    for name in ("machine", "wood"):
        if not getattr(cut, name).strip():
            raise InputError(f"no {name} is named", where, f"name the {name} of this cut")
