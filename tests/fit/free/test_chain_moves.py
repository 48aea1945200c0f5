"""What a move makes of a chain: the same way round, with one segment or parameter fewer or more."""

import math

import numpy as np
import pytest

from snugline.fit.free import chain_moves as moves
from snugline.fit.free.chain_fit import close
from snugline.fit.free.chain_reach import heading_row, reach_along
from snugline.fit.geometry.arc_chain import Chain, outline_of


def made(lengths, sweeps, turns=None, closed=True, start=(5.0, -2.0), heading=0.4):
    lengths, sweeps = np.array(lengths, dtype=float), np.array(sweeps, dtype=float)
    turns = np.zeros(len(lengths)) if turns is None else np.array(turns, dtype=float)
    return Chain(start, heading, lengths, sweeps / lengths, turns, sweeps == 0, turns != 0, closed)


# A rounded rectangle with one sharp corner, at the start of segment 5.
PLATE = made(
    [60, 20, 30, 20, 60, 45, 20], [0, math.pi / 2, 0, math.pi / 2, 0, 0, math.pi / 2],
    [0, 0, 0, 0, 0, math.pi / 2, 0],
)  # fmt: skip
# Five arcs and lines in a row, open.
ROW = made([20, 12, 7, 25, 9], [0, 0.36, -0.35, 0, 0.9], [0, 0, 0.4, 0, -0.3], closed=False)


def same_kinds(chain):
    return all(
        (chain.curvatures[i] == 0) == chain.straight[i] and (chain.corner[i] or chain.turns[i] == 0)
        for i in range(len(chain))
    )


def test_a_rotated_chain_is_the_same_curve():
    for node in range(7):
        turned = moves.rotated(PLATE, node)
        assert turned.lengths[0] == PLATE.lengths[node]
        assert turned.straight[0] == PLATE.straight[node]
        assert turned.corner[(5 - node) % 7]
        assert turned.turns[(5 - node) % 7] == math.pi / 2
        assert np.roll(turned.poses.start, node, axis=0)[node:] == pytest.approx(
            PLATE.poses.start[node:], abs=1e-9
        )
        assert turned.total_turn() == pytest.approx(PLATE.total_turn())


@pytest.mark.parametrize("segment", range(4))
def test_merged_segments_turn_as_far_and_are_as_long_as_both(segment):
    one = moves.merged(ROW, segment)
    assert len(one) == 4
    assert one.lengths.sum() == pytest.approx(ROW.lengths.sum())
    assert one.lengths[segment] == ROW.lengths[segment] + ROW.lengths[segment + 1]
    assert one.total_turn() == pytest.approx(ROW.total_turn())
    assert not one.straight[segment]
    assert same_kinds(one)


def test_merging_stops_at_an_open_end_and_goes_round_a_closed_chain():
    assert moves.merged(ROW, 4) is None
    round_ = moves.merged(PLATE, 6)  # the last and the first
    assert len(round_) == 6
    assert 80.0 in round_.lengths
    assert round_.total_turn() == pytest.approx(2 * math.pi)
    alone = made([10], [0.5], closed=False)
    assert moves.merged(alone, 0) is None


def test_lines_in_line_merge_to_a_line_and_lines_at_a_corner_to_an_arc():
    inline = made([10, 20, 5], [0, 0, 0.3], [0, 0.05, 0], closed=False)
    assert moves.merged(inline, 0).straight[0]
    assert not moves.merged(made([10, 20, 5], [0, 0, 0.3], [0, 0.15, 0], closed=False), 0).straight[
        0
    ]


@pytest.mark.parametrize("sharp", [False, True])
def test_a_segment_is_removed_and_its_turn_kept(sharp):
    gone = moves.removed(ROW, 1, sharp)
    assert len(gone) == 4
    assert gone.total_turn() == pytest.approx(ROW.total_turn())
    assert same_kinds(gone)
    if sharp:
        # The arc's own sweep and the turns at both its ends.
        assert gone.turns[1] == pytest.approx(0.36 + 0.4)
        half = 12 / 2 / math.cos(0.76 / 2)
    else:
        assert gone.curvatures[1] * gone.lengths[1] == pytest.approx(-0.35 + 0.76)
        assert gone.turns.tolist() == [0, 0, 0, -0.3]
        assert gone.corner.tolist() == [False, False, False, True]
        half = 6
    assert gone.lengths[:2] == pytest.approx([20 + half, 7 + half])
    assert moves.removed(ROW, 0, sharp) is None
    assert moves.removed(ROW, 4, sharp) is None


