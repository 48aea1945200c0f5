"""Contours of unseen scenes by kind: ten rows of hard kinds, in which all else is drawn at random.

    python benchmarks/unseen_kinds.py [N] [SEED] [--processes P] [--row NAME] [--keep FOLDER]

makes N scenes of every row of `unseen_scenes.ROWS` (20 for the figures in the accuracy table; 200
scenes take some 20 minutes on two cores), traces them, and prints for each row how many are within
their bounds without a word, told to retake, outside with a remark, outside with none but by less
than 0.3 mm, silent (over 0.3 mm without a word), and told to retake though right; then the rms and
99 % of the shape at its median, and the true error over the stated sigma. Shape is what is left
after the best shift and turn of a photo. `--keep` stores what was found for each scene, and
`--tables FOLDER` prints the tables of what is stored there.
"""

import argparse
import json
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from scipy.ndimage import gaussian_filter1d
from shapely import (
    Polygon,
    contains_xy,
    get_coordinates,
    line_interpolate_point,
    line_locate_point,
    points,
)
from shapely.geometry.polygon import orient
from unseen_photos import MOST, SILENT, holes_of, photo, traced
from unseen_scenes import ROWS, drawn_of

from snugline import SnuglineError
from snugline.trace import measure
from snugline.trace.edge.learned_edge import widths
from snugline.trace.edge.relief_displacement import lift
from snugline.trace.image.linear_light import linear_to_srgb
from snugline.trace.image.polyline import right_normals
from snugline.trace.image.step_edge import sample_rgb

# (rms, 99th percentile) mm of the shape, on clear photos and on hard ones.
CLEAR, HARD = (0.03, 0.10), (0.06, 0.20)
# True error over stated sigma: over all photos, and in each row.
PULL, PULL_OF_ROW = (0.8, 1.25), (0.6, 1.6)
OUTCOMES = ("within", "retake", "remark", "small", "SILENT", "false retake")
_SURE_PX, _SURE_SHARE, _GROSS_PX = 0.15, 0.98, 1.0
_OWN_SHARE = 0.2  # of an offset that no shift and turn resembles, squared, from which it is known
ACROSS = np.r_[-60:-12:6, -12:0:1.5, 0:13:1.5, 14:26:4]  # px outwards, where strips are sampled


class Ring:
    """A true outline with its holes, and signed distances to it (outwards positive)."""

    def __init__(self, outline, holes=()):
        self.area = orient(Polygon(outline, holes).simplify(0.001))
        self.line = self.area.boundary
        self._rings = [self.area.exterior, *self.area.interiors]

    def off(self, at):
        away = self.line.distance(points(at))
        return np.where(contains_xy(self.area, *at.T), -away, away)

    def normals(self, at):
        at = points(at)
        nearest = np.argmin([ring.distance(at) for ring in self._rings], axis=0)
        rings = np.array(self._rings)[nearest]
        along = line_locate_point(rings, at)
        behind, ahead = (
            get_coordinates(line_interpolate_point(rings, along + d)) for d in (-0.3, 0.3)
        )
        t = ahead - behind
        t /= np.maximum(np.linalg.norm(t, axis=1, keepdims=True), 1e-9)
        return np.column_stack([t[:, 1], -t[:, 0]])

    def off_px(self, edge, camera, sides):
        """(N,) px by which a silhouette lies outwards, and (N,) mm of a px across it."""
        pixels = edge.pixels
        lifted = lift(camera, pixels, sides, edge.closed, smooth=6)
        beside = camera.on_plane(pixels + 0.7, lifted.height)
        mm = np.linalg.norm(beside - camera.on_plane(pixels, lifted.height), axis=1)
        mm /= np.hypot(0.7, 0.7)
        return self.off(lifted.points) / mm, mm

    def offset(self, at):
        """Mm by which points lie outwards of it, beside a shift and a turn of them all; None where
        that looks nearly alike, as on two sides of a corner.
        """
        normal, arm = self.normals(at), at - at.mean(axis=0)
        spin = normal[:, 1] * arm[:, 0] - normal[:, 0] * arm[:, 1]
        pose, even = np.column_stack([normal, spin]), np.ones(len(at))
        alone = even - pose @ np.linalg.lstsq(pose, even, rcond=None)[0]
        known = alone @ alone > _OWN_SHARE * len(at)
        return float(alone @ self.off(at) / (alone @ alone)) if known else None

    def moved_best(self, at):
        """Points (N, 2) after the shift and turn that brings them nearest (least squares)."""
        for _ in range(3):
            normal, middle = self.normals(at), at.mean(axis=0)
            arm = at - middle
            design = np.column_stack([normal, normal[:, 1] * arm[:, 0] - normal[:, 0] * arm[:, 1]])
            x, y, turn = np.linalg.lstsq(design, -self.off(at), rcond=None)[0]
            at = at + [x, y] + turn * np.column_stack([-arm[:, 1], arm[:, 0]])
        return at


