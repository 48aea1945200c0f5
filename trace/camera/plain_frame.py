"""The plain frame: the edges of its opening, to a few tenths of a pixel, for the camera solution.

A sheet or a card of known size next to the part is measured in the same way; there the rectangle
itself is what is raised.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.errors import PhotoError
from snugline.notice import Notice
from snugline.sentence import Sentence, length
from snugline.trace.camera.frame_foot import ground_ends
from snugline.trace.camera.rectangle_search import Rectangle, find_rectangle, view_of_rectangle
from snugline.trace.image.robust_scale import SIGMA_PER_MAD
from snugline.trace.image.step_edge import ACROSS_PX, fit_steps, sample_luminance, step_response
from snugline.trace.sheet.frame_description import PlainFrame

Floats = NDArray[np.float64]

_ROW_STEP_PX = 2.0
_ROWS = 12  # averaged to one point
_END_PX = 14.0  # left out at a side's ends: there two sides' edges blur into one another
_SEARCH_PX = 16.0
_GROUND_PX, _FACE_PX = 16.0, 10.0  # how far a profile reaches to both sides
# What the background's darkening, which is only modelled, leaves over; of the thickness.
# Seen on renders of a frame 0.8 mm thick: 0.01 to 0.05 mm.
_FOOT_SHARE = 0.06
_SIGMA_FLOOR_PX = 0.05
# The side and the shadow of a frame thicker than paper hide the halo, and a blur without its halo
# is misleading: on 14 made scenes (seed 9201) two edges moved by 0.6 and 0.8 mm. So both are set.
_FLAT_PX, _USUAL_RESPONSE = 1.5, (1.0, 0.05)
_SIDES = ("front", "right", "back", "left")
_DOUBTFUL_MM = 0.1
_DOUBTFUL_MISFIT = 0.012  # of the proportions; a right rectangle on renders has 0.002 or less
_FOCAL_GUESS = 0.75  # long sides of the picture
# An outer edge in sight over this share means a frame, else a sheet or card.
_OUTER_SEEN = 0.3
_COVERED = 0.1  # a side in sight over less than this share is remarked on
# A row's step has this share of the typical contrast, or is another edge.
_LEAST_CONTRAST = 0.4
# Rows more than this many steps apart have a gap between them; more rows than one group can have.
_GAP_STEPS, _GROUP = 1.5, 10**6
# Points more than this many standard deviations, and this many px, off the curve are outliers.
_OUTLIER, _OUTLIER_PX = 3.5, 0.2
# Tukey's weights for the curve: rounds, limit in standard deviations, and at least in px.
_ROUNDS, _TUKEY, _TUKEY_PX = 6, 4, 0.3


@dataclass(frozen=True)
class PlainEdges:
    """Points on the edges of a plain frame's opening.

    Attributes
    ----------
    points : (N, 2) px of the displayed photo.
    side : (N,) 0 front (y = 0), 1 right (x = w), 2 back (y = h), 3 left (x = 0) of the opening.
    height : (N,) mm; 0 where the edge of the upper face is seen, minus the thickness where the
        camera sees the side and the point lies on its bottom edge.
    sigma : (N,) px across the edge, each point's own.
    common_sigma : (4,) px, what all points of a side share.
    outward : (N, 2) unit, across the edge, out of the rectangle.
    corners : (4, 2) px, the rectangle's corners (0, 0), (w, 0), (w, h), (0, h), to a pixel or two.
    blur_px, halo : standard deviation of the blur at its edges, and by what share of the step
        sharpening overshoots there; usual values for a thick frame.
    notices : what lowers trust.
    """

    points: Floats
    side: NDArray[np.int64]
    height: Floats
    sigma: Floats
    common_sigma: Floats
    outward: Floats
    corners: Floats
    blur_px: float
    halo: float
    notices: tuple[Notice, ...]


def find_plain_frame(
    rgb: NDArray[np.uint8], frame: PlainFrame, focal_px: float | None = None, where: str = "photo"
) -> PlainEdges:
    """Find a plain frame, or a sheet or card of known size, and measure its edges.

    Three sides must be in sight, and both ends of the fourth. With no outer edge `frame.border`
    outside, the rectangle is treated as a sheet or card, raised over the background by `thickness`.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 as displayed.
    focal_px : focal length in px, from EXIF or a camera known before.
    where : the photo's name, for errors and notices.

    Raises
    ------
    PhotoError : the rectangle is not in sight, or one of its sides cannot be measured.
    """
    size = frame.opening * np.array(frame.scale)
    found = find_rectangle(rgb, size, frame.border, focal_px, where)
    focal = focal_px or _FOCAL_GUESS * max(rgb.shape[:2])
    raised_outside = found.outer_seen > _OUTER_SEEN
    centre, px_per_mm = _first_pose(found, size, focal, rgb.shape)

    points, side, height, sigma, outward = [], [], [], [], []
    doubts, responses = np.zeros(4), np.zeros((4, 2))
    for i in range(4):
        # mm from the side to below the camera, positive on the background's side of the edge.
        inside = (centre[1], size[0] - centre[0], size[1] - centre[1], centre[0])[i]
        reach = (inside if raised_outside else -inside) / centre[2] * frame.thickness
        foot = -reach * px_per_mm[i]  # px from the face's edge to the bottom edge, across the edge
        measured = _measured_side(
            rgb, found, i, raised_outside, foot, frame.thickness * px_per_mm[i]
        )
        if measured is None:
            raise PhotoError(
                f"the {_SIDES[i]} side of the plain frame shows no clear edge",
                where,
                "light the frame evenly, on a background that is clearly lighter or darker",
            )
        places, own_sigma, normal, doubts[i], responses[i] = measured
        points.append(places)
        sigma.append(own_sigma)
        outward.append(normal if raised_outside else -normal)
        side.append(np.full(len(places), i))
        height.append(np.full(len(places), -frame.thickness if foot < 0 else 0.0))
    blur_px, halo = np.median(responses, axis=0).tolist()
    if frame.thickness * px_per_mm.max() > _FLAT_PX:
        blur_px, halo = _USUAL_RESPONSE
    return PlainEdges(
        np.concatenate(points),
        np.concatenate(side),
        np.concatenate(height),
        np.concatenate(sigma),
        np.hypot(_FOOT_SHARE * frame.thickness * px_per_mm, doubts),
        np.concatenate(outward),
        found.corners,
        blur_px,
        halo,
        _notices(found, doubts / px_per_mm, where),
    )


def _notices(found: Rectangle, doubts_mm: Floats, where: str) -> tuple[Notice, ...]:
    share = found.share_seen
    hidden = int(np.argmin(share))
    notices = [
        Notice(
            "plain-frame",
            "A plain frame has no markers, so the accuracy of the photo cannot be checked.",
            "Print a marker frame where every tenth of a millimetre counts.",
            "usable",
            where,
        )
    ]
    if doubts_mm.max() > _DOUBTFUL_MM:
        name = _SIDES[int(np.argmax(doubts_mm))]
        notices.append(
            Notice(
                "plain-frame-shadow",
                Sentence(
                    f"A shadow at the bottom edge of the frame's {name} side hides that edge: it "
                    f"may be {{}} off.",
                    length(doubts_mm.max(), 1),
                ),
                "Light the frame from all sides, or move the lamp.",
                "usable",
                where,
            )
        )
    if found.misfit > _DOUBTFUL_MISFIT:
        notices.append(
            Notice(
                "plain-frame-proportions",
                f"The rectangle found differs from the frame's proportions by "
                f"{found.misfit * 100:.1f} %.",
                "Check the frame's stated opening, and show all of the frame.",
                "retake",
                where,
            )
        )
    if share[hidden] < _COVERED:
        name = _SIDES[hidden]
        notices.append(
            Notice(
                "plain-frame-covered",
                f"Only {share[hidden] * 100:.0f} % of the frame's {name} side is in sight.",
                "Move the part so that more of this side is visible near both of its ends.",
                "usable",
                where,
            )
        )
    return tuple(notices)


def _first_pose(
    found: Rectangle, size: Floats, focal: float, shape: tuple[int, ...]
) -> tuple[Floats, Floats]:
    """The camera's position in mm, good to a few percent, and px per mm across each side."""
    middle = np.array([shape[1] - 1, shape[0] - 1]) / 2
    matrix = view_of_rectangle(found.corners - middle, size) / np.array([[focal], [focal], [1]])
    matrix *= np.sign(matrix[2, 2]) * 2 / np.linalg.norm(matrix[:, :2], axis=0).sum()
    x, y, place = matrix.T
    u, _, vt = np.linalg.svd(np.column_stack([x, y, np.cross(x, y)]))
    centre: Floats = -(u @ vt).T @ place
    # Across a side, 1 mm inwards from its middle.
    w, h = size
    sides = np.array([[w / 2, 0], [w, h / 2], [w / 2, h], [0, h / 2]])
    inwards = np.array([[0, 1], [-1, 0], [0, -1], [1, 0]])
    seen = [np.column_stack([p, np.ones(4)]) @ matrix.T for p in (sides, sides + inwards)]
    a, b = (focal * p[:, :2] / p[:, 2:] for p in seen)
    return centre, np.linalg.norm(b - a, axis=1)


