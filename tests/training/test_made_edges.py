"""The generator of training's scenes: its geometry against a ray walked in small steps, its numbers
against the program's own, and the record against the weights that are shipped.
"""

import hashlib
import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
TRAINING = ROOT / "training"
WEIGHTS = ROOT / "trace" / "edge" / "learned_edge.onnx"

pytestmark = pytest.mark.skipif(not TRAINING.exists(), reason="training/ is not here")
needs_torch = pytest.mark.skipif(
    importlib.util.find_spec("torch") is None, reason="torch is not installed: training needs it"
)


@pytest.fixture(autouse=True)
def _on_the_path(monkeypatch):
    monkeypatch.syspath_prepend(str(TRAINING))


def one(scenes, k):
    return {name: values[k : k + 1].astype(np.float64) for name, values in scenes.items()}


def solid_of(s):
    from shapes import Outline, profile

    names = ("turn", "radius", "hollow", "wave", "rate", "phase")
    outline = Outline(*(s[name].reshape(1, 1) for name in names))
    sides = profile(
        np, s["thickness"], s["edge"], 1.0 * (s["edge_kind"] >= 0), s["bottom"],
        s["bottom_round"], s["draft"],
    )  # fmt: skip
    return outline, sides


def test_scenes_are_the_same_for_the_same_seed_and_others_for_another():
    from scenes import draw

    first, again, other = draw([5, 1], 4), draw([5, 1], 4), draw([5, 2], 4)
    for name, values in first.items():
        np.testing.assert_array_equal(values, again[name])
    assert not np.array_equal(first["thickness"], other["thickness"])


def test_the_outlines_distance_is_zero_on_it_and_grows_by_a_pixel_for_each_pixel():
    from scenes import draw

    scenes = draw([9], 40)
    for k in range(40):
        s = one(scenes, k)
        outline, _ = solid_of(s)
        along = np.linspace(-150, 150, 61)[None]
        x, y = outline.at(np, along)
        d, gx, gy = outline.distance(np, x, y)
        assert np.abs(d).max() < 1e-5
        beside = outline.distance(np, x + 2 * gx, y + 2 * gy)[0]
        bent = s["wave"][0] > 0  # there it is exact to second order only
        # At a sharp tip the nearest place changes.
        assert np.median(np.abs(beside - 2)) < (0.05 if bent else 1e-5)


@pytest.mark.parametrize("seed", [3, 4, 5, 6, 7, 8])
def test_the_silhouette_is_where_a_ray_walked_in_small_steps_last_meets_the_solid(seed):
    """To 0.003 px along straight sides. At corners seen aslant the solid is a stack of layers."""
    from scenes import draw
    from shapes import crossing, grazing

    s = one(draw([seed], 1), 0)
    s["wave"] *= 0
    s["turn"] *= 0
    outline, sides = solid_of(s)
    lean = s["lean"] * np.cos(s["towards"]), s["lean"] * np.sin(s["towards"])
    layers = outline.beside(1)

    def passes(y):
        return grazing(np, layers, sides, 0 * y, y, lean[0] + 0 * y, lean[1] + 0 * y)

    off = np.arange(-140.0, 140.0, 1.0)[None, None]
    inside = passes(off)[0, 0] < 0
    leaves = int(np.argmax(inside[:-1] & ~inside[1:]))
    found = float(crossing(np, passes, off[..., leaves], 1.0)[0, 0])
    # Walked: 4000 heights, the inset between the profile's nodes by straight lines.
    z = np.linspace(0, float(s["thickness"][0]), 4001)
    inset = np.interp(z, sides.height[0], sides.inset[0])

    def meets(y):
        d = outline.distance(np, lean[0] * z, y + lean[1] * z)[0]
        return bool((d + inset < 0).any())

    low, high = off[0, 0, leaves], off[0, 0, leaves] + 1.0
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if meets(middle) else (low, middle)
    assert abs(found - low) < 0.003


