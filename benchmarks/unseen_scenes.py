"""Random scenes of a part on a printed sheet, by number: parts, poses, light and phones.

`drawn` makes all kinds together; `drawn_of` scenes of one hard kind of `ROWS`, all else at random.
"""

from dataclasses import dataclass, replace

import numpy as np
from light_render import Lamp, Material, Scene
from made_views import camera_over
from printed_sheet import Sheet
from sensor import Sensor
from solid_parts import FilletedPolygon, RoundedRectangle, Solid, superellipse, waved

from snugline.trace.camera.lens import Lens
from snugline.trace.sheet.frame_description import read_frame

SIZE = (4000, 3000)
KINDS = (
    "dark matt",
    "stone",
    "wood",
    "pale on white",
    "white on dark",
    "glossy dark",
    "printed",
    "pale wood",
    "glossy pale",
    "mid grey",
)
# As often as people photograph by them: a window, a ceiling; a lamp, two of them, one close by.
LIGHTS = ("window", "window", "window", "ceiling", "ceiling", "lamp", "two", "near lamp")
# Paper sends back some 0.85; what sends back half of it or more is pale beside it.
PALE = 0.42
# A lamp seen under less than this from the part throws a hard shadow (radians, its radius).
HARD_LAMP = 0.12
STEEP_DEG = 27.0
# What is asked of one row of a table; what is not named is drawn as ever. `clear` is what most
# photos should be: a dark or mid-toned part in even light, seen nearly from above.
_MATT = ("dark matt", "stone", "wood", "mid grey", "printed", "pale wood")
_EVEN = ("window", "ceiling")
ROWS = {
    "clear": {"kind": ("dark matt", "stone", "wood", "mid grey"), "light": _EVEN, "tilt": (5, 22)},
    "pale on white": {"kind": ("pale on white", "pale wood")},
    "mirrored lamp": {"kind": ("glossy dark", "glossy pale"), "light": ("mirrored",)},
    "hard shadow": {"kind": _MATT, "light": ("bulb",)},
    "grain": {"kind": ("wood", "pale wood"), "contrast": (0.15, 0.3)},
    "granular": {"kind": ("stone",), "contrast": (0.2, 0.4)},
    "print": {"kind": ("printed",)},
    "steep view": {"kind": _MATT, "tilt": (28, 32)},
    "motion blur": {"kind": _MATT, "motion": 4.0},
    "thin card": {"kind": (*_MATT, "pale on white"), "thickness": (0.3, 0.9)},
}


@dataclass(frozen=True)
class Drawn:
    """A scene with the phone that takes it, and what it is in words."""

    number: int
    kind: str
    light: str
    view: str
    shape: str
    scene: Scene
    sensor: Sensor
    focal_35mm: float

    @property
    def hard(self):
        """Why the photo counts as hard, in the words of the accuracy bounds, or nothing."""
        scene, reasons = self.scene, []
        material = scene.material
        lightest = float(np.dot(material.colour, (0.2126, 0.7152, 0.0722)))  # Rec. 709 luminance
        if material.texture == "print":
            lightest *= 1 + material.contrast
        if lightest > PALE and not scene.sheet.frame.window_dark:
            reasons.append("pale on white")
        if material.gloss and material.roughness < 0.15:
            reasons.append("glossy")
        if any(
            lamp.radius / np.linalg.norm(lamp.place - scene.middle) < HARD_LAMP
            for lamp in scene.lamps
        ):
            reasons.append("hard shadow")
        if scene.camera.tilt_deg > STEEP_DEG:
            reasons.append("tilt")
        if self.sensor.motion:
            reasons.append("motion blur")
        return ", ".join(reasons)

    @property
    def words(self):
        """One line: what lies there and how it is taken."""
        solid, sensor = self.scene.solid, self.sensor
        edge = f"{solid.edge} {solid.edge_size:.1f}" if solid.edge_size else "crisp"
        camera = self.scene.camera
        return (
            f"{self.view} {self.shape}, {solid.thickness:.1f} thick, {edge}, draft "
            f"{np.degrees(solid.draft):.1f} deg, {self.light}, tilt {camera.tilt_deg:.0f}, "
            f"height {camera.centre[2]:.0f}, {self.scene.sheet.frame.name}, "
            f"blur {sensor.blur:.1f}, sharpened {sensor.sharpen:.2f}"
        )


