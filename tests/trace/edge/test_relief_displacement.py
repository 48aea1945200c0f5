"""Silhouettes of exact solids come back to the plan outline they were swept from."""

import numpy as np
import pytest
from made_solids import convex_silhouette, edge_profile, rounded_rectangle_line
from made_views import camera_over, phone_lens
from numpy.typing import NDArray
from shapely import LinearRing, Polygon, points, union_all

from snugline.errors import InputError
from snugline.trace.camera.projection import Camera
from snugline.trace.edge.part_sensitivity import sensitivities
from snugline.trace.edge.relief_displacement import PartSides, lift, outward_normals

Floats = NDArray[np.float64]
PLAIN = phone_lens(radial=(0.0, 0.0, 0.0, 0.0))
SIDES = {
    "crisp": PartSides(9.3),
    "rounded": PartSides(11.6, edge="round", edge_size=1.2),
    "fully rounded": PartSides(6.0, edge="round", edge_size=6.0),
    "chamfered": PartSides(7.4, edge="chamfer", edge_size=0.7),
    "drafted": PartSides(8.8, edge="round", edge_size=1.0, draft=np.radians(1.5)),
    "drafted, chamfered": PartSides(12.0, edge="chamfer", edge_size=2.0, draft=np.radians(2)),
    "flat": PartSides(0.0),
}
CAMERAS = {
    "over the part": camera_over([150, 105], height=320, tilt_deg=9, lens=PLAIN),
    "beside the part": camera_over([235, 150], height=290, tilt_deg=22, roll_deg=200, lens=PLAIN),
}


def errors(camera: Camera, pixels: Floats, sides: PartSides, ring: LinearRing) -> Floats:
    lifted = lift(camera, pixels, sides, closed=True)
    off: Floats = ring.distance(points(lifted.points[~lifted.ambiguous]))
    assert np.mean(~lifted.ambiguous) > 0.85
    return off


@pytest.mark.parametrize("view", list(CAMERAS))
@pytest.mark.parametrize("kind", list(SIDES))
def test_a_convex_part_is_lifted_to_a_hundredth_of_a_millimetre(kind: str, view: str) -> None:
    outline, normals = rounded_rectangle_line(110, 80, 18, centre=(150, 105), turn=0.1)
    pixels = convex_silhouette(CAMERAS[view], outline, normals, SIDES[kind])
    off = errors(CAMERAS[view], pixels, SIDES[kind], LinearRing(outline))
    assert off.max() < 0.01


@pytest.mark.parametrize("draft", [3, 5, 12])
def test_a_steep_draft_is_lifted_as_well(draft: float) -> None:
    sides = PartSides(10.0, draft=np.radians(draft))
    outline, normals = rounded_rectangle_line(110, 80, 18, centre=(150, 105), turn=0.1)
    for camera in CAMERAS.values():
        pixels = convex_silhouette(camera, outline, normals, sides)
        assert errors(camera, pixels, sides, LinearRing(outline)).max() < 0.01


@pytest.mark.parametrize("sides", [PartSides(10.0), PartSides(10.0, draft=np.radians(4))])
def test_noise_is_not_lifted_into_anything_larger(sides: PartSides) -> None:
    # One side lies along the look of the camera: foot and top edge hardly differ there.
    outline, normals = rounded_rectangle_line(110, 80, 3, centre=(150, 105))
    camera = camera_over([205, 105], height=300, tilt_deg=2, azimuth_deg=0, lens=PLAIN)
    pixels = convex_silhouette(camera, outline, normals, sides)
    noise = 0.2
    pixels = pixels + noise * np.random.default_rng(4).standard_normal(pixels.shape)
    off = errors(camera, pixels, sides, LinearRing(outline))
    one_px = 0.1  # mm
    assert np.sqrt(np.mean(off**2)) < 1.2 * noise * one_px
    assert off.max() < 6 * noise * one_px


