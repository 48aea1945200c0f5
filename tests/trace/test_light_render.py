"""The renderer of unseen photos against OpenCV's projection, hulls and plane geometry."""

import numpy as np
import pytest
from light_render import Lamp, Material, Rays, Scene, render, spread, thrown_up
from made_solids import convex_silhouette, rounded_rectangle_line
from made_views import camera_over, phone_lens, seen_by_opencv
from printed_sheet import PAPER, Sheet
from scipy.integrate import dblquad
from scipy.ndimage import map_coordinates
from scipy.spatial import ConvexHull
from sensor import Sensor, developed
from shapely import LinearRing, Polygon, contains_xy, points
from solid_parts import (
    MISSED,
    FilletedPolygon,
    RoundedRectangle,
    SmoothCurve,
    Solid,
    superellipse,
    waved,
)

from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.sheet.frame_description import read_frame

SMALL = (800, 600)
FRAME = read_frame("border-a4")
SHEET = Sheet(FRAME, (0.997, 1.002))
BLACK = Material((0.0, 0.0, 0.0))
SLAB = Solid(RoundedRectangle(120, 60, 10), 8, origin=(150, 105))


def small_camera(radial=(0.02, -0.03, 0.01, 0.0), **view):
    lens = phone_lens(300.0, radial, (202.0, 147.0), (400, 300))
    return camera_over((150, 105), 330, **{"tilt_deg": 18, **view}, lens=lens)


def meets(solid, camera, pixels):
    x, y, sx, sy, _ = Rays(camera)(*pixels.T)
    return solid.hit(*solid.local(x, y), *solid.turned(sx, sy))[0] != MISSED


def test_rays_meet_the_sheet_where_opencv_projects_from():
    camera = camera_over((140, 90), 320, tilt_deg=25)
    at = np.random.default_rng(1).uniform(0, 200, (500, 2))
    for height in (0.0, 15.0):
        pixels = seen_by_opencv(camera, np.column_stack([at, np.full(len(at), height)]))
        x, y, sx, sy, _ = Rays(camera)(*pixels.T)
        np.testing.assert_allclose(x + height * sx, at[:, 0], atol=1e-4)
        np.testing.assert_allclose(y + height * sy, at[:, 1], atol=1e-4)


@pytest.mark.parametrize(
    "outline",
    [
        RoundedRectangle(90, 40, 12),
        FilletedPolygon(np.array([[-40, -20], [35, -25], [50, 10], [0, 30]]), 4.0),
        FilletedPolygon(np.array([[-40, -20], [35, -25], [5, 3], [0, 30]])),
        SmoothCurve(superellipse(90, 50, 5).points, reach=8),
        SmoothCurve(waved(90, 60, 4, 0.08).points, reach=8),
    ],
)
def test_distances_are_those_of_the_ring(outline):
    rng = np.random.default_rng(2)
    at = np.concatenate([p + rng.normal(0, 1, p.shape) for p in [outline.ring()[::7]]])
    ring = outline.ring()
    true = LinearRing(ring).distance(points(at))
    true = np.where(contains_xy(Polygon(ring), *at.T), -true, true)
    # Inside, beyond a fillet's middle, the distance to the fillet is not asked for.
    near = true > -1.0
    got = outline.distance(*at[near].T.astype(np.float32))
    np.testing.assert_allclose(got, true[near], atol=3e-3)


@pytest.mark.parametrize("edge", [("none", 0.0), ("round", 2.0), ("chamfer", 1.5)])
@pytest.mark.parametrize("draft", [0.0, 0.04])
def test_the_silhouette_of_a_rounded_plate_is_its_hull(edge, draft):
    lens = phone_lens(radial=(0.0, 0.0, 0.0, 0.0))
    camera = camera_over((150, 100), 320, tilt_deg=22, lens=lens)
    sides = PartSides(12.0, 0.0, *edge, draft)
    line, normals = rounded_rectangle_line(130, 70, 15, (140, 95), 0.3)
    hull = convex_silhouette(camera, line, normals, sides, 7.0)
    solid = Solid(RoundedRectangle(130, 70, 15), 12.0, *edge, draft, (140, 95), 0.3)
    ring = Polygon(hull)
    within = np.asarray(ring.buffer(-0.03).exterior.coords)
    around = np.asarray(ring.buffer(0.03).exterior.coords)
    assert meets(solid, camera, within).all()
    assert not meets(solid, camera, around).any()


