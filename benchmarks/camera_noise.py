"""How near the camera comes to the Cramer-Rao bound of its pixels' noise.

Run as `python benchmarks/camera_noise.py [TRIALS]`. One drawn photo of a sheet gets new noise in
each trial; edges are measured and the camera adjusted as in a real photo. The bound is the inverse
of the Fisher information: a blurred step of contrast C tells C^2 / (2 sqrt(pi) s n^2) of its place
for each px of length (s the blur with the pixel's own square, n the noise of a pixel), summed over
the markers' four sides, or over all borders between their dark and light modules. Efficiency is
bound over scatter about the trials' mean, as standard deviations; how far the mean itself is off
stands beside it.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from drawn_pictures import INK, PAPER, area_light, developed, sheet_light, tag_modules
from made_views import camera_over, phone_lens

from snugline.trace.camera.bundle_adjustment import adjust
from snugline.trace.camera.lens import LensPrior, prior_from_exif
from snugline.trace.camera.marker_edges import measure_edges
from snugline.trace.camera.observations import Observations, SheetState
from snugline.trace.camera.projection import Camera, rotation_from_vector
from snugline.trace.sheet.builtin_sheets import builtin_description
from snugline.trace.sheet.frame_description import Frame, frame_from_record

Floats = NDArray[np.float64]
SIZE = (1600, 1200)
CONTRAST, NOISE, BLUR = PAPER - INK, 0.02, 0.7
_TOTAL_BLUR = np.hypot(BLUR, 1 / np.sqrt(12))
BOUND = 0.8
_UNITS = np.array([1, 1, 1, 1e-4, 1e-4, 1e-4, 1e-4, 1e-5, 1e-5, 1e-5, 1e-2, 1e-2, 1e-2])


def moved(camera: Camera, step: Floats) -> Camera:
    """The camera with its lens, turn and place changed a little."""
    return Camera(
        camera.lens.with_vector(camera.lens.vector() + step[:7]),
        rotation_from_vector(step[7:10]) @ camera.rotation,
        camera.translation + step[10:],
    )


def borders(frame: Frame, outer_only: bool) -> tuple[Floats, Floats]:
    """Segments (S, 2, 2) mm between dark and light modules of all markers, ten to a module."""
    segments = []
    for marker, corners in zip(frame.ids.tolist(), frame.corners, strict=True):
        dark = tag_modules(marker, frame.dictionary)
        n = len(dark)
        if outer_only:
            dark = np.ones((n, n), dtype=bool)
        field = np.pad(dark, 1)
        right, down = (corners[1] - corners[0]) / n, (corners[3] - corners[0]) / n
        row, column = np.nonzero(field[:, 1:] != field[:, :-1])
        start = corners[0] + column[:, None] * right + (row - 1)[:, None] * down
        segments.append(np.stack([start, start + down], axis=1))
        row, column = np.nonzero(field[1:] != field[:-1])
        start = corners[0] + (column - 1)[:, None] * right + row[:, None] * down
        segments.append(np.stack([start, start + right], axis=1))
    whole = np.concatenate(segments)
    share = np.linspace(0, 1, 11)[:, None]
    points = whole[:, :1] * (1 - share) + whole[:, 1:] * share
    return points[:, :-1].reshape(-1, 2), points[:, 1:].reshape(-1, 2)


def information(frame: Frame, camera: Camera, noise: float, outer_only: bool) -> Floats:
    """(13, 13) Fisher information of lens and pose in the pixels of the markers' borders."""
    start, end = borders(frame, outer_only)
    a, b = camera.pixels(start), camera.pixels(end)
    length = np.linalg.norm(b - a, axis=1)
    normal = np.column_stack([(b - a)[:, 1], -(b - a)[:, 0]]) / length[:, None]
    middle = (start + end) / 2
    columns = []
    for k, unit in enumerate(_UNITS):
        step = np.zeros(13)
        step[k] = unit
        there = moved(camera, step).pixels(middle) - moved(camera, -step).pixels(middle)
        columns.append(np.sum(there * normal, axis=1) / (2 * unit))
    jacobian = np.array(columns).T
    for_each_px = CONTRAST**2 / (2 * np.sqrt(np.pi) * _TOTAL_BLUR * noise**2)
    result: Floats = (jacobian * (length * for_each_px)[:, None]).T @ jacobian
    return result


def observed(frame: Frame, rgb: NDArray[np.uint8], corners: Floats) -> Observations:
    """The edges of all markers as a photo's sighting has them."""
    edges = measure_edges(rgb, corners)
    side = np.roll(frame.corners, -1, axis=1) - frame.corners
    design = frame.corners[:, :, None] + edges.fractions[:, None] * side[:, :, None]
    tangent = side / np.linalg.norm(side, axis=-1, keepdims=True)
    outward = np.stack([-tangent[..., 1], tangent[..., 0]], axis=-1)
    shape = design.shape[:3]
    return Observations(
        sheet=np.zeros(int(np.prod(shape)), dtype=np.int64),
        marker=np.broadcast_to(np.arange(len(corners))[:, None, None], shape).ravel(),
        design=design.reshape(-1, 2),
        outward=np.broadcast_to(outward[:, :, None], design.shape).reshape(-1, 2),
        pixels=edges.points.reshape(-1, 2),
        normals=edges.normals.reshape(-1, 2),
        sigma=edges.sigma.ravel(),
        height=np.zeros(int(np.prod(shape))),
    )


