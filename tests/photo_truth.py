"""What is known of the rendered photos beside the repository, and how far a contour is from it.

Shared by the tests and by `benchmarks/photos.py`. The rendered pictures' README has the format.
"""

import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from shapely import MultiPolygon, Polygon, contains_xy, get_coordinates, points
from shapely.ops import unary_union

from snugline.fit.readings.reading import Reading, uncertainty
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.sheet.frame_description import PlainFrame, read_frame, with_print_scale

PHOTOS = Path(__file__).parents[1] / ".." / "shared" / "photos"
# Nearer to the window's border than this the contour need not go.
MARGIN_MM = 3.0
# A true place counts as seen with a point this near; a point farther off is where no part is.
NEAR_MM = 1.0


@dataclass(frozen=True)
class Case:
    """A folder of photos with exact truth."""

    folder: Path

    @property
    def name(self):
        return self.folder.name

    @cached_property
    def truth(self):
        return json.loads((self.folder / "truth.json").read_text())

    @cached_property
    def readings(self):
        records = json.loads((self.folder / "readings.json").read_text())["readings"]
        return {record["what"]: record for record in records}

    @property
    def photos(self):
        return [self.folder / photo["file"] for photo in self.truth["photos"]]

    @property
    def has_part(self):
        return "part_outline" in self.truth

    @property
    def frame_files(self):
        return sorted(self.folder.glob("frame-?.json")) or [self.folder / "frame.json"]

    def sides(self, measured=False):
        """The part's sides: exactly, or with the thickness as the caliper read it."""
        edge = self.truth["edge"]
        reading = self.readings["thickness"]
        return PartSides(
            thickness=reading["value"] if measured else self.truth["thickness"],
            thickness_u=reading_u(reading) if measured else 0.001,
            edge=edge["kind"],
            edge_size=edge["size"],
            draft=float(np.radians(self.truth["draft_deg"])),
        )

    def frames(self, measured=False):
        """The frames with their print scale: exactly, or with the bars as the caliper read them."""
        frames = []
        for number, file in enumerate(self.frame_files):
            frame = read_frame(file)
            if measured:
                x, y = (self._bar(frame, axis, number) for axis in "xy")
                bar_u = max(reading_u(x), reading_u(y))
                frames.append(with_print_scale(frame, x["value"], y["value"], bar_u))
                continue
            sheets = self.truth.get("sheets")
            scale = (sheets[number] if sheets else self.truth)["print_scale"]
            if isinstance(frame, PlainFrame):
                x, y = frame.opening
            else:
                x, y = frame.bars["x"].nominal, frame.bars["y"].nominal
            frames.append(with_print_scale(frame, x * scale["x"], y * scale["y"], 0.001))
        return frames

    def _bar(self, frame, axis, number):
        name = "opening" if isinstance(frame, PlainFrame) else "scale bar"
        return self.readings[f"{name} {axis}" + (f", sheet {number + 1}" if number else "")]

    def to_bench(self, number):
        """(2, 2) turn and (2,) move of a sheet on the bench, in true mm."""
        if "sheets" not in self.truth:
            return np.eye(2), np.zeros(2)
        pose = self.truth["sheets"][number]["pose"]
        c, s = np.cos(np.radians(pose["theta_deg"])), np.sin(np.radians(pose["theta_deg"]))
        return np.array([[c, -s], [s, c]]), np.array([pose["x"], pose["y"]])

    def windows(self):
        """The windows of all sheets, true mm on the bench."""
        windows = []
        for number, frame in enumerate(self.frames()):
            turn, move = self.to_bench(number)
            if isinstance(frame, PlainFrame):
                w, h = frame.opening * np.array(frame.scale)
                window = np.array([[0, 0], [w, 0], [w, h], [0, h]])
            else:
                window = frame.true_window
            windows.append(window @ turn.T + move)
        return windows

    def marker_corners(self):
        """{id: (4, 2) true mm on the bench}, as if the paper lay flat."""
        corners = {}
        for number, frame in enumerate(self.frames()):
            if isinstance(frame, PlainFrame):
                continue
            turn, move = self.to_bench(number)
            placed = frame.true_corners @ turn.T + move
            corners |= dict(zip(frame.ids.tolist(), placed, strict=True))
        return corners


def cases(folder=PHOTOS):
    """All cases of a folder."""
    return [Case(path.parent) for path in sorted(Path(folder).glob("*/truth.json"))]


def reading_u(reading):
    """Standard uncertainty in mm of one caliper reading, by the budget of `fit.readings`."""
    value = (reading["value"],)
    return uncertainty(Reading("length", value, "caliper", step_mm=0.01)).u


def true_pixels(photo, places, z=0.0):
    """Pixels, as displayed, of (N, 2) or (N, 3) bench places by the true camera of a photo."""
    camera = photo["camera_displayed"]
    places = np.asarray(places, dtype=np.float64)
    if places.shape[1] == 2:
        places = np.column_stack([places, np.full(len(places), z)])
    seen = places @ np.array(camera["R"]).T + np.array(camera["t"])
    x, y = seen[:, 0] / seen[:, 2], seen[:, 1] / seen[:, 2]
    r2 = x * x + y * y
    terms = camera.get("radial_polynomial") or camera["dist_k1_k2_p1_p2_k3"][:2]
    stretch = 1 + sum(k * r2 ** (n + 1) for n, k in enumerate(terms))
    (fx, _, cx), (_, fy, cy), _ = camera["K"]
    return np.column_stack([fx * x * stretch + cx, fy * y * stretch + cy])


