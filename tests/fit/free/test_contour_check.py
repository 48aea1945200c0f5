"""Contours that are no part's edge: refused at once, with a mend, and without a warning."""

import math

import numpy as np
import pytest

import snugline.fit.free.arc_spline
from snugline.errors import FitError
from snugline.fit.free.contour_check import check_contour
from snugline.fit.free.free_outline import fit_free
from snugline.fit.geometry.primitives import filleted_polygon, rounded_rectangle
from snugline.fit.section import Section

ANGLE = np.linspace(0, 2 * math.pi, 900, endpoint=False)
OVAL = np.column_stack([100 * np.cos(ANGLE), 60 * np.sin(ANGLE)])
RNG = np.random.default_rng(6)
THERE = np.linspace(0, 100, 450)

NONE = {
    "too few": (OVAL[::90], "only 10 points"),
    "no number": (np.where(np.arange(900)[:, None] == 7, np.nan, OVAL), "not a number"),
    "one place": (np.zeros((900, 2)), "in one place"),
    "micrometres": (OVAL * 1e-6, "in one place"),
    "a line": (np.column_stack([np.linspace(0, 100, 900), np.zeros(900)]), "encloses nothing"),
    "an upright line": (np.column_stack([np.zeros(900), np.linspace(0, 9, 900)]), "nothing"),
    "there and back": (np.column_stack([[*THERE, *THERE[::-1]], np.zeros(900)]), "nothing"),
    "two points": (np.tile([[0.0, 0.0], [10.0, 5.0]], (450, 1)), "encloses nothing"),
    "an eight": (
        np.column_stack([100 * np.sin(ANGLE), 60 * np.sin(2 * ANGLE) + 20 * np.cos(ANGLE)]),
        "encloses nothing|crosses itself",
    ),
    "no order": (RNG.permutation(OVAL), "encloses nothing|crosses itself"),
    "a curl": (
        np.column_stack([(20 + 10 * ANGLE) * np.cos(4 * ANGLE),
                         (20 + 10 * ANGLE) * np.sin(4 * ANGLE)]),
        "crosses itself",
    ),
    "a leap": (np.where(np.arange(900)[:, None] == 420, [5000, 5000], OVAL), "crosses itself"),
    "clockwise": (OVAL[::-1], "clockwise"),
}  # fmt: skip


def whole(points):
    return Section("all.jpg", "whole", points, np.full(len(points), 0.03), True)


@pytest.mark.parametrize("name", list(NONE))
def test_what_is_no_outline_is_refused_with_place_and_mend(name):
    points, said = NONE[name]
    with pytest.raises(FitError, match=said) as caught:
        fit_free([whole(points)])
    assert caught.value.where == "all.jpg"
    assert caught.value.mend


def test_points_without_a_sigma_are_refused():
    section = Section("all.jpg", "whole", OVAL, np.zeros(900), True)
    with pytest.raises(FitError, match="no sigma"):
        check_contour(section)


def test_the_place_where_a_contour_crosses_itself_is_told():
    turn = ANGLE + 1.0  # begins and ends away from the crossing
    points = np.column_stack([100 * np.sin(turn), 60 * np.sin(2 * turn)])[:-20]
    open_eight = Section("end.jpg", "left end", points, np.full(880, 0.03))
    with pytest.raises(FitError, match=r"near \(-?[01]\.\d, -?[01]\.\d\) mm"):
        check_contour(open_eight)


@pytest.mark.parametrize(
    "outline",
    [
        rounded_rectangle(600, 8, 3.9),  # a rule
        # A comb whose teeth and gaps are 4 mm wide.
        filleted_polygon(
            [(0, 0), (84, 0), *((x, y) for k in range(10, -1, -1)
                                for x, y in ((8 * k + 4, 40), (8 * k, 40), (8 * k, 8),
                                             (8 * k - 4, 8))[: 2 if k == 0 else 4])], 0.8,
        ),
    ],
)  # fmt: skip
def test_narrow_parts_are_let_pass(outline):
    points = outline.sampled(0.4)
    check_contour(whole(points + RNG.normal(0, 0.05, points.shape)))


def test_rough_and_dwelling_contours_are_let_pass():
    check_contour(whole(OVAL + RNG.normal(0, 1.0, OVAL.shape)))
    dwelt = np.vstack([OVAL[:300], OVAL[300] + RNG.normal(0, 0.03, (300, 2)), OVAL[300:]])
    check_contour(whole(dwelt))


def test_a_search_without_end_is_broken_off_and_says_so(monkeypatch):
    monkeypatch.setattr(snugline.fit.free.arc_spline, "_MOST_WORK", 20_000)
    angle = ANGLE[::2]
    lobes = (40 + 3 * np.sin(5 * angle))[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    fitted = fit_free([whole(lobes + RNG.normal(0, 0.03, lobes.shape))])
    (notice,) = (n for n in fitted.notices if n.code == "contour-irregular")
    assert str(notice.about) == "all.jpg"
    assert fitted.residual_rms < 1.0
