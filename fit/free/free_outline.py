"""Free outlines: whole parts of lines and arcs, from one closed contour or several open sections.

In order: the sections are laid round the part (`section_assembly`) and run into one contour; its
chain is found (`arc_spline`), adjusted with poses and readings (`free_adjustment`), and reported
(`free_result`).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from snugline.errors import FitError
from snugline.fit.free.arc_spline import arc_spline
from snugline.fit.free.chain_reach import reach_along
from snugline.fit.free.contour_check import check_contour
from snugline.fit.free.free_adjustment import Adjustment, Data, Extent, adjust
from snugline.fit.free.free_result import FreeFit, finished
from snugline.fit.free.part_axes import Axes, axes_of, narrowest, reach_range
from snugline.fit.free.section_assembly import Placed, Symmetry, round_the_part
from snugline.fit.geometry.arc_chain import Chain, directions, halved, outline_of
from snugline.fit.section import Section
from snugline.notice import Notice
from snugline.place import OfPhoto

# How well a hand aims a tape along a part whose sides are not parallel. Common practice, no source.
_AIM = math.radians(1.0)
_CONTRADICTED = 3.3  # standard uncertainties
_GROSS_U_MM = 0.5  # of an extent before anything is adjusted
# Along which direction a dimension is taken, counter-clockwise of the length.
_TURN = {"length": 0.0, "width": math.pi / 2}


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
        `left end` and `right end` are never laid on each other. Systematic errors are propagated;
        sensitivities are by one standard uncertainty each.
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
    placed, contour, notices = round_the_part(tuple(sections), readings, symmetry)
    spline = arc_spline(contour.points, True, tolerance, contour.gap)
    if not spline.searched:
        notices.append(_irregular(placed))
    chain = halved(spline.fit.chain) if len(spline.fit.chain) == 1 else spline.fit.chain
    if chain.total_turn() < 0:
        raise FitError(
            "the contour runs clockwise", sections[0].name, "give it with the part on the left"
        )
    data = _data(placed)
    # A gross slip would bend the outline that is to show it.
    gross = _gross(chain, placed, readings)
    readings = {of: pair for of, pair in readings.items() if of not in gross}
    axes, extents = _axes(chain, placed, readings)
    done = adjust(chain, data, extents, placed.sections)
    axes, extents = _axes(done.chain, placed, readings)
    wrong = list(gross)
    for extent, without in _contradicted(done, data, extents, placed.sections):
        extents.remove(extent)
        if wrong == gross:
            done = without
        else:
            done = adjust(done.chain, data, extents, placed.sections, done.moved)
        wrong.append(extent.of)
    if wrong:  # nor do they say any longer how the part lies
        axes, _ = _axes(done.chain, placed, {of: readings[of] for of in readings.keys() - wrong})
    contradicted = {of: reach_along(done.chain, axes.direction + _TURN[of]).value for of in wrong}
    used = {e.of for e in extents}
    free = finished(done, placed, data, axes, spline.tolerance, used, notices)
    return replace(free, contradicted=contradicted)


def _gross(chain: Chain, placed: Placed, readings: Mapping[str, tuple[float, float]]) -> list[str]:
    """Readings far from the outline in any direction that a hand may have meant."""
    apart = max(placed.body) > 0
    length, outline = narrowest(chain), outline_of(chain)
    found = []
    for of, (value, u) in readings.items():
        if of == "length" and apart:
            continue  # it places the sections
        low, high = reach_range(outline, length + _TURN[of])
        beyond = max(low - value, value - high)
        if beyond > _CONTRADICTED * math.hypot(u, _GROSS_U_MM):
            found.append(of)
    return found


def _irregular(placed: Placed) -> Notice:
    return Notice(
        "contour-irregular",
        "The contour is so irregular that the search for lines and arcs was stopped early; the "
        "outline may have more segments than it needs.",
        "Check the overlay: a shadow, fluff or a background similar to the part may have been "
        "traced.",
        "usable",
        OfPhoto(placed.sections[0].name),
    )


def _data(placed: Placed) -> Data:
    points = placed.points()
    count = [len(p) for p in points]
    starts = np.cumsum([0, *count[:-1]])
    breaks = [int(s) for s in starts[1:]]
    breaks += [int(s + b) for s, x in zip(starts, placed.sections, strict=True) for b in x.breaks]
    # Points and their mirror images are the same measurements: together they count once.
    twice = math.sqrt(1 + max(placed.copy))
    return Data(
        np.vstack(points),
        np.concatenate([s.noise for s in placed.sections]) * twice,
        np.repeat(placed.body, count),
        np.repeat(np.arange(len(count)), count),
        tuple(sorted(breaks)),
        np.repeat([p.turn for p in placed.poses], count),
        tuple(i - placed.copy.count(False) * copy for i, copy in enumerate(placed.copy)),
    )


def _axes(
    chain: Chain, placed: Placed, readings: Mapping[str, tuple[float, float]]
) -> tuple[Axes, list[Extent]]:
    """The part's axes, its left end at low x, and the readings as extents along them."""
    fixed = max(placed.body) == 0
    free = {of: pair for of, pair in readings.items() if fixed or of != "length"}
    axes = axes_of(chain, free, _shared_u(placed))
    axes = replace(axes, direction=_leftwards(axes.direction, placed))
    extents = []
    for of, a in _TURN.items():
        if of in readings:
            value, u = readings[of]
            direction = axes.direction + a
            here = reach_along(chain, direction).value
            change = [reach_along(chain, direction + aim).value - here for aim in (-_AIM, _AIM)]
            # Where the extent has its least, jaws find the direction by themselves.
            aimed = 0.0 if min(change) >= 0 else max(abs(c) for c in change)
            extents.append(Extent(of, value, math.hypot(u, aimed), direction))
    return axes, extents


def _shared_u(placed: Placed) -> float:
    """Standard uncertainty, mm, that shared errors give an extent: its two sides move together."""
    found = []
    for section in placed.sections:
        moves = [float(np.median(np.abs(by))) for by in section.sensitivity.values()]
        found.append(2 * math.hypot(section.systematic.offset, *moves))
    return max(found)


def _contradicted(
    done: Adjustment, data: Data, extents: Sequence[Extent], sections: Sequence[Section]
) -> list[tuple[Extent, Adjustment]]:
    """Readings that all the rest contradicts, each with what the rest gives."""
    found = []
    for extent in extents:
        rest = [e for e in extents if e is not extent]
        if len(set(data.body.tolist())) > 1 and extent.of == "length":
            continue  # it places the sections: nothing else could contradict it
        without = adjust(done.chain, data, rest, sections, done.moved)
        reach = reach_along(without.chain, extent.direction)
        u = math.sqrt(float(reach.row @ without.covariance @ reach.row) + extent.u**2)
        if abs(reach.value - extent.value) > _CONTRADICTED * u:
            found.append((extent, without))
    return found


def _leftwards(direction: float, placed: Placed) -> float:
    """The direction or its opposite: from the left end to the right end where they are named."""
    points = placed.points()
    middle = np.vstack(points).mean(axis=0)
    d = directions(np.array([direction]))[0]
    for section, own in zip(placed.sections, points, strict=True):
        if section.shows in ("left end", "right end"):
            side = float((own.mean(axis=0) - middle) @ d)
            return direction if (side < 0) == (section.shows == "left end") else direction + math.pi
    return direction
