"""Hand readings: what a tape, rule or caliper indicates, and its maximum permissible error.

A reading's error has two kinds of parts. Errors that stay when the reading is repeated (the tape's
hook, its scale, the caliper's limit, the way part and hand meet the jaws) are `CommonError`s with
a `key`: readings that share the key share one and the same error, so that several readings do not
average it away. What changes with each value is the reading's own: resolution and
repeatability.

Limits of error count as rectangular, u = limit/√3 (JCGM 100:2008, 4.3.7); a step d of the
scale as d/√12 (F.2.2.1).
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from snugline.errors import InputError
from snugline.lengths import MM_PER_INCH, parse_length
from snugline.place import Where

What = Literal["length", "width", "thickness", "corner radius"]

# a, b per metre begun, c from an end surface (a hook, a rule's end), in mm: EU Directive
# 2014/32/EU, annex X (MI-008), table 1.
_MATERIAL_MEASURE = {"I": (0.1, 0.1, 0.1), "II": (0.3, 0.2, 0.2), "III": (0.6, 0.4, 0.3)}

# NIST Handbook 44, section 5.52, metal tapes, from zero up to 6, 30, 55 ft: limit in inches.
_US_TAPE = ((6 * 12, 1 / 32), (30 * 12, 1 / 16), (55 * 12, 1 / 8))

# DIN 862: measured length up to, limit in mm with a digital step of 0.01, with a vernier of 0.05.
_CALIPER = (
    (100, 0.02, 0.05),
    (200, 0.03, 0.05),
    (300, 0.03, 0.05),
    (400, 0.03, 0.06),
    (500, 0.03, 0.07),
    (600, 0.03, 0.08),
    (700, 0.04, 0.09),
    (800, 0.04, 0.10),
    (900, 0.04, 0.11),
    (1000, 0.04, 0.12),
)

# How jaws held by hand meet a part (tilt, pressure, burr): ± mm. Common practice, no source.
CALIPER_CONTACT = 0.1

# The first of these that all values are multiples of is assumed to be the scale's step, mm. Whole
# and half millimetres come first: 381 mm are 15 in, but a tape in millimetres shows them as well.
_STEPS = (
    1.0,
    0.5,
    *(MM_PER_INCH / parts for parts in (4, 8, 16, 32, 64)),
    0.1,
    0.05,
    0.01,
)


@dataclass(frozen=True)
class Reading:
    """One dimension read once or several times with one tool.

    Attributes
    ----------
    what : the dimension; a corner radius is that of all corners.
    values_mm : the values as read, mm.
    tool : `tape` (EU class II from its hook unless it says `class I`, `class III`, `us`, or
        `from a mark`), `rule` (the same, from its end), `caliper` (`vernier` for one of 0.05 mm),
        or a length with its unit: the tool's own limit of error. Tools of different names are
        different tools; `tape` and `other tape` share no error.
    where : the place in the job, for messages.
    step_mm : the scale's step; inferred from the values when None.
    """

    what: What
    values_mm: tuple[float, ...]
    tool: str
    where: Where = "reading"
    step_mm: float | None = None

    def __post_init__(self) -> None:
        if self.what not in get_args(What):
            raise InputError(
                f"{self.what!r} is not a dimension that can be read",
                self.where,
                f"use one of {', '.join(get_args(What))}",
            )
        if not self.values_mm or not all(math.isfinite(v) and v > 0 for v in self.values_mm):
            raise InputError(
                f"{self.values_mm} holds no usable values",
                self.where,
                "give one or more lengths above zero",
            )
        if self.step_mm is not None and not self.step_mm > 0:
            raise InputError(
                f"the step {self.step_mm} mm is not above zero",
                self.where,
                "give the smallest division of the scale",
            )
        tool_of(self)

    @classmethod
    def of(cls, what: What, *values: str, tool: str) -> "Reading":
        """A reading of values as written.

        Raises
        ------
        InputError : a value without number and unit, or a dimension or tool that is not known.

        Examples
        --------
        >>> Reading.of("length", "16 7/16 in", "417.5 mm", tool="tape").values_mm
        (417.5125, 417.5)
        """
        return cls(what, tuple(parse_length(value, what) for value in values), tool)

    @property
    def value(self) -> float:
        """Mean of the values, mm."""
        return float(np.mean(self.values_mm))


@dataclass(frozen=True)
class CommonError:
    """An error that a repeated reading repeats: standard uncertainty `u` in mm at this reading."""

    key: tuple[str, ...]
    u: float


@dataclass(frozen=True)
class ReadingUncertainty:
    """Standard uncertainty of a reading's mean, in its parts (mm)."""

    tool: str
    common: tuple[CommonError, ...]
    own: float
    own_dof: float

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.hypot(self.own, *(part.u for part in self.common))


@dataclass(frozen=True)
class _Tool:
    kind: Literal["tape", "rule", "caliper", "stated"]
    grade: str = ""
    from_mark: bool = False
    limit: float = 0.0


def tool_of(reading: Reading) -> _Tool:
    """Kind of tool that the words name.

    Raises
    ------
    InputError : no known tool and no length.
    """
    words = re.sub(r"[,;]", " ", reading.tool.lower()).split()
    for kind in ("tape", "rule", "caliper"):
        if kind in words or kind + "s" in words or (kind == "rule" and "ruler" in words):
            break
    else:
        try:
            limit = parse_length(reading.tool, reading.where)
        except InputError:
            limit = -1.0
        if limit <= 0:
            raise InputError(
                f"the tool {reading.tool!r} is unknown",
                reading.where,
                'name a tape, rule or caliper, or give its limit of error such as "0.3 mm"',
            ) from None
        return _Tool("stated", limit=limit)
    if kind == "caliper":
        return _Tool("caliper", "vernier" if "vernier" in words else "digital")
    grade = "US" if "us" in words and kind == "tape" else "II"
    if "class" in words[:-1]:
        grade = words[words.index("class") + 1].upper()
        if grade not in _MATERIAL_MEASURE:
            raise InputError(
                f"the accuracy class {grade!r} is unknown",
                reading.where,
                "write class I, class II or class III as printed on the tape",
            )
    return _Tool(kind, grade, "mark" in words or "marks" in words)


