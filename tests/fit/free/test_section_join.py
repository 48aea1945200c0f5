"""Sections placed on each other: poses, common stretches, mirror images, ends in line."""

import math

import numpy as np
import pytest

from snugline.errors import FitError
from snugline.fit.free.chain_fit import close
from snugline.fit.free.chain_reach import reach_along
from snugline.fit.free.part_axes import axes_of, narrowest
from snugline.fit.free.section_assembly import _between, _meets_itself, _middle_heading
from snugline.fit.free.section_join import (
    Contour,
    Pose,
    _runs,
    facing_lines,
    laid_in_line,
    may_meet,
    mirrored,
    mirrored_chain,
    on_chain,
    out_of_line,
    register,
    run_together,
)
from snugline.fit.geometry.arc_chain import Chain, outline_of, point_at
from snugline.fit.section import Section


def made(lengths, sweeps, closed=False, start=(0.0, 0.0), heading=0.0, turns=None):
    lengths, sweeps = np.array(lengths, dtype=float), np.array(sweeps, dtype=float)
    turns = np.zeros(len(lengths)) if turns is None else np.array(turns, dtype=float)
    return Chain(start, heading, lengths, sweeps / lengths, turns, sweeps == 0, turns != 0, closed)


# A long edge: line, arc, line, a hollow, line, arc, line.
EDGE = made([50, 24, 30, 21, 26, 30, 40], [0, 1.2, 0, -0.7, 0, 1.5, 0], start=(3, -4), heading=0.2)


def run(chain, step=0.4):
    """Points along an open chain."""
    base = np.concatenate([[0.0], np.cumsum(chain.lengths)])
    at = np.arange(0, base[-1], step)
    segment = np.clip(np.searchsorted(base, at, side="right") - 1, 0, len(chain) - 1)
    return point_at(chain, segment, at - base[segment])


def placed(chain, pose):
    """The chain as a pose moves it."""
    x, y = pose.apply(np.array([chain.start]))[0]
    return Chain(
        (float(x), float(y)), chain.heading + pose.turn, chain.lengths, chain.curvatures,
        chain.turns, chain.straight, chain.corner, chain.closed,
    )  # fmt: skip


def piece(chain, first, end):
    at = chain.poses
    return Chain(
        (float(at.start[first, 0]), float(at.start[first, 1])), float(at.heading[first]),
        chain.lengths[first:end], chain.curvatures[first:end], chain.turns[first:end],
        chain.straight[first:end], chain.corner[first:end], False,
    )  # fmt: skip


def test_poses_are_a_group():
    a, b = Pose(0.7, (3.0, -2.0)), Pose(-1.9, (0.5, 8.0))
    points = np.random.default_rng(1).normal(size=(5, 2))
    assert a.after(b).apply(points) == pytest.approx(a.apply(b.apply(points)))
    assert a.inverse().apply(a.apply(points)) == pytest.approx(points)
    # A quarter turn to the left, by hand.
    assert Pose(math.pi / 2, (1.0, 0.0)).apply(np.array([[2.0, 3.0]]))[0] == pytest.approx([-2, 2])


@pytest.mark.parametrize("pose", [Pose(2.1, (40.0, -70.0)), Pose(-0.4, (5.0, 200.0))])
def test_two_pieces_that_share_bends_are_laid_on_each_other(pose):
    first, second = piece(EDGE, 0, 5), piece(EDGE, 1, 7)
    moved = placed(second, pose)
    found = register(first, moved, run(moved))
    assert found.pose.after(pose).apply(run(second)) == pytest.approx(run(second), abs=1e-3)
    assert found.rms < 1e-3
    assert found.common == pytest.approx(24 + 30 + 21 + 26, abs=3)
    assert found.firm
    assert 0.001 < found.slack < 0.1
    assert register(first, moved, run(moved), by_shape=False) is None


def test_pieces_that_lie_on_each_other_stay():
    first, second = piece(EDGE, 0, 5), piece(EDGE, 2, 7)
    found = register(first, second, run(second))
    assert (found.pose, found.slack) == (Pose(), 0.0)
    assert found.common == pytest.approx(30 + 21 + 26, abs=2)


def test_places_that_only_look_alike_are_not_one():
    # The same two arcs and line between, but what follows differs on both sides.
    first = made([60, 24, 30, 24, 60], [0, 1.2, 0, 1.2, 0])
    other = made([40, 15, 12, 24, 30, 24, 12, 15, 40], [0, -0.9, 0, 1.2, 0, 1.2, 0, -0.9, 0])
    pose = Pose(1.0, (9.0, 9.0))
    assert register(first, placed(other, pose), run(placed(other, pose))) is None


