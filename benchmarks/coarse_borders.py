"""The coarse border on random scenes that nothing was chosen on, and on what may fool it.

Run as `python benchmarks/coarse_borders.py [N] [SEED] [--kind KIND] [--first NUMBER]`; without a
kind N scenes of `unseen_scenes.py`, else N of that trap. One row a scene: distance in mm of the
border from the true silhouette (rms, 99 %, worst; inside the window, 3 mm or more from its border),
the worst of the true one from what was found, both together as `off`, and whether that is below
1.5 mm. Rendered at half a phone's size, as the coarse step halves it anyway; camera and thickness
as they truly are. Pictures are kept in the temporary directory.
"""

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from light_render import Lamp, Material, render
from scipy.spatial import cKDTree
from sensor import developed
from shapely import LineString, Polygon, contains_xy, points, unary_union
from unseen_photos import MADE_BY
from unseen_scenes import drawn

from snugline.errors import PhotoError
from snugline.trace.image.linear_light import linear_table
from snugline.trace.part.part_search import SheetView, find_part
from snugline.trace.photo_view import _seen_window

HALF = 2  # the photo's pixels in one that is rendered, and rendered ones in a reduced one
STEP = 4  # the photo's pixels in one of the reduced picture
LIMIT_MM, MARGIN_MM = 1.5, 3.0
TRAPS = (
    "mirrored lamp",
    "white on white",
    "printed",
    "perforated",
    "two sides",
    "cloth",
    "shadow on pale wood",
)


@dataclass(frozen=True)
class Perforated:
    """An outline with round holes on a grid: where it begins, which of its places have one."""

    outline: object
    start: tuple
    pitch: float
    radius: float
    there: np.ndarray

    @property
    def holes(self):
        return np.array(self.start) + self.pitch * np.argwhere(self.there)

    def ring(self):
        return self.outline.ring()

    def distance(self, x, y):
        ends = np.array(self.there.shape) - 1
        i, j = (
            np.clip(np.rint((v - start) / self.pitch), 0, end).astype(np.intp)
            for v, start, end in zip((x, y), self.start, ends, strict=True)
        )
        away = np.hypot(x - self.start[0] - i * self.pitch, y - self.start[1] - j * self.pitch)
        hole = np.where(self.there[i, j], self.radius - away, -np.inf).astype(x.dtype)
        return np.maximum(self.outline.distance(x, y), hole)


def trap(kind, seed, number):
    """A scene of a kind, otherwise at random."""
    number = 10 * number + (0, 1, 2, 3, 5, 6, 7, 8, 9)[number % 9]  # all kinds but the dark window
    attempt = 0
    while (found := drawn(seed + 7919 * attempt, number)).view != "corner" and kind == "two sides":
        attempt += 1
    rng = np.random.default_rng([seed, number, 5])
    scene = found.scene
    solid, camera = scene.solid, scene.camera
    if kind == "mirrored lamp":
        dark = Material(
            tuple(rng.uniform(0.02, 0.08, 3)), "plain", 0, 0.045, rng.uniform(0.01, 0.08)
        )
        ring = solid.ring()
        low, high = scene.sheet.frame.window.min(axis=0), scene.sheet.frame.window.max(axis=0)
        inside = ring[np.all((ring > low + 5) & (ring < high - 5), axis=1)]
        at = inside[rng.integers(len(inside))] + rng.normal(0, 4, 2)
        height = rng.uniform(450, 1300)
        away = (at - camera.centre[:2]) * height / (camera.centre[2] - solid.thickness)
        lamp = Lamp((*(at + away), height), rng.uniform(20, 120), rng.uniform(0.4, 0.7))
        scene = replace(scene, material=dark, lamps=(lamp,), room=1 - lamp.share)
    if kind == "white on white":
        level = rng.uniform(0.78, 0.87)
        pale = tuple(level * (1 + rng.normal(0, 0.008, 3)))
        scene = replace(scene, material=Material(pale, "plain", 0, 0.03, 0.4))
    if kind == "printed":
        tone = tuple(rng.uniform(0.2, 0.45) * (1 + rng.normal(0, 0.15, 3)))
        scene = replace(scene, material=Material(tone, "print", rng.uniform(0.5, 0.9), 0.03, 0.35))
    if kind == "perforated":
        radius, pitch = rng.uniform(2.5, 7), rng.uniform(18, 30)
        ring = Polygon(solid.outline.ring()).buffer(-radius - 5)
        start = tuple(rng.uniform(-300, -300 + pitch, 2).tolist())
        x, y = (np.arange(a, 300, pitch) for a in start)
        there = contains_xy(ring, *(v.ravel() for v in np.meshgrid(x, y, indexing="ij")))
        holed = Perforated(solid.outline, start, pitch, radius, there.reshape(len(x), len(y)))
        solid = replace(solid, outline=holed, edge="none", edge_size=0.0)
        solid = replace(solid, draft=0.0)
        scene = replace(scene, solid=solid)
    if kind == "shadow on pale wood":
        wood = tuple(rng.uniform(0.9, 1.1) * np.array([0.70, 0.56, 0.40]))
        lamp = _lamp(rng, scene.middle)
        scene = replace(
            scene,
            material=Material(wood, "grain", 0.06, 0.03, 0.4),
            lamps=(lamp,),
            room=1 - lamp.share,
            solid=replace(solid, thickness=float(rng.uniform(8, 20))),
        )
    return replace(found, scene=scene, kind=kind)


