"""The plain frame: the edges of its opening, to a few tenths of a pixel, for the camera's solution.

At the edge of a frame that lies on a ground three things meet in a few pixels: the ground, darkened
towards the frame's foot; the wall of the opening, where the camera sees it; the frame's face. A
single step fitted to that is off by the wall's width. So the three are fitted together, with the
wall's width known from the frame's thickness and a first pose. The same holds for a sheet or a card
beside the part, only that there the rectangle itself is what is raised.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from snugline.errors import PhotoError
from snugline.notice import Notice
from snugline.trace.edge import fit_steps, sample_luminance
from snugline.trace.frame import PlainFrame
from snugline.trace.rectangle import Rectangle, find_rectangle, view_of_rectangle

Floats = NDArray[np.float64]

_ROW_STEP_PX = 2.0
_ROWS = 12  # averaged to one point
_END_PX = 14.0  # left out at a side's ends: there two sides' edges blur into one another
_SEARCH_PX = 16.0
_GROUND_PX, _FACE_PX = 16.0, 10.0  # how far a profile reaches to both sides
_BLURS = np.geomspace(0.6, 2.4, 10)
_SHIFT_STEP = 0.2
# Shares of the contrast: the noise of a mean profile, and what wall and shading differ by. They
# keep the fit from trading the wall's light for its place.
_NOISE, _WALL, _SHADE = 0.007, 0.12, 0.5
_SHADOWS = (0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0)  # length of a cast shadow, in thicknesses
# What the ground's darkening, which is no more than modelled, leaves over; of the thickness.
# Seen on renders of a frame 0.8 mm thick: 0.01 to 0.05 mm.
_FOOT_SHARE = 0.06
_SIGMA_FLOOR_PX = 0.05
_DOUBTFUL_MISFIT = 0.012  # of the proportions; a right rectangle on renders has 0.002 or less
_FOCAL_GUESS = 0.75  # long sides of the picture


@dataclass(frozen=True)
class PlainEdges:
    """Points on the edges of a plain frame's opening.

    Attributes
    ----------
    points : (N, 2) px of the displayed photo.
    side : (N,) 0 front (y = 0), 1 right (x = w), 2 back (y = h), 3 left (x = 0) of the opening.
    height : (N,) mm; 0 where the edge of the upper face is seen, minus the thickness where the
        camera sees the wall and the point lies at its foot.
    sigma : (N,) px across the edge, each point's own.
    common_sigma : (4,) px, what all points of a side share.
    outward : (N, 2) unit, across the edge, out of the rectangle.
    corners : (4, 2) px, the rectangle's corners (0, 0), (w, 0), (w, h), (0, h), to a pixel or two.
    notices : what lowers trust.
    """

    points: Floats
    side: NDArray[np.int64]
    height: Floats
    sigma: Floats
    common_sigma: Floats
    outward: Floats
    corners: Floats
    notices: tuple[Notice, ...]


def find_plain_frame(
    rgb: NDArray[np.uint8], frame: PlainFrame, focal_px: float | None = None, where: str = "photo"
) -> PlainEdges:
    """Find a plain frame, or a sheet or card of known size, and measure its edges.

    Three sides must be in sight, and both ends of the fourth. With no outer edge `frame.border`
    outside, the rectangle is taken for a sheet or card, raised over the ground by `thickness`.

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
    raised_outside = found.outer_seen > 0.3
    centre, px_per_mm = _first_pose(found, size, focal, rgb.shape)

    points, side, height, sigma, outward = [], [], [], [], []
    for i in range(4):
        # mm from the side to the camera's foot, positive on the ground's side of the edge.
        inside = (centre[1], size[0] - centre[0], size[1] - centre[1], centre[0])[i]
        reach = (inside if raised_outside else -inside) / centre[2] * frame.thickness
        foot = -reach * px_per_mm[i]  # px from the face's edge to the foot, across the edge
        measured = _measured_side(
            rgb, found, i, raised_outside, foot, frame.thickness * px_per_mm[i]
        )
        if measured is None:
            raise PhotoError(
                f"the {('front', 'right', 'back', 'left')[i]} side of the plain frame shows no "
                "clear edge",
                where,
                "light the frame evenly, on a ground that is clearly lighter or darker",
            )
        places, own_sigma, normal = measured
        points.append(places)
        sigma.append(own_sigma)
        outward.append(normal if raised_outside else -normal)
        side.append(np.full(len(places), i))
        height.append(np.full(len(places), -frame.thickness if foot < 0 else 0.0))
    return PlainEdges(
        np.concatenate(points),
        np.concatenate(side),
        np.concatenate(height),
        np.concatenate(sigma),
        _FOOT_SHARE * frame.thickness * px_per_mm,
        np.concatenate(outward),
        found.corners,
        _notices(found, where),
    )


