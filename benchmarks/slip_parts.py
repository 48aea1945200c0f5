"""Jobs of parts made for one benchmark: two rendered ends each, and readings with a tool's error.

A number and a seed give one job: a tray with rounded edges, a plate with no two sides parallel, or
a thick block. Photos are kept in the temporary directory, so that they are rendered once.
"""

import tempfile
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
from light_render import Scene, render
from printed_sheet import Sheet
from sensor import developed, save_photo
from solid_parts import FilletedPolygon, RoundedRectangle, Solid
from unseen_scenes import draw_camera, draw_lens, draw_light, draw_material, draw_sensor

from snugline.trace.sheet.frame_description import read_frame

ROOT = Path(__file__).parents[1]
SHAPES = ("tray", "plate", "block")
MATERIALS = ("dark matt", "stone", "wood", "mid grey")
LIGHTS = ("window", "ceiling", "lamp")
TILTS = (5, 22)  # degrees
_SOURCES = (
    "tests/light_render.py", "tests/printed_sheet.py", "tests/solid_parts.py", "tests/sensor.py",
    "benchmarks/unseen_scenes.py", "benchmarks/slip_parts.py",
)  # fmt: skip
MADE_BY = sha256(b"".join((ROOT / s).read_bytes() for s in _SOURCES)).hexdigest()[:10]
# Standard deviations of what a hand reads, mm: a tape of class II to half a millimetre, a caliper.
TAPE, TAPE_STEP, CALIPER = 0.25, 0.5, 0.04


@dataclass(frozen=True)
class Made:
    """A job as `inspect_record` takes it, and the sizes that are true, mm."""

    name: str
    record: dict[str, Any]
    truth: dict[str, float]


def made_job(seed: int, number: int) -> Made:
    """The job of a number; each stands for itself."""
    rng = np.random.default_rng([seed, number])
    shape = SHAPES[number % len(SHAPES)]
    frame = read_frame("border-a4")
    scale = tuple(1 + rng.normal(0, 0.0025, 2))
    sheet = Sheet(frame, scale, rng.uniform(-0.02, 0.06), rng.uniform(0.05, 0.1))
    solid = _solid(rng, shape, *np.ptp(frame.window, axis=0))
    lens, focal_35mm = draw_lens(rng)
    material = draw_material(rng, MATERIALS[int(rng.integers(len(MATERIALS)))], None)
    folder = Path(tempfile.gettempdir()) / "snugline-slip-parts" / MADE_BY
    folder.mkdir(parents=True, exist_ok=True)
    photos = []
    for end in ("right end", "left end"):
        path = folder / f"{shape}-{seed}-{number}-{end.split()[0]}.jpg"
        middle = np.append(frame.window.mean(axis=0), 0.0)
        lamps, room, tint = draw_light(rng, LIGHTS[int(rng.integers(len(LIGHTS)))], middle)
        scene = Scene(
            camera=draw_camera(rng, frame, lens, TILTS), sheet=sheet,
            solid=_laid(rng, solid, frame, end), material=material,
            lamps=lamps, room=room, room_colour=tint, seed=int(rng.integers(2**31)),
        )  # fmt: skip
        sensor = draw_sensor(rng)
        if not path.exists():
            part = path.with_suffix(".part.jpg")
            save_photo(part, developed(render(scene), sensor, scene.seed), focal_35mm, 92)
            part.replace(path)
        photos.append({"file": str(path), "shows": end})
    length, width = (float(mm) for mm in np.ptp(solid.outline.ring(), axis=0))
    truth = {"length": length, "width": width, "thickness": solid.thickness}

    def caliper(mm: float) -> str:
        return f"{mm + rng.normal(0, CALIPER):.2f} mm"

    tape = round((length + rng.normal(0, TAPE)) / TAPE_STEP) * TAPE_STEP
    bars = {
        f"bar_{a}": caliper(frame.bars[a].nominal * k) for a, k in zip("xy", scale, strict=True)
    }
    record = {
        "part": {
            "name": f"{shape} {number}", "thickness": caliper(solid.thickness),
            "edge_radius": f"{solid.edge_size:.2f} mm",
            "draft": f"{np.degrees(solid.draft):.2f} deg",
            "symmetry": "none" if shape == "plate" else "both",
        },
        "frame": [{"description": "border-a4", **bars}],
        "photo": photos,
        "reading": [
            {"what": "length", "value": f"{tape:.1f} mm", "tool": "tape"},
            {"what": "width", "value": caliper(width), "tool": "caliper"},
        ],
    }  # fmt: skip
    return Made(f"{shape}-{seed}-{number}", record, truth)


def _solid(rng: np.random.Generator, shape: str, across: float, up: float) -> Solid:
    """The part by itself, its length along x."""
    length = rng.uniform(1.3, 2.4) * across
    if shape == "block":
        width = rng.uniform(0.35, 0.5) * up
        outline = RoundedRectangle(length, width, rng.uniform(2, 12))
        return Solid(outline, rng.uniform(24, 42), "round", rng.uniform(0.8, 2.5))
    width = rng.uniform(0.5, 0.75) * up
    if shape == "tray":
        outline = RoundedRectangle(length, width, rng.uniform(8, 0.45 * width))
        draft = float(np.radians(rng.uniform(0, 2)))
        return Solid(outline, rng.uniform(6, 15), "round", rng.uniform(0.8, 2.0), draft)
    a, b = length / 2, width / 2
    corners = np.array([
        [-a, -rng.uniform(0.5, 0.75) * b], [a - rng.uniform(10, 35), -b],
        [a, rng.uniform(-0.2, 0.3) * b], [a - rng.uniform(15, 40), rng.uniform(0.6, 0.85) * b],
        [-a + rng.uniform(10, 30), b],
    ])  # fmt: skip
    return Solid(FilletedPolygon(corners, rng.uniform(4, 9)), rng.uniform(3.5, 8), "round",
                 rng.uniform(0.4, 1.2))  # fmt: skip


def _laid(rng: np.random.Generator, solid: Solid, frame: Any, end: str) -> Solid:
    """The part with one end in the window, the rest of it beyond the sheet's left side."""
    low, high = frame.window.min(axis=0), frame.window.max(axis=0)
    ring = solid.outline.ring()
    turn = np.radians(rng.uniform(-4, 4)) + (np.pi if end == "left end" else 0.0)
    c, s = np.cos(turn), np.sin(turn)
    turned = ring @ np.array([[c, s], [-s, c]])
    free = rng.uniform(0.12, 0.3) * (high[0] - low[0])
    near = turned[turned[:, 0] > turned[:, 0].max() - 0.7 * (high[0] - low[0])]
    middle = (near[:, 1].min() + near[:, 1].max()) / 2
    origin = (high[0] - free - turned[:, 0].max(), (low[1] + high[1]) / 2 - middle)
    return Solid(
        solid.outline, solid.thickness, solid.edge, solid.edge_size, solid.draft,
        tuple(float(mm) for mm in origin), float(turn),
    )  # fmt: skip