def _lamp(rng, middle):
    up, azimuth = np.radians(rng.uniform(35, 65)), rng.uniform(0, 2 * np.pi)
    ahead = np.array([np.cos(azimuth) * np.cos(up), np.sin(azimuth) * np.cos(up), np.sin(up)])
    return Lamp(tuple(middle + rng.uniform(700, 1400) * ahead), rng.uniform(15, 60), 0.7)


def picture_of(found, seed):
    """(h, w, 3) uint8 of a scene at half size, rendered unless it was before; and its camera."""
    lens = found.scene.camera.lens
    size = tuple(n // HALF for n in lens.size)
    centre = tuple((c + 0.5) / HALF - 0.5 for c in lens.centre)
    lens = replace(lens, focal=lens.focal / HALF, centre=centre, size=size)
    scene = replace(found.scene, camera=replace(found.scene.camera, lens=lens))
    folder = Path(tempfile.gettempdir()) / "snugline-coarse-borders" / MADE_BY
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{found.kind.replace(' ', '-')}-{seed}-{found.number}.png"
    if not path.exists():
        light = render(scene)
        if found.kind == "cloth":
            light = _with_cloth(light, scene, np.random.default_rng([seed, found.number, 6]))
        sensor = replace(
            found.sensor, blur=found.sensor.blur / HALF, radius=found.sensor.radius / HALF
        )
        cv2.imwrite(str(path), developed(light, sensor, scene.seed)[..., ::-1])
    return cv2.imread(str(path))[..., ::-1], scene.camera


def _cloth(scene, rng):
    """(N, 2) mm: a crumpled border that comes in from beyond the markers, clear of the part."""
    frame = scene.sheet.frame
    low, high = frame.window.min(axis=0), frame.window.max(axis=0)
    part = Polygon(scene.solid.ring()).buffer(8)
    for _ in range(200):
        angle = rng.uniform(0, 2 * np.pi)
        way = np.array([np.cos(angle), np.sin(angle)])
        middle = (low + high) / 2 + 0.5 * (high - low + 70) * way * rng.uniform(1.0, 1.3)
        turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
        size = rng.uniform(25, 70) * (
            1 + sum(rng.normal(0, 0.07) * np.cos(k * turn + rng.uniform(0, 6)) for k in range(2, 9))
        )
        ring = middle + size[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
        if not Polygon(ring).buffer(0).intersects(part):
            return ring
    return ring


def _with_cloth(light, scene, rng):
    ring = _cloth(scene, rng)
    mask = np.zeros(light.shape[:2], np.float32)
    cv2.fillPoly(mask, [np.round(scene.camera.pixels(ring) * 16).astype(np.int32)], 1.0, shift=4)
    shadow = cv2.GaussianBlur(np.roll(mask, (9, -6), (0, 1)), (0, 0), 6)
    light = light * (1 - 0.4 * shadow[..., None])
    folds = rng.normal(size=(40, 60)).astype(np.float32)
    folds = cv2.resize(folds, light.shape[1::-1], interpolation=cv2.INTER_CUBIC)
    colour = rng.uniform(0.05, 0.7) * (1 + rng.normal(0, 0.25, 3))
    cloth = np.clip(colour, 0.02, 0.9) * np.exp(0.25 * folds)[..., None]
    return (light * (1 - mask[..., None]) + mask[..., None] * cloth).astype(np.float32)


def seen(found, seed):
    """The reduced picture, what `find_part` is given with it, and the silhouette in its pixels."""
    rgb, camera = picture_of(found, seed)
    step = STEP // HALF
    size = tuple(n // step for n in rgb.shape[1::-1])
    light = linear_table()[np.ascontiguousarray(rgb)]
    picture = cv2.resize(light, size, interpolation=cv2.INTER_AREA)

    def reduced(places):
        return (camera.pixels(np.asarray(places, float)) - (step - 1) / 2) / step

    solid, frame = found.scene.solid, found.scene.sheet.frame
    scale = np.array(found.scene.sheet.scale)
    outline, holes, radius = solid.outline, (), 0.0
    if isinstance(outline, Perforated):
        outline, holes, radius = outline.outline, outline.holes, outline.radius
    foot = Polygon(outline.ring())
    rings = []
    for z in (0.0, *solid.levels[::-1][1:].tolist()):
        inner = np.asarray(foot.buffer(-float(solid.inset(np.float32(z)))).exterior.coords)[:-1]
        c, s = np.cos(solid.turn), np.sin(solid.turn)
        rings.append((_even(inner @ np.array([[c, s], [-s, c]]) + np.array(solid.origin)), z))
    placed = [reduced(np.column_stack([ring, np.full(len(ring), z)])) for ring, z in rings]
    solids = [Polygon(ring).buffer(0) for ring in placed]
    for a, b in pairwise(placed):
        sides = np.stack([a, np.roll(a, -1, 0), np.roll(b, -1, 0), b], axis=1)
        solids.extend(side.buffer(0.01) for side in map(Polygon, sides) if side.is_valid)
    silhouette = unary_union(solids)
    c, s = np.cos(solid.turn), np.sin(solid.turn)
    around = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    for middle in holes:
        at = middle + radius * np.column_stack([np.cos(around), np.sin(around)])
        at = at @ np.array([[c, s], [-s, c]]) + np.array(solid.origin)
        ends = [Polygon(reduced(np.column_stack([at, np.full(len(at), z)])))
                for z in (0.0, solid.thickness)]  # fmt: skip
        silhouette = silhouette.difference(ends[0].intersection(ends[1]))
    corners = (frame.corners * scale).reshape(-1, 2)
    quads = reduced(corners).reshape(-1, 4, 2)
    covers = silhouette.buffer(0.5)
    if found.kind == "cloth":
        ring = _cloth(found.scene, np.random.default_rng([seed, found.number, 6]))
        covers = covers.union(Polygon(reduced(ring)).buffer(0.5))
    shown = np.all((quads > 2) & (quads < np.array(size) - 3), axis=(1, 2))
    visible = shown & np.array([not Polygon(q).intersects(covers) for q in quads])
    window = frame.window * scale
    if not frame.window_dark:
        window = _seen_window(window, camera, solid.thickness)
    view = SheetView(
        window=window,
        pixel_from_sheet=reduced,
        sheet_from_pixel=lambda p: camera.on_plane(np.asarray(p, float) * step + (step - 1) / 2),
        markers=quads,
        found=visible,
        window_dark=frame.window_dark,
        camera=camera.centre,
        thickness=solid.thickness,
    )
    return picture, view, silhouette, Polygon(frame.window * scale)


def _even(ring, count=720):
    closed = np.vstack([ring, ring[:1]])
    run = np.r_[0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    at = np.linspace(0, run[-1], count, endpoint=False)
    # From a corner that all levels share: that farthest in one direction.
    ring = np.column_stack([np.interp(at, run, closed[:, k]) for k in (0, 1)])
    return np.roll(ring, -int(np.argmax(ring @ [1.0, 0.137])), axis=0)


def off(result, view, silhouette, window):
    """mm: distances of what was found from the true border, and of that from what was found.

    Of the largest piece, as it is the one that is measured.
    """
    inner = window.buffer(-MARGIN_MM, join_style="mitre")
    edges = [*result[0].outer, *result[0].holes]
    found = np.concatenate([e.points for e in edges]) if edges else np.empty((0, 2))
    found = found[contains_xy(inner, *view.sheet_from_pixel(found).T)] if len(found) else found
    rings = [
        LineString(ring.coords).segmentize(0.5)
        for polygon in getattr(silhouette, "geoms", [silhouette])
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    true = np.concatenate([np.asarray(ring.coords) for ring in rings])
    true = true[contains_xy(inner, *view.sheet_from_pixel(true).T)]
    arm = view.pixel_from_sheet(view.window.mean(axis=0) + np.array([[-5, 0], [5, 0]]))
    mm = 10 / np.linalg.norm(arm[1] - arm[0])
    if not len(found):
        return np.full(1, np.inf), np.full(1, np.inf)
    return mm * silhouette.boundary.distance(points(found)), mm * cKDTree(found).query(true)[0]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("n", type=int, nargs="?", default=20)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--kind", default="")
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--render", action="store_true", help="only render")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    good, worsts = 0, []
    for number in range(options.first, options.first + options.n):
        found = (
            trap(options.kind, options.seed, number)
            if options.kind
            else drawn(options.seed, number)
        )
        if options.render:
            picture_of(found, options.seed)
            continue
        picture, view, silhouette, window = seen(found, options.seed)
        start = time.process_time()
        try:
            result = find_part(picture, view)
        except PhotoError as error:
            print(f"{number:4} {found.kind:20} {error.what}", flush=True)
            worsts.append(np.inf)
            continue
        spent = time.process_time() - start
        away, missed = off(result, view, silhouette, window)
        worst = max(away.max(), np.quantile(missed, 0.995))
        worsts.append(worst)
        good += worst < LIMIT_MM
        print(
            f"{number:4} {found.kind:20} {np.sqrt(np.mean(away**2)):6.2f}"
            f" {np.quantile(away, 0.99):6.2f} {away.max():6.2f} {missed.max():6.2f}"
            f" {'' if worst < LIMIT_MM else 'OFF':4} {1e3 * spent:5.0f} ms"
            f" {found.light}, {found.view}",
            flush=True,
        )
    if worsts:
        print(f"{options.kind or 'all kinds'}: {good} of {len(worsts)} within {LIMIT_MM} mm; "
              f"median of the worst {np.median(worsts):.2f} mm")  # fmt: skip


if __name__ == "__main__":
    main()
