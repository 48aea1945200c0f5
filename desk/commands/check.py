"""`snugline check`: what a job lacks, without running it."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from snugline.desk.options import AsJson

USER_ERROR = 2


def check(
    jobs: Annotated[list[Path], typer.Argument(metavar="JOB...", help="Job files (TOML).")],
    as_json: AsJson = False,
) -> None:
    """Report what is wrong or missing in a job, without running it.

    Every fault gets its own line with the file, the key and the remedy, and makes the exit status
    2. What a job can do without but would gain from is a remark and leaves the status at 0.

    \b
    Examples:
      snugline check job.toml
      snugline check shelves/*/job.toml --json
    """
    from snugline.counting import counted
    from snugline.desk.advice import advice
    from snugline.desk.console import print_json
    from snugline.desk.job import inspect_job

    report, refused = [], False
    for path in jobs:
        job, faults = inspect_job(path)
        remarks = advice(job) if job is not None else ()
        refused = refused or bool(faults)
        report.append(
            {
                "job": str(path),
                "faults": [{"what": f.what, "where": f.where, "mend": f.mend} for f in faults],
                "remarks": [remark.as_json() for remark in remarks],
            }
        )
        if as_json:
            continue
        for fault in faults:
            print(f"snugline: {fault}", file=sys.stderr)
        for remark in remarks:
            print(f"{path}, {remark.about}: {remark.text} {remark.mend}")
        if not faults:
            found = counted(len(remarks), "remark") if remarks else "no remarks"
            print(f"{path}: ready to run; {found}")
    if as_json:
        print_json(report)
    if refused:
        raise typer.Exit(USER_ERROR)