def test_the_silhouette_of_a_box_is_the_hull_of_its_corners_by_opencv():
    lens = phone_lens(radial=(0.0, 0.0, 0.0, 0.0))
    camera = camera_over((150, 100), 300, tilt_deg=28, azimuth_deg=100, lens=lens)
    foot = np.array([[100, 60], [210, 75], [200, 130], [95, 120.0]])
    corners = [np.column_stack([foot, np.full(4, z)]) for z in (0.0, 14.0)]
    pixels = seen_by_opencv(camera, np.concatenate(corners))
    ring = Polygon(pixels[ConvexHull(pixels).vertices])
    solid = Solid(FilletedPolygon(foot), 14.0)
    line = [np.asarray(ring.buffer(b).exterior.segmentize(5).coords) for b in (-0.03, 0.03)]
    assert meets(solid, camera, line[0]).all()
    assert not meets(solid, camera, line[1]).any()


def test_markers_and_a_black_box_stand_where_opencv_projects_them():
    lens = phone_lens(1400.0, (0.02, -0.03, 0.01, 0.0), (402.0, 297.0), SMALL)
    camera = camera_over((70, 160), 330, tilt_deg=18, lens=lens)
    foot = np.array([[65, 125], [130, 125], [130, 160], [65, 160.0]])
    # With the lamp above the camera all shadow is hidden by the box.
    lamp = Lamp((*camera.centre[:2], 900.0), 0.1, 1.0)
    picture = render(
        Scene(camera, SHEET, Solid(FilletedPolygon(foot), 6.0), BLACK, (lamp,), 0.0, spots=1)
    )
    picture = picture[..., 1].astype(np.float64)
    box = np.concatenate([np.column_stack([foot, np.full(4, z)]) for z in (0.0, 6.0)])
    box = seen_by_opencv(camera, box)
    places = np.concatenate([FRAME.corners * SHEET.scale, np.zeros((44, 4, 1))], axis=2)
    quads = seen_by_opencv(camera, places.reshape(-1, 3)).reshape(-1, 4, 2)
    whole = np.all((quads > 8) & (quads < np.array(SMALL) - 8), axis=(1, 2))
    assert whole.sum() > 8
    markers = np.concatenate([edge_errors(picture, quad) for quad in quads[whole]])
    assert np.abs(markers).max() < 0.015
    assert np.abs(edge_errors(picture, box[ConvexHull(box).vertices])).max() < 0.015


def edge_errors(picture, quad, half=2.0):
    """How far (px, outwards) the edges of a dark convex polygon stand from where they should."""
    share = np.linspace(0.2, 0.8, 25)[:, None]
    across = np.linspace(-half, half, 81)
    errors = []
    for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True):
        if np.linalg.norm(b - a) < 14:
            continue
        normal = np.array([b[1] - a[1], a[0] - b[0]]) / np.linalg.norm(b - a)
        normal *= np.sign(normal @ ((a + b) / 2 - quad.mean(axis=0)))
        at = (a + share * (b - a))[:, None] + across[:, None] * normal
        light = map_coordinates(picture, [at[..., 1], at[..., 0]], order=1)
        level = (light - light[:, :1]) / (light[:, -1:] - light[:, :1])
        errors.append(half - level.mean(axis=1) * 2 * half)
    return np.mean(errors, axis=1)


def test_a_small_lamp_throws_the_shadow_of_plane_geometry():
    lamp = np.array([-300.0, 250.0, 500.0])
    foot = np.array([[120, 80], [180, 80], [180, 130], [120, 130.0]])
    solid = Solid(FilletedPolygon(foot), 10.0)
    far = lamp[:2] + (foot - lamp[:2]) * lamp[2] / (lamp[2] - 10.0)
    shade = Polygon(np.concatenate([foot, far])).convex_hull
    camera = small_camera(tilt_deg=0)
    scene = Scene(camera, SHEET, solid, BLACK, (Lamp(tuple(lamp), 1.0, 1.0),), 0.0, spots=2)
    picture = render(scene)[..., 1]
    dark = np.asarray(shade.buffer(-1.0).exterior.segmentize(0.5).coords)
    dark = dark[~contains_xy(Polygon(foot).buffer(4), *dark.T)]
    bright = np.asarray(shade.buffer(1.2).exterior.segmentize(0.5).coords)
    bright = bright[~contains_xy(Polygon(foot).buffer(4), *bright.T)]

    def light(at):
        u, v = np.round(seen_by_opencv(camera, np.column_stack([at, 0 * at[:, 0]]))).astype(int).T
        return picture[v, u]

    assert len(dark) > 50
    assert light(dark).max() < 0.05
    assert light(bright).min() > 0.5


