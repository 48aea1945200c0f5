"""The markers of the described frames in a photo, and the true cause where they are not there."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.place import OfPhoto
from snugline.trace.camera.marker_search import FINDER_SIDE_PX, FoundMarkers, find_markers
from snugline.trace.camera.sheet_recognition import recognised
from snugline.trace.image.photo_file import Photo
from snugline.trace.sheet.frame_description import Frame

# Pose and focal length need more than three markers; with fewer than the second on the reduced
# picture it is searched again, at full size and reduced by this factor more.
FEWEST_MARKERS, _FEW, _MUCH = 4, 8, 2


def described_markers(
    photo: Photo, frames: Sequence[Frame]
) -> tuple[FoundMarkers, NDArray[np.bool_]]:
    """The markers in the photo, and which of them are the frames'.

    Raises
    ------
    PhotoError : none or too few of them: the photo is mirrored, shows another sheet, or no sheet.
    """
    known = np.concatenate([f.ids for f in frames])
    found = find_markers(photo.rgb, frames[0].dictionary)
    # Small markers show at full size, blurred or grainy ones when much reduced.
    for factor in (1, _MUCH * max(1, round(max(photo.rgb.shape[:2]) / FINDER_SIDE_PX))):
        if np.isin(found.ids, known).sum() >= _FEW:
            break
        again = find_markers(photo.rgb, frames[0].dictionary, factor=factor)
        if len(again.ids) > len(found.ids):
            found = again
    mine = np.isin(found.ids, known)
    if mine.sum() < FEWEST_MARKERS:
        raise _missing(photo, frames, found, int(mine.sum()))
    return found, mine


def another_sheet(
    found: FoundMarkers, frames: Sequence[Frame], where: OfPhoto
) -> PhotoError | None:
    """Where the markers are those of a built-in sheet that was not described: which one."""
    described = [f.name for f in frames]
    name = recognised(found, frames[0].dictionary, described)
    if name is None:
        return None
    return PhotoError(
        f"the photo shows the sheet {name}, not {' or '.join(described)}",
        where,
        f"use {name} (with -dark where its window is printed dark), or photograph the part on "
        f"{' or '.join(described)}",
    )


def _missing(photo: Photo, frames: Sequence[Frame], found: FoundMarkers, mine: int) -> PhotoError:
    where = OfPhoto(str(photo.path))
    mirrored = find_markers(photo.rgb[:, ::-1], frames[0].dictionary)
    if len(mirrored.ids) >= FEWEST_MARKERS and len(mirrored.ids) > len(found.ids):
        return PhotoError(
            "the photo is mirrored: its markers read right only in a mirror",
            where,
            "take it with the camera on the back and without mirroring, or flip the picture over",
        )
    if len(found.ids) == 0:
        return PhotoError(
            "no marker of a frame was found",
            where,
            "photograph the part on the printed frame, sharp and with most of its markers in view",
        )
    names = " or ".join(f.name for f in frames)
    if mine == 0:
        other = another_sheet(found, frames, where)
        shown = ", ".join(str(i) for i in sorted(found.ids.tolist())[:5])
        return other or PhotoError(
            f"the {len(found.ids)} markers found (ids {shown}, ...) belong to no frame described; "
            f"{names} has others",
            where,
            "choose the sheet that lies in the photo",
        )
    return PhotoError(
        f"only {mine} of the markers of {names} were found, {FEWEST_MARKERS} are needed",
        where,
        "step back or cover less of the frame, so that markers on all sides show",
    )
