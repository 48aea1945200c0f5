"""Thicknesses that cannot be right: named with the likely slip, before any outline is searched."""

import numpy as np
import pytest
from made_contours import section

from snugline.errors import FitError
from snugline.fit.adjustment.unlikely_thickness import traced_with, unusual_thickness
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.reading_remarks import CONTRADICTED
from snugline.fit.readings.thickness import thickness_of
from snugline.fit.section import Section, moved_by_thickness

WIDTH = Reading("width", (118.5,), "caliper")
TAPE = Reading("length", (418.0,), "tape")


def stated(mm):
    return thickness_of([Reading("thickness", (mm,), "caliper")])


def end_traced_with(thickness, true, seed):
    """An end as traced with a wrong thickness: each millimetre moves its edges inwards."""
    rng = np.random.default_rng(seed)
    shows = "left end" if seed % 2 else "right end"
    turn = np.pi if seed % 2 else 0.0
    seen = section(rounded_rectangle(418, 118.5, 27.4), shows, rng, turn=turn, name=f"{seed}.jpg")
    by = -0.18 - 0.05 * (seed % 3)
    seen = Section(
        seen.name, seen.shows, seen.points, seen.noise, breaks=seen.breaks,
        sensitivity={"thickness": np.full(len(seen.points), by)},
    )  # fmt: skip
    return moved_by_thickness(seen, thickness - true)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [(52.7, 5.27), (112.7, 11.27), (5.27 * 25.4, 5.27), (11.27 * 25.4, 11.27), (0.347, 8.81)],
)
def test_an_unusual_thickness_is_asked_with_its_slip(typed, meant):
    doubt = unusual_thickness(stated(typed), outline_found=True)
    assert doubt.severity == "usable"
    assert f"{meant:.2f}" in str(doubt.mend)
    wrong = unusual_thickness(stated(typed), outline_found=False)
    assert (wrong.code, wrong.severity) == (CONTRADICTED, "retake")
    assert f"{meant:.2f}" in str(wrong.mend)


@pytest.mark.parametrize("usual", [0.76, 3.0, 8.81, 25.4, 38.0])
def test_a_usual_thickness_is_not_asked(usual):
    assert unusual_thickness(stated(usual), outline_found=True) is None
    assert unusual_thickness(stated(usual), outline_found=False) is None


def test_a_thickness_below_the_top_edge_is_explained():
    assert traced_with(stated(0.881), 1.6) == pytest.approx(8.81)
    assert traced_with(stated(0.347), 1.0) == pytest.approx(0.347 * 25.4)


def test_ten_times_too_large_is_told_without_an_outline():
    sections = [end_traced_with(52.7, 5.27, seed) for seed in (1, 2, 3)]
    thick = Reading("thickness", (52.7,), "caliper")
    with pytest.raises(FitError) as told:
        fit_outline(sections, [thick, WIDTH, TAPE])
    assert "thickness of 52.70 mm cannot be right" in str(told.value).replace("The ", "")
    assert "5.27 mm" in str(told.value)


def test_ten_times_too_small_is_the_thickness_and_not_the_width():
    # With 1.13 for 11.27 mm the photos show a width some millimetres too large: by inattention
    # alone a caliper is hardly ever misread so.
    sections = [end_traced_with(1.127, 11.27, seed) for seed in (1, 2, 4)]
    thin = Reading("thickness", (1.127,), "caliper")
    with pytest.raises(FitError) as told:
        fit_outline(sections, [thin, WIDTH, TAPE])
    assert "thickness of 1.13 mm cannot be right" in str(told.value).replace("The ", "")
    assert "11.27 mm" in str(told.value)
