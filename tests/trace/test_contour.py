"""The contour's file: read back to the last bit, and fitted to the same outline."""

import json
from dataclasses import replace

import made_contours
import numpy as np
import pytest
from made_measured import made_measured

from snugline.errors import FileError
from snugline.fit.contour_section import section_of
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.reading import Reading
from snugline.trace.contour import CommonUncertainty, Contour, Curve


def read_back(contour):
    return Contour.from_json(json.loads(json.dumps(contour.as_json(), allow_nan=False)))


def of_a_plate():
    """A contour of a plate 200 x 100 x 20 mm whose points know nothing of rounding."""
    rng = np.random.default_rng(7)
    made = made_contours.section(rounded_rectangle(200, 100, 20), "whole", rng, sigma=0.03)
    own = made.noise * rng.uniform(0.8, 1.2, len(made.noise))
    moved = {"thickness": rng.uniform(0, 0.2, len(own))}
    curve = Curve(made.points, np.hypot(own, 0.05), own, True, (), moved)
    return replace(
        made_measured().photos[0].contour,
        outer=curve,
        others=(),
        common=CommonUncertainty(0.05, 1e-4, 1e-4),
    )


def test_what_is_written_is_read_to_the_last_bit():
    contour = made_measured().photos[0].contour
    back = read_back(contour)
    for one, two in zip((contour.outer, *contour.others), (back.outer, *back.others), strict=True):
        for name in ("points", "sigma", "noise"):
            assert np.array_equal(getattr(one, name), getattr(two, name))
        for of in one.sensitivity.keys() | two.sensitivity.keys():
            assert np.array_equal(one.sensitivity[of], two.sensitivity[of])
        assert one.breaks == two.breaks
        assert one.correlation_mm == two.correlation_mm
        assert np.array_equal(one.alternatives[0].points, two.alternatives[0].points)
    assert (back.photo, back.common) == (contour.photo, contour.common)
    assert back.as_json() == contour.as_json()
    assert back.state == contour.state == "usable"


def test_what_a_photo_does_not_say_stays_unsaid():
    contour = made_measured().photos[0].contour
    silent = replace(contour, photo=replace(contour.photo, markers_holdout_mm=float("nan")))
    assert silent.as_json()["photo"]["markers_holdout_mm"] is None
    assert np.isnan(read_back(silent).photo.markers_holdout_mm)
    assert read_back(replace(contour, wall=None)).wall is None


def test_the_height_of_a_wall_goes_with_the_contour():
    contour = replace(made_measured().photos[0].contour, wall=(6.4, 17.6))
    assert read_back(contour).wall == (6.4, 17.6)
    assert section_of(read_back(contour), "left end").wall == (6.4, 17.6)


def test_a_contour_read_back_fits_to_the_same_outline():
    contour = of_a_plate()
    readings = [Reading("length", (200.1,), "tape")]
    first, second = (
        fit_outline([section_of(one, "whole")], readings, "rounded rectangle")
        for one in (contour, read_back(contour))
    )
    for one, two in zip(first.outline.segments, second.outline.segments, strict=True):
        assert np.abs(np.array(one.start) - two.start).max() <= 1e-12
    assert abs(first.width.value - second.width.value) <= 1e-12
    assert abs(first.width.u95 - second.width.u95) <= 1e-12


def test_a_file_of_the_first_schema_is_read_with_a_word():
    contour = of_a_plate()
    record = contour.as_json()
    for key in ("noise", "sensitivity", "correlation_mm", "state"):
        del record[key]
    old = Contour.from_json({**record, "schema": "snugline/contour/1"})
    assert [n.code for n in old.notices[-1:]] == ["contour-of-first-schema"]
    # Its own noise is what the common offset leaves of the whole.
    assert np.allclose(old.outer.noise, contour.outer.noise)


@pytest.mark.parametrize("record", [{}, {"schema": "other/1"}, {"schema": "snugline/contour/2"}])
def test_what_is_no_contour_is_refused_with_its_name(record):
    with pytest.raises(FileError, match="cannot be read as a contour"):
        Contour.from_json(record, "end.json")
