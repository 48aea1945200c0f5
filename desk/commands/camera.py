"""`snugline camera`: a phone learned once, for all later jobs."""

from pathlib import Path
from typing import Annotated

import typer

from snugline.desk.options import AsJson, BarX, BarY, Frames


def camera(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...", help="Of a frame, as taken.")],
    frame: Frames,
    bar_x: BarX = None,
    bar_y: BarY = None,
    name: Annotated[
        str | None, typer.Option(help="What to call it; else its make and model.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Learn a phone's lens from photos of a frame, with or without a part on it.

    Four to eight photos do: from straight above and from several sides, upright and turned, with
    the markers out to the photo's corners. The lens is kept in your data folder. Later jobs use it
    for photos of the same make, model, lens and size, or where they name it.

    \b
    Examples:
      snugline camera sheet-*.jpg --frame border-a4 --bar-x 199.2mm --bar-y 119.8mm
      snugline camera sheet-*.jpg --frame border-a4 --name "shop phone"
      snugline trace left.jpg --frame border-a4 --thickness 9.5mm --camera "shop phone"
    """
    from snugline.desk.console import print_json, print_notices, progress
    from snugline.desk.options import printed_frames
    from snugline.errors import InputError
    from snugline.trace.known_cameras import as_record, camera_folder, judge_camera, learn, save
    from snugline.trace.sheet.frame_description import Frame

    frames = printed_frames(frame, bar_x, bar_y)
    with_markers = [f for f in frames if isinstance(f, Frame)]
    if len(with_markers) < len(frames):
        raise InputError(
            "a frame without markers tells too little of a lens",
            "--frame",
            "photograph a printed frame of markers",
        )
    with progress(as_json) as step:
        step(f"learning from {len(photos)} photos")
        learned = learn(photos, with_markers, name)
    path = save(learned, camera_folder())
    if as_json:
        print_json({**as_record(learned), "file": str(path)})
    else:
        print(
            f"{learned.name}: focal length {learned.lens.focal:.0f} px from {learned.photos} "
            f"photos, {_tested(learned.holdout_mm)} -> {path}"
        )
    print_notices(judge_camera(learned))


def _tested(holdout_mm: float) -> str:
    """How well the lens serves photos that it was not learned from."""
    known = holdout_mm == holdout_mm
    return f"hold-out {holdout_mm:.3f} mm" if known else "not tested"
