"""Contours of photos that nothing was developed on: random rendered scenes with exact truth.

Run as `python benchmarks/unseen_photos.py [N] [SEED] [--first NUMBER]`. Every scene gives one row:
kind, distance of the contour from the true plan outline (rms, 99 %, worst, mm), share of the
outline seen, hold-out, whether the bounds hold, and the remarks (`!` marks those that say retake).
The part's sides and the sheet's bars are told as they truly are. What does not pass has two more
lines: the scene, and errors by the side that the edge faces, its mean and the largest (outwards
positive; only where some exceed 0.03 mm).

Photos are kept in the temporary directory, so that a second run need not render them again.
"""

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from light_render import render
from photo_truth import score
from sensor import developed, save_photo
from shapely import LinearRing, Polygon, contains_xy, line_locate_point, points
from unseen_scenes import drawn

from snugline import SnuglineError
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.measure import measure_photos
from snugline.trace.sheet.frame_description import with_print_scale

ROOT = Path(__file__).parents[1]
# (rms, 99th percentile) mm.
NORMAL, HARD, SILENT = (0.05, 0.15), (0.10, 0.30), 0.3
MOST, WHOLE = 0.9, 0.97  # of the outline
_SOURCES = (
    "tests/light_render.py",
    "tests/printed_sheet.py",
    "tests/solid_parts.py",
    "tests/sensor.py",
    "benchmarks/unseen_scenes.py",
)
MADE_BY = sha256(b"".join((ROOT / s).read_bytes() for s in _SOURCES)).hexdigest()[:10]
_SIDES = ("right", "back right", "back", "back left", "left", "front left", "front", "front right")


@dataclass(frozen=True)
class Placed:
    """What `photo_truth.score` asks of a case."""

    frame: object

    def marker_corners(self):
        return dict(zip(self.frame.ids.tolist(), self.frame.true_corners, strict=True))


def photo(seed, scene):
    """The path of a scene's photo, rendered unless it was before."""
    folder = Path(tempfile.gettempdir()) / "snugline-unseen-photos" / MADE_BY
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"scene-{seed}-{scene.number}.jpg"
    if not path.exists():
        rgb = developed(render(scene.scene), scene.sensor, scene.scene.seed)
        part = path.with_suffix(".part.jpg")
        save_photo(part, rgb, scene.focal_35mm, scene.sensor.quality)
        part.replace(path)
    return path


def told(scene):
    """The part's sides and the sheet with its bars, as they truly are."""
    sheet, solid = scene.scene.sheet, scene.scene.solid
    bars = (sheet.frame.bars[axis].nominal * k for axis, k in zip("xy", sheet.scale, strict=True))
    frame = with_print_scale(sheet.frame, *bars, 0.001)
    return PartSides(solid.thickness, 0.001, solid.edge, solid.edge_size, solid.draft), frame


def holes_of(solid):
    """Its holes' outlines; only some solids have any."""
    return getattr(solid, "holes", ())


def traced(path, scene):
    """The contour, the remarks as (code, severity, text), and the score.

    Raises
    ------
    SnuglineError : no contour.
    """
    (sides, frame), solid = told(scene), scene.scene.solid
    result = measure_photos([path], [frame], sides)
    contour = result.photos[0].contour
    remarks = [
        (n.code, n.severity, str(n.text))
        for n in (*contour.notices, *result.notices)
        if n.severity != "fine"
    ]
    # Small arcs have dense points, and the share of the outline seen counts points.
    ring, *holes = (
        np.asarray(LinearRing(r).simplify(0.001).coords) for r in (solid.ring(), *holes_of(solid))
    )
    true = {"bottom_outline": ring, "holes": holes}
    curves = [contour.outer, *contour.others]
    windows = None if scene.view == "whole" else [frame.true_window]
    return contour, remarks, score(Placed(frame), true, curves, windows)