@dataclass(frozen=True)
class Study:
    """What noise does to the camera.

    Attributes
    ----------
    noise : of a pixel, linear light.
    side_px : mean length of a marker's side.
    edge, edge_bound : px, scatter of a place on half a side, and its bound.
    camera, bias : mm on the sheet, scatter over a grid about the mean of the trials, rms; and how
        far that mean is off.
    bounds : mm, of the markers' four sides, and of all their modules.
    """

    noise: float
    side_px: float
    edge: float
    edge_bound: float
    camera: float
    bias: float
    bounds: tuple[float, float]


def scene() -> tuple[Frame, Camera, Floats]:
    """A sheet, the camera over it, and the picture in linear light, without blur and noise."""
    frame = frame_from_record(builtin_description("border-a4"), "border-a4")
    assert isinstance(frame, Frame)
    lens = phone_lens(1300.0, (0.0, 0.0, 0.0, 0.0), (801.0, 597.0), SIZE)
    camera = camera_over([148.5, 105.0], 300, 14, roll_deg=6, lens=lens)
    return frame, camera, area_light(SIZE, sheet_light(frame, camera.homography()), fine=4)


def study(
    frame: Frame,
    camera: Camera,
    picture: Floats,
    trials: int,
    noise: float = NOISE,
    first_seed: int = 0,
) -> Study:
    """Measure and solve the picture under new noise, `trials` times (more than seven)."""
    rng = np.random.default_rng(first_seed)
    corners = camera.pixels(frame.corners.reshape(-1, 2)).reshape(-1, 4, 2)
    side = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).mean()
    sheet = SheetState(np.ones(2), np.full(2, 1e-7), np.zeros(3))
    precision = prior_from_exif(SIZE, 26).precision
    root = np.linalg.cholesky(np.linalg.inv(precision))
    x, y = np.meshgrid([60.0, 150, 240], [50.0, 105, 160])
    grid = np.column_stack([x.ravel(), y.ravel()])
    target = camera.pixels(grid)
    normals = observed(frame, developed(picture, BLUR), corners).normals
    # What is known of the lens is an observation as well: it scatters as it states, here exactly.
    known = rng.standard_normal((trials, 7))
    known = (known - known.mean(axis=0)) @ np.linalg.inv(np.linalg.cholesky(np.cov(known.T))).T
    across, places = [], []
    for trial in range(trials):
        rgb = developed(picture, BLUR, noise, seed=first_seed + trial)
        seen = observed(frame, rgb, corners)
        vector = camera.lens.vector() + root @ known[trial]
        prior = LensPrior(camera.lens.with_vector(vector), precision, "made")
        found = adjust([seen], [camera], [sheet], [prior], bloom_u=0.0)
        across.append(np.sum(seen.pixels * normals, axis=1))
        places.append(found.cameras[0].on_plane(target))
    on_grid = []
    for k, unit in enumerate(_UNITS):
        step = np.zeros(13)
        step[k] = unit
        there = moved(camera, step).on_plane(target) - moved(camera, -step).on_plane(target)
        on_grid.append(there.ravel() / (2 * unit))
    b = np.array(on_grid).T
    bounds = []
    for outer_only in (True, False):
        total = information(frame, camera, noise, outer_only)
        total[:7, :7] += precision
        bounds.append(float(np.sqrt(np.trace(b @ np.linalg.solve(total, b.T)) / len(grid))))
    off = np.mean(places, axis=0) - grid
    row = np.sqrt(2 * _TOTAL_BLUR * np.sqrt(np.pi)) * noise / CONTRAST
    return Study(
        noise=noise,
        side_px=float(side),
        edge=float(np.sqrt(np.mean(np.var(across, axis=0, ddof=1)))),
        edge_bound=float(row / np.sqrt(side / 2)),
        camera=float(np.sqrt(np.mean(np.sum(np.var(places, axis=0, ddof=1), axis=1)))),
        bias=float(np.sqrt(np.mean(np.sum(off**2, axis=1)))),
        bounds=(bounds[0], bounds[1]),
    )


def main() -> int:
    """Print scatter, bound and efficiency; the exit status says whether the bound is reached."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    found = study(*scene(), trials)
    print(
        f"markers of {found.side_px:.0f} px, noise {NOISE} of contrast {CONTRAST:.2f}, "
        f"{trials} trials"
    )
    print(
        f"half a side: scatter {found.edge:.4f} px, bound {found.edge_bound:.4f} px, "
        f"efficiency {found.edge_bound / found.edge:.2f}"
    )
    print(f"camera: mean of the trials {found.bias * 1e3:.2f} um off the true place, rms")
    for words, bound in zip(("four sides", "all modules"), found.bounds, strict=True):
        print(
            f"camera: rms {found.camera * 1e3:.2f} um on the sheet, bound of {words} "
            f"{bound * 1e3:.2f} um, efficiency {bound / found.camera:.2f}"
        )
    held = found.bounds[0] / found.camera >= BOUND
    print(f"at least {BOUND} of the bound of the four sides: {'pass' if held else 'FAIL'}")
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
