"""What each witness of the edge says by itself, and both together, on photos of unseen scenes.

Run as `python benchmarks/witnesses.py [N] [SEED] [--first NUMBER] [--weights FILE]`; `--processes`
shares the scenes out. They are those of unseen_photos.py. Every coarse border that the program
finds is followed by the physical profile alone, by the learned witness alone, and by both; each row
is compared with the true outline once it is lifted to the sheet. Two tables, by kind of scene and
by the step of brightness across the edge: rows kept, of these off by over a pixel, sure rows (sigma
below 0.15 px, no second edge), and of these off by over a pixel. A camera that is off counts
against all three alike.
"""

import argparse
import sys
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from shapely import LinearRing, Polygon, contains_xy, points
from unseen_photos import photo
from unseen_scenes import drawn

from snugline import SnuglineError
from snugline.trace import measure
from snugline.trace.edge import learned_edge, two_witnesses
from snugline.trace.edge.edge_line import (
    LINE_NORMAL_SMOOTH,
    Silhouette,
    px_per_mm,
    smoothed_offsets,
)
from snugline.trace.edge.profile_search import SURE_ENOUGH_PX
from snugline.trace.edge.relief_displacement import PartSides, lift
from snugline.trace.edge.silhouette import locate
from snugline.trace.image.linear_light import LUMINANCE_WEIGHTS, linear_to_srgb
from snugline.trace.image.polyline import resample, right_normals, smoothed
from snugline.trace.image.step_edge import sample_rgb
from snugline.trace.sheet.frame_description import with_print_scale

WITNESSES = ("profile", "learned", "both")
SURE_PX, WRONG_PX = 0.15, 1.0
# Share of white, coded as sRGB codes it, by which paper and part differ 3 px to either side.
STEPS = (0.03, 0.1, 0.3)
ASIDE_PX = 3.0
NEAR_MM = 60.0  # a coarse border farther off follows something else altogether


@dataclass(frozen=True)
class Rows:
    """Rows of one witness along one border: error (px, outwards), sigma, kept, sure, step."""

    off: np.ndarray
    sigma: np.ndarray
    kept: np.ndarray
    sure: np.ndarray
    step: np.ndarray


def learned_alone(rgb, camera, sides, border, closed, response):
    """The edge as the learned witness alone would have it, in the two passes of the program."""
    line, pooled = border, learned_edge.LINE_SMOOTH
    for _ in range(2):
        line = smoothed(resample(line, learned_edge.STEP_PX, closed), pooled, closed)
        turned = learned_edge.NORMAL_SMOOTH if pooled == learned_edge.LINE_SMOOTH else None
        normals = right_normals(smoothed(line, turned or LINE_NORMAL_SMOOTH, closed), closed)
        seen = learned_edge.edge_distribution(rgb, camera, sides, response, line, normals, closed)
        offset, sigma, elsewhere = two_witnesses._along(seen, closed)
        found = line + offset[:, None] * normals
        steady = smoothed_offsets(offset, sigma, closed, 2.5)
        line, pooled = line + steady[:, None] * normals, 1.5
    kept = (sigma < SURE_ENOUGH_PX) & (elsewhere < 0.7)
    return Silhouette(found, sigma, kept, elsewhere > 0.02, closed)


def rows_of(found, rgb, camera, sides, ring):
    """How far a silhouette is from the truth, row by row."""
    lifted = lift(camera, found.pixels, sides, found.closed)
    scale = px_per_mm(camera, found.pixels, found.closed)
    at = points(lifted.points)
    off = ring.distance(at) * scale
    off = np.where(contains_xy(Polygon(ring), *lifted.points.T), -off, off)
    normals = right_normals(smoothed(found.pixels, LINE_NORMAL_SMOOTH, found.closed), found.closed)
    edge = found.pixels - off[:, None] * normals
    light = []
    for side in (-ASIDE_PX, ASIDE_PX):
        at = np.clip(edge + side * normals, 0, np.array(rgb.shape[1::-1]) - 1.001)
        light.append(linear_to_srgb(np.tensordot(LUMINANCE_WEIGHTS, sample_rgb(rgb, *at.T), 1)))
    kept = found.good & ~lifted.ambiguous
    sure = kept & (found.sigma < SURE_PX) & ~found.rival
    return Rows(off, found.sigma, kept, sure, np.abs(light[1] - light[0]))