def measured(path, scene):
    """The score (None without a contour), the hold-out, and the remarks as (code, severity)."""
    try:
        contour, remarks, found = traced(path, scene)
    except SnuglineError as error:
        return None, np.nan, [(f"refused: {error}", "retake")], ""
    at = np.concatenate([curve.points for curve in (contour.outer, *contour.others)])
    where = by_side(scene.scene.solid.ring(), at)
    return found, contour.photo.holdout_mm, [r[:2] for r in remarks], where


def by_side(ring, found):
    """Words: mean signed error and the largest, by the side of the sheet that the edge faces."""
    line = LinearRing(ring)
    line = line if line.is_ccw else line.reverse()
    at = points(found)
    along = line_locate_point(line, at)
    behind, ahead = (line.interpolate(along + d) for d in (-0.3, 0.3))
    tangent = np.array([[b.x - a.x, b.y - a.y] for a, b in zip(behind, ahead, strict=True)])
    facing = np.arctan2(-tangent[:, 0], tangent[:, 1])
    off = line.distance(at)
    off = np.where(contains_xy(Polygon(ring), *found.T), -off, off)
    octant = np.round(facing / (np.pi / 4)).astype(int) % 8
    words = []
    for k, side in enumerate(_SIDES):
        here = off[octant == k]
        if len(here) >= 20 and np.abs(here).max() > 0.03:
            words.append(f"{side} {here.mean():+.2f} ({here[np.abs(here).argmax()]:+.2f})")
    return ", ".join(words)


def verdict(found, remarks, hard):
    """`pass`, `retake` (asked for, and rightly so), `FAIL`, `SILENT` or `false retake`.

    A retake is asked for without need where the contour holds the bounds and most of it is there.
    """
    retake = any(severity == "retake" for _, severity in remarks)
    if found is None:
        return "retake" if hard else "FAIL"
    if found.worst > SILENT and not remarks:
        return "SILENT"
    rms, p99 = HARD if hard else NORMAL
    held = found.rms <= rms and found.p99 <= p99
    if held and not retake:
        return "pass"
    if held and found.seen > MOST:
        return "false retake"
    return "retake" if hard and retake else "FAIL"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("n", type=int, nargs="?", default=30)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    print("  no kind           rms    99 %  worst  seen  hold   verdict        why hard | remarks")
    verdicts, short = [], 0
    for number in range(options.first, options.first + options.n):
        scene = drawn(options.seed, number)
        path = photo(options.seed, scene)
        start = time.process_time()
        found, holdout, remarks, where = measured(path, scene)
        seconds = time.process_time() - start
        verdicts.append(verdict(found, remarks, scene.hard))
        figures = "     -      -      -     -"
        if found:
            figures = f"{found.rms:6.3f} {found.p99:6.3f} {found.worst:6.2f} {found.seen:5.0%}"
            short += found.seen < WHOLE and not remarks
        codes = " ".join(dict.fromkeys(c + "!" * (s == "retake") for c, s in remarks))
        print(
            f"{number:4d} {scene.kind:13s} {figures} {holdout:5.3f}   {verdicts[-1]:13s} "
            f"{seconds:4.1f} s  {scene.hard or 'normal'} | {codes}",
            flush=True,
        )
        if verdicts[-1] != "pass":
            print(f"       {scene.words}\n       {where}", flush=True)
    count = {v: verdicts.count(v) for v in ("pass", "retake", "FAIL", "SILENT", "false retake")}
    print(
        f"\nof {len(verdicts)}: {count['pass']} pass, {count['retake']} hard ones told to retake, "
        f"{count['FAIL']} fail with a remark or without a contour,\n{count['SILENT']} silent "
        f"misses, {count['false retake']} false retakes; "
        f"{short} see under {WHOLE:.0%} and do not say so"
    )
    return int(count["FAIL"] + count["SILENT"] > 0)


if __name__ == "__main__":
    sys.exit(main())
