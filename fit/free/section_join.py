"""Sections of one part, each in its own frame, brought together and run into one contour.

Two sections that saw a common stretch are registered by it where its shape determines the place:
arcs of equal radius and sweep propose a placement, the common stretch refines it, and it counts
only if it runs to the end of one section on either side (two contours that part in the middle are
two different places that look alike).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.arc_chain import Array, Chain, Feet, directions, drop, left
from snugline.fit.section import Section

_ALIKE = 0.15  # relative difference of curvatures, and rad of sweeps, that may be the same arc
_NEAR = 0.6  # mm between two contours of one edge, placed
_FIRM = 0.3  # mm: a placement whose weakest direction is less certain can still slide
_LEAST_OVERLAP = 15.0  # mm
_ENDS = {"left end", "right end"}


@dataclass(frozen=True)
class Pose:
    """Turn (rad) about the frame's origin, then shift (mm): where a section's points go."""

    turn: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)

    def apply(self, points: Array) -> Array:
        c, s = math.cos(self.turn), math.sin(self.turn)
        moved: Array = points @ np.array([[c, s], [-s, c]]) + np.array(self.shift)
        return moved

    def after(self, first: "Pose") -> "Pose":
        """The pose that does `first`, then this one."""
        shift = self.apply(np.array([first.shift]))[0]
        return Pose(self.turn + first.turn, (float(shift[0]), float(shift[1])))

    def inverse(self) -> "Pose":
        back = Pose(-self.turn).apply(-np.array([self.shift]))[0]
        return Pose(-self.turn, (float(back[0]), float(back[1])))


@dataclass(frozen=True)
class Overlap:
    """A second section placed in a first one's frame.

    Attributes
    ----------
    pose : of the second section.
    common : mm of edge that both saw.
    rms : mm between the two there.
    slack : mm, standard uncertainty of the placement in its weakest direction, for an error of
        0.05 mm of the edge.
    """

    pose: Pose
    common: float
    rms: float
    slack: float

    @property
    def firm(self) -> bool:
        return self.slack < _FIRM


@dataclass(frozen=True)
class Contour:
    """Points of several sections run into one, in order along the edge.

    Attributes
    ----------
    points : (N, 2) mm.
    gap : (N,) whether something unseen lies before the point; of the first, whether it lies
        between the last and the first.
    closed : whether the last point leads to the first.
    """

    points: Array
    gap: NDArray[np.bool_]
    closed: bool


def may_meet(first: Section, second: Section) -> bool:
    """Whether two sections can show a common stretch that only its shape would reveal."""
    if "corner" in first.shows and "corner" in second.shows:
        return first.shows == second.shows
    return {first.shows, second.shows} != _ENDS


def register(chain: Chain, other: Chain, points: Array, by_shape: bool = True) -> Overlap | None:
    """Place the points (N, 2) of another section, and its chain, on a chain by what both saw.

    Sections that already lie on each other share their frame and stay as they are.

    by_shape : whether matching arcs may propose a placement.
    """
    sparse = points[:: max(1, len(points) // 400)]
    same = _common(chain, sparse, Pose())
    if same is not None:
        return same
    proposals = _proposals(chain, other) if by_shape else []
    found = [o for p in proposals if (o := _settled(chain, sparse, p)) is not None]
    return max(found, key=lambda o: o.common, default=None)


def _proposals(chain: Chain, other: Chain) -> list[Pose]:
    """Placements that lay an arc of the other chain on an arc of this one."""
    proposals = []
    for i in _whole_arcs(chain):
        for j in _whole_arcs(other):
            bend = other.curvatures[j] / chain.curvatures[i]
            if abs(bend - 1) < _ALIKE and abs(chain.sweeps[i] - other.sweeps[j]) < _ALIKE:
                middle, facing = (v[i] for v in chain.middles)
                centre, front = (v[j] for v in other.middles)
                turn = math.atan2(facing[1], facing[0]) - math.atan2(front[1], front[0])
                shift = middle - Pose(turn).apply(centre[None])[0]
                proposals.append(Pose(turn, (float(shift[0]), float(shift[1]))))
    return proposals


def _whole_arcs(chain: Chain) -> list[int]:
    """Arcs that neither end of an open chain cuts."""
    return [i for i in range(1, len(chain) - 1) if abs(chain.sweeps[i]) > 0.1]


def _settled(chain: Chain, points: Array, pose: Pose) -> Overlap | None:
    """Refine a placement on the common stretch; None where there is none that could be one."""
    for near in (6.0, 3.0, 1.5, _NEAR, _NEAR, _NEAR):
        moved = pose.apply(points)
        inside, feet = on_chain(chain, moved, near)
        if inside.sum() < 8:
            return None
        n, p = feet.normal[inside], moved[inside]
        centre = p.mean(axis=0)
        design = np.column_stack([n, np.sum(n * left(p - centre), axis=1)])
        size = np.array([1.0, 1.0, max(float(np.ptp(p, axis=0).max()), 1.0)])
        # A direction that the stretch leaves open is not moved along.
        step = -np.linalg.pinv(design / size, rcond=3e-3) @ feet.distance[inside] / size
        about = Pose(float(step[2]))
        shift = centre + step[:2] - about.apply(centre[None])[0]
        pose = Pose(float(step[2]), (float(shift[0]), float(shift[1]))).after(pose)
    found = _common(chain, points, pose)
    if found is None:
        return None
    weakest = float(np.linalg.svd(design / size, compute_uv=False)[-1])
    stride = _stride(points)
    # Neighbours within a millimetre share their errors.
    slack = 0.05 / max(weakest, 1e-9) * math.sqrt(max(2.0 / stride, 1.0))
    return replace(found, slack=slack)


def _common(chain: Chain, points: Array, pose: Pose) -> Overlap | None:
    """What a placement makes common, if it is enough and runs out as one edge's two pictures do."""
    moved = pose.apply(points)
    inside, feet = on_chain(chain, moved, _NEAR)
    runs = _runs(inside)
    common = float(inside.sum()) * _stride(moved)
    if not runs or common < _LEAST_OVERLAP:
        return None
    if not all(_runs_out(chain, moved, first, last) for first, last in runs):
        return None
    return Overlap(pose, common, float(np.sqrt(np.mean(feet.distance[inside] ** 2))), 0.0)


