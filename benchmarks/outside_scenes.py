"""Random scenes for `mitsuba_render.py`, by number: outlines with holes, surfaces, light, cameras.

All is drawn otherwise than in `unseen_scenes.py`.
"""

from dataclasses import dataclass

import numpy as np
from mitsuba_render import Light, MeshSolid, OutsideScene, View, filleted, smooth
from printed_sheet import Sheet
from sensor import Sensor
from shapely import Polygon, box
from surfaces import SURFACES, surface
from unseen_scenes import HARD_LAMP, STEEP_DEG

from snugline.trace.sheet.frame_description import read_frame

SIZE = (4000, 3000)
ROWS = ("matt", "wood", "granular", "pale", "glazed", "metal", "print", "glass")
LIGHTS = ("window", "window", "ceiling", "ceiling", "lamp", "small lamp", "two")
_FREE = 7.0  # mm between a part that lies whole in the window and its border


@dataclass(frozen=True)
class Drawn:
    """A scene with the phone that takes it, and what it is in words."""

    number: int
    kind: str
    row: str
    light: str
    view: str
    shape: str
    scene: OutsideScene
    sensor: Sensor
    bent: tuple  # two radial terms of the lens, and where its axis meets the picture, px
    pale: bool
    mirrors: bool

    @property
    def hard(self):
        """Why the photo counts as hard, in the words of the accuracy bounds, or nothing."""
        scene, reasons = self.scene, []
        if self.pale and not scene.sheet.frame.window_dark:
            reasons.append("pale on white")
        if self.mirrors:
            reasons.append("glossy")
        for light in scene.lights:
            radius = light.size if np.isscalar(light.size) else np.sqrt(np.prod(light.size) / np.pi)
            if radius / np.linalg.norm(light.place - scene.middle) < HARD_LAMP:
                reasons.append("hard shadow")
        if scene.view.tilt_deg > STEEP_DEG:
            reasons.append("tilt")
        return ", ".join(dict.fromkeys(reasons))

    @property
    def words(self):
        """One line: what lies there and how it is taken."""
        solid, view = self.scene.solid, self.scene.view
        edge = f"{solid.edge} {solid.edge_size:.1f}" if solid.edge_size else "crisp"
        return (
            f"{self.view} {self.shape}, {len(solid.holes)} holes, {solid.thickness:.1f} thick, "
            f"{edge}, draft {np.degrees(solid.draft):.1f} deg, {self.light}, tilt "
            f"{view.tilt_deg:.0f}, {self.scene.sheet.frame.name}, lens {view.aperture:.1f} mm"
        )


def drawn(seed, number):
    """The scene of a number; each stands for itself."""
    rng = np.random.default_rng([seed, number, 3])
    kind = list(SURFACES)[number % len(SURFACES)]
    row, told, pale, mirrors, mm = surface(rng, kind)
    dark = pale and rng.random() < 0.4
    frame = read_frame(f"border-{rng.choice(['a4', 'a4', 'letter'])}" + "-dark" * dark)
    sheet = Sheet(frame, tuple(1 + rng.normal(0, 0.002, 2)), rng.uniform(-0.02, 0.05))
    solid, view, shape = _part(rng, frame.window, flat=kind == "glass")
    middle = np.append(frame.window.mean(axis=0), 0.0)
    light = str(rng.choice(LIGHTS))
    if kind == "glass":  # no light is sampled through it: it must be wide to be met by chance
        light = "ceiling"
    lights, room = _lights(rng, light, middle)
    warm = rng.normal(0, 0.04)
    benches = ((0.42, 0.29, 0.18), (0.2, 0.2, 0.21), (0.6, 0.57, 0.52), (0.07, 0.06, 0.06))
    scene = OutsideScene(
        view=_camera(rng, frame),
        sheet=sheet,
        solid=solid,
        surface=told,
        bitmap_mm=mm,
        lights=lights,
        room=room,
        room_colour=(1 + warm, 1.0, 1 - warm),
        bench=benches[rng.integers(len(benches))],
        seed=int(rng.integers(2**31)),
    )
    bent = (*rng.normal(0, (0.008, 0.004)), *rng.normal(0, 8, 2))
    sensor = Sensor(
        white=rng.uniform(0.6, 0.85),
        blur=rng.uniform(0.5, 1.1),
        vignette=rng.uniform(0.1, 0.3),
        balance=tuple(1 + rng.normal(0, 0.05, 3) * [1, 0, 1]),
        electrons=rng.uniform(3000, 9000),
        read=rng.uniform(0.001, 0.002),
        sharpen=float(rng.choice([0, 0.3, 0.6])),
        radius=rng.uniform(1.0, 2.0),
        quality=int(rng.integers(85, 97)),
    )
    return Drawn(number, kind, row, light, view, shape, scene, sensor, bent, pale, mirrors)


