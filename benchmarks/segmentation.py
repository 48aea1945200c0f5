"""The coarse border of part and sheet against the true silhouette, in every kind of light.

Run as `python benchmarks/segmentation.py [NAME]`. One row for each composed scene and, where the
rendered photos lie beside the repository, for each photo and sheet, the camera as it truly was.
Distances are in pixels of the reduced picture (a quarter of the photo); 1.5 of them are asked, the
search at full resolution reaches 4 inwards and 12 outwards. Inside the window only, 3 mm or more
from its border.
"""

import sys
import time
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from scipy.spatial import cKDTree
from shapely import LineString, Polygon, contains_xy, points, unary_union

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from photo_truth import PHOTOS, cases, true_pixels
from sheet_scene import Pinhole, Scene, compose, rounded, turned

from snugline.errors import PhotoError
from snugline.trace.image.linear_light import linear_table
from snugline.trace.part.part_search import SheetView, find_part
from snugline.trace.sheet.frame_description import PlainFrame

# 99th percentile in reduced px, and share of the true border with a point within 1 mm.
REACH_PX, SHARE = 1.5, 0.97
STEP = 4
MARGIN_MM = 3.0

PLATE = turned(rounded(300, 90, 20), 4, (110, 55))
CORNER = turned(rounded(300, 300, 15), 12, (150, 90))
SMALL = turned(rounded(90, 60, 10), 20, (110, 70))
HOLE = turned(rounded(30, 20, 5), 0, (170, 90))
SOFT = {"foot": PLATE, "shadow": (3.0, -3.0), "soft": 1.0}
HARD = {"foot": PLATE, "shadow": (5.0, -4.0), "soft": 0.15}
STONE = {"foot": CORNER, "top": (0.3, 0.3, 0.29), "texture": "speckle", "thickness": 10.0}
WOOD = {"top": (0.5, 0.35, 0.2), "texture": "grain"}
TILTED = Pinhole(tilt_deg=30, azimuth_deg=200, roll_deg=60, height=380)


def grey(value):
    return {"top": (value,) * 3}


SCENES = {
    **{f"grey {v}, soft shadow": SOFT | grey(v) | {"soft": 2.0}
       for v in (0.02, 0.1, 0.3, 0.5, 0.65, 0.75, 0.8)},
    **{f"grey {v}, hard shadow": HARD | grey(v) for v in (0.02, 0.1, 0.3, 0.5, 0.65, 0.75)},
    "white, two tinted lamps": HARD | {"top": (0.78, 0.77, 0.75), "second": (-3.0, -3.0),
                                       "dark": 0.7, "tint": (0.9, 1.0, 1.1)},
    "wood, hard shadow": HARD | WOOD | {"thickness": 15.0},
    "pale wood, soft shadow": SOFT | {"top": (0.75, 0.62, 0.45), "texture": "grain",
                                      "contrast": 0.06, "soft": 2.5, "thickness": 15.0},
    "speckled stone, soft shadow": STONE | {"shadow": (-4.0, -5.0), "soft": 2.0},
    "speckled stone, hard shadow": STONE | {"shadow": (-6.0, -5.0), "soft": 0.2},
    "printed checks": SOFT | grey(0.45) | {"texture": "print", "contrast": 0.8},
    "highlight on black": SOFT | grey(0.03) | {"texture": "gloss"},
    "highlight on grey": SOFT | grey(0.2) | {"texture": "gloss"},
    "small grey part": SOFT | grey(0.3) | {"foot": SMALL},
    "small white part": SOFT | grey(0.75) | {"foot": SMALL},
    "small wooden part, hard shadow": HARD | {"top": (0.5, 0.35, 0.2), "foot": SMALL},
    "hole": SOFT | {"hole": HOLE},
    "hole in wood": SOFT | WOOD | {"hole": HOLE},
    "dust": SOFT | {"dust": 60},
    "dust round white": SOFT | {"top": (0.75, 0.74, 0.72), "dust": 60},
    "light 3:1, grey": SOFT | grey(0.3) | {"falloff": 3.0},
    "light 3:1, white": SOFT | grey(0.74) | {"falloff": 3.0},
    "dim and noisy, grey": SOFT | grey(0.3) | {"exposure": 0.15, "noise": 0.02},
    "dim and noisy, white": SOFT | grey(0.72) | {"exposure": 0.15, "noise": 0.02},
    "orange lamp, wood": SOFT | WOOD | {"lamp": (1.0, 0.65, 0.35)},
    "orange lamp, blue hard shadow": HARD | grey(0.4) | {"lamp": (1.0, 0.65, 0.35),
                                                         "tint": (1.1, 1.0, 0.8)},
    "30 degrees, thick wood": SOFT | WOOD | {"thickness": 18.0, "camera": TILTED},
    "30 degrees, thick grey, hard": HARD | grey(0.35) | {"thickness": 18.0, "camera": TILTED,
                                                         "shadow": (8.0, -6.0)},
    "30 degrees, white": SOFT | grey(0.72) | {"thickness": 6.0, "camera": TILTED},
    "wall brighter than top": SOFT | {"wall": 1.8, "thickness": 12.0, "camera": TILTED},
    "dark window, white": SOFT | grey(0.8) | {"dark_window": True},
    "dark window, wood": SOFT | WOOD | {"dark_window": True},
    "dark window, grey": SOFT | grey(0.15) | {"dark_window": True},
    "pale pink, no shadow": {"foot": PLATE, "top": (0.8, 0.76, 0.76)},
    "0.78 on 0.82, no shadow": {"foot": PLATE, "top": (0.78, 0.78, 0.78)},
}  # fmt: skip


