"""Reading a table of a job file: each key once, lengths with units, unknown keys refused."""

import difflib
import math
from collections.abc import Callable, Mapping
from typing import Any, TypeVar, cast

from snugline.errors import InputError
from snugline.lengths import parse_length

T = TypeVar("T")


class Table:
    """A table being read: each key is taken once, and what is left at the end is unknown."""

    def __init__(self, record: Any, where: str) -> None:
        if not isinstance(record, Mapping):
            raise InputError(f"{record!r} is not a table", where, "write it as { key = value }")
        self.record = record
        self.where = where
        self.known: list[str] = []

    def place(self, key: str) -> str:
        return f"{self.where}.{key}"

    def get(self, key: str, read: Callable[[Any, str], Any], otherwise: Any) -> Any:
        self.known.append(key)
        if key not in self.record:
            return otherwise
        return read(self.record[key], self.place(key))

    def required(self, key: str, read: Callable[[Any, str], Any]) -> Any:
        if key not in self.record:
            raise InputError(f"the key {key!r} is missing", self.where, f"add {key} = ...")
        return self.get(key, read, None)

    def length(
        self, key: str, otherwise: Any = ..., least: float = -math.inf, above: float = -math.inf
    ) -> Any:
        def read(value: Any, where: str) -> float:
            mm = parse_length(value, where)
            if mm < least or mm <= above:
                raise InputError(
                    f"{value!r} is too small",
                    where,
                    f"give {least:g} mm or more" if mm < least else f"give more than {above:g} mm",
                )
            return mm

        return self.required(key, read) if otherwise is ... else self.get(key, read, otherwise)

    def word(self, key: str, words: tuple[str, ...]) -> str | None:
        return cast(str | None, self.get(key, lambda v, w: word(v, words, w), None))

    def flag(self, key: str) -> bool:
        def read(value: Any, where: str) -> bool:
            if not isinstance(value, bool):
                raise InputError(
                    f"{value!r} is neither true nor false", where, "write true or false"
                )
            return value

        return bool(self.get(key, read, False))

    def number(self, key: str, low: float, high: float, otherwise: Any = None) -> Any:
        def read(value: Any, where: str) -> float:
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
        def all_of(value: Any, where: str) -> tuple[Any, ...]:
            several = value if isinstance(value, list) else [value]
            return tuple(whole(v, f"{where}[{i}]", read) for i, v in enumerate(several, start=1))

        return self.get(key, all_of, ())

    def each(self, key: str, read: Callable[[Any, str], T]) -> tuple[T, ...]:
        def all_of(value: Any, where: str) -> tuple[T, ...]:
            several = value if isinstance(value, list) else [value]
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


def whole(value: Any, where: str, read: Callable[[Table], Any]) -> Any:
    table = Table(value, where)
    made = read(table)
    table.done()
    return made


def text(value: Any, where: str) -> str:
    if not isinstance(value, str):
        raise InputError(f"{value!r} is not a text", where, "write it in quotation marks")
    return value


def word(value: Any, words: tuple[str, ...], where: str) -> str:
    if value not in words:
        raise InputError(f"{value!r} is not known", where, f"use one of: {', '.join(words)}")
    return str(value)