def test_what_cannot_be_removed_is_left():
    assert moves.removed(PLATE, 2, sharp=True) is None  # a line between arcs turns nothing
    between = made([20, 4, 20], [0, 0.5, 0], closed=False)
    assert moves.removed(between, 1, sharp=False) is None  # no neighbour can bend
    assert moves.removed(between, 1, sharp=True).turns[1] == pytest.approx(0.5)
    hairpin = made([20, 9, 20], [0, 3.05, 0], closed=False)
    assert moves.removed(hairpin, 1, sharp=True) is None
    assert moves.removed(made([9, 9], [0.1, 0.2], closed=False), 1, sharp=True) is None


def test_a_straightened_arc_gives_its_sweep_to_what_can_bend():
    three = made([20, 12, 7], [0.2, 0.36, -0.35], closed=False)
    line = moves.straightened(three, 1)
    assert line.straight.tolist() == [False, True, False]
    assert line.curvatures * line.lengths == pytest.approx([0.38, 0, -0.17])
    first = moves.straightened(three, 0)
    assert first.curvatures * first.lengths == pytest.approx([0, 0.56, -0.35])
    assert moves.straightened(first, 0) is None
    assert moves.straightened(ROW, 1) is None  # tangent to a line: that would be one line
    cornered = moves.straightened(ROW, 4)
    assert cornered.straight[4]
    assert cornered.corner[4]
    two = made([90, 90], [math.pi, math.pi])
    assert moves.straightened(two, 0) is None
    three = made([90, 50, 50], [math.pi, math.pi / 2, math.pi / 2])
    assert moves.straightened(three, 0).straight.tolist() == [True, False, False]
    # A corner at one end alone does not make a line of it where the other end is tangent.
    one = made([20, 12, 7], [0, 0.36, 0], [0, 0, 0.4], closed=False)
    assert moves.straightened(one, 1) is None
    both = made([20, 12, 7], [0, 0.36, 0], [0, 0.2, 0.4], closed=False)
    assert moves.straightened(both, 1).straight.all()


def test_what_makes_a_chain_larger_goes_round_it():
    larger = [move(PLATE, 6, 8.0, 2.0) for move in moves.RICHER]
    assert [None if c is None else len(c) for c in larger] == [8, 8, 8, None, 7, None, 7, None]
    assert larger[0].lengths[6:] == pytest.approx([8, 12])
    assert larger[1].lengths[6:] == pytest.approx([10, 10])
    assert larger[4].corner[6]
    assert larger[6].corner[0]
    assert min(moves.RICHER[5](PLATE, 5, 8.0, 2.0).lengths) == pytest.approx(math.pi)
    assert moves.RICHER[7](PLATE, 4, 8.0, 2.0) is not None


def test_a_smoothed_corner_gives_its_turn_to_its_arcs():
    soft = moves.smoothed(ROW, 2)
    assert not soft.corner[2]
    assert soft.curvatures * soft.lengths == pytest.approx([0, 0.56, -0.15, 0, 0.9])
    assert moves.smoothed(ROW, 1) is None
    assert moves.smoothed(PLATE, 5) is None  # between two lines
    half = moves.smoothed(ROW, 4)
    assert half.curvatures[4] * 9 == pytest.approx(0.6)


@pytest.mark.parametrize(("along", "first"), [(5.0, 5.0), (0.1, 3.75), (24.9, 21.25)])
def test_a_split_leaves_the_curve(along, first):
    two = moves.split(ROW, 3, along)
    assert two.lengths[3:5] == pytest.approx([first, 25 - first])
    assert two.poses.end[-1] == pytest.approx(ROW.poses.end[-1])
    assert two.straight.tolist() == [True, False, False, False, False, False]
    arcs = moves.split(ROW, 4, 3.0)
    assert arcs.curvatures[4:] == pytest.approx([0.1, 0.1])
    assert arcs.turns.tolist() == [0, 0, 0.4, 0, -0.3, 0]
    assert arcs.corner.tolist() == [False, False, True, False, True, False]


def test_a_kinked_arc_is_two_lines_that_turn_by_its_sweep():
    kink = moves.kinked(ROW, 4, 4.5)
    assert kink.straight[4:].all()
    assert kink.corner[5]
    assert kink.turns[5] == pytest.approx(0.9)
    assert same_kinds(kink)


