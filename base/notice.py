"""A remark that travels with a result: what was noticed, how bad it is and what to do."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Literal

from snugline.place import About, OfPart, Place, Region, about_from_json, place_from_json
from snugline.sentence import Figure, Sentence, pair_from_json

Severity = Literal["fine", "usable", "retake", "note", "check", "cannot be cut"]

# How far each lowers trust: of photos and readings in the first row, of a plan in the second.
GRAVITY: dict[Severity, int] = {"fine": 0, "usable": 1, "retake": 2}
GRAVITY |= {"note": 0, "check": 1, "cannot be cut": 2}


@dataclass(frozen=True, init=False)
class Notice:
    """One remark of a measurement or a plan.

    Attributes
    ----------
    code : stable name in lower case with hyphens, for programs and tests.
    text : one sentence with the figures that caused it.
    mend : the remedy, one sentence.
    severity : of a photo or a reading `fine` is for information, `usable` lowers trust, `retake`
        means that the result cannot be relied on; of a plan `note`, `check`, `cannot be cut`.
    about : the photo, reading, key or piece of the part; None for the whole job.
    place : where it shows, in a photo or on the part.
    """

    code: str
    text: Sentence
    mend: Sentence
    severity: Severity
    about: About | None
    place: Place | None

    def __init__(
        self,
        code: str,
        text: str,
        mend: str,
        severity: Severity = "usable",
        about: About | str | None = None,
        place: Place | None = None,
    ) -> None:
        if isinstance(about, str):
            about = OfPart(about) if about else None
        values = (code, Sentence.of(text), Sentence.of(mend), severity, about, place)
        for field, value in zip(fields(self), values, strict=True):
            object.__setattr__(self, field.name, value)

    @property
    def gravity(self) -> int:
        """0 for information, 1 for a doubt, 2 where the result cannot be used."""
        return GRAVITY[self.severity]

    @property
    def figures(self) -> tuple[Figure, ...]:
        """The quantities of text and mend, in the order in which they are read."""
        return (*self.text.figures, *self.mend.figures)

    @property
    def region_px(self) -> tuple[float, float, float, float] | None:
        """Its box in the displayed photo, where it has one."""
        return self.place.px if isinstance(self.place, Region) else None

    def as_json(self) -> dict[str, Any]:
        """The form under `warnings` in the file contracts.

        `templates` are text and mend with `{}` for each of the `figures`.
        """
        record: dict[str, Any] = {"code": self.code, "text": str(self.text), "mend": str(self.mend)}
        record["severity"] = self.severity
        if self.about is not None:
            record["about"] = self.about.as_json()
        if self.place is not None:
            record["place"] = self.place.as_json()
        if self.figures:
            record["templates"] = [self.text.template, self.mend.template]
            record["figures"] = [figure.as_json() for figure in self.figures]
        return record

    @staticmethod
    def from_json(record: Mapping[str, Any]) -> "Notice":
        """The remark that `as_json` wrote."""
        text, mend = pair_from_json(record["text"], record["mend"], record)
        about, place = record.get("about"), record.get("place")
        return Notice(
            record["code"],
            text,
            mend,
            record["severity"],
            None if about is None else about_from_json(about),
            None if place is None else place_from_json(place),
        )
