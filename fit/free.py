"""Free outlines: whole parts of lines and arcs, from one closed contour or several open sections.

The road: each section's own chain (`arc_spline`); sections that share a stretch registered by it
(`join`); what no photo shows mirrored where the symmetry says so, and ends that nothing ties laid
in line at the distance of the length reading; all run into one contour, whose chain is found and
adjusted with poses and readings (`free_adjust`).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from snugline.errors import FitError
from snugline.fit.arc_chain import (
    Array,
    Chain,
    Feet,
    Indices,
    directions,
    halved,
    jacobian,
    left,
    outline_of,
    point_at,
)
from snugline.fit.arc_spline import arc_spline
from snugline.fit.contour_check import check_contour
from snugline.fit.free_adjust import (
    Adjustment,
    Data,
    Extent,
    adjust,
    reach_along,
    turned,
)
from snugline.fit.join import (
    Contour,
    Pose,
    facing_lines,
    laid_in_line,
    may_meet,
    mirrored,
    mirrored_chain,
    out_of_line,
    register,
    run_together,
)
from snugline.fit.outline import Outline
from snugline.fit.part_axes import Axes, axes_of
from snugline.fit.result import Quantity
from snugline.fit.section import Section
from snugline.notice import Notice

Mark = Literal["seen", "mirrored", "extrapolated"]
Symmetry = Literal["both", "lengthwise", "crosswise", "none"]

_LONG_GAP = 5.0  # mm of edge unseen that is worth a remark
_OUT_OF_LINE, _OFF_LINE = math.radians(0.5), 0.5
# How well a hand aims a tape along a part whose sides are not parallel. Common practice, no source.
_AIM = math.radians(1.0)
_CONTRADICTED = 3.3  # standard uncertainties


@dataclass(frozen=True)
class SegmentFit:
    """What is known of one segment of the outline.

    Attributes
    ----------
    mark : whether photos show it, its mirror image, or neither; that of its largest share.
    radius : mm, None for a line.
    position_u95 : mm, largest expanded uncertainty of the edge's place along its normal, in the
        frame of the first section.
    """

    mark: Mark
    radius: Quantity | None
    position_u95: float


@dataclass(frozen=True)
class FreeFit:
    """A free outline.

    Attributes
    ----------
    outline : in part axes (`part_axes`): the rectangle of length and width lies along x and y, its
        middle at the origin; a section that shows the left end lies at low x.
    segments : one for each of the outline's.
    length, width : mm, sides of that rectangle.
    tolerance : mm, as stated, or the default that the noise gave.
    residual_rms, residual_max : mm, over the points that took part.
    poses : part_from_frame, (2, 3) affine, of each section.
    residuals : (N,) mm of each section's points, positive outside the outline.
    kept : (N,) of each section, whether a point took part.
    """

    outline: Outline
    segments: tuple[SegmentFit, ...]
    length: Quantity
    width: Quantity
    tolerance: float
    residual_rms: float
    residual_max: float
    poses: tuple[Array, ...]
    residuals: tuple[Array, ...]
    kept: "tuple[np.ndarray[tuple[int], np.dtype[np.bool_]], ...]"
    notices: tuple[Notice, ...]


@dataclass(frozen=True)
class _Placed:
    """Sections with their poses; `body` numbers those that move as one; `copy`: mirrored ones."""

    sections: tuple[Section, ...]
    poses: tuple[Pose, ...]
    body: tuple[int, ...]
    copy: tuple[bool, ...]

    def points(self) -> list[Array]:
        return [p.apply(s.points) for s, p in zip(self.sections, self.poses, strict=True)]


def fit_free(
    sections: Sequence[Section],
    readings: Mapping[str, tuple[float, float]] | None = None,
    symmetry: Symmetry = "none",
    tolerance: float | None = None,
) -> FreeFit:
    """Fit an outline of any shape.

    Parameters
    ----------
    sections : contours with the part on the left: one closed, or open ones that together go round
        the part, each in its own frame or several in one. `shows` keeps apart what looks alike:
        `left end` and `right end` are never laid on each other. Systematic errors are propagated.
    readings : `length` and `width` in mm with their standard uncertainties. The length places ends
        that share no shape; both are adjusted with the contours where given.
    symmetry : which mirror lines the part has: `crosswise` makes the right end the left one's
        image, `lengthwise` the back the front's, `both` either. Used only for what no section
        shows.
    tolerance : mm the outline may stray from the contour for the sake of fewer segments; None for
        as little as the noise can show.

    Raises
    ------
    FitError : no sections; a contour in which no outline is to be found; ends that nothing places;
        an end that neither a photo nor the symmetry shows, since it would have to be invented;
        single corners, whose mirror images do not meet them.
    """
    if not sections:
        raise FitError("no sections", "free outline", "give the contour of at least one photo")
    for section in sections:
        check_contour(section)
    readings = readings or {}
    for name, (value, u) in readings.items():
        if not (value > 0 and u > 0):
            raise FitError(
                f"{value} mm with standard uncertainty {u} mm", name, "give two positive numbers"
            )
    placed, contour, notices = _round_the_part(tuple(sections), readings, symmetry)
    spline = arc_spline(contour.points, True, tolerance, contour.gap)
    if not spline.searched:
        notices.append(_irregular(placed))
    chain = halved(spline.fit.chain) if len(spline.fit.chain) == 1 else spline.fit.chain
    if chain.total_turn() < 0:
        raise FitError(
            "the contour runs clockwise", sections[0].name, "give it with the part on the left"
        )
    data = _data(placed)
    axes, extents = _axes(chain, placed, readings)
    done = adjust(chain, data, extents, placed.sections)
    axes, extents = _axes(done.chain, placed, readings)
    for extent in _contradicted(done.chain, data, extents, placed.sections):
        extents.remove(extent)
        done = adjust(done.chain, data, extents, placed.sections)
        axes, _ = _axes(done.chain, placed, {e.of: readings[e.of] for e in extents})
        found = reach_along(done.chain, extent.direction).value
        notices.append(
            Notice(
                "reading-contradicted",
                f"The {extent.of} of {extent.value:.2f} mm is {extent.value - found:+.2f} mm from "
                f"the contour's {found:.2f} mm; it was left out.",
                f"Measure the {extent.of} again, jaws flat on both sides.",
                "usable",
                extent.of,
            )
        )
    return _finished(done, placed, data, axes, spline.tolerance, {e.of for e in extents}, notices)


def _irregular(placed: _Placed) -> Notice:
    return Notice(
        "contour-irregular",
        "The contour is so irregular that the search for its lines and arcs was broken off; the "
        "outline may have more segments than it needs.",
        "Look at the overlay: a shadow, fluff, or a ground like the part may have been followed.",
        "usable",
        placed.sections[0].name,
    )


# Getting round the part


def _round_the_part(
    sections: tuple[Section, ...], readings: Mapping[str, tuple[float, float]], symmetry: Symmetry
) -> tuple[_Placed, Contour, list[Notice]]:
    notices: list[Notice] = []
    closed = next((s for s in sections if s.closed), None)
    if closed is not None and len(sections) == 1:
        placed = _Placed(sections, (Pose(),), (0,), (False,))
        return placed, run_together(placed.points(), True), notices
    own = [arc_spline(s.points, s.closed).fit.chain for s in sections]
    groups = _registered(sections, own)
    contours = [run_together(g.points(), closed is not None) for g in groups]
    if len(groups) == 1 and (contours[0].closed or _meets_itself(contours[0])):
        return groups[0], replace(contours[0], closed=True), notices
    if len(groups) > 2:
        names = ", ".join(g.sections[0].name for g in groups)
        raise FitError(
            f"{len(groups)} groups of sections share no stretch of edge that tells their places",
            names,
            "take photos that overlap by a corner or another bend",
        )
    chains = [
        arc_spline(c.points, False, gap=c.gap).fit.chain
        if len(g.sections) > 1
        else own[sections.index(g.sections[0])]
        for g, c in zip(groups, contours, strict=True)
    ]
    if len(groups) == 2:
        return _joined(groups, contours, chains, readings, "length")
    if symmetry == "none":
        raise FitError(
            "the photos show only part of the outline, and the part has no mirror line",
            sections[0].name,
            "take a photo of the other end",
        )
    if abs(_between(chains[0])) > math.pi / 4:
        raise FitError(
            "the edge seen does not run back beside itself, so its mirror image does not meet it",
            sections[0].name,
            "take a photo of a whole end, with a stretch of both sides",
        )
    whole = groups[0]
    image = _Placed(
        tuple(mirrored(s, p, 0.0) for s, p in zip(whole.sections, whole.poses, strict=True)),
        tuple(Pose() for _ in whole.sections),
        whole.body,
        tuple(True for _ in whole.sections),
    )
    return _joined(
        [whole, image],
        [contours[0], run_together(image.points()[::-1], False)],
        [chains[0], mirrored_chain(chains[0], 0.0)],
        readings,
        "width" if symmetry == "lengthwise" else "length",
    )


def _registered(sections: tuple[Section, ...], chains: Sequence[Chain]) -> list[_Placed]:
    """Groups of sections that share stretches of edge, each in the frame of its first."""
    left_over = list(range(len(sections)))
    groups = []
    while left_over:
        first = left_over.pop(0)
        poses, body = {first: Pose()}, {first: 0}
        while True:
            found = [
                (o.common, i, j, o)
                for i in poses
                for j in left_over
                if (
                    o := register(
                        chains[i], chains[j], sections[j].points, may_meet(sections[i], sections[j])
                    )
                )
                and o.firm
            ]
            if not found:
                break
            _, i, j, best = max(found, key=lambda f: f[0])
            poses[j] = poses[i].after(best.pose)
            body[j] = body[i] if best.slack == 0.0 else max(body.values()) + 1
            left_over.remove(j)
        order = list(poses)
        groups.append(
            _Placed(
                tuple(sections[i] for i in order),
                tuple(poses[i] for i in order),
                tuple(body[i] for i in order),
                tuple(False for _ in order),
            )
        )
    return groups


def _meets_itself(contour: Contour) -> bool:
    """Whether the two ends of a contour face each other across a gap that is small to the whole."""
    first, last = contour.points[0], contour.points[-1]
    gap = float(np.linalg.norm(first - last))
    whole = float(np.linalg.norm(np.diff(contour.points, axis=0), axis=1).sum())
    n = min(20, len(contour.points) // 4)
    ahead = contour.points[-1] - contour.points[-1 - n]
    onward = first - last
    aligned = float(ahead @ onward) > 0.7 * float(np.linalg.norm(ahead)) * gap
    return gap < 0.15 * whole and (aligned or gap < 2.0)


def _joined(
    groups: Sequence[_Placed],
    contours: Sequence[Contour],
    chains: Sequence[Chain],
    readings: Mapping[str, tuple[float, float]],
    way: str,
) -> tuple[_Placed, Contour, list[Notice]]:
    """Two groups laid in line at the distance of a reading, and the whole contour."""
    one, other = groups
    if way not in readings:
        raise FitError(
            f"nothing says how far {one.sections[0].name} and {other.sections[0].name} lie apart",
            "free outline",
            f"give a reading of the {way}",
        )
    notices = []
    axis = directions(np.array([_middle_heading(chains[0])]))[0]
    near = float((contours[0].points @ axis).min())

    def short(pose: Pose) -> float:
        return readings[way][0] - float((pose.apply(contours[1].points) @ axis).max()) + near

    pose = laid_in_line(chains[0], chains[1], short)
    askew, apart = out_of_line(chains[0], chains[1], pose)
    if not facing_lines(*chains) or askew > _OUT_OF_LINE or apart > _OFF_LINE:
        notices.append(
            Notice(
                "ends-not-in-line",
                f"Where {one.sections[0].name} and {other.sections[0].name} end, their edges are "
                f"not one straight line (off by {math.degrees(askew):.2f} deg, {apart:.2f} mm); "
                "what lies between is a guess.",
                "Take a photo of the middle of both sides.",
                "retake",
            )
        )
    placed = _Placed(
        one.sections + other.sections,
        one.poses + tuple(pose.after(p) for p in other.poses),
        one.body + tuple(b + max(one.body) + 1 for b in other.body),
        one.copy + other.copy,
    )
    contour = run_together([contours[0].points, pose.apply(contours[1].points)], True)
    return placed, contour, notices


def _between(chain: Chain) -> float:
    """Rad from the heading at the chain's end to the opposite of that at its start."""
    gap = float(chain.poses.heading[0] + math.pi - chain.poses.end_heading[-1])
    return (gap + math.pi) % (2 * math.pi) - math.pi


