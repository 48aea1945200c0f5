"""What happens to photos on their way: cropped, reduced, recompressed, metadata lost or wrong."""

import numpy as np
from PIL import Image, ImageOps

WRONG_FOCAL = 1.5
_FOCAL_35MM, _EXIF_IFD, _ORIENTATION = 0xA405, 0x8769, 0x0112


def without_metadata(data):
    """A JPEG file less its application segments; the picture is not touched (ITU-T T.81)."""
    kept, at = [data[:2]], 2
    while data[at + 1] != 0xDA:
        size = 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if not 0xE1 <= data[at + 1] <= 0xEF:
            kept.append(data[at : at + size])
        at += size
    return b"".join([*kept, data[at:]])


def cropped(source, quads, target, seed, exif="kept", long_side=None, quality=92):
    """Write a crop of a photo that keeps what `quads` (M, 4, 2) px, as displayed, surround.

    Parameters
    ----------
    exif : kept, stripped, or wrong (the 35 mm equivalent half as long again).
    long_side : px that the crop is reduced to.
    """
    rng = np.random.default_rng(seed)
    with Image.open(source) as image:
        tags = image.getexif()
        shown = ImageOps.exif_transpose(image).convert("RGB")
    points = np.asarray(quads).reshape(-1, 2)
    room = rng.uniform(0, 1, 4) * np.r_[points.min(axis=0), shown.size - points.max(axis=0)]
    # A finger's breadth of white stays round the markers, which need it.
    rim = 30
    low = np.maximum(points.min(axis=0) - rim - room[:2], 0)
    high = np.minimum(points.max(axis=0) + rim + room[2:], shown.size)
    crop = shown.crop((*low.astype(int).tolist(), *high.astype(int).tolist()))
    if long_side is not None and max(crop.size) > long_side:
        size = np.round(np.array(crop.size) * long_side / max(crop.size)).astype(int)
        crop = crop.resize(tuple(size.tolist()), Image.Resampling.LANCZOS)
    if exif == "stripped":
        crop.save(target, quality=quality)
        return
    tags[_ORIENTATION] = 1
    if exif == "wrong":
        details = tags.get_ifd(_EXIF_IFD)
        details[_FOCAL_35MM] = round(details[_FOCAL_35MM] * WRONG_FOCAL)
    crop.save(target, quality=quality, exif=tags)
