"""How a drawing is laid on paper, by counting."""

import math

import pytest

from snugline.errors import InputError
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.drawing.paper import paper_size
from snugline.fit.drawing.tiling import MARGIN, _tiled, tiling
from snugline.fit.geometry.primitives import rounded_rectangle


def drawing(width, height, at=(0.0, 0.0)):
    return Drawing("x", (Layer("a", (rounded_rectangle(width, height).translated(*at),)),), "mm")


def test_a_single_page_is_whole_millimetres_and_as_large_as_it_needs():
    # 2 mm of air round the drawing, 10 mm of margin, 30 mm of foot.
    made = tiling(drawing(300.2, 100.0), None, foot=30)
    assert made.paper == (math.ceil(300.2 + 4 + 20), 100 + 4 + 20 + 30)
    assert (made.columns, made.rows, made.overlap, made.crosses) == (1, 1, 0.0, ())
    (page,) = made.pages
    assert (page.column, page.row) == (1, 1)
    # The drawing's middle is the page's.
    shown = made.paper[0] - 20, made.paper[1] - 50
    assert page.origin == pytest.approx((-shown[0] / 2, -shown[1] / 2))
    # A small drawing's page still holds the ruler of 100 mm.
    assert tiling(drawing(30, 20), None, foot=30).paper[0] == 105 + 20
    tiling(drawing(5056, 20), None, foot=30)
    with pytest.raises(InputError, match="larger than PDF allows"):
        tiling(drawing(5057, 20), None, foot=30)


@pytest.mark.parametrize(
    ("size", "columns", "rows"),
    [  # A4 across, 277 x 160 mm shown: a first page of 277, each further one 267 more
        ((277 - 4, 160 - 4), 1, 1),
        ((277 - 3.9, 160 - 4), 2, 1),
        ((277 + 267 - 4, 160 - 4), 2, 1),
        ((277 + 267 - 3.9, 160 - 4), 3, 1),
        ((277 - 4, 160 + 150 - 4), 1, 2),
    ],
)
def test_as_many_pages_as_the_overlap_needs(size, columns, rows):
    low = -size[0] / 2 - 2, -size[1] / 2 - 2
    whole = size[0] + 4, size[1] + 4
    made = _tiled((297.0, 210.0), 30, low, whole, 10)
    assert (made.columns, made.rows) == (columns, rows)
    assert made.shown == (297 - 2 * MARGIN, 210 - 2 * MARGIN - 30)
    # The paper lies the way that takes fewer pages.
    assert paper_size("a4") == (210, 297)
    upright = _tiled((210.0, 297.0), 30, low, whole, 10)
    chosen = tiling(drawing(*size, at=(40, -70)), "a4", foot=30, overlap=10)
    assert len(chosen.pages) == min(len(made.pages), len(upright.pages))


def test_neighbours_share_the_overlap_and_the_middle_is_shared_evenly():
    made = tiling(drawing(800, 300, at=(11, 13)), "a4", foot=30, overlap=12)
    wide, high = made.shown
    by = {(p.column, p.row): p.origin for p in made.pages}
    assert [(p.column, p.row) for p in made.pages] == [
        (c, r) for r in range(1, made.rows + 1) for c in range(1, made.columns + 1)
    ]
    for (column, row), (x, y) in by.items():
        assert x == pytest.approx(by[1, 1][0] + (column - 1) * (wide - 12))
        assert y == pytest.approx(by[1, 1][1] + (row - 1) * (high - 12))
    last = by[made.columns, made.rows]
    assert (by[1, 1][0] + last[0] + wide) / 2 == pytest.approx(11)
    assert (by[1, 1][1] + last[1] + high) / 2 == pytest.approx(13)
    assert by[1, 1][0] <= 11 - 402
    assert last[0] + wide >= 11 + 402


def test_crosses_stand_in_the_middle_of_each_seam_a_quarter_from_a_page_s_ends():
    made = tiling(drawing(500, 60), "a4", foot=30, overlap=10)
    assert (made.columns, made.rows) == (2, 1)
    (left, low), (right, _) = (page.origin for page in made.pages)
    assert right + 5 == pytest.approx(left + made.shown[0] - 5)
    expected = {(right + 5, low + q * made.shown[1]) for q in (0.25, 0.75)}
    found = {(round(x, 6), round(y, 6)) for x, y in made.crosses}
    assert found == {(round(x, 6), round(y, 6)) for x, y in expected}
    both = tiling(drawing(500, 400), "a4", foot=30, overlap=10)
    inner = (both.columns - 1) * 2 * both.rows + (both.rows - 1) * 2 * both.columns
    assert len(both.crosses) == inner
    for x, y in both.crosses:
        seen = [
            p for p in both.pages
            if p.origin[0] - 1e-6 <= x <= p.origin[0] + both.shown[0] + 1e-6
            and p.origin[1] - 1e-6 <= y <= p.origin[1] + both.shown[1] + 1e-6
        ]  # fmt: skip
        assert len(seen) >= 2


def test_paper_without_room_and_pages_without_end_are_refused():
    with pytest.raises(InputError, match="no room for tiles"):
        tiling(drawing(900, 500), "a4", foot=130, overlap=45)
    with pytest.raises(InputError, match="too many to join"):
        tiling(drawing(9000, 5000), "a4", foot=30)
