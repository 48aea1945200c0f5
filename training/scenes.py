"""Random scenes of one stretch of a part's edge: drawn by a seed on the CPU, the same everywhere.

`draw` gives a dict of float32 arrays, one row for each scene. What each entry does is said where it
is used: shapes.py (solid), light.py (materials, sheet, lamps), photo.py (camera), strips.py (what
the program is told and how far off its coarse border runs).
"""

import itertools

import numpy as np

VERSION = 5
LAMPS = 3
# What the program takes where nobody stated them (base/unstated_sides.py): mm, radians.
UNSTATED_EDGE, UNSTATED_DRAFT = 2 / 3, np.radians(1.0)


def draw(seed, count):
    """Scenes by seed (any sequence of ints); a dict of float32 arrays (count, ...)."""
    rng = np.random.default_rng(seed)
    scenes = {}
    for part in (_solid, _view, _material, _sheet, _light, _camera, _told):
        scenes.update(part(rng, count, scenes))
    return {k: np.asarray(v, np.float32) for k, v in scenes.items()}


def _either(rng, n, *choices):
    """One of several (share, values) for each scene."""
    pick = rng.random(n) * sum(share for share, _ in choices)
    result = np.zeros(n)
    edges = np.cumsum([0] + [share for share, _ in choices])
    for (low, high), (_, values) in zip(itertools.pairwise(edges), choices, strict=True):
        result = np.where((pick >= low) & (pick < high), values, result)
    return result


def _log(rng, n, low, high):
    return np.exp(rng.uniform(np.log(low), np.log(high), n))


def _chance(rng, n, share):
    return (rng.random(n) < share).astype(np.float64)


def _solid(rng, n, _):
    u = rng.uniform
    px_per_mm = _log(rng, n, 4, 24)
    thickness = _log(rng, n, 0.25, 30)
    edge_kind = _either(rng, n, (0.3, 0.0), (0.45, 1.0), (0.25, -1.0))  # crisp, round, chamfered
    edge = np.where(
        edge_kind == 0,
        u(0.0, 0.12, n),
        0.15 + (np.minimum(3.0, 0.45 * thickness) - 0.15).clip(0) * rng.random(n) ** 1.5,
    )
    edge = np.minimum(edge, 0.45 * thickness)
    bottom = _either(rng, n, (0.6, u(0.0, 0.08, n)), (0.4, u(0.1, 1.5, n)))
    bottom = np.minimum(bottom, 0.3 * thickness)
    draft = _either(rng, n, (0.5, 0.0), (0.35, u(0, 4, n)), (0.1, u(-3, 0, n)), (0.05, u(4, 12, n)))
    turn = _either(
        rng,
        n,
        (0.4, 0.0),
        (0.18, np.pi / 2),
        (0.17, u(0.1, 2.4, n)),
        (0.1, 2 * np.pi),
        (0.15, u(0.2, 1.6, n)),
    )
    radius = _either(rng, n, (0.15, u(0, 8, n)), (0.85, _log(rng, n, 8, 700)))
    radius = np.where(turn > 3.1, np.maximum(radius, 50.0), radius)
    rate = 2 * np.pi / _log(rng, n, 150, 1500)
    bent = _chance(rng, n, 0.4) * (turn < 0.3)
    return {
        "px_per_mm": px_per_mm,
        "thickness": thickness * px_per_mm,
        "edge": edge * px_per_mm,
        "edge_kind": edge_kind,
        "bottom": bottom * px_per_mm,
        "bottom_round": _chance(rng, n, 0.6),
        "draft": np.radians(draft),
        "turn": turn,
        "radius": radius,
        "hollow": np.where(_chance(rng, n, 0.2) > 0, -1.0, 1.0),
        "wave": bent * u(0.0, 0.15, n) / rate,
        "rate": rate,
        "phase": u(0, 2 * np.pi, n),
    }


