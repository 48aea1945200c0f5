"""`snugline fitted`: what came of a cut, and what the shop's machine has taught so far."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from snugline.desk.options import AsJson, length

if TYPE_CHECKING:
    from snugline.pocket.overcut import Cut


def fitted(
    job: Annotated[Path | None, typer.Argument(help="The job whose part was tried.")] = None,
    clearance: Annotated[
        float | None, typer.Option(parser=length, metavar="LENGTH", help="Gap per side as drawn.")
    ] = None,
    verdict: Annotated[
        Literal["no-go", "tight", "snug", "loose"] | None, typer.Option(help="How it fitted.")
    ] = None,
    wood: Annotated[str, typer.Option(help="What it was cut in.")] = "",
    machine: Annotated[str, typer.Option(help="What the shop calls the machine.")] = "",
    cutter: Annotated[
        float | None, typer.Option(parser=length, metavar="LENGTH", help="The cutter's diameter.")
    ] = None,
    kind: Annotated[
        Literal["soft", "firm", "brittle", "metal"], typer.Option(help="Kind of part.")
    ] = "firm",
    opening_error: Annotated[
        float | None,
        typer.Option(
            parser=length,
            metavar="LENGTH",
            help="Opening as measured less as drawn, per side, e.g. 0.03mm or -0.02mm.",
        ),
    ] = None,
    export_to: Annotated[
        Path | None, typer.Option("--export", help="Write all records to this file.")
    ] = None,
    import_from: Annotated[
        Path | None, typer.Option("--import", help="Add the records of an exported file.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Record how a cut fitted; say what the machine's records tell.

    Records stay in a small file in your data folder. From them comes the machine's own over- or
    undercut, by wood and cutter, which the next job's suggestion of a clearance uses.

    \b
    Examples:
      snugline fitted job.toml --clearance 0.5mm --verdict snug --wood poplar --machine "big router"
      snugline fitted --wood poplar --machine "big router"      what is known so far
      snugline fitted --export records.json
    """
    from snugline.desk.console import print_json
    from snugline.errors import InputError
    from snugline.pocket.overcut import estimate
    from snugline.pocket.records import Records

    records = Records()
    if import_from is not None:
        report: dict[str, object] = {"added": records.import_from(import_from)}
    elif export_to is not None:
        report = {"written": records.export_to(export_to)}
    else:
        if job is not None:
            records.add(
                _cut(job, clearance, verdict, wood, machine, cutter or 0.0, kind, opening_error)
            )
        elif verdict is not None or clearance is not None:
            raise InputError("no job is named", "fitted", "name the job that was cut")
        known = estimate(records.cuts(), machine, wood, cutter or 0.0)
        report = {
            "machine": machine,
            "wood": wood,
            "overcut": {"value": round(known.value, 4), "u95": round(known.u95, 4)},
            "cuts": known.cuts,
            "alike": known.alike,
        }
        if not as_json:
            print(known.sentence())
            return
    if as_json:
        print_json(report)
    else:
        print(", ".join(f"{key}: {value}" for key, value in report.items()))


def _cut(
    job: Path,
    clearance: float | None,
    verdict: Literal["no-go", "tight", "snug", "loose"] | None,
    wood: str,
    machine: str,
    cutter: float,
    kind: str,
    opening_error: float | None,
) -> "Cut":
    from snugline.desk.job import read_job
    from snugline.desk.last_result import outline_u
    from snugline.errors import InputError
    from snugline.pocket.overcut import Cut

    part = read_job(job).part
    if clearance is None or verdict is None:
        option = "--clearance" if clearance is None else "--verdict"
        raise InputError("it is not given", option, "say the clearance drawn and how it fitted")
    return Cut(
        clearance=clearance,
        verdict=verdict,
        wood=wood,
        machine=machine,
        cutter=cutter,
        kind=kind,
        part=part.name,
        part_u=outline_u(job),
        opening_error=opening_error,
    )
