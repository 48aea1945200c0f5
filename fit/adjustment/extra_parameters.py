"""What the simple shape leaves out: corners that differ, sides that bow or are not parallel.

One fit frees everything that could be there. Then what the data do not support is tied again:
mirrored corners that do not differ, terms that are not significant or too small to matter. A tied
term need not be zero, and a side that bows by some hundredths moves its corners' radii several
times as far: what terms of such a size do to the dimensions stays in their budgets.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.edge_patterns import carried, with_patterns
from snugline.fit.adjustment.needed_terms import (
    MATERIAL,
    SAME,
    NeededTerms,
    Shown,
    arm_of,
    tied_again,
)
from snugline.fit.adjustment.observation_equations import Equations
from snugline.fit.adjustment.robust_solution import (
    ResidualNoise,
    WhitenedFit,
    inverse,
    noise_at,
    robust_fit,
    solve,
    whitened_fit,
)
from snugline.fit.adjustment.single_stretches import without_each
from snugline.fit.corners.free_corner import FREE
from snugline.fit.readings.uncertainty_budget import coverage_factor
from snugline.fit.shapes.outline_families import GROUPS, adopt, rectangle, seen_corners
from snugline.fit.shapes.sided_shape import CORNERS, TERMS, Shape
from snugline.notice import Notice
from snugline.sentence import Sentence, length

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LEVEL = 0.001  # for corners to be taken apart
TERM_LEVEL = 0.01  # for any bow or tilt to be taken in
THINNED = 600
SIZES = 30  # tried, of tilts and of bows
SIGN = 1.0  # of twice a log-likelihood: less is not evidence of any bows or tilts
NONE = 1e-6  # mm, the size of bows or tilts of which nothing is seen
TRUST = 100.0  # a sum of squares within which the free fit counts as linear


@dataclass(frozen=True)
class Refined:
    """The shape that the data support, a start for it, and the noise at the freest fit.

    Attributes
    ----------
    changed : whether it is another than the simple shape that was given.
    form : by parameter, the standard uncertainty that the terms left out give it.
    """

    changed: bool
    equations: Equations
    x: Array
    noise: ResidualNoise
    groups: tuple[int, ...]
    terms: tuple[str, ...]
    form: dict[str, float]
    notices: tuple[Notice, ...]


def refine_shape(
    equations: Equations, x: Array, noise: ResidualNoise, groups: tuple[int, ...]
) -> Refined | None:
    """Free corners and sides, test, tie again; None for shapes that have nothing to free.

    Only rectangles are refined; bows also of a stadium's long sides.
    """
    shape = equations.shape
    if shape.family in ("circle", "ellipse", "regular polygon"):
        return None
    seen = _seen(equations, x)
    # The single bends of free curves are too uncertain to distinguish corners.
    alike = FREE in shape.corners or "rectangle" not in shape.family
    apart = groups if alike else adopt(GROUPS["none"], seen)[0]
    free_shape = _ungrouped(shape, apart)
    terms = TERMS if "rectangle" in shape.family else ("sag back", "sag front", "taper")
    full = free_shape.with_terms(terms)
    freed = replace(equations, shape=full)
    start = _carried(equations, x, freed, _ungrouped_params(shape, x, free_shape))
    thin = replace(freed, sections=tuple(m.thinned(THINNED) for m in freed.sections))
    start = robust_fit(thin, start, rounds=8).x
    noise = noise_at(freed, start)
    raw, (freed, start) = freed, with_patterns(freed, start, noise)
    fit = whitened_fit(freed, start, noise, trust=TRUST, rounds=4)
    count = len(full.names)
    information = _information(fit.covariance[:count, :count])
    estimate = fit.x[:count]
    dof = float(np.mean([model.dof for model in noise.models]))
    groups_now, told = _tie_corners(free_shape, groups, apart, seen, estimate, fit.covariance, dof)
    tied = _ungrouped(shape, groups_now)
    # From the tied parameters and all terms to the free ones.
    onto = np.zeros((count, len(tied.names) + len(terms)))
    onto[: len(free_shape.names), : len(tied.names)] = _spread(tied, free_shape)
    onto[len(free_shape.names) :, len(tied.names) :] = np.eye(len(terms))
    shown = _shown_moves(freed, fit.x, onto, len(tied.names))
    critical = coverage_factor(dof, 1 - TERM_LEVEL / len(terms))  # for any of them
    needed = NeededTerms(onto, len(tied.names), terms, critical, shown)
    kept, values = needed.of(
        (information, estimate), lambda: list(_without_each(freed, fit, noise, count))
    )
    form = _form(information, estimate, onto, tied, terms, kept, shown)
    kept_terms = tuple(terms[i] for i in kept)
    final = replace(equations, shape=tied.with_terms(kept_terms))
    x_final = _carried(raw, carried(freed, raw, fit.x), final, values)
    changed = groups_now != groups or bool(kept)
    return Refined(changed, final, x_final, noise, groups_now, kept_terms, form, tuple(told))


def _information(covariance: Array) -> Array:
    scale = 1 / np.sqrt(np.diagonal(covariance))
    information: Array = np.linalg.inv(covariance * np.outer(scale, scale)) * np.outer(scale, scale)
    return information


def _without_each(
    equations: Equations, fit: WhitenedFit, noise: ResidualNoise, count: int
) -> Iterator[tuple[Array, Array]]:
    """Information on the shape's parameters and their values, less each stretch of the edge."""
    for normals in without_each(equations, fit, noise):
        step = solve(normals.matrix, -normals.gradient)
        yield _information(inverse(normals.matrix)[:count, :count]), (fit.x + step)[:count]


