"""Two photos of an unmoved part against one: made scenes of hard kinds, seen from a second place.

    python benchmarks/two_photos.py [N] [SEED] [--processes P] [--row NAME]

makes N scenes of each of the rows "hard shadow", "mirrored lamp" and "pale on white" of
`unseen_scenes.ROWS` (two photos each: some three minutes a scene on one core), measures each photo
alone and both together, and prints for each photo the shape of its contour (rms and 99 %, mm, after
the best shift and turn), its error over the stated sigma, its largest error and how it is judged:
alone, and together. Under them the same for each row, at the median photo, and how many are within
their bounds, are to be taken again, or are off by over 0.3 mm without a word.
"""

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from unseen_kinds import CLEAR, HARD, Ring
from unseen_photos import SILENT, photo, told
from unseen_scenes import ROWS, draw_camera, drawn_of

from snugline import SnuglineError
from snugline.trace.measure import measure_photos

COMPARED = ("hard shadow", "mirrored lamp", "pale on white")
TILT_DEG = (5, 25)


@dataclass(frozen=True)
class Found:
    """What a photo's contour is worth, mm; NaN where there is none."""

    rms: float
    p99: float
    worst: float
    pull: float
    state: str
    silent: bool
    within: bool


REFUSED = Found(np.nan, np.nan, np.nan, np.nan, "refused", False, False)


def from_elsewhere(row, seed, number):
    """The scene of a number of a row, and the same from across the part."""
    drawn = drawn_of(row, seed, number)
    rng = np.random.default_rng([seed, number, list(ROWS).index(row), 2])
    scene = drawn.scene
    first = (scene.camera.centre - scene.middle)[:2]
    while True:
        camera = draw_camera(rng, scene.sheet.frame, scene.camera.lens, TILT_DEG)
        if (camera.centre - scene.middle)[:2] @ first < 0:
            return drawn, replace(drawn, scene=replace(scene, camera=camera))


def found(measured, ring, hard):
    contour = measured.contour
    at = contour.outer.points
    off, shape = ring.off(at), ring.off(ring.moved_best(at))
    rms, p99 = np.sqrt(np.mean(shape**2)), np.quantile(np.abs(shape), 0.99)
    bounds, worst = HARD if hard else CLEAR, float(np.abs(off).max())
    silent = contour.state == "good" and worst > SILENT
    return Found(
        float(rms),
        float(p99),
        worst,
        float(np.sqrt(np.mean((off / contour.outer.sigma) ** 2))),
        contour.state,
        silent,
        rms <= bounds[0] and p99 <= bounds[1] and contour.state != "retake",
    )


def scene(row, seed, number):
    """[(alone, together)] of both photos of a scene."""
    cv2.setNumThreads(1)
    both = from_elsewhere(row, seed, number)
    names = (f"{row.replace(' ', '-')}-{seed}{words}" for words in ("", "-second"))
    paths = [photo(name, drawn) for name, drawn in zip(names, both, strict=True)]
    ring = Ring(both[0].scene.solid.ring())

    def measured(*files):
        try:
            sides, frame = told(both[0])
            return [
                found(one, ring, drawn.hard)
                for one, drawn in zip(
                    measure_photos(files, [frame], sides).photos, both, strict=False
                )
            ]
        except SnuglineError:
            return [REFUSED] * len(files)

    alone = [measured(path)[0] for path in paths]
    return list(zip(alone, measured(*paths), strict=True))


def line(words, one):
    return f"{words} {one.rms:6.3f} {one.p99:6.3f} {one.worst:6.2f} {one.pull:6.2f}  {one.state:8s}"


def table(row, pairs):
    """Lines: a row's photos alone and together."""
    for words, some in (("alone", [a for a, _ in pairs]), ("together", [b for _, b in pairs])):
        figures = np.array([[one.rms, one.p99, one.worst, one.pull] for one in some])
        rms, p99, worst, pull = np.nanmedian(figures, axis=0)
        yield (
            f"{row:14s} {words:8s} {rms:6.3f} {p99:6.3f} {worst:6.2f} {pull:6.2f}  "
            f"{sum(one.within for one in some):3d} of {len(some)} within, "
            f"{sum(one.state in ('retake', 'refused') for one in some)} to be taken again, "
            f"{sum(one.silent for one in some)} silent; off by over {SILENT} mm: "
            f"{sum(one.worst > SILENT for one in some)}"
        )


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("n", type=int, nargs="?", default=5)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--row", action="append", choices=COMPARED)
    options = parser.parse_args()
    rows = options.row or COMPARED
    asked = [(row, options.seed, n) for n in range(options.n) for row in rows]
    by_row = {row: [] for row in rows}
    with ProcessPoolExecutor(options.processes) as pool:
        for (row, _, n), pairs in zip(
            asked, pool.map(scene, *zip(*asked, strict=True)), strict=True
        ):
            by_row[row].extend(pairs)
            for which, (alone, together) in enumerate(pairs, start=1):
                print(
                    line(f"{row:14s} {n:3d}.{which}  alone", alone),
                    line(" together", together),
                    flush=True,
                )
    print(f"{'':24s}   rms   99 %  worst  error over sigma (median photo)")
    print("\n".join(text for row in rows for text in table(row, by_row[row])))
    worse = sum(
        b.worst > SILENT and b.silent and not a.silent
        for pairs in by_row.values()
        for a, b in pairs
    )
    return int(worse > 0)


if __name__ == "__main__":
    sys.exit(main())
