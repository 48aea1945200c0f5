"""Edges of made parts under a lamp, in drawn photos, found to hundredths of a pixel."""

from typing import Any

import numpy as np
import pytest
from drawn_pictures import area_light, developed
from made_solids import lit_edge
from made_views import camera_over, phone_lens
from numpy.typing import NDArray

from snugline.trace.camera.projection import Camera
from snugline.trace.edge import silhouette
from snugline.trace.edge.learned_edge import Response, edge_response, widths
from snugline.trace.edge.relief_displacement import PartSides, lift
from snugline.trace.edge.silhouette import Silhouette, edge_path, locate
from snugline.trace.image.polyline import resample, right_normals, smoothed

Floats = NDArray[np.float64]
SIZE = (230, 190)
BLUR = 0.7
PAPER = 0.75
TURN = np.array([[0.9, 0.436], [-0.436, 0.9]])
SIDES = {
    "crisp": PartSides(6.0),
    "rounded": PartSides(6.0, edge="round", edge_size=1.0),
    "chamfered": PartSides(6.0, edge="chamfer", edge_size=0.7),
}


def find(
    rgb: NDArray[np.uint8], camera: Camera, sides: PartSides, border: Floats, closed: bool
) -> Silhouette:
    """The edge, in a photo that shows an edge as it would a marker's."""
    square = 50.0 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) @ TURN + 95.0

    def marker(x: Floats, y: Floats) -> Floats:
        at = (np.stack([x, y], axis=-1) - 95.0) @ TURN.T
        return np.where(np.abs(at).max(axis=-1) < 50.0, 0.04, PAPER)

    seen = developed(area_light((190, 190), marker, fine=5), BLUR)
    blur, halo = edge_response(seen, square[None])
    shown = Response(blur, halo, lambda points: np.full((len(points), 3), PAPER), False)
    return locate(rgb, camera, sides, border, closed, shown)


def camera_at(place: Floats, height: float = 300.0) -> Camera:
    """Straight above `place`, 9 px a mm."""
    middle = ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2)
    lens = phone_lens(9.0 * height, (0.0, 0.0, 0.0, 0.0), middle, SIZE)
    return camera_over(place, height, tilt_deg=0, roll_deg=25, lens=lens)


def straight_edge(
    sides: PartSides, beside: float, part: float = 0.2, noise: float = 0.006, seed: int = 3
) -> tuple[NDArray[np.uint8], Camera, Floats]:
    """A photo of a part that ends at x = 0, the camera `beside` mm outside of it, and the border.

    The camera looks straight down but sees the edge off its axis: the picture is cut out of a
    large photo by moving the lens's centre.
    """
    height = 300.0
    base = camera_at(np.array([beside, 0.0]), height)
    shift = base.pixels(np.zeros((1, 2)))[0] - np.array(base.lens.centre)
    centre = np.array(base.lens.centre) - shift
    lens = phone_lens(base.lens.focal, (0.0, 0.0, 0.0, 0.0), tuple(centre.tolist()), SIZE)
    camera = Camera(lens, base.rotation, base.translation)
    # Rays lean by where they meet the sheet; near the edge all alike, to a part in a thousand.
    edge = 0.0
    for _ in range(4):
        places, light = lit_edge(sides, (edge - beside) / height, part=part)
        edge = float(places[np.flatnonzero(light != light[-1])[-1]])

    def scene(x: Floats, y: Floats) -> Floats:
        at = camera.on_plane(np.column_stack([x.ravel(), y.ravel()]))
        return np.interp(at[:, 0], places, light).reshape(x.shape)

    rgb = developed(area_light(SIZE, scene, fine=2), 0.7, noise, seed=seed)
    line = np.column_stack([np.full(60, edge), np.linspace(-8, 8, 60)])
    return rgb, camera, camera.pixels(line)


def offsets(found: Silhouette, camera: Camera, sides: PartSides) -> Floats:
    lifted = lift(camera, found.pixels, sides, found.closed)
    off: Floats = lifted.points[found.good & ~lifted.ambiguous, 0]
    return off


@pytest.mark.parametrize("beside", [-80.0, 45.0])
@pytest.mark.parametrize("kind", list(SIDES))
def test_a_straight_edge_is_found_where_it_is(kind: str, beside: float) -> None:
    rgb, camera, border = straight_edge(SIDES[kind], beside)
    # The coarse border wavers by two pixels and lies one off.
    wave = 2.0 * np.sin(np.linspace(0, 2 * np.pi, len(border)))[:, None] + 1.0
    coarse = border + wave * right_normals(border, False)
    found = find(rgb, camera, SIDES[kind], coarse, False)
    off = offsets(found, camera, SIDES[kind])
    assert np.mean(found.good) > 0.9
    assert abs(np.mean(off)) < 0.01
    assert np.sqrt(np.mean(off**2)) < 0.02