def _view(rng, n, s):
    lean = _either(rng, n, (0.75, rng.uniform(0.0, 0.6, n)), (0.25, rng.uniform(0.5, 0.95, n)))
    # A wall seen wider than the strip can show teaches nothing.
    lean = np.minimum(lean, 90 / s["thickness"])
    # Across the edge more often than along it: there the wall shows.
    towards = rng.uniform(0, 2 * np.pi, n)
    return {
        "lean": lean,
        "towards": towards,
        "farness": rng.uniform(2800, 5500, n),  # height of the camera, px
        "squeeze": np.cos(np.radians(rng.uniform(0, 33, n))),
        "squeezed": rng.uniform(0, np.pi, n),
        "turned": rng.uniform(0, 2 * np.pi, n),
        "shift": rng.uniform(-12, 12, (n, 2)),
        "shear": rng.normal(0, 0.012, n),
        "start": rng.normal(0, 40, n),  # px along the outline, of the stretch's middle
    }


# Typical colours, linear: what parts are made of.
_HUES = np.array(
    [
        [0.70, 0.56, 0.40],  # maple, birch
        [0.62, 0.47, 0.30],  # ash, beech
        [0.38, 0.24, 0.14],  # oak, cherry
        [0.16, 0.09, 0.05],  # walnut
        [0.60, 0.30, 0.20],  # terracotta
        [0.20, 0.30, 0.45],
        [0.25, 0.40, 0.25],
        [0.55, 0.12, 0.10],
    ]
)


def _material(rng, n, _):
    u = rng.uniform
    level = _either(
        rng,
        n,
        (0.22, u(0.015, 0.09, n)),
        (0.28, u(0.1, 0.42, n)),
        (0.3, u(0.42, 0.86, n)),
        (0.2, u(0.02, 0.86, n)),
    )
    grey = level[:, None] * np.exp(
        rng.normal(0, 1, (n, 3)) * _either(rng, n, (0.6, 0.02), (0.4, 0.15))[:, None]
    )
    hue = (
        _HUES[rng.integers(len(_HUES), size=n)]
        * u(0.65, 1.2, n)[:, None]
        * np.exp(rng.normal(0, 0.06, (n, 3)))
    )
    face = np.where(_chance(rng, n, 0.42)[:, None] > 0, hue, grey)
    # The side may be of another stuff: a core under a veneer, a cut, a glued strip, a painted top.
    other = _HUES[rng.integers(len(_HUES), size=n)] * u(0.4, 1.2, n)[:, None]
    bare = np.exp(rng.normal(0, 0.8, n))[:, None] * face
    side = np.where(
        _chance(rng, n, 0.7)[:, None] > 0,
        face * u(0.85, 1.1, n)[:, None],
        np.where(_chance(rng, n, 0.5)[:, None] > 0, other, bare),
    )
    metal = _chance(rng, n, 0.09)
    gloss = _either(rng, n, (0.25, 0.0), (0.75, u(0.025, 0.06, n)))
    # Plain, speckle, grain, rings, print, pores, woven, brushed, granular (materials.py).
    kind = rng.choice(9, n, p=[0.17, 0.14, 0.12, 0.07, 0.2, 0.08, 0.06, 0.06, 0.1])
    strength = np.select(
        [kind == k for k in range(9)],
        [
            u(0, 0.02, n),
            _log(rng, n, 0.03, 0.5),
            _log(rng, n, 0.03, 0.35),
            _log(rng, n, 0.03, 0.35),
            u(0.2, 1.0, n),
            _log(rng, n, 0.05, 0.6),
            _log(rng, n, 0.05, 0.5),
            _log(rng, n, 0.02, 0.2),
            _log(rng, n, 0.05, 0.5),
        ],
    )
    brushed = kind == 7
    # Light of the wall, of the face, or of a rounding or chamfer the same as that of the sheet
    # beside it: only hue, or only geometry, tells the edge then.
    even = _either(rng, n, (0.58, 0.0), (0.18, 1.0), (0.12, 2.0), (0.12, 3.0))
    ink = u(0.02, 0.9, n)[:, None] * np.exp(rng.normal(0, 0.3, (n, 3)))
    other_tone = np.exp(rng.normal(0, 0.7, n))[:, None] * face
    # A print lies along the part's sides more often than not.
    along = _either(rng, n, (0.6, rng.normal(0, 0.05, n)), (0.4, u(-np.pi, np.pi, n)))
    return {
        "face": np.clip(face, 0.008, 0.92),
        "side": np.clip(side, 0.008, 0.92),
        "metal": metal,
        "gloss": np.where(metal > 0, u(0.45, 0.92, n), gloss),
        "rough": _log(rng, n, 0.01, 0.5),
        **_through(rng, n),
        "kind": kind,
        "strength": strength,
        "grain_turn": u(0, np.pi, n),
        # Texture cells for each px; of brushed metal fine and long.
        "grain_scale": np.where(brushed, u(0.3, 1.0, n), _log(rng, n, 0.03, 0.5)),
        "grain_long": np.where(
            brushed, _log(rng, n, 30, 150), _either(rng, n, (0.5, 1.0), (0.5, _log(rng, n, 3, 20)))
        ),
        "cell": _log(rng, n, 3, 25),  # px, of a thread or a grain
        "stain": _chance(rng, n, 0.12) * u(0.05, 0.5, n),
        "knot": _chance(rng, n, 0.06) * u(0.3, 1.0, n),
        "knot_at": rng.normal(0, 1, (n, 2)) * [60, 30] - [0, 25],
        "knot_wide": _log(rng, n, 6, 40),
        "grain_place": u(0, 1, (n, 4)),
        "side_strength": u(0.3, 1.2, n),
        "ring_rate": _log(rng, n, 0.1, 1.2),
        "print_colour": np.clip(
            np.where(_chance(rng, n, 0.5)[:, None] > 0, ink, other_tone), 0.01, 0.92
        ),
        "print_level": u(-0.5, 1.2, n),
        "print_style": rng.choice(5, n, p=[0.25, 0.25, 0.2, 0.15, 0.15]),
        "print_cell": _log(rng, n, 6, 160),  # px
        "print_turn": along,
        "print_place": u(0, 20, (n, 2)),
        "print_over": _chance(rng, n, 0.5),  # it runs down the side
        "even": even,
        # Of the sheet within so many px: of its darkest shade at the foot, or of all of it.
        "even_near": _either(rng, n, (0.35, 4.0), (0.3, 12.0), (0.35, 60.0)),
        "even_ratio": np.exp(rng.normal(0, 0.03, n)),
        "even_hue": _chance(rng, n, 0.5),
        "texture_seed": rng.integers(0, 2**20, n),
        # A stripe on the face along the edge: paint, a groove, an inlay.
        "stripe": _chance(rng, n, 0.1),
        "stripe_at": u(6, 45, n),
        "stripe_wide": u(1, 14, n),
        "stripe_light": np.exp(rng.normal(0, 0.6, n)),
    }


