"""Sizes moved to what was drawn: only when asked for, only where the data decide."""

import math
from dataclasses import replace

import numpy as np
import pytest

from snugline.fit.drawn_sizes import DRAWN, HELD_TOL, snapped
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.nominal_size import Candidate, Dimension, nominal_candidates
from snugline.fit.readings.reading import Reading
from snugline.fit.section import Section, Systematic

LENGTH, WIDTH, RADIUS = 300.0, 120.0, 25.0


def end_of_a_plate(right, rng, offset):
    """The left or right end of a rounded rectangle, 120 mm of it, as a photo would give it."""
    side = np.arange(0.0, 120.0 - RADIUS, 0.5)
    arc = np.arange(0.0, math.pi / 2, 0.5 / RADIUS)
    cos, sin = RADIUS * np.cos(arc), RADIUS * np.sin(arc)
    x, y = LENGTH / 2 - RADIUS, WIDTH / 2 - RADIUS
    across = np.arange(-y, y, 0.5)
    parts = [
        np.column_stack((x - side[::-1], np.full(len(side), -y - RADIUS))),
        np.column_stack((x + sin, -y - cos)),
        np.column_stack((np.full(len(across), x + RADIUS), across)),
        np.column_stack((x + cos, y + sin)),
        np.column_stack((x - side, np.full(len(side), y + RADIUS))),
    ]
    points = np.vstack(parts) + rng.normal(0, 0.01, (sum(map(len, parts)), 2))
    turn = 0.03 if right else math.pi + 0.02
    cos, sin = math.cos(turn), math.sin(turn)
    points = points @ np.array([[cos, sin], [-sin, cos]]) + (150.0, 100.0)
    shows = "right end" if right else "left end"
    sigma = np.full(len(points), 0.01)
    return Section(f"{shows}.jpg", shows, points, sigma, systematic=Systematic(offset))


READINGS = [Reading("length", (300.2,), "0.5 mm"), Reading("width", (120.03,), "caliper")]


def fitted_plate(offset):
    rng = np.random.default_rng(5)
    sections = [end_of_a_plate(right, rng, offset) for right in (True, False)]
    return sections, fit_outline(sections, READINGS, "rounded rectangle")


def offered(of, quantity, listed=()):
    (entry,) = nominal_candidates([Dimension(of, quantity.value, quantity.u95)], listed)
    return entry


def test_a_decisive_size_is_held_and_the_notice_says_what_moved():
    sections, fitted = fitted_plate(offset=0.02)
    width = offered("width", fitted.width, ["300 x 120 mm"])
    assert width.decisive is not None
    result = snapped(fitted, [width], sections, READINGS, "both")
    low, high = result.outline.bounds[1::2]
    assert high - low == pytest.approx(120.0, abs=1e-6)
    assert result.width.u95 == fitted.width.u95
    assert DRAWN in result.width.sources
    assert result.length.sources == fitted.length.sources
    (notice,) = result.notices[len(fitted.notices) :]
    assert notice.code == "snapped"
    assert "120 mm" in notice.text


def test_an_undecided_size_stays_as_measured():
    sections, fitted = fitted_plate(offset=0.02)
    length = offered("length", fitted.length)
    undecided = replace(length, candidates=length.candidates[1:])
    result = snapped(fitted, [undecided], sections, READINGS, "both")
    assert result.outline == fitted.outline
    assert result.notices[-1].code == "snap-undecided"


def test_a_size_that_faultless_photos_contradict_is_not_forced_on_them():
    sections, fitted = fitted_plate(offset=0.0)
    drawn = Candidate("120.1 mm", 120.1, 0.99)
    wrong = replace(offered("width", fitted.width), candidates=(drawn,))
    result = snapped(fitted, [wrong], sections, READINGS, "both")
    assert result.outline == fitted.outline
    assert result.notices[-1].code == "snap-refused"


def test_an_accepted_size_is_held_though_the_data_do_not_decide_it():
    sections, fitted = fitted_plate(offset=0.02)
    accepted = {"length": 300.0, "corner radius": 25.0}
    result = snapped(fitted, (), sections, READINGS, "both", accepted=accepted)
    low, _, high, _ = result.outline.bounds
    assert high - low == pytest.approx(300.0, abs=1e-6)
    assert result.corners[0].params["radius"].value == pytest.approx(25.0, abs=HELD_TOL)
    assert result.length.u95 == fitted.length.u95
    held = result.notices[len(fitted.notices) :]
    assert [notice.code for notice in held] == ["drawn-held", "drawn-held"]


def test_an_accepted_size_that_the_photos_contradict_is_not_forced_on_them():
    sections, fitted = fitted_plate(offset=0.0)
    result = snapped(fitted, (), sections, READINGS, "both", accepted={"width": 120.1})
    assert result.outline == fitted.outline
    assert result.notices[-1].code == "snap-refused"