class Rows:
    """What was found at each row of the edges that were followed in one photo."""

    def __init__(self):
        self.edges, self._locate = [], measure.locate

    def __enter__(self):
        def locate(rgb, camera, sides, *rest):
            silhouette = self._locate(rgb, camera, sides, *rest)
            self.edges.append((rgb, silhouette, camera, sides))
            return silhouette

        measure.locate = locate
        return self

    def __exit__(self, *_):
        measure.locate = self._locate

    def record(self, ring):
        """Arrays over all rows; px outwards, of the edge that was followed."""
        tables = [self._edge(ring, *edge) for edge in self.edges]
        return {key: np.concatenate([t[key] for t in tables]) for key in (tables or [{}])[0]}

    @staticmethod
    def _edge(ring, rgb, silhouette, camera, sides):
        pixels, belief = silhouette.pixels, silhouette.belief
        lifted = lift(camera, pixels, sides, silhouette.closed, smooth=6)
        off, side = ring.off_px(silhouette, camera, sides)
        mean, _, total = belief.near(np.zeros(len(pixels)))
        return {
            "row_px": pixels.astype(np.float32),
            "row_off": off,
            "row_scale": side,
            "row_good": silhouette.good & ~lifted.ambiguous,
            "row_rival": silhouette.rival,
            "row_sigma": silhouette.sigma,
            "row_learned": mean,
            "row_total": total,
            "row_untold": belief.untold,
            "row_edge": np.full(len(pixels), silhouette.closed),
            "row_strip": strips(rgb, silhouette),
            "row_slope": lifted.slope,
            "row_crease": widths(sides, lifted.slope)[1] / np.median(side),
        }


def strip_light(rgb, edge, places):
    """(N, G, 3) coded light, 0 to 1, at places px outwards of a silhouette."""
    normals = right_normals(edge.pixels, edge.closed)
    at = edge.pixels[:, None] + normals[:, None] * np.asarray(places)[:, None]
    light = np.nan_to_num(sample_rgb(rgb, at[..., 0], at[..., 1]))
    return linear_to_srgb(light).transpose(1, 2, 0)


def strips(rgb, silhouette, every=10):
    """(N / every, ACROSS, 4) coded light across the edge, averaged over 8 rows, and its grain."""
    coded = strip_light(rgb, silhouette, ACROSS).transpose(2, 0, 1)
    luma = coded.mean(axis=0)
    second = np.pad(luma[6:] - 2 * luma[3:-3] + luma[:-6], ((3, 3), (0, 0)), mode="edge")
    mean = gaussian_filter1d(coded, 8, axis=1)
    grain = np.sqrt(gaussian_filter1d(second**2, 8, axis=0))
    both = np.concatenate([mean, grain[None]]).transpose(1, 2, 0)
    return np.round(both[::every] * 16384).astype(np.int16)


def recorded(row, seed, number):
    """What the contour of a scene of a row is worth; see `judged`."""
    cv2.setNumThreads(1)
    scene = drawn_of(row, seed, number)
    return judged(photo(f"{row.replace(' ', '-')}-{seed}", scene), scene, row, seed)