def test_a_line_alone_may_slide():
    first, second = made([80, 20, 5], [0, 1.0, 0]), made([5, 20, 80], [0, 0.6, 0])
    assert register(first, placed(second, Pose(0.3)), run(placed(second, Pose(0.3)))) is None


def test_points_on_a_chain_are_near_and_not_beyond_its_ends():
    line = made([50], [0])
    points = np.array(
        [[10, 0.4], [10, 0.6], [-0.4, 0], [-0.6, 0], [50.4, 0], [50.6, 0], [25, -0.4]]
    )
    inside, feet = on_chain(line, points, 0.5)
    assert inside.tolist() == [True, False, True, False, True, False, True]
    assert feet.distance[[0, 6]] == pytest.approx([0.4, -0.4])


def test_runs_bridge_holes_of_three():
    inside = np.zeros(60, dtype=bool)
    inside[[4, 5, 6, 10, 11, 12, 17, 18, 30, 31, 32]] = True
    assert _runs(inside) == [(4, 12), (30, 32)]  # a hole of four parts, and two are too few
    assert _runs(np.zeros(9, dtype=bool)) == []


def test_ends_cannot_meet_but_a_section_can():
    def shows(what):
        return Section("a", what, np.zeros((1, 2)), np.ones(1))

    assert not may_meet(shows("left end"), shows("right end"))
    assert may_meet(shows("left end"), shows("section"))
    assert may_meet(shows("left end"), shows("left end"))
    assert not may_meet(shows("front left corner"), shows("back left corner"))
    assert may_meet(shows("front left corner"), shows("front left corner"))
    assert may_meet(shows("front left corner"), shows("section"))


def ends(length=200.0, width=80.0, radius=15.0, reach=60.0):
    """A rounded rectangle's two ends, each run with the part on its left; lines outermost."""
    quarter, side = radius * math.pi / 2, width - 2 * radius
    lengths = [reach, quarter, side, quarter, reach]
    sweeps = [0, math.pi / 2, 0, math.pi / 2, 0]
    right = made(lengths, sweeps, start=(length / 2 - radius - reach, -width / 2))
    left = made(lengths, sweeps, start=(radius + reach - length / 2, width / 2), heading=math.pi)
    return right, left


@pytest.mark.parametrize("heading", [0.0, 0.8, -2.2])
def test_ends_are_laid_in_line_at_the_length_that_was_read(heading):
    right, left = (placed(end, Pose(heading, (8.0, -5.0))) for end in ends())
    assert facing_lines(right, left)
    astray = Pose(0.9, (70.0, 11.0))
    moved = placed(left, astray)
    # The length runs along the lines, from the right end to where the first chain's last line goes.
    along = np.array([math.cos(heading), math.sin(heading)])
    far = float((run(right) @ along).max())

    def short(pose):
        return 200.0 - (far - float((pose.apply(run(moved)) @ along).min()))

    pose = laid_in_line(right, moved, short)
    back = pose.after(astray)
    assert math.cos(back.turn) == pytest.approx(1, abs=1e-12)
    assert back.apply(run(left)) == pytest.approx(run(left), abs=1e-6)
    assert out_of_line(right, moved, pose) == pytest.approx((0, 0), abs=1e-9)


def test_how_far_ends_are_out_of_line():
    right, left = ends()
    askew, apart = out_of_line(right, left, Pose(0.0, (0.0, 0.7)))
    assert (askew, apart) == pytest.approx((0, 0.7))
    askew, _ = out_of_line(right, left, Pose(0.02))
    assert askew == pytest.approx(0.02)
    # Of one end alone: the other's last line bends by 3 hundredths.
    bent = made([60, 20, 50, 20, 60], [0, math.pi / 2, 0, math.pi / 2 + 0.03, 0], heading=math.pi)
    assert out_of_line(right, bent, Pose())[0] == pytest.approx(0.03)
    assert not facing_lines(right, made([10, 5], [0, 0.4]))
    assert not facing_lines(made([10, 5], [0.4, 0]), right)


