"""The joint adjustment's rows and the result's figures against differences and plain geometry."""

import math
from dataclasses import replace

import numpy as np
import pytest

from snugline.fit.contour_noise import estimate_noise
from snugline.fit.free import free_adjustment as fa
from snugline.fit.free.arc_spline import arc_spline
from snugline.fit.free.free_outline import _axes, _data
from snugline.fit.free.free_result import (
    _affine,
    _marks,
    _part_axes,
    _place_u,
    _segments,
    _size,
    _unseen,
    finished,
)
from snugline.fit.free.section_assembly import Placed, round_the_part
from snugline.fit.free.section_join import Pose
from snugline.fit.geometry.arc_chain import Chain, directions, drop, left, outline_of, point_at
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.primitives import filleted_polygon
from snugline.fit.section import Section, Systematic

PALETTE = filleted_polygon(
    [(-120, -45), (40, -50), (130, -25), (115, 45), (0, 25), (-90, 55)], [25, 60, 18, 30, 90, 20]
)


def seen(name, shows, inside, turn, shift, seed, systematic):
    points = PALETTE.sampled(0.8)
    normal = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    normal = left(normal / np.linalg.norm(normal, axis=1)[:, None])
    points = points + 0.03 * np.random.default_rng(seed).normal(size=len(points))[:, None] * normal
    held = inside(points)
    first = int(np.flatnonzero(held & ~np.roll(held, 1))[0])
    points = np.roll(points, -first, axis=0)[: held.sum()]
    c, s = math.cos(turn), math.sin(turn)
    lean = {"lean": np.full(len(points), 0.02)}
    return Section(
        name, shows, points @ np.array([[c, s], [-s, c]]) + shift, np.full(len(points), 0.03),
        systematic=systematic, sensitivity=lean,
    )  # fmt: skip


class Fit:
    """Two overlapping sections, a reading of the width, and all that comes of them."""

    def __init__(self):
        shared = Systematic(0.04, 3e-4, 2e-4, "sheet")
        sections = (
            seen("a.jpg", "left end", lambda p: p[:, 0] < 60, 3.1, (40, 60), 1, shared),
            seen("b.jpg", "section", lambda p: p[:, 0] > -60, 0.05, (200, 90), 2, Systematic()),
        )
        self.readings = {"width": (99.9, 0.05)}
        self.placed, self.contour, self.notices = round_the_part(sections, self.readings, "none")
        spline = arc_spline(self.contour.points, True, None, self.contour.gap)
        self.chain, self.tolerance = spline.fit.chain, spline.tolerance
        self.data = _data(self.placed)
        self.axes, self.extents = _axes(self.chain, self.placed, self.readings)
        self.done = fa.adjust(self.chain, self.data, self.extents, self.placed.sections)


@pytest.fixture(scope="module")
def fit():
    return Fit()


def test_bodies_turn_about_their_middles(fit):
    moved = np.array([[0.0, 0.0, 0.0], [0.3, -0.2, 0.01]])
    placed = fa._placed(fit.data, moved, fit.done.pivot)
    first = fit.data.body == 0
    assert placed[first] == pytest.approx(fit.data.points[first])
    arm = fit.data.points[~first] - fit.done.pivot[1]
    c, s = math.cos(0.01), math.sin(0.01)
    expected = arm @ np.array([[c, s], [-s, c]]) + fit.done.pivot[1] + [0.3, -0.2]
    assert placed[~first] == pytest.approx(expected)
    assert fit.done.pivot[1] == pytest.approx(fit.data.points[~first].mean(axis=0))


def test_derivatives_by_poses_are_those_of_differences(fit):
    moved, pivot = fit.done.moved, fit.done.pivot
    points = fa._placed(fit.data, moved, pivot)
    feet = drop(fit.done.chain, points)
    design = fa._design(fit.done.chain, fit.data, points, feet, pivot, moved)
    m = len(fit.done.chain.values())
    assert design.shape == (len(points), m + 3)
    for j in range(3):
        nudge = np.zeros_like(moved)
        nudge[1, j] = 1e-6
        ahead, behind = (
            drop(
                fit.done.chain, fa._placed(fit.data, moved + s * nudge, pivot), feet.segment
            ).distance
            for s in (1, -1)
        )
        assert design[:, m + j] == pytest.approx((ahead - behind) / 2e-6, abs=1e-5)


