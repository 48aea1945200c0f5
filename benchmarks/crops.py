"""Photos as they are sent: cropped, reduced, recompressed, with EXIF kept, stripped or wrong.

Run as `python benchmarks/crops.py [N] [SEED] [--workers K] [--unstated]`; with `--unstated` the
jobs say nothing of the top edge and the lean of the sides. First N crops of the rendered photos
that show an end of a part: the whole sheet stays in each, all else is chance. Each is a job of one
photo with the length by tape and without a reading of the width; width and corners are compared
with the true ones and with the whole photo's U95. Then all photos with markers again, their
metadata cut out of the file without touching the picture: hold-out against that with EXIF.
"""

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from photo_truth import PHOTOS, Case, cases
from sent_photos import cropped, without_metadata

from snugline import SnuglineError
from snugline.desk.job import read_job
from snugline.desk.job_outline import fit_job
from snugline.desk.job_run import measure_job
from snugline.errors import FitError
from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.sighting import sight_markers
from snugline.trace.image.photo_file import read_photo
from snugline.trace.sheet.frame_description import Frame

EXIF = ("kept", "stripped", "wrong")
LONG_SIDES = (None, None, 2048, 1600)  # px; every second crop keeps its size
QUALITIES = (92, 80, 70, 60)
FAMILIES = {
    "rounded_rect": ("rounded rectangle", "radius", "R"),
    "stadium": ("stadium", None, None),
    "chamfered_rect": ("chamfered rectangle", "size", "C"),
}
SHOWS = {"+x": "right end", "-x": "left end"}


@dataclass(frozen=True)
class Way:
    """How a photo was sent; None for the photo as it is."""

    seed: int
    exif: str
    long_side: int | None
    quality: int


@dataclass(frozen=True)
class Sent:
    """One job: error and U95 of each dimension, mm, or why there is none.

    A photo that is told to be taken again (`retake`) claims nothing, and is not refused.
    """

    name: str
    way: Way | None
    dimensions: tuple[tuple[str, float, float], ...] = ()
    retake: tuple[str, ...] = ()
    trouble: str = ""


def job_text(case, record, file, stated=True):
    readings, truth = case.readings, case.truth
    frame = (case.folder / "frame.json").resolve()
    edge = truth["edge"]
    lines = [
        "[part]",
        f'name = "{case.name}"',
        f'thickness = "{readings["thickness"]["value"]} mm"',
    ]
    lines.append(f'family = "{FAMILIES[truth["outline"]["kind"]][0]}"')
    if stated:  # what is left out counts as unknown: a sharp edge and upright sides are stated, too
        key = "edge_chamfer" if edge["kind"] == "chamfer" else "edge_radius"
        lines.append(f'{key} = "{edge["size"]} mm"')
        lines.append(f'draft = "{truth["draft_deg"]} deg"')
    lines += ["[frame]", f'description = "{frame}"']
    lines += [f'bar_{a} = "{readings[f"scale bar {a}"]["value"]} mm"' for a in "xy"]
    lines += ["[[photo]]", f'file = "{file}"', f'shows = "{SHOWS[record["view"]]}"']
    length = readings["length"]
    lines += ["[[reading]]", 'what = "length"', f'value = "{length["value"]} {length["unit"]}"']
    return "\n".join([*lines, 'tool = "tape"', ""])


def measured(task):
    """One photo, as it is or sent in some way, as a job of its own."""
    folder, number, way, stated = task
    cv2.setNumThreads(1)
    case = Case(folder)
    record = case.truth["photos"][number]
    name = f"{case.name} {number + 1}"
    with tempfile.TemporaryDirectory() as at:
        file = Path(at) / "photo.jpg"
        source = case.photos[number]
        if way is None:
            file.write_bytes(source.read_bytes())
        else:
            quads = sight_markers(read_photo(source), case.frames()).quads
            cropped(source, quads, file, way.seed, way.exif, way.long_side, way.quality)
        path = Path(at) / "job.toml"
        path.write_text(job_text(case, record, file, stated))
        retake = ()
        try:
            job = read_job(path)
            result = measure_job(job)
            notices = [n for p in result.photos for n in p.contour.notices]
            retake = tuple(dict.fromkeys(n.code for n in notices if n.severity == "retake"))
            fitted = fit_job(job, [p.contour for p in result.photos]).fitted.as_json()
        except FitError as error:
            # Where the edge is lost the photo is to be taken again: there is no outline.
            return Sent(name, way, retake=retake, trouble="" if retake else str(error))
        except SnuglineError as error:
            return Sent(name, way, trouble=str(error))
    return Sent(name, way, tuple(_dimensions(case.truth, fitted)), retake)


def _dimensions(truth, fitted):
    size = fitted["width"]
    yield "width", size["value"] - truth["true_size"]["width"], size["u95"]
    _, key, true = FAMILIES[truth["outline"]["kind"]]
    seen = [c for c in fitted["corners"] if c.get("seen") and key in c]
    for corner in seen[:2] if key else []:
        value = corner[key]
        yield corner["at"], value["value"] - truth["outline"][true], value["u95"]