def _middle_heading(chain: Chain) -> float:
    """Between the heading at the chain's end and the opposite of that at its start."""
    way = directions(np.array([chain.poses.end_heading[-1], chain.poses.heading[0] + math.pi]))
    mean = way.sum(axis=0)
    return math.atan2(mean[1], mean[0])


def _data(placed: _Placed) -> Data:
    points = placed.points()
    count = [len(p) for p in points]
    starts = np.cumsum([0, *count[:-1]])
    breaks = [int(s) for s in starts[1:]]
    breaks += [int(s + b) for s, x in zip(starts, placed.sections, strict=True) for b in x.breaks]
    # Points and their mirror images are the same measurements: together they count once.
    twice = math.sqrt(1 + max(placed.copy))
    return Data(
        np.vstack(points),
        np.concatenate([s.sigma for s in placed.sections]) * twice,
        np.repeat(placed.body, count),
        np.repeat(np.arange(len(count)), count),
        tuple(sorted(breaks)),
        np.repeat([p.turn for p in placed.poses], count),
        tuple(i - placed.copy.count(False) * copy for i, copy in enumerate(placed.copy)),
    )


def _axes(
    chain: Chain, placed: _Placed, readings: Mapping[str, tuple[float, float]]
) -> tuple[Axes, list[Extent]]:
    """The part's axes, its left end at low x, and the readings as extents along them."""
    fixed = max(placed.body) == 0
    axes = axes_of(chain, {k: v for k, v in readings.items() if fixed or k != "length"})
    axes = replace(axes, direction=_leftwards(axes.direction, placed))
    extents = []
    for of, a in (("length", 0.0), ("width", math.pi / 2)):
        if of in readings:
            value, u = readings[of]
            direction = axes.direction + a
            here = reach_along(chain, direction).value
            change = [reach_along(chain, direction + aim).value - here for aim in (-_AIM, _AIM)]
            # Where the extent has its least, jaws find the direction by themselves.
            aimed = 0.0 if min(change) >= 0 else max(abs(c) for c in change)
            extents.append(Extent(of, value, math.hypot(u, aimed), direction))
    return axes, extents