def test_a_mirror_image_runs_the_other_way_round_and_keeps_its_bends():
    points = run(EDGE)
    section = Section(
        "a.jpg", "left end", points, np.arange(len(points)) + 1.0, breaks=(10, 30),
        sensitivity={"lean": np.arange(len(points)) * 2.0},
    )  # fmt: skip
    pose, axis = Pose(0.3, (2.0, 5.0)), 0.4
    image = mirrored(section, pose, axis)
    d = np.array([math.cos(axis), math.sin(axis)])
    there = pose.apply(points)
    expected = 2 * np.outer(there @ d, d) - there  # along the line as it was, across it opposite
    assert image.points == pytest.approx(expected[::-1])
    assert image.noise.tolist() == section.noise[::-1].tolist()
    n = len(points)
    assert image.breaks == (n - 30, n - 10)
    assert image.sensitivity["lean"][0] == section.sensitivity["lean"][-1]
    assert mirrored(image, Pose(), axis).points == pytest.approx(there)
    chain = mirrored_chain(placed(EDGE, pose), axis)
    assert chain.poses.start[0] == pytest.approx(expected[-1], abs=0.5)
    assert chain.poses.end[-1] == pytest.approx(expected[0], abs=1e-9)
    assert chain.sweeps == pytest.approx(EDGE.sweeps[::-1])
    twice = mirrored_chain(chain, axis)
    assert twice.poses.end == pytest.approx(placed(EDGE, pose).poses.end)


def test_a_mirrored_corner_stands_at_its_own_node():
    bent = made([20, 30, 10, 5], [0, 0, 0.5, 0], turns=[0, 0.8, 0, 0])
    image = mirrored_chain(bent, 0.0)
    assert image.turns == pytest.approx([0, 0, 0, 0.8])
    assert image.corner.tolist() == [False, False, False, True]
    nodes = np.vstack([bent.poses.start, bent.poses.end[-1:]])[::-1] * [1, -1]
    assert np.vstack([image.poses.start, image.poses.end[-1:]]) == pytest.approx(nodes)