def test_the_sheet_is_darker_close_to_the_part_in_the_rooms_light():
    camera = small_camera(tilt_deg=0)
    scene = Scene(camera, SHEET, SLAB, BLACK, (), 1.0, shade=0.5)
    picture = render(scene)[..., 1]
    at = np.array([[150, 136.0], [150, 143], [150, 170]])
    u, v = np.round(seen_by_opencv(camera, np.column_stack([at, 0 * at[:, 0]]))).astype(int).T
    near, mid, far = picture[v, u]
    # A wall 8 mm high 1 mm away hides (1 - 1 / sqrt(65)) / 2 of the light: Lambert's cosine law.
    assert near == pytest.approx(1 - (1 - 65**-0.5) / 2, abs=0.06)
    assert near < mid < far
    assert far == pytest.approx(1, abs=0.08)


def test_a_polished_part_mirrors_the_lamp_where_reflection_says():
    camera = small_camera(tilt_deg=10)
    top = SLAB.thickness
    place = np.array([150.0, 105.0, top])
    view = camera.centre - place
    lamp = place + 1.5 * view * [-1, -1, 1]
    gloss = Material((0.02, 0.02, 0.02), gloss=0.05, roughness=0.02)
    scene = Scene(camera, SHEET, SLAB, gloss, (Lamp(tuple(lamp), 5.0, 0.5),), 0.2, spots=2)
    picture = render(scene)[..., 1]
    v, u = np.unravel_index(picture.argmax(), picture.shape)
    np.testing.assert_allclose([u, v], seen_by_opencv(camera, place[None])[0], atol=1.5)


def test_noise_and_levels_are_those_of_photon_counts():
    flat = np.ones((400, 400, 3), np.float32)
    sensor = Sensor(white=0.5, vignette=0.0, electrons=2000, read=0.0, sharpen=0.0)
    coded = developed(flat, sensor, seed=3) / 255
    linear = ((coded + 0.055) / 1.055) ** 2.4  # IEC 61966-2-1
    assert linear.mean() == pytest.approx(0.5, abs=1e-3)
    # Poisson: the variance is the mean over the electrons at full scale.
    assert linear.std() == pytest.approx(np.sqrt(0.5 / 2000), rel=0.02)


def test_blur_moves_no_edge_in_linear_light():
    flat = np.ones((80, 80, 3), np.float32)
    flat[:, :40] = 0.1
    sensor = Sensor(white=0.6, vignette=0.0, blur=1.2, electrons=1e9, read=0.0, sharpen=0.0)
    row = developed(flat, sensor)[40, :, 1] / 255
    linear = np.where(row <= 0.04045, row / 12.92, ((row + 0.055) / 1.055) ** 2.4)
    level = (linear - linear[20]) / (linear[60] - linear[20])
    assert 60 - level[20:60].sum() == pytest.approx(40, abs=0.02)


def test_a_rounding_goes_over_into_the_top_without_a_line():
    solid = Solid(RoundedRectangle(120, 60, 10), 8, "round", 3.0, origin=(150, 105))
    white = Material((0.8, 0.8, 0.8))
    lamp = (Lamp((150.0, 500.0, 600.0), 100.0, 0.6),)
    lens = phone_lens(1400.0, (0.0, 0.0, 0.0, 0.0), (100.0, 80.0), (200, 160))
    camera = camera_over((150, 135), 300, tilt_deg=0, lens=lens)
    picture = render(Scene(camera, SHEET, solid, white, lamp, 0.4, spots=8, shade=0.5))[..., 1]
    at = np.column_stack([np.full(60, 150.0), np.linspace(128, 133.5, 60), np.full(60, 8.0)])
    row = map_coordinates(picture, seen_by_opencv(camera, at).T[::-1], order=1)
    # The rounding turns towards the lamp: it can only get lighter towards it.
    assert np.diff(row).min() > -0.004


