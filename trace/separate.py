"""Part and sheet told apart by the cheapest cut, learning both from what the cut before found."""

import cv2
import numpy as np

from snugline.trace.colours import (
    colour_bins,
    grain_bins,
    grain_odds,
    part_colours,
    sheet_colours,
    uniform,
    with_own_hues,
)
from snugline.trace.regions import cut, split, total
from snugline.trace.tones import Floats, Mask, Picture, Tones, nothing_there, relit

CELL_PX = 5
# What a border costs a pixel where nothing is, against a unit of the odds of one pixel.
BORDER_COST, ODDS_COST = 4.0, 0.15
# Gradients over the noise: a border is half as dear, and a colour half as telling, at these.
BORDER_EDGE, MIXED_EDGE = 3.0, 20.0
# The share of shadows among sheet's colours, and what it is where only lit sheet is sought.
SHADE, NO_SHADE = 0.4, 1e-3
# Marks of fewer pixels settle nothing about a region.
_SURE_PX = 4


def separate(scene: Tones) -> tuple[Tones, Mask, Picture]:
    """Tell the part from the sheet.

    Returns
    -------
    The scene with its light fitted again; the part's mask; each pixel's logarithm of the odds that
    it is the part's.

    Raises
    ------
    PhotoError : nothing but sheet lies in the window.
    """
    even = scene.noise * np.maximum(scene.texture, 1)
    price = BORDER_COST / (1 + np.square(scene.sharp / (BORDER_EDGE * even)))
    # A pixel on an edge has a mixed colour, which may be anybody's.
    plain = 1 / (1 + np.square(scene.gradient / (MIXED_EDGE * even)))
    regions = split(scene.gradient, scene.domain, CELL_PX, price, 10 * scene.noise)
    sure_sheet = total(regions, scene.surely_sheet) > _SURE_PX
    grain = grain_bins(scene.texture)

    def judged(sheet: Floats, part: Floats, by_grain: Picture, known: Mask) -> tuple[Mask, Picture]:
        colour = np.log(part / (sheet + 1e-2 / part.size))
        colour = np.clip(colour, -5, 5).astype(np.float32).ravel()
        odds = np.asarray((colour[bins] + by_grain[grain]) * plain, np.float32)
        favour = ODDS_COST * total(regions, odds)
        favour[total(regions, known) > _SURE_PX] = np.inf
        favour[sure_sheet] = -np.inf
        return cut(regions, favour)[regions.labels], odds

    known = scene.surely_part & scene.domain
    if not known.any():
        # No marker is covered: the core of what is not lit sheet is the part, or there is none.
        bins = colour_bins(scene.tone)
        lit = sheet_colours(scene.spread, NO_SHADE)
        here, _ = judged(lit, uniform(), np.zeros(grain.max() + 1, np.float32), known)
        known = _core(here & scene.window)
        if not known.any():
            raise nothing_there()
    bins = colour_bins(scene.tone)
    near_one = 3 * scene.spread + 0.02
    lit_sheet = cv2.inRange(scene.tone, (1 - near_one,) * 3, (1 + near_one,) * 3) > 0
    by_grain = grain_odds(grain, known, lit_sheet & scene.window)
    part = 0.3 * uniform() + 0.7 * part_colours(bins, known)
    here, _ = judged(sheet_colours(scene.spread, SHADE), part, by_grain, known)

    scene = relit(scene, _inner(~here, 3) & scene.domain)
    bins = colour_bins(scene.tone)
    prior = sheet_colours(scene.spread, SHADE)
    for _ in range(2):
        inside = _inner(here, 3) & scene.window | known
        outside = _inner(~here, 2) & scene.window
        sheet = with_own_hues(prior, bins, outside)
        by_grain = grain_odds(grain, inside, outside)
        here, odds = judged(sheet, part_colours(bins, inside), by_grain, known)
    return scene, here, odds


def _core(mask: Mask) -> Mask:
    """The innermost pixels of a mask; none when it is nowhere wider than specks are."""
    depth = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray(depth > max(0.6 * float(depth.max()), CELL_PX))


def _inner(mask: Mask, by: int) -> Mask:
    size = 2 * by + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return np.asarray(cv2.erode(mask.astype(np.uint8), kernel, borderValue=1) > 0)