def test_an_edge_that_leaves_the_picture_is_good_up_to_there() -> None:
    rgb, camera, border = straight_edge(SIDES["crisp"], 45.0)
    # Five px from the picture's border at its end.
    longer = camera.pixels(camera.on_plane(border) * [1, 11 / 8])
    assert longer[:, 1].min() == pytest.approx(5, abs=2)
    found = find(rgb, camera, SIDES["crisp"], longer, False)
    assert np.mean(found.good) > 0.8
    assert np.abs(offsets(found, camera, SIDES["crisp"])).max() < 0.1


@pytest.mark.parametrize("part", [0.05, 0.55])
def test_dark_and_pale_parts_are_found_alike(part: float) -> None:
    rgb, camera, border = straight_edge(SIDES["rounded"], 60.0, part)
    found = find(rgb, camera, SIDES["rounded"], border, False)
    off = offsets(found, camera, SIDES["rounded"])
    assert abs(np.mean(off)) < 0.02
    assert np.sqrt(np.mean(off**2)) < 0.03


def test_the_stated_sigma_is_of_the_size_of_the_error() -> None:
    off, sigma = [], []
    for seed in range(6):
        rgb, camera, border = straight_edge(SIDES["crisp"], -60.0, noise=0.02, seed=seed)
        found = find(rgb, camera, SIDES["crisp"], border, False)
        off.append(offsets(found, camera, SIDES["crisp"])[3:-3] * 9.0)
        sigma.append(found.sigma)
    error = np.sqrt(np.mean(np.concatenate(off) ** 2))
    assert 0.3 < np.median(np.concatenate(sigma)) / error < 3


@pytest.mark.parametrize("kind", list(SIDES))
def test_a_disc_under_the_camera_is_round(kind: str) -> None:
    sides, radius, height = SIDES[kind], 8.5, 300.0
    camera = camera_at(np.zeros(2), height)
    # The camera stands over the disc's middle: every place of its edge looks alike, and the rays
    # lean outwards by the same.
    edge = 0.0
    for _ in range(4):
        places, light = lit_edge(sides, (radius + edge) / height, reach=20.0)
        edge = float(places[np.flatnonzero(light != light[-1])[-1]])

    def scene(x: Floats, y: Floats) -> Floats:
        at = camera.on_plane(np.column_stack([x.ravel(), y.ravel()]))
        return np.interp(np.hypot(*at.T) - radius, places, light).reshape(x.shape)

    rgb = developed(area_light(SIZE, scene, fine=2), 0.7, 0.006, seed=4)
    angle = np.linspace(0, 2 * np.pi, 120, endpoint=False)
    top = (radius + 0.3) * np.column_stack([np.cos(angle), np.sin(angle)])
    found = find(rgb, camera, sides, camera.pixels(top), True)
    lifted = lift(camera, found.pixels, sides, True)
    off = np.hypot(*lifted.points.T) - radius
    assert found.closed
    assert np.mean(found.good) > 0.95
    assert abs(off.mean()) < 0.01
    assert np.sqrt(np.mean(off**2)) < 0.02


@pytest.mark.parametrize("closed", [False, True])
def test_the_way_stays_on_its_edge_where_another_is_likelier_for_a_while(closed: bool) -> None:
    doubt = np.full((400, 41), 20.0)
    doubt[:, 10] = 0.0
    doubt[150:190, 10], doubt[150:190, 30] = 4.0, 0.0
    assert (doubt[150:190].argmin(axis=1) == 30).all()
    assert (edge_path(doubt, closed) == 10).all()


def test_the_way_follows_an_edge_that_runs_aslant() -> None:
    place = np.round(np.linspace(5, 35, 300)).astype(int)
    doubt = np.minimum(2.0 * np.abs(np.arange(41) - place[:, None]), 20.0)
    assert np.abs(edge_path(doubt, False) - place).max() <= 1


def test_resampled_points_stand_evenly_on_the_line() -> None:
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    circle = 20 * np.column_stack([np.cos(angle), np.sin(angle)])
    even = resample(circle, 1.5, closed=True)
    gaps = np.linalg.norm(even - np.roll(even, 1, axis=0), axis=1)
    assert len(even) == round(2 * np.pi * 20 / 1.5)
    assert np.ptp(gaps) < 0.01
    line = resample(np.array([[0.0, 0], [10, 0]]), 1.0, closed=False)
    np.testing.assert_allclose(line, np.column_stack([np.arange(11.0), np.zeros(11)]))


