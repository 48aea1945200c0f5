"""From a solved adjustment to dimensions with uncertainty, budget, sources and possible gains."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.observation_equations import Block, Equations, whitened
from snugline.fit.adjustment.outlier_test import reduced_to_shared
from snugline.fit.adjustment.robust_solution import HOLD, ResidualNoise, WhitenedFit, inverse
from snugline.fit.corners.free_corner import BEND
from snugline.fit.readings.part_unknowns import PATTERN, SOURCES
from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.readings.thickness import Thickness
from snugline.fit.readings.uncertainty_budget import Budget, Contribution, Gain, coverage_factor
from snugline.fit.result import CornerResult, FittedOutline, Quantity, SectionResult
from snugline.fit.shapes.outline_families import seen_corners
from snugline.fit.shapes.sided_shape import TERMS, Shape
from snugline.notice import Notice, Severity
from snugline.place import OfPart, OfPhoto
from snugline.sentence import Sentence, length, share

Array = NDArray[np.float64]

LEAST_SHARE = 0.1  # of a dimension's variance, for a source to be named
LEAST_GAIN = 0.95
LONGEST_CALIPER = 300.0  # mm; common practice, no source
OUTLIERS = 0.05
# Nearer than this none matters: a third of 0.15 mm, the smallest clearance that is asked for often
# (common practice, no source).
MATTERS_MM = 0.05
ROUGH = 0.05  # chance below which residuals are held to be larger than their section's noise
UNOBSERVED = "nothing observed"


@dataclass(frozen=True)
class _Source:
    """Where a piece of a dimension's uncertainty comes from."""

    name: str
    kind: str  # photo, tape, rule, caliper, stated
    dof: float


def summarise(
    equations: Equations,
    fit: WhitenedFit,
    noise: ResidualNoise,
    rankings: Sequence[tuple[tuple[str, float], ...]],
    groups: Sequence[int],
    form: Mapping[str, float],
    notices: tuple[Notice, ...],
    thickness: Thickness | None,
) -> FittedOutline:
    """Collect all results of a fit.

    `rankings` are by the mirror groups `groups`; `form` is what bows and tilts that were left out
    add to a dimension's standard uncertainty.
    """
    shape = equations.shape
    params = fit.x[: len(shape.names)]
    white = [
        whitened(equations.points_block(fit.x, k), model, measured.breaks, weights)
        for k, (measured, model, weights) in enumerate(
            zip(equations.sections, noise.models, noise.weights, strict=True)
        )
    ]
    dof = math.inf if thickness is None else thickness.dof
    budgets = {
        name: _budget(equations, fit, noise, white, name, value, by_params, form.get(name, 0), dof)
        for name, (value, by_params) in dimensions(shape, params).items()
    }
    quantities = {name: _quantity(budget) for name, (budget, _) in budgets.items()}
    for name, (budget, sources) in budgets.items():
        quantities[name] = Quantity(budget.value, budget.u95, sources)
    unknown = [budget for budget, _ in budgets.values() if _observed_by_nothing(budget)]
    sections = tuple(_section(equations, fit.x, noise, k) for k in range(len(equations.sections)))
    kept = np.concatenate([s.residuals[s.kept] for s in sections])
    extras = {name: quantities[name] for name in shape.names if name in TERMS}
    return FittedOutline(
        family=shape.family,
        length=quantities["length"],
        width=quantities["width"],
        corners=_corners(
            equations, fit.x, quantities, [budget.of for budget in unknown], rankings, groups
        ),
        outline=shape.to_outline(params),
        residual_rms=float(np.sqrt(np.mean(kept**2))),
        residual_max=float(np.max(np.abs(kept))),
        sections=sections,
        extras=extras,
        thickness=thickness,
        budgets=tuple(budget for budget, _ in budgets.values() if budget not in unknown),
        notices=(
            *notices,
            *_left_out(sections),
            *_irregular(extras, _one_end(equations, fit.x)),
            *_unobserved(unknown),
        ),
    )