def _measured_side(
    rgb: NDArray[np.uint8],
    found: Rectangle,
    side: int,
    raised_outside: bool,
    foot: float,
    rise: float,
) -> tuple[Floats, Floats, Floats, float, tuple[float, float]] | None:
    """(N, 2) px, (N,) sigma, (N, 2) direction from background to frame, shared sigma, blur and
    halo; or None.
    """
    start, end = found.corners[side], found.corners[(side + 1) % 4]
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length
    # Counter-clockwise as seen, with y down: this points out of the rectangle.
    normal = np.array([-along[1], along[0]]) * (1 if raised_outside else -1)
    rows = np.arange(_END_PX, length - _END_PX, _ROW_STEP_PX)
    spans = found.seen[side] * length
    shown = ((rows[:, None] > spans[:, 0] + 4) & (rows[:, None] < spans[:, 1] - 4)).any(axis=1)
    rows = rows[shown]
    if len(rows) < 2 * _ROWS:
        return None

    # First a single step in each row, and a smooth curve through them: the lens bends the line.
    across = np.arange(-_SEARCH_PX, _SEARCH_PX + 0.5)
    base = start + rows[:, None] * along
    steps = fit_steps(_profiles(rgb, base, normal, across), across)
    rising = found.dark_outside != raised_outside  # the raised side is the brighter one
    contrast = (steps.high - steps.low) * (1 if rising else -1)
    kept = steps.good & (contrast > _LEAST_CONTRAST * np.median(contrast))
    curve = _smooth(rows / length, steps.position, kept)
    if curve is None:
        return None
    offset = np.polyval(curve, rows / length)
    kept &= np.abs(steps.position - offset) < 2.0

    # Then the mean profiles of some rows each, aligned by the curve, against the whole model.
    across = np.arange(-_GROUND_PX, _FACE_PX + max(-foot, 0.0) + 0.5)
    profiles = _profiles(rgb, base + offset[:, None] * normal, normal, across)
    kept &= np.isfinite(profiles).all(axis=1)
    if kept.sum() < 2 * _ROWS:
        return None
    mean, place, count = _mean_profiles(rows[kept], profiles[kept], _group_of(rows)[kept])
    ends = ground_ends(mean, across, foot, rise)
    offset = np.polyval(curve, place / length) + ends.place
    good = (count >= _ROWS // 2) & np.isfinite(ends.place)
    curve = _smooth(place / length, offset, good)
    if curve is None:
        return None
    residual = offset - np.polyval(curve, place / length)
    spread = SIGMA_PER_MAD * np.median(np.abs(residual[good]))
    good &= np.abs(residual) < max(_OUTLIER * spread, _OUTLIER_PX)
    if good.sum() < 3:
        return None
    points: Floats = start + place[:, None] * along + offset[:, None] * normal
    # Grain and dust make points differ by more than their own profiles suggest.
    sigma = np.maximum(np.maximum(ends.sigma, spread), _SIGMA_FLOOR_PX)
    points, sigma, normals = points[good], sigma[good], np.tile(normal, (int(good.sum()), 1))
    response = step_response(_profiles(rgb, points, normal, ACROSS_PX if rising else -ACROSS_PX))
    return points, sigma, normals, ends.doubt, response


def _group_of(rows: Floats) -> NDArray[np.int64]:
    """(N,) which rows are averaged: `_ROWS` neighbours each, none across a gap."""
    group = np.cumsum(np.diff(rows, prepend=rows[0]) > _GAP_STEPS * _ROW_STEP_PX) * _GROUP
    return np.asarray(group + np.arange(len(rows)) // _ROWS)


def _mean_profiles(
    rows: Floats, profiles: Floats, group: NDArray[np.int64]
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """(B, T) mean of each group's profiles, its step scaled to 1; (B,) its place and its rows."""
    bins, member = np.unique(group, return_inverse=True)
    count = np.bincount(member)
    mean = np.zeros((len(bins), profiles.shape[1]))
    np.add.at(mean, member, profiles)
    mean /= count[:, None]
    mean /= np.abs(mean[:, :3].mean(axis=1) - mean[:, -3:].mean(axis=1))[:, None]
    return mean, np.bincount(member, rows) / count, count


def _profiles(rgb: NDArray[np.uint8], base: Floats, normal: Floats, across: Floats) -> Floats:
    """(N, T) linear light at places (T,) across the edge, from N points along it."""
    places = base[:, None, :] + across[None, :, None] * normal
    return np.asarray(sample_luminance(rgb, places[..., 0], places[..., 1]), dtype=np.float64)


def _smooth(share: Floats, position: Floats, kept: NDArray[np.bool_]) -> Floats | None:
    """A parabola through most of the points; Tukey's weights against the rest."""
    if kept.sum() < 3:
        return None
    x, y = share[kept], position[kept]
    curve = np.array([0.0, 0.0, np.median(y)])
    for _ in range(_ROUNDS):
        residual = np.abs(y - np.polyval(curve, x))
        limit = max(_TUKEY * SIGMA_PER_MAD * float(np.median(residual)), _TUKEY_PX)
        weight = np.clip(1 - (residual / limit) ** 2, 0, None)
        if np.count_nonzero(weight) < 3:
            return None
        curve = np.polyfit(x, y, 2, w=np.sqrt(weight))
    return curve