def _contradicted(
    chain: Chain, data: Data, extents: Sequence[Extent], sections: Sequence[Section]
) -> list[Extent]:
    """Readings that all the rest speaks against."""
    found = []
    for extent in extents:
        rest = [e for e in extents if e is not extent]
        if len(set(data.body.tolist())) > 1 and extent.of == "length":
            continue  # it places the sections: nothing else could speak against it
        without = adjust(chain, data, rest, sections)
        reach = reach_along(without.chain, extent.direction)
        u = math.sqrt(float(reach.row @ without.covariance @ reach.row) + extent.u**2)
        if abs(reach.value - extent.value) > _CONTRADICTED * u:
            found.append(extent)
    return found


# Part axes and what is told


def _leftwards(direction: float, placed: _Placed) -> float:
    """The direction or its opposite: from the left end to the right end where they are named."""
    points = placed.points()
    middle = np.vstack(points).mean(axis=0)
    d = directions(np.array([direction]))[0]
    for section, own in zip(placed.sections, points, strict=True):
        if section.shows in ("left end", "right end"):
            side = float((own.mean(axis=0) - middle) @ d)
            return direction if (side < 0) == (section.shows == "left end") else direction + math.pi
    return direction


def _finished(
    done: Adjustment,
    placed: _Placed,
    data: Data,
    axes: Axes,
    tolerance: float,
    read: set[str],
    notices: list[Notice],
) -> FreeFit:
    k = done.noise.quantile()
    length, width = (_size(done, axes, k, of, of in read) for of in ("length", "width"))
    marks = _marks(done, data, placed)
    to_part = _part_axes(done.chain, axes.direction)
    chain = turned(done.chain, to_part.turn, np.array(to_part.shift))
    segments = _segments(done, marks, k)
    residuals = -done.feet.distance
    inside = residuals[done.kept]
    notices = [*notices, *_unseen(done, data, chain, to_part, segments)]
    own = [i for i, copy in enumerate(placed.copy) if not copy]
    return FreeFit(
        outline_of(chain),
        segments,
        length,
        width,
        tolerance,
        float(np.sqrt(np.mean(inside**2))),
        float(np.abs(inside).max()),
        tuple(_affine(done, placed, to_part, i) for i in own),
        tuple(residuals[data.section == i] for i in own),
        tuple(done.kept[data.section == i] for i in own),
        tuple(notices),
    )


