"""Surfaces of parts for `mitsuba_render.py`: what each is of, as Mitsuba describes it.

Bitmaps are of reflectance, drawn by structure (rings and pores, granules, threads, tiles), not by
filtered noise. How much the materials reflect is common practice, no source.
"""

import cv2
import numpy as np
from scipy.spatial import cKDTree

_PER_MM = 8
_PX = 1200
BITMAP_MM = _PX / _PER_MM
_PALE = 0.42  # half of what paper reflects


def surface(rng, kind):
    """Row of the table, Mitsuba's description, is it pale, does it mirror, mm of its bitmaps."""
    row, made = SURFACES[kind]
    told, level, mirrors = made(rng)
    return row, told, level > _PALE, mirrors, BITMAP_MM


def _coated(colour, alpha):
    return {"type": "roughplastic", "diffuse_reflectance": colour, "alpha": float(alpha)}


def _matt(colour):
    return {"type": "diffuse", "reflectance": colour}


def _both(inner):
    return {"type": "twosided", "inside": inner}


def _tint(rng, level, spread=0.05):
    return np.clip(level * (1 + rng.normal(0, spread, 3)), 0.01, 0.9)


def _flat(colour):
    return {"type": "rgb", "value": [float(c) for c in colour]}


def _soft(rng, across, along):
    """(P, P) noise of rms 1, soft by (across, along) mm."""
    noise = rng.standard_normal((_PX, _PX)).astype(np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), along * _PER_MM, sigmaY=across * _PER_MM)
    return noise / noise.std()


def _plain(rng, level, mottle):
    colour = _tint(rng, level)
    return np.clip((1 + mottle * _soft(rng, 1.5, 1.5))[..., None] * colour, 0.005, 0.9)


def _wood(rng, pale, dark, pores):
    """Boards cut off the heart: rings as bent stripes, dark late wood, short pores."""
    y, x = np.mgrid[:_PX, :_PX].astype(np.float32) / _PER_MM
    depth = rng.uniform(5, 60)
    away = y - rng.uniform(-40, 190) + 1.5 * _soft(rng, 10, 30) + 0.002 * (x - 75) ** 2
    ring = np.hypot(away, depth) / rng.uniform(1.5, 4) + 0.15 * _soft(rng, 1, 15)
    late = (ring % 1.0) ** 3
    open_ = _soft(rng, 0.06, 1.2) > 2.2
    tone = (
        0.75 * late + 0.08 * _soft(rng, 0.1, 4) + pores * cv2.blur(open_.astype(np.float32), (3, 2))
    )
    tone = np.clip(tone, -0.2, 1.2)[..., None]
    return np.clip(np.array(pale) * (1 - tone) + np.array(dark) * tone, 0.01, 0.9)


def _granules(rng, each_mm, level, spread, gap):
    """Granules pressed together, each of its own shade, with darker joints."""
    count = int((BITMAP_MM / each_mm) ** 2)
    seeds = rng.uniform(0, BITMAP_MM, (count, 2))
    y, x = (np.mgrid[:_PX, :_PX] + 0.5) / _PER_MM
    away, nearest = cKDTree(seeds).query(np.column_stack([x.ravel(), y.ravel()]), k=2)
    shades = np.clip(np.exp(rng.normal(0, spread, count)), 0.2, 2.5)
    shade = shades[nearest[:, 0]] * np.where(away[:, 1] - away[:, 0] < 0.12 * each_mm, gap, 1.0)
    shade = cv2.GaussianBlur(shade.reshape(_PX, _PX), (0, 0), 0.8)
    return np.clip(shade[..., None] * np.array(level), 0.01, 0.9)


def _weave(rng, thread_mm, one, other):
    """Plain weave: threads over and under each other in turn, each round to the light."""
    y, x = np.mgrid[:_PX, :_PX] / _PER_MM
    x = x + 0.05 * thread_mm * _soft(rng, 3, 3)
    i, j = np.floor(x / thread_mm), np.floor(y / thread_mm)
    over = (i + j) % 2 < 1
    round_ = np.where(
        over, np.sin(np.pi * (x / thread_mm - i)), np.sin(np.pi * (y / thread_mm - j))
    )
    shade = (0.45 + 0.55 * round_) * (1 + 0.08 * _soft(rng, 0.15, 0.15))
    colour = np.where(over[..., None], np.array(one), np.array(other))
    return np.clip(shade[..., None] * colour, 0.01, 0.9)


def _tiles(rng, colours):
    """A printed pattern of rings, leaves and dots in a square repeat."""
    y, x = np.mgrid[:_PX, :_PX] / _PER_MM
    side = rng.choice([BITMAP_MM / 3, BITMAP_MM / 5, BITMAP_MM / 8])
    u, v = (x / side) % 1 - 0.5, (y / side) % 1 - 0.5
    radius, angle = np.hypot(u, v), np.arctan2(v, u)
    leaf = radius < 0.22 + 0.14 * np.cos(rng.choice([4, 6, 8]) * angle)
    band = np.abs(np.maximum(np.abs(u), np.abs(v)) - 0.45) < 0.02
    dot = np.hypot(np.abs(u) - 0.36, np.abs(v) - 0.36) < 0.06
    which = np.where(dot, 3, np.where(band, 2, np.where(leaf, 1, 0)))
    print_ = np.array(colours)[which]
    return np.clip(cv2.GaussianBlur(print_, (0, 0), 0.7), 0.01, 0.9)


