"""The families of whole outlines: rectangles by corners and mirror lines, and those without."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.corners.corner_families import ARC, ELLIPSE, SQUARE, Family
from snugline.fit.shapes.sided_shape import CORNERS, Shape, Symmetry

Array = NDArray[np.float64]

# Which corners share their parameters. `lengthwise`: the mirror line runs along the length.
GROUPS: dict[Symmetry, tuple[int, int, int, int]] = {
    "both": (0, 0, 0, 0),
    "lengthwise": (0, 1, 1, 0),
    "crosswise": (0, 0, 1, 1),
    "none": (0, 1, 2, 3),
}


def rectangle(
    corners: Sequence[Family],
    groups: tuple[int, ...] = GROUPS["both"],
    *,
    family: str | None = None,
) -> Shape:
    """A rectangle with one corner family per mirror group (or one for all).

    Parameters are `length`, `width`, then the corner parameters group by group, in the sense of
    the back right corner: its incoming side is an end, its outgoing side a long side.
    """
    count = max(groups) + 1
    chosen = list(corners) if len(corners) == count else [corners[0]] * count
    names = ["length", "width"]
    starts = []
    for g, corner in enumerate(chosen):
        starts.append(len(names))
        label = "" if count == 1 else " " + CORNERS[groups.index(g)]
        names += [f"{parameter}{label}" for parameter in corner.parameters]
    own = [chosen[g] for g in groups]
    base = np.zeros(12 + sum(len(c.parameters) for c in own))
    ties = np.zeros((len(base), len(names)))
    ties[[0, 2], 0] = ties[[1, 3], 1] = 0.5
    shape = Shape(family or _word(own), tuple(own), groups, tuple(names), base, ties)
    for k in range(4):
        rows = shape.corner_rows(k)
        order = mirrored(own[k]) if k % 2 else range(len(own[k].parameters))
        for offset, source in enumerate(order):
            ties[rows.start + offset, starts[groups[k]] + source] = 1.0
    return shape


def mirrored(corner: Family) -> tuple[int, ...]:
    """Order of a family's parameters in the mirror image of a corner: the sides change roles."""
    names = corner.parameters
    other = {"incoming": "outgoing", "first": "second"}
    other |= {b: a for a, b in other.items()}
    other |= {str(k + 1): str(len(names) - k) for k in range(len(names))}  # pieces in order
    swapped = [" ".join(other.get(word, word) for word in name.split()) for name in names]
    return tuple(names.index(name) for name in swapped)


_WORDS = {
    "arc": "rounded rectangle",
    "square": "rectangle",
    "chamfer": "chamfered rectangle",
    "superellipse": "superellipse rectangle",
    "ellipse": "elliptical-cornered rectangle",
    "double arc": "double-arc rectangle",
    "three-centred arc": "three-centred rectangle",
    "free": "free-cornered rectangle",
}


def _word(corners: Sequence[Family]) -> str:
    kinds = {corner.name for corner in corners}
    return _WORDS.get(kinds.pop(), "mixed rectangle") if len(kinds) == 1 else "mixed rectangle"


def stadium() -> Shape:
    """A rectangle whose ends are half circles: `length`, `width`."""
    shape = rectangle([ARC], family="stadium")
    return _tied(shape, ("length", "width"), np.array([[1.0, 0], [0, 1], [0, 0.5]]))


def circle() -> Shape:
    """One parameter, the `diameter`."""
    shape = rectangle([ARC], family="circle")
    return _tied(shape, ("diameter",), np.array([[1.0], [1.0], [0.5]]))


def ellipse() -> Shape:
    """Four quarters of one ellipse: `length`, `width`."""
    shape = rectangle([ELLIPSE], family="ellipse")
    return _tied(shape, ("length", "width"), np.array([[1.0, 0], [0, 1], [0, 0.5], [0.5, 0]]))


def _tied(shape: Shape, names: tuple[str, ...], onto: Array) -> Shape:
    return replace(shape, names=names, ties=shape.ties @ onto)


def regular_polygon(sides: int, corner: Family = SQUARE) -> Shape:
    """Equal sides at equal angles, one of them facing right: `inradius`, corner parameters."""
    names = ("inradius", *corner.parameters)
    own = len(corner.parameters)
    ties = np.zeros((sides * (3 + own), 1 + own))
    ties[:sides, 0] = 1.0
    for k in range(sides):
        ties[3 * sides + k * own : 3 * sides + (k + 1) * own, 1:] = np.eye(own)
    base = np.zeros(len(ties))
    return Shape("regular polygon", (corner,) * sides, (0,) * sides, names, base, ties)


def seen_corners(placed: Sequence[Array], length: float, width: float) -> list[bool]:
    """Which corners of a rectangle sections in part axes show: with a stretch of both sides."""
    sharp, sizes = rectangle([SQUARE]), np.array([length, width])
    near = 0.5 * min(length, width)
    seen = [False] * 4
    for points in placed:
        sector = sharp.sector(points)
        for k in range(4):
            local = sharp.to_corner(k, points[sector == k], sizes)[0]
            local = local[(local > -near).all(axis=1)]
            if len(local) < 10:
                continue
            across = local[:, 1] - local[:, 0]
            around = np.abs(across) < 0.1 * near
            seen[k] |= bool(
                across.min() < -0.1 * near and across.max() > 0.1 * near and around.any()
            )
    return seen


def adopt(groups: Sequence[int], seen: Sequence[bool]) -> tuple[tuple[int, ...], list[str]]:
    """Give corners of groups that no photo shows a seen partner.

    Returns the groups, renumbered, and the names of the corners that were adopted.
    """
    joined, orphans = list(groups), []
    shown = {g for g, s in zip(groups, seen, strict=True) if s}
    if shown:
        for k in range(4):
            if groups[k] in shown:
                continue
            orphans.append(CORNERS[k])
            # Front for back first: an end is more often photographed whole than a long side.
            partners = (3 - k, k ^ 1, k ^ 2)
            joined[k] = next(groups[p] for p in partners if groups[p] in shown)
    order = {g: i for i, g in enumerate(dict.fromkeys(joined))}
    return tuple(order[g] for g in joined), orphans