def photo_views():
    """Name, picture, view and silhouette of every photo and sheet in it."""
    for case in cases() if PHOTOS.is_dir() else []:
        for path, photo in zip(case.photos, case.truth["photos"], strict=True):
            if not case.has_part:
                continue
            coded = cv2.imread(str(path))[..., ::-1]
            size = (coded.shape[1] // STEP, coded.shape[0] // STEP)
            light = linear_table()[coded[: size[1] * STEP, : size[0] * STEP]]
            picture = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
            for number in range(len(case.frame_files)):
                if number + 1 in photo.get("sheets_seen", [1]):
                    yield (
                        f"{path.parent.name} {path.stem[-1]}.{number + 1}",
                        *_seen(case, photo, number, picture),
                    )


def _seen(case, photo, number, picture):
    def reduced(places, z=0.0):
        return (true_pixels(photo, places, z) - (STEP - 1) / 2) / STEP

    window = case.windows()[number]
    low, high = window.min(axis=0) - 40, window.max(axis=0) + 40
    grid = np.stack(np.meshgrid(*np.linspace(low, high, 15).T), -1).reshape(-1, 2)
    plane, _ = cv2.findHomography(reduced(grid), grid)
    frame = case.frames()[number]
    quads, found = np.empty((0, 4, 2)), np.empty(0, bool)
    if not isinstance(frame, PlainFrame):
        corners = case.marker_corners()
        quads = np.array([reduced(corners[i]) for i in frame.ids.tolist()])
        found = np.isin(frame.ids, photo["markers"]["visible"])
    rotation, shift = (np.array(photo["camera_displayed"][key]) for key in ("R", "t"))
    view = SheetView(
        window=window,
        pixel_from_sheet=reduced,
        sheet_from_pixel=lambda p: cv2.perspectiveTransform(np.asarray(p, float)[None], plane)[0],
        markers=quads,
        found=found,
        window_dark=getattr(frame, "window_dark", False),
        camera=-rotation.T @ shift,
        thickness=case.truth["thickness"],
    )
    rings = [reduced(photo["bottom_outline"])]
    for key in ("edge_outline", "top_outline"):
        rings.append(reduced(photo[key]["points"], photo[key]["z"]))
    solid = [Polygon(ring).buffer(0) for ring in rings]
    for a, b in pairwise(rings):
        sides = np.stack([a, np.roll(a, -1, 0), np.roll(b, -1, 0), b], axis=1)
        solid.extend(side.buffer(0.01) for side in map(Polygon, sides) if side.is_valid)
    return picture, view, unary_union(solid)


def row(name, picture, view, silhouette):
    """One line of the table, and whether both bounds hold."""
    start = time.process_time()
    try:
        result = find_part(picture, view)
    except PhotoError as error:
        return f"{name:34} {error.what:60} FAIL", False
    spent = time.process_time() - start
    inner = Polygon(view.window).buffer(-MARGIN_MM, join_style="mitre")
    edges = [e for region in result for e in (*region.outer, *region.holes)]
    found = np.concatenate([edge.points for edge in edges])
    kept = contains_xy(inner, *view.sheet_from_pixel(found).T)
    found = found[kept]
    rings = [LineString(g.coords).segmentize(0.5) for g in _rings(silhouette)]
    true = np.concatenate([np.asarray(ring.coords) for ring in rings])
    true = true[contains_xy(inner, *view.sheet_from_pixel(true).T)]
    if not len(found):
        return f"{name:34} {'no border in the window':60} FAIL", False
    off = silhouette.boundary.distance(points(found))
    arm = view.pixel_from_sheet(view.window.mean(axis=0) + np.array([[-5, 0], [5, 0]]))
    gap = cKDTree(found).query(true)[0] * 10 / np.linalg.norm(arm[1] - arm[0])
    share, p99 = float(np.mean(gap < 1)), float(np.quantile(off, 0.99))
    good = p99 < REACH_PX and share >= SHARE
    return (
        f"{name:34} {np.sqrt(np.mean(off**2)):7.2f} {p99:7.2f} {off.max():7.2f} {share:7.1%}"
        f" {1e3 * spent:6.0f} {'pass' if good else 'FAIL'}"
    ), good


def _rings(shape):
    for polygon in getattr(shape, "geoms", [shape]):
        yield from (polygon.exterior, *polygon.interiors)


def main(wanted=""):
    print(f"bounds: 99 % below {REACH_PX} px, {SHARE:.0%} of the border found within 1 mm")
    print(f"{'':34} {'rms px':>7} {'99 %':>7} {'worst':>7} {'found':>7} {'ms':>6}")
    passed = rows = 0
    composed = ((name, *compose(Scene(**what))) for name, what in SCENES.items() if wanted in name)
    for source in (composed, (view for view in photo_views() if wanted in view[0])):
        for view in source:
            line, good = row(*view)
            print(line, flush=True)
            passed, rows = passed + good, rows + 1
    print(f"{passed} of {rows} rows pass")


if __name__ == "__main__":
    cv2.setNumThreads(1)
    main(*sys.argv[1:2])
