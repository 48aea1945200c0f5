"""The picture of a drawing: its scale, its margin and its dashes, read back from the pixels."""

import io

import numpy as np
import pytest
from PIL import Image

from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.geometry.primitives import circle, rounded_rectangle
from snugline.pocket.preview import preview_png


def picture(*layers):
    image = Image.open(io.BytesIO(preview_png(Drawing("x", layers, "mm"))))
    return image, np.array(image) < 200


def test_the_longest_side_has_1400_pixels_within_a_margin_of_24():
    image, ink = picture(Layer("a", (rounded_rectangle(200, 100).translated(30, 40),)))
    assert image.size == (1448, 748)
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    # A line of two pixels along the edge.
    assert (columns[0], columns[-1]) == pytest.approx((24, 1424), abs=1)
    assert (rows[0], rows[-1]) == pytest.approx((24, 724), abs=1)
    assert ink[:, columns[0] : columns[-1]].any(axis=0).all()
    assert ink[300, 700] == ink[100, 100] == np.False_
    assert image.info["dpi"][0] == pytest.approx(7 * 25.4, rel=1e-3)
    upright, _ = picture(Layer("a", (rounded_rectangle(100, 200),)))
    assert upright.size == (748, 1448)


def test_up_is_up_and_strokes_are_drawn():
    stroke = ((-40.0, 40.0), (-20.0, 40.0))
    _, ink = picture(Layer("a", (rounded_rectangle(100, 100),), strokes=(stroke,)))
    inside = ink[40:1400, 40:1400]
    rows, columns = np.nonzero(inside)
    assert rows.mean() + 40 == pytest.approx(24 + 10 * 14, abs=2)
    assert columns.min() + 40 == pytest.approx(24 + 10 * 14, abs=2)
    assert columns.max() + 40 == pytest.approx(24 + 30 * 14, abs=2)


@pytest.mark.parametrize(
    ("pattern", "dash", "gap"), [("solid", 1, 0), ("dashed", None, None), ("dotted", None, None)]
)
def test_dashes_are_as_long_as_their_pattern_says(pattern, dash, gap):
    """Two pixels for a millimetre of the pattern, on a picture of any scale."""
    from snugline.fit.drawing.drawing import PATTERNS

    for size in (50.0, 500.0):
        _, ink = picture(Layer("a", (rounded_rectangle(size, size / 2),), pattern))
        along = ink[ink[:60].any(axis=1).argmax() + 1, 24:1424]
        share = along.mean()
        if pattern == "solid":
            assert share == 1.0
            continue
        on, off = PATTERNS[pattern][:2]
        edges = np.flatnonzero(np.diff(along.astype(int)) == 1)
        assert np.median(np.diff(edges)) == pytest.approx(2 * (on + off), abs=1)
        # A pen of two pixels has square ends of its own.
        assert share == pytest.approx((on + 0.5) / (on + off), abs=0.3)


def test_a_curve_is_round_to_a_fifth_of_a_pixel():
    _, ink = picture(Layer("a", (circle(50.0),)))
    rows, columns = np.nonzero(ink)
    away = np.hypot(rows - 724, columns - 724)
    assert away.min() > 700 - 3
    assert away.max() < 700 + 3
