"""Measured photos come back from the disk to the last bit."""

import json

import numpy as np
from made_measured import made_measured

from snugline.desk.page.jobs.measured_record import from_record, to_record


def alike(a, b):
    if isinstance(a, np.ndarray):
        return a.dtype == b.dtype and a.shape == b.shape and np.array_equal(a, b)
    if hasattr(a, "__dataclass_fields__"):
        return type(a) is type(b) and all(
            alike(getattr(a, name), getattr(b, name)) for name in a.__dataclass_fields__
        )
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(alike(a[key], b[key]) for key in a)
    if isinstance(a, tuple):
        return len(a) == len(b) and all(alike(x, y) for x, y in zip(a, b, strict=True))
    return a == b and type(a) is type(b)


def test_nothing_is_lost_on_the_way():
    measured = made_measured()
    back = from_record(json.loads(json.dumps(to_record(measured))))
    assert alike(back, measured)


def test_a_difference_in_the_last_bit_would_be_seen():
    assert not alike(made_measured(1), made_measured(2))
    measured = made_measured()
    measured.photos[0].contour.outer.points[0, 0] *= 1 + 2**-52
    assert not alike(from_record(to_record(measured)), made_measured())
