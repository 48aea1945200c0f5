"""The rendered cases beside the repository: jobs of them, and contours made from their truth."""

import json
import math
from pathlib import Path

import numpy as np

PHOTOS = Path(__file__).parents[2] / "shared" / "photos"
CASES = (
    sorted(path.parent.name for path in PHOTOS.glob("*/truth.json") if "part_outline" in
           json.loads(path.read_text()))
    if PHOTOS.is_dir()
    else []
)  # fmt: skip

# What a view of the truth means in the part's axes.
_SHOWS = {
    "+x": "right end",
    "-x": "left end",
    "+x+y": "back right corner",
    "+x-y": "front right corner",
    "-x+y": "back left corner",
    "-x-y": "front left corner",
}
_SYMMETRY = {"fillet_polygon": "none"}


def truth_of(case):
    return json.loads((PHOTOS / case / "truth.json").read_text())


def readings_of(case):
    return json.loads((PHOTOS / case / "readings.json").read_text())["readings"]


def job_text(case, photos=None, pocket=False):
    """A job file on a case, with the readings as taken and edge and draft as they are."""
    folder, truth = PHOTOS / case, truth_of(case)
    readings = readings_of(case)
    by_name = {reading["what"]: reading for reading in readings}

    def length(reading):
        return f'"{reading["value"]} {reading["unit"]}"'

    edge = "edge_chamfer" if truth["edge"]["kind"] == "chamfer" else "edge_radius"
    lines = ["[part]", f'name = "{case}"', f"thickness = {length(by_name['thickness'])}"]
    lines += [f'{edge} = "{truth["edge"]["size"]} mm"', f'draft = "{truth["draft_deg"]} deg"']
    symmetry = _SYMMETRY.get(truth["outline"]["kind"], "both")
    radii = truth["outline"].get("R")
    if isinstance(radii, list):
        symmetry = "lengthwise"  # the two ends have radii of their own
    lines += [f'symmetry = "{symmetry}"']
    sheets = sorted(folder.glob("frame-?.json")) or [folder / "frame.json"]
    for i, sheet in enumerate(sheets):
        lines += ["", "[[frame]]", f'description = "{sheet}"']
        for axis in "xy":
            suffix = f", sheet {i + 1}" if i else ""
            for name in (f"scale bar {axis}{suffix}", f"opening {axis}"):
                if name in by_name:
                    lines += [f"bar_{axis} = {length(by_name[name])}"]
    for photo in truth["photos"][:photos]:
        shows = _SHOWS.get(str(photo["view"]), "section")
        lines += ["", "[[photo]]", f'file = "{folder / photo["file"]}"', f'shows = "{shows}"']
    for what in ("length", "width"):
        tool = by_name[what]["tool"].removeprefix("300 mm ")
        lines += ["", "[[reading]]", f'what = "{what}"', f"value = {length(by_name[what])}"]
        lines += [f'tool = "{tool}"']
    if pocket:
        lines += ["", "[pocket]", 'clearance = ["0.25 mm", "0.5 mm"]']
    return "\n".join(lines) + "\n"


def contours_from_truth(case, frame, sigma=0.02, step=0.3, seed=1):
    """What a faultless trace would find: the true outline in the window, with noise.

    Parameters
    ----------
    frame : as printed; its true window bounds what is seen, less 3 mm.
    sigma : mm, noise along the normal.
    """
    from snugline.trace.contour import Contour, Curve, PhotoFacts

    rng = np.random.default_rng(seed)
    window = frame.true_window
    low, high = window.min(axis=0) + 3, window.max(axis=0) - 3
    contours = []
    for photo in truth_of(case)["photos"]:
        loop = np.array(photo["bottom_outline"])
        points = _resampled(loop, step)
        inside = np.all((points > low) & (points < high), axis=1)
        # The longest run in the window; a contour in several pieces is not imitated.
        points = np.roll(points, -int(np.flatnonzero(~inside)[0]), axis=0)
        inside = np.roll(inside, -int(np.flatnonzero(~inside)[0]))
        runs = np.split(points[inside], np.flatnonzero(np.diff(np.flatnonzero(inside)) > 1) + 1)
        points = max(runs, key=len)
        along = np.gradient(points, axis=0)
        normal = np.column_stack((along[:, 1], -along[:, 0]))
        normal /= np.hypot(*normal.T)[:, None]
        points = points + normal * rng.normal(0, sigma, (len(points), 1))
        facts = PhotoFacts(photo["file"], 4000, 3000, 20, 22, 0.1, 0.03, 10.0, 3000.0, 0.1, 0.03)
        own = np.full(len(points), sigma)
        curve = Curve(points, sigma=own, noise=own, closed=False)
        contours.append(Contour(frame.name, curve, facts))
    return contours


def _resampled(loop, step):
    """A closed polygon at even steps, counter-clockwise."""
    x, y = loop.T
    if np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) < 0:
        loop = loop[::-1]
    closed = np.vstack((loop, loop[:1]))
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))))
    at = np.linspace(0, along[-1], math.ceil(along[-1] / step), endpoint=False)
    return np.column_stack([np.interp(at, along, closed[:, axis]) for axis in (0, 1)])
