"""Damaged files are read, or refused with an error of our own, and nothing else."""

import logging

import numpy as np
import pytest

from snugline.errors import SnuglineError
from snugline.fit.drawing.drawing import Drawing, Layer, Note
from snugline.fit.drawing.dxf import write_dxf
from snugline.fit.drawing.dxf_reading import read_dxf
from snugline.fit.drawing.svg import write_svg
from snugline.fit.drawing.svg_reading import read_svg
from snugline.fit.geometry.primitives import circle, rounded_rectangle

PLATE = Drawing(
    "plate",
    (
        Layer("part", (rounded_rectangle(300, 100, 12.7), circle(5)), "dashed"),
        Layer("text", strokes=(((0, 0), (1, 1)),), notes=(Note("front", (0, 0)),)),
    ),
)


def damaged(content: bytes, rng: np.random.Generator) -> bytes:
    """The file with bytes changed, cut out or repeated, or cut short."""
    data = bytearray(content)
    for _ in range(rng.integers(1, 6)):
        if len(data) < 2:
            break
        at, other = rng.integers(0, len(data), 2)
        kind = rng.integers(0, 7)
        if kind < 3:
            data[at] = rng.integers(32, 127)
        elif kind < 5:
            del data[at : at + rng.integers(1, 30)]
        elif kind < 6:
            data[at:at] = data[other : other + rng.integers(1, 40)]
        else:
            del data[max(at, 1) :]
    return bytes(data)


@pytest.mark.parametrize(
    ("content", "read", "trials"),
    [
        (write_svg(PLATE), read_svg, 150),
        (write_dxf(PLATE), read_dxf, 25),
        (write_dxf(PLATE, "R12"), read_dxf, 40),
    ],
    ids=["svg", "dxf", "r12"],
)
def test_damaged_files_are_read_or_refused(content, read, trials, caplog):
    caplog.set_level(logging.CRITICAL, logger="ezdxf")
    rng = np.random.default_rng(7)
    refused = 0
    for _ in range(trials):
        try:
            assert isinstance(read(damaged(content, rng)), Drawing)
        except SnuglineError:
            refused += 1
    assert 0 < refused < trials


def test_groups_nested_without_end_are_refused():
    deep = "<g>" * 5000 + "</g>" * 5000
    content = f'<svg xmlns="http://www.w3.org/2000/svg" width="1mm" height="1mm">{deep}</svg>'
    with pytest.raises(SnuglineError, match="nested"):
        read_svg(content.encode())
