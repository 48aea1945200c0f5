"""Nominal sizes: offered as candidates, and held where the job requires it.

The moved sizes enter one more adjustment as readings without error, so that the outline stays one
shape that also follows the photos as well as it can.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import get_args

from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.nominal_size import (
    Dimension,
    NominalSet,
    nominal_candidates,
    parse_listed,
    snap,
)
from snugline.fit.readings.reading import Reading, What
from snugline.fit.result import CornerResult, FittedOutline, Quantity
from snugline.fit.section import Section
from snugline.fit.shapes.family_words import OutlineFamily
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.notice import Notice
from snugline.sentence import Sentence
from snugline.sentence import length as mm

EXACT = "0.00001 mm"
HELD_TOL = 1e-4  # mm
DRAWN = "nominal size"

# Sizes that can be held: what the nominal sizes call them, and as what a reading enters.
_HELD: dict[str, What] = {
    "length": "length",
    "width": "width",
    "corner radius": "corner radius",
}


def nominal_sizes(fitted: FittedOutline, listed: str | None) -> tuple[NominalSet, ...]:
    """Likely nominal sizes of length, width and each distinct corner size."""
    dimensions = {"length": fitted.length, "width": fitted.width}
    for corner in fitted.corners:
        for name, quantity in corner.params.items():
            if name in ("radius", "leg") and quantity not in dimensions.values():
                known = f"corner {name}" in dimensions
                dimensions[f"{corner.at} {name}" if known else f"corner {name}"] = quantity
    given = [Dimension(of, q.value, q.u95) for of, q in dimensions.items()]
    return nominal_candidates(given, (listed,) if listed else ())


def listed_size(listed: str | None) -> tuple[float, float] | None:
    """The seller's size in mm, the longer one as the length, whichever is named first."""
    if listed is None:
        return None
    first, second = (mm for mm, _ in parse_listed(listed))
    return max(first, second), min(first, second)


def snapped(
    fitted: FittedOutline,
    nominal: Sequence[NominalSet],
    sections: Sequence[Section],
    readings: Sequence[Reading],
    symmetry: Symmetry,
    accepted: Mapping[str, float] | None = None,
) -> FittedOutline:
    """The outline with every accepted and every decisive size held.

    A notice for each says what was moved or left.

    Parameters
    ----------
    nominal : likely sizes, of which the decisive ones are held.
    accepted : sizes that the user chose, mm, by `length`, `width` or `corner radius`; they go
        before the likely ones.
    """
    held: dict[str, Reading] = {}
    notices = []
    radii = {corner.params.get("radius") for corner in fitted.corners}
    alike = len(radii) == 1 and None not in radii
    for of, size in (accepted or {}).items():
        if of == "corner radius" and not alike:
            notices.append(_NO_ONE_RADIUS)
            continue
        held[of] = Reading(_HELD[of], (size,), EXACT, DRAWN)
        notices.append(_moved(of, _quantity(fitted, of), size))
    for entry in nominal:
        if entry.of not in _HELD or entry.of in held or (entry.of == "corner radius" and not alike):
            continue
        quantity = _quantity(fitted, entry.of)
        outcome = snap(Dimension(entry.of, quantity.value, quantity.u95), entry)
        notices.append(outcome.notice)
        if entry.decisive is not None:
            held[entry.of] = Reading(_HELD[entry.of], (outcome.value,), EXACT, DRAWN)
    if not held:
        return replace(fitted, notices=(*fitted.notices, *notices))
    others = [reading for reading in readings if reading.what not in held]
    # A mixture of corner families cannot be requested by name.
    family = fitted.family if fitted.family in get_args(OutlineFamily) else "auto"
    again = fit_outline(sections, [*others, *held.values()], family, symmetry)
    off = [of for of, r in held.items() if abs(_quantity(again, of).value - r.value) > HELD_TOL]
    if off:
        notice = Notice(
            "snap-refused",
            Sentence(
                f"The photos contradict the nominal {off[0]} of {{}}; no size was changed.",
                mm(held[off[0]].value, 3),
            ),
            "Measure it again, or leave out snap and drawn.",
            "usable",
            off[0],
        )
        return replace(fitted, notices=(*fitted.notices, notice))
    # Holding a size does not make it more certain: the uncertainties stay those of the measurement.
    return replace(
        again,
        length=_kept(again.length, fitted.length, "length" in held),
        width=_kept(again.width, fitted.width, "width" in held),
        corners=tuple(
            _kept_corner(new, old, "corner radius" in held)
            for new, old in zip(again.corners, fitted.corners, strict=True)
        ),
        budgets=fitted.budgets,
        notices=(*fitted.notices, *notices),
    )


_NO_ONE_RADIUS = Notice(
    "drawn-not-held",
    "The corners do not share one radius, so the nominal radius cannot be applied.",
    "Remove corner_radius from drawn.",
    "usable",
    "corner radius",
)


def _moved(of: str, measured: Quantity, size: float) -> Notice:
    moved = size - measured.value
    return Notice(
        "drawn-held",
        Sentence(
            f"The {of} was moved from {{}} by {{}} to the nominal {{}}.",
            mm(measured.value, 3),
            mm(moved, 3, signed=True),
            mm(size, 3),
        ),
        f"Remove {of.replace(' ', '_')} from drawn to keep what was measured.",
        "usable" if abs(moved) > measured.u95 else "fine",
        of,
    )


def _quantity(fitted: FittedOutline, of: str) -> Quantity:
    if of == "corner radius":
        return fitted.corners[0].params["radius"]
    return fitted.length if of == "length" else fitted.width


def _kept(new: Quantity, old: Quantity, held: bool) -> Quantity:
    return Quantity(new.value, old.u95, (*old.sources, DRAWN) if held else old.sources)


def _kept_corner(new: CornerResult, old: CornerResult, held: bool) -> CornerResult:
    params = {name: _kept(q, old.params.get(name, q), held) for name, q in new.params.items()}
    return replace(new, params=params, ranking=old.ranking)
