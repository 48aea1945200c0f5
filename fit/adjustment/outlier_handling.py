"""Outliers among the groups of observations: rejected or re-weighted, with a remark."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import CentredSection, Equations
from snugline.fit.adjustment.outlier_test import GroupTest, compare_groups
from snugline.fit.adjustment.robust_solution import ResidualNoise, WhitenedFit, whitened_fit
from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.readings.reading_remarks import contradicted
from snugline.fit.readings.slips import Expected, Slip, how_common, likely_slips
from snugline.fit.readings.thickness import Thickness
from snugline.notice import Notice
from snugline.place import OfPart, OfPhoto
from snugline.sentence import Sentence, length

Array = NDArray[np.float64]

# mm by which photos that contradict each other may differ and still be told as a doubt: a clearance
# of some tenths takes up no more. Below the second figure it changes no cut.
UNRESOLVED_MM, SMALL_MM = 0.3, 0.1


@dataclass(frozen=True)
class Adjusted:
    """A fit of one shape with everything that it rests on."""

    equations: Equations
    noise: ResidualNoise
    factors: tuple[float, ...]
    fit: WhitenedFit


def resolve(
    adjusted: Adjusted, thickness: Thickness | None = None
) -> tuple[Adjusted, list[Notice]]:
    """Find contradicting groups one after the other; reject or re-weight them, with remarks.

    One contradicting group is rejected; of several that contradict each other all are kept with
    wider uncertainties.
    """
    notices: list[Notice] = []
    for _ in range(4):
        dofs = [model.dof for model in adjusted.noise.models]
        tests = compare_groups(adjusted.equations, adjusted.fit, dofs, thickness)
        if not tests or not tests[0].contradicts:
            break
        worst = tests[0]
        rivals = [t for t in tests[1:] if t.contradicts and t.w**2 > worst.w**2 - 6]
        slip = _slip_among(adjusted.equations, (worst, *rivals), thickness)
        worst = worst if slip is None else slip
        alone = not rivals or slip is not None
        if alone and _can_go(adjusted.equations, worst):
            notices.append(_remark(adjusted.equations, worst, thickness, left_out=True))
            adjusted = _without(adjusted, worst)
        else:
            # Which of them is wrong cannot be decided: all are kept, with wider uncertainties.
            for test in (worst, *rivals):
                notices.append(_remark(adjusted.equations, test, thickness, left_out=False))
            adjusted = _widened(adjusted, [worst, *rivals])
    return adjusted, notices


def _slip_among(
    equations: Equations, tests: Sequence[GroupTest], thickness: Thickness | None
) -> GroupTest | None:
    """The reading that the commonest slip turns into what all else says; hooks explain anything."""
    found = []
    for test in tests:
        reading = _read(equations, test, thickness)
        common = 0.0 if reading is None else how_common(_slips(equations, test, reading))
        if common > 0:
            found.append((common, test))
    return max(found, key=lambda pair: pair[0])[1] if found else None


def _can_go(equations: Equations, test: GroupTest) -> bool:
    return test.kind != "section" or len(equations.sections) > 2


def _read(equations: Equations, test: GroupTest, thickness: Thickness | None) -> Reading | None:
    """The reading that a test is of; one of the thickness stands for all of it."""
    if test.kind == "reading":
        return equations.rows[test.index].reading
    if test.kind == "thickness" and thickness is not None:
        return Reading("thickness", (thickness.value,), "caliper", OfPart("thickness"))
    return None


def _slips(equations: Equations, test: GroupTest, reading: Reading) -> tuple[Slip, ...]:
    """What explains a reading that everything else speaks against, the likeliest first."""
    total = abs(test.off / test.w)
    rest = math.sqrt(max(total**2 - uncertainty(reading).u ** 2, 0.0))
    typed: dict[str, float] = {r.reading.what: r.reading.value for r in equations.rows}
    return likely_slips(reading, Expected(reading.value - test.off, rest), typed=typed)


def _remark(
    equations: Equations, test: GroupTest, thickness: Thickness | None, left_out: bool
) -> Notice:
    reading = _read(equations, test, thickness)
    if reading is not None:
        shown, figures = "all other observations give {}", [length(reading.value - test.off)]
        return contradicted(
            reading, reading.value, shown, figures, _slips(equations, test, reading)
        )
    name = equations.sections[test.index].section.name
    side = "larger" if test.off > 0 else "smaller"
    done = "it was not used" if left_out else "it was kept with a larger uncertainty"
    unresolved = not left_out and abs(test.off) > UNRESOLVED_MM
    small = abs(test.off) <= SMALL_MM
    return Notice(
        "photo-disagrees",
        Sentence(
            f"In {name} the {test.what} is {{}} {side} than all other observations give; {done}.",
            length(abs(test.off)),
        ),
        "Check that part and sheet lay flat and did not move, or take the photo again.",
        "retake" if unresolved else "fine" if small else "usable",
        OfPhoto(name),
    )


def _without(adjusted: Adjusted, test: GroupTest) -> Adjusted:
    if test.kind == "thickness":
        return _widened(adjusted, [test])
    equations, x = adjusted.equations, adjusted.fit.x
    if test.kind == "reading":
        rows = tuple(r for i, r in enumerate(equations.rows) if i != test.index)
        fewer = replace(equations, rows=rows)
        return _refit(adjusted, fewer, _repacked(equations, fewer, x), adjusted.factors)
    keep = [k for k in range(len(equations.sections)) if k != test.index]
    fewer = replace(equations, sections=tuple(equations.sections[k] for k in keep))
    x = _repacked(equations, fewer, x, keep)
    noise = ResidualNoise(
        tuple(adjusted.noise.models[k] for k in keep),
        tuple(adjusted.noise.weights[k] for k in keep),
        tuple(adjusted.noise.scales[k] for k in keep),
    )
    factors = tuple(adjusted.factors[k] for k in keep)
    return _refit(replace(adjusted, noise=noise), fewer, x, factors)


def _widened(adjusted: Adjusted, tests: Sequence[GroupTest]) -> Adjusted:
    rows, factors = list(adjusted.equations.rows), list(adjusted.factors)
    sections = adjusted.equations.sections
    for test in tests:
        if test.kind == "reading":
            row = rows[test.index]
            own = math.hypot(row.own, test.off / 2)
            rows[test.index] = replace(row, own=own)
        elif test.kind == "thickness":
            sections = tuple(_looser(s, "thickness", math.sqrt(test.inflation)) for s in sections)
        else:
            factors[test.index] /= test.inflation
    equations = replace(adjusted.equations, rows=tuple(rows), sections=sections)
    return _refit(adjusted, equations, adjusted.fit.x, factors)


def _looser(section: CentredSection, of: str, factor: float) -> CentredSection:
    """The section with what is not exactly known of the part less sure by a factor."""
    moved = {name: by * (factor if name == of else 1.0) for name, by in section.moved.items()}
    return replace(section, moved=moved)


def _refit(
    adjusted: Adjusted, equations: Equations, x: Array, factors: Sequence[float]
) -> Adjusted:
    fit = whitened_fit(equations, x, adjusted.noise, factors=factors)
    return Adjusted(equations, adjusted.noise, tuple(factors), fit)


def _repacked(old: Equations, new: Equations, x: Array, keep: Sequence[int] | None = None) -> Array:
    """Unknowns of the same shape carried over to equations with fewer groups."""
    out = np.zeros(new.size)
    shared = len(old.shape.names)
    out[:shared] = x[:shared]
    for k, source in enumerate(keep if keep is not None else range(len(new.sections))):
        out[new.pose_columns(k)] = x[old.pose_columns(source)]
    return out
