"""Sections laid out until they go round the part: by shared stretches, mirror lines, a reading.

Sections that share a stretch of edge are laid on each other by it (`section_join`). What no photo
shows is mirrored where the symmetry allows it; ends that nothing connects are placed in line at the
distance of the length reading.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from snugline.errors import FitError
from snugline.fit.free.arc_spline import arc_spline
from snugline.fit.free.section_join import (
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
from snugline.fit.geometry.arc_chain import Array, Chain, directions
from snugline.fit.section import Section
from snugline.notice import Notice
from snugline.sentence import Sentence, length

Symmetry = Literal["both", "lengthwise", "crosswise", "none"]

_OUT_OF_LINE, _OFF_LINE = math.radians(0.5), 0.5
# Ends that are apart by such a share of the length do not belong together at all.
_OUT_OF_REACH = 0.05


@dataclass(frozen=True)
class Placed:
    """Sections with their poses; `body` numbers those that move as one; `copy`: mirrored ones."""

    sections: tuple[Section, ...]
    poses: tuple[Pose, ...]
    body: tuple[int, ...]
    copy: tuple[bool, ...]

    def points(self) -> list[Array]:
        return [p.apply(s.points) for s, p in zip(self.sections, self.poses, strict=True)]


def round_the_part(
    sections: tuple[Section, ...], readings: Mapping[str, tuple[float, float]], symmetry: Symmetry
) -> tuple[Placed, Contour, list[Notice]]:
    """The sections with their poses, and the one contour that they make.

    Raises
    ------
    FitError : sections whose relative positions nothing determines, or an end that nothing shows.
    """
    notices: list[Notice] = []
    closed = next((s for s in sections if s.closed), None)
    if closed is not None and len(sections) == 1:
        placed = Placed(sections, (Pose(),), (0,), (False,))
        return placed, run_together(placed.points(), True), notices
    own = [arc_spline(s.points, s.closed).fit.chain for s in sections]
    groups = _registered(sections, own)
    contours = [run_together(g.points(), closed is not None) for g in groups]
    if len(groups) == 1 and (contours[0].closed or _meets_itself(contours[0])):
        return groups[0], replace(contours[0], closed=True), notices
    if len(groups) > 2:
        names = ", ".join(g.sections[0].name for g in groups)
        raise FitError(
            f"{len(groups)} sets of photos cannot be joined: no stretch of edge is common to them",
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
            "the photos show only part of the outline, and without symmetry it cannot be mirrored",
            sections[0].name,
            "take a photo of the other end",
        )
    if abs(_between(chains[0])) > math.pi / 4:
        raise FitError(
            "the photos show only one side of the end, so mirroring does not close the outline",
            sections[0].name,
            "take a photo of a whole end, with a stretch of both sides",
        )
    whole = groups[0]
    image = Placed(
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


def _registered(sections: tuple[Section, ...], chains: Sequence[Chain]) -> list[Placed]:
    """Groups of sections that share stretches of edge, each in the coordinates of its first."""
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
            Placed(
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
    groups: Sequence[Placed],
    contours: Sequence[Contour],
    chains: Sequence[Chain],
    readings: Mapping[str, tuple[float, float]],
    way: str,
) -> tuple[Placed, Contour, list[Notice]]:
    """Two groups laid in line at the distance of a reading, and the whole contour."""
    one, other = groups
    if way not in readings:
        raise FitError(
            f"the distance between {one.sections[0].name} and {other.sections[0].name} is not "
            f"known",
            "free outline",
            f"give a reading of the {way}",
        )
    notices = []
    axis = directions(np.array([_middle_heading(chains[0])]))[0]
    near = float((contours[0].points @ axis).min())

    def short(pose: Pose) -> float:
        return readings[way][0] - float((pose.apply(contours[1].points) @ axis).max()) + near

    pose = laid_in_line(chains[0], chains[1], short)
    angle, apart = out_of_line(chains[0], chains[1], pose)
    if not apart < _OUT_OF_REACH * readings[way][0]:
        raise FitError(
            f"where {one.sections[0].name} and {other.sections[0].name} end, their edges point "
            "past each other, so that no outline joins them",
            "free outline",
            "take a photo of the middle of both sides, or state the part's shape",
        )
    if not facing_lines(*chains) or angle > _OUT_OF_LINE or apart > _OFF_LINE:
        notices.append(
            Notice(
                "ends-not-in-line",
                Sentence(
                    "Where {one} and {other} end, their edges are not one straight line (off by "
                    "{angle} degrees, {}); what lies between is a guess.",
                    length(apart),
                    one=one.sections[0].name,
                    other=other.sections[0].name,
                    angle=f"{math.degrees(angle):.2f}",
                ),
                "Take a photo of the middle of both sides.",
                "retake",
            )
        )
    placed = Placed(
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
