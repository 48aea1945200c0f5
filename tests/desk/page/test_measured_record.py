"""Measured photos come back from the disk to the last bit."""

import json
from pathlib import Path

import numpy as np

from snugline.desk.page.measured_record import from_record, to_record
from snugline.notice import Notice
from snugline.trace.camera import Camera, rotation_from_vector
from snugline.trace.contour import CommonUncertainty, Contour, Curve, PhotoFacts
from snugline.trace.lens import Lens
from snugline.trace.measure import Measured, MeasuredPhoto

EXAMPLE = dict.fromkeys(PhotoFacts.__dataclass_fields__, 0.1) | {
    "file": "left.jpg", "width": 4000, "height": 3000, "markers_found": 3, "markers_total": 4,
}  # fmt: skip


def made(seed=1):
    rng = np.random.default_rng(seed)

    def curve(count, breaks=()):
        noise = rng.random(count) / 3
        return Curve(rng.normal(size=(count, 2)) * 100 / 3, noise + 0.1, noise, False, breaks)

    contour = Contour(
        "border-a4",
        curve(50, (10, 20)),
        PhotoFacts(**EXAMPLE),
        CommonUncertainty(1 / 3, 1e-7 / 3, 0.0),
        (curve(20),),
        (Notice("dark", "it is dark", "light it", "usable", "left.jpg", (0.1, 2.0, 3.0, 4 / 3)),),
    )
    lens = Lens(3000 / 7, (1999.5, 1499.5), (0.1 / 3, 0.0, 0.0, 0.0), (4000, 3000))
    camera = Camera(lens, rotation_from_vector(rng.normal(size=3)), rng.normal(size=3))
    pixels = (rng.random((50, 2)), rng.random((20, 2)))
    used, none = rng.random((3, 4, 2)), np.empty((0, 4, 2))
    photo = MeasuredPhoto(Path("left.jpg"), contour, camera, pixels, used, none)
    return Measured((photo, photo), contour, (Notice("a", "b", "c"),))


def alike(a, b):
    if isinstance(a, np.ndarray):
        return a.dtype == b.dtype and a.shape == b.shape and np.array_equal(a, b)
    if hasattr(a, "__dataclass_fields__"):
        return type(a) is type(b) and all(
            alike(getattr(a, name), getattr(b, name)) for name in a.__dataclass_fields__
        )
    if isinstance(a, tuple):
        return len(a) == len(b) and all(alike(x, y) for x, y in zip(a, b, strict=True))
    return a == b and type(a) is type(b)


def test_nothing_is_lost_on_the_way():
    measured = made()
    back = from_record(json.loads(json.dumps(to_record(measured))))
    assert alike(back, measured)


def test_a_difference_in_the_last_bit_would_be_seen():
    assert not alike(made(1), made(2))
    measured = made()
    measured.photos[0].contour.outer.points[0, 0] *= 1 + 2**-52
    assert not alike(from_record(to_record(measured)), made())
