"""Is the photo good enough? Each remark with its figure, its remedy and its region in the photo."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.counting import counted
from snugline.notice import Notice, Severity
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length, number
from snugline.trace.camera.adjusted_cameras import Adjusted
from snugline.trace.camera.camera_solution import UNMEASURED_SCALE_U
from snugline.trace.camera.camera_spread import across_u
from snugline.trace.camera.projection import Camera
from snugline.trace.camera.sighting import Sighting
from snugline.trace.contour import PhotoFacts
from snugline.trace.sheet.frame_description import BAR_DOUBT_MM, AnyFrame, Frame
from snugline.trace.verdict.edge_verdict import judge_edge
from snugline.trace.verdict.followed_piece import EdgeEvidence, region_of

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A steady phone in focus gives 0.6 to 1.4 px (standard deviation, the sample photos); at twice that
# the edge's position is about twice as uncertain, at five times small roundings are lost.
BLUR_PX: tuple[float, float] = (2.2, 5.0)
# Linear light of the paper: at 0.10 its noise has doubled, at 0.03 little but noise is left; at
# 0.97 the brightest pixels are clipped, and a clipped edge shifts to its dark side.
DARK: tuple[float, float] = (0.10, 0.03)
CLIPPED = 0.97
# Clipping beside this share of the markers is the exposure's, not a reflection's.
_CLIPPED_SHARE = 0.7
# A marker's black relative to its white: print gives 0.04 to 0.06; a reflection brightens it.
WASHED_OUT = 0.35
# Up to 25 degrees everything was tried; beyond, heights of paper and part count double.
TILT_DEG: tuple[float, float] = (25.0, 40.0)
# Eight markers leave some over for the hold-out test; six determine pose and focal length.
MARKERS: tuple[int, int] = (8, 6)
# Share of the window between the markers: outside of them the lens is extrapolated.
BETWEEN: tuple[float, float] = (0.7, 0.25)
# Yet nothing is wrong where lens and pose are known to this out there (U95, a third of 0.1 mm).
RIM_MM = 0.033
# An edge is located to one or a few tenths of a pixel: 0.05 mm needs 0.25 mm a pixel.
MM_PER_PX: tuple[float, float] = (0.25, 0.5)
# 0.05 mm is wanted; at three times that a photo cannot decide a clearance.
HOLDOUT_MM: tuple[float, float] = (0.05, 0.15)
# Practically flat paper leaves markers within 0.008 mm of their positions; lifted ones are off by
# ten times that. Neighbours are off together when paper or lens is the cause, else independently.
LIFTED_MM = 0.03
PATTERN_MM = 0.012  # rms shift from which a pattern is looked for
PATTERN = 0.4  # correlation of neighbours' shifts that makes one
_NEIGHBOURS = 3
_WORST = 0.8  # quantile of the markers' offsets from which they are boxed
_BOX_MARGIN_PX = 60.0  # round the middles of markers, so that they are in the box
# Markers against bars:
SCALE_Z = 3.0  # standard deviations
SCALE_OFF = 2e-4  # 0.04 mm over a bar of 200 mm


@dataclass(frozen=True)
class Evidence:
    """What the measurement of one photo has to judge by.

    Attributes
    ----------
    number : which of the adjustment's photos.
    windows : of the sheets seen, the best seen first; (K, 2) mm in the world coordinate system.
    edge : the part's outer edge; None where there is no part.
    """

    facts: PhotoFacts
    sighting: Sighting
    adjusted: Adjusted
    number: int
    frames: tuple[AnyFrame, ...]
    windows: tuple[Floats, ...]
    edge: EdgeEvidence | None

    @property
    def about(self) -> OfPhoto:
        return OfPhoto(self.facts.file)

    @property
    def camera(self) -> Camera:
        return self.adjusted.cameras[self.number]


def judge(evidence: Evidence) -> tuple[Notice, ...]:
    """All remarks on a photo, the worst first."""
    checks = (
        _sharpness,
        _light,
        _tilt,
        _markers,
        _resolution,
        _flatness,
        _bar_readings,
        _print_scale,
        _holdout,
    )
    found = [notice for check in checks for notice in check(evidence)]
    if evidence.edge is not None:
        found += judge_edge(evidence.edge, evidence.facts)
    order: dict[Severity, int] = {"retake": 0, "usable": 1, "fine": 2}
    return tuple(sorted(found, key=lambda notice: order[notice.severity]))


def worst(notices: Iterable[Notice]) -> Severity:
    """The severity of the whole: `fine` where nothing was remarked."""
    seen = {notice.severity for notice in notices}
    return "retake" if "retake" in seen else "usable" if "usable" in seen else "fine"


def _sharpness(e: Evidence) -> Iterator[Notice]:
    if len(e.sighting.light) and e.sighting.blur_px > BLUR_PX[0]:
        yield Notice(
            "not-sharp",
            f"The photo is blurred: edges of markers are {e.sighting.blur_px:.1f} px wide "
            f"(0.6 to 1.4 with a steady phone).",
            "Tap the part to focus, hold the phone still or rest it on something, and add light.",
            "retake" if e.sighting.blur_px > BLUR_PX[1] else "usable",
            e.about,
        )


def _light(e: Evidence) -> Iterator[Notice]:
    light, dark, quads = e.sighting.light, e.sighting.dark, e.sighting.quads
    if not len(light):
        return
    paper = float(np.median(light))
    if paper < DARK[0]:
        yield Notice(
            "too-dark",
            f"The photo is underexposed: the paper is at {paper * 100:.0f} % of full white.",
            "Add light, or raise the camera's exposure.",
            "retake" if paper < DARK[1] else "usable",
            e.about,
        )
    clipped = light > CLIPPED
    if clipped.sum() >= 3:
        yield Notice(
            "overexposed",
            f"The paper is overexposed (clipped to white) beside {clipped.sum()} of {len(light)} "
            f"markers; clipped edges shift towards the dark side.",
            "Lower the camera's exposure, or use less light.",
            "retake" if clipped.mean() > _CLIPPED_SHARE else "usable",
            e.about,
            region_of(quads[clipped].reshape(-1, 2)),
        )
    washed = dark > WASHED_OUT * paper
    if washed.any():
        yield Notice(
            "glare",
            f"Markers washed out by a reflection: {washed.sum()} of {len(light)}.",
            "Move the lamp, or yourself, so that nothing bright is reflected in the sheet.",
            "usable",
            e.about,
            region_of(quads[washed].reshape(-1, 2)),
        )


def _tilt(e: Evidence) -> Iterator[Notice]:
    if e.facts.tilt_deg > TILT_DEG[0]:
        yield Notice(
            "tilted",
            f"The phone was tilted {e.facts.tilt_deg:.0f} degrees from straight down.",
            f"Hold it more level, within {TILT_DEG[0]:.0f} degrees.",
            "retake" if e.facts.tilt_deg > TILT_DEG[1] else "usable",
            e.about,
        )


def _markers(e: Evidence) -> Iterator[Notice]:
    if not all(isinstance(frame, Frame) for frame in e.frames):
        return
    from shapely import MultiPoint, Polygon

    used = inliers(e)
    count = int(used.sum())
    if count < MARKERS[0]:
        yield Notice(
            "few-markers",
            f"Only {counted(count, 'marker')} could be used.",
            "Cover fewer of them, and have the whole frame in the photo.",
            "retake" if count < MARKERS[1] else "usable",
            e.about,
        )
    if not count:
        return
    sheet = e.sighting.sheet
    corners = np.concatenate(
        [
            state.place(e.sighting.design[used & (sheet == s)].reshape(-1, 2))
            for s, state in enumerate(e.adjusted.sheets)
        ]
    )
    window = Polygon(e.windows[0])
    beyond = window.difference(MultiPoint(corners).convex_hull)
    between = 1 - beyond.area / window.area
    if between < BETWEEN[0]:
        # Of several pieces the largest is where markers are missing.
        piece = max(getattr(beyond, "geoms", [beyond]), key=lambda part: float(part.area))
        rim = np.asarray(piece.exterior.coords)
        if between > BETWEEN[1] and 2 * _rim_u(e, rim) < RIM_MM:
            return
        yield Notice(
            "one-sided-markers",
            f"Usable markers enclose only {between * 100:.0f} % of the window.",
            "Take the photo with markers visible on all sides of the part.",
            "retake" if between < BETWEEN[1] else "usable",
            e.about,
            region_of(e.camera.pixels(rim), 0.0),
        )


def _rim_u(e: Evidence, rim: Floats) -> float:
    """Mm, the largest standard uncertainty from lens and pose at places (N, 2) on the sheet."""
    layout = e.adjusted.layout
    where = np.r_[layout.lens(e.number), layout.pose(e.number)]
    covariance, pixels = e.adjusted.covariance[np.ix_(where, where)], e.camera.pixels(rim)
    u = [
        across_u(e.camera, covariance, pixels, 0.0, np.broadcast_to(axis, rim.shape))
        for axis in np.eye(2)
    ]
    return float(np.max(u))


def _resolution(e: Evidence) -> Iterator[Notice]:
    if e.facts.mm_per_px > MM_PER_PX[0]:
        yield Notice(
            "coarse",
            Sentence("A pixel covers {} of the sheet.", length(e.facts.mm_per_px)),
            "Move closer, fill the photo with the frame, or take it at full resolution.",
            "retake" if e.facts.mm_per_px > MM_PER_PX[1] else "usable",
            e.about,
        )


def _holdout(e: Evidence) -> Iterator[Notice]:
    if e.facts.markers_holdout_mm > HOLDOUT_MM[0]:
        yield Notice(
            "holdout-large",
            Sentence(
                "Hold-out error {}: markers kept out of the camera solution are predicted that far "
                "off ({} or less is wanted).",
                length(e.facts.markers_holdout_mm),
                length(HOLDOUT_MM[0]),
            ),
            "Tape the sheet flat and take the photo again. If that does not help, calibrate the "
            "phone (`snugline camera`).",
            "retake" if e.facts.markers_holdout_mm > HOLDOUT_MM[1] else "usable",
            e.about,
        )


@dataclass(frozen=True)
class _Offsets:
    """How far each of M markers was seen from its position: px, (M, 2), and (M,) weight 0 to 1."""

    marker: NDArray[np.int64]
    place: Floats
    off: Floats
    trust: Floats


def _offsets(e: Evidence) -> _Offsets:
    """The edges' residuals of each marker as one shift, by least squares."""
    o, residuals = e.sighting.observations, e.adjusted.residuals[e.number]
    marker, index = np.unique(o.marker, return_inverse=True)
    normal = np.zeros((len(marker), 2, 2))
    right = np.zeros((len(marker), 2))
    place = np.zeros((len(marker), 2))
    np.add.at(normal, index, o.normals[:, :, None] * o.normals[:, None, :])
    np.add.at(right, index, o.normals * residuals[:, None])
    np.add.at(place, index, o.pixels)
    count = np.bincount(index, minlength=len(marker)).astype(np.float64)
    off = np.asarray(np.linalg.solve(normal + 1e-6 * np.eye(2), right[..., None])[..., 0], float)
    trust = np.bincount(index, e.adjusted.weights[e.number], len(marker)) / count
    return _Offsets(marker, np.asarray(place / count[:, None]), off, np.asarray(trust))


