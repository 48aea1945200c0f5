"""`snugline camera`: a phone calibrated once, for all later jobs."""

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
        str | None, typer.Option(help="Name for this camera (default: its make and model).")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Calibrate a phone's camera from photos of a frame, with or without a part on it.

    Four to eight photos are enough: from straight above and from several sides, upright and turned,
    with markers out to the photo's corners. The calibration is kept in your data folder. Later jobs
    use it for photos of the same make, model, lens and size, or where they name it.

    \b
    Examples:
      snugline camera sheet-*.jpg --frame border-a4 --bar-x 199.2mm --bar-y 119.8mm
      snugline camera sheet-*.jpg --frame border-a4 --name "shop phone"
      snugline trace left.jpg --frame border-a4 --thickness 9.5mm --camera "shop phone"
    """
    from snugline.counting import counted
    from snugline.desk.console import print_json, print_notices, progress
    from snugline.desk.options import printed_frames
    from snugline.errors import InputError
    from snugline.trace.known_cameras import as_record, camera_folder, judge_camera, learn, save
    from snugline.trace.sheet.frame_description import Frame

    frames = printed_frames(frame, bar_x, bar_y)
    with_markers = [f for f in frames if isinstance(f, Frame)]
    if len(with_markers) < len(frames):
        raise InputError(
            "a frame without markers is not enough to calibrate a lens",
            "--frame",
            "photograph a printed frame of markers",
        )
    with progress(as_json) as step:
        step(f"calibrating from {counted(len(photos), 'photo')}")
        found = learn(photos, with_markers, name)
    path = save(found, camera_folder())
    if as_json:
        print_json({**as_record(found), "file": str(path)})
    else:
        print(
            f"{found.name}: focal length {found.lens.focal:.0f} px from "
            f"{counted(found.photos, 'photo')}, {_tested(found.holdout_mm)} -> {path}"
        )
    print_notices(judge_camera(found))


def _tested(holdout_mm: float) -> str:
    """The hold-out error: how well the lens predicts photos that it was not calibrated from."""
    known = holdout_mm == holdout_mm
    return f"hold-out error {holdout_mm:.3f} mm" if known else "not tested"
