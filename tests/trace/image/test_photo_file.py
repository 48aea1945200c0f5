"""Files are made here, small; pillow's own `exif_transpose` is the judge of orientations."""

import io
import struct
import threading
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms, ImageOps
from pillow_heif import from_pillow, register_heif_opener

from snugline import SnuglineError
from snugline.errors import FileError, PhotoError
from snugline.trace.image.photo_file import Photo, read_photo


def lopsided(width: int = 96, height: int = 64) -> NDArray[np.uint8]:
    """Smooth colours without any symmetry, so that every turn shows."""
    y, x = np.mgrid[0:height, 0:width]
    channels = [x * 255 / width, y * 255 / height, (x + 2 * y) % 128]
    return np.stack(channels, axis=2).astype(np.uint8)


def jpeg(array: NDArray[np.uint8], **options: object) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(array).save(stream, "JPEG", quality=95, subsampling=0, **options)
    return stream.getvalue()


def png_header(width: int, height: int) -> bytes:
    """A PNG that states its size and has no picture."""
    import zlib

    body = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunk = struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
    empty = zlib.compress(b"")
    data = struct.pack(">I", len(empty)) + b"IDAT" + empty
    data += struct.pack(">I", zlib.crc32(b"IDAT" + empty))
    return b"\x89PNG\r\n\x1a\n" + chunk + data


def refusal(path: Path, kind: type[SnuglineError]) -> str:
    with pytest.raises(kind) as caught:
        read_photo(path)
    error = caught.value
    assert error.what
    assert error.mend
    assert error.where == str(path)
    assert "\n" not in str(error)
    return str(error)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_every_orientation_comes_out_as_displayed(
    tmp_path: Path, orientation: int, kind: str
) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    path = tmp_path / f"turned.{kind.lower()}"
    options = {"lossless": True} if kind == "WEBP" else {}
    Image.fromarray(lopsided()).save(path, kind, exif=exif, **options)
    with Image.open(path) as image:
        displayed = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
    photo = read_photo(path)
    assert photo.rgb.shape == displayed.shape
    # Two JPEG decoders may differ by a level or two.
    assert np.abs(photo.rgb.astype(int) - displayed).max() <= (3 if kind == "JPEG" else 0)
    assert photo.rgb.flags.c_contiguous
    assert photo.rgb.flags.writeable
    assert photo.exif.orientation == orientation
    assert photo.stored_size == (96, 64)
    assert (photo.width, photo.height) == displayed.shape[1::-1]


@pytest.mark.parametrize("orientation", [1, 3, 6, 7, 8])
def test_a_heic_photo_comes_out_as_displayed(tmp_path: Path, orientation: int) -> None:
    register_heif_opener()
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Model] = "shop phone"
    path = tmp_path / "turned.heic"
    image = Image.fromarray(lopsided())
    # As phones do: EXIF bytes, and the turn once more in the container, which alone counts there.
    image.save(path, "HEIF", exif=exif.tobytes(), quality=-1, chroma=444)
    photo = read_photo(path)
    image.getexif()[ExifTags.Base.Orientation] = orientation
    expected = np.asarray(ImageOps.exif_transpose(image))
    assert photo.rgb.shape == expected.shape
    assert np.abs(photo.rgb.astype(int) - expected).mean() < 2
    assert photo.exif.model == "shop phone"
    assert photo.exif.orientation == orientation
    assert photo.stored_size == (96, 64)