def test_lines_may_bend_and_nodes_may_turn():
    assert not moves.bent(ROW, 0).straight[0]
    assert moves.bent(ROW, 1) is None
    assert moves.sharpened(ROW, 1).corner[1]
    assert moves.sharpened(ROW, 2) is None
    assert moves.sharpened(ROW, 0) is None
    assert moves.sharpened(PLATE, 0).corner[0]


def test_a_filleted_corner_leaves_its_lines_where_they_are():
    """A fillet of radius r takes r tan(turn / 2) off either side."""
    soft = moves.filleted(PLATE, 5, 8.0)
    assert len(soft) == 8
    assert not soft.corner.any()
    assert sorted(soft.lengths) == pytest.approx(sorted([52, 20, 30, 20, 4 * math.pi, 37, 20, 60]))
    assert 1 / soft.curvatures.max() == pytest.approx(8)
    assert soft.poses.end[-1] == pytest.approx(soft.poses.start[0], abs=1e-9 + 60)
    assert soft.total_turn() == pytest.approx(2 * math.pi)
    # At most four tenths of the shorter side.
    wide = moves.filleted(PLATE, 5, 500.0)
    assert 1 / np.min(wide.curvatures[wide.curvatures > 0]) == pytest.approx(18)
    right = made([20, 20], [0, 0], [0, -1.0], closed=False)
    bend = moves.filleted(right, 1, 3.0)
    assert bend.curvatures[1] == pytest.approx(-1 / 3)
    assert bend.poses.end[-1] == pytest.approx(right.poses.end[-1])
    assert moves.filleted(PLATE, 1, 8.0) is None


def test_a_part_is_the_piece_itself():
    piece = moves.part(ROW, 1, 4)
    assert len(piece) == 3
    assert piece.poses.start == pytest.approx(ROW.poses.start[1:4])
    assert piece.poses.end == pytest.approx(ROW.poses.end[1:4])
    assert not piece.closed
    corner = moves.part(ROW, 2, 5)
    assert (corner.turns[0], corner.corner[0]) == (0, False)
    assert corner.turns.tolist() == [0, 0, -0.3]


def test_extents_are_those_of_the_outline():
    rough = made([40, 25, 60, 75], [math.pi / 2, -0.4, math.pi + 0.6, 0], [0, 0, 0, 0.9])
    bean = close(rough, np.ones(len(rough.values())))
    dense = outline_of(bean).sampled(0.02)
    for angle in np.linspace(-3, 3, 25):
        d = np.array([math.cos(angle), math.sin(angle)])
        found = reach_along(bean, angle)
        assert found.value >= np.ptp(dense @ d) - 1e-9
        assert found.value == pytest.approx(found.high - found.low)
        assert found.value == pytest.approx(np.ptp(dense @ d), abs=1e-4)
        ahead, behind = (reach_along(bean, angle + s * 1e-6).value for s in (1, -1))
        assert found.slope == pytest.approx((ahead - behind) / 2e-6, abs=1e-3)
        values = bean.values()
        for j in range(len(values)):
            nudge = np.zeros(len(values))
            nudge[j] = 1e-6
            more, less = (
                reach_along(bean.with_values(values + s * nudge), angle).value for s in (1, -1)
            )
            assert found.row[j] == pytest.approx((more - less) / 2e-6, abs=1e-5)


def test_a_stadium_s_extents_are_its_length_and_width():
    stadium = made([60, 20 * math.pi, 60, 20 * math.pi], [0, math.pi, 0, math.pi], heading=0.25)
    assert reach_along(stadium, 0.25).value == pytest.approx(100)
    assert reach_along(stadium, 0.25 + math.pi / 2).value == pytest.approx(40)
    for angle in (0.7, 2.0, -1.1):
        # Minkowski sum of a line of 60 mm and a disc of 20 mm radius.
        expected = 60 * abs(math.cos(angle - 0.25)) + 40
        assert reach_along(stadium, angle).value == pytest.approx(expected)
    assert outline_of(stadium).area == pytest.approx(60 * 40 + math.pi * 400)


@pytest.mark.parametrize("segment", range(5))
def test_how_a_heading_follows_the_parameters(segment):
    values, exact = ROW.values(), heading_row(ROW, segment)
    for j in range(len(values)):
        nudge = np.zeros(len(values))
        nudge[j] = 1e-6
        ahead, behind = (
            ROW.with_values(values + s * nudge).poses.heading[segment] for s in (1, -1)
        )
        assert exact[j] == pytest.approx((ahead - behind) / 2e-6, abs=1e-6)
