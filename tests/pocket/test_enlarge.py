"""A gap of its own along each axis, against shapely's Minkowski sums."""

import itertools
import math

import pytest
import shapely
from shapely.affinity import translate

from snugline.fit.geometry.outline import Arc, Line, polygon_of
from snugline.fit.geometry.primitives import circle, filleted_polygon, polygon, rounded_rectangle
from snugline.pocket.clearance import Clearance, even
from snugline.pocket.enlarge import enlarged, swept

NOSED = filleted_polygon(
    [(-60, -40), (60, -40), (60, 40), (20, 40), (0, 0), (-20, 40), (-60, 40)],
    [30, 30, 15, 15, 2, 15, 15],
)
# An S whose arms face each other along x.
S_SHAPE = filleted_polygon(
    [(0, 0), (60, 0), (60, 50), (15, 50), (15, 60), (60, 60), (60, 75), (0, 75), (0, 35), (45, 35),
     (45, 15), (0, 15)], 2.0,
)  # fmt: skip
SHAPES = [
    rounded_rectangle(120, 80, 10),
    rounded_rectangle(120, 80),
    circle(30.0, (5, 7)),
    NOSED,
    NOSED.rotated(math.pi / 2),
    S_SHAPE,
    S_SHAPE.rotated(math.pi / 2),
    polygon([(0, 0), (80, 10), (50, 60)]),
    rounded_rectangle(100, 50, 20).rotated(0.7),
]


def swept_by_shapely(outline, reach):
    whole = polygon_of(outline, 1e-4)
    # Between two places each chord sweeps a parallelogram.
    ring = whole.exterior.coords
    boxes = [
        shapely.Polygon([(ax - reach, ay), (bx - reach, by), (bx + reach, by), (ax + reach, ay)])
        for (ax, ay), (bx, by) in itertools.pairwise(ring)
        if abs(ay - by) > 1e-9
    ]
    sides = [translate(whole, -reach), translate(whole, reach)]
    return shapely.union_all([whole, *sides, *boxes])


@pytest.mark.parametrize("reach", [0.2, 3.0])
@pytest.mark.parametrize("shape", SHAPES)
def test_what_is_swept_along_x_is_the_minkowski_sum(shape, reach):
    theirs = swept_by_shapely(shape, reach)
    outer = shapely.Polygon(theirs.exterior)
    ours = polygon_of(swept(shape, reach), 1e-4)
    assert ours.is_valid
    assert ours.symmetric_difference(outer).area < 2e-4 * outer.length
    low_x, low_y, high_x, high_y = shape.bounds
    assert ours.bounds == pytest.approx((low_x - reach, low_y, high_x + reach, high_y), abs=1e-3)


WITHOUT_LOBES = [s for s in SHAPES if s is not S_SHAPE]
# A sharp corner that is shrunk draws back by more than its walls do.
ROUNDED = [s for s in WITHOUT_LOBES if any(isinstance(one, Arc) for one in s.segments)]


@pytest.mark.parametrize(
    ("shape", "gap"),
    [
        *((s, g) for s in WITHOUT_LOBES for g in (Clearance(0.6, 0.2), Clearance(0.2, 0.6))),
        *((s, Clearance(0.3, -0.05)) for s in ROUNDED),
    ],
)
def test_each_axis_grows_by_its_own_gap(shape, gap):
    made = enlarged(shape, gap)
    low_x, low_y, high_x, high_y = shape.bounds
    assert made.bounds == pytest.approx(
        (low_x - gap.length, low_y - gap.width, high_x + gap.length, high_y + gap.width), abs=2e-2
    )
    assert made.winding > 0
    if gap.least > 0:
        assert polygon_of(made, 1e-4).covers(polygon_of(shape, 1e-4))


def test_an_even_gap_is_the_parallel_and_square_corners_become_arcs_or_stay():
    made = enlarged(rounded_rectangle(100, 60, 10), Clearance(0.5, 0.2))
    # Four quarter arcs of 10.2 mm and four sides, the long ones 0.6 mm longer.
    arcs = [s for s in made.segments if isinstance(s, Arc)]
    assert [a.radius for a in arcs] == pytest.approx([10.2] * 4)
    lines = sorted(s.length for s in made.segments if isinstance(s, Line))
    assert lines == pytest.approx([40, 40, 80.6, 80.6])
    assert enlarged(rounded_rectangle(100, 60, 10), even(0.2)).area == pytest.approx(
        100.4 * 60.4 - (4 - math.pi) * 10.2**2
    )
