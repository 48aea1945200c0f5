"""How a cut fitted: into the shop's records, with the job's wood, machine and cutter."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast, get_args

from snugline.desk.last_result import outline_u
from snugline.errors import InputError
from snugline.lengths import parse_length
from snugline.pocket.fits import FITS, Verdict
from snugline.pocket.overcut import Cut, estimate
from snugline.pocket.records import Records


def record_fit(job: Path, record: Mapping[str, Any], said: Mapping[str, Any]) -> dict[str, Any]:
    """Record one fit; returns the estimate that the records then give.

    Raises
    ------
    InputError : a length or a word that cannot be used.
    """
    unknown = set(said) - {"clearance", "verdict", "wood", "machine", "cutter", "opening_error"}
    if unknown:
        raise InputError(f"unknown key {min(unknown)!r}", "fitted", "leave it out")
    verdict = said.get("verdict")
    if verdict not in get_args(Verdict):
        raise InputError(
            f"{verdict!r} is not a verdict", "verdict", f"use {', '.join(get_args(Verdict))}"
        )
    wood, machine, cutter, kind = _cut_with(record, said)
    error = said.get("opening_error")
    Records().add(
        Cut(
            clearance=parse_length(cast(str, said.get("clearance")), "clearance"),
            verdict=cast(Verdict, verdict),
            wood=wood,
            machine=machine,
            cutter=cutter,
            kind=kind,
            part=_part(record),
            part_u=outline_u(job),
            opening_error=None if error is None else parse_length(error, "opening_error"),
        )
    )
    return told(record, said)


def told(record: Mapping[str, Any], said: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """The records of this part, and the estimate from the machine's records."""
    wood, machine, cutter, _ = _cut_with(record, said or {})
    cuts = Records().cuts()
    known = estimate(cuts, machine, wood, cutter)
    return {
        "records": [
            {
                "clearance": cut.clearance,
                "verdict": cut.verdict,
                "wood": cut.wood,
                "machine": cut.machine,
                "cutter": cut.cutter,
                "when": cut.on,
            }
            for cut in cuts
            if cut.part == _part(record)
        ],
        "sentence": known.sentence(),
        "overcut": {"value": round(known.value, 4), "u95": round(known.u95, 4)},
        "cuts": known.cuts,
        "alike": known.alike,
    }


def _part(record: Mapping[str, Any]) -> str:
    part = record.get("part", {})
    return str(part.get("name", "part")) if isinstance(part, Mapping) else "part"


def _cut_with(record: Mapping[str, Any], said: Mapping[str, Any]) -> tuple[str, str, float, str]:
    """Wood, machine, cutter and kind of part: as given, else as in the job."""
    pocket = record.get("pocket", {})
    pocket = pocket if isinstance(pocket, Mapping) else {}
    wood, cutter = pocket.get("wood", {}), pocket.get("cutter", {})
    species = wood.get("species", "") if isinstance(wood, Mapping) else ""
    diameter = cutter.get("diameter") if isinstance(cutter, Mapping) else None
    diameter = said.get("cutter") or diameter
    kind = pocket.get("kind", "firm")
    return (
        str(said.get("wood") or species),
        str(said.get("machine") or pocket.get("machine", "")),
        parse_length(diameter, "cutter") if diameter else 0.0,
        kind if kind in FITS else "firm",
    )
