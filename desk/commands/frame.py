"""`snugline frame`: the calibration frame to print."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from snugline.desk.options import AsJson, require_folder


def frame(
    name: Annotated[
        str, typer.Argument(help="border-a4, border-a3, border-letter, border-tabloid, or border.")
    ] = "border",
    paper: Annotated[
        Literal["a4", "a3", "letter", "tabloid"] | None, typer.Option(help="The paper to print on.")
    ] = None,
    sheet: Annotated[
        int | None,
        typer.Option(help="Marker range: another number for each sheet under one part."),
    ] = None,
    dark: Annotated[bool, typer.Option("--dark", help="A dark window, for pale parts.")] = False,
    out: Annotated[
        Path | None,
        typer.Option(help="The PDF; its description goes beside it as .json. [default: NAME.pdf]"),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write a calibration frame as a vector PDF at 1:1, and its description beside it.

    Print it at actual size, no fit to page. Then measure its two bars with a caliper and put
    what they read into the job: printers are rarely exact, and this undoes it.

    \b
    Examples:
      snugline frame border-a4 --out frame.pdf
      snugline frame border-a4 --sheet 2 --out second.pdf     to lie beside the first
      snugline frame --paper letter --dark --out pale.pdf
    """
    import re

    from snugline.desk.console import print_json
    from snugline.errors import InputError
    from snugline.files import write_json, write_whole
    from snugline.trace.sheet import builtin_description, builtin_name
    from snugline.trace.sheet_print import sheet_pdf

    if name == "border" or paper or sheet is not None or dark:
        stem = re.fullmatch(r"border(?:-([a-z0-9]+))?", name)
        if stem is None or (paper and stem[1] and paper != stem[1]):
            raise InputError(
                f"the name {name!r} and the options say different things",
                "frame",
                "give the whole name alone, or border-a4 with --sheet and --dark",
            )
        name = builtin_name(paper or stem[1] or "a4", sheet or 1, dark)
    description = builtin_description(name)
    target = out or Path(f"{description['name']}.pdf")
    if target.suffix.lower() != ".pdf":
        raise InputError(f"{target.name!r} is no PDF", "--out", "give a name that ends in .pdf")
    require_folder(target)
    pdf = sheet_pdf(description)
    write_json(target.with_suffix(".json"), description)
    write_whole(target, pdf)
    if as_json:
        print_json({"pdf": str(target), "description": str(target.with_suffix(".json"))})
        return
    bars = " and ".join(
        f"{axis} {bar['nominal']:g} mm" for axis, bar in description["scale_bars"].items()
    )
    print(f"{target}: print it at actual size; then measure the bars ({bars})")
    print(f"{target.with_suffix('.json')}: its description")