def _camera(rng, frame):
    """As near as shows the whole sheet, or up to a quarter farther off."""
    focal = rng.uniform(2700, 3300)
    tilt = np.radians(rng.choice([rng.uniform(2, 14), rng.uniform(8, 20), rng.uniform(16, 30)]))
    azimuth, roll = rng.uniform(0, 2 * np.pi, 2)
    at = np.append(frame.window.mean(axis=0) + rng.uniform(-15, 15, 2), 0.0)
    away = np.array([np.cos(azimuth) * np.sin(tilt), np.sin(azimuth) * np.sin(tilt), np.cos(tilt)])
    aperture, off = rng.uniform(0.2, 1.2), rng.uniform(-10, 10)

    def over(distance):
        place = tuple(float(v) for v in at + distance * away)
        return View(place, tuple(at), roll, focal, SIZE, aperture, distance + off)

    w, h = frame.sheet
    corners = [[0, 0, 0], [w, 0, 0], [w, h, 0], [0, h, 0]]
    distance = 200.0
    while True:
        seen = over(distance).pixels(corners)
        if np.all((seen > 60) & (seen < np.array(SIZE) - 60)):
            return over(distance * rng.uniform(1.0, 1.25))
        distance *= 1.02


def _part(rng, window, flat):
    low, high = window.min(axis=0), window.max(axis=0)
    room, middle = high - low, (low + high) / 2
    thickness = float(np.exp(rng.uniform(np.log(0.5), np.log(12 if flat else 25))))
    edge = str(rng.choice(["none", "round", "round", "chamfer"]))
    size = float(rng.uniform(0.2, min(3.0 if edge == "round" else 1.5, 0.45 * thickness)))
    if edge == "none" or thickness < 1:
        edge, size = "none", 0.0
    draft = float(np.radians(rng.choice([0, 0, rng.uniform(0.5, 4)])))
    inset = thickness * np.tan(draft) + size
    view = str(rng.choice(["whole", "whole", "end", "corner"]))
    for _ in range(1000):
        if view == "whole":
            sides = rng.uniform(0.45, 0.85, 2) * room
            loops, shape = _outline(rng, sides, inset)
            origin, turn = middle + rng.uniform(-8, 8, 2), rng.uniform(-0.6, 0.6)
        elif view == "end":
            sides = np.array([rng.uniform(1.1, 1.5), rng.uniform(0.4, 0.75)]) * room
            loops, shape = _outline(rng, sides, inset)
            turn = rng.uniform(-0.09, 0.09) + np.pi * rng.integers(2)
            into = np.sign(np.cos(turn))
            end = middle[0] + into * rng.uniform(0.1, 0.4) * room[0]
            origin = np.array([end - into * sides[0] / 2, middle[1] + rng.uniform(-8, 8)])
        else:
            sides = rng.uniform(1.2, 1.7, 2) * room
            loops, shape = _corner(rng, sides, inset)
            turn, sign = rng.uniform(-0.14, 0.14), rng.choice([-1, 1], 2)
            c, s = np.cos(turn), np.sin(turn)
            back = np.array([[c, -s], [s, c]]) @ (sign * sides / 2)
            origin = middle + sign * rng.uniform(0.02, 0.25, 2) * room - back
        if loops is None:
            continue
        placed = tuple(loop.placed(origin, turn) for loop in loops)
        solid = MeshSolid(placed, thickness, edge, size, draft)
        top = [loop.points - solid.inset * loop.normals for loop in placed]
        if not (Polygon(top[0], top[1:]).is_valid and Polygon(placed[0].points).is_valid):
            continue
        inner = box(*(low + _FREE), *(high - _FREE))
        if view == "whole" and not inner.contains(Polygon(placed[0].points)):
            continue
        return solid, view, shape
    raise RuntimeError("no part fits the window")