HEIGHTS = np.geomspace(0.05, 20, 200).astype(np.float32)
# Every place of the sheet that counts stands for 1 / 89 of the view of it; a border within it
# leaves half of that in doubt.
HALF_A_PLACE = 0.5 / 89


def got_from(light, z=HEIGHTS, up=0.0, turn=0.0):
    """What places above the origin get, whose normal rises by an angle of sine `up`."""
    flat = np.sqrt(1 - up * up)
    normal = np.array([[flat * np.cos(turn), flat * np.sin(turn), up]], np.float32)

    def sheet(x, y):
        return np.asarray(light(x, y), np.float32)[:, None]

    zero = np.zeros_like(z)
    return thrown_up(sheet, zero, zero, z, np.repeat(normal, len(z), axis=0))[:, 0]


@pytest.mark.parametrize("up", [-0.1, 0.0, 0.05, 0.6, 0.98])
def test_an_even_sheet_fills_its_share_of_the_view(up):
    # Isotropic radiance on a tilted plane: (1 - cos tilt) / 2 of it comes from the ground (Liu and
    # Jordan 1963, from memory).
    got = got_from(lambda x, y: np.ones_like(x), up=up)
    np.testing.assert_allclose(got, (1 - up) / 2, rtol=1e-5)


@pytest.mark.parametrize("strip", [(0.5, 2.0), (0.0, 5.0), (4.0, 30.0)])
@pytest.mark.parametrize("up", [0.0, 0.05, 0.6])
def test_a_dark_strip_takes_away_its_configuration_factor(strip, up):
    # An element sees an infinite strip by (sin q2 - sin q1) / 2, q from its normal (Siegel and
    # Howell, Thermal Radiation Heat Transfer, from memory).
    def below(s):
        return np.sin(np.minimum(np.arcsin(up) + np.arctan2(HEIGHTS, s), np.pi / 2))

    got = got_from(lambda x, y: (x < strip[0]) | (x > strip[1]), up=up)
    want = (1 - up) / 2 - (below(strip[0]) - below(strip[1])) / 2
    np.testing.assert_allclose(got, want, atol=2.1 * HALF_A_PLACE * (1 - up) / 2)


@pytest.mark.parametrize("turn", [0.0, 2.5])
def test_a_bright_rectangle_gives_its_configuration_factor(turn):
    # An element at right angles to a rectangle, a long ahead and b wide, whose corner is its foot
    # (Siegel and Howell, as above; from memory, and found again by integrating).
    a, b = 8.0, 5.0
    c, s = np.cos(turn), np.sin(turn)

    def light(x, y):
        x, y = c * x + s * y, c * y - s * x
        return (x > 0) & (x < a) & (y > 0) & (y < b)

    z = HEIGHTS.astype(np.float64)
    far = np.hypot(a, z)
    want = (np.arctan(b / z) - z / far * np.arctan(b / far)) / (2 * np.pi)
    got = got_from(light, turn=turn)
    # Three borders cut it, each within a place or so.
    np.testing.assert_allclose(got, want, atol=6 * HALF_A_PLACE / 2)
    assert np.abs(got - want).mean() < 0.8 * HALF_A_PLACE


@pytest.mark.parametrize("z", [0.3, 2.0, 9.0])
@pytest.mark.parametrize("up", [0.0, 0.5])
def test_an_uneven_sheet_gives_what_quadrature_gives(z, up):
    def light(s, t):
        return 1 + 0.5 * np.sin(0.4 * s + 1) * np.exp(-((t - 2) ** 2) / 50)

    def element(t, s):  # Lambert's cosine law at both ends, over pi times the distance squared
        squared = s * s + t * t + z * z
        facing = max(s * np.sqrt(1 - up * up) - z * up, 0.0)
        return (light(s, t) - 1) * facing * z / (np.pi * squared**2)

    want = (1 - up) / 2 + dblquad(element, 0, 400, -60, 60, epsabs=1e-5)[0]
    got = got_from(light, np.float32([z]), up)
    assert got[0] == pytest.approx(want, abs=0.003)