def test_smoothing_keeps_a_straight_line_and_its_ends() -> None:
    line = np.column_stack([np.linspace(0, 30, 31), np.linspace(5, -4, 31)])
    np.testing.assert_allclose(smoothed(line, 4, False), line, atol=1e-9)
    noisy = line + np.random.default_rng(1).normal(0, 0.3, line.shape)
    calm = smoothed(noisy, 3, False)
    assert np.std(calm - line) < 0.6 * np.std(noisy - line)
    np.testing.assert_array_equal(smoothed(noisy, 0, False), noisy)


def test_normals_lie_to_the_right_as_seen_on_the_sheet() -> None:
    # In the picture y runs down: a walk towards +x on the sheet has the sheet's -y to its right,
    # which is the picture's +y.
    walk = np.column_stack([np.arange(9.0), np.zeros(9)])
    np.testing.assert_allclose(right_normals(walk, False), [[0, 1]] * 9, atol=1e-12)


@pytest.mark.parametrize("kind", ["crisp", "chamfered"])
def test_the_foot_is_found_where_the_coarse_border_followed_the_crease_of_the_wall(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    sides = SIDES[kind]
    monkeypatch.setitem(globals(), "SIZE", (430, 520))
    rgb, camera, border = straight_edge(sides, 80.0)
    border = camera.pixels(camera.on_plane(border) * [1, 3])
    crease = float(9.0 * widths(sides, np.array([-0.26]))[1][0])
    assert crease > 12
    coarse = border - crease * right_normals(border, False)
    found = find(rgb, camera, sides, coarse, False)
    lifted = lift(camera, found.pixels, sides, False)
    middle = slice(len(lifted.points) // 3, 2 * len(lifted.points) // 3)
    assert found.good[middle].all()
    assert np.abs(lifted.points[middle, 0]).max() < 0.05


def test_a_grainy_part_as_bright_as_the_sheet_is_told_by_its_grain() -> None:
    """Half of each row is grain, half smooth, of one mean: only the widths differ."""
    rng = np.random.default_rng(5)
    rgb, camera, border = straight_edge(SIDES["crisp"], 0.0, part=0.74, noise=0.004)
    inside = camera.on_plane(np.indices(rgb.shape[1::-1]).reshape(2, -1).T.astype(float))[:, 0] < 0
    grain = np.where(inside, rng.normal(0, 12, len(inside)), 0).reshape(rgb.shape[1::-1]).T
    grainy = np.clip(rgb + grain[..., None], 0, 255).astype(np.uint8)
    found = find(grainy, camera, SIDES["crisp"], border, False)
    lifted = lift(camera, found.pixels, SIDES["crisp"], False)
    assert np.abs(np.median(lifted.points[:, 0])) * 9 < 1.5


def test_an_edge_is_no_surer_than_two_looks_at_it_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    rgb, camera, border = straight_edge(SIDES["crisp"], 60.0)
    alike = find(rgb, camera, SIDES["crisp"], border, False)
    first_look = silhouette._first_look

    def elsewhere(*given: Any) -> tuple[Floats, Floats]:
        told, line = first_look(*given)
        half = told[: len(told) // 2]
        return half + 1.5 * right_normals(half, False), line

    monkeypatch.setattr(silhouette, "_first_look", elsewhere)
    apart = find(rgb, camera, SIDES["crisp"], border, False)
    n = len(apart.sigma)
    # The standard deviation of two values that differ by 1.5, and where there is one look its own.
    assert apart.sigma[8 : n // 2 - 8] == pytest.approx(1.5 / np.sqrt(2), abs=0.1)
    assert np.all(apart.sigma[n // 2 + 8 :] <= alike.sigma[n // 2 + 8 :])
    assert np.array_equal(apart.pixels, alike.pixels)
    assert np.array_equal(apart.good, alike.good)


def test_what_was_thought_is_a_density_about_the_edge() -> None:
    rgb, camera, border = straight_edge(SIDES["crisp"], 60.0)
    found = find(rgb, camera, SIDES["crisp"], border, False)
    places = np.arange(-12, 12, 0.02)
    assert found.belief is not None
    density = found.belief.density(places)[8:-8]
    inside = density.sum(axis=1) * 0.02
    assert np.all((inside > 0.9) & (inside < 1.1))
    mean = (density * places).sum(axis=1) / density.sum(axis=1)
    assert np.abs(mean).max() < 0.15
    assert found.other is not None
    assert np.all(found.other[8:-8, 1] < 0.2)
