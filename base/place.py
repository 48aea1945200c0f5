"""What an error or a remark is about, and where it shows, as values that programs can read."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class OfPhoto:
    """A photo of the job, by its file as the job names it."""

    file: str

    def __str__(self) -> str:
        return self.file

    def as_json(self) -> dict[str, Any]:
        return {"photo": self.file}


@dataclass(frozen=True)
class OfReading:
    """A hand reading: its number in the job, from 1, its dimension and its tool."""

    number: int
    what: str
    tool: str

    def __str__(self) -> str:
        return f"reading {self.number} ({self.what}, {self.tool})"

    def as_json(self) -> dict[str, Any]:
        return {"reading": self.number, "what": self.what, "tool": self.tool}


@dataclass(frozen=True)
class OfKey:
    """A key of the job, or of another file with tables.

    Parameters
    ----------
    path : names of tables and keys; the place of a table in a list as a number from 0.
    file : that holds it, as it is shown.
    in_table : False for a key above the first table.

    Examples
    --------
    >>> str(OfKey(("reading", 1, "tool"), "job.toml"))
    'job.toml, [[reading]] 2, tool'
    >>> str(OfKey(("pocket", "wood", "now")))
    '[pocket], wood.now'
    """

    path: tuple[str | int, ...] = ()
    file: str = ""
    in_table: bool = True

    def __str__(self) -> str:
        return ", ".join(filter(None, (self.file, self._inner())))

    def _inner(self) -> str:
        if not self.path:
            return ""
        table, *rest = self.path
        if not self.in_table:
            return str(table)
        head = f"[{table}]"
        if rest and isinstance(rest[0], int):
            head, rest = f"[[{table}]] {rest[0] + 1}", rest[1:]
        keys = "".join(f"[{k + 1}]" if isinstance(k, int) else f".{k}" for k in rest)
        return f"{head}, {keys.removeprefix('.')}" if keys else head

    def __truediv__(self, key: str | int) -> "OfKey":
        """The key below it."""
        return OfKey((*self.path, key), self.file, self.in_table)

    def as_json(self) -> dict[str, Any]:
        keys = [f"[{k + 1}]" if isinstance(k, int) else f".{k}" for k in self.path]
        return {"key": "".join(keys).removeprefix(".")}


@dataclass(frozen=True)
class OfPart:
    """A corner, side or end of the part, or another thing that has a name."""

    name: str

    def __str__(self) -> str:
        return self.name

    def as_json(self) -> dict[str, Any]:
        return {"name": self.name}


About = OfPhoto | OfReading | OfKey | OfPart
Where = About | str


@dataclass(frozen=True)
class Region:
    """A box in a displayed photo's pixels: left, top, right, bottom."""

    px: tuple[float, float, float, float]
    photo: str = ""

    def as_json(self) -> dict[str, Any]:
        record: dict[str, Any] = {"region_px": list(self.px)}
        return {"photo": self.photo, **record} if self.photo else record


@dataclass(frozen=True)
class Position:
    """A position in mm, in the axes of what it is about."""

    mm: tuple[float, float]

    def as_json(self) -> dict[str, Any]:
        return {"mm": list(self.mm)}


Place = Region | Position


def about_from_json(record: dict[str, Any]) -> About:
    """The value that `as_json` wrote."""
    if "photo" in record:
        return OfPhoto(record["photo"])
    if "reading" in record:
        return OfReading(record["reading"], record["what"], record["tool"])
    if "key" in record:
        steps = record["key"].replace("[", ".[").split(".")
        return OfKey(tuple(int(s[1:-1]) - 1 if s.startswith("[") else s for s in steps if s))
    return OfPart(record["name"])


def place_from_json(record: dict[str, Any]) -> Place:
    """The value that `as_json` wrote."""
    if "mm" in record:
        x, y = record["mm"]
        return Position((x, y))
    left, top, right, bottom = record["region_px"]
    return Region((left, top, right, bottom), record.get("photo", ""))
