"""Whole jobs on parts that nothing was developed on: is what they call good right?

    python benchmarks/unseen_jobs.py [N] [SEED] [--first NUMBER]

Each job is a part with its left and its right end photographed on one print, in one room by one
phone, with bars, thickness and width by caliper and the length by two tapes, each off at random
within its limit of error; every second job says nothing of top edge and lean. Families are left to
the program. Printed: error and U95 of length, width and radius, the largest distance of the outline
from the true one (but for the length's error), the state, and the remarks that decide it. A job
counts as *wrong* where a dimension is off by more than 1.5 U95, or the outline by more than 0.3 mm,
and it may be cut from all the same.
"""

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from shapely import LinearRing, points
from solid_parts import RoundedRectangle
from unseen_photos import SILENT, photo
from unseen_scenes import draw_camera, drawn

from snugline import SnuglineError
from snugline.desk.job import read_job
from snugline.desk.job_outline import fit_job, job_state
from snugline.desk.job_run import measure_job

COVERED, OFF = 0.95, 1.5  # share within U95 (JCGM 100), and times U95 that nothing may exceed
_CALIPER = 0.1  # mm, as hands hold it: common practice, no source
_TAPE = (0.3, 0.2)  # mm and mm per metre begun: class II of 2014/32/EU, annex X (MI-008)


def ends(seed, number):
    """Scenes of a part's left and right end."""
    rng = np.random.default_rng([seed, number, 99])
    one = drawn(seed, number)
    frame = one.scene.sheet.frame
    low, high = frame.window.min(axis=0), frame.window.max(axis=0)
    room = high - low
    length, width = rng.uniform(1.2, 2.0) * room[0], rng.uniform(0.4, 0.75) * room[1]
    most = width / 2
    radius = rng.choice([rng.uniform(0.5, 5), rng.uniform(5, 0.95 * most), most], p=[0.4, 0.4, 0.2])
    outline = RoundedRectangle(length, width, float(radius))
    found = {}
    for shows, into in (("right end", 1), ("left end", -1)):
        free = rng.uniform(0.12, 0.45) * room[0]
        end = high[0] - free if into > 0 else low[0] + free
        turn = float(np.radians(rng.uniform(-5, 5)))
        away = into * length / 2
        origin = (
            float(end - away * np.cos(turn)),
            float((low + high)[1] / 2 + rng.uniform(-8, 8) - away * np.sin(turn)),
        )
        solid = replace(one.scene.solid, outline=outline, origin=origin, turn=turn)
        camera = draw_camera(rng, frame, one.scene.camera.lens, None)
        scene = replace(one.scene, solid=solid, camera=camera, seed=int(rng.integers(2**31)))
        found[shows] = replace(one, view=shows, shape=f"R {radius:.1f}", scene=scene)
    return found


def job_text(scenes, paths, rng, stated):
    """The job, with readings as a hand takes them."""
    scene = next(iter(scenes.values())).scene
    solid, frame, outline = scene.solid, scene.sheet.frame, scene.solid.outline

    def caliper(size):
        return f'"{size + rng.uniform(-_CALIPER, _CALIPER):.2f} mm"'

    lines = ["[part]", 'name = "unseen"', f"thickness = {caliper(solid.thickness)}"]
    if stated:
        key = "edge_chamfer" if solid.edge == "chamfer" else "edge_radius"
        lines += [f'{key} = "{solid.edge_size} mm"', f'draft = "{np.degrees(solid.draft)} deg"']
    lines += ["[[frame]]", f'description = "{frame.name}"']
    for axis, scale in zip("xy", scene.sheet.scale, strict=True):
        lines += [f"bar_{axis} = {caliper(frame.bars[axis].nominal * scale)}"]
    for shows, path in paths.items():
        lines += ["[[photo]]", f'file = "{path}"', f'shows = "{shows}"']
    for tool in ("tape", "other tape"):
        size = 2 * (outline.length + rng.uniform(-1, 1) * sum(_TAPE))
        lines += ["[[reading]]", 'what = "length"', f'value = "{round(size) / 2} mm"']
        lines += [f'tool = "{tool}"']
    lines += ["[[reading]]", 'what = "width"', f"value = {caliper(outline.width)}"]
    return "\n".join([*lines, 'tool = "caliper"', ""])


def judged(seed, number):
    """Error over U95 by dimension, the outline's largest error, the state, the words."""
    scenes = ends(seed, number)
    paths = {shows: photo(f"{seed}-{shows.replace(' ', '-')}", s) for shows, s in scenes.items()}
    rng = np.random.default_rng([seed, number, 98])
    scene = next(iter(scenes.values()))
    true = scene.scene.solid.outline
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(job_text(scenes, paths, rng, stated=number % 2 == 0))
        try:
            job = read_job(path)
            measured = measure_job(job)
            contours = [p.contour for p in measured.photos]
            fitted = fit_job(job, contours).fitted
        except SnuglineError as error:
            return scene, {}, np.nan, "not to be cut", str(error)
        state = job_state(job, fitted.notices, contours, None, measured.notices)
    off = {
        "length": (fitted.length.value - true.length, fitted.length.u95),
        "width": (fitted.width.value - true.width, fitted.width.u95),
    }
    for corner in fitted.corners[:1]:
        if "radius" in corner.params:
            radius = corner.params["radius"]
            off["radius"] = (radius.value - true.radius, radius.u95)
    # Tapes decide the length; what photos make of the ends is seen with it taken out.
    # It lies anywhere along its axes: of a side that bows, only what it reaches has a place.
    drawn = fitted.outline.sampled(0.5)
    drawn -= (drawn.min(axis=0) + drawn.max(axis=0)) / 2
    drawn[:, 0] -= np.sign(drawn[:, 0]) * off["length"][0] / 2
    worst = float(LinearRing(true.ring()).distance(points(drawn)).max())
    codes = state.because or tuple(dict.fromkeys(n.code for n in state.notices))
    return scene, off, worst, state.state, " ".join(codes)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("n", type=int, nargs="?", default=20)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    ratios, states, wrong = [], [], 0
    for number in range(options.first, options.first + options.n):
        scene, off, worst, state, codes = judged(options.seed, number)
        states.append(state)
        ratio = {name: abs(error) / u95 for name, (error, u95) in off.items()}
        if state != "not to be cut":
            ratios += ratio.values()
            bad = max(ratio.values()) > OFF or worst > SILENT
            wrong += bad
        figures = "  ".join(f"{name} {e:+.3f} ({u:.3f})" for name, (e, u) in off.items())
        print(
            f"{number:3d} {scene.kind:13s} {scene.light:9s} {state:13s} {figures}, outline "
            f"{worst:.3f}{'  WRONG' if state != 'not to be cut' and bad else ''} | {codes}",
            flush=True,
        )
    n = max(len(ratios), 1)
    within = sum(r <= 1 for r in ratios) / n
    print(
        f"\n{len(states)} jobs: good {states.count('good')}, usable {states.count('usable')}, not "
        f"to be cut {states.count('not to be cut')}\nof {len(ratios)} dimensions of the others "
        f"{within:.1%} within U95 ({'pass' if within >= COVERED else 'FAIL'}), largest "
        f"{max(ratios, default=0):.2f} U95; wrong: {wrong} ({'FAIL' if wrong else 'pass'})"
    )
    return int(bool(wrong) or within < COVERED)


if __name__ == "__main__":
    sys.exit(main())
