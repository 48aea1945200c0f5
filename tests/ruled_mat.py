"""A photographed cutting mat: its ruling as our observations, printed dot sheets as the check.

The mat is ruled every half inch. The ruling is followed outwards from one cell, line by line, and
the camera adjusted to it; the dots of the sheets that lie on the mat then come out in mat
millimetres, and are compared with the file the sheets were printed from.
"""

import re
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from real_photos import SETS
from scipy.spatial import cKDTree

from snugline.trace.camera.bundle_adjustment import adjust
from snugline.trace.camera.lens import prior_from_exif
from snugline.trace.camera.observations import Observations, SheetState
from snugline.trace.camera.projection import pose_from_plane
from snugline.trace.image.linear_light import linear_luminance_table
from snugline.trace.image.photo_file import read_photo
from snugline.trace.image.step_edge import sample_luminance

FOLDER = SETS / "boofcv-dots-mat"
RULING_MM = 12.7
# Crossings of the ruling picked by eye, good to a px or two: cells (right, up) and px.
_BY_EYE = (
    ((0, 0), (585, 440)), ((4, 0), (726, 536)), ((0, -4), (498, 558)),
    ((1, -1), (598, 491)), ((2, -2), (613, 547)), ((2, -1), (634, 516)),
)  # fmt: skip
_ACROSS = np.arange(-4.0, 4.01, 0.5)


@dataclass(frozen=True)
class DotSheet:
    """A printed sheet against the mat's ruling: dots matched, rms mm of a similarity, its scale."""

    number: int
    dots: int
    rms: float
    scale: float


def ruled_camera(photo, prior):
    """The camera over the mat, how many places of its ruling were believed, and their noise."""
    plane = np.array([cell for cell, _ in _BY_EYE]) * RULING_MM
    pixels = np.array([at for _, at in _BY_EYE], dtype=np.float64)
    camera = pose_from_plane(prior.lens, plane, pixels)
    middle = np.array([1.5, -1.5])
    sheet = SheetState(np.ones(2), np.full(2, 1e-7), np.zeros(3))
    for cells in (4, 6, 9, 13, 20, 20):
        seen = _ruling(photo, camera, middle, cells)
        found = adjust([seen], [camera], [sheet], [prior], bloom_u=0.0)
        camera = found.cameras[0]
    return camera, int(np.sum(found.weights[0] > 0)), float(found.noise_px[0])


def _ruling(photo, camera, middle, cells):
    """Places on the ruling within so many cells, where a thin light line is seen."""
    lines = np.arange(np.floor(middle[0] - cells), np.ceil(middle[0] + cells) + 1)
    along = np.arange(-cells, cells, 0.12) + 0.06
    places, outward = [], []
    for line in lines:
        places.append(np.column_stack([np.full(len(along), line), middle[1] + along]))
        outward.append(np.tile([1.0, 0.0], (len(along), 1)))
    for line in lines - np.round(middle[0]) + np.round(middle[1]):
        places.append(np.column_stack([middle[0] + along, np.full(len(along), line)]))
        outward.append(np.tile([0.0, 1.0], (len(along), 1)))
    design, outward = np.concatenate(places) * RULING_MM, np.concatenate(outward)
    near = np.linalg.norm(design / RULING_MM - middle, axis=1) < cells
    # Where two lines cross neither can be told from the other.
    cells_along = np.sum(design / RULING_MM * (1 - outward), axis=1)
    near &= np.abs(cells_along - np.round(cells_along)) > 0.15
    design, outward = design[near], outward[near]
    pixels = camera.pixels(design)
    tangent = camera.pixels(design + 0.1 * outward[:, ::-1]) - pixels
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normals = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    ahead = camera.pixels(design + 0.1 * outward) - pixels
    normals *= np.sign(np.sum(normals * ahead, axis=1))[:, None]
    spots = pixels[:, None] + _ACROSS[:, None] * normals[:, None]
    light = sample_luminance(photo.rgb, spots[..., 0], spots[..., 1]).astype(np.float64)
    inside = np.isfinite(light).all(axis=1)
    light = np.where(inside[:, None], light, 0)
    ground = np.median(light, axis=1, keepdims=True)
    top = light.max(axis=1, keepdims=True)
    share = np.maximum((light - ground) / np.maximum(top - ground, 1e-9) - 0.3, 0)
    total = np.maximum(share.sum(axis=1), 1e-9)
    offset = share @ _ACROSS / total
    width = np.sqrt(np.maximum(share @ _ACROSS**2 / total - offset**2, 0))
    clear = (top - ground)[:, 0] > np.maximum(0.03, 0.4 * ground[:, 0])
    # Paper, the rule and the print are lighter, greyer or wider than a line on the mat.
    spread = np.abs(light[:, :3].mean(axis=1) - light[:, -3:].mean(axis=1))
    keep = inside & clear & (width < 1.1) & (np.abs(offset) < 2.5)
    keep &= (spread < 0.25 * (top - ground)[:, 0]) & (ground[:, 0] < 0.25)
    n = int(keep.sum())
    return Observations(
        sheet=np.zeros(n, dtype=np.int64),
        marker=np.arange(n),
        design=design[keep],
        outward=outward[keep],
        pixels=(pixels + offset[:, None] * normals)[keep],
        normals=normals[keep],
        sigma=np.full(n, 0.1),
        height=np.zeros(n),
    )


