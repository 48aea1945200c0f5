"""What a second sheet would make of the length: the sum by hand, and where it is not worth it."""

import math
from types import SimpleNamespace

import pytest

from snugline.desk.second_sheet import second_sheet
from snugline.fit.result import Quantity


def contour(closed=False, scale=2.7e-4, offset=0.043, holdout=0.011):
    return SimpleNamespace(
        outer=SimpleNamespace(closed=closed),
        common=SimpleNamespace(scale_x=scale, offset=offset),
        photo=SimpleNamespace(holdout_mm=holdout),
    )


def fitted(u95=0.76, length=418.0):
    return SimpleNamespace(length=Quantity(length, u95))


def test_it_is_the_sum_of_scale_place_of_the_sheets_and_both_edges():
    found = second_sheet(fitted(), [contour(), contour()])
    # JCGM 100, equation 10: 418 mm x 0.27 per mille; two places; two edges, halved by two photos.
    u = math.sqrt((418 * 2.7e-4) ** 2 + 2 * 0.011**2 + (2 * 0.043) ** 2 / 2)
    assert found.then == pytest.approx(1.96 * u, rel=1e-4)
    assert found.u95 == 0.76
    assert 0.2 < found.then < 0.3


def test_a_longer_part_gains_less_and_a_worse_print_too():
    short, long = (second_sheet(fitted(2.0, mm), [contour()]).then for mm in (300.0, 900.0))
    assert long > short
    coarse = second_sheet(fitted(2.0), [contour(scale=1e-3)])
    assert coarse.then > second_sheet(fitted(2.0), [contour()]).then


@pytest.mark.parametrize(
    ("length", "contours"),
    [
        (fitted(0.3), [contour(), contour()]),  # the tape is nearly as good
        (fitted(), [contour(), contour(closed=True)]),  # one photo shows the whole part
        (fitted(), []),
    ],
)
def test_where_it_would_bring_little_nothing_is_offered(length, contours):
    assert second_sheet(length, contours) is None
