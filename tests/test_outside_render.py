"""The outside renderer's meshes, print and camera: each against what they should be by geometry."""

import numpy as np
import pytest
from mitsuba_render import (
    INSTALL,
    Light,
    MeshSolid,
    OutsideScene,
    View,
    filleted,
    installed,
    render,
    smooth,
)
from printed_sheet import Sheet
from scipy.ndimage import map_coordinates
from shapely import LinearRing, Polygon, points

from snugline.trace.sheet.frame_description import read_frame

PLATE = [[-15, -10], [15, -10], [15, 10], [-15, 10]]
SQUARE = 4 * np.array([[-1, -1], [-1, 1], [1, 1], [1, -1]])  # clockwise: a hole


def _solid(thickness=6.0, edge="round", size=1.5, draft=0.03):
    outer = filleted(PLATE, [5, 4, 2, 3]).placed((150, 100), 0.1)
    hole = filleted(SQUARE, np.full(4, 3.99)).placed((152, 100), 0.0)
    return MeshSolid((outer, hole), thickness, edge, size, draft)


def _volume(solid):
    """mm^3 within a solid's faces by the divergence theorem; also their open borders' length."""
    total, border = 0.0, np.zeros(3)
    for at, normals, _, faces in solid.meshes():
        a, b, c = (at[faces[:, k]] for k in range(3))
        across = np.cross(b - a, c - a)
        total += np.sum(a * across) / 6
        border += across.sum(axis=0)
        assert np.sum(across * normals[faces[:, 0]]) > 0  # normals look the way the faces do
    return total, np.abs(border).max()


@pytest.mark.parametrize(("edge", "size"), [("none", 0.0), ("round", 1.5), ("chamfer", 1.0)])
@pytest.mark.parametrize("draft", [0.0, 0.05])
def test_a_mesh_is_closed_and_as_large_as_its_sections(edge, size, draft):
    solid = _solid(edge=edge, size=size, draft=draft)
    foot = Polygon(solid.ring(), solid.holes)
    z = np.concatenate([s[1] for s in solid.strips])
    inset = np.concatenate([s[0] for s in solid.strips])
    # Steiner: the parallel at a distance d within has area A - P d; a hole's bends take away
    # what the outline's give back (pi d^2 each).
    area = foot.area - foot.length * inset
    volume, open_ = _volume(solid)
    assert open_ < 1e-6
    assert volume == pytest.approx(np.trapezoid(area, z), rel=2e-4)


def test_fillets_are_arcs_of_their_radius():
    loop = filleted(PLATE, [5, 4, 2, 3])
    true = Polygon(PLATE).area - (1 - np.pi / 4) * (25 + 16 + 4 + 9)
    assert Polygon(loop.points).area == pytest.approx(true, abs=0.01)
    centre = np.array([-10.0, -5.0])
    near = np.linalg.norm(loop.points - centre, axis=1) < 5.1
    near &= np.all(loop.points < centre + 1e-9, axis=1)
    assert np.linalg.norm(loop.points[near] - centre, axis=1) == pytest.approx(5.0, abs=1e-9)
    assert loop.points[near] - centre == pytest.approx(5 * loop.normals[near], abs=1e-9)


def test_a_smooth_loop_has_short_chords_and_normals_that_look_out():
    angle = 2 * np.pi * np.arange(9) / 9
    loop = smooth(np.column_stack([80 * np.cos(angle), 50 * np.sin(angle)]))
    coarse = LinearRing(loop.points[::2])
    assert coarse.distance(points(loop.points[1::2])).max() < 0.001
    assert not Polygon(loop.points).contains(points(loop.points + 0.01 * loop.normals)).any()


@pytest.mark.skipif(not installed(), reason=f"Mitsuba 3 is not installed: {INSTALL}")
def test_a_thin_dark_plate_is_seen_where_it_lies():
    outer, hole = _solid().loops
    solid = MeshSolid((outer, hole), 0.02)
    view = View((220.0, 40.0, 330.0), (152.0, 101.0, 0.0), 0.3, 3050.0, (640, 480))
    surface = {"type": "twosided", "inside": {"type": "diffuse", "reflectance": 0.02}}
    sheet = Sheet(read_frame("border-a4"))
    picture = render(OutsideScene(view, sheet, solid, surface, 100.0, (), 1.0))[..., 1]
    across = np.arange(-0.8, 0.801, 0.01)
    for loop in (outer, hole):
        at = loop.points[:, None] + across[:, None] * loop.normals[:, None]
        pixels = view.pixels(np.column_stack([at.reshape(-1, 2), np.zeros(at.size // 2)]))
        light = map_coordinates(picture, pixels.T[::-1], order=1).reshape(len(loop.points), -1)
        dark, pale = light[:, :30].mean(axis=1), light[:, -30:].mean(axis=1)
        edge = np.sum((pale[:, None] - light) / (pale - dark)[:, None], axis=1) * 0.01 - 0.805
        # The plate's own shade, half its height and the air under it, adds up to 0.015 mm.
        assert -0.005 < edge.mean() < 0.02


@pytest.mark.skipif(not installed(), reason=f"Mitsuba 3 is not installed: {INSTALL}")
def test_a_marker_is_printed_where_the_frame_says(monkeypatch):
    monkeypatch.setattr("mitsuba_render._PLAIN", 64)
    frame = read_frame("border-a4")
    corners = frame.true_corners[frame.ids == frame.ids[5]][0]
    middle = np.append(corners.mean(axis=0), 0.0)
    place = middle + np.array([30.0, -20.0, 330.0])
    view = View(tuple(place), tuple(middle), 0.2, 3050.0, (400, 320))
    lamp = Light((900.0, 800.0, 1300.0), (700.0, 900.0), 0.6)
    surface = {"type": "diffuse", "reflectance": 0.1}
    scene = OutsideScene(view, Sheet(frame), _solid(), surface, 100.0, (lamp,), 0.4)
    picture = render(scene)[..., 1]
    sides = np.roll(corners, -1, axis=0) - corners
    outwards = np.column_stack([-sides[:, 1], sides[:, 0]])
    outwards /= np.linalg.norm(outwards, axis=1, keepdims=True)
    across = np.arange(-0.8, 0.801, 0.01)  # the ring of a marker's outer modules is dark
    share = np.linspace(0.1, 0.9, 40)
    for corner, side, out in zip(corners, sides, outwards, strict=True):
        at = corner + share[:, None, None] * side + across[:, None] * out
        pixels = view.pixels(np.column_stack([at.reshape(-1, 2), np.zeros(at.size // 2)]))
        light = map_coordinates(picture, pixels.T[::-1], order=1).reshape(40, -1).mean(axis=0)
        dark, pale = light[:30].mean(), light[-30:].mean()
        edge = np.sum((pale - light) / (pale - dark)) * 0.01 - 0.805
        assert abs(edge) < 0.0022  # mm, 0.02 px
