"""`snugline compare`: how far two outlines are from each other."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from snugline.desk.options import AsJson

DRAWN = "result.json, SVG or DXF"


def compare(
    first: Annotated[Path, typer.Argument(metavar="A", help=f"An outline: {DRAWN}.")],
    second: Annotated[Path, typer.Argument(metavar="B", help="The outline to compare it with.")],
    align: Annotated[
        bool, typer.Option("--align", help="Move and turn A onto B first, by least squares.")
    ] = False,
    layer: Annotated[
        str | None, typer.Option(help="Layer of both drawings. [default: the largest outline]")
    ] = None,
    unit: Annotated[
        Literal["mm", "in"] | None, typer.Option(help="Unit of a drawing that gives none.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Print the distances between two outlines, both ways.

    Positive: the first lies outside the second. Use it to check an existing drawing against a new
    measurement.

    \b
    Examples:
      snugline compare result/result.json old-template.dxf --align
      snugline compare a/outline.svg b/outline.svg --json
    """
    from snugline.desk.console import print_json
    from snugline.desk.outline_files import read_outline
    from snugline.fit.geometry.outline_comparison import compare as compared

    found = compared(read_outline(first, layer, unit), read_outline(second, layer, unit), align)
    if as_json:
        print_json(found.as_json())
        return
    print(f"largest distance: {found.largest:.4f} mm")
    for one, other, way in (
        (first, second, found.first_to_second),
        (second, first, found.second_to_first),
    ):
        print(
            f"{one} against {other}: largest {way.largest:+.4f} mm at "
            f"({way.at[0]:.1f}, {way.at[1]:.1f}), rms {way.rms:.4f} mm, mean {way.mean:+.4f} mm"
        )
    print(
        f"A minus B: area {found.area_difference:+.3f} mm², "
        f"perimeter {found.perimeter_difference:+.4f} mm"
    )
    if align:
        turn = found.as_json()["turn_deg"]
        print(f"A was moved by ({found.shift[0]:.4f}, {found.shift[1]:.4f}) mm and {turn:.4f} deg")