def stripped(task):
    """Hold-out of a case's photos one by one: as they are, and with their metadata cut out."""
    folder = task
    cv2.setNumThreads(1)
    case = Case(folder)
    frames = [f for f in case.frames() if isinstance(f, Frame)]
    rows = []
    for number, source in enumerate(case.photos):
        with tempfile.TemporaryDirectory() as at:
            bare = Path(at) / "photo.jpg"
            bare.write_bytes(without_metadata(source.read_bytes()))
            found = []
            for file in (source, bare):
                try:
                    photo = read_photo(file)
                    sighting = sight_markers(photo, frames)
                    # One sheet is enough: which photos tie two does not depend on EXIF.
                    best = int(np.bincount(sighting.sheet).argmax())
                    solved = solve([sight_markers(photo, [frames[best]])], [frames[best]])
                    found.append(float(solved.holdout_mm[0]))
                except SnuglineError as error:
                    found.append(str(error))
        rows.append((f"{case.name} {number + 1}", *found))
    return rows


def chosen(n, seed, stated):
    """The whole photos, then N crops of them by turns."""
    rng = np.random.default_rng(seed)
    ends = [
        (case.folder, number)
        for case in cases(PHOTOS)
        if case.has_part and case.truth["outline"]["kind"] in FAMILIES
        for number, record in enumerate(case.truth["photos"])
        if record.get("view") in SHOWS
    ]
    tasks = [(*end, None, stated) for end in ends]
    for k in range(n):
        way = Way(
            seed=int(rng.integers(1 << 31)),
            exif=EXIF[int(rng.integers(3))],
            long_side=LONG_SIDES[int(rng.integers(4))],
            quality=QUALITIES[int(rng.integers(4))],
        )
        tasks.append((*ends[k % len(ends)], way, stated))
    return tasks


def print_crops(found):
    """A row for each crop, and the bounds."""
    whole = {s.name: s for s in found if s.way is None}
    crops = [s for s in found if s.way is not None]
    print(
        "photo, EXIF, long side px, JPEG quality | dimension: error, U95 mm, error over U95 | U95"
    )
    print("over that of the whole photo | told to retake")
    ratios, inside = [], []
    for s in [*whole.values(), *crops]:
        way = s.way
        words = f"{way.exif:8} {way.long_side or 'kept':>5} {way.quality}" if way else "whole"
        if s.trouble:
            print(f"{s.name:32} {words:18} refused: {s.trouble}")
            continue
        sizes = "  ".join(f"{w} {e:+.3f} {u:.3f} {abs(e) / u:4.2f}" for w, e, u in s.dimensions)
        line = f"{s.name:32} {words:18} | {sizes}"
        if way and not whole[s.name].trouble:
            pairs = zip(s.dimensions, whole[s.name].dimensions, strict=False)
            mine = [a[2] / b[2] for a, b in pairs]
            ratios += mine
            line += " | " + " ".join(f"{r:.2f}" for r in mine)
        if way and not s.retake:
            inside += [abs(e) / u for _, e, u in s.dimensions]
        print(line, "|", *s.retake)
    share, worst = float(np.mean(np.array(inside) <= 1)), max(inside)
    refused = sum(bool(s.trouble) for s in crops)
    yield f"{len(crops)} crops: {refused} refused (none)", refused == 0
    yield f"{len(inside)} dimensions: {share * 100:.1f} % within U95 (95 %)", share >= 0.95
    yield f"largest error over U95 {worst:.2f} (1.5)", worst <= 1.5
    median = float(np.median(ratios))
    yield f"median U95 {median:.2f} times the whole photo's (1.3)", median <= 1.3


def print_stripped(rows):
    """Hold-out with and without metadata."""
    print("\nhold-out, mm: with EXIF, metadata cut out, ratio")
    for name, kept, bare in rows:
        if isinstance(kept, str) or isinstance(bare, str):
            print(f"{name:32} {kept} | {bare}")
            yield f"{name}: refused without metadata", isinstance(kept, str)
            continue
        print(f"{name:32} {kept:.4f} {bare:.4f} {bare / kept:.2f}")
        yield f"{name}: hold-out {bare / kept:.2f} times (1.3)", bare <= 1.3 * kept


def main():
    """Run, print, and say by the exit status whether all bounds hold."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("n", nargs="?", type=int, default=200, help="how many crops")
    parser.add_argument("seed", nargs="?", type=int, default=13)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--unstated", action="store_true", help="edge and lean left out")
    options = parser.parse_args()
    start = time.perf_counter()
    marked = [c.folder for c in cases(PHOTOS) if isinstance(c.frames()[0], Frame)]
    with get_context("spawn").Pool(options.workers) as pool:
        bare = [row for rows in pool.map(stripped, marked, chunksize=1) for row in rows]
        tasks = chosen(options.n, options.seed, not options.unstated)
        found = pool.map(measured, tasks, chunksize=1)
    bounds = [*print_crops(found), *print_stripped(bare)]
    missed = [text for text, held in bounds if not held]
    print(f"\n{len(bounds) - len(missed)} of {len(bounds)} bounds pass; ", end="")
    print(f"{time.perf_counter() - start:.0f} s")
    for text, held in bounds[:4]:
        print(f"{'pass' if held else 'FAIL'} {text}")
    for text in missed[:40]:
        print(f"FAIL {text}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