def test_the_foot_of_a_wall_gets_the_light_before_it():
    got = got_from(lambda x, y: x < 1.0, np.float32([0.0, 0.002]))
    np.testing.assert_allclose(got, 0.5, atol=1e-6)


def test_a_rough_surface_spreads_as_a_gaussian_and_not_into_itself():
    normal = np.array([[0.0, 0, 1]], np.float32)
    straight, rough = normal.copy(), 0.2
    ways = np.concatenate(list(spread(straight, normal, rough)))
    np.testing.assert_allclose(np.linalg.norm(ways, axis=1), 1, atol=1e-5)
    # exp(-(angle / r)^2) over the plane has the mean square r^2.
    assert np.mean(np.arccos(ways[:, 2]) ** 2) == pytest.approx(rough**2, rel=0.03)
    np.testing.assert_allclose(ways[:, :2].mean(axis=0), 0, atol=0.02)
    grazing = np.array([[np.cos(0.1), 0, np.sin(0.1)]], np.float32)
    assert min(way[0, 2] for way in spread(grazing, normal, rough)) >= 0


def test_a_wall_behind_a_hard_shadow_shows_no_step():
    # All light on the wall turned away from the lamp comes from the sheet beyond the shadow.
    # On A3 the print is so far off that it hardly counts; the lamp so far that its light is even.
    sheet = Sheet(read_frame("border-a3"))
    middle, tall = sheet.frame.window.mean(axis=0), 8.0
    foot = middle + np.array([[-90, 0], [90, 0], [90, 40], [-90, 40.0]])
    solid = Solid(FilletedPolygon(foot), tall)
    lamp = Lamp((middle[0], middle[1] + 9000.0, 9000.0), 80.0, 1.0)
    lens = phone_lens(2000.0, (0.0, 0.0, 0.0, 0.0), (300.0, 225.0), (600, 450))
    camera = camera_over(middle, 300, tilt_deg=35, azimuth_deg=-90, lens=lens)
    white = Material((0.8, 0.8, 0.8))
    picture = render(Scene(camera, sheet, solid, white, (lamp,), 0.0))[..., 1]
    z = np.linspace(0.4, tall - 0.4, 60)
    wall = np.column_stack([np.tile(middle, (60, 1)), z])
    row = map_coordinates(picture, seen_by_opencv(camera, wall).T[::-1], order=1)
    # Beyond a shadow as long as the wall is high (the lamp stands at 45 degrees) the sheet fills
    # z / (2 hypot(z, tall)) of the view.
    want = 0.8 * z / np.hypot(z, tall) / 2
    place = 2 * HALF_A_PLACE * 0.8 / 2
    np.testing.assert_allclose(row, want, atol=place, rtol=0.08)
    assert np.diff(row).max() < 2 * place


def test_a_wall_gets_light_by_what_is_printed_before_it():
    # One wall stands 3 mm before the end of the dark print, the other deep within it.
    sheet = Sheet(read_frame("border-a4-dark"), window_ink=0.06)
    end = sheet.frame.window.min(axis=0)[1] + 3.0
    foot = np.array([[110, end], [190, end], [190, end + 60], [110, end + 60]])
    solid, white = Solid(FilletedPolygon(foot), 6.0), Material((0.8, 0.8, 0.8))
    lens = phone_lens(1000.0, (0.0, 0.0, 0.0, 0.0), (150.0, 110.0), (300, 220))
    walls = []
    for y, azimuth in ((end, -90), (end + 60, 90)):
        camera = camera_over((150, y), 300, tilt_deg=35, azimuth_deg=azimuth, lens=lens)
        picture = render(Scene(camera, sheet, solid, white, (), 1.0, shade=0.5))[..., 1]
        at = seen_by_opencv(camera, np.array([[150.0, y, 3.0]]))
        walls.append(map_coordinates(picture, at.T[::-1], order=1)[0])
    # By the strip's configuration factor, 3 mm up, were the paper bare and in full light; some of
    # that the part and the markers take away.
    most = 0.8 * (PAPER[1] - 0.06) * (0.5 * np.sqrt(0.5)) / PAPER[1]
    assert 0.6 * most < walls[0] - walls[1] < most
