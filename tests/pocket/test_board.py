import pytest

from snugline.errors import PlanError
from snugline.fit.geometry.primitives import circle, rounded_rectangle
from snugline.pocket.board import Group, laid_out
from snugline.pocket.sheet import PlanLayer

TRAY = Group(
    "tray",
    (
        PlanLayer("pocket depth 9.50 mm", 9.5, (rounded_rectangle(200, 90, 10),)),
        PlanLayer("border through", None, (rounded_rectangle(230, 120, 20),)),
    ),
)
COASTER = Group("coaster", (PlanLayer("pocket depth 9.50 mm", 9.5, (circle(45),)),))
MARK = PlanLayer(
    "mark depth 0.30 mm", 0.3, (rounded_rectangle(40, 10),), (((-20.0, -5.0), (20.0, 5.0)),)
)


def test_pieces_of_several_parts_share_a_board_and_layers_of_one_depth_become_one():
    layers = {la.name: la for la in laid_out([TRAY, COASTER], (400, 200), 10, 8)}
    assert list(layers) == ["pocket depth 9.50 mm", "border through", "stock not cut"]
    pocket, round_one = layers["pocket depth 9.50 mm"].outlines
    (border,) = layers["border through"].outlines
    # A piece keeps its layers together.
    assert pocket.centroid == pytest.approx(border.centroid)
    assert round_one.area == pytest.approx(circle(45).area)
    low_x, low_y, high_x, high_y = border.bounds
    assert low_x >= 10 - 1e-9
    assert high_x <= 390 + 1e-9
    assert (high_x - low_x, high_y - low_y) == pytest.approx((230, 120))


def test_grain_across_the_part_turns_outlines_and_strokes_together():
    across = Group("slip", (MARK,), across=True)
    mark = laid_out([across], (100, 100), 5, 8)[0]
    assert mark.outlines[0].bounds == pytest.approx((5, 5, 15, 45))
    assert mark.strokes == (((15.0, 5.0), (5.0, 45.0)),)


def test_pieces_turn_to_fit_only_when_they_may():
    with pytest.raises(PlanError, match=r"tray .* too long"):
        laid_out([TRAY], (150, 260), 5, 8)
    layers = laid_out([TRAY], (150, 260), 5, 8, turn=True)
    assert layers[1].outlines[0].bounds == pytest.approx((5, 5, 125, 235))