def judged(path, scene, row, seed):
    """What a scene's contour is worth: `facts` and arrays over its points and rows."""
    solid = scene.scene.solid
    ring = Ring(solid.ring(), holes_of(solid))
    facts = {
        "row": row,
        "seed": seed,
        "number": scene.number,
        "kind": scene.kind,
        "hard": scene.hard,
        "words": scene.words,
    }
    start = time.process_time()
    with Rows() as rows:
        try:
            contour, remarks, found = traced(path, scene)
        except SnuglineError as error:
            facts |= {"remarks": [("refused", "retake", str(error))], "refused": True}
            facts["outcome"] = outcome(facts)
            return facts, {}
    curves = [contour.outer, *contour.others]
    at = np.concatenate([curve.points for curve in curves])
    shape = min((ring.off(p) for p in (at, ring.moved_best(at))), key=lambda off: np.mean(off**2))
    arrays = {
        "off": ring.off(at),
        "shape": shape,
        "sigma": np.concatenate([curve.sigma for curve in curves]),
        "noise": np.concatenate([curve.noise for curve in curves]),
        **rows.record(ring),
    }
    facts |= {
        "remarks": remarks,
        "refused": False,
        "seconds": time.process_time() - start,
        "seen": found.seen,
        "rms": found.rms,
        "p99": found.p99,
        "worst": found.worst,
        "shape_rms": float(np.sqrt(np.mean(shape**2))),
        "shape_p99": float(np.quantile(np.abs(shape), 0.99)),
        "pull": found.pull,
        "mm_per_px": contour.photo.mm_per_px,
        "offset": ring.offset(contour.outer.points),
        "common": contour.common.offset,
        "correlation_mm": contour.outer.correlation_mm,
        "holdout": contour.photo.holdout_mm,
    }
    facts["outcome"] = outcome(facts)
    return facts, arrays


def small(arrays):
    """The arrays with half the digits, as they are kept."""
    return {k: v.astype(np.float16) if v.dtype == np.float64 else v for k, v in arrays.items()}


def outcome(facts):
    """One of `OUTCOMES`."""
    retake = any(severity == "retake" for _, severity, _ in facts["remarks"])
    if facts["refused"]:
        return "retake"
    rms, p99 = HARD if facts["hard"] else CLEAR
    within = facts["shape_rms"] <= rms and facts["shape_p99"] <= p99
    if within and not retake:
        return "within"
    if retake:
        return "false retake" if within and facts["seen"] > MOST else "retake"
    if facts["remarks"]:
        return "remark"
    return "SILENT" if facts["worst"] > SILENT else "small"


def table(records, rows=ROWS):
    """Lines: one for each row, and one for all."""
    yield f"{'':14s} {'n':>3s} " + " ".join(f"{o:>7s}" for o in ("within", "retake", "remark",
        "small", "SILENT", "false r")) + "   rms  99 %  over sigma (median photo)"  # fmt: skip
    parts = [(name, [r for r in records if r["row"] == name]) for name in rows]
    for name, some in [*parts, ("all", records)]:
        if not some:
            continue
        count = [sum(r["outcome"] == o for r in some) for o in OUTCOMES]
        kept = [r for r in some if r["outcome"] not in ("retake", "false retake")]
        rms, p99 = (np.median([r[k] for r in kept] or [np.nan]) for k in ("shape_rms", "shape_p99"))
        pulls = [r["pull"] for r in kept] or [np.nan]
        low, high = PULL if name == "all" else PULL_OF_ROW
        over = float(np.sqrt(np.mean(np.square(pulls))))
        yield (
            f"{name:14s} {len(some):3d} "
            + " ".join(f"{c:7d}" for c in count)
            + f" {rms:5.3f} {p99:5.3f}  {over:5.2f} ({np.median(pulls):4.2f})"
            + ("" if low <= over <= high else "  FAIL")
        )


