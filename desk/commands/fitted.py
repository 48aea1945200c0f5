"""`snugline fitted`: what came of a cut, and what the shop's machine has taught so far."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from snugline.desk.options import AsJson, length

if TYPE_CHECKING:
    from snugline.desk.cut_entry import Said


JobFile = Annotated[Path | None, typer.Argument(help="The job whose part was tried.")]
Gap = Annotated[
    float | None, typer.Option(parser=length, metavar="LENGTH", help="Gap per side as drawn.")
]
WidthGap = Annotated[
    float | None,
    typer.Option(parser=length, metavar="LENGTH", help="Gap along the width, where it is another."),
]
Word = Annotated[
    str | None, typer.Option(help='How it fitted: "does not enter", tight, snug or loose.')
]
Wood = Annotated[str, typer.Option(help="What it was cut in. [default: the job's]")]
Machine = Annotated[str, typer.Option(help="What the shop calls the machine. [default: the job's]")]
CutterWidth = Annotated[
    float | None,
    typer.Option(
        parser=length, metavar="LENGTH", help="The cutter's diameter. [default: the job's]"
    ),
]
Kind = Annotated[
    Literal["soft", "firm", "brittle", "metal"] | None,
    typer.Option(help="Kind of part. [default: the job's]"),
]
OpeningError = Annotated[
    float | None,
    typer.Option(
        parser=length,
        metavar="LENGTH",
        help="Measured minus drawn opening, per side, e.g. 0.03mm or -0.02mm.",
    ),
]
ResultFolder = Annotated[
    Path | None, typer.Option(help="Folder of the job's result. [default: found beside the job]")
]
ListAll = Annotated[bool, typer.Option("--list", help="List all recorded cuts.")]
Undo = Annotated[bool, typer.Option("--undo", help="Take back the last change.")]
EditKey = Annotated[
    str | None,
    typer.Option(metavar="KEY", help="Change the cut with this key by the options given."),
]
RemoveKey = Annotated[
    str | None, typer.Option(metavar="KEY", help="Take the cut with this key off the record.")
]
ExportTo = Annotated[
    Path | None, typer.Option("--export", help="Write all records to this file (.json, or .csv).")
]
ImportFrom = Annotated[
    Path | None, typer.Option("--import", help="Add the records of an exported file.")
]


def fitted(
    job: JobFile = None,
    clearance: Gap = None,
    clearance_width: WidthGap = None,
    verdict: Word = None,
    wood: Wood = "",
    machine: Machine = "",
    cutter: CutterWidth = None,
    kind: Kind = None,
    opening_error: OpeningError = None,
    result: ResultFolder = None,
    list_all: ListAll = False,
    undo: Undo = False,
    edit: EditKey = None,
    remove: RemoveKey = None,
    export_to: ExportTo = None,
    import_from: ImportFrom = None,
    as_json: AsJson = False,
) -> None:
    """Record how a cut fitted; say what the machine's records tell.

    Records stay in a small file in your data folder. From three cuts on they tell the width error
    of the cut, by wood and cutter, which the next job's suggestion of a clearance uses. A cut that
    contradicts the others is named.

    \b
    Examples:
      snugline fitted job.toml --clearance 0.5mm --verdict snug --wood poplar --machine "big router"
      snugline fitted --wood poplar --machine "big router"      what is known so far
      snugline fitted --list
      snugline fitted --edit 3f0c --clearance 0.05mm
      snugline fitted --undo
      snugline fitted --export records.csv
    """
    from snugline.desk.console import print_json
    from snugline.desk.cut_entry import Said
    from snugline.pocket.clearance import Clearance

    gap = None
    if clearance is not None:
        gap = Clearance(clearance, clearance if clearance_width is None else clearance_width)
    said = Said(gap, verdict, wood, machine, cutter, kind, opening_error)
    report = _kept(import_from, export_to, undo, remove)
    if report is None and edit is not None:
        report = _edited(edit, said)
    elif report is None:
        report = _listed() if list_all else _recorded(job, said, result)
    if as_json:
        print_json(report)
    else:
        print("\n".join(_lines(report)))


def _kept(import_from: Path | None, export_to: Path | None, undo: bool, remove: str | None) -> Any:
    """What is done with the records as a whole; None where nothing of it is asked for."""
    from snugline.pocket.records import Records

    records = Records()
    if import_from is not None:
        return {"added": records.import_from(import_from)}
    if export_to is not None:
        return {"written": records.export_to(export_to)}
    if undo:
        return {"undone": records.undo()}
    return {"removed": records.remove(remove).part} if remove is not None else None


def _edited(key: str, said: "Said") -> dict[str, Any]:
    from snugline.desk.cut_entry import changed_cut
    from snugline.pocket.records import Records

    whole, cut = Records().find(key)
    Records().change(whole, changed_cut(cut, said))
    return {"changed": whole}


def _listed() -> list[dict[str, Any]]:
    from snugline.desk.cut_entry import listed
    from snugline.pocket.records import Records

    return listed(Records().keyed(), None)


def _recorded(job: Path | None, said: "Said", result: Path | None) -> dict[str, Any]:
    """Put the cut on record where one is told; say what is known."""
    from snugline.desk.cut_entry import new_cut, setting, told
    from snugline.desk.job import read_job, read_toml
    from snugline.errors import InputError
    from snugline.pocket.records import Records

    records, record, report = Records(), {}, {}
    if job is not None:
        read_job(job)  # for its errors
        record = read_toml(job)
        cut, found = new_cut(job, record, said, result)
        report = {"key": records.add(cut), "part_uncertainty_known": found}
    elif said.verdict is not None or said.clearance is not None:
        raise InputError("no job is named", "fitted", "name the job that was cut")
    return {**report, **told(list(records.cuts()), setting(record, said))}


def _lines(report: Any) -> list[str]:
    """What is said on the terminal."""
    if isinstance(report, list):
        return [_row(row) for row in report] or ["no cuts recorded yet"]
    if "sentence" in report:
        lines = [report["sentence"]]
        if report.get("part_uncertainty_known") is False:
            lines.append(
                "no result of this part was found: its own uncertainty is taken as 0.2 mm (U95 per "
                "side); name the folder with --result"
            )
        return lines
    return [", ".join(f"{key}: {value}" for key, value in report.items())]


def _row(row: dict[str, Any]) -> str:
    gap = row["clearance"]
    gap = f"{gap['length']:.2f} x {gap['width']:.2f}" if isinstance(gap, dict) else f"{gap:.2f}"
    measured = row["opening_error"]
    said = f"{row['key'][:8]}  {row['when']}  {gap} mm  {row['verdict']:<14}  {row['part']}, "
    said += ", ".join(filter(None, (row["wood"], row["machine"])))
    if measured is not None:
        said += f", opening {measured:+.2f} mm"
    return said + ("  <- contradicts the others" if row["contradicts"] else "")
