"""Self-calibrating bundle adjustment of cameras and sheets to marker edges, by least squares.

Unknown are a lens for each camera, a pose for each photo, the print scale of each sheet in x and y
(with the readings of its bars as observations), the pose of every sheet after the first, and the
dot gain: how far the ink of the markers has spread (or the picture's sharpening has eaten it).
Each observation is the distance, across a marker's edge, between where the edge was seen and where
it should appear; positions along an edge carry no information and are not used.

World coordinates are those of the first sheet, in mm, with z = 0 on the sheet; names say `bench`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.adjusted_cameras import Adjusted, Layout
from snugline.trace.camera.lens import LensPrior, project
from snugline.trace.camera.marker_noise import (
    MarkerNoise,
    Places,
    edge_freedom,
    found_noise,
    places_of,
    robust_spread,
    tukey_weights,
)
from snugline.trace.camera.observations import (
    Observations,
    SheetState,
    expected_points,
    on_bench,
    plane_rotation,
)
from snugline.trace.camera.projection import Camera, rotation_from_vector

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Dot gain: ink spreads by a few hundredths of a millimetre (common practice, no source).
BLOOM_U = 0.1
# While iterating, the noise is estimated from the residuals, but not below this many px: a larger
# floor lets the lens prior dominate, a smaller one lets unmodelled distortion dominate.
_LEAST_NOISE_PX = 0.1
_ITERATIONS = 40
# Step size relative to the joint uncertainty: below the first, re-weighting starts; below the
# second, the iteration has converged.
_NEAR, _STILL = 1.0, 0.001


@dataclass(frozen=True)
class _State:
    """The unknowns."""

    cameras: tuple[Camera, ...]
    sheets: tuple[SheetState, ...]
    bloom: Floats


@dataclass(frozen=True)
class _Problem:
    """What stays the same through the iterations.

    `prior` and `precision` are what was known about the unknowns beforehand: a vector in `Layout`
    order and its inverse covariance, zero for the poses.
    """

    observations: tuple[Observations, ...]
    layout: Layout
    prior: Floats
    precision: Floats


@dataclass(frozen=True)
class _Linear:
    """Residuals (N,) of one photo, their (N, K) derivatives, and which K unknowns these are for."""

    residuals: Floats
    jacobian: Floats
    unknowns: Ints


def adjust(
    observations: Sequence[Observations],
    cameras: Sequence[Camera],
    sheets: Sequence[SheetState],
    priors: Sequence[LensPrior],
    lens_of_photo: Sequence[int] | None = None,
    robust: bool = True,
    bloom_u: float = BLOOM_U,
    near: bool = False,
) -> Adjusted:
    """Levenberg-Marquardt on all photos together, with Tukey weights on the edges.

    Parameters
    ----------
    cameras : a first guess for each photo.
    priors : one for each lens.
    lens_of_photo : index of each photo's lens; without it every photo has its own.
    bloom_u : mm, how far a printed edge may have spread; 0 where nothing is printed.
    near : the first guesses are adjusted ones: points far off are then outliers from the start.

    Raises
    ------
    numpy.linalg.LinAlgError : the first guess does not converge.
    """
    photos = len(observations)
    lens_of = tuple(range(photos)) if lens_of_photo is None else tuple(lens_of_photo)
    layout = Layout(lens_of, photos, len(priors), len(sheets))
    problem = _problem(observations, layout, sheets, priors, bloom_u)
    state = _State(tuple(cameras), tuple(sheets), np.zeros(photos))
    places = [places_of(o.sigma, o.marker, o.outward) for o in observations]
    linear = _linearised(problem, state)
    if not all(np.isfinite(seen.jacobian).all() for seen in linear):
        raise np.linalg.LinAlgError("the first guess shows nothing of the sheet")
    noise = [_first_noise(seen) for seen in linear]
    weights = [np.ones(len(o.sigma)) for o in observations]
    if near and robust:
        seen_at = zip(linear, noise, places, strict=True)
        weights = [tukey_weights(seen.residuals, n, at) for seen, n, at in seen_at]
    precision = [n.precision(p, w) for n, p, w in zip(noise, places, weights, strict=True)]
    normal, gradient = _normal_equations(problem, state, linear, precision)
    damping, followed = 1e-6, 0
    for _ in range(_ITERATIONS):
        step = _solved(normal, gradient, damping)
        length = float(np.sqrt(max(float(step @ gradient), 0.0)))
        moved = _moved(state, layout, step)
        ahead = _linearised(problem, moved)
        cost = _cost(problem, state, linear, precision)
        better = _cost(problem, moved, ahead, precision) <= cost * (1 + 1e-9)
        if better:
            state, linear = moved, ahead
        damping = max(damping / 10, 1e-9) if better else min(damping * 10, 1e6)
        # Weights follow the residuals only once the geometry has come near.
        if length < _NEAR:
            noise, weights = _followed(problem, normal, linear, places, weights, robust)
            followed += 1
        elif not followed:
            noise = [_first_noise(seen) for seen in linear]
        precision = [n.precision(p, w) for n, p, w in zip(noise, places, weights, strict=True)]
        normal, gradient = _normal_equations(problem, state, linear, precision)
        if followed > 1 and length < _STILL:
            break
    spread = [n.spread(p) for n, p in zip(noise, places, strict=True)]
    return _adjusted(problem, state, linear, weights, precision, spread)


def _followed(
    problem: _Problem,
    normal: Floats,
    linear: Sequence[_Linear],
    places: Sequence[Places],
    weights: Sequence[Floats],
    robust: bool,
) -> tuple[list[MarkerNoise], list[Floats]]:
    """Noise and weights by the residuals of each photo."""
    taken = _taken_up(problem, normal, places, weights)
    noise = [
        found_noise(seen.residuals, w, at, taken)
        for seen, w, at in zip(linear, weights, places, strict=True)
    ]
    if not robust:
        return noise, list(weights)
    found = zip(linear, noise, places, strict=True)
    return noise, [tukey_weights(seen.residuals, n, at) for seen, n, at in found]


def _adjusted(
    problem: _Problem,
    state: _State,
    linear: Sequence[_Linear],
    weights: Sequence[Floats],
    precision: Sequence[Floats],
    spread: Sequence[Floats],
) -> Adjusted:
    """The result at the solution; `spread` is the noise of each place, px."""
    normal, _ = _normal_equations(problem, state, linear, precision)
    unit = np.sqrt(np.diag(normal))
    covariance = np.linalg.inv(normal / np.outer(unit, unit)) / np.outer(unit, unit)
    return Adjusted(
        cameras=state.cameras,
        sheets=state.sheets,
        bloom=state.bloom,
        residuals=tuple(seen.residuals for seen in linear),
        weights=tuple(weights),
        precision=tuple(precision),
        noise_px=np.array([np.sqrt(np.mean(one**2)) for one in spread]),
        covariance=covariance,
        layout=problem.layout,
        by_decentring=covariance @ _decentring(problem, state, linear, precision),
    )


def readjusted(
    seen: Observations,
    precision: Floats,
    camera: Camera,
    bloom: float,
    prior: LensPrior,
    bloom_u: float = BLOOM_U,
) -> tuple[Camera, float]:
    """Camera and dot gain of one photo of sheets already adjusted, from good first values.

    `seen` are in world coordinates (see `on_bench`); `precision` is what each point counts with.
    """
    layout = Layout((0,), 1, 1, 1)
    bench = SheetState(np.ones(2), np.full(2, 1e-7), np.zeros(3))
    problem = _problem([seen], layout, [bench], [prior], bloom_u)
    state = _State((camera,), (bench,), np.array([bloom]))
    for _ in range(2):
        linear = _linearised(problem, state)
        normal, gradient = _normal_equations(problem, state, linear, [precision])
        state = _moved(state, layout, _solved(normal, gradient, 0.0))
    return state.cameras[0], float(state.bloom[0])


def _first_noise(seen: _Linear) -> MarkerNoise:
    return MarkerNoise(max(robust_spread(seen.residuals), _LEAST_NOISE_PX), 0.0)


def _problem(
    observations: Sequence[Observations],
    layout: Layout,
    sheets: Sequence[SheetState],
    priors: Sequence[LensPrior],
    bloom_u: float,
) -> _Problem:
    prior = np.zeros(layout.size)
    precision = np.zeros((layout.size, layout.size))
    for number, known in enumerate(priors):
        where = layout.lens(layout.lens_of_photo.index(number))
        prior[where] = known.lens.vector()
        precision[where, where] = known.precision
    for s, sheet in enumerate(sheets):
        where = layout.scale(s)
        prior[where] = sheet.scale
        precision[where, where] = np.diag(np.maximum(sheet.scale_u, 1e-7) ** -2)
    for photo in range(layout.photos):
        precision[layout.bloom(photo), layout.bloom(photo)] = max(bloom_u, 1e-6) ** -2
    return _Problem(tuple(observations), layout, prior, precision)


def _off_prior(problem: _Problem, state: _State) -> Floats:
    """Prior values less present ones; poses have no prior."""
    layout = problem.layout
    off = problem.prior.copy()
    for photo, camera in enumerate(state.cameras):
        where = layout.lens(photo)
        off[where] = problem.prior[where] - camera.lens.vector()
    for s, sheet in enumerate(state.sheets):
        off[layout.scale(s)] -= sheet.scale
    off[layout.bloom(0) :] -= state.bloom
    return off


def _linearised(problem: _Problem, state: _State) -> list[_Linear]:
    """The residuals of all photos and their derivatives."""
    layout = problem.layout
    result = []
    for photo, o in enumerate(problem.observations):
        camera = state.cameras[photo]
        flat = on_bench(o, state.sheets)
        turned = expected_points(flat, state.bloom[photo]) @ camera.rotation.T
        with np.errstate(all="ignore"):  # a step may lead behind the camera; its cost is then inf
            pixels, by_lens, by_point = project(camera.lens, turned + camera.translation)
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
        result.append(
            _Linear(
                np.sum((o.pixels - pixels) * o.normals, axis=1),
                np.concatenate(blocks, axis=1),
                np.concatenate([np.arange(c.start, c.stop) for c in columns]),
            )
        )
    return result


def _decentring(
    problem: _Problem, state: _State, linear: Sequence[_Linear], precision: Sequence[Floats]
) -> Floats:
    """(L, K, 2) gradients of the K unknowns for a unit of each lens's decentring terms.

    Source: Brown, Decentering distortion of lenses, 1966; terms as OpenCV's p1 and p2 (both from
    memory).
    """
    layout = problem.layout
    gradient = np.zeros((layout.lenses, layout.size, 2))
    for photo, (o, seen, w) in enumerate(zip(problem.observations, linear, precision, strict=True)):
        camera = state.cameras[photo]
        points = expected_points(on_bench(o, state.sheets), float(state.bloom[photo]))
        turned = points @ camera.rotation.T + camera.translation
        x, y = (turned[:, :2] / turned[:, 2:]).T
        r2, xy = x * x + y * y, 2 * x * y
        moved = np.array([[xy, r2 + 2 * x * x], [r2 + 2 * y * y, xy]]) * camera.lens.focal
        across = np.einsum("nx,xpn->np", o.normals, moved)
        lens = layout.lens_of_photo[photo]
        gradient[lens, seen.unknowns] += seen.jacobian.T @ (w[:, None] * across)
    return gradient


def _cost(
    problem: _Problem, state: _State, linear: Sequence[_Linear], precision: Sequence[Floats]
) -> float:
    off = _off_prior(problem, state)
    cost = float(off @ problem.precision @ off)
    for seen, w in zip(linear, precision, strict=True):
        cost += float(np.sum(w * seen.residuals**2))
    return cost if np.isfinite(cost) else np.inf


def _normal_equations(
    problem: _Problem, state: _State, linear: Sequence[_Linear], precision: Sequence[Floats]
) -> tuple[Floats, Floats]:
    """Normal matrix, and gradient towards less cost."""
    normal = problem.precision.copy()
    gradient = problem.precision @ _off_prior(problem, state)
    for seen, w in zip(linear, precision, strict=True):
        weighted = seen.jacobian * w[:, None]
        normal[np.ix_(seen.unknowns, seen.unknowns)] += weighted.T @ seen.jacobian
        gradient[seen.unknowns] += weighted.T @ seen.residuals
    return normal, gradient


def _solved(normal: Floats, gradient: Floats, damping: float) -> Floats:
    """The damped step; the unknowns' units differ by many powers of ten."""
    unit = np.sqrt(np.diag(normal))
    scaled = normal / np.outer(unit, unit) + damping * np.eye(len(unit))
    step: Floats = np.linalg.solve(scaled, gradient / unit) / unit
    return step


def _taken_up(
    problem: _Problem, normal: Floats, places: Sequence[Places], weights: Sequence[Floats]
) -> float:
    """Share of the edges' degrees of freedom absorbed by the estimated parameters."""
    unit = np.sqrt(np.diag(normal))
    scaled = np.outer(unit, unit)
    known = np.trace(np.linalg.solve(normal / scaled, problem.precision / scaled))
    freedom = sum(edge_freedom(p, w) for p, w in zip(places, weights, strict=True))
    return float(np.clip((problem.layout.size - known) / max(freedom, 1.0), 0.0, 0.75))


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
