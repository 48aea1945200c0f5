"""`snugline new`: a job file from questions and options."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from snugline.desk.options import AsJson
from snugline.errors import FileError, InputError, SnuglineError
from snugline.lengths import parse_angle, parse_length

PHOTO_ENDINGS = (".jpg", ".jpeg", ".heic", ".heif", ".png", ".tif", ".tiff", ".webp")


def new(
    job: Annotated[Path, typer.Argument(help="The job file to make.")] = Path("job.toml"),
    name: Annotated[str | None, typer.Option(help="What the part is called.")] = None,
    thickness: Annotated[str | None, typer.Option(help="By caliper, e.g. 9.5mm.")] = None,
    edge_radius: Annotated[
        str | None, typer.Option(help="Rounding of the top edge; 0mm for a sharp one.")
    ] = None,
    draft: Annotated[
        str | None, typer.Option(help="Lean of the sides, e.g. 1deg; 0deg for upright ones.")
    ] = None,
    length: Annotated[str | None, typer.Option(help="By tape, e.g. '16 7/16 in'.")] = None,
    width: Annotated[str | None, typer.Option(help="By caliper.")] = None,
    frame: Annotated[str | None, typer.Option(help="Built-in name or description file.")] = None,
    bar_x: Annotated[
        str | None, typer.Option(help="Printed bar x, read twice: two with a comma.")
    ] = None,
    bar_y: Annotated[
        str | None, typer.Option(help="Printed bar y, read twice: two with a comma.")
    ] = None,
    photo: Annotated[
        list[str] | None,
        typer.Option(help="Once for each photo: FILE=WHAT IT SHOWS, e.g. 'a.jpg=left end'."),
    ] = None,
    clearance: Annotated[
        str | None,
        typer.Option(help="Clearance (gap per side) of the pocket; several with commas."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a job file by asking for what it needs.

    Values given as options are not asked for. Without a terminal nothing is asked; give every
    required value as an option. Photos next to the job are offered. An existing file is never
    overwritten.

    \b
    Examples:
      snugline new job.toml
      snugline new tray/job.toml --name "slate tray" --thickness 9.5mm --length 418mm \\
          --width 146.5mm --frame border-a4 --photo "left.jpg=left end" --clearance 0.3mm
    """
    from snugline.desk.console import print_json
    from snugline.desk.job import inspect_job
    from snugline.files import write_whole

    if job.exists():
        raise FileError("exists already", str(job), "choose another name; nothing was changed")
    if not job.parent.is_dir():
        raise FileError("its folder does not exist", str(job), "make the folder first")
    answers = {
        "name": _ask("Name of the part", "--name", name, default="part"),
        "thickness": _ask("Thickness (caliper)", "--thickness", thickness, _length),
        "edge_radius": _ask(
            "Rounding of the top edge (0mm: sharp; empty: not known)",
            "--edge-radius",
            edge_radius,
            _length,
            default="",
        ),
        "draft": _ask(
            "Lean of the sides, inwards to the top (0deg: upright; empty: not known)",
            "--draft",
            draft,
            parse_angle,
            default="",
        ),
        "length": _ask("Length (tape)", "--length", length, _length, default=""),
        "width": _ask("Width (caliper)", "--width", width, _length, default=""),
        "frame": _ask("Frame", "--frame", frame, default="border-a4"),
        "bar_x": _ask("Printed bar x, read twice (comma)", "--bar-x", bar_x, _lengths, default=""),
        "bar_y": _ask("Printed bar y, read twice (comma)", "--bar-y", bar_y, _lengths, default=""),
        "clearance": _ask(
            "Clearance per side (empty: outline only)",
            "--clearance",
            clearance,
            _lengths,
            default="",
        ),
    }
    photos = [_photo(text) for text in photo] if photo else _ask_photos(job.parent)
    write_whole(job, job_text(answers, photos))
    _, faults = inspect_job(job)
    for fault in faults:
        print(f"still to fix: {fault}", file=sys.stderr)
    if as_json:
        print_json({"job": str(job), "faults": [str(fault) for fault in faults]})
    else:
        then = "correct it, then: snugline check" if faults else "next: snugline run"
        print(f"{job}: made; {then} {job}")


def job_text(answers: dict[str, str], photos: list[tuple[str, str]]) -> str:
    """The job file's text; empty answers leave their key out."""
    quote = json.dumps  # every JSON string is a TOML string
    lines = ["[part]", f"name = {quote(answers['name'], ensure_ascii=False)}"]
    lines += [f"thickness = {quote(answers['thickness'])}"]
    for key in ("edge_radius", "draft"):
        lines += [f"{key} = {quote(answers[key])}"] if answers.get(key) else []
    lines += ["# edge_chamfer, listed, family, symmetry: see README", "", "[frame]"]
    lines += [f"description = {quote(answers['frame'], ensure_ascii=False)}"]
    for key in ("bar_x", "bar_y"):
        if answers[key]:
            readings = [quote(one.strip()) for one in answers[key].split(",")]
            one = len(readings) == 1
            lines += [f"{key} = {readings[0] if one else '[' + ', '.join(readings) + ']'}"]
    for file, shows in photos:
        file, shows = quote(file, ensure_ascii=False), quote(shows)
        lines += ["", "[[photo]]", f"file = {file}", f"shows = {shows}"]
    for what, tool in (("length", "tape"), ("width", "caliper")):
        if answers[what]:
            lines += ["", "[[reading]]", f'what = "{what}"', f"value = {quote(answers[what])}"]
            lines += [f'tool = "{tool}"']
    if answers["clearance"]:
        values = [quote(one.strip()) for one in answers["clearance"].split(",")]
        lines += ["", "[pocket]", f"clearance = [{', '.join(values)}]"]
    return "\n".join(lines) + "\n"


def _length(text: str) -> str:
    parse_length(text)
    return text


def _lengths(text: str) -> list[str]:
    return [_length(one) for one in text.split(",")]


def _ask(
    question: str,
    option: str,
    given: str | None,
    check: Callable[[str], object] = str,
    default: str | None = None,
) -> str:
    """The option's value, else the answer on a terminal, else the default; checked."""
    if given is not None:
        try:
            check(given)
        except InputError as error:
            raise InputError(error.what, option, error.mend) from error
        return given
    if not sys.stdin.isatty():
        if default is None:
            raise InputError(f"{question.lower()} is not given", option, "give the option")
        return default
    while True:
        answer: str = typer.prompt(question, default=default, err=True)
        try:
            if answer:
                check(answer)
        except SnuglineError as error:
            print(f"{error.what}; {error.mend}", file=sys.stderr)
        else:
            return answer


def _photo(text: str) -> tuple[str, str]:
    file, _, shows = text.partition("=")
    return file.strip(), shows.strip() or "section"


def _ask_photos(folder: Path) -> list[tuple[str, str]]:
    """Each photo next to the job, with what it shows; an empty answer leaves it out."""
    if not sys.stdin.isatty():
        raise InputError("no photo is given", "--photo", 'give --photo "left.jpg=left end"')
    found = sorted(p.name for p in folder.iterdir() if p.suffix.lower() in PHOTO_ENDINGS)
    photos = []
    for file in found:
        shows = typer.prompt(
            f"{file} shows (left end, right end, whole, section; empty: leave out)",
            default="",
            err=True,
        )
        if shows:
            photos.append((file, shows))
    return photos