def witnessed(path, scene):
    """{witness: [Rows]} of one photo, an entry for each border that the program finds."""
    sheet, solid = scene.scene.sheet, scene.scene.solid
    bars = (sheet.frame.bars[axis].nominal * k for axis, k in zip("xy", sheet.scale, strict=True))
    frame = with_print_scale(sheet.frame, *bars, 0.001)
    sides = PartSides(solid.thickness, 0.001, solid.edge, solid.edge_size, solid.draft)
    ring = LinearRing(np.asarray(LinearRing(solid.ring()).simplify(0.001).coords))
    result = defaultdict(list)
    both = measure.locate_with_both

    def asked(rgb, camera, sides, border, closed, blur_px, response):
        together = both(rgb, camera, sides, border, closed, blur_px, response)
        search = measure._COARSE_ERROR * max(1, round(max(rgb.shape[:2]) / measure._COARSE_SIDE_PX))
        found = {
            "profile": locate(rgb, camera, sides, border, closed, search, blur_px),
            "learned": learned_alone(rgb, camera, sides, border, closed, response),
            "both": together,
        }
        if ring.distance(points(camera.on_plane(border))).min() < NEAR_MM:
            for name, line in found.items():
                result[name].append(rows_of(line, rgb, camera, sides, ring))
        return together

    measure.locate_with_both = asked
    try:
        measure.measure_photos([path], [frame], sides)
    except SnuglineError:
        pass
    finally:
        measure.locate_with_both = both
    return result


def table(title, groups):
    """Print one line for each group of rows: {words: {witness: [Rows]}}."""
    print(f"\n{title:16s}" + "".join(f"| {name:30s}" for name in WITNESSES))
    heads = f"{'kept':>6s} {'wrong':>6s} {'sure':>6s} {'wrong':>7s}"
    print(" " * 16 + "".join(f"| {heads:30s}" for _ in WITNESSES))
    for words, by_witness in groups.items():
        cells = []
        for name in WITNESSES:
            all_rows = by_witness[name]
            off, kept, sure = (
                np.concatenate([getattr(r, k) for r in all_rows] or [np.zeros(0)])
                for k in ("off", "kept", "sure")
            )
            kept, sure, wrong = kept > 0, sure > 0, np.abs(off) > WRONG_PX
            shares = [
                kept.mean(),
                wrong[kept].mean() if kept.any() else np.nan,
                sure.mean(),
                wrong[sure].mean() if sure.any() else np.nan,
            ]
            a, b, c, d = (100 * v for v in shares)
            cells.append(f"| {a:5.1f}% {b:5.1f}% {c:5.1f}% {d:6.2f}%   ")
        print(f"{words:16s}" + "".join(f"{cell:32s}" for cell in cells))


def by_step(rows):
    """The same rows for each step of brightness."""
    level = np.digitize(rows.step, STEPS)
    for k in range(len(STEPS) + 1):
        here = level == k
        yield k, Rows(*(getattr(rows, f)[here] for f in ("off", "sigma", "kept", "sure", "step")))


def seen_by_all(job):
    """Kind of a scene and `witnessed` of its photo; `job` is its seed, number and the weights."""
    seed, number, weights = job
    if weights:
        learned_edge.WEIGHTS = weights
    cv2.setNumThreads(1)
    scene = drawn(seed, number)
    return scene.kind, dict(witnessed(photo(seed, scene), scene))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("n", type=int, nargs="?", default=30)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--weights", type=Path, help="other weights than those shipped")
    parser.add_argument("--processes", type=int, default=1)
    options = parser.parse_args()
    numbers = range(options.first, options.first + options.n)
    jobs = [(options.seed, number, options.weights) for number in numbers]
    with ProcessPoolExecutor(options.processes) as pool:
        results = list(pool.map(seen_by_all, jobs))
    kinds, steps = (defaultdict(lambda: defaultdict(list)) for _ in range(2))
    spread, photos = defaultdict(list), defaultdict(list)
    words = [f"step below {s}" for s in STEPS] + [f"step of {STEPS[-1]} up"]
    for kind, by_witness in results:
        for name, found in by_witness.items():
            for group in (kinds[kind], kinds["all"]):
                group[name] += found
            kept = np.concatenate([r.off[r.kept] for r in found] or [np.zeros(0)])
            photos[name].append(np.sqrt(np.mean(kept**2)) if len(kept) else np.nan)
            for rows in found:
                near = rows.sure & (np.abs(rows.off) < WRONG_PX)
                if near.any():
                    scatter = np.abs(rows.off - np.median(rows.off[near]))
                    spread[name].append(scatter[near] / rows.sigma[near])
                for k, some in by_step(rows):
                    steps[words[k]][name].append(some)
    print(f"{options.n} scenes of seed {options.seed}, from {options.first} on")
    table("kind", {k: kinds[k] for k in [*(k for k in kinds if k != "all"), "all"]})
    table("brightness", {w: steps[w] for w in words})
    for name in WITNESSES:
        rms = np.array(photos[name])
        over = int(np.sum(~(rms < 0.5)))
        ratio = np.quantile(np.concatenate(spread[name]), 0.683)
        print(
            f"{name}: {over} of {len(rms)} photos over 0.5 px rms; "
            f"sure rows scatter by {ratio:.2f} of their sigma"
        )


if __name__ == "__main__":
    sys.exit(main())
