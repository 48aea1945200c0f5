"""Pictures as stored and as displayed: what an EXIF orientation does to places and sightings."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.lens_hypotheses import lens_hypotheses
from snugline.trace.camera.observations import Observations
from snugline.trace.camera.sighting import Sighting
from snugline.trace.image.photo_file import Photo

Floats = NDArray[np.float64]

IN_DISPLAY = {  # what an EXIF orientation does to (x, y) as stored (JEITA CP-3451, tag 0x0112)
    1: ((1, 0), (0, 1)),
    2: ((-1, 0), (0, 1)),
    3: ((-1, 0), (0, -1)),
    4: ((1, 0), (0, -1)),
    5: ((0, 1), (1, 0)),
    6: ((0, -1), (1, 0)),
    7: ((0, -1), (-1, 0)),
    8: ((0, 1), (-1, 0)),
}


def displayed(points: Floats, orientation: int, stored: tuple[int, int]) -> Floats:
    """(N, 2) pixels of the displayed photo from those as stored."""
    turn = np.array(IN_DISPLAY[orientation], dtype=np.float64)
    return np.asarray(points @ turn.T + _shift(turn, stored))


def _shift(turn: Floats, stored: tuple[int, int]) -> Floats:
    """What brings the turned picture's first pixel back to (0, 0)."""
    return np.asarray((turn < 0) @ (np.array(stored) - 1.0))


def as_stored(sighting: Sighting, photo: Photo) -> Sighting:
    """The sighting in pixels as stored, its lens shared with all others of the camera."""
    stored = photo.stored_size
    turn = np.array(IN_DISPLAY[photo.exif.orientation], dtype=np.float64)
    shift = _shift(turn, stored)
    o: Observations = sighting.observations
    expected, *otherwise = lens_hypotheses(stored, photo.exif)
    return replace(
        sighting,
        size=stored,
        observations=replace(o, pixels=(o.pixels - shift) @ turn, normals=o.normals @ turn),
        quads=(sighting.quads - shift) @ turn,
        prior=expected,
        otherwise=tuple(otherwise),
        camera_key=("the one camera",),
    )