def dark_dots(rgb):
    """(N, 2) px centres of small dark discs on white paper, by their missing light."""
    light = linear_luminance_table()[rgb, np.arange(3)].sum(axis=-1)
    paper = cv2.GaussianBlur(cv2.dilate(light, np.ones((15, 15))), (0, 0), 4)
    missing = np.clip(1 - light / np.maximum(paper, 1e-6), 0, 1)
    dark = ((missing > 0.5) & (paper > 0.25)).astype(np.uint8)
    count, _, stats, middles = cv2.connectedComponentsWithStats(dark)
    rows, columns = np.indices(light.shape)
    centres = []
    for k in range(1, count):
        _, _, width, height, area = stats[k]
        if not (12 <= area <= 160 and 0.5 < width / height < 2 and area > 0.6 * width * height):
            continue
        x, y = np.round(middles[k]).astype(int)
        reach = int(max(width, height)) // 2 + 3
        window = (slice(max(y - reach, 0), y + reach + 1), slice(max(x - reach, 0), x + reach + 1))
        weight = np.maximum(missing[window] - 0.1, 0)
        v, u = rows[window], columns[window]
        centres.append([np.sum(u * weight), np.sum(v * weight)] / weight.sum())
    return np.array(centres)


def designs():
    """Dot places of every sheet, mm with y up (the description file has y down), by number."""
    sheets, text = [], (FOLDER / "descriptions.yaml").read_text()
    for line in text[text.index("markers:") :].splitlines()[1:]:
        match = re.match(r"^(- - - |  - - |    - )(\S+)$", line)
        if match is None:
            break
        if match[1] == "- - - ":
            sheets.append([])
        if match[1] == "    - ":
            sheets[-1][-1].append(float(match[2]))
        else:
            sheets[-1].append([float(match[2])])
    return [10 * np.array(points) * [1, -1] for points in sheets]


def match_sheet(design, dots):
    """Matched dots of one sheet under the best similarity: (index in design, index in dots)."""
    tree, best = cKDTree(dots), (np.empty(0, int), np.empty(0, int))
    seen_pairs = tree.query_pairs(70, output_type="ndarray")
    length = np.linalg.norm(dots[seen_pairs[:, 0]] - dots[seen_pairs[:, 1]], axis=1)
    z, d = dots @ [1, 1j], design @ [1, 1j]
    for i, j in list(combinations(range(len(design)), 2))[::3]:
        apart = abs(d[j] - d[i])
        if apart < 30:
            continue
        for a, b in seen_pairs[np.abs(length - apart) < 0.01 * apart]:
            for p, q in ((a, b), (b, a)):
                turn = (z[q] - z[p]) / (d[j] - d[i])
                there = z[p] + turn * (d - d[i])
                off, index = tree.query(np.column_stack([there.real, there.imag]))
                near = off < 0.8
                if near.sum() > len(best[0]):
                    best = np.flatnonzero(near), index[near]
        if len(best[0]) > 0.7 * len(design):
            break
    return best


def similarity(design, dots):
    """Rms mm left by the best similarity without mirroring, and its scale."""
    d, z = design @ [1, 1j], dots @ [1, 1j]
    dm, zm = d - d.mean(), z - z.mean()
    factor = np.vdot(dm, zm) / np.vdot(dm, dm)
    return float(np.sqrt(np.mean(np.abs(zm - factor * dm) ** 2))), float(abs(factor))


def dot_sheets(numbers=(85, 86, 87), focal_35mm=27):
    """The printed sheets of `image02.jpg` in mat millimetres, and the ruling's places and noise."""
    photo = read_photo(FOLDER / "image02.jpg")
    prior = prior_from_exif((photo.width, photo.height), focal_35mm)
    camera, places, noise = ruled_camera(photo, prior)
    dots = camera.on_plane(dark_dots(photo.rgb))
    found = []
    every = designs()
    for number in numbers:
        of_design, of_dots = match_sheet(every[number], dots)
        rms, scale = similarity(every[number][of_design], dots[of_dots])
        found.append(DotSheet(number, len(of_dots), rms, scale))
    return found, places, noise