def _size(done: Adjustment, axes: Axes, k: float, of: str, read: bool) -> Quantity:
    reach = reach_along(done.chain, axes.direction + (0.0 if of == "length" else math.pi / 2))
    row = reach.row + reach.slope * axes.row
    u = math.hypot(math.sqrt(float(row @ done.covariance @ row)), reach.slope * axes.u)
    return Quantity(reach.value, k * u, ("photo", "reading") if read else ("photo",))


def _part_axes(chain: Chain, direction: float) -> Pose:
    reach = [reach_along(chain, direction + a) for a in (0.0, math.pi / 2)]
    x, y = (-(r.low + r.high) / 2 for r in reach)
    return Pose(-direction, (x, y))


def _marks(done: Adjustment, data: Data, placed: _Placed) -> tuple[Mark, ...]:
    """Which share of each segment is the largest: with points, with mirrored ones only, or none."""
    copy = np.array(placed.copy)[data.section]
    marks: list[Mark] = []
    for i, length in enumerate(done.chain.lengths):
        # In cells of about a millimetre, some wider than the spacing of points.
        cells = max(3, round(float(length)))
        cell = np.clip((done.feet.along / length * cells).astype(int), 0, cells - 1)
        here = done.feet.segment == i
        own, image = np.zeros(cells, dtype=bool), np.zeros(cells, dtype=bool)
        own[cell[here & ~copy]] = True
        image[cell[here & copy]] = True
        shares = [own.sum(), (image & ~own).sum(), (~own & ~image).sum()]
        names: tuple[Mark, ...] = ("seen", "mirrored", "extrapolated")
        marks.append(names[int(np.argmax(shares))])
    return tuple(marks)


