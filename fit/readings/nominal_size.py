"""Nominal sizes: what a dimension was probably drawn as, offered and never applied unasked.

Bayes over the series of `preferred_sizes`. A series whose members are w mm apart gives
each member the prior mass `share` * w of the local density of sizes: a fine series, which is near
any value, gains little from being hit, and a coarse one much. The dimensions of one part share one
hidden variable, its system of units; each of them is evidence for or against it.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from snugline.errors import InputError
from snugline.fit.readings.preferred_sizes import (
    LENGTH_SERIES,
    RADIUS_SERIES,
    Series,
    System,
    inch_label,
)
from snugline.lengths import parse_length
from snugline.notice import Notice
from snugline.sentence import Sentence, length, share

DECISIVE = 0.8
_LISTED_SHARE = 0.4
# Sizes of parts are spread over about three decades (1 mm to 1 m), evenly in the logarithm: the
# local density of sizes is then 1 / (value * ln 1000) per mm.
_DECADES = math.log(1000.0)
_LEAST_SHOWN = 0.01
_MOST_SHOWN = 8
# ISO 2768-1, class f (fine), limits of linear sizes up to 6, 30, 120, 400, 1000 mm: what a part may
# be off its drawing. From memory.
_MAKING_LIMITS = ((6.0, 0.05), (30.0, 0.1), (120.0, 0.15), (400.0, 0.2), (math.inf, 0.3))


@dataclass(frozen=True)
class Dimension:
    """A measured size: `of` is its name (`length`, `corner radius`), value and U95 in mm."""

    of: str
    value: float
    u95: float


@dataclass(frozen=True)
class Candidate:
    """One nominal size: its label as on a drawing, its mm, its posterior probability."""

    label: str
    value: float
    weight: float


@dataclass(frozen=True)
class NominalSet:
    """The likely nominal sizes of one dimension.

    Attributes
    ----------
    candidates : heaviest first.
    none : weight of "none of these": a size from no series, and candidates too light to show.
    metric : posterior probability that the part was drawn in millimetres; the same for all
        dimensions of the part.
    """

    of: str
    candidates: tuple[Candidate, ...]
    none: float
    metric: float

    @property
    def decisive(self) -> Candidate | None:
        """The leading candidate if it alone carries `DECISIVE` of the weight."""
        first = self.candidates[0] if self.candidates else None
        return first if first is not None and first.weight >= DECISIVE else None

    def as_json(self) -> dict[str, Any]:
        """The form under `nominal` in the result file."""
        return {
            "of": self.of,
            "candidates": [[c.label, round(c.weight, 3)] for c in self.candidates],
            "none": round(self.none, 3),
        }


@dataclass(frozen=True)
class Snapped:
    """A value after snapping: `moved` mm from where it was measured, 0.0 where it stayed."""

    value: float
    moved: float
    notice: Notice


def parse_listed(text: str, where: str = "listed") -> tuple[tuple[float, System], ...]:
    """Sizes of a listing, `420 x 150 mm` or `4 in x 12 in`: (mm, system) each.

    A size without a unit takes that of the next size that has one.

    Raises
    ------
    InputError : a size that is not a length, or no unit at all.
    """
    words = re.split(r"\s*(?:[x×*]|\bby\b)\s*", text.strip(), flags=re.IGNORECASE)
    sizes: list[tuple[float, System]] = []
    unit = ""
    for word in reversed(words):
        own = re.search(r"[^\d\s./,-][^\d]*$", word)
        if own is not None:
            unit = own.group().strip()
        elif word and not unit:
            raise InputError(f"{text!r} has no unit", where, 'write it as "420 x 150 mm"')
        value = parse_length(word if own is not None else f"{word} {unit}", where)
        if value <= 0:
            raise InputError(f"{text!r} has a size that is not positive", where, "correct it")
        sizes.append((value, "metric" if unit in ("mm", "cm", "m") else "inch"))
    return tuple(reversed(sizes))


def nominal_candidates(
    dimensions: Sequence[Dimension], listed: Sequence[str] = ()
) -> tuple[NominalSet, ...]:
    """Likely nominal sizes of the dimensions of one part, in the order given.

    Parameters
    ----------
    dimensions : one part's; a name with `radius` in it draws on the standard radii. A U95 of 0 is
        allowed: a part is still made with a deviation from its drawing.
    listed : what sellers state, such as `420 x 150 mm`. A listed size is a candidate for every
        dimension other than a radius, in the listing's own system only: a part drawn in millimetres
        and sold in inches was not drawn as its listing.

    Raises
    ------
    InputError : a value that is not positive, a U95 that is negative, a listing without sizes.
    """
    for dimension in dimensions:
        if not (0 < dimension.value < math.inf and 0 <= dimension.u95 < math.inf):
            raise InputError(
                f"{dimension.value} mm with U95 {dimension.u95} mm is not a measured size",
                dimension.of,
                "give a positive size and an uncertainty that is not negative",
            )
    sizes = {size for text in listed for size in parse_listed(text)}
    systems: tuple[System, System] = ("metric", "inch")
    masses = [{s: _masses(d, sizes, s) for s in systems} for d in dimensions]
    # A log, since a long list of dimensions multiplies to very small numbers.
    log_evidence = {s: sum(math.log(sum(m[s].values())) for m in masses) for s in systems}
    metric = 1.0 / (1.0 + math.exp(_bounded(log_evidence["inch"] - log_evidence["metric"])))
    belief: dict[System, float] = {"metric": metric, "inch": 1.0 - metric}
    return tuple(_posterior(d, m, belief) for d, m in zip(dimensions, masses, strict=True))


def snap(dimension: Dimension, nominal: NominalSet) -> Snapped:
    """Move a dimension to its leading candidate if that is decisive, with a remark."""
    leader = nominal.decisive
    if leader is None:
        names = ", ".join(c.label for c in nominal.candidates[:3]) or "no usual size"
        return Snapped(
            dimension.value,
            0.0,
            Notice(
                "snap-undecided",
                Sentence(
                    "The {of} was left as measured, {}: no nominal size is clearly the most likely "
                    "({names}).",
                    length(dimension.value, 3),
                    of=dimension.of,
                    names=names,
                ),
                "Measure it more accurately, or set the size by hand.",
                "fine",
                dimension.of,
            ),
        )
    moved = leader.value - dimension.value
    return Snapped(
        leader.value,
        moved,
        Notice(
            "snapped",
            Sentence(
                "The {of} was moved from {} by {} to {label} (probability {}).",
                length(dimension.value, 3),
                length(moved, 3, signed=True),
                share(leader.weight),
                of=dimension.of,
                label=leader.label,
            ),
            "Leave out snap to keep what was measured.",
            "usable" if abs(moved) > dimension.u95 else "fine",
            dimension.of,
        ),
    )


# Candidates differ from a picometre on; 0.0 means "none of these".
_NONE = 0.0


def _masses(
    dimension: Dimension, listed: set[tuple[float, System]], system: System
) -> dict[float, float]:
    """Prior mass times likelihood of every candidate, relative to the local density of sizes."""
    is_radius = "radius" in dimension.of
    series = [s for s in (RADIUS_SERIES if is_radius else LENGTH_SERIES) if s.system == system]
    limit = next(limit for size, limit in _MAKING_LIMITS if dimension.value <= size)
    u = math.hypot(dimension.u95 / 2.0, limit / math.sqrt(3.0))
    sizes = [] if is_radius else sorted(v for v, s in listed if s == system)
    shrink = 1.0 - _LISTED_SHARE if sizes else 1.0
    masses = {_NONE: shrink * (1.0 - sum(s.share for s in series))}
    for one in series:
        _add_series(masses, one, dimension.value, u, shrink)
    for value in sizes:
        mass = _LISTED_SHARE / len(sizes) * value * _DECADES * _normal(dimension.value - value, u)
        key = round(value, 9)
        masses[key] = masses.get(key, 0.0) + mass
    return masses


def _add_series(
    masses: dict[float, float], series: Series, value: float, u: float, shrink: float
) -> None:
    for size, width in zip(*series.near(value, 5.0 * u), strict=True):
        key = round(float(size), 9)
        mass = shrink * series.share * float(width) * _normal(value - key, u)
        masses[key] = masses.get(key, 0.0) + mass


def _posterior(
    dimension: Dimension, masses: dict[System, dict[float, float]], belief: dict[System, float]
) -> NominalSet:
    weights: dict[float, dict[System, float]] = {}
    for system, table in masses.items():
        total = sum(table.values())
        for size, mass in table.items():
            weights.setdefault(size, {})[system] = belief[system] * mass / total
    none = sum(weights.pop(_NONE).values())
    candidates = []
    for size, by_system in weights.items():
        weight = sum(by_system.values())
        in_inches = by_system.get("inch", 0.0) > by_system.get("metric", 0.0)
        label = inch_label(size) if in_inches else f"{size:.10g} mm"
        candidates.append(Candidate(label, size, weight))
    candidates.sort(key=lambda c: (-c.weight, c.value))
    shown = [c for c in candidates[:_MOST_SHOWN] if c.weight >= _LEAST_SHOWN]
    none += sum(c.weight for c in candidates) - sum(c.weight for c in shown)
    return NominalSet(dimension.of, tuple(shown), none, belief["metric"])


def _normal(difference: float, u: float) -> float:
    return math.exp(-0.5 * (difference / u) ** 2) / (u * math.sqrt(2.0 * math.pi))


def _bounded(exponent: float) -> float:
    return max(-700.0, min(700.0, exponent))