def test_without_the_lift_the_same_silhouette_is_off_by_millimetres() -> None:
    outline, normals = rounded_rectangle_line(110, 80, 18, centre=(150, 105))
    camera = CAMERAS["beside the part"]
    pixels = convex_silhouette(camera, outline, normals, SIDES["crisp"])
    assert LinearRing(outline).distance(points(camera.on_plane(pixels))).max() > 2


def test_a_hollow_side_is_lifted_as_well() -> None:
    # A disc with a round bite: the sweep is not convex, so it is united from its sections.
    sides = PartSides(6.0, edge="round", edge_size=0.8)
    camera = CAMERAS["over the part"]
    plan = Polygon(points([150, 105]).buffer(50, quad_segs=120).exterior)
    plan = plan - points([205, 150]).buffer(40, quad_segs=120)
    plan = plan.buffer(-3, quad_segs=60).buffer(6, quad_segs=60).buffer(-3, quad_segs=60)
    sections = []
    for inset, height in edge_profile(sides, dense=20, wall_steps=20):
        line = np.asarray(plan.buffer(-inset, quad_segs=60).exterior.segmentize(0.3).coords)
        seen = camera.pixels(np.column_stack([line, np.full(len(line), height)]))
        sections.append(Polygon(seen).buffer(0))
    silhouette = np.asarray(union_all(sections).exterior.segmentize(1.5).coords)[:-1]
    if Polygon(camera.on_plane(silhouette)).exterior.is_ccw is False:
        silhouette = silhouette[::-1]
    off = errors(camera, silhouette, sides, plan.exterior)
    # The sections stand 0.27 mm apart, which is 0.03 mm of steps where the wall climbs away.
    assert np.quantile(off, 0.9) < 0.01
    assert off.max() < 0.06


def test_the_share_of_the_thickness_in_a_point_is_its_derivative() -> None:
    camera = CAMERAS["over the part"]
    outline, normals = rounded_rectangle_line(110, 80, 18, centre=(150, 105))
    pixels = convex_silhouette(camera, outline, normals, SIDES["rounded"])
    one = lift(camera, pixels, SIDES["rounded"], closed=True)
    thicker = PartSides(11.7, edge="round", edge_size=1.2)
    other = lift(camera, pixels, thicker, closed=True)
    moved = np.sum((other.points - one.points) * one.normals, axis=1) / 0.1
    usable = ~one.ambiguous & ~other.ambiguous
    stated = sensitivities(SIDES["rounded"], one.slope)["thickness"]
    np.testing.assert_allclose(stated[usable], moved[usable], atol=0.01)


def test_normals_point_out_of_the_part() -> None:
    angle = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    circle = 30 * np.column_stack([np.cos(angle), np.sin(angle)])
    np.testing.assert_allclose(outward_normals(circle, True, 5), circle / 30, atol=1e-9)
    line = np.column_stack([np.arange(10.0), np.zeros(10)])
    np.testing.assert_allclose(outward_normals(line, False, 3), [[0, -1]] * 10)


def test_a_ray_grazes_where_the_profile_reaches_farthest() -> None:
    slopes = np.linspace(-0.6, 0.6, 61)
    for sides in SIDES.values():
        inset, height = sides.contact(slopes)
        profile = edge_profile(sides, dense=4000, wall_steps=2)
        reach = profile[:, 1] * slopes[:, None] - profile[:, 0]
        np.testing.assert_allclose(height * slopes - inset, reach.max(axis=1), atol=1e-6)


@pytest.mark.parametrize(
    "wrong",
    [
        {"thickness": -1.0},
        {"thickness": float("nan")},
        {"thickness": float("inf")},
        {"thickness": 5.0, "edge": "round", "edge_size": 5.1},
        {"thickness": 5.0, "edge": "chamfer", "edge_size": -0.1},
        {"thickness": 5.0, "edge": "round", "edge_size": float("nan")},
        {"thickness": 5.0, "draft": np.radians(45)},
        {"thickness": 5.0, "draft": float("nan")},
    ],
)
def test_sides_that_no_part_has_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(InputError) as caught:
        PartSides(**wrong)  # type: ignore[arg-type]
    assert caught.value.where == "part"
    assert caught.value.mend