def test_what_is_minimised_is_at_its_least(fit):
    """Gradient by the unknowns in the null space of the closure, shared errors included."""
    done, data = fit.done, fit.data
    design = fa._design(done.chain, data, done.points, done.feet, done.pivot, done.moved)
    basis = fa._basis(done.chain, design)
    weights = done.kept.astype(float)
    rows = fa._white(design, data.sigma, data, (done.noise, weights)) @ basis
    z = fa._white(done.feet.distance, data.sigma, data, (done.noise, weights))
    (extent,) = fit.extents
    lack, by = fa._rows(done.chain, [extent], design.shape[1])
    assert lack[0] == pytest.approx((fa.reach_along(done.chain, extent.direction).value
                                     - extent.value) / extent.u)  # fmt: skip
    slope = rows.T @ z + (by @ basis).T @ lack
    scale = np.linalg.norm(rows, axis=0)
    assert np.abs(slope / scale).max() < 0.02 * np.linalg.norm(z)


def test_shared_errors_move_the_points_as_their_words_say(fit):
    done, data = fit.done, fit.data
    columns = fa._shared(data, done.feet, done.points, done.moved, fit.placed.sections)
    first = data.section == 0
    offset, lean, *scales = columns.T
    assert offset == pytest.approx(np.where(first, -0.04, 0.0))  # outwards is to the right
    assert lean == pytest.approx(0.02)
    assert len(scales) == 2
    frame = data.turn + done.moved[data.body, 2]
    for axis, (column, u) in enumerate(zip(scales, (3e-4, 2e-4), strict=True)):
        along = directions(frame + axis * math.pi / 2)
        arm = done.points - done.points[first].mean(axis=0)
        expected = u * np.sum(along * arm, axis=1) * np.sum(along * done.feet.normal, axis=1)
        assert column == pytest.approx(np.where(first, expected, 0.0))


def test_a_closed_chain_stays_closed_and_a_turned_one_keeps_its_shape(fit):
    assert fa._closed(fit.done.chain)
    values = fit.done.chain.values()
    values[5] += 0.01
    assert not fa._closed(fit.done.chain.with_values(values))
    assert fa._closed(replace(fit.done.chain.with_values(values), closed=False))
    there = fa.turned(fit.done.chain, 0.7, np.array([3.0, -8.0]))
    c, s = math.cos(0.7), math.sin(0.7)
    expected = fit.done.chain.poses.end @ np.array([[c, s], [-s, c]]) + [3, -8]
    assert there.poses.end == pytest.approx(expected)


def test_radii_and_places_are_as_uncertain_as_the_parameters_make_them(fit):
    done, chain = fit.done, fit.done.chain
    values, k = chain.values(), done.noise.quantile()

    def slopes(figure):
        out = np.zeros(len(values))
        for j in range(len(values)):
            nudge = np.zeros(len(values))
            nudge[j] = 1e-6
            ahead, behind = (figure(chain.with_values(values + s * nudge)) for s in (1, -1))
            out[j] = (ahead - behind) / 2e-6
        return out

    segments = _segments(done, ("seen",) * len(chain), k)
    for i, segment in enumerate(segments):
        assert (segment.radius is None) == bool(chain.straight[i])
        if segment.radius is not None:
            row = slopes(lambda c, i=i: abs(1 / c.curvatures[i]))
            u = math.sqrt(row @ done.covariance @ row)
            assert segment.radius.value == pytest.approx(abs(1 / chain.curvatures[i]))
            assert segment.radius.u95 == pytest.approx(k * u, rel=1e-4)
        places = []
        for share in (0.0, 0.25, 0.5, 0.75, 1.0):
            at, along = np.array([i]), np.array([share * chain.lengths[i]])
            foot = point_at(chain, at, along)
            row = slopes(lambda c, foot=foot, at=at: float(drop(c, foot, at).distance[0]))
            places.append(math.sqrt(row @ done.covariance @ row))
            assert _place_u(done, at, np.array([share]))[0] == pytest.approx(places[-1], rel=1e-3)
        assert segment.position_u95 == pytest.approx(k * max(places), rel=1e-3)
    size = _size(done, fit.axes, k, "width", True)
    direction = fit.axes.direction + math.pi / 2
    row = slopes(lambda c: fa.reach_along(c, direction).value)
    reach = fa.reach_along(chain, direction)
    row = row + reach.slope * fit.axes.row
    u = math.hypot(math.sqrt(row @ done.covariance @ row), reach.slope * fit.axes.u)
    assert size.u95 == pytest.approx(k * u, rel=1e-3)
    assert size.value == pytest.approx(reach.value)
    assert size.sources == ("photo", "reading")


