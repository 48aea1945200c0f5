"""Acceptance tests as kept: one file for each phone, sheet and object in the user's data folder."""

import hashlib
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from pathlib import Path
from typing import Any

from snugline.desk.acceptance_run import AcceptanceTest
from snugline.errors import FileError, SnuglineError
from snugline.files import why, write_json
from snugline.fit.acceptance import largest, scale_error
from snugline.limits import RECORDS_BYTES
from snugline.sentence import Sentence, length
from snugline.trace.image.photo_file import read_exif
from snugline.trace.sheet.frame_description import AnyFrame, Frame
from snugline.untrusted import parsed_json

SCHEMA = "snugline/acceptance/1"
# Bars of one print read twice may differ by this share, mm per mm, beside their uncertainties.
_SAME_SCALE = 1e-4


@dataclass(frozen=True)
class Phone:
    """What identifies a phone and which of its lenses took a photo, from EXIF."""

    make: str | None
    model: str | None
    lens: str | None
    focal_mm: float | None

    @property
    def name(self) -> str:
        """Make and model; empty where the photo says neither."""
        known = self.model or ""
        if self.make and not known.casefold().startswith(self.make.casefold()):
            known = f"{self.make} {known}".strip()
        return known

    def as_json(self) -> dict[str, Any]:
        return {
            "make": self.make,
            "model": self.model,
            "lens": self.lens,
            "focal_mm": self.focal_mm,
        }


def phone_of(file: Path) -> Phone | None:
    """The phone that took a photo; None where the file cannot be read or says nothing."""
    try:
        exif = read_exif(file)
    except SnuglineError:
        return None
    phone = Phone(exif.make, exif.model, exif.lens, exif.focal_mm)
    return phone if phone.name else None


def phone_of_all(files: Sequence[Path]) -> Phone | None:
    """The one phone that took all photos; None where they are of several, or do not say."""
    phones = {phone_of(file) for file in files}
    return phones.pop() if len(phones) == 1 else None


def acceptance_folder() -> Path:
    """Where tests are kept: in the user's data folder, beside the records of fits."""
    from platformdirs import user_data_path

    return user_data_path("snugline", appauthor=False) / "acceptance"


def record_of(
    test: AcceptanceTest, phone: Phone | None, frame: Frame, on: date | None = None
) -> dict[str, Any]:
    """A test as it is kept and printed by `--json`."""
    worst = largest(test.errors)
    share, share_u95 = scale_error(test.errors)
    return {
        "schema": SCHEMA,
        "units": "mm",
        "date": (on or date.today()).isoformat(),
        "phone": None if phone is None else phone.as_json() | {"name": phone.name},
        "sheet": {
            "name": frame.name,
            "scale": list(frame.scale),
            "scale_u": list(frame.scale_u),
            "bars_read": bool(frame.bar_readings),
        },
        "object": test.reference.name,
        "object_words": test.reference.words,
        "source": test.reference.source,
        "mpe": test.mpe,
        "decision": test.decision,
        "largest": {
            "of": worst.of,
            "error": round(worst.error, 4),
            "u95": round(worst.u95, 4),
        },
        "share": round(share, 6),
        "share_u95": round(share_u95, 6),
        "errors": [error.as_json() for error in test.errors],
        "warnings": [notice.as_json() for notice in test.notices],
    }


def save(record: dict[str, Any], folder: Path) -> Path:
    """Keep a test; one of the same phone, print and object gives way to it. Gives the file."""
    phone = record["phone"] or {}
    sheet = record["sheet"]
    scale = [round(value, 4) for value in sheet["scale"]]
    key = [phone.get("make"), phone.get("model"), phone.get("lens"), phone.get("focal_mm")]
    digest = hashlib.sha256(
        repr((key, sheet["name"], scale, record["object"])).encode()
    ).hexdigest()[:8]
    words = f"{phone.get('name') or 'phone'} {sheet['name']} {record['object']}".casefold()
    path = folder / f"{re.sub(r'[^a-z0-9]+', '-', words).strip('-')}-{digest}.json"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(
            f"cannot make the folder ({why(error)})", str(folder), "check its permissions"
        ) from error
    write_json(path, record)
    return path


def read_tests(folder: Path) -> list[dict[str, Any]]:
    """The tests of known phones in a folder, newest first; a damaged file is passed over.

    A job's result must not fail for a record that only comments on it.
    """
    found = []
    for path in sorted(folder.glob("*.json")):
        try:
            with path.open("rb") as stream:
                record = parsed_json(stream.read(RECORDS_BYTES), str(path))
            if record["schema"] == SCHEMA and record["phone"] is not None and _short(record):
                found.append(record)
        except (OSError, SnuglineError, ValueError, KeyError, TypeError, AttributeError):
            continue
    return sorted(found, key=lambda record: record["date"], reverse=True)


def earlier_tests(
    files: Iterable[Path], frames: Sequence[AnyFrame], tests: Sequence[dict[str, Any]]
) -> list[dict[str, Any]]:
    """The newest test of each phone and sheet of a job, in the form of `result.json`."""
    phones = {phone_of(file) for file in files} - {None}
    found: dict[tuple[Phone | None, str], dict[str, Any]] = {}
    for frame in frames:
        for record in tests:
            key = _key(record)
            if key[0] in phones and isinstance(frame, Frame) and _same_print(record, frame):
                found.setdefault(key, record)
    return [_short(record) for record in found.values()]


def _key(record: dict[str, Any]) -> tuple[Phone | None, str]:
    phone = record["phone"]
    known = None if phone is None else Phone(*(phone[of.name] for of in fields(Phone)))
    return known, str(record["sheet"]["name"])


def _same_print(record: dict[str, Any], frame: Frame) -> bool:
    """Whether name and bars are those of the sheet that was tested."""
    sheet = record["sheet"]
    if sheet["name"] != frame.name or sheet["bars_read"] != bool(frame.bar_readings):
        return False
    return all(
        abs(tested - now) <= _SAME_SCALE + 2 * math.hypot(u, u_now)
        for tested, now, u, u_now in zip(
            sheet["scale"], frame.scale, sheet["scale_u"], frame.scale_u, strict=True
        )
    )


def _short(record: dict[str, Any]) -> dict[str, Any]:
    kept = ("date", "object", "object_words", "mpe", "decision", "largest")
    short = {key: record[key] for key in kept}
    short |= {"phone": record["phone"]["name"], "sheet": record["sheet"]["name"]}
    return short | {"text": str(told(short))}


def told(short: Mapping[str, Any]) -> Sentence:
    """A test of `earlier_tests` in one sentence."""
    said = {"passes": "passed", "fails": "failed", "not decided": "was not decided"}
    worst = short["largest"]
    return Sentence(
        "{phone} on {sheet}, acceptance test of {date} ({thing}): {said}; largest size error "
        "{} (U95 {}), limit {}.",
        length(worst["error"], signed=True),
        length(worst["u95"]),
        length(short["mpe"]),
        phone=short["phone"],
        sheet=short["sheet"],
        date=short["date"],
        thing=short["object_words"],
        said=said[short["decision"]],
    )
