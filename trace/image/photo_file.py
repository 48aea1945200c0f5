"""Reading a photo: its pixels as displayed, and what its EXIF says about the camera.

Everything in the header is checked before a pixel is decoded. JPEG, the usual case,
is decoded by OpenCV, the other formats by pillow.
"""

import re
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any, cast

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms, UnidentifiedImageError

from snugline.errors import FileError, PhotoError
from snugline.notice import Notice

LARGEST_PIXELS = 200_000_000
LARGEST_BYTES = 2_000_000_000
SMALLEST_SIDE = 8  # px; less shows no marker
LONGEST_SHAPE = 100  # times as long as wide; no camera's, and reduced it would vanish
FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "HEIF")

_MEAN = cv2.INTER_AREA
_EXPORT = "save the photo as JPEG, PNG, TIFF, HEIC or WebP"
_COPY_AGAIN = "copy the photo from the phone once more"


@dataclass(frozen=True)
class Exif:
    """What the camera stored with the picture; None where it stored nothing usable.

    Attributes
    ----------
    focal_mm, focal_35mm : focal length, and its equivalent on 36 x 24 mm film (a whole number).
    orientation : 1 to 8, as stored; it has been applied to the pixels.
    pixel_size : (width, height) that the camera says it wrote, which a crop may leave standing.
    zoom : digital zoom ratio.
    """

    make: str | None
    model: str | None
    lens: str | None
    focal_mm: float | None
    focal_35mm: float | None
    orientation: int
    pixel_size: tuple[int, int] | None = None
    zoom: float | None = None


@dataclass(frozen=True)
class Photo:
    """A photo as displayed.

    Attributes
    ----------
    rgb : (H, W, 3) uint8, contiguous, coded by the sRGB curve.
    notices : what was done to the colours on the way.
    """

    path: Path
    rgb: NDArray[np.uint8]
    exif: Exif
    notices: tuple[Notice, ...] = ()

    @property
    def height(self) -> int:
        return int(self.rgb.shape[0])

    @property
    def width(self) -> int:
        return int(self.rgb.shape[1])

    @property
    def stored_size(self) -> tuple[int, int]:
        """Width and height in px before the orientation was applied."""
        size = (self.width, self.height)
        return size if self.exif.orientation <= 4 else size[::-1]


def read_photo(path: str | Path) -> Photo:
    """Read a JPEG, PNG, TIFF, HEIC or WebP photo.

    Raises
    ------
    FileError : missing, unreadable, truncated, or not a photo.
    PhotoError : more than 200 megapixels, a shape that no camera has, an animation, or an HDR video
        transfer curve.
    """
    path = Path(path)
    data = _read_bytes(path)
    with _opened(data, path) as image:
        width, height = image.size
        if width * height > LARGEST_PIXELS:
            raise PhotoError(
                f"the photo has {width * height / 1e6:.0f} megapixels ({width} x {height})",
                str(path),
                f"give one of at most {LARGEST_PIXELS // 1_000_000} megapixels",
            )
        if min(width, height) < max(SMALLEST_SIDE, max(width, height) / LONGEST_SHAPE):
            raise PhotoError(
                f"the photo has {width} x {height} pixels, unlike any camera's picture",
                str(path),
                "give the photo as the phone took it",
            )
        _refuse_several_frames(image, path)
        _refuse_video_curve(image, path)
        exif = _exif_facts(image)
        try:
            # Pillow's MPO is a JPEG with more pictures behind it.
            if image.format in ("JPEG", "MPO") and image.mode in ("RGB", "L"):
                _refuse_cut_jpeg(data, path)
                rgb, orientation = _decode_jpeg(data), exif.orientation
            else:
                rgb = _decode_by_pillow(image)
                # Pillow turns TIFF and HEIC itself and then reports 1.
                orientation = _orientation(image.getexif().get(ExifTags.Base.Orientation)) or 1
        except (FileError, PhotoError):
            raise
        except Exception as error:  # a decoder may fail on a broken file in any way
            raise _broken(path, error) from error
        notices = _make_curve_srgb(image, rgb, str(path))
    return Photo(path, _turned(rgb, orientation), exif, notices)


def read_exif(path: str | Path) -> Exif:
    """What a photo's header says of the camera; no pixel is decoded.

    Raises
    ------
    FileError : missing, unreadable, or not a photo.
    """
    path = Path(path)
    with _opened(_read_bytes(path), path) as image:
        return _exif_facts(image)


