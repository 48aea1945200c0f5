"""The generator of made sheets: its distances against shapely, its pictures against themselves,
what the network is given against the program's own, and the record against the weights shipped.
"""

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest
from shapely import Point, Polygon, box

ROOT = Path(__file__).parents[2]
TRAINING = ROOT / "training" / "coarse"
WEIGHTS = ROOT / "trace" / "part" / "learned_map.onnx"

pytestmark = pytest.mark.skipif(not TRAINING.exists(), reason="training/ is not here")


@pytest.fixture
def torch(monkeypatch):
    monkeypatch.syspath_prepend(str(TRAINING))
    return pytest.importorskip("torch", reason="torch is not installed: training needs it")


def signed(shape, x, y):
    points = [Point(a, b) for a, b in zip(x, y, strict=True)]
    return np.array([shape.exterior.distance(p) * (-1 if shape.contains(p) else 1) for p in points])


def test_distances_are_those_of_shapely(torch):
    from outlines import box as rounded_box
    from outlines import polygon

    rng = np.random.default_rng(3)
    x, y = rng.uniform(-60, 60, (2, 400))
    grid = [torch.tensor(v).view(1, 1, -1) for v in (x, y)]
    a, b, radius = (torch.tensor([float(v)]) for v in (40, 25, 8))
    found = rounded_box(*grid, a, b, radius)[0, 0].numpy()
    plate = box(-32, -17, 32, 17).buffer(8, quad_segs=200)
    np.testing.assert_allclose(found, signed(plate, x, y), atol=0.001)
    star = np.array([[30, 0], [10, 8], [0, 40], [-12, 9], [-35, -5], [2, -28.0]])
    found = polygon(*grid, torch.tensor(star)[None])[0, 0].numpy()
    np.testing.assert_allclose(found, signed(Polygon(star), x, y), atol=0.001)


def test_a_raised_face_is_displaced_and_throws_a_shadow_by_similar_triangles(torch):
    from pictures import Solid

    step = 2.0
    x, y = np.meshgrid(np.arange(-299, 300, step), np.arange(-199, 200, step))
    at = [torch.tensor(v[None], dtype=torch.float32) for v in (x, y)]
    sheet = (torch.tensor([300.0]), torch.tensor([200.0]))
    half, deep = 40.0, 30.0
    distance = torch.maximum(at[0].abs() - half, at[1].abs() - deep)
    solid = Solid(distance, sheet)
    high, thick = torch.tensor([400.0]), torch.tensor([20.0])
    place = torch.tensor([[-200.0, 0.0]])
    # A camera 400 mm up and 200 mm to the left sees the face's right side, 20 mm up, at
    # 40 + (40 + 200) * 20 / (400 - 20) mm: similar triangles.
    across = torch.linspace(0, 100, 1001).view(1, 1, -1)
    level = torch.zeros_like(across)
    met = solid.met(across, level, place, high, thick, torch.zeros(1))[0, 0]
    ends = float(across[0, 0, int((met < 0).nonzero().max())])
    assert ends == pytest.approx(half + (half + 200) * 20 / 380, abs=0.5)
    lit = solid.seen_from(across, level, place, high, thick, torch.tensor([1e-3]), 0.1)[0, 0]
    dark = float(across[0, 0, int((lit < 0.5).nonzero().max())])
    assert dark == pytest.approx(half + (half + 200) * 20 / 380, abs=0.5)


def test_pictures_are_the_same_for_the_same_seed_and_say_all_of_what_they_show(torch):
    from learn_coarse import batch, mirrored

    first, again, other = (batch(seed, 2, torch.device("cpu")) for seed in (7, 7, 8))
    for a, b, c in zip(first, again, other, strict=True):
        assert torch.equal(a, b)
        assert not torch.equal(a, c)
        assert torch.isfinite(a).all()
    np.testing.assert_allclose(first[1].sum(1), 1, atol=1e-5)
    there_and_back = mirrored(*mirrored(*first, True, True), True, True)
    for a, b in zip(first, there_and_back, strict=True):
        assert torch.equal(a, b)


def test_learning_goes_on_from_the_shipped_weights(torch):
    """The unfolded network says what OpenCV makes of the shipped file."""
    pytest.importorskip("onnx", reason="onnx is not installed: training needs it")
    import cv2
    from start_coarse import started

    network, shown = started(WEIGHTS, sheets=1)
    shipped = cv2.dnn.readNetFromONNX(str(WEIGHTS))
    shipped.setInput(shown.numpy())
    with torch.no_grad():
        np.testing.assert_allclose(network(shown).numpy(), shipped.forward(), atol=1e-3)


def test_the_mean_of_the_weights_follows_them(torch):
    from coarse_network import CoarseNetwork
    from learn_coarse import averaged

    mean, network = (CoarseNetwork((4, 4, 4, 4, 4)) for _ in range(2))
    averaged(mean, network, 0)  # at first it is what it follows
    for kept, now in zip(mean.parameters(), network.parameters(), strict=True):
        np.testing.assert_allclose(kept.detach(), now.detach())
    before = mean.kinds.bias.detach().clone()
    with torch.no_grad():
        network.kinds.bias += 1
    averaged(mean, network, 9)
    np.testing.assert_allclose(mean.kinds.bias.detach() - before, 0.1, atol=1e-5)


def test_a_step_of_learning_lowers_the_loss(torch):
    from coarse_network import CoarseNetwork, loss
    from learn_coarse import batch

    torch.manual_seed(1)
    network = CoarseNetwork((4, 4, 4, 4, 4))
    optimizer = torch.optim.Adam(network.parameters(), 0.01)
    given, shares, weight = batch(5, 1, torch.device("cpu"))
    losses = []
    for _ in range(6):
        now = loss(network(given), shares, weight)
        optimizer.zero_grad()
        now.backward()
        optimizer.step()
        losses.append(now.item())
    assert losses[-1] < losses[0]


def test_the_network_is_given_the_same_looks_in_training_and_in_the_program(torch):
    from pictures import CHANNELS, HEIGHT, WIDTH, looks

    from snugline.trace.part import learned_map

    assert (learned_map.WIDTH, learned_map.HEIGHT, CHANNELS) == (WIDTH, HEIGHT, 10)
    light = np.random.default_rng(1).uniform(0.005, 1.7, (6, 5, 3)).astype(np.float32)
    made = looks(torch.tensor(light).permute(2, 0, 1)[None])[0].numpy()
    np.testing.assert_allclose(np.stack(learned_map.looks(light)), made, atol=0.02)


def test_the_record_is_of_the_weights_that_are_shipped():
    record = json.loads((TRAINING / "record.json").read_text(encoding="utf-8"))
    assert hashlib.sha256(WEIGHTS.read_bytes()).hexdigest() == record["sha256"]
    edge = ROOT / "trace" / "edge" / "learned_edge.onnx"
    assert WEIGHTS.stat().st_size + edge.stat().st_size < 3_000_000
