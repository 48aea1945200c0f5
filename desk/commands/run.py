"""`snugline run`: whole jobs, one or many."""

from pathlib import Path
from typing import Annotated

import typer

from snugline.desk.options import AsJson, result_folder

JOB_FAILED = 1


def run(
    jobs: Annotated[list[Path], typer.Argument(metavar="JOB...", help="Job files (TOML).")],
    out: Annotated[
        Path | None,
        typer.Option(
            help="Folder for the results; with several jobs, one folder in it for each. "
            "[default: JOB-result next to each job]"
        ),
    ] = None,
    bundle: Annotated[
        bool, typer.Option("--bundle", help="Also pack all files into one zip archive.")
    ] = False,
    anyway: Annotated[
        bool,
        typer.Option(
            "--anyway",
            help="Write drawings even of a result that is not to be cut from, marked unverified.",
        ),
    ] = False,
    processes: Annotated[
        int | None, typer.Option(min=1, help="Jobs at a time. [default: as many as cores]")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Measure, fit and draw: everything a job asks for, into one folder.

    The folder gets result.json, outline.svg, outline.dxf, outline.pdf, an overlay for each
    photo, report.html and, where the job has a [pocket], the drawings for each clearance and the
    shop sheet. A job that fails leaves its folder as it was. Several jobs run side by side, and
    one that fails stops no other.

    \b
    Examples:
      snugline run job.toml --out result
      snugline run shelves/*/job.toml --out results
      snugline run job.toml --json | jq .outline.length
    """
    from snugline.desk.batch import run_all
    from snugline.desk.console import print_json, print_notices, progress, result_status
    from snugline.desk.job_run import Making

    folders = _folders(jobs, out)
    with progress(as_json) as step:
        outcomes = run_all(
            list(zip(jobs, folders, strict=True)), Making(bundle, anyway, step), processes
        )
    if len(outcomes) == 1 and (error := outcomes[0].error) is not None:
        raise error
    failed = False
    for outcome in outcomes:
        if outcome.error is not None:
            failed = True
            typer.echo(f"snugline: {outcome.error}", err=True)
            continue
        if as_json:
            print_notices(outcome.notices, outcome.unit)
            continue
        print("\n".join(outcome.lines))
        # What keeps a result from being cut stands in its first line already.
        blocked = outcome.record is not None and outcome.record["state"] == "not to be cut"
        first = 1 if blocked else 0
        print_notices(outcome.notices[first:], outcome.unit)
    if as_json:
        records = [outcome.as_json() for outcome in outcomes]
        print_json(records[0] if len(jobs) == 1 else records)
    status = max(result_status(outcome.record, outcome.notices) for outcome in outcomes)
    raise typer.Exit(JOB_FAILED if failed else status)


def _folders(jobs: list[Path], out: Path | None) -> list[Path]:
    """The result folder of each job; several under one folder differ by name."""
    from snugline.errors import InputError

    if out is None:
        folders = [result_folder(job) for job in jobs]
    elif len(jobs) == 1:
        return [out]
    else:
        names = [job.absolute().parent.name if job.stem == "job" else job.stem for job in jobs]
        folders = [out / name for name in names]
    for folder in folders:
        if folders.count(folder) > 1:
            clash = [str(job) for job, other in zip(jobs, folders, strict=True) if other == folder]
            raise InputError(
                "their results would go to the same folder",
                " and ".join(clash),
                "rename one of the job files, or run them one by one",
            )
    return folders