def _notices(found: Rectangle, where: str) -> tuple[Notice, ...]:
    share = found.share_seen
    hidden = int(np.argmin(share))
    notices = [
        Notice(
            "plain-frame",
            "A plain frame has no markers: the photo cannot check itself against them.",
            "Print a marker frame where every tenth of a millimetre counts.",
            "usable",
            where,
        )
    ]
    if found.misfit > _DOUBTFUL_MISFIT:
        notices.append(
            Notice(
                "plain-frame-proportions",
                f"The rectangle found is {found.misfit:.1%} off the frame's proportions.",
                "Check the frame's stated opening, and show all of the frame.",
                "retake",
                where,
            )
        )
    if share[hidden] < 0.1:
        name = ("front", "right", "back", "left")[hidden]
        notices.append(
            Notice(
                "plain-frame-covered",
                f"Only {share[hidden]:.0%} of the frame's {name} side is in sight.",
                "Move the part so that more of both ends of this side shows.",
                "usable",
                where,
            )
        )
    return tuple(notices)


def _first_pose(
    found: Rectangle, size: Floats, focal: float, shape: tuple[int, ...]
) -> tuple[Floats, Floats]:
    """Where the camera stands in mm, good to some percent, and px a mm across each side."""
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
) -> tuple[Floats, Floats, Floats] | None:
    """(N, 2) px, (N,) sigma and (N, 2) direction from the ground to what is raised; or None."""
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
    kept = steps.good & (contrast > 0.4 * np.median(contrast))
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
    group = np.cumsum(np.diff(rows, prepend=rows[0]) > 1.5 * _ROW_STEP_PX) * 10**6
    group += np.arange(len(rows)) // _ROWS
    bins, member = np.unique(group[kept], return_inverse=True)
    count = np.bincount(member)
    mean = np.zeros((len(bins), len(across)))
    np.add.at(mean, member, profiles[kept])
    mean /= count[:, None]
    mean /= np.abs(mean[:, :3].mean(axis=1) - mean[:, -3:].mean(axis=1))[:, None]
    place = np.bincount(member, rows[kept]) / count
    shift, sigma = _ground_ends(mean, across, foot, rise)
    offset = np.polyval(curve, place / length) + shift
    good = (count >= _ROWS // 2) & np.isfinite(shift)
    curve = _smooth(place / length, offset, good)
    if curve is None:
        return None
    residual = offset - np.polyval(curve, place / length)
    spread = 1.4826 * np.median(np.abs(residual[good]))
    good &= np.abs(residual) < max(3.5 * spread, 0.2)
    if good.sum() < 3:
        return None
    points: Floats = start + place[:, None] * along + offset[:, None] * normal
    # Grain and dust make points differ by more than their own profiles say.
    sigma = np.maximum(np.maximum(sigma, spread), _SIGMA_FLOOR_PX)
    return points[good], sigma[good], np.tile(normal, (int(good.sum()), 1))


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
    for _ in range(6):
        residual = np.abs(y - np.polyval(curve, x))
        limit = max(4 * 1.4826 * float(np.median(residual)), 0.3)
        weight = np.clip(1 - (residual / limit) ** 2, 0, None)
        if np.count_nonzero(weight) < 3:
            return None
        curve = np.polyfit(x, y, 2, w=np.sqrt(weight))
    return curve


def _ground_ends(
    profiles: Floats, across: Floats, foot: float, rise: float
) -> tuple[Floats, Floats]:
    """(N,) px across to where the ground ends in sight, and its sigma; NaN where none is found.

    Parameters
    ----------
    profiles : (N, T) in units of the contrast, from the ground to the face.
    foot : px from the face's edge to the foot; negative where the wall is in sight, else the
        ground ends at the face's edge and its darkest part is hidden.
    rise : thickness in px.
    """
    # What all profiles share is told by their mean: roughly where, and whether a shadow is cast.
    whole = np.median(profiles, axis=0)[None]
    shifts = np.arange(-8.0, 8.01, _SHIFT_STEP)
    best = _Model(across, shifts, foot, rise, 0.0).fit(whole)
    shadow = 0.0
    if rise > 0.5 and best.rms[0] > 1.5 * _NOISE:
        least = 0.6 * best.rms[0]  # a shadow has to explain much to be believed, and it darkens
        for length in _SHADOWS:
            cast = _Model(across, shifts, foot, rise, length).fit(whole)
            if cast.shadow[0] < 0 and cast.rms[0] < least:
                best, shadow, least = cast, length, cast.rms[0]
    if not np.isfinite(best.shift[0]):
        return np.full(len(profiles), np.nan), np.full(len(profiles), np.nan)
    near = best.shift[0] + np.arange(-2.0, 2.01, _SHIFT_STEP)
    fit = _Model(across, near, foot, rise, shadow).fit(profiles)
    return fit.shift, fit.sigma


@dataclass(frozen=True)
class _Fit:
    """Shifts of N profiles with sigma, rms residual, and the light of a cast shadow."""

    shift: Floats
    sigma: Floats
    rms: Floats
    shadow: Floats


class _Model:
    """Ground, wall and face for each shift and blur of a grid; the levels are linear in it.

    Half of an even sky is hidden at the foot of a wall; at the distance d from it the share
    d / hypot(d, rise) of that half is back. A cast shadow is a blurred step on the ground.
    """

    def __init__(
        self, across: Floats, shifts: Floats, foot: float, rise: float, shadow: float
    ) -> None:
        wall, hidden = max(-foot, 0.0), max(foot, 0.0)
        # Fine places, 0 where the ground ends in sight; the wall and the face follow.
        step = 0.1
        fine = np.arange(across[0] - shifts[-1] - 12, across[-1] - shifts[0] + 12, step)
        ground = np.clip(0.5 - fine / step, 0, 1)
        distance = np.maximum(hidden - fine, 0)
        columns, priors = [np.ones_like(fine), ground], [0.0, 0.0]
        if rise > 0.5:
            columns.append(ground * (1 - distance / np.hypot(distance, rise)))
            priors.append(_NOISE / _SHADE)
        if wall > 0.5:
            columns.append(np.clip(0.5 - (fine - wall) / step, 0, 1) - ground)
            priors.append(_NOISE / _WALL)
        if shadow:
            columns.append(ground * ndtr((shadow * rise - distance) / (0.3 * shadow * rise)))
            priors.append(_NOISE / _SHADE)
        stack = np.array(columns)
        designs = np.zeros((len(_BLURS), len(shifts), len(across) + len(columns), len(columns)))
        places = (across - shifts[:, None] - fine[0]) / step
        low = places.astype(np.int64)
        share = places - low
        for i, blur in enumerate(_BLURS):
            blurred = gaussian_filter1d(stack, blur / step, axis=1, mode="nearest")
            values = blurred[:, low] * (1 - share) + blurred[:, low + 1] * share
            designs[i, :, : len(across)] = np.moveaxis(values, 0, 2)
        designs[:, :, len(across) :] = np.diag(priors)  # pseudo-readings of 0
        self.shifts = shifts
        self.samples = len(across)
        self.has_shadow = bool(shadow)
        self.basis, self.triangle = np.linalg.qr(designs)

    def fit(self, profiles: Floats) -> _Fit:
        """The shift of least residual for each of (N, T) profiles, refined by a paraboloid."""
        explained = np.einsum("bstk,nt->nbsk", self.basis[:, :, : self.samples], profiles)
        rss = np.sum(profiles**2, axis=1)[:, None, None] - np.sum(explained**2, axis=3)
        rss = np.maximum(rss, 1e-12)
        n = np.arange(len(rss))
        b, s = np.unravel_index(rss.reshape(len(rss), -1).argmin(axis=1), rss.shape[1:])
        shadow = np.zeros(len(rss))
        if self.has_shadow:
            levels = np.linalg.solve(self.triangle[b, s], explained[n, b, s][..., None])
            shadow = levels[:, -1, 0]
        move, inverse = _least(rss, b, s)
        rms = np.sqrt(rss[n, b, s] / self.samples)
        # Half the second derivative of the residual weighs against its own variance.
        sigma = _SHIFT_STEP * rms * np.sqrt(2 * inverse * self.samples / (self.samples - 6))
        at_rim = (s == 0) | (s == rss.shape[2] - 1)
        shift = np.where(at_rim, np.nan, self.shifts[s] + _SHIFT_STEP * move)
        return _Fit(shift, sigma, rms, shadow)


def _least(rss: Floats, b: NDArray[np.int64], s: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Steps from (b, s) along s to the paraboloid's least value; and d2/ds2 of its inverse."""
    n = np.arange(len(rss))
    b, s = np.clip(b, 1, rss.shape[1] - 2), np.clip(s, 1, rss.shape[2] - 2)
    near = np.array([[rss[n, b + i, s + j] for j in (-1, 0, 1)] for i in (-1, 0, 1)])
    slope_b, slope_s = (near[2, 1] - near[0, 1]) / 2, (near[1, 2] - near[1, 0]) / 2
    bb = near[2, 1] - 2 * near[1, 1] + near[0, 1]
    ss = near[1, 2] - 2 * near[1, 1] + near[1, 0]
    bs = (near[2, 2] - near[2, 0] - near[0, 2] + near[0, 0]) / 4
    determinant = bb * ss - bs**2
    # Where blur and shift cannot be told apart here, the shift alone is refined.
    joint = (bb > 0) & (determinant > 0.02 * bb * ss)
    safe = np.where(joint, determinant, 1.0)
    lone = np.maximum(ss, 1e-12)
    move = np.where(joint, (bs * slope_b - bb * slope_s) / safe, -slope_s / lone)
    inverse = np.where(joint, bb / safe, 1 / lone)
    return np.clip(move, -1, 1), np.maximum(inverse, 0)