def _through(rng, n):
    """What light passes through: it lights its own shadow, and the sheet is seen behind."""
    lets = _chance(rng, n, 0.08)
    seen = lets * _chance(rng, n, 0.7) * rng.uniform(0.1, 0.85, n)
    return {"clear": lets * np.maximum(rng.uniform(0.2, 0.8, n), 0.9 * seen), "through": seen}


def _sheet(rng, n, s):
    u = rng.uniform
    dark = _chance(rng, n, 0.13)
    paper = u(0.72, 0.9, n)[:, None] * np.exp(rng.normal(0, 0.012, (n, 3)))
    ink = u(0.025, 0.09, n)[:, None] * np.exp(rng.normal(0, 0.05, (n, 3)))
    bench = _HUES[rng.integers(len(_HUES), size=n)] * u(0.2, 1.2, n)[:, None]
    beyond = np.where(
        _chance(rng, n, 0.4)[:, None] > 0, np.where(dark[:, None] > 0, paper, ink), bench
    )
    same = _chance(rng, n, 0.35)[:, None] > 0  # a neighbour of the same stuff
    beyond = np.where(same, s["face"] * u(0.85, 1.15, n)[:, None], beyond)
    return {
        "dark": dark,
        "paper": paper,
        "ground": np.where(dark[:, None] > 0, ink, paper),
        "paper_grain": _log(rng, n, 0.002, 0.04),
        "dirt": _chance(rng, n, 0.15) * u(0.05, 0.4, n),
        "cockle": rng.normal(0, 0.04, n),  # the sheet's waves, in light
        # A printed line, or the window's border: across or beside the edge.
        "line": _chance(rng, n, 0.12),
        "line_turn": _either(rng, n, (0.5, rng.normal(0, 0.05, n)), (0.5, u(-1.5, 1.5, n))),
        "line_at": u(4, 60, n),
        "line_wide": u(1, 10, n),
        "line_ink": u(0.03, 0.6, n),
        "bits": _chance(rng, n, 0.1),
        "bits_at": u(10, 60, n),
        "bits_along": u(-8, 2, n),  # cells
        "bits_turn": _either(rng, n, (0.5, rng.normal(0, 0.15, n)), (0.5, u(-1.5, 1.5, n))),
        "bits_wide": u(8, 35, n),
        # What lies beyond the window, the sheet or the gap to a neighbour, and its shade.
        "other": _chance(rng, n, 0.14),
        "other_turn": _either(rng, n, (0.5, rng.normal(0, 0.1, n)), (0.5, u(-1.2, 1.2, n))),
        "other_at": u(8, 70, n),
        "other_colour": beyond,
        "other_shade": _chance(rng, n, 0.5) * u(0.1, 0.7, n),
        "other_soft": _log(rng, n, 2, 40),
    }


