"""`snugline frame`: the calibration frame to print."""

from pathlib import Path
from typing import Annotated, Any, Literal

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
        typer.Option(help="Number of the sheet, for its own markers; each once under one part."),
    ] = None,
    dark: Annotated[bool, typer.Option("--dark", help="A dark window, for pale parts.")] = False,
    engraved: Annotated[
        bool,
        typer.Option("--engraved", help="SVG and DXF to engrave on a board, instead of a PDF."),
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(help="The PDF; its description goes next to it as .json. [default: NAME.pdf]"),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write a calibration frame at 1:1, to print or to engrave, with its description.

    Print it at actual size, no fit to page. Then measure its two bars with a caliper and enter
    the readings in the job: printers are rarely exact, and this corrects for it.

    \b
    Examples:
      snugline frame border-a4 --out frame.pdf
      snugline frame border-a4 --sheet 2 --out second.pdf     to lie next to the first
      snugline frame --paper letter --dark --out pale.pdf
      snugline frame border-a3 --engraved --out board.svg      and board.dxf, to fill with dark
    """
    import re

    from snugline.desk.console import print_json
    from snugline.errors import InputError
    from snugline.files import write_json, write_whole
    from snugline.trace.sheet.builtin_sheets import builtin_description, builtin_name

    if name == "border" or paper or sheet is not None or dark:
        stem = re.fullmatch(r"border(?:-([a-z0-9]+))?", name)
        if stem is None or (paper and stem[1] and paper != stem[1]):
            raise InputError(
                f"the name {name!r} and the options contradict each other",
                "frame",
                "give the whole name alone, or border-a4 with --sheet and --dark",
            )
        name = builtin_name(paper or stem[1] or "a4", sheet or 1, dark)
    description = builtin_description(name)
    kind = ".svg" if engraved else ".pdf"
    target = out or Path(f"{description['name']}{kind}")
    if target.suffix.lower() != kind:
        raise InputError(
            f"{target.name!r} is not named as {kind[1:].upper()}",
            "--out",
            f"give a name that ends in {kind}",
        )
    require_folder(target)
    files = _engraved(description) if engraved else _printed(description)
    for ending, content in files.items():
        write_whole(target.with_suffix(ending), content)
    write_json(target.with_suffix(".json"), description)
    if as_json:
        paths = {ending[1:]: str(target.with_suffix(ending)) for ending in files}
        print_json({**paths, "description": str(target.with_suffix(".json"))})
        return
    bars = " and ".join(
        f"{axis} {bar['nominal']:g} mm" for axis, bar in description["scale_bars"].items()
    )
    made = "engrave" if engraved else "print"
    print(f"{target}: {made} it at actual size; then measure the bars ({bars})")
    print(f"{target.with_suffix('.json')}: its description")


def _printed(description: dict[str, Any]) -> dict[str, bytes]:
    from snugline.trace.sheet.sheet_print import sheet_pdf

    return {".pdf": sheet_pdf(description)}


def _engraved(description: dict[str, Any]) -> dict[str, bytes]:
    from snugline.trace.sheet.sheet_engrave import engraved_dxf, engraved_svg

    return {
        ".svg": engraved_svg(description).encode(),
        ".dxf": engraved_dxf(description).encode(),
    }
