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
# The principal point of a whole picture is within a percent of its diagonal of the middle; farther
# off it is not a whole picture, where the markers determine it that well.
_OFF_MIDDLE = 0.03
_OFF_Z = 4.0  # standard uncertainties
# Zoom, focus and rounding leave the EXIF focal length within a share of this.
_OFF_FOCAL = 0.05


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
    words = _not_as_taken(solved, number, sighting)
    if words:
        yield Notice(
            "not-as-taken",
            f"{words}: this is not the photo as the phone took it, but an edited one, a part of "
            f"it, or a photo of a screen or print.",
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
                "The photo does not record the lens it was taken with, and its markers alone leave "
                "points of the part's top edge uncertain by {}.",
                length(unsure),
            ),
            "Give the photo as the phone saved it, with its EXIF and not cropped.",
            "usable",
            about,
        )


def _not_as_taken(solved: Solved, number: int, sighting: Sighting) -> str:
    """What contradicts that an apparently whole picture is one; empty where nothing does."""
    whole = next((p for p in (sighting.prior, *sighting.otherwise) if p.kind == "whole"), None)
    chosen = solved.lenses[number]
    if whole is None or chosen.prior is whole or chosen.prior.kind == "learned":
        return ""
    lens = solved.adjusted.cameras[number].lens
    u = np.sqrt(np.diag(solved.camera_covariance(number))[:3])
    off = np.abs(np.array(lens.centre) - (np.array(lens.size) - 1) / 2)
    if ((off > _OFF_MIDDLE * np.hypot(*lens.size)) & (off > _OFF_Z * u[1:])).any():
        return "The lens's principal point is far off the picture's middle"
    known = float(np.sqrt(np.linalg.inv(whole.precision)[0, 0]))
    apart = abs(lens.focal - whole.lens.focal)
    # A free focal length is expected nowhere, and contradicted by nothing.
    if apart > _OFF_FOCAL * whole.lens.focal and apart > _OFF_Z * float(np.hypot(u[0], known)):
        return "The markers give another focal length than the EXIF"
    return ""


def _upper_edge_u(solved: Solved, number: int, window: Floats, thickness: float) -> float:
    """Mm, rms standard uncertainty outwards at the part's height over the window's border."""
    camera = solved.adjusted.cameras[number]
    outwards = window - window.mean(axis=0)
    outwards = outwards / np.linalg.norm(outwards, axis=1, keepdims=True)
    raised = np.column_stack([window, np.full(len(window), thickness)])
    pixels = camera.pixels(raised)
    u = across_u(camera, solved.camera_covariance(number), pixels, thickness, outwards)
    return float(np.sqrt(np.mean(u**2)))