def _outline(rng, sides, inset):
    """Loops about the origin and what they are called; None where they do not fit."""
    a, b = sides / 2
    least = inset + 0.3
    shape = str(rng.choice(["rounded", "free", "polygon", "notched", "holes", "holes"]))
    corners = np.array([[-a, -b], [a, -b], [a, b], [-a, b]])
    if shape == "free":
        angle = 2 * np.pi * (np.arange(9) + rng.uniform(-0.2, 0.2, 9)) / 9
        knots = np.column_stack([a * np.cos(angle), b * np.sin(angle)])
        loop = smooth(knots * rng.uniform(0.8, 1.0, 9)[:, None])
        return ((loop,) if _bends(loop) > inset + 1 else None), shape
    if shape == "polygon":
        angle = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 8)))
        if np.diff(angle, append=angle[0] + 2 * np.pi).max() > 2.4:
            return None, shape
        corners = np.column_stack([a * np.cos(angle), b * np.sin(angle)])
        return _filleted(corners, rng.uniform(least, least + 8, len(corners))), shape
    if shape == "notched":
        at, wide, deep = (
            rng.uniform(-0.4, 0.4) * a,
            rng.uniform(0.1, 0.4) * a,
            rng.uniform(0.3, 1) * b,
        )
        if wide < inset + 3:
            return None, shape
        notch = [[at + wide, b], [at + wide, b - deep], [at - wide, b - deep], [at - wide, b]]
        corners = np.array([*corners[:3], *notch, corners[3]])
        return _filleted(corners, rng.uniform(least, least + 4, len(corners))), shape
    radius = rng.choice([rng.uniform(least, least + 3), rng.uniform(0.2, 0.95) * b])
    if not least < radius < 0.98 * min(a, b):
        return None, shape
    outer = filleted(corners, np.full(4, radius))
    if shape == "rounded":
        return (outer,), f"R {radius:.1f}"
    holes = []
    for side in (-1, 1)[: rng.integers(1, 3)]:
        p = np.array([side * rng.uniform(0.4, 0.6) * a, rng.uniform(-0.3, 0.3) * b])
        q = np.array([rng.uniform(4, 0.25 * a), rng.uniform(4, 0.4 * b)])
        hole = p + q * np.array([[-1, -1], [-1, 1], [1, 1], [1, -1]])
        holes.append(filleted(hole, np.full(4, rng.uniform(0.3, 0.99) * q.min())))
    return (outer, *holes), shape


def _filleted(corners, radii):
    """The loop, or None where neighbouring fillets would meet."""
    loop = filleted(corners, radii)
    return (loop,) if Polygon(loop.points).is_valid and Polygon(corners).is_valid else None


def _corner(rng, sides, inset):
    a, b = sides / 2
    radius = rng.choice([inset + rng.uniform(0.3, 5), inset + rng.uniform(5, 45)])
    return (filleted([[-a, -b], [a, -b], [a, b], [-a, b]], np.full(4, radius)),), f"R {radius:.1f}"


def _bends(loop):
    """The least radius of a smooth loop where it bulges, mm."""
    step = np.roll(loop.points, -1, axis=0) - loop.points
    turn = loop.normals[:, 0] * np.roll(loop.normals, -1, axis=0)[:, 1]
    turn -= loop.normals[:, 1] * np.roll(loop.normals, -1, axis=0)[:, 0]
    return float((np.linalg.norm(step, axis=1) / np.maximum(turn, 1e-9)).min())


def _lights(rng, light, middle):
    u = rng.uniform

    def place(up_deg, distance):
        up, round_ = np.radians(up_deg), u(0, 2 * np.pi)
        ahead = np.array([np.cos(round_) * np.cos(up), np.sin(round_) * np.cos(up), np.sin(up)])
        return tuple(float(v) for v in middle + distance * ahead)

    warm = rng.normal(0, 0.06)
    colour = (1 + warm, 1.0, 1 - warm)
    window = Light(place(u(25, 50), u(1000, 2200)), (u(500, 1000), u(700, 1300)), 0.6, colour)
    if light == "window":
        return (window,), 0.4
    if light == "ceiling":
        return (Light(place(u(60, 85), 1800.0), (u(300, 1200), u(300, 1200)), 0.6, colour),), 0.4
    if light == "lamp":
        return (Light(place(u(35, 70), u(500, 1300)), u(70, 130), u(0.5, 0.7), colour),), 0.4
    lamp = Light(place(u(35, 70), u(600, 1300)), u(12, 45), u(0.4, 0.7), colour)
    if light == "small lamp":
        return (lamp,), 0.35
    return (lamp, window), 0.3
