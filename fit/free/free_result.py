"""The result of a free outline: sizes, segments, what was seen of each, what no photo shows."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from snugline.counting import counted
from snugline.fit.free.chain_reach import reach_along
from snugline.fit.free.free_adjustment import Adjustment, Data, turned
from snugline.fit.free.part_axes import Axes
from snugline.fit.free.section_assembly import Placed
from snugline.fit.free.section_join import Pose
from snugline.fit.geometry.arc_chain import (
    Array,
    Chain,
    Feet,
    Indices,
    directions,
    jacobian,
    left,
    outline_of,
    point_at,
)
from snugline.fit.geometry.outline import Outline
from snugline.fit.result import Quantity
from snugline.notice import Notice
from snugline.place import OfPart, Position
from snugline.sentence import Sentence, position
from snugline.sentence import length as mm

Mark = Literal["seen", "mirrored", "extrapolated"]

_LONG_GAP = 5.0  # mm of edge unseen that is worth a remark


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
    points : (N, 2) mm of each section in part axes, moved by the shared errors as found.
    residuals : (N,) mm of each section's points, positive outside the outline.
    kept : (N,) of each section, whether a point took part.
    contradicted : mm that the contours give for a dimension whose reading cannot be right; such
        readings were not used.
    """

    outline: Outline
    segments: tuple[SegmentFit, ...]
    length: Quantity
    width: Quantity
    tolerance: float
    residual_rms: float
    residual_max: float
    poses: tuple[Array, ...]
    points: tuple[Array, ...]
    residuals: tuple[Array, ...]
    kept: "tuple[np.ndarray[tuple[int], np.dtype[np.bool_]], ...]"
    notices: tuple[Notice, ...]
    contradicted: Mapping[str, float] = field(default_factory=dict)


def finished(
    done: Adjustment,
    placed: Placed,
    data: Data,
    axes: Axes,
    tolerance: float,
    read: set[str],
    notices: list[Notice],
) -> FreeFit:
    """The outline in part axes; `read` names the dimensions that a reading gave."""
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
        tuple(to_part.apply(done.points[data.section == i]) for i in own),
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


def _marks(done: Adjustment, data: Data, placed: Placed) -> tuple[Mark, ...]:
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


def _affine(done: Adjustment, placed: Placed, to_part: Pose, i: int) -> Array:
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
    """A remark for each side with stretches of edge without a point."""
    base = np.concatenate([[0.0], np.cumsum(chain.lengths)])
    at = np.sort(base[done.feet.segment] + np.clip(
        done.feet.along, 0.0, chain.lengths[done.feet.segment]
    ))  # fmt: skip
    after = np.append(at[1:], at[0] + base[-1])
    gaps: dict[str, list[_Gap]] = {}
    for i in np.flatnonzero(after - at > _LONG_GAP):
        middle = float((at[i] + after[i]) / 2 % base[-1])
        segment = min(int(np.searchsorted(base, middle, side="right")) - 1, len(chain) - 1)
        number, along = np.array([segment]), np.array([middle - base[segment]])
        u = float(_place_u(done, number, along / chain.lengths[segment])[0])
        facing = float(chain.poses.heading[segment] + chain.sweeps[segment] / 2)
        side = ("front", "right end", "back", "left end")[round(facing / (math.pi / 2)) % 4]
        x, y = point_at(chain, number, along)[0].tolist()
        gap = _Gap(float(after[i] - at[i]), done.noise.quantile() * u, (x, y))
        gaps.setdefault(side, []).append(gap)
    return [_gaps_told(side, found) for side, found in gaps.items()]


@dataclass(frozen=True)
class _Gap:
    """A stretch of edge that no photo shows: its length, its U95 and its middle, mm."""

    length: float
    u95: float
    middle: tuple[float, float]


def _gaps_told(side: str, gaps: list[_Gap]) -> Notice:
    """One remark on all gaps of a side, at the longest of them."""
    longest = max(gaps, key=lambda gap: gap.length)
    x, y = longest.middle
    where = side if side.endswith("end") else f"{side} side"
    alone = len(gaps) == 1
    place = (
        "(near {})"
        if alone
        else f"in {counted(len(gaps), 'stretch', 'stretches')}, the longest near {{}}"
    )
    return Notice(
        "unseen-stretch",
        Sentence(
            f"No photo shows {{}} of the edge on the {where} {place}; "
            f"{'it was' if alone else 'they were'} interpolated, U95 {{}}.",
            mm(sum(gap.length for gap in gaps), 0),
            position(x, y),
            mm(max(gap.u95 for gap in gaps)),
        ),
        f"Take a photo of the {where} there to close the gap.",
        "usable",
        OfPart(side),
        Position((round(x, 1), round(y, 1))),
    )
