"""The inch is 25.4 mm exactly (addendum, 1960, to NBS Circular 572); fractions are exact in it."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from snugline.errors import InputError
from snugline.lengths import MM_PER_INCH, format_length, parse_angle, parse_length

# Inch sizes in mm, exact by the definition.
INCHES = [
    ("1/64 in", 0.396875),
    ("1/32 in", 0.79375),
    ("1/16 in", 1.5875),
    ("1/8 in", 3.175),
    ("3/16 in", 4.7625),
    ("1/4 in", 6.35),
    ("5/16 in", 7.9375),
    ("3/8 in", 9.525),
    ("1/2 in", 12.7),
    ("5/8 in", 15.875),
    ("3/4 in", 19.05),
    ("1 in", 25.4),
    ("12 3/8 in", 314.325),
    ("12-3/8 in", 314.325),
    ('12-3/8"', 314.325),
    ("12 - 3/8 inch", 314.325),
    ("7 3/16 in", 182.5625),
    ('7-3/16"', 182.5625),
    ("2.345 in", 59.563),
    ("36 inches", 914.4),  # a yard
]


@pytest.mark.parametrize(("text", "mm"), INCHES)
def test_inches_are_exact(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("9.5 mm", 9.5),
        ("9.5mm", 9.5),
        ("  .5 mm ", 0.5),
        ("5. mm", 5),
        ("95 cm", 950),
        ("1.2 m", 1200),
        ("-0.2 mm", -0.2),
        ("+ 3 mm", 3),
        ("-1/2 in", -12.7),
    ],
)
def test_metric_lengths_and_signs_are_read(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("9.5", "no unit"),
        ("7 3/16", "no unit"),
        ("9,5 mm", "decimal comma"),
        ("-1,25 mm", "decimal comma"),
        ("1" * 61 + " mm", "letters"),
        ("100.1 m", "longer than 100 m"),
        ("9.5 MM", "unknown unit"),
        ("9.5 px", "unknown unit"),
        ("9.5 deg", "unknown unit"),
        ("1 2 mm", "not a length"),
        ("1/0 in", "divides by zero"),
        ("1 1/0 in", "divides by zero"),
        ("mm", "not a length"),
        ("", "not a length"),
        ("nan mm", "not a length"),
        ("inf mm", "not a length"),
        ("1e3 mm", "unknown unit"),
        ("--5 mm", "not a length"),
        ("3/4/5 in", "unknown unit"),
        (9.5, "not a length"),
        (None, "not a length"),
    ],
)
def test_what_is_no_length_is_refused_with_its_place(text: str, complaint: str) -> None:
    with pytest.raises(InputError, match=complaint) as caught:
        parse_length(text, "job.toml: part.thickness")
    assert caught.value.where == "job.toml: part.thickness"
    assert "mm" in caught.value.mend


def test_angles_are_read_in_degrees_and_radians() -> None:
    assert parse_angle("180 deg") == pytest.approx(math.pi)
    assert parse_angle("0.5°") == pytest.approx(math.radians(0.5))
    assert parse_angle("1/2 deg") == pytest.approx(math.radians(0.5))
    assert parse_angle("1.5 rad") == 1.5
    with pytest.raises(InputError, match="unknown unit"):
        parse_angle("5 mm")


@given(
    st.integers(0, 400),
    st.integers(1, 63),
    st.sampled_from([2, 4, 8, 16, 32, 64]),
    st.sampled_from(["{w} {t}/{b} in", '{w}-{t}/{b}"', "{w} - {t}/{b} inch"]),
)
def test_a_mixed_inch_size_is_its_parts_added(w: int, t: int, b: int, form: str) -> None:
    exact = (w + Fraction(t, b)) * Fraction(254, 10)
    assert parse_length(form.format(w=w, t=t, b=b)) == pytest.approx(float(exact), rel=1e-15)


@given(st.floats(-5000, 5000), st.sampled_from(["mm", "cm", "m", "in"]))
def test_a_length_written_with_many_digits_reads_back(mm: float, unit: str) -> None:
    text = format_length(mm, unit, decimals=12)
    assert parse_length(text) == pytest.approx(mm, abs=1e-9)


@given(st.floats(0, 5000))
def test_the_usual_digits_lose_less_than_half_of_the_last_one(mm: float) -> None:
    assert abs(parse_length(format_length(mm)) - mm) <= 0.005 + 1e-9
    assert abs(parse_length(format_length(mm, "in")) - mm) <= 0.0005 * MM_PER_INCH + 1e-9


@given(st.text('0123456789/-+.,eE"″ mincdegµ²½٣\n', max_size=20))
def test_no_text_is_read_silently_wrong_or_breaks_the_reader(text: str) -> None:
    try:
        mm = parse_length(text)
    except InputError as error:
        complaint = str(error)
    else:
        complaint = ""
        assert math.isfinite(mm)
    assert "\n" not in complaint
