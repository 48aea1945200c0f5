"""The part cut from the sheet: the minimum cut between regions by their colours and grain.

Every superpixel is judged by what colour sheet, shadow on sheet and part have; where the part has
covered markers its colours are known beforehand. After a first cut along the picture's edges the
part's colours are estimated from it, the light is fitted again to the sheet found, and it is cut
again. Constants without another reason were chosen on the scenes and shared photos of
`benchmarks/segmentation.py`.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.trace.part.colour_tables import (
    GRAINS,
    bins_of,
    grain_evidence,
    grains_of,
    part_colours,
    sheet_colours,
    with_shadow_hues,
)
from snugline.trace.part.paper_light import fit_light
from snugline.trace.part.sheet_view import CELL, JudgedScene, Mask, Picture, nothing_in_window
from snugline.trace.part.superpixels import cut, split, total

# Weight of a pixel's log odds against the cost of the border: neighbouring pixels share their
# colour.
UNARY = 0.15
_BORDER_COST = 4.0  # of a border next to a pixel where no edge is seen
_EDGE_NOISES = 3  # the cost is half where the gradient is this many times its noise
# A pixel on an edge has a mixed colour, which may belong to anything: over this many times the
# noise its colour counts half.
_MIXED_NOISES = 20.0
# Every minimum of the gradient above this many times its noise is a superpixel of its own.
_STEEP_NOISES = 10
SHADE = 0.4  # share of the sheet that lies in shadow, expected
_NO_SHADE = 1e-3  # the same while the core is sought: hardly any
# A superpixel with more certain pixels than this is certain.
_CERTAIN_PX = 4
_SHEET_FLOOR = 1e-2  # of a colour's density as sheet, over the mean one
_COLOUR_LIMIT = 5  # of a colour's log odds
# Lit sheet is within this many spreads, and this, of tone 1.
_LIT_SPREADS = 3
_LIT_MARGIN = 0.02
# Before the first cut the part may also have colours that were not covered.
_ANY_COLOUR = 0.3  # weight of any colour
_SEEN_COLOUR = 0.7  # weight of those seen on covered markers
# Pixels nearer to the border than these are mixed:
_INSET_PX = 3  # for the new light and the part's colours
_SHEET_INSET_PX = 2  # for the sheet's
# Where no marker is covered the core of the largest piece is the part: pixels deeper than this
# share of its greatest depth.
_CORE = 0.6
# The light is fitted again:
_LIGHT_PIXELS = 3000  # to at most this many pixels
_FLAT_NOISES = 4  # with less gradient than this many noises
_FEWEST_LIGHT = 300  # but not to fewer than this
_LIGHT_DEGREE = 3  # higher than before: the part's surroundings are known
_LEAST_SPREAD = 0.005


def separate(scene: JudgedScene) -> tuple[JudgedScene, Mask, Picture]:
    """The part's mask, the scene in better light, and each pixel's log odds of being the part's.

    Raises
    ------
    PhotoError : nothing but sheet lies in the window.
    """
    limit = _EDGE_NOISES * scene.noise * np.maximum(scene.texture, 1)
    weight = (_BORDER_COST / (1 + np.square(scene.sharp / limit))).astype(np.float32)
    mixed = _MIXED_NOISES / _EDGE_NOISES * limit
    plain = (1 / (1 + np.square(scene.gradient / mixed))).astype(np.float32)
    regions = split(scene.gradient, scene.domain, CELL, weight, _STEEP_NOISES * scene.noise)
    sure_sheet = total(regions, scene.surely_sheet) > _CERTAIN_PX
    grain = grains_of(scene.texture)

    def separated(sheet: Picture, part: Picture, evenness: Picture, known: Mask) -> Mask:
        ratio = part / (sheet + _SHEET_FLOOR / part.size)
        table = np.clip(np.log(ratio), -_COLOUR_LIMIT, _COLOUR_LIMIT)
        odds[:] = (table.ravel().take(bins) + evenness.take(grain)) * plain
        favour = total(regions, odds) * UNARY
        favour[total(regions, known) > _CERTAIN_PX] = np.inf
        favour[sure_sheet] = -np.inf
        return cut(regions, favour)[regions.labels]

    odds = np.empty_like(scene.gradient)
    bins = bins_of(scene.tone)
    base = sheet_colours(scene.spread, SHADE)
    known = scene.surely_part & scene.domain
    flat = np.full_like(base, 1.0 / base.size)
    if not known.any():
        # No marker is covered: the core of what is not lit sheet is the part, or nothing is.
        unlit = sheet_colours(scene.spread, _NO_SHADE)
        here = separated(unlit, flat, np.zeros(GRAINS, np.float32), known)
        known = _core(here & scene.window)
        if not known.any():
            raise nothing_in_window()
    evenness = grain_evidence(grain, known, _lit(scene) & scene.window)
    colours = _ANY_COLOUR * flat + _SEEN_COLOUR * part_colours(bins, known)
    here = separated(base, colours, evenness, known)
    scene = _relit(scene, _inner(~here, _INSET_PX) & scene.domain)
    bins = bins_of(scene.tone)
    base = sheet_colours(scene.spread, SHADE)
    inside = _inner(here, _INSET_PX) & scene.window | known
    outside = _inner(~here, _SHEET_INSET_PX) & scene.window
    evenness = grain_evidence(grain, inside, outside)
    # A third cut changes no photo's border.
    sheet = with_shadow_hues(base, bins, outside)
    here = separated(sheet, part_colours(bins, inside), evenness, known)
    return scene, here, odds


def _lit(scene: JudgedScene) -> Mask:
    """Where the tone is that of lit sheet."""
    off = np.abs(scene.tone - 1)
    most = np.maximum(np.maximum(off[..., 0], off[..., 1]), off[..., 2])
    return np.asarray(most < _LIT_SPREADS * scene.spread + _LIT_MARGIN)


def _inner(mask: Mask, by: int) -> Mask:
    size = 2 * by + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return np.asarray(cv2.erode(mask.astype(np.uint8), kernel, borderValue=1) > 0)


def _core(mask: Mask) -> Mask:
    """The innermost pixels of a mask."""
    depth = cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray(depth > max(_CORE * float(depth.max()), CELL))


def _relit(scene: JudgedScene, sheet: Mask) -> JudgedScene:
    """The scene with its light fitted again, to all that was found to be sheet."""
    sheet = sheet & (scene.sharp < _FLAT_NOISES * scene.noise)
    if scene.dark_window:
        sheet = sheet & scene.window
    y, x = np.nonzero(sheet)
    every = max(len(x) // _LIGHT_PIXELS, 1)
    y, x = y[::every], x[::every]
    if len(x) < _FEWEST_LIGHT:
        return scene
    points: NDArray[np.float64] = np.column_stack([x, y]).astype(np.float64)
    light = fit_light(points, scene.tone[y, x].astype(np.float64) ** 2, _LIGHT_DEGREE)
    height, width = scene.gradient.shape
    tone = scene.tone / np.sqrt(light.over(0, 0, width, height))
    spread = max(float(light.spread.mean()) / 2, _LEAST_SPREAD)
    return replace(scene, tone=tone, spread=spread)  # type: ignore[arg-type]