def test_widths_agree_with_the_programs_own():
    from shapes import widths

    from snugline.trace.edge.learned_edge import widths as own
    from snugline.trace.edge.relief_displacement import PartSides

    slope = np.linspace(-0.9, 0.9, 37)
    for kind, mark in (("round", 1.0), ("chamfer", -1.0)):
        sides = PartSides(8.0, edge=kind, edge_size=1.2, draft=np.radians(2))
        mine = widths(np, 8.0, 1.2, np.array(mark >= 0), np.radians(2), slope)
        np.testing.assert_allclose(mine, own(sides, slope), atol=1e-12)


def test_what_is_told_of_unstated_edges_is_what_the_program_takes():
    from scenes import UNSTATED_DRAFT, UNSTATED_EDGE

    from snugline.unstated_sides import UNSTATED

    assert pytest.approx(UNSTATED["edge"].mean) == UNSTATED_EDGE
    assert pytest.approx(np.radians(UNSTATED["lean"].mean)) == UNSTATED_DRAFT


def test_a_mirrored_lamp_stands_where_the_camera_sees_it_in_the_face():
    """The ray to the camera, mirrored in a level face, points at the lamp to some degrees."""
    from scenes import _mirrored_lamp, draw

    s = draw([5, 3], 400)
    _, up, at, _ = _mirrored_lamp(np.random.default_rng(1), 400, s)
    lamp = np.column_stack([np.cos(up) * np.cos(at), np.cos(up) * np.sin(at), np.sin(up)])
    towards = s["lean"] * np.cos(s["towards"]), s["lean"] * np.sin(s["towards"])
    mirrored = np.column_stack([-towards[0], -towards[1], np.ones(400)])
    mirrored /= np.linalg.norm(mirrored, axis=1, keepdims=True)
    apart = np.degrees(np.arccos(np.clip(np.sum(lamp * mirrored, axis=1), -1, 1)))
    assert np.median(apart) < 3
    assert apart.max() < 10


def test_a_narrow_shadow_is_as_wide_beside_a_straight_edge_as_was_drawn():
    """Its lamp stands behind the part: the top edge's shadow falls 1 to 14 px outside, or less."""
    from scenes import _narrow_shadow, draw

    s = draw([5, 4], 400)
    _, up, at, _ = _narrow_shadow(np.random.default_rng(1), 400, s)
    wide = -np.sin(at) * s["thickness"] / np.tan(up)
    assert wide.min() > 0
    assert wide.max() < 14.001


def test_the_record_is_of_the_weights_that_are_shipped():
    record = json.loads((TRAINING / "record.json").read_text(encoding="utf-8"))
    assert hashlib.sha256(WEIGHTS.read_bytes()).hexdigest() == record["weights_sha256"]
    assert WEIGHTS.stat().st_size < 3_000_000
    from scenes import VERSION

    # A generator that was changed since is in the record with what its weights were worth.
    tried = [one["generator_version"] for one in record["tried"]]
    assert VERSION in (record["generator_version"], *tried)


@needs_torch
def test_the_rows_are_the_programs_own_number_by_number():
    """The network is given the same by training as by the program, for one scene seen straight."""
    import torch
    from photo import to_linear
    from scenes import draw
    from stretch import Stretch
    from strips import FIRST, PLACES, _light, looks

    from snugline.trace.edge.learned_edge import _looks
    from snugline.trace.image.step_edge import sample_rgb

    rng = np.random.default_rng(2)
    rgb = rng.integers(0, 256, (64, 64, 3)).astype(np.uint8)
    at = rng.uniform(2, 60, (1, 5, 7, 2))
    picture = torch.tensor(rgb.transpose(2, 0, 1)[None] / 255.0).float()
    theirs = _light(to_linear(picture), torch.tensor(at).float())
    mine = sample_rgb(rgb, at[0, ..., 0], at[0, ..., 1])
    np.testing.assert_allclose(theirs[0].numpy(), mine, atol=2e-5)
    for a, b in zip(looks(torch, theirs / 0.7), _looks(mine / 0.7), strict=True):
        np.testing.assert_allclose(a[0].numpy(), b, atol=2e-3)
    assert (FIRST, PLACES) == (-16, 64)
    assert Stretch.of({k: torch.from_numpy(v) for k, v in draw([1], 1).items()}, 96).size == 96