def _light(rng, n, s):
    u = rng.uniform
    # share, elevation, radius (radians): a window, a ceiling, a lamp, a small hard lamp, none
    kinds = rng.choice(5, (n, LAMPS), p=[0.27, 0.18, 0.25, 0.22, 0.08])
    elevation = np.choose(
        kinds,
        [
            u(20, 55, (n, LAMPS)),
            u(60, 88, (n, LAMPS)),
            u(30, 75, (n, LAMPS)),
            u(15, 75, (n, LAMPS)),
            u(45, 90, (n, LAMPS)),
        ],
    )
    radius = np.choose(
        kinds,
        [
            u(0.1, 0.5, (n, LAMPS)),
            u(0.1, 0.45, (n, LAMPS)),
            u(0.02, 0.15, (n, LAMPS)),
            u(0.004, 0.03, (n, LAMPS)),
            u(0.3, 0.5, (n, LAMPS)),
        ],
    )
    used = np.column_stack([np.ones(n), _chance(rng, n, 0.4), _chance(rng, n, 0.12)])
    share = used * rng.dirichlet(np.ones(LAMPS) * 1.5, n) * (kinds != 4)
    total = share.sum(axis=1)
    room = u(0.15, 0.65, n)
    room = np.where(total < 1e-6, 1.0, room)
    share *= ((1 - room) / np.maximum(total, 1e-6))[:, None]
    scenes = {
        "lamp": share,
        "lamp_up": np.radians(elevation),
        "lamp_at": u(0, 2 * np.pi, (n, LAMPS)),
        "lamp_radius": radius,
        "room": room,
    }
    own = rng.random(n)
    _one_lamp(scenes, own < 0.25, _narrow_shadow(rng, n, s))
    mirrored = own > 0.9
    _one_lamp(scenes, mirrored, _mirrored_lamp(rng, n, s))
    gloss = np.where(s["metal"] > 0, s["gloss"], u(0.03, 0.06, n))
    return scenes | {
        "gloss": np.where(mirrored, gloss, s["gloss"]),
        "rough": np.where(mirrored, _log(rng, n, 0.008, 0.12), s["rough"]),
        # Warm and cold lamps together, in one scene of four.
        "lamp_colour": np.exp(
            rng.normal(0, 1, (n, LAMPS, 1))
            * _either(rng, n, (0.75, 0.06), (0.25, 0.25))[:, None, None]
            * np.array([1.0, 0.0, -1.0])
        ),
        # Of a near lamp a place that lies higher gets more, by this share for each px.
        "near": _chance(rng, n, 0.3) * 2 / (u(300, 900, n) * 10),
        "slant": rng.normal(0, 0.06, (n, 2)),  # of all light over the picture
        "room_colour": np.exp(rng.normal(0, 0.05, (n, 1)) * np.array([1.0, 0.0, -1.0])),
        # What the sheet throws up to the wall: how much, from how far off (px, and by height).
        "bounce": u(0.6, 1.15, n),
        "bounce_from": u(0.5, 4.0, n),
        "bounce_by": u(0.5, 1.2, n),
        "room_lean": rng.normal(0, 0.35, (n, 2)),
        "room_bands": u(0, 0.6, n),
        "room_phase": u(0, 2 * np.pi, n),
        # The shadow of a phone or hand over part of it: a straight soft rim.
        "hand": _chance(rng, n, 0.18),
        "hand_at": rng.normal(0, 60, n),
        "hand_turn": u(0, 2 * np.pi, n),
        "hand_soft": _log(rng, n, 4, 120),
        "hand_wide": _either(rng, n, (0.6, 1e4), (0.4, u(60, 250, n))),
        "hand_dark": u(0.3, 0.95, n),
    }