def distortion_error(case, lens, numbers):
    """Rms px between a lens and the one that rendered a case, where markers of photos were seen.

    What turning the camera or coming nearer makes good is no distortion: a shift and a scale.
    """
    from snugline.trace.camera.lens import Lens

    truth = case.truth["lens"]
    radial = tuple(truth["radial_polynomial"])
    true = Lens(truth["f"], (truth["cx"], truth["cy"]), radial, tuple(truth["size"]))
    corners = case.marker_corners()
    reach = 0.0
    for photo in (case.truth["photos"][n - 1] for n in numbers):
        seen = true_pixels(photo, np.concatenate([corners[i] for i in photo["markers"]["visible"]]))
        centre = np.array(photo["camera_displayed"]["K"])[:2, 2]
        reach = max(reach, float(np.linalg.norm(seen - centre, axis=1).max()))
    grid = np.stack(np.meshgrid(np.linspace(0, 3999, 60), np.linspace(0, 2999, 45)), -1)
    grid = grid.reshape(-1, 2)
    grid = grid[np.linalg.norm(grid - true.centre, axis=1) < reach]
    off = (lens.pixels(true.directions(grid)) - grid).ravel()
    design = np.zeros((len(grid), 2, 3))
    design[:, 0, 0] = design[:, 1, 1] = 1
    design[:, :, 2] = grid - grid.mean(axis=0)
    design = design.reshape(-1, 3)
    left = off - design @ np.linalg.lstsq(design, off, rcond=None)[0]
    return float(np.sqrt(2 * np.mean(left**2)))


@dataclass(frozen=True)
class Score:
    """How far a photo's contour is from the truth.

    Attributes
    ----------
    rms, p99, worst : mm, distance of the points from the true plan outline.
    seen : share of the true outline in the window with a point near it.
    on_marker, astray : points on a printed marker, and points where the part's edge is not.
    pull : rms of distance over stated sigma.
    bias : mm, mean signed distance, outwards positive.
    """

    rms: float
    p99: float
    worst: float
    seen: float
    on_marker: int
    astray: int
    pull: float
    bias: float


def score(case, photo, curves, windows=None):
    """Score curves against the truth of one photo (its record in truth.json).

    `windows` are polygons in which the true outline counts as visible; None for all of it.
    """
    area = Polygon(photo["bottom_outline"], photo.get("holes", ()))
    ring = area.boundary
    found = np.concatenate([curve.points for curve in curves])
    sigma = np.concatenate([curve.sigma for curve in curves])
    at = points(found)
    off = ring.distance(at)
    outside = ~contains_xy(area, found[:, 0], found[:, 1])
    near = off < NEAR_MM
    markers = MultiPolygon([Polygon(c) for c in case.marker_corners().values()])
    on_marker = contains_xy(markers, found[:, 0], found[:, 1]) & ~near
    return Score(
        rms=float(np.sqrt(np.mean(off**2))),
        p99=float(np.quantile(off, 0.99)),
        worst=float(off.max()),
        seen=share_seen(ring, found, windows),
        on_marker=int(on_marker.sum()),
        astray=int((~near).sum()),
        pull=float(np.sqrt(np.mean((off[near] / sigma[near]) ** 2))) if near.any() else np.nan,
        bias=float(np.mean(np.where(outside, off, -off)[near])) if near.any() else np.nan,
    )


def share_seen(ring, found, windows=None):
    """Share of the true outline, in the windows but for their rim, with a point within 1 mm."""
    from scipy.spatial import cKDTree

    true = get_coordinates(ring.segmentize(0.2))
    if windows is not None:
        area = unary_union([Polygon(w).buffer(-MARGIN_MM, join_style="mitre") for w in windows])
        true = true[contains_xy(area, true[:, 0], true[:, 1])]
    # Points stand 0.2 mm apart: the polyline through them is near where a point is.
    distance, _ = cKDTree(found).query(true)
    return float(np.mean(distance < NEAR_MM)) if len(true) else np.nan


def markers_found(case, photo, quads):
    """(found, whole) markers of those that stand whole in the picture, and how many are false."""
    corners = case.marker_corners()
    bent = photo.get("sheet_bend", {}).get("marker_corners", {})
    corners = {i: np.asarray(bent.get(str(i), c), dtype=np.float64) for i, c in corners.items()}
    ids = list(corners)
    middles = np.array([true_pixels(photo, corners[i]).mean(axis=0) for i in ids])
    places = np.asarray(quads, dtype=np.float64).reshape(-1, 4, 2).mean(axis=1)
    apart = np.linalg.norm(places[:, None] - middles[None], axis=2)
    side = np.linalg.norm(np.diff(true_pixels(photo, corners[ids[0]])[:2], axis=0))
    seen = {ids[k] for k, d in zip(apart.argmin(axis=1), apart.min(axis=1), strict=True)
            if d < side / 3}  # fmt: skip
    whole = set(photo["markers"]["visible"])
    return len(whole & seen), len(whole), len(places) - len(seen)


def is_hard(case, photo):
    """Why a photo counts as hard, or an empty string: the words of the accuracy bounds."""
    reasons = []
    if case.truth.get("material") in ("white", "birch", "maple"):
        reasons.append("pale on white")
    if case.truth.get("material") == "gloss":
        reasons.append("glossy")
    if photo["light"]["kind"] == "lamp":
        reasons.append("hard shadow")
    if photo["camera"]["tilt_deg"] > 27:
        reasons.append("tilt")
    if "sheet_bend" in photo:
        reasons.append("bent sheet")
    return ", ".join(reasons)