def dimensions(shape: Shape, params: Array) -> dict[str, tuple[float, Array]]:
    """Each dimension of a shape with its derivative by the parameters.

    `length` and `width`, then the shape's own parameters except these and a free curve's bends; of
    a bow what stands between the corners.
    """
    found = {what: shape.dimension(what, params) for what in ("length", "width")}
    for i, name in enumerate(shape.names):
        if name not in ("length", "width", "diameter") and not name.startswith(BEND):
            share = shape.share_of_sag(name, params) if name.startswith("sag") else 1.0
            found[name] = share * float(params[i]), share * np.eye(len(params))[i]
    return found


def _budget(
    equations: Equations,
    fit: WhitenedFit,
    noise: ResidualNoise,
    white: Sequence[Block],
    name: str,
    value: float,
    by_params: Array,
    form: float,
    thickness_dof: float,
) -> tuple[Budget, tuple[str, ...]]:
    covariance = fit.covariance
    reach = covariance[:, : len(by_params)] @ by_params
    parts = [(_Source("form of the sides", "photo", math.inf), form**2)]
    for k, group in enumerate(fit.sections):
        source = _Source(f"points of {equations.sections[k].section.name}", "photo",
                         noise.models[k].dof)  # fmt: skip
        parts.append((source, float(reach @ group.matrix @ reach) * _rougher(white[k], reach)))
    for i, group in enumerate(fit.readings):
        row = equations.rows[i]
        source = _Source(row.label, row.parts.tool, row.parts.own_dof)
        parts.append((source, float(reach @ group.matrix @ reach)))
    for j, key in enumerate(equations.nuisances):
        parts.append(
            (
                _shared_source(equations, key, thickness_dof),
                float(reach[equations.first_nuisance + j] ** 2),
            )
        )
    # What nothing observed determines rests on what holds it where it is.
    parts.append((_Source(UNOBSERVED, "photo", math.inf), HOLD * float(reach @ reach)))
    merged: dict[_Source, float] = {}
    for source, variance in parts:
        merged[source] = merged.get(source, 0.0) + variance
    total = sum(merged.values())
    contributions = tuple(
        Contribution(source.name, math.sqrt(variance), source.dof)
        for source, variance in sorted(merged.items(), key=lambda item: -item[1])
        if variance > 1e-6 * total
    )
    shares: dict[str, float] = {}
    for source, variance in merged.items():
        shares[source.kind] = shares.get(source.kind, 0.0) + variance / max(total, 1e-300)
    named = sorted((k for k, s in shares.items() if s >= LEAST_SHARE), key=lambda k: -shares[k])
    budget = Budget(name, value, contributions)
    gains = _gains(equations, fit, by_params, form, coverage_factor(budget.dof), budget.u)
    return Budget(name, value, contributions, gains), tuple(named)


def _rougher(white: Block, reach: Array) -> float:
    """By how much the residuals that carry a dimension exceed their section's noise, as variances.

    One model of the noise serves a whole section, but an edge may be rougher at a corner than
    along the sides. 1 where chance explains the excess.
    """
    from scipy.special import chdtrc

    share = (white.jacobian @ reach[white.columns]) ** 2
    total = float(share.sum())
    if total == 0:
        return 1.0
    ratio = float(share @ white.residual**2) / total
    count = total**2 / float(share @ share)
    return ratio if chdtrc(count, ratio * count) < ROUGH else 1.0


def _shared_source(equations: Equations, key: tuple[str, ...], thickness_dof: float) -> _Source:
    if key[0] == "offset":
        return _Source("edge offset", "photo", math.inf)
    if key[0] == "scale":
        return _Source("print scale", "photo", math.inf)
    if key[0] == "part":
        dof = thickness_dof if key[1] == "thickness" else math.inf
        return _Source(SOURCES[key[1].split(PATTERN)[0]], "photo", dof)
    kind = next(
        row.parts.tool
        for row in equations.rows
        if any(part.key == key[1:] for part in row.parts.common)
    )
    return _Source(f"{key[1]} {key[2]}", kind, math.inf)