def _segments(done: Adjustment, marks: tuple[Mark, ...], k: float) -> tuple[SegmentFit, ...]:
    chain, n = done.chain, len(done.chain)
    u = _place_u(done, np.repeat(np.arange(n), 5), np.tile([0.0, 0.25, 0.5, 0.75, 1.0], n))
    place = u.reshape(n, 5).max(axis=1)
    bends = np.cumsum(~chain.straight) - 1
    out = []
    for i in range(n):
        radius = None
        if not chain.straight[i]:
            # R = L / sweep.
            row = np.zeros(len(chain.values()))
            row[3 + i] = 1 / chain.sweeps[i]
            row[3 + n + bends[i]] = -chain.lengths[i] / chain.sweeps[i] ** 2
            spread = math.sqrt(max(float(row @ done.covariance @ row), 0.0))
            radius = Quantity(abs(1 / float(chain.curvatures[i])), k * spread, ("photo",))
        out.append(SegmentFit(marks[i], radius, k * float(place[i])))
    return tuple(out)


def _place_u(done: Adjustment, segment: Indices, part: Array) -> Array:
    """Standard uncertainty of the edge along its normal, at parts (0 to 1) of segments, mm."""
    chain = done.chain
    along = part * chain.lengths[segment]
    heading = chain.poses.heading[segment] + chain.curvatures[segment] * along
    foot = point_at(chain, segment, along)
    feet = Feet(segment, along, foot, left(directions(heading)), np.zeros(len(along)))
    rows = jacobian(chain, feet)
    u: Array = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", rows, done.covariance, rows), 0.0))
    return u


def _affine(done: Adjustment, placed: _Placed, to_part: Pose, i: int) -> Array:
    """part_from_frame of section i: its pose, the adjustment's move, the part axes."""
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    there = placed.poses[i].apply(corners)
    move, pivot = done.moved[placed.body[i]], done.pivot[placed.body[i]]
    there = Pose(float(move[2])).apply(there - pivot) + pivot + move[:2]
    there = to_part.apply(there)
    return np.column_stack([there[1] - there[0], there[2] - there[0], there[0]])


def _unseen(
    done: Adjustment, data: Data, chain: Chain, to_part: Pose, segments: tuple[SegmentFit, ...]
) -> list[Notice]:
    """A remark for each stretch of edge that no point lies on."""
    base = np.concatenate([[0.0], np.cumsum(chain.lengths)])
    at = np.sort(base[done.feet.segment] + np.clip(
        done.feet.along, 0.0, chain.lengths[done.feet.segment]
    ))  # fmt: skip
    after = np.append(at[1:], at[0] + base[-1])
    notices = []
    for i in np.flatnonzero(after - at > _LONG_GAP):
        middle = float((at[i] + after[i]) / 2 % base[-1])
        segment = min(int(np.searchsorted(base, middle, side="right")) - 1, len(chain) - 1)
        part = (middle - base[segment]) / chain.lengths[segment]
        u = done.noise.quantile() * float(_place_u(done, np.array([segment]), np.array([part]))[0])
        x, y = (float(v) for v in chain.middles[0][segment])
        facing = float(chain.poses.heading[segment] + chain.sweeps[segment] / 2)
        side = ("front", "right end", "back", "left end")[round(facing / (math.pi / 2)) % 4]
        notices.append(
            Notice(
                "unseen-stretch",
                f"{after[i] - at[i]:.0f} mm of the edge on the {side} side, about x {x:.0f} mm, "
                f"y {y:.0f} mm, were seen in no photo; carried on with U95 {u:.2f} mm.",
                f"Take a photo of the {side} side there to close it.",
                "usable",
                side,
            )
        )
    return notices
