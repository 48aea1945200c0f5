"""Is the lens known well enough, and is it the one that was expected?"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length
from snugline.trace.camera.camera_solution import Solved
from snugline.trace.camera.camera_spread import across_u
from snugline.trace.camera.sighting import Sighting

Floats = NDArray[np.float64]

# A place on the part's upper edge may be uncertain by this (U95) before the user should act: it is
# a third of 0.3 mm, a usual clearance.
UNSURE_MM = 0.1
# A lens is off the middle of a whole picture by a percent of its diagonal; farther off it is no
# whole picture, where the markers tell the centre that well.
_OFF_MIDDLE, _OFF_Z = 0.03, 4.0


def judge_lens(
    solved: Solved, number: int, sighting: Sighting, window: Floats, thickness: float
) -> Iterator[Notice]:
    """Remarks on one photo's lens; nothing where it does not matter to the part.

    Parameters
    ----------
    window : (K, 2) mm in the world coordinate system.
    thickness : mm, the height that places on the part's upper edge have.
    """
    chosen, about = solved.lenses[number], OfPhoto(sighting.file)
    if chosen.refuted is not None and chosen.refuted.kind == "learned":
        yield Notice(
            "camera-differs",
            f"The lens of this photo is not {chosen.refuted.source}; the calibration was not used.",
            "Calibrate the phone again, or leave the camera's name out.",
            "usable",
            about,
        )
    if _off_middle(solved, number, sighting):
        yield Notice(
            "not-as-taken",
            "The lens's centre is far off the picture's middle: this is not the photo as the phone "
            "took it, but a part of it or a photo of a screen or print.",
            "Give the file itself, as the phone saved it.",
            "usable",
            about,
        )
        return
    unsure = 2 * _upper_edge_u(solved, number, window, thickness)
    if unsure > UNSURE_MM and chosen.prior.kind in ("free", "crop"):
        yield Notice(
            "lens-unsure",
            Sentence(
                "The photo does not say with which lens it was taken, and its markers alone leave "
                "places at the part's upper edge uncertain by {}.",
                length(unsure),
            ),
            "Give the photo as the phone saved it, with its EXIF and not cropped.",
            "usable",
            about,
        )


def _off_middle(solved: Solved, number: int, sighting: Sighting) -> bool:
    """Whether what looks like a whole picture has its lens's centre elsewhere."""
    expected = (sighting.prior, *sighting.otherwise)
    if solved.lenses[number].prior.kind == "whole" or not any(p.kind == "whole" for p in expected):
        return False
    lens = solved.adjusted.cameras[number].lens
    off = np.array(lens.centre) - (np.array(lens.size) - 1) / 2
    u = np.sqrt(np.diag(solved.camera_covariance(number))[1:3])
    far = np.abs(off) > _OFF_MIDDLE * np.hypot(*lens.size)
    return bool((far & (np.abs(off) > _OFF_Z * u)).any())


def _upper_edge_u(solved: Solved, number: int, window: Floats, thickness: float) -> float:
    """Mm, rms standard uncertainty outwards of places at the part's height over the window's rim."""
    camera = solved.adjusted.cameras[number]
    outwards = window - window.mean(axis=0)
    outwards = outwards / np.linalg.norm(outwards, axis=1, keepdims=True)
    raised = np.column_stack([window, np.full(len(window), thickness)])
    pixels = camera.pixels(raised)
    u = across_u(camera, solved.camera_covariance(number), pixels, thickness, outwards)
    return float(np.sqrt(np.mean(u**2)))