def _one_lamp(scenes, which, lamp):
    """Some scenes (a mask) lit by a lamp (share, elevation, azimuth, radius) and the room alone."""
    share, up, at, radius = lamp
    scenes["room"] = np.where(which, 1 - share, scenes["room"])
    for name, value in (("lamp", share), ("lamp_up", up), ("lamp_at", at), ("lamp_radius", radius)):
        first = np.where(which, value, scenes[name][:, 0])
        rest = np.where(which[:, None] & (name == "lamp"), 0.0, scenes[name][:, 1:])
        scenes[name] = np.column_stack([first, rest])


def _narrow_shadow(rng, n, s):
    """A lamp whose shadow beside the edge is a few px wide: its outer side is the stronger step."""
    up = np.radians(rng.uniform(25, 80, n))
    longest = s["thickness"] / np.tan(up)
    share = np.minimum(_log(rng, n, 1, 14) / longest, 1.0)
    at = np.arcsin(-share)
    at = np.where(_chance(rng, n, 0.5) > 0, np.pi - at, at)
    return rng.uniform(0.35, 0.85, n), up, at, _log(rng, n, 0.005, 0.25)


def _mirrored_lamp(rng, n, s):
    """A lamp that the camera sees mirrored in the upper face, by the edge or farther inside."""
    x, y = (
        -s["lean"] * turned(s["towards"]) + rng.normal(0, 0.03, n) for turned in (np.cos, np.sin)
    )
    up = np.arctan2(1.0, np.hypot(x, y))
    return rng.uniform(0.35, 0.8, n), up, np.arctan2(y, x), _log(rng, n, 0.008, 0.12)


def _camera(rng, n, _):
    u = rng.uniform
    soft = _chance(rng, n, 0.15)
    return {
        "blur": np.where(soft > 0, u(1.2, 2.1, n), u(0.45, 1.3, n)),
        "disc": _chance(rng, n, 0.2) * u(0.5, 2.2, n),
        "motion": _chance(rng, n, 0.16) * u(0.5, 5.0, n),
        "motion_turn": u(0, np.pi, n),
        # The part's height out of focus, px (radius), more than the sheet or less.
        "defocus": _chance(rng, n, 0.1) * u(0.4, 2.2, n),
        # Sensor pixels for each px of the photo, where it was resized.
        "resized": _chance(rng, n, 0.15),
        "resize": np.repeat(np.exp(rng.uniform(np.log(0.55), np.log(1.8))), n),
        "white": u(0.5, 0.92, n),
        "balance": np.exp(rng.normal(0, 0.04, (n, 3)) * np.array([1.0, 0.2, 1.0])),
        "shot": 1 / _log(rng, n, 600, 12000),  # variance at full scale
        "read": u(0.0006, 0.003, n),
        "denoise": _chance(rng, n, 0.6) * u(0.4, 1.0, n),
        "gamma": np.exp(_chance(rng, n, 0.5) * rng.normal(0, 0.06, n)),
        "contrast": _chance(rng, n, 0.4) * rng.normal(0, 0.12, n),
        "local": _chance(rng, n, 0.3) * u(0.05, 0.5, n),
        "local_wide": _log(rng, n, 5, 40),
        "colour_blur": _chance(rng, n, 0.3) * u(0.6, 2.5, n),
        "sharpen": _either(rng, n, (0.3, 0.0), (0.7, u(0.1, 1.0, n))),
        "sharpen_radius": u(0.7, 2.2, n),
        "quality": np.round(_either(rng, n, (0.85, u(78, 98, n)), (0.15, u(60, 85, n)))),
        "twice": _chance(rng, n, 0.15) * np.round(u(65, 96, n)),
        "half_colour": _chance(rng, n, 0.9),
        "mark_turn": u(0, 2 * np.pi, n),
    }


