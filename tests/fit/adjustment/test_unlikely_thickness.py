"""A thickness that hardly any part has: what is traced with, and which slip the photos tell."""

import numpy as np
import pytest
from made_contours import section

from snugline.errors import FitError
from snugline.fit.adjustment.unlikely_thickness import beyond_belief, traced_with
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.thickness import thickness_of
from snugline.fit.section import Section, moved_by_thickness

READ = [Reading("width", (94.5,), "caliper"), Reading("length", (352.0,), "tape")]


def read(*mm):
    return thickness_of([Reading("thickness", mm, "caliper")])


def end(true, traced, seed):
    """An end of a plate of some thickness as it is traced with another."""
    rng = np.random.default_rng(seed)
    shows, turn = (("left end", np.pi), ("right end", 0.0))[seed % 2]
    seen = section(rounded_rectangle(352, 94.5, 12), shows, rng, turn=turn, name=f"{seed}.jpg")
    by = np.full(len(seen.points), -0.13 - 0.03 * (seed % 3))
    seen = Section(
        seen.name, seen.shows, seen.points, seen.noise, breaks=seen.breaks,
        sensitivity={"thickness": by},
    )  # fmt: skip
    return moved_by_thickness(seen, traced - true)


def fitted(typed, true, traced):
    ends = [end(true, traced, seed) for seed in (1, 2)]
    readings = [*READ, Reading("thickness", (typed,), "caliper")]
    return fit_outline(ends, readings, traced=traced)


@pytest.mark.parametrize("mm", [0.4, 0.76, 9.5, 39.5])
def test_what_parts_have_is_traced_with(mm):
    assert traced_with(read(mm)) == pytest.approx(mm)
    assert beyond_belief(read(mm)) is None


def test_what_few_parts_have_must_be_read_twice():
    assert traced_with(read(92.9)) == pytest.approx(9.29)
    assert traced_with(read(92.9, 92.8)) == pytest.approx(92.85)
    assert traced_with(read(236.0, 236.1)) < 40  # nothing so thick is let into wood


def test_a_thickness_below_the_stated_top_edge_is_asked_before_any_photo_with_both_slips():
    told = beyond_belief(read(0.457), 1.2)
    assert "0.46 mm cannot be right: the stated top edge alone is higher" in str(told.text)
    assert "11.61 mm or 4.57 mm" in str(told.mend)
    assert "in inches, or ten times too small?" in str(told.mend)


@pytest.mark.parametrize("traced", [4.06, 10.31])
def test_the_photos_tell_ten_times_from_inches(traced):
    """0.406 mm may be ten times too small or an inch reading: whichever is traced with."""
    for typed, true, words in (
        (0.406, 4.06, "Ten times too small? Then it is 4.06 mm"),
        (0.406, 10.31, "Typed in millimetres, read in inches? Then it is 10.31 mm"),
    ):
        told = fitted(typed, true, traced).notices[0]
        assert (told.code, told.severity) == ("reading-contradicted", "retake")
        assert str(told.mend).startswith(words)


def test_a_thick_part_read_once_is_asked_to_be_read_again_and_no_slip_is_named():
    with pytest.raises(FitError) as told:
        fitted(60.0, 60.0, 6.0)
    assert "thickness of 60.00 mm is unusual" in str(told.value)
    assert "Then it is" not in str(told.value)


def test_a_part_without_parallel_sides_is_not_blamed_on_the_thickness():
    """Moved by 30 mm, two slanted ends seem to show two sides; nothing was read across them."""
    from snugline.fit.adjustment.photo_sizes import PhotoSizes, Span
    from snugline.fit.adjustment.thickness_weighing import weigh_thickness

    spurious = {"length": PhotoSizes(), "width": PhotoSizes((Span(80.0, -0.3),) * 2, 80.0)}
    none = {"length": PhotoSizes(), "width": PhotoSizes((), 100.0)}
    tape = [Reading("length", (466.0,), "tape")]
    assert weigh_thickness(read(3.61), none, tape, 2, lambda thicker: spurious) is None
    across = [*tape, Reading("width", (80.1,), "caliper")]
    other = weigh_thickness(read(3.61), none, across, 2, lambda thicker: spurious)
    assert other.meant == pytest.approx(36.1)


def test_sides_that_a_gross_slip_moves_evenly_need_not_be_looked_for_again():
    from snugline.fit.adjustment.photo_sizes import PhotoSizes, Span
    from snugline.fit.adjustment.thickness_weighing import weigh_thickness

    # A block of 39.19 mm traced with 3.92, by hand: 52.5 + 0.52 * 35.27 and 52.5 + 0.59 * 35.27.
    spans = (Span(70.84, -0.52), Span(73.31, -0.59))
    sizes = {"length": PhotoSizes((), 200.0), "width": PhotoSizes(spans, 73.3)}
    none = {"length": PhotoSizes(), "width": PhotoSizes()}
    readings = [Reading("width", (52.5,), "caliper")]
    other = weigh_thickness(read(3.919), sizes, readings, 2, lambda thicker: none)
    assert other.meant == pytest.approx(39.19)

    # So far apart that they do not count as two sides: they come together, though.
    def sizes_if(thicker):
        return none if thicker else sizes

    other = weigh_thickness(read(3.919), none, readings, 2, sizes_if)
    assert other.meant == pytest.approx(39.19)
    tapered = [Span(70.84, -0.52), Span(73.31, -0.52)]  # they stay apart
    sizes["width"] = PhotoSizes(tuple(tapered), 73.3)
    assert weigh_thickness(read(3.919), none, readings, 2, sizes_if) is None


def test_a_thin_part_that_the_photos_rather_take_for_a_thicker_one_must_be_read_twice():
    told = fitted(0.396, 3.96, 0.396).notices[0]
    assert (told.code, told.severity) == ("thickness-unusual", "retake")
    assert str(told.mend).startswith("Ten times too small? Then it is 3.96 mm")
    thin = fitted(0.4, 0.4, 0.4)
    assert all(n.severity != "retake" for n in thin.notices)
    assert "thickness-unusual" in [n.code for n in thin.notices]
