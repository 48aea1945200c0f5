"""The objects of an acceptance test against what is published of them."""

import pytest

from snugline.fit.reference_objects import OBJECTS

# U.S. Mint, coin specifications, and European Central Bank, common sides: diameter and thickness
# in mm, from memory.
COINS = {
    "us-dime": (17.91, 1.35),
    "us-cent": (19.05, 1.52),
    "us-nickel": (21.21, 1.95),
    "us-quarter": (24.26, 1.75),
    "us-half-dollar": (30.61, 2.15),
    "euro-1c": (16.25, 1.67),
    "euro-2c": (18.75, 1.67),
    "euro-5c": (21.25, 1.67),
    "euro-10c": (19.75, 1.93),
    "euro-50c": (24.25, 2.38),
    "euro-1": (23.25, 2.33),
    "euro-2": (25.75, 2.20),
}


def sizes_of(name):
    found = OBJECTS[name]
    return {size.of: (size.value, size.tolerance) for size in found.sizes}, found.thickness


@pytest.mark.parametrize("name", COINS)
def test_a_coin_has_its_published_diameter_and_thickness(name):
    sizes, thickness = sizes_of(name)
    assert [value for value, _ in sizes.values()] == [COINS[name][0]] * len(sizes)
    assert thickness.value == COINS[name][1]


def test_a_card_is_id_1():
    """ISO/IEC 7810: 85.60 x 53.98 mm, corners of 3.18 mm, 0.76 mm thick, each with its limits.

    Lengths of 85.47 to 85.72 and widths of 53.92 to 54.03 mm, corners of 2.88 to 3.48 mm,
    thicknesses of 0.68 to 0.84 mm; from memory.
    """
    sizes, thickness = sizes_of("card")
    for of, low, high in (
        ("length", 85.47, 85.72), ("width", 53.92, 54.03), ("corner radius", 2.88, 3.48),
    ):  # fmt: skip
        value, by = sizes[of]
        assert value - by <= low + 1e-9
        assert value + by >= high - 1e-9
        assert 2 * by <= (high - low) + 0.015
    assert (thickness.value - thickness.tolerance, thickness.value + thickness.tolerance) == (
        pytest.approx((0.68, 0.84))
    )


@pytest.mark.parametrize(
    ("name", "length", "width", "by"), [("a5", 210, 148, 2.0), ("a6", 148, 105, 1.5)]
)
def test_a_sheet_is_iso_216_s(name, length, width, by):
    """1.5 mm up to 150 mm, 2 mm up to 600 mm; and the ratio of its sides is the root of two."""
    sizes, thickness = sizes_of(name)
    assert sizes == {"length": (length, by), "width": (width, 1.5)}
    assert length / width == pytest.approx(2**0.5, rel=0.005)
    assert 0.05 < thickness.value < 0.15
