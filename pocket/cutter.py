"""Where a round cutter reaches in a pocket, what it leaves, and what that does to the part.

The cutter's centre runs inside the parallel of the pocket at its radius. Wood further than that
radius from where the centre can be is left uncut.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.counting import counted
from snugline.errors import PlanError
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Arc, Outline, Point
from snugline.fit.geometry.parallel import parallel
from snugline.notice import Notice
from snugline.place import Position
from snugline.pocket.clearance import Clearance
from snugline.sentence import Sentence, length

UNCUT_TOL = 1e-6
"""mm; a smaller projection counts as cut."""

_STEP = 1.0  # mm between the places looked at, joints and middles of arcs besides
_BISECTIONS = 40


@dataclass(frozen=True)
class UncutCorner:
    """Wood left uncut at one point of the pocket's outline, and its height in mm."""

    at: Point
    stands: float


@dataclass(frozen=True)
class Reach:
    """What a cutter does in a pocket.

    Attributes
    ----------
    diameter : of the cutter, mm.
    regions : pieces that the cutter clears apart from each other; more than one where a neck is
        narrower than the cutter.
    uncut : corners with wood left, in the outline's order.
    part_overlap : mm; how far the part would have to enter the uncut wood. Negative is the
        smallest gap that it keeps; None without a part.
    """

    diameter: float
    regions: int
    uncut: tuple[UncutCorner, ...]
    part_overlap: float | None


def reach(pocket: Outline, diameter: float, part: Outline | None = None) -> Reach:
    """What a cutter of that diameter leaves in a pocket, and whether a part still drops in.

    Raises
    ------
    PlanError : the cutter does not enter the pocket at all.
    """
    centres = cutter_centres(pocket, diameter)
    places = _places(pocket)
    proud = _proud(centres, diameter / 2, places)
    overlap = None
    if part is not None:
        overlap = float(_proud(centres, diameter / 2, _places(part)).max())
    return Reach(diameter, len(centres), tuple(_peaks(places, proud)), overlap)


def cutter_centres(pocket: Outline, diameter: float) -> list[Outline]:
    """The regions that the cutter's centre can be in.

    Raises
    ------
    PlanError : the cutter does not enter the pocket at all.
    """
    centres = parallel(pocket, -diameter / 2)
    if not centres:
        raise PlanError(
            f"a cutter of {diameter:.2f} mm is wider than the pocket, which takes "
            f"{_widest(pocket):.2f} mm at most",
            "cutter diameter",
            "use a thinner cutter",
        )
    return centres


@dataclass(frozen=True)
class CutterPath:
    """Where a cutter runs along the walls of a pocket.

    Attributes
    ----------
    diameter : of the cutter, mm.
    centres : its centre's path along the walls.
    cleared : what it clears there; the pocket less that is left uncut.
    """

    diameter: float
    centres: tuple[Outline, ...]
    cleared: tuple[Outline, ...]


def cutter_path(pocket: Outline, diameter: float) -> CutterPath:
    """The path along the walls, for a drawing.

    How the floor is cleared is the CAM program's affair.

    Raises
    ------
    PlanError : the cutter does not enter the pocket at all.
    """
    centres = cutter_centres(pocket, diameter)
    cleared = [wide for centre in centres for wide in parallel(centre, diameter / 2)]
    return CutterPath(diameter, tuple(centres), tuple(cleared))


def largest_cutter(pocket: Outline) -> float:
    """Diameter of the largest cutter that leaves nothing uncut; 0 where a corner is square."""
    radii = [s.radius for s in pocket.segments if isinstance(s, Arc) and s.sweep > 0]
    if max(pocket.turns) > 1e-6 or not radii:
        return 0.0
    return 2 * _largest(min(radii) * (1 - 1e-9), lambda radius: _clears(pocket, radius))


def neck_width(pocket: Outline, diameter: float) -> float | None:
    """Width in mm of the neck that keeps a cutter of that diameter apart; None if none does."""
    if len(parallel(pocket, -diameter / 2)) < 2:
        return None
    return 2 * _largest(diameter / 2, lambda radius: len(parallel(pocket, -radius)) == 1)


def leftover(cutter_radius: float, corner_radius: float, angle: float) -> float:
    """Wood left uncut at a pocket's corner, along its bisector, mm.

    >>> round(leftover(3.175, 0, math.pi / 2), 6)
    1.315128
    """
    return max(0.0, cutter_radius - corner_radius) * (1 / math.sin(angle / 2) - 1)