def _brushed(rng, material):
    alpha = rng.uniform(0.05, 0.15)
    return {
        "type": "roughconductor",
        "material": material,
        "distribution": "ggx",
        "alpha_u": float(alpha),
        "alpha_v": float(alpha * rng.uniform(1.5, 4)),
        "specular_reflectance": 0.85 + 0.06 * np.clip(_soft(rng, 0.1, 30), -2, 2)[..., None]
        * np.ones(3),
    }  # fmt: skip


def _bumpy(inner, height, scale):
    return {
        "type": "bumpmap",
        "bump": height[..., None].astype(np.float32),
        "scale": float(scale),
        "inside": inner,
    }


def _rubber(rng):
    return (
        _both(_coated(_plain(rng, rng.uniform(0.02, 0.06), 0.06), rng.uniform(0.3, 0.5))),
        0,
        False,
    )


def _slate(rng):
    level = rng.uniform(0.08, 0.25)
    return _both(_coated(_plain(rng, level, 0.15), rng.uniform(0.3, 0.5))), level, False


def _painted(rng):
    colour = np.clip(rng.uniform(0.05, 0.5, 3), 0.02, 0.5)
    level = float(colour @ (0.2126, 0.7152, 0.0722))
    return _both(_coated(_flat(colour), rng.uniform(0.15, 0.35))), level, False


def _felt(rng):
    level = rng.uniform(0.1, 0.35)
    return (
        _both(_matt(_plain(rng, level, 0.1) * (1 + 0.1 * _soft(rng, 0.1, 0.6)[..., None]))),
        level,
        False,
    )


def _walnut(rng):
    bitmap = _wood(rng, (0.26, 0.16, 0.09), (0.10, 0.055, 0.03), 0.4)
    return _both(_coated(bitmap, rng.uniform(0.25, 0.4))), 0.15, False


def _oak(rng):
    bitmap = _wood(rng, (0.48, 0.33, 0.18), (0.28, 0.17, 0.08), 0.5)
    return _both(_matt(bitmap)), 0.3, False


def _maple(rng):
    bitmap = _wood(rng, (0.72, 0.58, 0.41), (0.58, 0.43, 0.27), 0.05)
    return _both(_coated(bitmap, rng.uniform(0.2, 0.4))), 0.6, False


def _cork(rng):
    bitmap = _granules(rng, rng.uniform(0.8, 2.5), (0.42, 0.27, 0.15), 0.25, 0.6)
    return _both(_matt(bitmap)), 0.3, False


def _terrazzo(rng):
    level = rng.uniform(0.2, 0.4)
    bitmap = _granules(rng, rng.uniform(2, 5), _tint(rng, level), 0.5, 0.8)
    return _both(_coated(bitmap, rng.uniform(0.1, 0.25))), level, False


def _linen(rng):
    one, other = _tint(rng, rng.uniform(0.15, 0.5)), _tint(rng, rng.uniform(0.1, 0.4))
    bitmap = _weave(rng, rng.uniform(0.7, 2), one, other)
    return _both(_matt(bitmap)), float(bitmap.mean()), False


def _ceramic(rng):
    level = rng.uniform(0.65, 0.84)
    return (
        _both({"type": "plastic", "diffuse_reflectance": _flat(_tint(rng, level, 0.012))}),
        level,
        True,
    )


def _white_board(rng):
    level = rng.uniform(0.6, 0.84)
    return _both(_coated(_flat(_tint(rng, level, 0.012)), rng.uniform(0.2, 0.4))), level, False


def _glazed(rng):
    colour = rng.uniform(0.01, 0.08, 3) if rng.random() < 0.6 else rng.uniform(0.05, 0.5, 3)
    level = float(colour @ (0.2126, 0.7152, 0.0722))
    return _both({"type": "plastic", "diffuse_reflectance": _flat(colour)}), level, True


def _metal(rng):
    return _both(_brushed(rng, str(rng.choice(["Al", "Cr", "Cu", "Au"])))), 0.6, True


def _cast(rng):
    inner = {"type": "roughconductor", "material": "Al", "distribution": "ggx",
             "alpha": float(rng.uniform(0.25, 0.4))}  # fmt: skip
    return _both(_bumpy(inner, _soft(rng, 0.3, 0.3), 0.05)), 0.6, True


def _printed(rng):
    bitmap = _tiles(rng, rng.uniform(0.05, 0.6, (4, 3)))
    return _both(_coated(bitmap, rng.uniform(0.15, 0.4))), float(bitmap.mean()), False


def _glass(rng):
    return {"type": "dielectric", "int_ior": "bk7", "ext_ior": "air"}, 0.8, True


SURFACES = {
    "rubber": ("matt", _rubber),
    "walnut": ("wood", _walnut),
    "cork": ("granular", _cork),
    "white board": ("pale", _white_board),
    "glazed": ("glazed", _glazed),
    "brushed metal": ("metal", _metal),
    "slate": ("matt", _slate),
    "printed": ("print", _printed),
    "oak": ("wood", _oak),
    "terrazzo": ("granular", _terrazzo),
    "painted": ("matt", _painted),
    "maple": ("wood", _maple),
    "ceramic": ("pale", _ceramic),
    "linen": ("granular", _linen),
    "felt": ("matt", _felt),
    "cast metal": ("metal", _cast),
    "glass": ("glass", _glass),
}
