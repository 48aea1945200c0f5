"""Measured photos of random numbers, for what only carries them about."""

from pathlib import Path

import numpy as np

from snugline.notice import Notice
from snugline.place import OfPhoto, Region
from snugline.trace.camera.lens import Lens
from snugline.trace.camera.projection import Camera, rotation_from_vector
from snugline.trace.contour import Alternative, CommonUncertainty, Contour, Curve, PhotoFacts
from snugline.trace.measure import Measured, MeasuredPhoto

FACTS = dict.fromkeys(PhotoFacts.__dataclass_fields__, 0.1) | {
    "file": "left.jpg", "width": 4000, "height": 3000, "markers_found": 3, "markers_total": 4,
}  # fmt: skip

REGION = Region((0.1, 2.0, 3.0, 4 / 3))


def made_measured(seed=1):
    rng = np.random.default_rng(seed)

    def curve(count, breaks=()):
        noise = rng.random(count) / 3
        points = rng.normal(size=(count, 2)) * 100 / 3
        moved = {"thickness": rng.normal(size=count), "lean": rng.random(count) / 7}
        other = Alternative(2, 7, rng.normal(size=(9, 2)), 1 / 3)
        return Curve(points, noise + 0.1, noise, False, breaks, moved, 1.5, (other,))

    contour = Contour(
        "border-a4",
        curve(50, (10, 20)),
        PhotoFacts(**FACTS),
        CommonUncertainty(1 / 3, 1e-7 / 3, 0.0),
        (curve(20),),
        (Notice("dark", "it is dark", "light it", "usable", OfPhoto("left.jpg"), REGION),),
    )
    lens = Lens(3000 / 7, (1999.5, 1499.5), (0.1 / 3, 0.0, 0.0, 0.0), (4000, 3000))
    camera = Camera(lens, rotation_from_vector(rng.normal(size=3)), rng.normal(size=3))
    pixels = (rng.random((50, 2)), rng.random((20, 2)))
    used, none = rng.random((3, 4, 2)), np.empty((0, 4, 2))
    photo = MeasuredPhoto(Path("left.jpg"), contour, camera, pixels, used, none)
    return Measured((photo, photo), contour, (Notice("a", "b", "c"),))