def test_the_camera_facts_are_read_from_exif(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = " Some Maker\x00"
    exif[ExifTags.Base.Model] = "Model 3"
    details = exif.get_ifd(ExifTags.IFD.Exif)
    details[ExifTags.Base.FocalLength] = 5.4
    details[ExifTags.Base.FocalLengthIn35mmFilm] = 26
    details[ExifTags.Base.LensModel] = "main lens"
    path = tmp_path / "facts.jpg"
    path.write_bytes(jpeg(lopsided(), exif=exif))
    facts = read_photo(path).exif
    assert (facts.make, facts.model, facts.lens) == ("Some Maker", "Model 3", "main lens")
    assert facts.focal_mm == pytest.approx(5.4)
    assert facts.focal_35mm == 26


def test_useless_exif_values_count_as_none(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 77
    exif[ExifTags.Base.Make] = "   "
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = 0
    path = tmp_path / "odd.jpg"
    path.write_bytes(jpeg(lopsided(), exif=exif))
    facts = read_photo(path).exif
    assert (facts.make, facts.focal_35mm, facts.focal_mm, facts.orientation) == (
        None,
        None,
        None,
        1,
    )


def test_a_broken_exif_block_does_not_refuse_the_picture(tmp_path: Path) -> None:
    path = tmp_path / "broken-exif.jpg"
    path.write_bytes(jpeg(lopsided(), exif=b"Exif\x00\x00MM\x00\x2a\x00\x00\xff\xff"))
    assert read_photo(path).exif.make is None


def test_sixteen_bit_and_grey_pictures_become_bytes(tmp_path: Path) -> None:
    deep = lopsided().astype(np.uint16) * 257
    cv2.imwrite(str(tmp_path / "deep.png"), deep[..., ::-1])
    np.testing.assert_array_equal(read_photo(tmp_path / "deep.png").rgb, lopsided())
    for suffix in ("png", "tif"):
        path = tmp_path / f"deep-grey.{suffix}"
        cv2.imwrite(str(path), deep[..., 0])
        assert (read_photo(path).rgb == lopsided()[..., :1]).all()
    Image.fromarray(lopsided()[..., 1]).save(tmp_path / "grey.png")
    assert (read_photo(tmp_path / "grey.png").rgb == lopsided()[..., 1:2]).all()
    Image.fromarray(lopsided()[..., 1]).save(tmp_path / "grey.jpg", quality=100)
    assert read_photo(tmp_path / "grey.jpg").rgb.shape == (64, 96, 3)


def test_transparency_lies_on_white(tmp_path: Path) -> None:
    alpha = np.zeros((64, 96, 1), np.uint8)
    alpha[:, 48:] = 255
    Image.fromarray(np.concatenate([lopsided(), alpha], axis=2)).save(tmp_path / "clear.png")
    rgb = read_photo(tmp_path / "clear.png").rgb
    assert (rgb[:, :48] == 255).all()
    np.testing.assert_array_equal(rgb[:, 48:], lopsided()[:, 48:])


def test_a_palette_picture_is_read(tmp_path: Path) -> None:
    Image.fromarray(lopsided()).convert("P").save(tmp_path / "palette.png")
    assert read_photo(tmp_path / "palette.png").rgb.shape == (64, 96, 3)


def test_data_behind_the_end_of_a_jpeg_is_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "moving.jpg"
    path.write_bytes(jpeg(lopsided()) + b"a film that the phone has put here" * 99)
    assert read_photo(path).rgb.shape == (64, 96, 3)


def test_a_jpeg_with_a_second_picture_behind_it_shows_the_first(tmp_path: Path) -> None:
    path = tmp_path / "depth.jpg"
    second = Image.fromarray(lopsided(48, 32))
    Image.fromarray(lopsided()).save(path, "MPO", save_all=True, append_images=[second])
    assert read_photo(path).rgb.shape == (64, 96, 3)


@pytest.mark.parametrize("progressive", [False, True])
@pytest.mark.parametrize("kept", [0.97, 0.5, 0.1])
def test_a_jpeg_without_its_end_is_refused(tmp_path: Path, progressive: bool, kept: float) -> None:
    # The embedded preview has an end-of-image marker of its own.
    exif = Image.Exif()
    exif[ExifTags.Base.ImageDescription] = "preview"
    whole = jpeg(lopsided(480, 360), progressive=progressive, exif=exif)
    whole = whole[:2] + b"\xff\xec\x00\x06\xff\xd9\xff\xd9" + whole[2:]
    path = tmp_path / "cut.jpg"
    path.write_bytes(whole)
    assert read_photo(path).width == 480
    path.write_bytes(whole[: int(len(whole) * kept)])
    refusal(path, FileError)
    path.write_bytes(whole[: int(len(whole) * kept)] + bytes(5000))
    refusal(path, FileError)


@pytest.mark.parametrize("suffix", ["png", "tif", "webp", "heic"])
def test_other_files_without_their_end_are_refused(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"cut.{suffix}"
    image = Image.fromarray(np.random.default_rng(1).integers(0, 256, (64, 96, 3), np.uint8))
    if suffix == "heic":
        from_pillow(image).save(path)
    else:
        image.save(path)
    path.write_bytes(path.read_bytes()[:-2000])
    refusal(path, FileError)


@pytest.mark.parametrize(
    ("name", "content", "word"),
    [
        ("empty.jpg", b"", "empty"),
        ("notes.jpg", b"these are no pixels", "not a photo"),
        ("drawing.jpg", b"<?xml version='1.0'?><svg/>", "drawing"),
        ("page.png", b"\n<!doctype html><html></html>", "drawing"),
        ("start.jpg", b"\xff\xd8\xff", "photo"),
        ("start.png", b"\x89PNG\r\n\x1a\n", "photo"),
        ("zeros.heic", bytes(4000), "not a photo"),
        ("film.gif", b"GIF89a\x01\x00\x01\x00\x00\x00\x00;", "not a photo"),
    ],
)
def test_what_is_no_photo_is_named(tmp_path: Path, name: str, content: bytes, word: str) -> None:
    (tmp_path / name).write_bytes(content)
    assert word in refusal(tmp_path / name, FileError)


def test_missing_files_folders_and_impossible_names_are_refused(tmp_path: Path) -> None:
    assert "no such photo" in refusal(tmp_path / "absent.jpg", FileError)
    assert "folder" in refusal(tmp_path, FileError)
    assert "folder" in refusal(Path("/dev/null"), FileError)
    refusal(tmp_path / "a\x00b.jpg", FileError)
    refusal(tmp_path / ("x" * 300), FileError)


def test_the_size_is_judged_before_anything_is_decoded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 10_000)
    path = tmp_path / "huge.png"
    path.write_bytes(png_header(20000, 15000))
    assert "300 megapixels" in refusal(path, PhotoError)
    # Just below the limit the header passes, and the missing picture is the fault.
    path.write_bytes(png_header(16000, 12500))
    refusal(path, FileError)
    assert Image.MAX_IMAGE_PIXELS == 10_000


@pytest.mark.parametrize("suffix", ["png", "webp", "tif"])
def test_a_file_of_several_pictures_is_refused(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"moving.{suffix}"
    second = Image.fromarray(lopsided()[::-1].copy())
    Image.fromarray(lopsided()).save(path, save_all=True, append_images=[second])
    assert "2 pictures" in refusal(path, PhotoError)


def tone_profile(gamma: float) -> bytes:
    """An RGB matrix profile of one plain gamma, built from pillow's sRGB profile."""
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    count = struct.unpack(">I", profile[128:132])[0]
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    for entry in range(132, 132 + 12 * count, 12):
        if profile[entry : entry + 4] in (b"rTRC", b"gTRC", b"bTRC"):
            profile[entry + 4 : entry + 12] = struct.pack(">II", len(profile), 14)
    profile += curve
    profile[:4] = struct.pack(">I", len(profile))
    return bytes(profile)


def read_with_profile(path: Path, profile: bytes) -> Photo:
    grey = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    Image.fromarray(np.repeat(grey, 8, axis=0)).save(path, icc_profile=profile)
    return read_photo(path)


def test_an_srgb_profile_changes_nothing(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    photo = read_with_profile(tmp_path / "srgb.png", profile)
    assert photo.rgb[0, :, 0].tolist() == list(range(256))
    assert photo.notices == ()


def test_a_profile_with_another_curve_is_recoded_to_srgbs(tmp_path: Path) -> None:
    photo = read_with_profile(tmp_path / "gamma.png", tone_profile(1.8))
    # ROMM RGB's gamma of 1.8; a byte v is light (v / 255)^1.8, recoded by IEC 61966-2-1.
    light = (np.arange(256) / 255) ** 1.8
    expected = 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    assert np.abs(photo.rgb[0, :, 0] - expected).max() <= 1.5
    assert [notice.code for notice in photo.notices] == ["colour-profile-recoded"]
    assert photo.notices[0].severity == "fine"


def test_an_unreadable_profile_is_remarked(tmp_path: Path) -> None:
    photo = read_with_profile(tmp_path / "bad.png", b"no profile" * 30)
    assert photo.rgb[0, :, 0].tolist() == list(range(256))
    assert [notice.code for notice in photo.notices] == ["colour-profile-unread"]


def test_a_grey_picture_with_a_grey_profile_is_read(tmp_path: Path) -> None:
    Image.fromarray(lopsided()[..., 0]).save(tmp_path / "g.png", icc_profile=tone_profile(1.8))
    assert read_photo(tmp_path / "g.png").rgb.shape == (64, 96, 3)


def test_several_threads_read_at_once(tmp_path: Path) -> None:
    path = tmp_path / "one.jpg"
    path.write_bytes(jpeg(lopsided(400, 300)))
    sums: list[int] = []
    threads = [
        threading.Thread(target=lambda: sums.append(int(read_photo(path).rgb.sum())))
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(sums) == 4
    assert len(set(sums)) == 1