def _seen(equations: Equations, x: Array) -> list[bool]:
    length, width = (equations.dimension(x, what)[0] for what in ("length", "width"))
    placed = [m.in_part(x[equations.pose_columns(k)]) for k, m in enumerate(equations.sections)]
    return seen_corners(placed, length, width)


def _ungrouped(shape: Shape, groups: tuple[int, ...]) -> Shape:
    """The same corner families under other mirror groups."""
    if "rectangle" not in shape.family:
        return shape
    firsts = [groups.index(g) for g in range(max(groups) + 1)]
    return rectangle([shape.corners[k] for k in firsts], groups, family=shape.family)


def _ungrouped_params(shape: Shape, x: Array, free: Shape) -> Array:
    inner = shape.inner(x[: len(shape.names)])
    params: Array = np.linalg.pinv(free.ties) @ (inner - free.base)
    return params


def _spread(tied: Shape, free: Shape) -> Array:
    """Derivative of the free shape's parameters by the tied one's."""
    onto: Array = np.linalg.pinv(free.ties) @ tied.ties
    return onto


def _carried(old: Equations, x: Array, new: Equations, params: Array) -> Array:
    """Poses and shared errors kept, shape parameters replaced (missing ones zero)."""
    out = np.zeros(new.size)
    out[: len(params)] = params
    out[len(new.shape.names) :] = x[len(old.shape.names) :]
    return out


def _tie_corners(
    free: Shape,
    groups: tuple[int, ...],
    apart: tuple[int, ...],
    seen: Sequence[bool],
    estimate: Array,
    covariance: Array,
    dof: float,
) -> tuple[tuple[int, ...], list[Notice]]:
    """The most symmetrical grouping, beginning with the job's own, that the data do not reject."""
    if apart == groups or len(free.names) == 2:
        return groups, []
    options = [groups]
    for word in ("lengthwise", "crosswise", "none"):
        option = adopt(GROUPS[word], seen)[0]
        if _refines(option, groups) and option not in options:
            options.append(option)
    first_told: list[Notice] = []
    for option in options:
        difference, worst = _rejected(free, option, estimate, covariance, dof)
        if not difference:
            return option, first_told
        first_told = first_told or [
            Notice(
                "corners-differ",
                Sentence(
                    f"Corners that were taken to be equal differ: {worst.template}; they "
                    f"were fitted separately.",
                    *worst.figures,
                ),
                "State the symmetry that the part has, or check the photos of these corners.",
                "usable",
            )
        ]
    return options[-1], first_told


def _refines(finer: Sequence[int], coarser: Sequence[int]) -> bool:
    return all(len({coarser[k] for k in range(4) if finer[k] == g}) == 1 for g in set(finer))


def _rejected(
    free: Shape, groups: Sequence[int], estimate: Array, covariance: Array, dof: float
) -> tuple[bool, Sentence]:
    """Wald test of the equalities that a grouping states, and the largest difference in words."""
    from scipy.special import fdtrc

    tied = _ungrouped(free, tuple(groups))
    onto = _spread(tied, free)
    count = len(free.names)
    # Directions of the free parameters that the grouping holds at zero.
    left = np.linalg.svd(onto, full_matrices=True)[0][:, onto.shape[1] :]
    if not left.shape[1]:
        return False, Sentence("")
    off = left.T @ estimate[:count]
    spread = left.T @ covariance[:count, :count] @ left
    # What one of the corners does not determine (a metre) differs from nothing.
    square = float(off @ np.linalg.solve(spread, off))
    material, words = 0.0, Sentence("")
    for g in set(groups):
        members = [k for k in range(4) if groups[k] == g]
        values = [float(free.inner(estimate[:count])[free.corner_rows(k)][0]) for k in members
                  if free.corners[k].parameters]  # fmt: skip
        if values and np.ptp(values) > material:
            low, high = int(np.argmin(values)), int(np.argmax(values))
            material = float(np.ptp(values))
            words = Sentence(
                f"{CORNERS[members[low]]} {{}}, {CORNERS[members[high]]} {{}}",
                length(values[low]),
                length(values[high]),
            )
    count = left.shape[1]
    return fdtrc(count, dof, square / count) < LEVEL and material > MATERIAL, words


