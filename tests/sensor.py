"""From a linear picture to a phone's JPEG: lens falloff, blur, noise, curve, sharpening, coding."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

_EXIF_IFD, _FOCAL_LENGTH, _FOCAL_35MM = 0x8769, 37386, 41989


@dataclass(frozen=True)
class Sensor:
    """How a phone takes and stores a picture.

    Attributes
    ----------
    white : linear level that white paper gets where it is brightest (1 is full scale).
    blur : px, standard deviation of lens and sensor together, beside the pixel's own square.
    vignette : share of light lost in the corners.
    balance : gains of red, green and blue.
    electrons : at full scale; their number's root is the shot noise. `read` is in full scales.
    sharpen, radius : an unsharp mask on the coded picture; amount, px.
    quality : of the JPEG, its colours at half the resolution.
    motion, motion_turn : px that the picture moves while it is taken, along which direction (rad).
    """

    white: float = 0.75
    blur: float = 0.9
    vignette: float = 0.18
    balance: tuple = (1.0, 1.0, 1.0)
    electrons: float = 5000.0
    read: float = 0.0018
    sharpen: float = 0.3
    radius: float = 1.5
    quality: int = 92
    motion: float = 0.0
    motion_turn: float = 0.0


def developed(linear, sensor, seed=0):
    """(H, W, 3) uint8 RGB of a linear picture in which white paper is 1 in mean light."""
    height, width = linear.shape[:2]
    rng = np.random.default_rng(seed)
    y = (np.arange(height, dtype=np.float32) - (height - 1) / 2) / (np.hypot(width, height) / 2)
    x = (np.arange(width, dtype=np.float32) - (width - 1) / 2) / (np.hypot(width, height) / 2)
    gain = sensor.white / float(np.quantile(linear[::8, ::8, 1], 0.98))
    lens = (gain * (1 - sensor.vignette * (x * x + y[:, None] ** 2))).astype(np.float32)
    seen = linear * lens[..., None]
    seen = cv2.GaussianBlur(seen, (0, 0), sensor.blur, borderType=cv2.BORDER_REPLICATE)
    if sensor.motion:
        seen = _moved(seen, sensor.motion, sensor.motion_turn)
    curve = _curve()
    coded = np.empty(seen.shape, np.uint8)
    for top in range(0, height, 200):
        rows = seen[top : top + 200]
        spread = np.sqrt(np.maximum(rows, 0) / sensor.electrons + sensor.read**2)
        rows = rows + spread * rng.standard_normal(rows.shape, dtype=np.float32)
        rows = rows * np.array(sensor.balance, np.float32)
        level = np.clip(rows, 0, 1) * (len(curve) - 1) + 0.5
        seen[top : top + 200] = curve[level.astype(np.int32)]
    if sensor.sharpen:
        soft = cv2.GaussianBlur(seen, (0, 0), sensor.radius, borderType=cv2.BORDER_REPLICATE)
        seen = cv2.addWeighted(seen, 1 + sensor.sharpen, soft, -sensor.sharpen, 0)
    np.copyto(coded, np.rint(np.clip(seen, 0, 255)), casting="unsafe")
    return coded


def _moved(picture, length, turn):
    """A picture averaged along a line of `length` px."""
    at = (np.arange(32) + 0.5) / 32 - 0.5
    x, y = length * at * np.cos(turn), length * at * np.sin(turn)
    half = int(np.ceil(length / 2)) + 1
    kernel = np.zeros((2 * half + 1, 2 * half + 1), np.float32)
    for dx, dy in ((0, 0), (1, 0), (0, 1), (1, 1)):
        column, row = np.floor(x).astype(int) + dx, np.floor(y).astype(int) + dy
        share = (1 - np.abs(x - column)) * (1 - np.abs(y - row))
        np.add.at(kernel, (row + half, column + half), share)
    return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)


def save_photo(path, rgb, focal_35mm, quality=92):
    """Write a JPEG with the EXIF entries that phones write of their lens."""
    exif = Image.Exif()
    exif[271], exif[272], exif[274] = "rendered", "rendered", 1
    exif.get_ifd(_EXIF_IFD)[_FOCAL_35MM] = round(focal_35mm)
    Image.fromarray(rgb).save(Path(path), quality=quality, subsampling="4:2:0", exif=exif)


def _curve():
    """The curve of sRGB (IEC 61966-2-1) times 255 at 16384 even steps of linear light."""
    light = np.linspace(0, 1, 16384)
    low, high = 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
    return (255 * np.where(light <= 0.0031308, low, high)).astype(np.float32)
