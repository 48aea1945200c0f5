"""Joint adjustment of cameras and sheets to marker edges: one weighted least-squares problem.

Unknown are a lens for each camera, a pose for each photo, the print scale of each sheet in x and y
(with the readings of its bars as observations), the pose of every sheet after the first on the
bench, and how far the ink of the markers has spread (or the picture's sharpening has eaten it).
Each observation is the distance, across a marker's edge, between where the edge was seen and where
it should appear; distances along an edge say nothing and are not used.

The places on one edge of a marker are off together too (paper that is not flat, a printer's steps,
what the lens model lacks): a variance of its own, found from the edges' means, keeps many places
from passing for many witnesses.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera import Camera, rotation_from_vector
from snugline.trace.lens import LENS_SIZE, LensPrior, project

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

POSE_SIZE = 6
# Ink spreads by a few hundredths of a millimetre (common practice, no source).
BLOOM_U = 0.1
# What no model of lens and paper explains: observations are never believed better than this.
_MODEL_FLOOR_PX = 0.01
_TUKEY = 4.685  # 95 % efficiency for normal residuals: Holland and Welsch 1977, from memory
_ITERATIONS = 40
# In standard deviations of the unknowns: a step that is near, and one that is none any more; and
# how often the weights follow the residuals.
_NEAR, _STILL, _SETTLED = 0.3, 1e-3, 5


@dataclass(frozen=True)
class Observations:
    """Edge places of one photo; every array has N rows.

    Attributes
    ----------
    sheet : which sheet the marker is printed on.
    marker : which marker (or stretch of a plain frame's side), unique over the job's sheets.
    design : (N, 2) mm, the place on the marker's side as designed, in the sheet's axes.
    outward : (N, 2) unit, out of the marker, in the sheet's axes.
    pixels : (N, 2) where the edge was seen.
    normals : (N, 2) unit, across the edge in the picture, outwards.
    sigma : (N,) px.
    height : (N,) mm over the sheet.
    """

    sheet: Ints
    marker: Ints
    design: Floats
    outward: Floats
    pixels: Floats
    normals: Floats
    sigma: Floats
    height: Floats

    def only(self, keep: NDArray[np.bool_]) -> "Observations":
        """The rows that `keep` marks."""
        return Observations(
            self.sheet[keep],
            self.marker[keep],
            self.design[keep],
            self.outward[keep],
            self.pixels[keep],
            self.normals[keep],
            self.sigma[keep],
            self.height[keep],
        )


@dataclass(frozen=True)
class SheetState:
    """A printed sheet on the bench: its print scale, and its pose (x, y, turn)."""

    scale: Floats
    scale_u: Floats
    pose: Floats

    def place(self, design: Floats) -> Floats:
        """(N, 2) bench mm of (N, 2) design mm."""
        turn = plane_rotation(self.pose[2])
        placed: Floats = (design * self.scale) @ turn.T + self.pose[:2]
        return placed


def plane_rotation(angle: float) -> Floats:
    """(2, 2) rotation by `angle`, counter-clockwise."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


@dataclass(frozen=True)
class Adjusted:
    """What the adjustment found.

    Attributes
    ----------
    cameras : one for each photo, in the axes of the first sheet.
    sheets : as adjusted.
    bloom : (P,) mm by photo, outward shift of every marker edge.
    residuals : by photo, (N,) px across the edges, seen minus expected.
    weights : by photo, (N,) 0 to 1; 0 is rejected.
    noise_px : (P,) standard deviation of a believed residual.
    covariance : of all unknowns, `Layout` order, scaled by the noise found.
    layout : where each unknown stands.
    """

    cameras: tuple[Camera, ...]
    sheets: tuple[SheetState, ...]
    bloom: Floats
    residuals: tuple[Floats, ...]
    weights: tuple[Floats, ...]
    noise_px: Floats
    covariance: Floats
    layout: "Layout"


@dataclass(frozen=True)
class Layout:
    """Places of the unknowns in the vector: lenses, poses, scales, sheet poses, blooms."""

    lens_of_photo: tuple[int, ...]
    photos: int
    lenses: int
    sheets: int

    def lens(self, photo: int) -> slice:
        first = LENS_SIZE * self.lens_of_photo[photo]
        return slice(first, first + LENS_SIZE)

    def pose(self, photo: int) -> slice:
        first = LENS_SIZE * self.lenses + POSE_SIZE * photo
        return slice(first, first + POSE_SIZE)

    def scale(self, sheet: int) -> slice:
        first = LENS_SIZE * self.lenses + POSE_SIZE * self.photos + 2 * sheet
        return slice(first, first + 2)

    def sheet_pose(self, sheet: int) -> slice:
        """The first sheet lies at the origin and has none."""
        first = LENS_SIZE * self.lenses + POSE_SIZE * self.photos + 2 * self.sheets
        first += 3 * (sheet - 1)
        return slice(first, first + 3)

    def bloom(self, photo: int) -> int:
        first = LENS_SIZE * self.lenses + POSE_SIZE * self.photos + 2 * self.sheets
        return first + 3 * (self.sheets - 1) + photo

    @property
    def size(self) -> int:
        return self.bloom(self.photos)


@dataclass(frozen=True)
class _Problem:
    """What stays the same through the iterations."""

    observations: tuple[Observations, ...]
    priors: tuple[LensPrior, ...]
    sheets: tuple[SheetState, ...]
    bloom_u: float
    layout: Layout


@dataclass(frozen=True)
class _Noise:
    """What one photo's residuals hold beside each place's own sigma, px: each alone, each edge."""

    place: float
    edge: float

    def precision(self, o: Observations, weights: Floats) -> Floats:
        """(N,) px^-2 that a place counts with: an edge's n places say of its shift what one would.

        n places with v + n b each weigh as their mean does, whose variance is v / n + b.
        """
        edges, count = _edges(o)
        return weights / (o.sigma**2 + self.place**2 + count[edges] * self.edge**2)

    def spread(self, o: Observations) -> Floats:
        """(N,) px, standard deviation of a place's residual."""
        return np.sqrt(o.sigma**2 + self.place**2 + self.edge**2)


@dataclass(frozen=True)
class _State:
    """The unknowns."""

    cameras: tuple[Camera, ...]
    sheets: tuple[SheetState, ...]
    bloom: Floats


def adjust(
    observations: Sequence[Observations],
    cameras: Sequence[Camera],
    sheets: Sequence[SheetState],
    priors: Sequence[LensPrior],
    lens_of_photo: Sequence[int] | None = None,
    robust: bool = True,
    bloom_u: float = BLOOM_U,
    noise_px: Sequence[float] | None = None,
) -> Adjusted:
    """Levenberg-Marquardt on all photos together, with Tukey weights on the edges.

    Parameters
    ----------
    cameras : a first guess for each photo.
    priors : one for each lens.
    lens_of_photo : index of each photo's lens; without it every photo has its own.
    bloom_u : mm, how far a printed edge may have spread; 0 where nothing is printed.
    noise_px : a first guess for each photo where the cameras are near the solution already.
    """
    photos = len(observations)
    lens_of = tuple(range(photos)) if lens_of_photo is None else tuple(lens_of_photo)
    layout = Layout(lens_of, photos, len(priors), len(sheets))
    problem = _Problem(
        tuple(observations), tuple(priors), tuple(sheets), max(bloom_u, 1e-6), layout
    )
    state = _State(tuple(cameras), tuple(sheets), np.zeros(photos))
    first = noise_px or [max(1.0, _spread(_residuals(problem, state, i))) for i in range(photos)]
    noise = [_Noise(value, 0.0) for value in first]
    weights = [np.ones(len(o.sigma)) for o in observations]
    precision = [n.precision(o, w) for n, o, w in zip(noise, observations, weights, strict=True)]
    damping = 1e-9 if noise_px else 1e-3
    settled = 0
    for _ in range(_ITERATIONS):
        normal, gradient, cost = _normal_equations(problem, state, precision)
        diagonal = np.sqrt(np.diag(normal))
        scaled = normal / np.outer(diagonal, diagonal) + damping * np.eye(layout.size)
        step = np.linalg.solve(scaled, gradient / diagonal)
        moved = _moved(state, layout, step / diagonal)
        better = _cost(problem, moved, precision) <= cost * (1 + 1e-9)
        if better:
            state = moved
        damping = max(damping / 10, 1e-9) if better else min(damping * 10, 1e6)
        # Weights follow the residuals only once the geometry has come near.
        length = float(np.max(np.abs(step), initial=0.0))
        if length < _NEAR:
            taken = _taken_up(problem, state, normal, weights)
            for i, o in enumerate(observations):
                left_over = _residuals(problem, state, i)
                noise[i] = _found_noise(left_over, weights[i], o, taken)
                if robust:
                    weights[i] = _tukey(left_over, noise[i].spread(o), o)
                precision[i] = noise[i].precision(o, weights[i])
            settled += 1
        if settled >= (_SETTLED if robust else 3) and length < _STILL:
            break
    normal = _normal_equations(problem, state, precision)[0]
    diagonal = np.sqrt(np.diag(normal))
    unit = np.outer(diagonal, diagonal)
    return Adjusted(
        cameras=state.cameras,
        sheets=state.sheets,
        bloom=state.bloom,
        residuals=tuple(_residuals(problem, state, i) for i in range(photos)),
        weights=tuple(weights),
        noise_px=np.array(
            [np.sqrt(np.mean(n.spread(o) ** 2)) for n, o in zip(noise, observations, strict=True)]
        ),
        covariance=np.linalg.inv(normal / unit) / unit,
        layout=layout,
    )


def on_bench(o: Observations, sheets: Sequence[SheetState]) -> Observations:
    """The same observations with every design place in true mm of the bench, all on one sheet."""
    design, outward = np.empty_like(o.design), np.empty_like(o.outward)
    for s, sheet in enumerate(sheets):
        mine = o.sheet == s
        design[mine] = sheet.place(o.design[mine])
        outward[mine] = o.outward[mine] @ plane_rotation(sheet.pose[2]).T
    return replace(o, sheet=np.zeros_like(o.sheet), design=design, outward=outward)


def expected_points(flat: Observations, bloom: float) -> Floats:
    """(N, 3) mm, where the edges of observations on the bench lie with their ink spread."""
    return np.column_stack([flat.design + bloom * flat.outward, flat.height])


def _spread(residuals: Floats) -> float:
    """Robust standard deviation: the median absolute value, then the rms of what is near."""
    if len(residuals) == 0:
        return 1.0
    spread = 1.4826 * float(np.median(np.abs(residuals)))
    near = np.abs(residuals) < 3 * spread
    if near.sum() > 10:
        # Cutting at 3 sigma takes 1.3 % off the standard deviation.
        spread = max(spread * 0.5, float(np.sqrt(np.mean(residuals[near] ** 2))) * 1.013)
    return spread


def _edges(o: Observations) -> tuple[Ints, Floats]:
    """(N,) which edge each place lies on, and (E,) how many places each edge has."""
    # The quadrants' borders lie where no printed marker's side points.
    turn = np.arctan2(o.outward[:, 1], o.outward[:, 0]) + 0.4
    quadrant = np.floor(turn * 2 / np.pi).astype(np.int64) % 4
    edges = o.marker * 4 + quadrant
    return edges, np.bincount(edges).astype(np.float64)


def _taken_up(problem: _Problem, state: _State, normal: Floats, weights: Sequence[Floats]) -> float:
    """Share of the edges' freedom (a shift and a turn each) that the unknowns have taken up."""
    prior = _prior_terms(problem, state)[0]
    unit = np.sqrt(np.diag(normal))
    scaled = np.outer(unit, unit)
    unknowns = problem.layout.size - np.trace(np.linalg.solve(normal / scaled, prior / scaled))
    freedom = sum(
        float(np.minimum(_edges(o.only(w > 0))[1], 2).sum())
        for o, w in zip(problem.observations, weights, strict=True)
    )
    return float(np.clip(unknowns / max(freedom, 1.0), 0.0, 0.75))


def _found_noise(residuals: Floats, weights: Floats, o: Observations, taken: float) -> _Noise:
    """The two parts of a photo's noise, from its residuals; `taken` as `_taken_up` says."""
    believed = weights > 0
    r = residuals[believed]
    own = float(np.mean(o.sigma[believed] ** 2)) if believed.any() else 0.0
    edges, count = _edges(o.only(believed))
    mean = np.bincount(edges, weights=r) / np.maximum(count, 1)
    freedom = len(r) - int(np.sum(count > 0))
    if freedom <= 0.4 * len(r):  # hardly two places to an edge: the parts cannot be told apart
        return _Noise(_excess(_spread(r) ** 2 / (1 - taken) - own), 0.0)
    alone = _spread(r - mean[edges]) ** 2 * len(r) / freedom
    seen = count > 0
    between = _spread(mean[seen]) ** 2 / (1 - taken)
    shared = float(between - alone * np.mean(1 / count[seen]))
    return _Noise(_excess(alone - own), float(np.sqrt(max(shared, 0.0))))


def _excess(variance: float) -> float:
    """Noise in px beyond what the places say of themselves."""
    return float(np.sqrt(max(variance, _MODEL_FLOOR_PX**2)))


def _tukey(residuals: Floats, expected: Floats, observations: Observations) -> Floats:
    """Biweight of each edge; a marker most of whose edges are off (a curled corner) goes whole."""
    z = residuals / (_TUKEY * expected)
    weights = np.where(np.abs(z) < 1, (1 - z * z) ** 2, 0.0)
    size = int(observations.marker.max(initial=-1)) + 1
    seen = np.bincount(observations.marker, minlength=size)
    far = (np.abs(z) >= 0.75).astype(np.float64)
    bad = np.bincount(observations.marker, weights=far, minlength=size) > 0.3 * np.maximum(seen, 1)
    weights[bad[observations.marker]] = 0.0
    if weights.sum() < 0.3 * len(weights):
        # The model is off, not the markers: do not throw away the photo.
        return np.where(np.abs(z) < 3, 1 / (1 + z * z), 0.05)
    return weights


def _residuals(problem: _Problem, state: _State, photo: int) -> Floats:
    o = problem.observations[photo]
    points = expected_points(on_bench(o, state.sheets), state.bloom[photo])
    with np.errstate(all="ignore"):
        pixels = state.cameras[photo].pixels(points)
    residuals: Floats = np.sum((o.pixels - pixels) * o.normals, axis=1)
    return residuals


def _cost(problem: _Problem, state: _State, precision: Sequence[Floats]) -> float:
    cost = _prior_terms(problem, state)[2]
    for photo, w in enumerate(precision):
        cost += float(np.sum(w * _residuals(problem, state, photo) ** 2))
    return cost if np.isfinite(cost) else np.inf


def _prior_terms(problem: _Problem, state: _State) -> tuple[Floats, Floats, float]:
    """Normal matrix, gradient and cost of what was known beforehand."""
    layout = problem.layout
    normal = np.zeros((layout.size, layout.size))
    gradient = np.zeros(layout.size)
    cost = 0.0
    for number, prior in enumerate(problem.priors):
        photo = layout.lens_of_photo.index(number)
        where = layout.lens(photo)
        off = prior.lens.vector() - state.cameras[photo].lens.vector()
        normal[where, where] += prior.precision
        gradient[where] += prior.precision @ off
        cost += float(off @ prior.precision @ off)
    for s, (sheet, before) in enumerate(zip(state.sheets, problem.sheets, strict=True)):
        where = layout.scale(s)
        precision = 1 / np.maximum(before.scale_u, 1e-7) ** 2
        off = before.scale - sheet.scale
        normal[where, where] += np.diag(precision)
        gradient[where] += precision * off
        cost += float(np.sum(precision * off**2))
    for photo in range(layout.photos):
        i = layout.bloom(photo)
        normal[i, i] += problem.bloom_u**-2
        gradient[i] -= problem.bloom_u**-2 * state.bloom[photo]
        cost += float((state.bloom[photo] / problem.bloom_u) ** 2)
    return normal, gradient, cost


def _normal_equations(
    problem: _Problem, state: _State, precision: Sequence[Floats]
) -> tuple[Floats, Floats, float]:
    layout = problem.layout
    normal, gradient, cost = _prior_terms(problem, state)
    for photo, o in enumerate(problem.observations):
        camera = state.cameras[photo]
        flat = on_bench(o, state.sheets)
        turned = expected_points(flat, state.bloom[photo]) @ camera.rotation.T
        pixels, by_lens, by_point = project(camera.lens, turned + camera.translation)
        residual = np.sum((o.pixels - pixels) * o.normals, axis=1)
        across_lens = np.einsum("ni,nij->nj", o.normals, by_lens)
        across_point = np.einsum("ni,nij->nj", o.normals, by_point)
        across_plane = across_point @ camera.rotation[:, :2]
        # A small turn w about the camera moves R X by w x (R X).
        across_turn = np.cross(turned, across_point)
        columns = [layout.lens(photo), layout.pose(photo)]
        blocks = [across_lens, np.column_stack([across_turn, across_point])]
        for s, sheet in enumerate(state.sheets):
            mine = (o.sheet == s)[:, None]
            if not mine.any():
                continue
            in_sheet = across_plane @ plane_rotation(sheet.pose[2])
            columns.append(layout.scale(s))
            blocks.append(np.where(mine, in_sheet * o.design, 0.0))
            if s > 0:
                arm = flat.design - sheet.pose[:2]
                spin = across_plane[:, 1] * arm[:, 0] - across_plane[:, 0] * arm[:, 1]
                columns.append(layout.sheet_pose(s))
                blocks.append(np.where(mine, np.column_stack([across_plane, spin]), 0.0))
        columns.append(slice(layout.bloom(photo), layout.bloom(photo) + 1))
        blocks.append(np.sum(across_plane * flat.outward, axis=1)[:, None])
        jacobian = np.concatenate(blocks, axis=1)
        w = precision[photo]
        index = np.concatenate([np.arange(c.start, c.stop) for c in columns])
        normal[np.ix_(index, index)] += (jacobian * w[:, None]).T @ jacobian
        gradient[index] += jacobian.T @ (w * residual)
        cost += float(np.sum(w * residual**2))
    return normal, gradient, cost


def _moved(state: _State, layout: Layout, step: Floats) -> _State:
    cameras = []
    for photo, camera in enumerate(state.cameras):
        turn = step[layout.pose(photo)]
        cameras.append(
            Camera(
                camera.lens.with_vector(camera.lens.vector() + step[layout.lens(photo)]),
                rotation_from_vector(turn[:3]) @ camera.rotation,
                camera.translation + turn[3:],
            )
        )
    sheets = []
    for s, sheet in enumerate(state.sheets):
        pose = sheet.pose if s == 0 else sheet.pose + step[layout.sheet_pose(s)]
        sheets.append(replace(sheet, scale=sheet.scale + step[layout.scale(s)], pose=pose))
    bloom = state.bloom + step[layout.bloom(0) : layout.bloom(0) + layout.photos]
    return _State(tuple(cameras), tuple(sheets), bloom)