def reduced(rgb: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """The picture reduced by a whole factor with area averaging.

    Pixel x of the reduced picture is `factor * x + (factor - 1) / 2` of the full one. Halving
    and halving again is several times faster than one step.
    """
    size = (rgb.shape[1] // factor, rgb.shape[0] // factor)
    cut = rgb[: size[1] * factor, : size[0] * factor]
    if factor % 2 == 0:
        half = (cut.shape[1] // 2, cut.shape[0] // 2)
        return reduced(
            cast("NDArray[np.uint8]", cv2.resize(cut, half, interpolation=_MEAN)), factor // 2
        )
    if factor == 1:
        return cut
    return cast("NDArray[np.uint8]", cv2.resize(cut, size, interpolation=_MEAN))


def _read_bytes(path: Path) -> bytes:
    try:
        if path.exists() and not path.is_file():
            raise FileError(
                "is a folder or a device, not a photo", str(path), "give a photo's path"
            )
        if path.stat().st_size > LARGEST_BYTES:
            raise FileError("is larger than 2 GB", str(path), _EXPORT)
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise FileError("there is no such photo", str(path), "check the photo's path") from error
    except FileError:
        raise
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileError(
            f"cannot read the photo ({reason})", str(path), "check the path and its permissions"
        ) from error
    if not data:
        raise FileError("the file is empty", str(path), _COPY_AGAIN)
    return data


# Pillow's own size limit (below ours) and Python's warning filters are global: one at a time.
_pillow_lock = threading.Lock()


@contextmanager
def _opened(data: bytes, path: Path) -> Iterator[Image.Image]:
    """The image with its header read and nothing decoded; pillow's remarks are kept quiet."""
    _register_heif()
    with _pillow_lock, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
        try:
            image = Image.open(BytesIO(data), formats=FORMATS)
        except UnidentifiedImageError as error:
            start = data[:512].lstrip().lower()
            kind = "is a text or drawing, not a photo" if start[:1] == b"<" else "is not a photo"
            raise FileError(f"{kind} in a format that can be read", str(path), _EXPORT) from error
        except Exception as error:
            raise _broken(path, error) from error
        finally:
            Image.MAX_IMAGE_PIXELS = limit
        with image:
            yield image


@cache
def _register_heif() -> None:
    from pillow_heif import register_heif_opener

    register_heif_opener()


def _broken(path: Path, error: Exception) -> FileError:
    reason = str(error) or type(error).__name__
    return FileError(f"the photo is damaged or incomplete ({reason})", str(path), _COPY_AGAIN)


def _refuse_several_frames(image: Image.Image, path: Path) -> None:
    # Behind the main picture of a JPEG or HEIC phones keep depth maps and the like.
    try:
        frames = getattr(image, "n_frames", 1)
    except Exception as error:  # counting reads the heads of all of them
        raise _broken(path, error) from error
    if frames > 1 and image.format in ("PNG", "TIFF", "WEBP"):
        raise PhotoError(
            f"the file holds {frames} pictures",
            str(path),
            "save the one that shows the part as a JPEG or PNG of its own",
        )


def _refuse_video_curve(image: Image.Image, path: Path) -> None:
    nclx = image.info.get("nclx_profile") or {}
    # ITU-T H.273: transfer characteristics 16 is PQ, 18 is HLG.
    if nclx.get("transfer_characteristics") in (16, 18) and "icc_profile" not in image.info:
        raise PhotoError(
            "the photo is stored with an HDR video transfer curve (PQ or HLG)",
            str(path),
            "turn HDR off in the camera, or save the photo as JPEG",
        )


# A marker that is neither a stuffed byte, nor a restart, nor a filler: where a scan ends.
_SCAN_END = re.compile(rb"\xff[^\x00\x01\xd0-\xd7\xff]")


def _refuse_cut_jpeg(data: bytes, path: Path) -> None:
    """Walk the segments to the end-of-image marker (ITU-T T.81, annex B).

    Decoders fill a missing end with grey. The last two bytes prove nothing, since phones append
    data, and an embedded preview has an end marker of its own.
    """
    at = 2
    while 0 <= at < len(data) - 1:
        marker = data[at + 1]
        if data[at] != 0xFF or marker == 0xFF:  # filler
            at += 1
        elif marker == 0xD9:  # end of image
            return
        elif marker == 0x01 or 0xD0 <= marker <= 0xD8:  # markers without a length
            at += 2
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
            if marker == 0xDA:  # start of scan
                end = _SCAN_END.search(data, at)
                at = end.start() if end else -1
    raise FileError("the end of the photo is missing", str(path), _COPY_AGAIN)


def _decode_jpeg(data: bytes) -> NDArray[np.uint8]:
    # Older OpenCV knows blue-green-red only; the channels are then swapped in place.
    as_rgb = getattr(cv2, "IMREAD_COLOR_RGB", None)
    flags = cv2.IMREAD_IGNORE_ORIENTATION | (cv2.IMREAD_COLOR if as_rgb is None else as_rgb)
    rgb = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if rgb is None:
        raise ValueError("the decoder gave up")
    if as_rgb is None:
        cv2.cvtColor(rgb, cv2.COLOR_BGR2RGB, dst=rgb)
    return cast("NDArray[np.uint8]", rgb)


def _decode_by_pillow(image: Image.Image) -> NDArray[np.uint8]:
    image.load()
    if image.mode.startswith(("I", "F")):
        return _from_deep_grey(np.asarray(image))
    if image.has_transparency_data:
        picture = image.convert("RGBA")
        white = Image.new("RGB", picture.size, "white")
        white.paste(picture, mask=picture.getchannel("A"))
        return np.array(white)
    return np.array(image if image.mode == "RGB" else image.convert("RGB"))


def _from_deep_grey(grey: NDArray[Any]) -> NDArray[np.uint8]:
    """16-bit grey to bytes; pillow itself would clip at 255."""
    if not (np.isfinite(grey).all() and grey.min() >= 0 and 255 < grey.max() < 1 << 16):
        raise ValueError("its grey values are not in 16 bits")
    return np.repeat(np.rint(grey / 257).astype(np.uint8)[..., None], 3, axis=2)


def _make_curve_srgb(image: Image.Image, rgb: NDArray[np.uint8], where: str) -> tuple[Notice, ...]:
    """Recode in place, by what the embedded profile makes of neutral greys.

    Only the curve matters to an edge: the profile's primaries (Display P3's, say) stay.
    """
    profile = image.info.get("icc_profile")
    if not profile or image.mode == "CMYK":
        return ()
    try:
        embedded = ImageCms.ImageCmsProfile(BytesIO(profile))
        mode = "L" if embedded.profile.xcolor_space.strip() == "GRAY" else "RGB"
        transform = ImageCms.buildTransform(embedded, ImageCms.createProfile("sRGB"), mode, "RGB")
        ramp = Image.fromarray(np.arange(256, dtype=np.uint8)[None]).convert(mode)
        greys = np.asarray(ImageCms.applyTransform(ramp, transform))[0].astype(np.float64)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        text = "The embedded colour profile cannot be read; sRGB is assumed."
        return (Notice("colour-profile-unread", text, _EXPORT + " in sRGB.", "usable", where),)
    curve = np.rint(greys.mean(axis=1)).astype(np.uint8)
    if np.abs(curve - np.arange(256.0)).max() <= 1:
        return ()
    cv2.LUT(rgb, curve, dst=rgb)
    name = " ".join((embedded.profile.profile_description or "unnamed").split())
    text = f"The tone curve of colour profile {name!r} was converted to sRGB."
    return (Notice("colour-profile-recoded", text, "No action needed.", "fine", where),)


def _turned(rgb: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Apply an EXIF orientation (JEITA CP-3451, tag 0x0112); without a copy where sides stay."""
    if orientation == 6:  # first row at the right
        return cast("NDArray[np.uint8]", cv2.rotate(rgb, cv2.ROTATE_90_CLOCKWISE))
    if orientation == 8:  # first row at the left
        return cast("NDArray[np.uint8]", cv2.rotate(rgb, cv2.ROTATE_90_COUNTERCLOCKWISE))
    if orientation in (5, 7):  # mirrored, too
        rgb = cast("NDArray[np.uint8]", cv2.transpose(rgb))
    flip = {2: 1, 3: -1, 4: 0, 7: -1}.get(orientation)  # OpenCV: 1 left-right, 0 up-down, -1 both
    if flip is not None:
        cv2.flip(rgb, flip, dst=rgb)
    return rgb


def _exif_facts(image: Image.Image) -> Exif:
    try:
        main = image.getexif()
        details = main.get_ifd(ExifTags.IFD.Exif)
    except Exception:  # a broken EXIF block does not justify refusing the picture
        return Exif(None, None, None, None, None, 1)
    # Pillow has turned HEIC already, and keeps what was written in its info.
    orientation = _orientation(image.info.get("original_orientation")) or _orientation(
        main.get(ExifTags.Base.Orientation)
    )
    return Exif(
        make=_text(main.get(ExifTags.Base.Make)),
        model=_text(main.get(ExifTags.Base.Model)),
        lens=_text(details.get(ExifTags.Base.LensModel)),
        focal_mm=_positive(details.get(ExifTags.Base.FocalLength)),
        focal_35mm=_positive(details.get(ExifTags.Base.FocalLengthIn35mmFilm)),
        orientation=orientation or 1,
        pixel_size=_size(
            details.get(ExifTags.Base.ExifImageWidth), details.get(ExifTags.Base.ExifImageHeight)
        ),
        zoom=_positive(details.get(ExifTags.Base.DigitalZoomRatio)),
    )


def _orientation(value: Any) -> int | None:
    # Eight by the tag's definition.
    return int(value) if value in range(1, 9) else None


def _text(value: Any) -> str | None:
    if isinstance(value, bytes):
        value = value.decode("latin-1")
    if not isinstance(value, str):
        return None
    return " ".join(value.replace("\x00", " ").split()) or None


def _size(width: Any, height: Any) -> tuple[int, int] | None:
    w, h = _positive(width), _positive(height)
    return (round(w), round(h)) if w and h and min(w, h) >= 1 else None


def _positive(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if 0 < number < float("inf") else None