def test_sections_run_into_one_contour_in_order():
    points = run(EDGE)
    n = len(points)
    whole = run_together([points[: n // 2], points[n // 3 :]], False)
    along = np.argmin(np.linalg.norm(whole.points[:, None] - points[None], axis=2), axis=1)
    assert (np.diff(along) >= 0).all()
    assert len(whole.points) == n // 2 + n - n // 3
    assert not whole.gap.any()
    assert not whole.closed
    first_last = run_together([points[n // 3 :], points[: n // 2]], False)
    assert first_last.points == pytest.approx(whole.points, abs=0.5)  # equal places in any order
    for parts in ([points[n // 3 : n // 2], points], [points[n // 3 :], points[: n // 2]]):
        joined = run_together(parts, False)
        along = np.argmin(np.linalg.norm(joined.points[:, None] - points[None], axis=2), axis=1)
        assert (np.diff(along) >= 0).all()


def test_what_lies_apart_follows_after_a_gap():
    points = run(EDGE)
    apart = run_together([points[:100], points[140:]], False)
    assert apart.points == pytest.approx(np.vstack([points[:100], points[140:]]))
    assert np.flatnonzero(apart.gap).tolist() == [100]
    round_ = run_together([points[:100], points[140:]], True)
    assert np.flatnonzero(round_.gap).tolist() == [0, 100]


def test_a_part_that_reaches_both_ends_closes_the_contour():
    angle = np.linspace(0, 2 * math.pi, 400, endpoint=False)
    ring = 30 * np.column_stack([np.cos(angle), np.sin(angle)])
    contour = run_together([ring[:300], np.vstack([ring[250:], ring[:50]])], False)
    assert contour.closed
    assert len(contour.points) == 500
    heading = np.unwrap(np.arctan2(contour.points[:, 1], contour.points[:, 0]))
    assert np.ptp(heading) == pytest.approx(2 * math.pi, abs=0.1)


@pytest.mark.parametrize(("missing", "meets"), [(1, True), (40, True), (120, False)])
def test_a_contour_meets_itself_where_little_is_missing(missing, meets):
    angle = np.linspace(0, 2 * math.pi, 400, endpoint=False)[: 400 - missing]
    ring = 30 * np.column_stack([np.cos(angle), np.sin(angle)])
    assert _meets_itself(Contour(ring, np.zeros(len(ring), dtype=bool), False)) is meets


def test_the_heading_between_two_ends_is_the_part_s_own():
    right, left = ends()
    assert _middle_heading(right) % (2 * math.pi) == pytest.approx(math.pi)
    assert math.sin(_middle_heading(left)) == pytest.approx(0, abs=1e-9)
    assert _between(right) == pytest.approx(0, abs=1e-9)
    corner = made([40, 20, 40], [0, math.pi / 2, 0])
    assert abs(_between(corner)) == pytest.approx(math.pi / 2)


def stadium(heading):
    return made(
        [60, 20 * math.pi, 60, 20 * math.pi], [0, math.pi, 0, math.pi], True, heading=heading
    )


@pytest.mark.parametrize("heading", [0.0, 0.3, -1.2, 1.55, 2.9])
def test_the_narrowest_rectangle_lies_along_the_sides(heading):
    expected = math.pi / 2 - (math.pi / 2 - heading) % math.pi
    assert narrowest(stadium(heading)) == pytest.approx(expected, abs=1e-9)


def test_the_narrowest_rectangle_is_that_of_all_directions():
    """Of a slanting outline without parallel sides, by a dense polygon's extents."""
    rough = made([90, 17, 80, 14, 45, 30], [0, 1.7, 0, 1.4, 0, 2 * math.pi - 3.1], True)
    wedge = close(rough, np.ones(len(rough.values())))
    corners = outline_of(wedge).sampled(0.02)
    every = np.arange(-math.pi / 2, math.pi / 2, 1e-3)
    width = [np.ptp(corners @ [-math.sin(a), math.cos(a)]) for a in every]
    found = narrowest(wedge)
    assert reach_along(wedge, found + math.pi / 2).value == pytest.approx(min(width), abs=0.02)
    assert found == pytest.approx(every[int(np.argmin(width))], abs=2e-3)


def test_with_parallel_sides_the_length_runs_along_them_whatever_is_read():
    axes = axes_of(stadium(0.3), {"length": (90.0, 0.1), "width": (44.0, 0.05)})
    assert axes.direction == pytest.approx(0.3, abs=1e-9)
    assert axes.u == 0
    assert axes.row[2] == 1  # turns with the chain's heading
    assert axes_of(stadium(0.3), {}).direction == pytest.approx(0.3, abs=1e-9)


def test_ends_that_point_past_each_other_are_told_with_their_names():
    from snugline.fit.free.free_outline import fit_free

    right, left = ends()
    wide = ends(width=140.0)[1]
    sections = [
        Section(name, shows, run(chain), np.full(len(run(chain)), 0.03))
        for name, shows, chain in (("r.jpg", "right end", right), ("l.jpg", "left end", wide))
    ]
    with pytest.raises(FitError, match=r"r\.jpg and l\.jpg end"):
        fit_free(sections, {"length": (200.0, 0.2)})
    exact = [
        Section(name, shows, run(chain), np.full(len(run(chain)), 0.03))
        for name, shows, chain in (("r.jpg", "right end", right), ("l.jpg", "left end", left))
    ]
    fit = fit_free(exact, {"length": (200.0, 0.2)})
    assert fit.length.value == pytest.approx(200, abs=1e-3)
    assert fit.width.value == pytest.approx(80, abs=1e-4)
    radii = [s.radius for s in fit.outline.segments if hasattr(s, "radius")]
    assert radii == pytest.approx([15] * 4, abs=1e-3)


def test_a_width_read_off_the_narrowest_rectangle_turns_the_axes():
    """The direction is as uncertain as the reading over the slope of the extent (JCGM 100, 5.1)."""
    rough = made([90, 17, 80, 14, 45, 30], [0, 1.7, 0, 1.4, 0, 2 * math.pi - 3.1], True)
    wedge = close(rough, np.ones(len(rough.values())))
    least = narrowest(wedge)
    for u in (0.08, 0.2):
        value = reach_along(wedge, least + 0.05 + math.pi / 2).value
        axes = axes_of(wedge, {"width": (value, u)})
        found = reach_along(wedge, axes.direction + math.pi / 2)
        assert 0.005 < abs(axes.direction - least) < 0.06
        assert found.value == pytest.approx(value, abs=0.02)
        assert axes.u == pytest.approx(u / abs(found.slope))
        assert (axes.row == 0).all()
    # A reading better than 0.05 mm is not believed to be, where directions are judged.
    sharp = axes_of(wedge, {"width": (value, 0.001)})
    slope = reach_along(wedge, sharp.direction + math.pi / 2).slope
    assert sharp.u == pytest.approx(0.05 / abs(slope))