def _gains(
    equations: Equations,
    fit: WhitenedFit,
    by_params: Array,
    form: float,
    factor: float,
    u_now: float,
) -> tuple[Gain, ...]:
    """What one more reading or photo of each kind would make of the dimension's U95."""
    total = fit.total.matrix
    gains = []

    def consider(by: str, extra: Array) -> None:
        covariance = inverse(total + extra)[: len(by_params), : len(by_params)]
        u = math.sqrt(max(float(by_params @ covariance @ by_params), 0.0) + form**2)
        if u < LEAST_GAIN * u_now:
            gains.append(Gain(by, factor * u))

    for what in ("length", "width"):
        value, design_params = equations.dimension(fit.x, what)
        tools = ["tape"] + (["caliper"] if value <= LONGEST_CALIPER else [])
        for tool in tools:
            parts = uncertainty(Reading(what, (max(round(value * 2) / 2, 0.5),), tool))
            design = np.zeros(equations.size)
            design[: len(design_params)] = design_params
            consider(
                f"a second reading of the {what} with another {tool}",
                np.outer(design, design) / parts.u**2,
            )
    seen: set[str] = set()
    for k, measured in enumerate(equations.sections):
        shows = measured.section.shows
        if shows not in seen:
            seen.add(shows)
            where, group = reduced_to_shared(equations, fit, k)
            extra = np.zeros_like(total)
            extra[np.ix_(where, where)] = group.matrix
            consider(f"a second photo of the {shows}", extra)
    return tuple(sorted(gains, key=lambda gain: gain.u95))


def _quantity(budget: Budget) -> Quantity:
    return Quantity(budget.value, budget.u95)


def _corners(
    equations: Equations,
    x: Array,
    quantities: dict[str, Quantity],
    unknown: Sequence[str],
    rankings: Sequence[tuple[tuple[str, float], ...]],
    groups: Sequence[int],
) -> tuple[CornerResult, ...]:
    """The corners, less those of their sizes that are `unknown`."""
    shape = equations.shape
    if shape.family in ("circle", "ellipse"):
        return ()
    placed = [m.in_part(x[equations.pose_columns(k)]) for k, m in enumerate(equations.sections)]
    order = (2, 3, 0, 1) if shape.sides == 4 else range(shape.sides)
    seen = (
        seen_corners(placed, quantities["length"].value, quantities["width"].value)
        if shape.sides == 4
        else [True] * shape.sides
    )
    guessed = [shape.names.index(of) for of in unknown if of in shape.names]
    corners = []
    for k in order:
        family, rows = shape.corners[k], shape.corner_rows(k)
        params = {}
        for name, row in zip(family.parameters, range(rows.start, rows.stop), strict=True):
            if name.startswith(BEND):
                continue
            if not shape.ties[row, guessed].any():
                params[name] = _tied_quantity(shape, row, quantities)
        ranking = rankings[groups[k]] if shape.sides == 4 and rankings else ()
        corners.append(CornerResult(shape.corner_names[k], family.name, params, seen[k], ranking))
    return tuple(corners)


def _tied_quantity(shape: Shape, row: int, quantities: dict[str, Quantity]) -> Quantity:
    """An inner number that follows one parameter: that parameter's quantity, scaled."""
    column = int(np.flatnonzero(shape.ties[row])[0])
    factor = float(shape.ties[row, column])
    name = shape.names[column]
    quantity = quantities.get(name) or quantities["length"]
    return Quantity(factor * quantity.value, abs(factor) * quantity.u95, quantity.sources)


def _section(equations: Equations, x: Array, noise: ResidualNoise, k: int) -> SectionResult:
    measured = equations.sections[k]
    common = measured.section.systematic
    pose = x[equations.pose_columns(k)]
    shrink = np.ones(2)
    for axis, u in enumerate((common.scale_x, common.scale_y)):
        if u > 0:
            shrink[axis] -= u * x[equations.column(("scale", common.scale_group, "xy"[axis]))]
    c, s = math.cos(pose[2]), math.sin(pose[2])
    linear = np.array([[c, -s], [s, c]]) * shrink
    shift = pose[:2] - linear @ measured.centre
    points = measured.section.points @ linear.T + shift
    if measured.moved:
        # Shown where they lie once the part's thickness, edge and lean are as the fit has them.
        along = sum(by * x[equations.column(("part", of))] for of, by in measured.moved.items())
        normal = equations.shape.distance(points, x[: len(equations.shape.names)]).normal
        points = points + np.asarray(along)[:, None] * normal
    as_given = measured.section.as_given
    return SectionResult(
        measured.section.name,
        np.column_stack([linear, shift]),
        as_given(points),
        as_given(equations.points_block(x, k).residual * measured.noise),
        as_given(noise.weights[k] > 0),
    )


