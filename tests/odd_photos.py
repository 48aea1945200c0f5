"""Sixty odd photos: every mode, size, order and fault that a picture file can come with."""

import io
import struct
import zlib

import numpy as np
from PIL import Image, ImageFilter

SIZE = (320, 226)  # an A4 sheet's shape


def _saved(image, kind, **how):
    stream = io.BytesIO()
    image.save(stream, kind, **how)
    return stream.getvalue()


def _sheet(dark=False):
    """A frame without a part, as it is printed, small."""
    import cv2

    page = np.full((*SIZE[::-1], 3), 255, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    for number, (x, y) in enumerate([(6, 6), (150, 6), (284, 6), (6, 190), (150, 190), (284, 190)]):
        marker = cv2.aruco.generateImageMarker(dictionary, number, 30)
        page[y : y + 30, x : x + 30] = marker[..., None]
    if dark:
        page[50:180, 50:270] = 30
    return Image.fromarray(page)


def _png_head(width, height, depth=8, colour=2):
    """A PNG that claims a size and holds nothing."""

    def chunk(kind, data):
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    ends = chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + ends


def odd_photos():
    """Content by name."""
    rng = np.random.default_rng(17)
    noise = Image.fromarray(rng.integers(0, 256, (*SIZE[::-1], 3), np.uint8))
    sheet, plain = _sheet(), Image.new("RGB", SIZE, (128, 120, 110))
    jpeg, png = _saved(sheet, "JPEG", quality=90), _saved(sheet, "PNG")
    made = {"sheet.jpg": jpeg, "sheet.png": png, "dark.jpg": _saved(_sheet(dark=True), "JPEG")}
    for width, height in ((1, 1), (1, 500), (500, 1), (2, 2), (3, 4000), (4000, 3), (8, 8)):
        made[f"{width}x{height}.png"] = _saved(Image.new("RGB", (width, height)), "PNG")
    for mode in ("1", "L", "LA", "P", "RGBA", "I;16"):
        image = sheet.convert("L") if mode.startswith("I") else sheet
        made[f"mode-{mode.replace(';', '')}.png"] = _saved(image.convert(mode), "PNG")
    for mode in ("CMYK", "L", "YCbCr"):
        made[f"mode-{mode}.jpg"] = _saved(sheet.convert(mode), "JPEG")
    for mode in ("F", "I;16", "LAB", "CMYK"):
        image = sheet.convert("L") if mode in ("F", "I;16") else sheet
        made[f"mode-{mode.replace(';', '')}.tif"] = _saved(image.convert(mode), "TIFF")
    for turn in (0, 3, 6, 8, 9, 65535):
        exif = Image.Exif()
        exif[0x0112] = turn
        made[f"turned-{turn}.jpg"] = _saved(sheet, "JPEG", exif=exif)
    made["exif-junk.jpg"] = _saved(sheet, "JPEG", exif=b"Exif\0\0" + bytes(range(256)))
    made["exif-endless.jpg"] = _saved(
        sheet, "JPEG", exif=b"Exif\0\0II*\0\x08\0\0\0\xff\xff" + b"\x12\x01" * 500
    )
    made["profile-junk.jpg"] = _saved(sheet, "JPEG", icc_profile=bytes(500))
    made["profile-junk.png"] = _saved(sheet, "PNG", icc_profile=b"not a profile" * 30)
    made["progressive.jpg"] = _saved(sheet, "JPEG", progressive=True)
    made["worst.jpg"] = _saved(sheet, "JPEG", quality=1)
    made["subsampled.jpg"] = _saved(sheet, "JPEG", subsampling=2, quality=95)
    made["lossless.webp"] = _saved(sheet, "WEBP", lossless=True)
    more = [noise, plain]
    made["moving.webp"] = _saved(sheet, "WEBP", save_all=True, append_images=more)
    made["moving.png"] = _saved(sheet, "PNG", save_all=True, append_images=more)
    made["pages.tif"] = _saved(sheet, "TIFF", save_all=True, append_images=more)
    made["packed.tif"] = _saved(sheet, "TIFF", compression="tiff_lzw")
    for name, share in (("empty", 0.0), ("head", 0.02), ("half", 0.5), ("all-but-the-end", 0.98)):
        made[f"cut-{name}.jpg"] = jpeg[: int(len(jpeg) * share)]
    made["cut-half.png"] = png[: len(png) // 2]
    made["tail.jpg"] = jpeg + b"\0" * 5000
    made["two.jpg"] = jpeg + jpeg
    made["zeros.jpg"] = jpeg[:600] + bytes(len(jpeg) - 600)
    made["text.jpg"] = b"no picture at all\n" * 100
    made["gif.jpg"] = _saved(plain, "GIF")
    made["bmp.jpg"] = _saved(plain, "BMP")
    made["claims-much.png"] = _png_head(60_000, 60_000)
    made["claims-nothing.png"] = _png_head(0, 0)
    made["claims-32-bits.png"] = _png_head(100, 100, depth=32)
    for name, image in (
        ("black", Image.new("RGB", SIZE)),
        ("white", Image.new("RGB", SIZE, (255, 255, 255))),
        ("noise", noise),
        ("mirrored", sheet.transpose(Image.Transpose.FLIP_LEFT_RIGHT)),
        ("blurred", sheet.filter(ImageFilter.GaussianBlur(6))),
    ):
        made[f"{name}.jpg"] = _saved(image, "JPEG")
    return made