def tape_limit(
    length_mm: float, grade: str = "II", *, from_mark: bool = False
) -> tuple[float, float, float]:
    """The parts (placing of marks, scale, hook) of a tape's limit of error, mm.

    Their sum is the published limit, with the length counted in whole metres begun. A US tape's
    published limit is one figure: all of it counts as scale.
    """
    if grade == "US":
        inches = length_mm / MM_PER_INCH
        limit = next((limit for upto, limit in _US_TAPE if inches <= upto), _US_TAPE[-1][1])
        return 0.0, limit * MM_PER_INCH, 0.0
    a, b, c = _MATERIAL_MEASURE[grade]
    return a, b * max(1, math.ceil(length_mm / 1000 - 1e-9)), 0.0 if from_mark else c


def caliper_limit(length_mm: float, grade: str = "digital") -> float:
    """A caliper's limit of error, mm (DIN 862); beyond a metre the last row is continued."""
    column = 2 if grade == "vernier" else 1
    row = next((row for row in _CALIPER if length_mm <= row[0]), None)
    return row[column] if row is not None else _CALIPER[-1][column] * length_mm / 1000


def inferred_step(values_mm: tuple[float, ...], finest: float = 0.01) -> float:
    """The usual step of a scale that all values are multiples of, at least `finest`."""
    values = np.asarray(values_mm)
    for step in _STEPS:
        # 1 µm: what is lost by writing 16 7/16 in as 417.513 mm.
        if np.all(np.abs(values / step - np.round(values / step)) * step < 1e-3):
            return max(step, finest)
    return finest


def uncertainty(reading: Reading) -> ReadingUncertainty:
    """The reading's standard uncertainty from its tool's published limits and its spread.

    Notes
    -----
    The variance that belongs to a tape's whole limit, limit²/3, is shared out over the parts of
    the limit in proportion: the hook and the scale are common to all that was read with the tape,
    the placing of the marks to what was read at one length.

    A mean's own uncertainty is the larger of its resolution and its repeatability: equal values
    show that the scale is coarse, not that the reading is good.
    """
    tool = tool_of(reading)
    length = reading.value
    name = reading.tool.strip().lower()
    common: tuple[CommonError, ...]
    if tool.kind in ("tape", "rule"):
        marks, scale, hook = tape_limit(length, tool.grade, from_mark=tool.from_mark)
        limit = marks + scale + hook
        # A tape stays the same tape when it is read from a mark; only its hook drops out.
        own_tape = re.sub(r"[,;]?\s*from (a|the)?\s*([a-z0-9]+ )*marks?", "", name).strip()
        parts = (
            ((own_tape, "marks", reading.what), marks),
            ((own_tape, "scale"), scale),
            ((own_tape, "hook"), hook),
        )
        common = tuple(
            CommonError(key, math.sqrt(part * limit / 3)) for key, part in parts if part > 0
        )
        step = reading.step_mm or inferred_step(reading.values_mm, finest=0.5)
    elif tool.kind == "caliper":
        common = (
            CommonError((name, "scale"), caliper_limit(length, tool.grade) / math.sqrt(3)),
            CommonError((name, "contact", reading.what), CALIPER_CONTACT / math.sqrt(3)),
        )
        step = reading.step_mm or (0.05 if tool.grade == "vernier" else 0.01)
    else:
        common = (CommonError((name, "limit"), tool.limit / math.sqrt(3)),)
        step = reading.step_mm or 0.0
    count = len(reading.values_mm)
    resolution = step / math.sqrt(12)
    repeatability = float(np.std(reading.values_mm, ddof=1)) / math.sqrt(count) if count > 1 else 0
    if repeatability > resolution:
        return ReadingUncertainty(tool.kind, common, repeatability, count - 1)
    return ReadingUncertainty(tool.kind, common, resolution, math.inf)


@dataclass(frozen=True)
class Combined:
    """All readings of one dimension: weighted mean, its standard uncertainty, the tools."""

    value: float
    u: float
    dof: float
    tools: tuple[str, ...]


def combined(readings: Sequence[Reading], what: str) -> Combined | None:
    """Generalised mean of the readings of one dimension; None where there are none.

    The covariances come from the errors that the readings share.
    """
    found = [r for r in readings if r.what == what]
    if not found:
        return None
    parts = [uncertainty(r) for r in found]
    covariance = np.diag([max(p.own, 1e-3) ** 2 for p in parts])
    for key in {error.key for p in parts for error in p.common}:
        u = np.array([sum(e.u for e in p.common if e.key == key) for p in parts])
        covariance += np.outer(u, u)
    weight = np.linalg.solve(covariance, np.ones(len(found)))
    variance = 1 / float(weight.sum())
    value = variance * float(weight @ [r.value for r in found])
    # Welch and Satterthwaite: only the readings' own spreads have finite degrees of freedom.
    share = [(variance * w * p.own) ** 4 / p.own_dof for w, p in zip(weight, parts, strict=True)]
    dof = variance**2 / sum(share) if sum(share) > 0 else math.inf
    return Combined(value, math.sqrt(variance), dof, tuple(dict.fromkeys(p.tool for p in parts)))