def _left_out(sections: Sequence[SectionResult]) -> list[Notice]:
    notices = []
    for section in sections:
        far = ~section.kept & (np.abs(section.residuals) > MATTERS_MM)
        if np.mean(far) > OUTLIERS:
            notices.append(
                Notice(
                    "points-left-out",
                    Sentence(
                        "{} of the contour's points lie up to {} off the outline and were given no "
                        "weight.",
                        share(float(np.mean(far))),
                        length(float(np.abs(section.residuals[far]).max())),
                    ),
                    "Check the overlay for a shadow, a burr or a corner of a different shape.",
                    "usable",
                    OfPhoto(section.name),
                )
            )
    return notices


def _unobserved(budgets: Sequence[Budget]) -> list[Notice]:
    return [
        Notice(
            "dimension-not-observed",
            Sentence(
                f"Neither photos nor readings determine the {budget.of}; {{}} is a guess.",
                length(budget.value),
            ),
            "Photograph that place again, with no shadow or object over it.",
            "retake",
            OfPart(budget.of),
        )
        for budget in budgets
    ]


def _observed_by_nothing(budget: Budget) -> bool:
    return bool(budget.contributions) and budget.contributions[0].source == UNOBSERVED


def _one_end(equations: Equations, x: Array) -> bool:
    """Whether all that was seen lies on one side of mid-part."""
    along = [
        m.in_part(x[equations.pose_columns(k)])[:, 0] for k, m in enumerate(equations.sections)
    ]
    every = np.concatenate(along)
    return bool(np.all(every > 0) or np.all(every < 0))


# mm between the corners. If a bought part seems to bow by more, the edge may be that of a shadow;
# no outline may be off by more without a remark.
UNLIKELY_BOW = 0.3
STRAIGHTEDGE = (
    "Check it with a straightedge. If it is straight, the photo was traced along a shadow: "
    "photograph that side again in different light."
)
FOLLOWED = "No action needed; a straight pocket side would not fit it closely."


def _irregular(extras: dict[str, Quantity], one_end: bool) -> list[Notice]:
    """What is said of sides that bow or tilt; from one end alone it is drawn out over the part."""
    drawn_out = " It was seen at one end alone and drawn out from there." if one_end else ""
    mend = "Photograph the other end, too, or read the width at both ends." if one_end else ""
    severity: Severity = "usable" if one_end else "fine"
    notices = []
    for name, quantity in extras.items():
        if name.startswith("sag"):
            side, way = name.removeprefix("sag "), "outwards" if quantity.value > 0 else "inwards"
            deep = abs(quantity.value) > UNLIKELY_BOW
            notices.append(
                Notice(
                    "side-bowed",
                    Sentence(
                        f"The {side} side bows {way} by {{}} (U95 {{}}); the outline follows it."
                        f"{drawn_out}",
                        length(abs(quantity.value)),
                        length(quantity.u95),
                    ),
                    STRAIGHTEDGE if deep else mend or FOLLOWED,
                    "usable" if deep else severity,
                    side,
                )
            )
        else:
            what, off = {
                "taper": ("The long sides are", "out of parallel"),
                "end taper": ("The ends are", "out of parallel"),
                "skew": ("The ends are", "out of square with the long sides"),
            }[name]
            notices.append(
                Notice(
                    "sides-not-parallel",
                    f"{what} {math.degrees(abs(quantity.value)):.2f} degrees {off} "
                    f"(U95 {math.degrees(quantity.u95):.2f} degrees); the outline follows it."
                    f"{drawn_out}",
                    mend or "No action needed; length and width are given at mid-part.",
                    severity,
                )
            )
    return notices