def test_the_result_lies_in_part_axes_with_its_points_beside_it(fit):
    done, data = fit.done, fit.data
    free = finished(done, fit.placed, data, fit.axes, fit.tolerance, {"width"}, list(fit.notices))
    low_x, low_y, high_x, high_y = free.outline.bounds
    assert (low_x + high_x, low_y + high_y) == pytest.approx((0, 0), abs=1e-9)
    assert high_x - low_x == pytest.approx(free.length.value)
    assert high_y - low_y == pytest.approx(free.width.value)
    assert free.length.sources == ("photo",)
    together = np.concatenate(free.residuals)
    assert together == pytest.approx(
        signed_distance(free.outline, np.vstack(free.points)), abs=1e-6
    )
    kept = np.concatenate(free.kept)
    assert free.residual_rms == pytest.approx(math.sqrt(np.mean(together[kept] ** 2)))
    assert free.residual_max == pytest.approx(np.abs(together[kept]).max())
    axes = _part_axes(done.chain, fit.axes.direction)
    moved = fa._placed(data, done.moved, done.pivot)
    for i, section in enumerate(fit.placed.sections):
        matrix = _affine(done, fit.placed, axes, i)
        there = section.points @ matrix[:, :2].T + matrix[:, 2]
        assert there == pytest.approx(axes.apply(moved[data.section == i]), abs=1e-9)
        assert matrix == pytest.approx(free.poses[i])
    assert outline_of(done.chain).area == pytest.approx(free.outline.area)
    assert free.outline.area == pytest.approx(PALETTE.area, rel=2e-3)


def test_each_segment_is_marked_by_most_of_its_cells():
    square = Chain(
        (0.0, 0.0), 0.0, np.array([60.0, 40.0, 60.0, 40.0]), np.zeros(4), np.full(4, math.pi / 2),
        np.ones(4, dtype=bool), np.ones(4, dtype=bool), closed=True,
    )  # fmt: skip
    x = np.arange(0.5, 60)
    own = np.vstack(
        [np.column_stack([x[:40], 0 * x[:40]]), np.column_stack([x[:20], 40 + 0 * x[:20]])]
    )
    image = np.column_stack([60 + 0 * x[:30], x[:30]])
    points = np.vstack([own, image])
    section = Section("a", "whole", own, np.full(len(own), 0.03))
    placed = Placed((section, section), (Pose(), Pose()), (0, 0), (False, True))
    number = np.repeat([0, 1], [len(own), len(image)])
    data = fa.Data(points, np.full(len(points), 0.03), 0 * number, number, (), 0.0 * number, (0, 0))
    done = fa.Adjustment(
        square, np.eye(len(square.values())), np.zeros((1, 3)), np.zeros((1, 2)), points,
        drop(square, points), np.ones(len(points), dtype=bool), None,
    )  # fmt: skip
    assert _marks(done, data, placed) == ("seen", "mirrored", "extrapolated", "extrapolated")


@pytest.mark.parametrize(
    ("segment", "facing", "first"),
    [
        (0, "front side", 0.4), (1, "right end", 0.4), (2, "back side", 0.4), (3, "left end", 0.4),
        (3, "left end", 0.8),  # up to where the chain begins
    ],
)  # fmt: skip
def test_an_unseen_stretch_is_named_by_where_it_faces(segment, facing, first):
    stadium = Chain(
        (-30.0, -20.0), 0.0, np.array([60.0, 20 * math.pi, 60.0, 20 * math.pi]),
        np.array([0.0, 0.05, 0.0, 0.05]), np.zeros(4), np.array([True, False, True, False]),
        np.zeros(4, dtype=bool), closed=True,
    )  # fmt: skip
    number = np.repeat(np.arange(4), 60)
    share = np.tile((np.arange(60) + 0.5) / 60, 4)
    away = (number == segment) & (share > first) & (share < first + 0.2)
    number, share = number[~away], share[~away]
    points = point_at(stadium, number, share * stadium.lengths[number])
    noise = estimate_noise(
        0.03 * np.random.default_rng(1).normal(size=len(points)), np.full(len(points), 0.03)
    )
    done = fa.Adjustment(
        stadium, 1e-4 * np.eye(len(stadium.values())), np.zeros((1, 3)), np.zeros((1, 2)), points,
        drop(stadium, points), np.ones(len(points), dtype=bool), noise,
    )  # fmt: skip
    (notice,) = _unseen(done, None, stadium, Pose(), ())
    assert f"on the {facing} (near" in notice.text
    assert str(notice.about) == facing.removesuffix(" side")
    stretch = (away.sum() + 1) / 60 * stadium.lengths[segment]
    said = float(notice.text.split("shows ")[1].split(" mm")[0])
    assert said == pytest.approx(stretch, abs=0.6)
    middle = point_at(stadium, np.array([segment]), (first + 0.1) * stadium.lengths[[segment]])[0]
    assert notice.place.mm == pytest.approx(tuple(middle), abs=0.6)