def _shown_moves(equations: Equations, x: Array, onto: Array, base: int) -> Shown:
    """Of shape parameters `onto` (C, base + T), tied ones first."""
    count, known = len(equations.shape.names), equations.first_nuisance
    rows = []
    for k in range(len(equations.sections)):
        block = equations.points_block(x, k)
        whole = np.zeros((len(block.residual), equations.size))
        whole[:, block.columns] = block.jacobian
        rows.append(np.hstack([whole[:, :count] @ onto, whole[:, count:known]]))
    seen = np.concatenate(rows)
    terms = slice(base, onto.shape[1])
    tied = np.delete(seen, terms, axis=1)
    moves = seen[:, terms] - tied @ np.linalg.lstsq(tied, seen[:, terms], rcond=SAME)[0]
    return Shown(moves, np.concatenate([measured.noise for measured in equations.sections]))


def _form(
    information: Array,
    estimate: Array,
    onto: Array,
    tied: Shape,
    terms: Sequence[str],
    kept: Sequence[int],
    shown: Shown,
) -> dict[str, float]:
    """What the terms left out add to each parameter's standard uncertainty.

    They are treated as random, bows and tilts each of one variance which all together determine
    (empirical Bayes: the likeliest variance; Efron and Morris, J. Am. Stat. Assoc. 68, 1973; from
    memory). Given it, the error of the tied fit has a mean, by which the parameters move when the
    terms are freed, and a variance, of what the data leave open of them: a side's middle that no
    photo shows bows by as much as the sides that are seen.
    """
    base, every = len(tied.names), range(len(terms))
    left_out = [i for i in every if i not in kept]
    tied_covariance, plain = tied_again(information, onto, base, kept)
    values = plain @ estimate
    covariance, freed = tied_again(information, onto, base, every)
    rows = [base + i for i in left_out]
    arms = np.array([arm_of(terms[i], values) for i in left_out])
    bows = np.array([terms[i].startswith("sag") for i in left_out], bool)
    # As large as may be without being taken in where they are seen best.
    parts = np.array([shown.arm(i, [*kept, i]) for i in left_out]) / arms
    largest = [MATERIAL / min(parts[own].max(initial=0.0) or 1.0, 1.0) for own in (~bows, bows)]
    spread = np.outer(arms, arms) * covariance[np.ix_(rows, rows)]
    sizes = np.array(_common_sizes(arms * (freed[rows] @ estimate), spread, bows, largest))
    prior = np.zeros(base + len(terms))
    prior[rows] = (arms / np.maximum(sizes[bows.astype(int)], NONE)) ** 2
    covariance, freed = tied_again(information, onto, base, every, prior)
    kept_terms = tuple(terms[i] for i in kept)
    before = np.eye(base + len(kept))
    after = np.eye(base + len(terms))[[*range(base), *(base + i for i in kept)]]
    names, bowed = (*tied.names, *kept_terms), tied.with_terms(kept_terms)
    for what in {"length", "width"} & set(names):
        # A bow counts with the length or width, but not one inwards that was left out: it may as
        # well be a tilt, and of tilted sides the size at mid-part is meant.
        i = names.index(what)
        before[i] = bowed.dimension(what, values)[1]
        after[i] = tied.with_terms(terms).dimension(what, freed @ estimate)[1]
        after[i, rows] = np.where(after[i, rows] < 1, 0.0, after[i, rows])
    for i, name in enumerate(names):
        if name.startswith("sag"):
            share = bowed.share_of_sag(name, values)
            before[i], after[i] = share * before[i], share * after[i]
    move = after @ freed @ estimate - before @ values
    more = np.diag(after @ covariance @ after.T) - np.diag(before @ tied_covariance @ before.T)
    square = move**2 + np.maximum(more, 0.0)
    return {n: float(np.sqrt(q)) for n, q in zip(names, square, strict=True) if q > 0}


def _common_sizes(
    terms: Array, covariance: Array, bows: Mask, largest: Sequence[float]
) -> tuple[float, float]:
    """The likeliest standard deviations, mm, of which terms (M,) are drawn: tilts' and bows'.

    Both together, since near one end a tilt and bows of two sides look much alike. 0 for none.
    """
    if not len(terms):
        return 0.0, 0.0
    tilt, bow = (
        np.concatenate([[0.0], np.geomspace(MATERIAL / 200, most, SIZES)]) for most in largest
    )
    scale = 1 / np.sqrt(np.diagonal(covariance))
    size = np.where(bows, bow[None, :, None], tilt[:, None, None]) * scale
    total = covariance * np.outer(scale, scale) + size[..., None] ** 2 * np.eye(len(terms))
    scaled = terms * scale
    square = np.linalg.solve(total, np.broadcast_to(scaled, size.shape)[..., None])[..., 0] @ scaled
    unlikely = np.linalg.slogdet(total)[1] + square
    unlikely[0, 0] -= SIGN
    i, j = np.unravel_index(int(np.argmin(unlikely)), unlikely.shape)
    return float(tilt[i]), float(bow[j])