def drawn(seed, number):
    """The scene of a number; each stands for itself."""
    return _drawn(np.random.default_rng([seed, number]), number, KINDS, {})


def drawn_of(row, seed, number):
    """The scene of a number of a row of `ROWS`."""
    asked = ROWS[row]
    rng = np.random.default_rng([seed, number, list(ROWS).index(row)])
    return _drawn(rng, number, asked["kind"], asked)


def _drawn(rng, number, kinds, asked):
    kind = kinds[number % len(kinds)]
    lights = asked.get("light", LIGHTS)
    light = lights[int(rng.integers(len(lights)))]
    paper = rng.choice(["a4", "a4", "a4", "letter", "a3"])
    frame = read_frame(f"border-{paper}" + ("-dark" if kind == "white on dark" else ""))
    scale = tuple(1 + rng.normal(0, 0.0025, 2))
    sheet = Sheet(frame, scale, rng.uniform(-0.02, 0.06), rng.uniform(0.05, 0.1))
    solid, view, shape = _part(rng, frame.window, asked.get("thickness", (2, 20)))
    lens, focal_35mm = draw_lens(rng)
    middle = np.append(frame.window.mean(axis=0), 0.0)
    lamps, room, tint = draw_light(rng, "lamp" if light == "mirrored" else light, middle)
    bench = [(0.42, 0.30, 0.20), (0.25, 0.25, 0.25), (0.62, 0.58, 0.52), (0.06, 0.06, 0.07)]
    scene = Scene(
        camera=draw_camera(rng, frame, lens, asked.get("tilt")),
        sheet=sheet,
        solid=solid,
        material=draw_material(rng, kind, asked.get("contrast")),
        lamps=lamps,
        room=room,
        room_colour=tint,
        bench=bench[int(rng.integers(len(bench)))],
        seed=int(rng.integers(2**31)),
    )
    if light == "mirrored":
        scene = replace(scene, lamps=(_mirrored(rng, scene),))
    sensor = draw_sensor(rng)
    if "motion" in asked:
        sensor = replace(sensor, motion=asked["motion"], motion_turn=rng.uniform(0, np.pi))
    return Drawn(number, kind, light, view, shape, scene, sensor, focal_35mm)


def _mirrored(rng, scene):
    """The lamp put where the camera sees it mirrored in the upper face, near the part's edge."""
    solid, window = scene.solid, scene.sheet.frame.window
    ring = solid.ring()
    in_window = np.all((ring > window.min(axis=0) + 5) & (ring < window.max(axis=0) - 5), axis=1)
    near = ring[rng.choice(np.flatnonzero(in_window))]
    inside = ring.mean(axis=0) - near
    place = near + rng.uniform(2, 20) * inside / np.linalg.norm(inside)
    place = np.append(place, solid.thickness)
    ray = (place - scene.camera.centre) / np.linalg.norm(place - scene.camera.centre)
    lamp = scene.lamps[0]
    distance = np.linalg.norm(np.asarray(lamp.place) - scene.middle)
    return replace(lamp, place=tuple(place + distance * ray * [1, 1, -1]))


def _part(rng, window, thicknesses):
    low, high = window.min(axis=0), window.max(axis=0)
    room, middle = high - low, (low + high) / 2
    thickness = float(np.exp(rng.uniform(*np.log(thicknesses))))
    edge = str(rng.choice(["none", "round", "round", "chamfer"]))
    largest = min(3.0 if edge == "round" else 1.5, 0.4 * thickness)
    if largest < 0.4:  # a card has no edge treatment
        edge = "none"
    size = 0.0 if edge == "none" else float(rng.uniform(0.3, largest))
    draft = float(np.radians(rng.choice([0, 0, rng.uniform(0.3, 3)])))
    view = str(rng.choice(["end", "end", "corner", "whole"]))
    if view == "end":
        length, width = rng.uniform(1.1, 1.7) * room[0], rng.uniform(0.4, 0.75) * room[1]
        outline, shape = _long_outline(rng, length, width)
        turn = np.radians(rng.uniform(-5, 5)) + np.pi * rng.integers(2)
        free = rng.uniform(0.12, 0.45) * room[0]
        into = 1 if np.cos(turn) > 0 else -1
        end = high[0] - free if into > 0 else low[0] + free
        origin = (end - into * length / 2, middle[1] + rng.uniform(-8, 8))
    elif view == "corner":
        length, width = rng.uniform(1.1, 1.6) * room[0], rng.uniform(1.2, 2.0) * room[1]
        radius = float(rng.choice([rng.uniform(0.5, 4), rng.uniform(5, 45)]))
        outline, shape = RoundedRectangle(length, width, radius), f"R {radius:.1f}"
        turn = np.radians(rng.uniform(-8, 8))
        sign = rng.choice([-1, 1], 2)
        place = middle + sign * rng.uniform(0.02, 0.25, 2) * room
        back = sign * np.array([length, width]) / 2
        c, s = np.cos(turn), np.sin(turn)
        origin = tuple(place - np.array([c * back[0] - s * back[1], s * back[0] + c * back[1]]))
    else:
        outline, shape = _small_outline(rng, room)
        origin = tuple(middle + rng.uniform(-6, 6, 2))
        for turn in [*np.radians(rng.uniform(-30, 30, 6)), 0.0]:
            ring = Solid(outline, thickness, origin=origin, turn=turn).ring()
            if np.all((ring > low + 7) & (ring < high - 7)):
                break
    origin = tuple(float(v) for v in origin)
    return Solid(outline, thickness, edge, size, draft, origin, float(turn)), view, shape


