"""Jobs that do not state top edge and lean: the width, its U95, the caliper kept, the question.

    python benchmarks/unstated_edges.py [CASE ...] [--own N] [--seed SEED]

Each case's photos are measured and fitted twice, with edge and lean stated as they are and
unstated. N parts of its own have two rendered photos each, one of either end; their edge, lean,
colour, light, views and readings are chance.
"""

import argparse
import sys
import tempfile
import tomllib
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

import rendered
from light_render import Lamp, Material, Scene, render
from made_views import camera_over, phone_lens
from printed_sheet import Sheet
from sensor import Sensor, developed, save_photo
from solid_parts import RoundedRectangle, Solid

from snugline.desk.job import inspect_record
from snugline.desk.job_outline import fit_job
from snugline.desk.job_run import sides_of
from snugline.fit.readings.reading import CALIPER_CONTACT, caliper_limit, uncertainty
from snugline.trace.measure import measure_with_each
from snugline.trace.sheet.frame_description import read_frame

CASES = (
    "basalt-panel-two-ends",
    "birch-tray-bent-sheet",
    "porcelain-dish-dark-window",
    "gloss-tray-plain-frame",
    "steel-plate-same-phone",
    "white-plate-chamfered",
    "maple-board-round-ends",
)
KEYS = ("edge_radius", "edge_chamfer", "draft")
LARGEST_RATIO = 3.0
FOCAL_35MM = 26  # of `phone_lens`
COLOURS = ((0.05, 0.10, 0.22), (0.10, 0.10, 0.11), (0.30, 0.20, 0.14), (0.12, 0.22, 0.10))


def job_of(record):
    job, faults = inspect_record(record, Path("/job.toml"))
    if faults:
        raise faults[0]
    return job


def fitted(*jobs):
    """The outline of each of several jobs that differ in the part's sides only."""
    files = [jobs[0].beside(photo.file) for photo in jobs[0].photo]
    each = measure_with_each(files, jobs[0].frames(), [sides_of(job) for job in jobs])
    return [
        fit_job(job, [photo.contour for photo in measured.photos], measured.joined).fitted
        for job, measured in zip(jobs, each, strict=True)
    ]


def own(seed, number, folder):
    """A job of a part of its own with edge and lean as they are, and the part's true width."""
    rng = np.random.default_rng([seed, number])
    frame = read_frame("border-a4")
    low, high = frame.window.min(axis=0), frame.window.max(axis=0)
    middle, room = (low + high) / 2, high - low
    length, width = rng.uniform(1.4, 2.0) * room[0], rng.uniform(0.55, 0.8) * room[1]
    thickness = rng.uniform(5, 15)
    edge, lean = rng.uniform(0.1, 2.0), rng.uniform(0, 3)
    colour = COLOURS[int(rng.integers(len(COLOURS)))]
    outline = RoundedRectangle(length, width, rng.uniform(5, 25))
    photos = []
    for shows, side in (("right end", 1), ("left end", -1)):
        end = middle[0] + side * rng.uniform(0.15, 0.35) * room[0]
        turn = np.radians(rng.uniform(-3, 3))
        origin = (end - side * length / 2, middle[1] + rng.uniform(-4, 4))
        lens = phone_lens(radial=(rng.normal(0, 0.03), rng.normal(0, 0.015), 0.0, 0.0))
        views = rng.uniform(310, 360), rng.uniform(3, 16), rng.uniform(0, 360), rng.uniform(-10, 10)
        azimuth = rng.uniform(0, 2 * np.pi)
        lamp = (1100 * np.cos(azimuth), 1100 * np.sin(azimuth), rng.uniform(700, 1500))
        scene = Scene(
            camera=camera_over(middle, *views, lens),
            sheet=Sheet(frame, (1.0, 1.0), 0.02),
            solid=Solid(outline, thickness, "round", edge, np.radians(lean), origin, turn),
            material=Material(colour, "plain", 0.0, 0.03, 0.4),
            lamps=(Lamp(tuple(np.append(middle, 0.0) + lamp), 400.0, 0.6),),
            room=0.4,
            seed=int(rng.integers(1 << 31)),
        )
        sensor = Sensor(blur=rng.uniform(0.7, 1.3), sharpen=float(rng.choice([0, 0.3, 0.6])))
        path = folder / f"{number}-{shows.replace(' ', '-')}.jpg"
        save_photo(path, developed(render(scene), sensor, scene.seed), FOCAL_35MM, sensor.quality)
        photos.append({"file": str(path), "shows": shows})

    def read(true):
        """By caliper, its error anywhere within the limits."""
        limits = np.array([CALIPER_CONTACT, caliper_limit(true)])
        return f"{true + float(rng.uniform(-1, 1, 2) @ limits):.2f} mm"

    part = {"name": "own", "symmetry": "both", "thickness": read(thickness)}
    part |= {"edge_radius": f"{edge} mm", "draft": f"{lean} deg"}
    bars = {f"bar_{axis}": f"{frame.bars[axis].nominal} mm" for axis in "xy"}
    readings = [
        {"what": "length", "value": f"{round(length)} mm", "tool": "tape"},
        {"what": "width", "value": read(width), "tool": "caliper"},
    ]
    sheet = {"description": "border-a4", **bars}
    name = f"own {number}: {thickness:.1f} thick, edge {edge:.1f}, {lean:.1f} deg"
    return name, {"part": part, "frame": sheet, "photo": photos, "reading": readings}, width


def cases(options, folder):
    for name in options.cases or ([] if options.own else CASES):
        record = tomllib.loads(rendered.job_text(name))
        yield name, record, rendered.truth_of(name)["true_size"]["width"]
    for number in range(options.own):
        yield own(options.seed, number, folder)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("cases", nargs="*", help="of the rendered ones, all where none is named")
    parser.add_argument("--own", type=int, default=0, help="parts of its own instead")
    parser.add_argument("--seed", type=int, default=501)
    options = parser.parse_args()
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        for name, record, width in cases(options, Path(folder)):
            part = {key: value for key, value in record["part"].items() if key not in KEYS}
            stated, asked = fitted(job_of(record), job_of({**record, "part": part}))
            failed += not told(name, stated, asked, width, job_of(record))
    print("pass" if not failed else f"FAIL: {failed}")
    return int(failed > 0)


def told(name, stated, asked, width, job):
    """A row; whether all bounds hold."""
    (read,) = (reading for reading in job.readings if reading.what == "width")
    off_by = (read.value - width) / uncertainty(read).u
    off = asked.width.value - width
    ratio = asked.width.u95 / stated.width.u95
    codes = [notice.code for notice in asked.notices]
    held = {
        "in U95": abs(off) <= asked.width.u95,
        "U95 ratio": ratio <= LARGEST_RATIO,
        "caliper kept": "reading-contradicted" not in codes,
        "asked": "edge-not-stated" in codes,
    }
    others = [code for code in codes if code not in ("one-reading", "edge-not-stated")]
    print(
        f"{name:28} width {off:+.3f} mm, U95 {asked.width.u95:.3f} ({ratio:.2f} x stated, "
        f"off by {stated.width.value - width:+.3f}; caliper {read.value - width:+.2f}, "
        f"{abs(off_by):.1f} u), "
        f"{', '.join(f'{what} {ok}' for what, ok in held.items())}; {others}",
        flush=True,
    )
    return all(held.values())


if __name__ == "__main__":
    raise SystemExit(main())
