"""`snugline trace`: one photo to a contour."""

from pathlib import Path
from typing import Annotated

import typer

from snugline.desk.options import (
    AsJson,
    BarX,
    BarY,
    Frames,
    angle,
    length,
    printed_frames,
    require_folder,
)


def trace(
    photo: Annotated[Path, typer.Argument(help="JPEG, PNG, HEIC or TIFF, as taken.")],
    frame: Frames,
    thickness: Annotated[
        float, typer.Option(parser=length, metavar="LENGTH", help="The part's, e.g. 9.5mm.")
    ],
    edge_radius: Annotated[
        float | None,
        typer.Option(
            parser=length,
            metavar="LENGTH",
            help="Rounding of the part's top edge, 0mm for a sharp one.",
        ),
    ] = None,
    edge_chamfer: Annotated[
        float | None,
        typer.Option(parser=length, metavar="LENGTH", help="Chamfer of the part's top edge."),
    ] = None,
    draft: Annotated[
        float | None,
        typer.Option(
            parser=angle,
            metavar="ANGLE",
            help="Draft angle: how far the sides lean inwards towards the top; 0deg for none.",
        ),
    ] = None,
    bar_x: BarX = None,
    bar_y: BarY = None,
    camera: Annotated[
        str | None, typer.Option(help="A camera calibrated under this name with `snugline camera`.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Write the contour there; else to standard output.")
    ] = None,
    overlay: Annotated[
        Path | None, typer.Option(help="Write the photo with what was found drawn on it (PNG).")
    ] = None,
    probability: Annotated[
        bool,
        typer.Option(help="Draw on the overlay how likely the edge lies where, at full size."),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Measure the part's plan outline in one photo.

    The contour is in true millimetres in the frame's coordinate system, with a standard uncertainty
    for each point. It ends where the part leaves the window.

    \b
    Examples:
      snugline trace left.jpg --frame border-a4 --thickness 9.5mm --out left.json
      snugline trace left.heic --frame my-board.json --thickness "3/8 in" \\
          --edge-radius 0.5mm --bar-x 199.2mm --bar-y 119.8mm --overlay left.png
    """
    from snugline.api.part_sides import part_sides
    from snugline.counting import counted
    from snugline.desk.console import exit_status, print_json, print_notices, progress
    from snugline.errors import InputError
    from snugline.files import write_json, write_whole
    from snugline.fit.readings.thickness import thickness_of
    from snugline.trace.known_cameras import lens_finder
    from snugline.trace.measure import measure_photos
    from snugline.trace.overlay import draw_overlay

    if edge_radius is not None and edge_chamfer is not None:
        raise InputError(
            "both --edge-radius and --edge-chamfer are given", "trace", "leave one out"
        )
    require_folder(out)
    require_folder(overlay)
    frames = printed_frames(frame, bar_x, bar_y)
    known = lens_finder(camera)
    stated = thickness_of((), thickness)
    if stated is None:
        raise InputError("no thickness is given", "trace", "give --thickness")
    sides = part_sides(stated, edge_radius, edge_chamfer, draft)
    with progress(as_json) as step:
        step(f"measuring {photo.name}")
        measured = measure_photos([photo], frames, sides, known)
        (shown,) = measured.photos
        wanted = overlay is not None
        picture = draw_overlay(shown, probability=probability) if wanted else b""
    record = shown.contour.as_json()
    if overlay is not None:
        write_whole(overlay, picture)
    if out is not None:
        write_json(out, record)
    if as_json or out is None:
        print_json(record)
    else:
        facts = shown.contour.photo
        print(
            f"{photo.name}: {facts.markers_found} of {facts.markers_total} markers, "
            f"hold-out error {facts.holdout_mm:.3f} mm, "
            f"{counted(len(shown.contour.outer.points), 'point')} -> {out}"
        )
    notices = {*shown.contour.notices, *measured.notices}
    print_notices(notices)
    raise typer.Exit(exit_status(notices))
