"""JSON and TOML from anyone: looked over before they are parsed, checked after.

A parser may take minutes and gigabytes for a few kilobytes made for it (`a.a.a.a... = 1`), and
some values that it gives (nan, whole numbers of a thousand digits) break what comes after.
"""

import json
import math
import re
import tomllib
from typing import Any

from snugline.errors import FileError, InputError
from snugline.limits import DEPTH, KEYS, TEXT, WHOLE_NUMBER
from snugline.place import OfKey

# Comments and texts in one pass; each alternative ends where it began to go wrong, so the time
# is that of the length.
_QUOTED = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*(?:"""|\Z)'
    r"|'''(?:[^']|'(?!''))*(?:'''|\Z)"
    r'|"(?:[^"\\\n]|\\.)*(?:"|$)'
    r"|'[^'\n]*(?:'|$)"
    r"|\#[^\n]*",
    re.DOTALL | re.MULTILINE,
)
_JSON_TEXT = re.compile(r'"(?:[^"\\]|\\.)*(?:"|\Z)', re.DOTALL)
_DOTTED = re.compile(rf"(?<![\w\-\0])[\w\-\0]+(?:[ \t]*\.[ \t]*[\w\-\0]+){{{DEPTH}}}")
_LONG_NUMBER = re.compile(r"[0-9_]{40}")
_BRACKET = re.compile(r"[\[\]{}]")
_MEND = "give a file as Snugline or a person writes it"


def parsed_toml(content: bytes, where: str) -> dict[str, Any]:
    """What a TOML file holds, every value in bounds.

    A byte-order mark and Windows' line ends are read over.

    Raises
    ------
    FileError : it is not TOML, or not such as a person writes.
    InputError : a value out of bounds; `where` names its key.
    """
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise FileError(
            f"is not text in UTF-8 (line {line})", where, "save it as UTF-8 in the editor"
        ) from error
    _look_over(_QUOTED.sub("\0", text), where)
    try:
        record = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise FileError(
            f"is not TOML ({error})", where, 'correct that line; put every text in "quotes"'
        ) from error
    check_values(record, where)
    return record


def parsed_json(content: bytes, where: str) -> Any:
    """What a JSON file holds; nesting is bounded and every number finite.

    Raises
    ------
    FileError : it is not JSON, or nested too deeply, or holds NaN.
    """
    try:
        text = content.decode("utf-8-sig")
        _look_over(_JSON_TEXT.sub("\0", text), where, keys=None, depth=100)
        return json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        if isinstance(error, FileError):
            raise
        raise FileError(f"is not JSON ({error})", where, _MEND) from error


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def _look_over(bare: str, where: str, keys: int | None = KEYS, depth: int = DEPTH) -> None:
    """Refuse what would keep the parser busy; `bare` is the text without texts and comments."""
    now = deepest = 0
    for match in _BRACKET.finditer(bare):
        now += 1 if match[0] in "[{" else -1
        deepest = max(deepest, now)
        if deepest > depth:
            line = bare.count("\n", 0, match.start()) + 1
            raise FileError(f"is nested more than {depth} deep (about line {line})", where, _MEND)
    if (number := _LONG_NUMBER.search(bare)) is not None:
        line = bare.count("\n", 0, number.start()) + 1
        raise FileError(f"holds a number without end (about line {line})", where, _MEND)
    if keys is None:
        return
    if (dotted := _DOTTED.search(bare)) is not None:
        line = bare.count("\n", 0, dotted.start()) + 1
        raise FileError(f"has a key of more than {DEPTH} parts (about line {line})", where, _MEND)
    if bare.count("=") > keys or bare.count("[") > keys or bare.count(",") > keys:
        raise FileError(f"holds more than {keys} keys or values", where, _MEND)


def check_values(value: Any, where: str, key: tuple[str | int, ...] = ()) -> None:
    """Refuse values that no key of a job can have: nan, inf, numbers and texts without end.

    Raises
    ------
    InputError : it is about the key.
    """
    if isinstance(value, dict):
        for name, inner in value.items():
            check_values(inner, where, (*key, name))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            check_values(inner, where, (*key, number))
    else:
        _check_value(value, OfKey(key, where, in_table=len(key) > 1))


def _check_value(value: Any, where: OfKey) -> None:
    if isinstance(value, float) and not math.isfinite(value):
        raise InputError(f"{value} is not a finite number", where, "write a number")
    if isinstance(value, int | float) and abs(value) > WHOLE_NUMBER:
        raise InputError("the number is too large", where, "write a smaller one")
    if isinstance(value, str) and len(value) > TEXT:
        raise InputError(f"the text has {len(value)} letters", where, f"write {TEXT} at most")
