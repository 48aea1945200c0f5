"""`snugline prove`: an acceptance test on something of published size."""

from pathlib import Path
from typing import Annotated, Any

import typer

from snugline.desk.options import AsJson, BarX, BarY, length

BlockLength = Annotated[
    float | None,
    typer.Option("--length", parser=length, metavar="LENGTH", help="Of a block, as known."),
]
BlockWidth = Annotated[
    float | None,
    typer.Option("--width", parser=length, metavar="LENGTH", help="Of a block, as known."),
]
BlockThickness = Annotated[
    float | None,
    typer.Option("--thickness", parser=length, metavar="LENGTH", help="Of a block, as known."),
]
Limit = Annotated[
    float | None,
    typer.Option(
        parser=length,
        metavar="LENGTH",
        help="Limit of error of a block's sizes: the gauge block's, or that of caliper and hand. "
        "[default: 0.1 mm, a caliper by hand]",
    ),
]
Mpe = Annotated[
    float | None,
    typer.Option(
        parser=length,
        metavar="LENGTH",
        help="Maximum permissible error of a size. [default: 0.2 mm]",
    ),
]


def prove(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO...", help="Of the object on the sheet.")
    ],
    frame: Annotated[str, typer.Option("--frame", help="Built-in name or description file.")],
    object_name: Annotated[
        str, typer.Option("--object", help="What lies there: see Objects.")
    ] = "card",
    bar_x: BarX = None,
    bar_y: BarY = None,
    mpe: Mpe = None,
    block_length: BlockLength = None,
    block_width: BlockWidth = None,
    block_thickness: BlockThickness = None,
    limit: Limit = None,
    camera: Annotated[
        str | None, typer.Option(help="A camera calibrated under this name with `snugline camera`.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Test phone, print and light on something whose size is published.

    \b
    How to do it:
      1. Tape the sheet flat on something hard; measure its two bars, each twice.
      2. Take a card of the common size, 85.60 x 53.98 mm: a loyalty card, a hotel key, a blank
         one; flat, without a bend. Never a payment or identity card: front and back carry numbers.
         A dark or strongly coloured one on the white window, a white one on the dark window.
      3. Lay it in the middle of the window, clear of the markers (#):

    \b
           #   #   #   #   #   #
           #     .--------.    #
           #     |  card  |    #
           #     '--------'    #
           #   #   #   #   #   #

    \b
      4. Photograph it as you photograph a part: the whole sheet in the picture, phone nearly level,
         no flash, light from the side.
      5. Move it, turn it, and photograph again: three photos or more.

    For each photo and size the error E is measured minus published size. The test passes where
    every E is within the limit (--mpe) by its U95, fails where one is beyond by its U95, and is not
    decided between. U95 is what the object leaves open: its tolerances and thickness, and the
    scatter of the edge. Result and date are kept for this phone and this print in your data folder,
    and later reports name them.

    \b
    Objects:
      card                a card of the common size (ISO/IEC 7810, ID-1): the one to use
      us-cent, us-nickel, us-dime, us-quarter, us-half-dollar, euro-1c, euro-2c, euro-5c,
      euro-10c, euro-50c, euro-1, euro-2
                          coins, little worn; a smooth rim is better than a milled one
      a6, a5              a cut sheet (ISO 216): 1.5 to 2 mm of tolerance, for gross errors only;
                          coloured paper, or the dark window
      block               a gauge block, or one measured with a caliper: give --length, --width,
                          --thickness and --limit

    \b
    Examples:
      snugline prove card-*.jpg --frame border-a4 --bar-x 199.2mm --bar-y 119.8mm
      snugline prove coin-*.jpg --frame border-a4 --object us-nickel --json
      snugline prove block-*.jpg --frame border-a4 --object block --length 60mm --width 35mm \\
          --thickness 9mm --limit 0.02mm --mpe 0.1mm
    """
    from snugline.counting import counted
    from snugline.desk.acceptance_records import (
        acceptance_folder,
        phone_of_all,
        record_of,
        save,
    )
    from snugline.desk.acceptance_run import run_acceptance
    from snugline.desk.acceptance_words import object_of
    from snugline.desk.console import print_json, print_notices, progress
    from snugline.desk.options import printed_frames
    from snugline.errors import InputError
    from snugline.fit.acceptance import DEFAULT_MPE
    from snugline.trace.known_cameras import lens_finder
    from snugline.trace.sheet.frame_description import Frame

    if mpe is None:
        mpe = DEFAULT_MPE
    if not mpe > 0:
        raise InputError("the limit is not above zero", "--mpe", "give it as in '0.2mm'")
    reference = object_of(object_name, (block_length, block_width, block_thickness), limit)
    (sheet,) = printed_frames([frame], bar_x, bar_y)
    known = lens_finder(camera)
    with progress(as_json) as step:
        step(f"measuring {counted(len(photos), 'photo')}")
        test = run_acceptance(photos, sheet, reference, mpe, known)
    assert isinstance(sheet, Frame)  # anything else was refused
    phone = phone_of_all(photos)
    record = record_of(test, phone, sheet)
    path = save(record, acceptance_folder())
    if as_json:
        print_json({**record, "file": str(path)})
    else:
        print("\n".join([*_lines(record), f"kept in {path}"]))
    if phone is None:
        typer.echo(
            "note: The photos do not name one phone: later reports cannot name this test.", err=True
        )
    print_notices(test.notices)
    raise typer.Exit(int(test.decision != "passes"))


def _lines(record: dict[str, Any]) -> list[str]:
    """What is said on the terminal: the decision first."""
    from snugline.desk.acceptance_words import decision_words, largest_words, scale_words

    lines = [
        decision_words(record),
        f"  {largest_words(record)}",
        f"  {'photo':<20} {'size':<14} {'measured':>9} {'known':>8} {'E':>7} {'U95':>6}  mm",
    ]
    for e in record["errors"]:
        open_ = "" if e["can_pass"] else "  (known too coarsely to pass)"
        lines.append(
            f"  {e['photo']:<20} {e['of']:<14} {e['measured']:9.2f} {e['reference']:8.2f} "
            f"{e['error']:+7.2f} {e['u95']:6.2f}{open_}"
        )
    if (scale := scale_words(record)) is not None:
        lines.append(f"  {scale}")
    return lines
