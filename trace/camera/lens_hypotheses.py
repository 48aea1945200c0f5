"""What a photo may be: the whole picture as in its EXIF, zoomed, cropped, or none of these.

Each hypothesis is a prior on the lens with a probability of its own, the strictest first; the last
one leaves focal length and principal point to the markers. The markers decide which one holds
(`lens_choice`).
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.lens import (
    LENS_SIZE,
    Kind,
    Lens,
    LensPrior,
    exif_focal,
    prior_from_exif,
    radial_precision,
)
from snugline.trace.image.photo_file import Exif

Floats = NDArray[np.float64]

# Aspect ratios that phones save, long side over short; a side rounded to 16 px moves them by the
# margin.
_ASPECTS = (4 / 3, 3 / 2, 16 / 9, 18 / 9, 18.5 / 9, 19.5 / 9, 20 / 9, 1.0)
_ASPECT_MARGIN = 0.006
# Long sides (px) of the 4:3 pictures that phones save, 8 to 200 megapixels (makers' data sheets,
# from memory); neighbours nearer than the 35 mm equivalent's own rounding are one.
_ORIGINALS_PX = (3264.0, 4016.0, 4224.0, 4640.0, 5712.0, 8100.0, 9248.0, 12000.0, 16320.0)
# A crop's focal length by the 35 mm equivalent: its rounding, breathing, and the sizes between.
_ORIGINAL_U = 0.02
# Shares of photos: whole pictures where size and aspect agree; digital zoom
# that the 35 mm equivalent ignores; crops of a known size; EXIF that is simply wrong.
# They need only be right in order of magnitude: informative markers overrule them.
_WHOLE, _ZOOMED, _CROPPED, _WRONG = 0.97, 0.02, 0.3, 0.01
# The free lens: focal lengths of 0.4 to 4 times the longer side as one broad bell, and a principal
# point as far off the middle as that of a crop of half a picture may be; shares of the longer side.
FREE_FOCAL, _FREE_FOCAL_U, _FREE_CENTRE_U = 1.4, 0.9, 0.25
# Half the diagonal of a phone's main camera over its focal length (26 mm on film), and the ripples
# of the lens over it, rms shares of that half diagonal: twice those of a known phone.
_PHONE_REACH = 21.63 / 26
_FREE_RIPPLE = 2 * np.array([0.02, 0.008, 0.003, 0.0015])


def lens_hypotheses(size: tuple[int, int], exif: Exif) -> tuple[LensPrior, ...]:
    """Priors of one photo's lens, the strictest first, the free one last.

    Parameters
    ----------
    size : (width, height) px as displayed.
    """
    whole = looks_whole(size, exif)
    found = []
    if exif.focal_35mm is not None and exif_focal(1.0, exif.focal_35mm) > 0:
        found += list(_by_exif(size, exif, exif.focal_35mm, whole))
        if whole:
            found.append(_free_focal(size, _WRONG))
        wrong = _WRONG / 2 if whole else _CROPPED
    else:
        if whole:
            found.append(_free_focal(size, _WHOLE - _CROPPED))
        wrong = _CROPPED
    return (*found, free_lens(size, wrong))


def looks_whole(size: tuple[int, int], exif: Exif) -> bool:
    """Whether size and aspect are those of a picture as a camera saves it."""
    long, short = max(size), min(size)
    if exif.pixel_size is not None:
        # Orientation and reduction aside, the EXIF still describes the picture.
        written = max(exif.pixel_size) / min(exif.pixel_size)
        if abs(long / short / written - 1) > _ASPECT_MARGIN:
            return False
    return any(abs(long / short / aspect - 1) < _ASPECT_MARGIN for aspect in _ASPECTS)


def _by_exif(
    size: tuple[int, int], exif: Exif, focal_35mm: float, whole: bool
) -> Iterator[LensPrior]:
    main = prior_from_exif(size, focal_35mm)
    if whole:
        yield main.with_weight(_WHOLE)
    long, short = max(size), min(size)
    if whole and abs(long / short / (4 / 3) - 1) > _ASPECT_MARGIN:
        # Other aspects are cut from the middle of a 4:3 sensor, which the equivalent is of.
        diagonal = max(long * 5 / 4, short * 5 / 3)
        yield main.scaled(diagonal / np.hypot(*size)).with_weight(_ZOOMED)
    if exif.zoom is not None and exif.zoom > 1:
        yield main.scaled(exif.zoom).with_weight(_ZOOMED)
    originals = [side for side in _ORIGINALS_PX if side * 3 / 4 >= short and side >= long]
    if exif.pixel_size is not None and max(exif.pixel_size) > 1.01 * long:
        originals.insert(0, float(max(exif.pixel_size)))
    for side in originals:
        # The position of the crop in the original is not recorded.
        centre_u = 0.5 * max(side - short, 0.01 * side) / np.sqrt(3)
        focal = exif_focal(side * 5 / 4, focal_35mm)
        weight = (_ZOOMED if whole else _CROPPED) / len(originals)
        words = f"the EXIF focal length ({focal_35mm:g} mm) of a crop"
        yield _phone_lens(size, focal, _ORIGINAL_U * focal, centre_u, weight, words, "crop")


def _free_focal(size: tuple[int, int], weight: float) -> LensPrior:
    """A whole picture of any focal length."""
    long = max(size)
    centre_u = 0.0025 * float(np.hypot(*size))  # as that of a phone known by its EXIF
    focal, focal_u = FREE_FOCAL * long, _FREE_FOCAL_U * long
    return _phone_lens(size, focal, focal_u, centre_u, weight, "no knowledge", "whole")


def free_lens(size: tuple[int, int], weight: float = 1.0) -> LensPrior:
    """Any focal length, and the principal point of any crop."""
    long = max(size)
    focal, focal_u, centre_u = FREE_FOCAL * long, _FREE_FOCAL_U * long, _FREE_CENTRE_U * long
    return _phone_lens(size, focal, focal_u, centre_u, weight, "the markers alone", "free")


def _phone_lens(
    size: tuple[int, int],
    focal: float,
    focal_u: float,
    centre_u: float,
    weight: float,
    source: str,
    kind: Kind,
) -> LensPrior:
    """A prior whose ripples are those of a phone's whole picture, whatever was cut from it."""
    width, height = size
    lens = Lens(focal, ((width - 1) / 2, (height - 1) / 2), (0.0, 0.0, 0.0, 0.0), size)
    precision = np.zeros((LENS_SIZE, LENS_SIZE))
    precision[0, 0] = focal_u**-2
    precision[1, 1] = precision[2, 2] = centre_u**-2
    precision[3:, 3:] = radial_precision(1.0, _PHONE_REACH, _FREE_RIPPLE * _PHONE_REACH)
    return LensPrior(lens, precision, source, weight, kind)
