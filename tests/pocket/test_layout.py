import itertools

import pytest
import shapely

from snugline.errors import PlanError
from snugline.pocket.layout import Piece, placed


def boxes(places):
    made = []
    for p in places:
        size = (p.piece.length, p.piece.width)
        x, y = size[::-1] if p.turned else size
        made.append(shapely.box(*p.at, p.at[0] + x, p.at[1] + y))
    return made


def test_pieces_keep_margins_and_gaps():
    pieces = [Piece("tray", 200.25, 90.5)] * 4 + [Piece("coupon", 50, 50)] * 5
    found = boxes(placed(pieces, (600, 300), margin=10, gap=8))
    assert len(found) == 9
    free = shapely.box(10, 10, 590, 290).buffer(1e-6)
    assert all(free.covers(b) for b in found)
    assert min(a.distance(b) for a, b in itertools.combinations(found, 2)) > 8 - 1e-6


def test_a_piece_as_large_as_the_free_stock_fits():
    (place,) = placed([Piece("tray", 580, 280)], (600, 300), margin=10, gap=8)
    assert place.at == (10, 10)


def test_grain_is_kept_unless_pieces_may_turn():
    tall = [Piece("slip", 100, 280)]
    with pytest.raises(PlanError, match=r"180\.0 mm too wide"):
        placed(tall, (600, 120), margin=10, gap=8)
    (place,) = placed(tall, (600, 120), margin=10, gap=8, turn=True)
    assert place.turned


def test_a_piece_too_large_for_the_stock_is_refused_with_by_how_much():
    with pytest.raises(PlanError, match=r"tray .* 20\.0 mm too long and 5\.0 mm too wide"):
        placed([Piece("tray", 600, 285)], (600, 300), margin=10, gap=8)


def test_too_many_pieces_are_refused_with_the_length_that_is_lacking():
    pieces = [Piece("tray", 190, 280)] * 4
    with pytest.raises(PlanError, match=r"4 pieces need stock (20[45]) mm longer"):
        placed(pieces, (600, 300), margin=10, gap=8)


def test_a_piece_is_rounded_up_to_the_packer_s_grid_and_never_down():
    # Three of 100.0004 mm and two gaps of 8 need 316.0012 mm: 316.0 are too few, 316.003 enough.
    pieces = [Piece("slip", 100.0004, 50)] * 3
    with pytest.raises(PlanError, match="3 pieces need"):
        placed(pieces, (336.0, 70), margin=10, gap=8)
    found = boxes(placed(pieces, (336.003, 70), margin=10, gap=8))
    assert min(a.distance(b) for a, b in itertools.combinations(found, 2)) >= 8


def test_how_much_too_large_a_piece_is():
    with pytest.raises(PlanError, match=r"tray of 100\.0 mm x 310\.0 mm is 30\.0 mm too wide"):
        placed([Piece("tray", 100, 310)], (600, 300), margin=10, gap=8)
    # Turned it is 100 wide and 310 long, and fits.
    (place,) = placed([Piece("tray", 100, 310)], (600, 300), margin=10, gap=8, turn=True)
    assert (place.turned, place.at) == (True, (10, 10))
    with pytest.raises(PlanError, match=r"is 20\.0 mm too long for"):
        placed([Piece("tray", 600, 280)], (600, 300), margin=10, gap=8)
    with pytest.raises(PlanError, match=r"1 piece needs|too long"):
        placed([Piece("tray", 580.001, 280)], (600, 300), margin=10, gap=8)


def test_the_lacking_length_is_enough():
    pieces = [Piece("tray", 190, 280)] * 4
    # Four trays and three gaps are 784 mm, the stock has 580.
    assert len(placed(pieces, (804, 300), margin=10, gap=8)) == 4
    with pytest.raises(PlanError, match="4 pieces need stock 204 mm longer than 600 mm x 300 mm"):
        placed(pieces, (600, 300), margin=10, gap=8)