def _long_outline(rng, length, width):
    a, b = length / 2, width / 2
    shape = str(rng.choice(["rounded", "stadium", "cut corners", "tapered", "superellipse"]))
    if shape == "rounded":
        radius = float(rng.choice([rng.uniform(0.5, 5), rng.uniform(5, 0.95 * b)]))
        return RoundedRectangle(length, width, radius), f"R {radius:.1f}"
    if shape == "stadium":
        return RoundedRectangle(length, width, b), shape
    if shape == "cut corners":
        cut = rng.uniform(8, 0.6 * b)
        corners = [[-a, -b], [a - cut, -b], [a, -b + cut], [a, b - cut], [a - cut, b], [-a, b]]
        return FilletedPolygon(np.array(corners), rng.uniform(0.3, 4)), shape
    if shape == "tapered":
        corners = np.array([[-a, -b], [a, -rng.uniform(0.5, 0.9) * b], [a, b], [-a, b]])
        return FilletedPolygon(corners, rng.uniform(1, 18)), shape
    power = rng.uniform(4, 9)
    return superellipse(length, width, power), f"{shape} {power:.1f}"


def _small_outline(rng, room):
    length, width = rng.uniform(0.45, 0.8) * room[0], rng.uniform(0.45, 0.8) * room[1]
    shape = str(rng.choice(["rounded", "ellipse", "disc", "hexagon", "waved"]))
    if shape == "rounded":
        radius = rng.uniform(1, 0.45 * width)
        return RoundedRectangle(length, width, radius), f"R {radius:.1f}"
    if shape == "ellipse":
        return superellipse(length, width, 2.0), shape
    if shape == "disc":
        return superellipse(width, width, 2.0), shape
    if shape == "hexagon":
        angle = np.arange(6) * np.pi / 3
        corners = 0.5 * width * np.column_stack([np.cos(angle), np.sin(angle)])
        return FilletedPolygon(corners, rng.uniform(0.5, 10)), shape
    return waved(
        0.85 * length, 0.85 * width, int(rng.integers(3, 6)), rng.uniform(0.03, 0.08)
    ), shape


def draw_material(rng, kind, contrasts):
    def tinted(level, spread=0.06):
        return tuple(float(v) for v in level * (1 + rng.normal(0, spread, 3)))

    contrast, u = rng.uniform(*(contrasts or (0.08, 0.22))), rng.uniform
    return {
        "dark matt": lambda: Material(tinted(u(0.02, 0.07)), "speckle", 0.04, 0.03, 0.5),
        "stone": lambda: Material(tinted(u(0.15, 0.35), 0.03), "speckle", contrast, 0.02, 0.5),
        "wood": lambda: Material(
            tuple(u(0.6, 1.1) * np.array([0.38, 0.24, 0.14])), "grain", contrast, 0.03, 0.4
        ),
        "pale on white": lambda: Material(tinted(u(0.66, 0.84), 0.012), "plain", 0, 0.03, 0.4),
        "white on dark": lambda: Material(tinted(u(0.6, 0.84), 0.012), "plain", 0, 0.03, 0.4),
        "glossy dark": lambda: Material(tinted(u(0.02, 0.08)), "plain", 0, 0.045, u(0.01, 0.08)),
        "printed": lambda: Material(tinted(u(0.2, 0.4)), "print", u(0.3, 0.8), 0.03, 0.35),
        "pale wood": lambda: Material(
            tuple(u(0.9, 1.1) * np.array([0.70, 0.56, 0.40])), "grain", 0.4 * contrast, 0.03, 0.4
        ),
        "glossy pale": lambda: Material(
            tinted(u(0.45, 0.75), 0.03), "plain", 0, 0.045, u(0.01, 0.08)
        ),
        "mid grey": lambda: Material(tinted(u(0.2, 0.4)), "plain", 0, 0.03, 0.3),
    }[kind]()