def inliers(e: Evidence) -> Mask:
    """(M,) which of the sighted markers the bundle adjustment uses."""
    first = np.cumsum([0] + [len(f.ids) for f in e.frames[:-1] if isinstance(f, Frame)])
    own = first[e.sighting.sheet] + e.sighting.marker
    offsets = _offsets(e)
    return np.asarray(np.isin(own, offsets.marker[offsets.trust > _TRUSTED]))


_TRUSTED = 0.2


def _flatness(e: Evidence) -> Iterator[Notice]:
    """Markers off together: neighbouring outliers, or neighbours shifted the same way."""
    if not all(isinstance(frame, Frame) for frame in e.frames):
        return
    offsets = _offsets(e)
    if len(offsets.marker) < 2 * _NEIGHBOURS:
        return
    mm = e.facts.mm_per_px
    size = np.linalg.norm(offsets.off, axis=1) * mm
    apart = np.linalg.norm(offsets.place[:, None] - offsets.place[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    near = np.argsort(apart, axis=1)[:, :_NEIGHBOURS]
    used = offsets.trust > _TRUSTED
    together = ~used & (~used[near]).any(axis=1)
    if together.sum() >= 3 and np.sqrt(np.mean(size[together] ** 2)) > LIFTED_MM:
        where, far = offsets.place[together], float(size[together].max())
        yield Notice(
            "sheet-not-flat",
            Sentence(
                "{} neighbouring markers are up to {} out of position, as if the paper had lifted; "
                "they were not used.",
                number(together.sum()),
                length(far),
            ),
            "Tape the sheet down flat, especially there.",
            "usable",
            e.about,
            region_of(where, _BOX_MARGIN_PX),
        )
        return
    own = offsets.off * used[:, None]
    square = float(np.mean(np.sum(own[used] ** 2, axis=1))) if used.any() else 0.0
    pairs = used[:, None] & used[near]
    alike = float(np.sum(own[:, None] * own[near], axis=2)[pairs].mean()) if pairs.any() else 0.0
    if np.sqrt(square) * mm > PATTERN_MM and alike > PATTERN * square:
        worst_ones = used & (size >= np.quantile(size[used], _WORST))
        yield Notice(
            "sheet-not-flat",
            Sentence(
                "Neighbouring markers are displaced in the same direction ({} rms): the paper is "
                "not flat, or the lens model does not suit this phone.",
                length(np.sqrt(square) * mm, 3),
            ),
            "Tape the sheet to a flat board. If that does not help, calibrate the phone "
            "(`snugline camera`).",
            "usable",
            e.about,
            region_of(offsets.place[worst_ones], _BOX_MARGIN_PX),
        )


def _bar_readings(e: Evidence) -> Iterator[Notice]:
    """Readings of one printed bar that are farther apart than a hand places a caliper."""
    for frame in e.frames:
        if not isinstance(frame, Frame):
            continue
        for axis, readings in frame.bar_readings.items():
            apart = max(readings) - min(readings)
            if apart > BAR_DOUBT_MM:
                yield Notice(
                    "bar-readings-differ",
                    Sentence(f"The readings of printed bar {axis} are {{}} apart.", length(apart)),
                    "Measure it again, from centre to centre of its end marks.",
                    "usable",
                    f"frame {frame.name}",
                )


def _print_scale(e: Evidence) -> Iterator[Notice]:
    """The markers' own ratio of x to y against the bars as read, or against a perfect print."""
    for s, frame in enumerate(e.frames):
        if not isinstance(frame, Frame):
            continue
        where = e.adjusted.layout.scale(s)
        u = np.array([value if value > 0 else UNMEASURED_SCALE_U for value in frame.scale_u])
        moved = e.adjusted.sheets[s].scale - np.array(frame.scale)
        across = np.array([1.0, -1.0])
        off = float(across @ moved)
        # The shift of an observation has its prior variance less its posterior variance.
        left = across @ e.adjusted.covariance[where, where] @ across
        spread = np.sqrt(max(float(np.sum(u**2) - left), 1e-16))
        if abs(off) < SCALE_OFF or abs(off) < SCALE_Z * spread:
            continue
        ratio, read = frame.scale[0] / frame.scale[1] + off, frame.scale[0] / frame.scale[1]
        unread = not any(frame.scale_u)
        yield Notice(
            "print-scale-off",
            f"The print of {frame.name} is stretched: its x scale is {ratio:.4f} times its y "
            f"scale, judging by the markers; "
            + ("it was assumed to be true." if unread else f"the bar readings give {read:.4f}."),
            "Measure both printed bars with a caliper and enter the readings."
            if unread
            else "Measure both printed bars again, from centre to centre of their end marks.",
            "usable",
            f"frame {frame.name}",
        )
