"""Checked against IEC 61966-2-1 (sRGB)."""

import numpy as np
import pytest
from numpy.typing import NDArray

from snugline.trace.image.linear_light import (
    linear_luminance_table,
    linear_to_srgb,
    srgb_to_linear,
)

# The standard's formulas by hand: below 0.04045 the straight piece, above it the power.
FORMULA = [(0.0, 0.0), (0.04045, 0.04045 / 12.92), (0.5, 0.21404114048), (1.0, 1.0)]


@pytest.mark.parametrize(("coded", "linear"), FORMULA)
def test_the_curve_follows_the_standard(coded: float, linear: float) -> None:
    assert srgb_to_linear(coded) == pytest.approx(linear, abs=1e-10)


def test_the_two_pieces_meet_within_the_standards_own_rounding() -> None:
    below, above = srgb_to_linear([0.04045, np.nextafter(0.04045, 1)])
    assert above - below == pytest.approx(0, abs=3e-8)


def test_coding_undoes_decoding_for_every_byte() -> None:
    byte = np.arange(256) / 255
    assert np.rint(linear_to_srgb(srgb_to_linear(byte)) * 255).tolist() == list(range(256))


def luminance(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """By the table, a column for each channel."""
    return np.asarray(linear_luminance_table()[rgb, np.arange(3)].sum(axis=-1))


def test_luminance_of_white_is_one_and_of_the_primaries_the_standards_weights() -> None:
    colours = np.array([[[255] * 3, [255, 0, 0], [0, 255, 0], [0, 0, 255], [0, 0, 0]]], np.uint8)
    assert luminance(colours)[0] == pytest.approx([1, 0.2126, 0.7152, 0.0722, 0], abs=1e-6)


def test_luminance_of_a_picture_is_the_tables_columns_added() -> None:
    rgb = np.random.default_rng(3).integers(0, 256, (150, 7, 3), dtype=np.uint8)
    expected = (srgb_to_linear(rgb / 255) * [0.2126, 0.7152, 0.0722]).sum(axis=2)
    np.testing.assert_allclose(luminance(rgb), expected, atol=1e-6)
    np.testing.assert_allclose(luminance(rgb[:, ::-1]), expected[:, ::-1], atol=1e-6)


def test_the_shared_table_cannot_be_changed_by_accident() -> None:
    with pytest.raises(ValueError, match="read-only"):
        linear_luminance_table()[0, 0] = 1