def _stride(points: Array) -> float:
    return float(np.median(np.linalg.norm(np.diff(points, axis=0), axis=1)))


def on_chain(chain: Chain, points: Array, near: float) -> tuple[NDArray[np.bool_], Feet]:
    """Which points lie within `near` of an open chain, and not beyond its ends; their feet."""
    feet = drop(chain, points)
    over = np.maximum(-feet.along, feet.along - chain.lengths[feet.segment])
    return (np.abs(feet.distance) < near) & (over < near), feet


def _runs(inside: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last index of each stretch of at least three; holes of up to three are bridged."""
    at = np.flatnonzero(inside)
    parts = np.split(at, np.flatnonzero(np.diff(at) > 4) + 1) if len(at) else []
    return [(int(p[0]), int(p[-1])) for p in parts if len(p) >= 3]


def _runs_out(chain: Chain, points: Array, first: int, last: int) -> bool:
    """Whether a common stretch ends, either way, where one of the two contours ends."""
    for index, outer, end in (
        (first, 0, chain.poses.start[0]),
        (last, len(points) - 1, chain.poses.end[-1]),
    ):
        if abs(index - outer) > 4 and np.linalg.norm(points[index] - end) > 8.0:
            return False
    return True


# Two ends that no common shape ties


def facing_lines(chain: Chain, other: Chain) -> bool:
    """Whether both chains begin and end in a line, so that lines can be laid on lines."""
    return all(bool(c.straight[0] and c.straight[-1]) for c in (chain, other))


def laid_in_line(chain: Chain, other: Chain, distance: Callable[[Pose], float]) -> Pose:
    """The other chain placed so that its first line continues this one's last, and its last this
    one's first.

    distance : mm by which a pose's extent along the lines falls short, which settles the place
        along them.
    """
    out, back = chain.poses.heading[-1], chain.poses.heading[0]
    turns = np.array([out - other.poses.heading[0], back - other.poses.heading[-1]])
    pose = Pose(float(turns[0] + _wrap(turns[1] - turns[0]) / 2))
    normals = left(directions(np.array([out, back])))
    across = (normals[0] - normals[1]) / np.linalg.norm(normals[0] - normals[1])
    along = np.array([across[1], -across[0]])
    for _ in range(3):
        # Where the lines close in on each other, a shift along them moves their middle.
        lag = _lag(chain, other, pose, normals)
        share = normals @ across
        step = float(lag @ share / (share @ share)) * across + distance(pose) * along
        pose = Pose(0.0, (float(step[0]), float(step[1]))).after(pose)
    return pose


def out_of_line(chain: Chain, other: Chain, pose: Pose) -> tuple[float, float]:
    """How far two placed chains' ends are from being in line: rad, and mm across."""
    out, back = chain.poses.end_heading[-1], chain.poses.heading[0]
    headings = np.array([out, back])
    askew = headings - pose.turn - np.array([other.poses.heading[0], other.poses.end_heading[-1]])
    lag = _lag(chain, other, pose, left(directions(headings)))
    return float(max(abs(_wrap(float(a))) for a in askew)), float(np.abs(lag).max())


def _lag(chain: Chain, other: Chain, pose: Pose, normals: Array) -> Array:
    ends = np.array([chain.poses.end[-1], chain.poses.start[0]])
    begins = pose.apply(np.array([other.poses.start[0], other.poses.end[-1]]))
    lag: Array = np.sum(normals * (ends - begins), axis=1)
    return lag


def mirrored(section: Section, pose: Pose, axis: float) -> Section:
    """The placed section's mirror image about the line at the angle `axis` through the origin."""
    c, s = math.cos(2 * axis), math.sin(2 * axis)
    image = pose.apply(section.points)[::-1] @ np.array([[c, s], [s, -c]])
    n = len(section.points)
    return Section(
        f"mirror image of {section.name}",
        "section",
        image,
        section.noise[::-1],
        section.closed,
        tuple(sorted(n - b for b in section.breaks)),
        section.systematic,
        {of: by[::-1] for of, by in section.sensitivity.items()},
    )


def mirrored_chain(chain: Chain, axis: float) -> Chain:
    """An open chain's mirror image about the line at the angle `axis` through the origin.

    It is run backwards, as an outline's image must be, so that bends keep their sign.
    """
    c, s = math.cos(2 * axis), math.sin(2 * axis)
    x, y = chain.poses.end[-1]
    turns, corner = np.roll(chain.turns[::-1], 1), np.roll(chain.corner[::-1], 1)
    return replace(
        chain,
        start=(float(c * x + s * y), float(s * x - c * y)),
        heading=float(2 * axis - chain.poses.end_heading[-1] + math.pi),
        lengths=chain.lengths[::-1],
        curvatures=chain.curvatures[::-1],
        turns=turns,
        straight=chain.straight[::-1],
        corner=corner,
    )


def run_together(parts: Sequence[Array], closed: bool) -> Contour:
    """The placed points of sections as one contour, sorted along the edge.

    parts : points (N, 2) each, the part on the left. A part that lies on none of those before it
        comes after them.
    closed : whether the ends lead to each other; found closed where a part reaches both ends.
    """
    points, place = parts[0], _arc_length(parts[0])
    for more in parts[1:]:
        at, both = _places(more, points, place)
        points, place = np.vstack([points, more]), np.concatenate([place, at])
        order = np.argsort(place, kind="stable")
        points, place = points[order], place[order]
        closed |= both
    stride = np.linalg.norm(points - np.roll(points, 1, axis=0), axis=1)
    gap = stride > max(2.0, 8 * float(np.median(stride)))
    gap[0] &= closed
    return Contour(points, gap, closed)


def _places(more: Array, points: Array, place: Array) -> tuple[Array, bool]:
    """Lengths along the contour at which a part's points lie; whether it reaches both its ends."""
    from scipy.spatial import cKDTree

    far, nearest = cKDTree(points).query(more)
    # What is nearest to an end may lie beyond it, and comes in order by its own length.
    inside = (far < 2 * _NEAR) & (nearest > 0) & (nearest < len(points) - 1)
    along = _arc_length(more)
    runs = _runs(inside)
    if not runs:
        lead = float(np.linalg.norm(more[0] - points[-1]))
        return place[-1] + lead + along, False
    at = np.empty(len(more))
    first, last = runs[0][0], runs[-1][1]
    at[inside] = place[nearest[inside]]
    at[:first] = place[nearest[first]] - (along[first] - along[:first])
    for (_, end), nxt in zip(runs, [*runs[1:], (len(more), len(more))], strict=True):
        between = slice(end + 1, nxt[0])
        at[between] = place[nearest[end]] + along[between] - along[end]
    return at, len(runs) > 1 and place[nearest[last]] < place[nearest[first]]


def _arc_length(points: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])


def _wrap(angle: float) -> float:
    return (angle + math.pi) % (2 * math.pi) - math.pi
