"""A cut for the shop's records: what the user says of it, else what the job says."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from snugline.desk.last_result import UNKNOWN_U, sides_u
from snugline.errors import InputError
from snugline.lengths import parse_length
from snugline.pocket.clearance import Clearance
from snugline.pocket.cut_record import Cut, same_name
from snugline.pocket.fits import FITS, verdict_of
from snugline.pocket.width_error import WidthError, estimate, next_test


@dataclass(frozen=True)
class Said:
    """What the user says of a cut; None and empty texts leave it to the job. Lengths in mm."""

    clearance: Clearance | None = None
    verdict: str | None = None
    wood: str = ""
    machine: str = ""
    cutter: float | None = None
    kind: str | None = None
    opening_error: float | None = None


@dataclass(frozen=True)
class Setting:
    """What a cut was made in and with, and for what part."""

    wood: str
    machine: str
    cutter: float
    kind: str
    part: str


def setting(record: Mapping[str, Any], said: Said) -> Setting:
    """As said, else as the job's record has it."""
    pocket = _table(record, "pocket")
    wood, diameter = _table(pocket, "wood"), _table(pocket, "cutter").get("diameter")
    cutter = said.cutter
    if cutter is None:
        cutter = parse_length(diameter, "cutter") if isinstance(diameter, str) else 0.0
    kind = said.kind or pocket.get("kind", "firm")
    return Setting(
        said.wood or str(wood.get("species", "")),
        said.machine or str(pocket.get("machine", "")),
        cutter,
        kind if kind in FITS else "firm",
        str(_table(record, "part").get("name", "part")),
    )


def new_cut(
    job: Path, record: Mapping[str, Any], said: Said, result: Path | None = None
) -> tuple[Cut, bool]:
    """The cut, and whether the part's own uncertainty was found.

    Raises
    ------
    InputError : no clearance or no word of fit.
    """
    if said.clearance is None or said.verdict is None:
        option = "--clearance" if said.clearance is None else "--verdict"
        raise InputError("it is not given", option, "say the clearance drawn and how it fitted")
    made = setting(record, said)
    u = sides_u(job, made.part, result)
    gap = said.clearance
    cut = Cut(
        clearance=gap.length,
        clearance_width=None if gap.even else gap.width,
        verdict=verdict_of(said.verdict),
        wood=made.wood,
        machine=made.machine,
        cutter=made.cutter,
        kind=made.kind,
        part=made.part,
        part_u=u["width"] if u else UNKNOWN_U,
        length_u=u["length"] if u else UNKNOWN_U,
        opening_error=said.opening_error,
    )
    return cut, u is not None


def changed_cut(cut: Cut, said: Said) -> Cut:
    """The cut with what is said put in its place."""
    given: dict[str, Any] = {
        "wood": said.wood or None,
        "machine": said.machine or None,
        "cutter": said.cutter,
        "kind": said.kind,
        "opening_error": said.opening_error,
        "verdict": None if said.verdict is None else verdict_of(said.verdict),
    }
    if said.clearance is not None:
        gap = said.clearance
        cut = replace(cut, clearance=gap.length, clearance_width=None if gap.even else gap.width)
    return replace(cut, **{key: value for key, value in given.items() if value is not None})


def listed(keyed: list[tuple[str, Cut]], made: Setting | None) -> list[dict[str, Any]]:
    """Cuts as records with their keys; those that contradict the others of their machine say so."""
    cuts = [cut for _, cut in keyed]
    odd: set[int] = set()
    for machine in dict.fromkeys(same_name(c.machine) for c in cuts):
        odd.update(estimate(cuts, machine, made.wood if made else "").contradicting)
    return [
        {
            "key": key,
            "clearance": Clearance(cut.along_length[0], cut.along_width[0]).as_json(),
            "verdict": cut.verdict,
            "wood": cut.wood,
            "machine": cut.machine,
            "cutter": cut.cutter,
            "kind": cut.kind,
            "part": cut.part,
            "opening_error": cut.opening_error,
            "when": cut.on,
            "contradicts": number in odd,
        }
        for number, (key, cut) in enumerate(keyed)
    ]


def told(cuts: list[Cut], made: Setting) -> dict[str, Any]:
    """What the records tell of a machine in a wood with a cutter."""
    known: WidthError = estimate(cuts, made.machine, made.wood, made.cutter)
    return {
        "machine": made.machine,
        "wood": made.wood,
        "sentence": str(known.sentence()),
        **known.sentence().as_json(),
        "width_error": {"value": round(known.value, 4), "u95": round(known.u95, 4)},
        "claimed": known.claimed,
        "cuts": known.cuts,
        "alike": known.alike,
        "next_test": round(next_test(made.kind, known), 2),
    }


def _table(record: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = record.get(key, {})
    return found if isinstance(found, Mapping) else {}