def cutter_notices(
    pocket: Outline, found: Reach, clearance: Clearance, squeeze: float = 0.0
) -> tuple[Notice, ...]:
    """What the cutter leaves and what it would do to the part, in words."""
    notices = []
    if found.regions > 1:
        neck = length(neck_width(pocket, found.diameter) or 0.0)
        notices.append(
            Notice(
                "neck-narrower-than-cutter",
                Sentence(
                    "a {} cutter does not fit through a neck of {}", length(found.diameter), neck
                ),
                Sentence("use a cutter below {}, or clear the neck with a thinner one", neck),
                "cannot be cut",
                "pocket",
            )
        )
    if found.uncut:
        notices.append(_uncut(pocket, found, clearance, squeeze))
    return tuple(notices)


def _uncut(pocket: Outline, found: Reach, clearance: Clearance, squeeze: float) -> Notice:
    most = max(found.uncut, key=lambda c: c.stands)
    largest = largest_cutter(pocket)
    overlap = found.part_overlap
    jams = overlap is not None and overlap > max(UNCUT_TOL, squeeze)
    does, figures = "the part still drops in", []
    if overlap is not None and jams:
        does, figures = "the part would meet {} of it and not seat", [length(overlap)]
    elif overlap is not None:
        does += ", with {} there instead of {}"
        figures = [length(-overlap), length(clearance.least)]
    count = len(found.uncut)
    thinner = Sentence("a relief of the corners")
    if largest:
        thinner = Sentence("a cutter of {} or less", length(largest))
    asked = (
        "use {}, or square the corners by hand" if jams or not largest else "leave it, or use {}"
    )
    return Notice(
        "uncut-corner",
        Sentence(
            f"a {{}} cutter leaves up to {{}} of wood uncut in {counted(count, 'corner')}; {does}",
            length(found.diameter),
            length(most.stands),
            *figures,
        ),
        Sentence(asked.replace("{}", thinner.template), *thinner.figures),
        "cannot be cut" if jams else "note",
        "pocket",
        Position(most.at),
    )


def _clears(pocket: Outline, radius: float) -> bool:
    centres = parallel(pocket, -radius)
    if len(centres) != 1:
        return False
    return bool(_proud(centres, radius, _places(pocket)).max() < UNCUT_TOL)


def _largest(upper: float, holds: Callable[[float], bool]) -> float:
    """The largest value up to `upper` for which something holds that holds for all smaller ones."""
    if holds(upper):
        return upper
    low, high = 0.0, upper
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
        if high - low < 1e-4:
            break
    return low


def _widest(pocket: Outline) -> float:
    low_x, low_y, high_x, high_y = pocket.bounds
    upper = max(high_x - low_x, high_y - low_y)
    return 2 * _largest(upper, lambda radius: bool(parallel(pocket, -radius)))


def _places(outline: Outline) -> NDArray[np.float64]:
    """Joints, evenly spaced points and the middles of all arcs."""
    arcs = outline.arrays
    half = arcs.sweep[arcs.is_arc] / 2
    x, y = (arcs.start - arcs.centre)[arcs.is_arc].T
    cos, sin = np.cos(half), np.sin(half)
    middles = arcs.centre[arcs.is_arc] + np.column_stack((cos * x - sin * y, sin * x + cos * y))
    return np.concatenate((outline.sampled(_STEP), middles))


def _proud(
    centres: list[Outline], radius: float, points: NDArray[np.float64]
) -> NDArray[np.float64]:
    """How far each point lies beyond what the cutter reaches from where its centre can be."""
    away = np.min([signed_distance(c, points) for c in centres], axis=0)
    return np.asarray(away - radius)


def _peaks(points: NDArray[np.float64], proud: NDArray[np.float64]) -> list[UncutCorner]:
    """The highest point of each stretch of outline that is left uncut."""
    over = np.flatnonzero(proud > UNCUT_TOL)
    if not len(over):
        return []
    import shapely

    blobs = shapely.unary_union(shapely.buffer(shapely.points(points[over]), _STEP))
    parts = list(getattr(blobs, "geoms", [blobs]))
    corners = []
    for part in parts:
        inside = over[shapely.contains_xy(part, *points[over].T)]
        top = inside[np.argmax(proud[inside])]
        corners.append((top, UncutCorner((float(points[top, 0]), float(points[top, 1])),
                                         float(proud[top]))))  # fmt: skip
    return [corner for _, corner in sorted(corners, key=lambda c: c[0])]
