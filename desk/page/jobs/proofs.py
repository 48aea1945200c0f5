"""The acceptance test on the page: photos taken in, measured, told, and the tests that are kept.

The photos lie in a temporary folder until the server ends; only the result is kept, where the
command keeps its own.
"""

import os
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from snugline.counting import counted
from snugline.desk.page.jobs.prints import remember
from snugline.errors import InputError
from snugline.lengths import parse_length
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.sentence import Sentence

MOST_PHOTOS = 12  # of one test
_READINGS = 10  # of one bar
_LYING = 48  # that lie ready at a time; the oldest go
_NO_PHONE = Notice(
    "no-phone",
    "The photos do not name one phone: later reports cannot name this test.",
    "Send them as the phone took them, all from one phone and lens.",
    "fine",
)


class ProofPhotos:
    """Photos of tests, each under a name made from its content."""

    def __init__(self) -> None:
        self._folder: Path | None = None

    @property
    def folder(self) -> Path:
        """Where they lie; made when it is first asked for."""
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="snugline-proof-"))
        return self._folder

    def take(self, temporary: Path, digest: str, ending: str) -> str:
        """Keep a photo that has come in; gives its id."""
        ident = f"{digest[:24]}.{ending}"
        os.replace(temporary, self.folder / ident)
        lying = sorted(self._all(), key=lambda path: path.stat().st_mtime)
        for path in lying[: max(0, len(lying) - _LYING)]:
            path.unlink(missing_ok=True)
        return ident

    def find(self, idents: Any) -> list[Path]:
        """The photos of a test, in their order.

        Raises
        ------
        InputError : none, too many, one twice, or one that is not there.
        """
        if not isinstance(idents, list) or not idents:
            raise InputError("no photo was added yet", "photos", "add three or more")
        if len(idents) > MOST_PHOTOS:
            said = counted(len(idents), "photo")
            raise InputError(said, "photos", f"send {MOST_PHOTOS} at most")
        lying = {path.name: path for path in self._all()}
        if len(set(map(str, idents))) < len(idents) or not set(idents) <= lying.keys():
            raise InputError("a photo is missing", "photos", "add the photos again")
        return [lying[ident] for ident in idents]

    def end(self) -> None:
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)

    def _all(self) -> list[Path]:
        return [path for path in self.folder.iterdir() if path.is_file()]


def objects() -> list[dict[str, Any]]:
    """What can be tested on, with its published sizes."""
    from snugline.fit.reference_objects import OBJECTS

    return [
        {
            "name": one.name,
            "words": one.words,
            "sizes": [{"of": size.of, "value": size.value} for size in one.sizes],
            "thickness": one.thickness.value,
            "source": one.source,
        }
        for one in OBJECTS.values()
    ]


def kept_tests() -> list[dict[str, Any]]:
    """The tests of known phones, newest first, each in one sentence and with its key."""
    from snugline.desk.acceptance_records import acceptance_folder, read_tests, told

    return [
        {
            "date": test["date"],
            "phone": test["phone"]["name"],
            "sheet": test["sheet"]["name"],
            "object": test["object_words"],
            "decision": test["decision"],
            "told": _said(told({**test, "phone": test["phone"]["name"],
                                "sheet": test["sheet"]["name"]})),
        }
        for test in read_tests(acceptance_folder())
    ]  # fmt: skip


def proved(photos: Sequence[Path], asked: Mapping[str, Any]) -> dict[str, Any]:
    """Run a test in a worker process, keep it, and tell it.

    Parameters
    ----------
    asked : `sheet`, `bar_x`, `bar_y` (lists of texts), `object`, `mpe`, and of a block `length`,
        `width`, `thickness`, `limit`; lengths as typed.

    Raises
    ------
    SnuglineError : a length that is none, an object that is not known, a photo that cannot be
        measured or shows something else.
    """
    from snugline.desk.acceptance_records import acceptance_folder, phone_of_all, record_of, save
    from snugline.desk.acceptance_run import run_acceptance
    from snugline.desk.acceptance_words import (
        decision_words,
        largest_words,
        object_of,
        scale_words,
    )
    from snugline.fit.acceptance import DEFAULT_MPE
    from snugline.trace.known_cameras import lens_finder
    from snugline.trace.sheet.frame_description import Frame

    mpe = _length(asked, "mpe") or DEFAULT_MPE
    sizes = _length(asked, "length"), _length(asked, "width"), _length(asked, "thickness")
    reference = object_of(str(asked.get("object", "")), sizes, _length(asked, "limit"))
    sheet = _printed(asked)
    with tempfile.TemporaryDirectory(dir=photos[0].parent) as name:
        files = [Path(name) / f"photo-{n}{p.suffix}" for n, p in enumerate(photos, 1)]
        for photo, file in zip(photos, files, strict=True):
            shutil.copyfile(photo, file)
        test = run_acceptance(files, sheet, reference, mpe, lens_finder(None))
        phone = phone_of_all(files)
    assert isinstance(sheet, Frame)  # anything else was refused
    record = record_of(test, phone, sheet)
    save(record, acceptance_folder())
    bars = {key: asked.get(key) for key in ("bar_x", "bar_y")}
    remember({"description": asked.get("sheet"), **bars}, None)
    notices = [*test.notices, *([] if phone is not None else [_NO_PHONE])]
    scale = scale_words(record)
    return {
        **record,
        "warnings": [{**n.as_json(), "where": str(n.about or "")} for n in notices],
        "told": [_said(s) for s in (decision_words(record), largest_words(record), scale) if s],
    }


def _printed(asked: Mapping[str, Any]) -> Any:
    """The sheet as printed, with its bars.

    Raises
    ------
    InputError : not a built-in sheet, or bars that cannot be.
    """
    from snugline.trace.sheet.builtin_sheets import parsed_name
    from snugline.trace.sheet.frame_description import read_frame, with_print_scale

    sheet = str(asked.get("sheet", ""))
    if parsed_name(sheet) is None:
        raise InputError("no sheet is chosen", "sheet", "choose the sheet that lies there")
    return with_print_scale(read_frame(sheet), _bar(asked, "bar_x"), _bar(asked, "bar_y"))


def _bar(asked: Mapping[str, Any], key: str) -> list[float]:
    texts = asked.get(key) or []
    if not isinstance(texts, list) or len(texts) > _READINGS:
        raise InputError("is not a list of readings", key, "type one or two")
    return [parse_length(text, OfKey((key,))) for text in texts]


def _length(asked: Mapping[str, Any], key: str) -> float | None:
    text = asked.get(key)
    if text in (None, ""):
        return None
    mm = parse_length(str(text), OfKey((key,)))
    if not mm > 0:
        raise InputError(f"{text!r} is not above zero", OfKey((key,)), "measure it again")
    return mm


def _said(sentence: Sentence) -> dict[str, Any]:
    return {"text": str(sentence), **sentence.as_json()}
