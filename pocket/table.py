"""Reading a table of a job file: each key once, lengths with units, unknown keys refused."""

import difflib
import math
from collections.abc import Callable, Mapping
from typing import Any, TypeVar, cast

from snugline.errors import InputError
from snugline.lengths import format_length, parse_length
from snugline.limits import CLEARANCES, LONGEST, OPENINGS, SHORTEST
from snugline.place import OfKey

T = TypeVar("T")


class Table:
    """A table being read: each key is taken once, and what is left at the end is unknown."""

    def __init__(self, record: Any, where: OfKey) -> None:
        if not isinstance(record, Mapping):
            raise InputError(f"{record!r} is not a table", where, "write it as { key = value }")
        self.record = record
        self.where = where
        self.known: list[str] = []

    def place(self, key: str) -> OfKey:
        return self.where / key

    def get(self, key: str, read: Callable[[Any, OfKey], Any], otherwise: Any) -> Any:
        self.known.append(key)
        if key not in self.record:
            return otherwise
        return read(self.record[key], self.place(key))

    def required(self, key: str, read: Callable[[Any, OfKey], Any]) -> Any:
        if key not in self.record:
            raise InputError(f"the key {key!r} is missing", self.where, f"add {key} = ...")
        return self.get(key, read, None)

    def length(
        self,
        key: str,
        otherwise: Any = ...,
        least: float = -math.inf,
        above: float = -math.inf,
        most: float = LONGEST,
    ) -> Any:
        def read(value: Any, where: OfKey) -> float:
            mm = parse_length(value, where)
            if mm < least or mm <= above or (above == 0 and mm < SHORTEST):
                raise InputError(
                    f"{value!r} is too small",
                    where,
                    f"give {least:g} mm or more" if mm < least else f"give more than {above:g} mm",
                )
            if abs(mm) > most:
                raise InputError(
                    f"{value!r} is too large", where, f"give {format_length(most)} at most"
                )
            return mm

        return self.required(key, read) if otherwise is ... else self.get(key, read, otherwise)

    def word(self, key: str, words: tuple[str, ...]) -> str | None:
        return cast(str | None, self.get(key, lambda v, w: word(v, words, w), None))

    def flag(self, key: str) -> bool:
        def read(value: Any, where: OfKey) -> bool:
            if not isinstance(value, bool):
                raise InputError(
                    f"{value!r} is neither true nor false", where, "write true or false"
                )
            return value

        return bool(self.get(key, read, False))

    def number(self, key: str, low: float, high: float, otherwise: Any = None) -> Any:
        def read(value: Any, where: OfKey) -> float:
            good = isinstance(value, int | float) and not isinstance(value, bool)
            if not good or not low <= value <= high:
                raise InputError(
                    f"{value!r} is not a number from {low:g} to {high:g}",
                    where,
                    f"write a number from {low:g} to {high:g}, without a unit",
                )
            return float(value)

        return self.get(key, read, otherwise)

    def table(self, key: str, read: "Callable[[Table], Any]") -> Any:
        return self.get(key, lambda value, where: whole(value, where, read), None)

    def tables(self, key: str, read: "Callable[[Table], Any]") -> Any:
        def all_of(value: Any, where: OfKey) -> tuple[Any, ...]:
            several = _few(value if isinstance(value, list) else [value], OPENINGS, where)
            return tuple(whole(v, where / i, read) for i, v in enumerate(several))

        return self.get(key, all_of, ())

    def each(self, key: str, read: Callable[[Any, OfKey], T]) -> tuple[T, ...]:
        def all_of(value: Any, where: OfKey) -> tuple[T, ...]:
            several = _few(value if isinstance(value, list) else [value], CLEARANCES, where)
            if not several:
                raise InputError("the list is empty", where, "give one value or more")
            made = tuple(read(v, where) for v in several)
            if len(set(made)) < len(made):
                raise InputError("a value is given twice", where, "give each value once")
            return made

        return cast(tuple[T, ...], self.required(key, all_of))

    def done(self) -> None:
        for key in self.record:
            if key not in self.known:
                near = difflib.get_close_matches(key, self.known, n=1)
                mend = f"write {near[0]}" if near else f"use only: {', '.join(self.known)}"
                raise InputError(f"the key {key!r} is not known", self.place(key), mend)


def _few(values: list[Any], most: int, where: OfKey) -> list[Any]:
    if len(values) > most:
        raise InputError(f"there are {len(values)} of them", where, f"give {most} at most")
    return values


def whole(value: Any, where: OfKey, read: Callable[[Table], Any]) -> Any:
    table = Table(value, where)
    made = read(table)
    table.done()
    return made


def text(value: Any, where: OfKey) -> str:
    if not isinstance(value, str):
        raise InputError(f"{value!r} is not a text", where, "write it in quotation marks")
    return value


def word(value: Any, words: tuple[str, ...], where: OfKey) -> str:
    if value not in words:
        raise InputError(f"{value!r} is not known", where, f"use one of: {', '.join(words)}")
    return str(value)