def row_table(kept, rows=ROWS):
    """Lines: rows that count, by kind and by step of light: how many are off by over a px.

    By the learned model alone and with the say of a clean step; how many are sure (a standard
    deviation under 0.15 px with 98 % of the probability in one place), and how many of them wrong;
    last the true error over sigma of those off by less.
    """
    yield f"{'':14s} {'rows':>6s}  learned off,   off, sure, wrong, over sigma"
    table = []
    for facts, a in kept:
        if "row_off" not in a:
            continue
        off, every = a["row_off"].astype(float), np.arange(len(a["row_off"])) // 10
        strip = a["row_strip"][np.minimum(every, len(a["row_strip"]) - 1)] / 16384
        luma = strip[..., :3].mean(axis=-1)
        step = np.abs(
            luma[:, np.argmin(np.abs(ACROSS - 4.5))] - luma[:, np.argmin(np.abs(ACROSS + 4.5))]
        )
        sure = (a["row_sigma"] < _SURE_PX) & (a["row_total"] > _SURE_SHARE)
        row = np.full(len(off), list(rows).index(facts["row"]))
        columns = [row, step, off + a["row_learned"], off, sure, off / a["row_sigma"]]
        table.append(np.column_stack(columns)[a["row_good"]])
    if not table:
        return
    seen = np.concatenate(table)
    parts = [(name, seen[:, 0] == k) for k, name in enumerate(rows)]
    parts += [
        (f"step {low} to {high}", (seen[:, 1] >= low) & (seen[:, 1] < high))
        for low, high in pairwise((0, 0.02, 0.05, 0.1, 0.2, 0.4, 1.0))
    ]
    for name, some in [*parts, ("all", np.ones(len(seen), bool))]:
        if not some.any():
            continue
        _, _, learned, off, sure, over = seen[some].T
        gross, sure = ~(np.abs(off) < _GROSS_PX), sure > 0
        wrong = gross[sure].mean() if sure.any() else np.nan
        alone, pull = ~(np.abs(learned) < _GROSS_PX), np.sqrt(np.mean(over[~gross] ** 2))
        yield (
            f"{name:14s} {some.sum():6d}  {alone.mean():11.1%}, {gross.mean():5.1%}, "
            f"{sure.mean():4.0%}, {wrong:5.2%}, {pull:10.2f}"
        )


def told_of(facts):
    """One line of a scene."""
    shown = "  ".join(f"{facts.get(k, np.nan):.3f}" for k in ("shape_rms", "worst", "pull"))
    codes = " ".join(c + "!" * (s == "retake") for c, s, _ in facts["remarks"])
    return f"{facts['row']:14s} {facts['number']:3d} {facts['outcome']:12s} {shown}  {codes}"


def keep(folder, facts, arrays):
    """Stores what was found for a scene, as `kept_in` reads it."""
    folder.mkdir(parents=True, exist_ok=True)
    name = f"{facts['row'].replace(' ', '-')}-{facts['seed']}-{facts['number']}"
    np.savez_compressed(folder / f"{name}.npz", **small(arrays))
    (folder / f"{name}.json").write_text(json.dumps(facts))


def kept_in(folder):
    """What `--keep` stored: facts and arrays of each scene."""
    for path in sorted(Path(folder).glob("*.json")):
        with np.load(path.with_suffix(".npz")) as arrays:
            yield json.loads(path.read_text()), dict(arrays)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("n", type=int, nargs="?", default=20)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--row", action="append", choices=list(ROWS))
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--tables", type=Path)
    parser.add_argument("--seconds", type=float, default=np.inf, help="start no scene after that")
    options = parser.parse_args()
    if options.tables:
        kept = list(kept_in(options.tables))
        print("\n".join([*table([facts for facts, _ in kept]), "", *row_table(kept)]))
        return 0
    start, records = time.monotonic(), []
    asked = [(row, n) for n in range(options.n) for row in options.row or ROWS]
    with ProcessPoolExecutor(options.processes) as pool:
        waiting, running = iter(asked), {}
        while True:
            late = time.monotonic() - start > options.seconds
            while not late and len(running) < 2 * options.processes:
                if (now := next(waiting, None)) is None:
                    break
                running[pool.submit(recorded, now[0], options.seed, now[1])] = now
            if not running:
                break
            done = next(as_completed(running))
            running.pop(done)
            facts, arrays = done.result()
            records.append(facts)
            print(told_of(facts), flush=True)
            if options.keep:
                keep(options.keep, facts, arrays)
    print("\n".join(table(records)))
    return int(any(r["outcome"] == "SILENT" for r in records))


if __name__ == "__main__":
    sys.exit(main())