@needs_torch
def test_what_is_drawn_ends_where_the_truth_says():
    """The share of a row that the part covers in the picture is the edge's place, to the sub-pixel
    grid's own coarseness (half a px each, many rows), whatever the material and the light.
    """
    import torch
    from light import covered, render
    from scenes import draw
    from stretch import Stretch
    from strips import FIRST, PLACES, WIDEST, coarse_line, truth

    scenes = {k: torch.from_numpy(v) for k, v in draw([31], 3).items()}
    scenes["stray_off"] *= 0
    stretch = Stretch.of(scenes, 384)
    line, normals, expected, known = coarse_line(stretch, scenes, torch.Generator().manual_seed(1))
    at, state = truth(stretch, line, normals, expected, known)
    tiles = covered(line, normals, 384, FIRST - WIDEST, FIRST + PLACES)
    _, _, cover = render(scenes, stretch, tiles)
    across = torch.arange(-6, 6.01, 0.1)
    places = line[:, :, None] + normals[:, :, None] * (at[..., None] + across)[..., None]
    fine = torch.round(2 * places + 0.5).long()  # of two sub-pixels a px, the first at -0.25
    rows = torch.arange(3)[:, None, None]
    seen = cover[rows, 0, fine[..., 1].clamp(0, 767), fine[..., 0].clamp(0, 767)]
    off = (seen.sum(-1) * 0.1 - 6.0)[state == 1]
    assert (state == 1).sum() > 200
    assert abs(float(off.median())) < 0.1
    assert float(off.abs().quantile(0.9)) < 0.5


@needs_torch
def test_folded_rows_go_up_and_down_again_by_two():
    """Rows of twice the step: beside each row lies one that was two away, but at the ends."""
    import torch
    from learn import folded, mirrored

    at = torch.arange(8.0)[None]
    given = at[:, None, :, None].expand(1, 20, 8, 3) + 1.0
    there, places, _ = folded(given, at, at)
    assert places[0].tolist() == [0, 2, 4, 6, 7, 5, 3, 1]
    assert there[0, 11, :, 0].tolist() == [1, 3, 5, 7, -8, -6, -4, -2]
    assert there[0, 0, :, 0].tolist() == [1, 3, 5, 7, 8, 6, 4, 2]
    again = mirrored(*mirrored(there, places, places))
    assert torch.equal(again[0], there)


@needs_torch
def test_a_small_training_runs_on_a_cpu_and_goes_on_from_its_checkpoint(tmp_path, monkeypatch):
    import learn
    import torch

    torch.set_num_threads(1)
    small = {"scenes": 1, "batch": 1, "pool": 3, "checks": 1, "steps": 1, "size": 96}
    small = [word for name, value in small.items() for word in (f"--{name}", str(value))]
    for most in ("1", "2"):
        monkeypatch.setattr(
            sys,
            "argv",
            ["learn", "--out", str(tmp_path), "--seconds", "600", "--most", most, *small],
        )
        learn.main()
    state = torch.load(tmp_path / "checkpoint.pt")
    assert state["step"] == 2
    assert all(bool(v.isfinite().all()) for v in state["network"].values() if v.is_floating_point())


def test_the_network_gives_what_it_gave_where_it_was_written():
    """The lowest and the newest supported OpenCV are to agree with the record to 1e-4."""
    import cv2

    record = json.loads((TRAINING / "record.json").read_text(encoding="utf-8"))
    network = cv2.dnn.readNetFromONNX(str(WEIGHTS))
    given = np.random.default_rng(11).normal(0, 0.5, (2, 20, 256, 64)).astype(np.float32)
    network.setInput(given)
    place, untold = network.forward(["place", "open"])
    probe = [*place[0, :, 40, 12], *place[1, :, 90, 25], *untold[:, :, 64, 0].ravel()]
    np.testing.assert_allclose(probe, record["probe"], atol=1e-4, rtol=0)