def _told(rng, n, s):
    """What the program believes of the part, and how its coarse border runs."""
    px = s["px_per_mm"]
    unknown = _chance(rng, n, 0.2)  # edge and draft were left out: what is usual stands for them
    unknown *= (s["edge"] / px < 1.0) * (np.abs(s["draft"]) < np.radians(2))
    thickness = s["thickness"] * (1 + rng.normal(0, 0.004, n)) + px * rng.normal(0, 0.02, n)
    # Grossly wrong now and then, so that the light is not believed less than a number.
    thickness *= np.where(_chance(rng, n, 0.015) > 0, np.exp(rng.normal(0, 0.3, n)), 1.0)
    thickness = np.maximum(thickness, 1.0)
    edge = np.where(s["edge_kind"] == 0, 0.0, s["edge"] * np.exp(rng.normal(0, 0.06, n)))
    edge = np.minimum(np.where(unknown > 0, UNSTATED_EDGE * px, edge), 0.45 * thickness)
    draft = s["draft"] + np.radians(rng.normal(0, 0.15, n))
    return {
        "told_thickness": thickness,
        "told_edge": edge,
        "told_kind": np.where(unknown > 0, 1.0, np.where(edge > 0, s["edge_kind"], 0.0)),
        "told_draft": np.where(unknown > 0, UNSTATED_DRAFT, draft),
        "told_paper": np.exp(
            rng.normal(0, 1, (n, 1)) * _either(rng, n, (0.75, 0.05), (0.25, 0.12))[:, None]
            + rng.normal(0, 0.012, (n, 3))
        ),
        **_line(rng, n, px),
        "noise_seed": rng.integers(0, 2**20, n),
    }


def _line(rng, n, px):
    """How the line runs across which the program looks.

    The map's border first: cells of a mm, some 0.15 mm rms and 0.1 mm inwards, here and there
    millimetres off. Then what was found from there, which lies on the edge or on another one.
    """
    u = rng.uniform
    found = _chance(rng, n, 0.5)
    coarse = px * _log(rng, n, 0.06, 0.4)
    off = px * rng.normal(-0.1, 0.2, n)
    stray = np.where(found > 0, _log(rng, n, 0.05, 0.8), np.minimum(coarse, 5.0))
    off = np.where(found > 0, rng.normal(0, 0.5, n), off.clip(-8, 8))
    # Now and then it has nothing to do with the edge, or lies on a shadow's outer side.
    off = off + _chance(rng, n, 0.04) * rng.choice([-1.0, 1.0], n) * u(16, 30, n)
    off = off + _chance(rng, n, 0.08) * u(2, 14, n)
    return {
        "stray": stray,
        "stray_long": np.where(found > 0, _log(rng, n, 4, 40), _log(rng, n, 8, 60)),
        "stray_off": off,
        "found": found,
        "at_crease": _either(rng, n, (0.68, 0.0), (0.18, 1.0), (0.14, 2.0)),
        "at_crease_from": u(-100, 100, n),
        # Dents and bulges with steep or slow sides, alone or one after another like teeth.
        "dent": _chance(rng, n, 0.3) * rng.choice([-1.0, -1.0, 1.0], n) * _log(rng, n, 1.5, 26),
        "dent_at": u(-110, 110, n),
        "dent_long": _log(rng, n, 10, 160),
        "dent_rim": _log(rng, n, 1.5, 14),
        "dent_every": _either(rng, n, (0.7, 4.0), (0.3, u(0.7, 1.6, n))),  # of its length, doubled
    }