def draw_light(rng, light, middle):
    def lamp(elevation, distance, radius, share, colour=(1.0, 1.0, 1.0)):
        azimuth, up = rng.uniform(0, 2 * np.pi), np.radians(elevation)
        ahead = np.array([np.cos(azimuth) * np.cos(up), np.sin(azimuth) * np.cos(up), np.sin(up)])
        return Lamp(tuple(middle + distance * ahead), radius, share, colour)

    def tint(spread):
        warm = rng.normal(0, spread)
        return (1 + warm, 1.0, 1 - warm)

    u = rng.uniform
    if light == "ceiling":
        lamps, room = (lamp(u(65, 85), 1900, u(250, 600), 0.55),), 0.45
    elif light == "window":
        lamps, room = (lamp(u(28, 50), u(1200, 2500), u(350, 600), 0.6),), 0.4
    elif light == "lamp":
        lamps, room = (lamp(u(35, 65), u(700, 1400), u(15, 60), u(0.5, 0.75)),), 0.35
    elif light == "bulb":
        lamps, room = (lamp(u(30, 60), u(700, 1400), u(8, 35), u(0.6, 0.8)),), 0.25
    elif light == "near lamp":
        lamps, room = (lamp(u(40, 70), u(400, 600), u(30, 90), u(0.5, 0.75)),), 0.35
    else:
        lamps = (
            lamp(u(35, 65), u(700, 1400), u(30, 90), u(0.25, 0.4), tint(0.08)),
            lamp(u(28, 60), u(1200, 2500), u(250, 500), u(0.25, 0.4), tint(0.05)),
        )
        room = 0.3
    return lamps, room, tint(0.03)


def draw_lens(rng):
    focal_35mm = rng.uniform(23, 28)
    focal = focal_35mm / np.hypot(36, 24) * np.hypot(*SIZE) * (1 + rng.normal(0, 0.006))
    radial = (rng.normal(0, 0.03), rng.normal(0, 0.015), rng.normal(0, 0.005), 0.0)
    centre = np.array(SIZE) / 2 - 0.5 + rng.normal(0, 10, 2)
    return Lens(focal, tuple(centre), radial, SIZE), focal_35mm


def draw_camera(rng, frame, lens, tilts):
    """As near as shows the whole sheet, or up to a third farther off."""
    tilt = rng.choice([rng.uniform(5, 15), rng.uniform(10, 20), rng.uniform(18, 30)])
    if tilts:
        tilt = rng.uniform(*tilts)
    azimuth, roll = rng.uniform(0, 360, 2)
    at = frame.window.mean(axis=0) + rng.uniform(-20, 20, 2)
    w, h = frame.sheet
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    height = 220.0
    while True:
        camera = camera_over(at, height, tilt, azimuth, roll, lens)
        seen = camera.pixels(corners)
        if np.all((seen > 20) & (seen < np.array(SIZE) - 20)):
            break
        height *= 1.03
    return camera_over(at, height * rng.uniform(1.0, 1.35), tilt, azimuth, roll, lens)


def draw_sensor(rng):
    soft, dim = rng.random(2) < 0.1
    return Sensor(
        white=rng.uniform(0.62, 0.85),
        blur=rng.uniform(1.3, 2.0) if soft else rng.uniform(0.6, 1.3),
        vignette=rng.uniform(0.1, 0.28),
        balance=tuple(1 + rng.normal(0, 0.04, 3) * [1, 0, 1]),
        electrons=rng.uniform(800, 2000) if dim else rng.uniform(2500, 9000),
        read=rng.uniform(0.001, 0.0025),
        sharpen=float(rng.choice([0, 0.25, 0.4, 0.7])),
        radius=rng.uniform(1.0, 2.0),
        quality=int(rng.integers(85, 96)),
    )
