"""Which outline family the data support: robust starts, then whitened BIC with one noise model.

All candidates are judged with the weights and the noise of the one that fits best, or a shape that
fits badly would call its misfit noise (and, unwhitened, correlated noise would call for a shape).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FitError, InputError
from snugline.fit.adjustment.corner_misfit import corners_misfit
from snugline.fit.adjustment.observation_equations import CentredSection, Equations, ReadRow
from snugline.fit.adjustment.robust_solution import (
    ResidualNoise,
    RobustFit,
    cauchy_cost,
    noise_at,
    reasonable,
    robust_fit,
    whitened_fit,
)
from snugline.fit.corners.corner_families import ARC, FAMILIES, FREE, NAMED, SQUARE
from snugline.fit.failure import NoFit
from snugline.fit.shapes.outline_families import (
    circle,
    ellipse,
    rectangle,
    regular_polygon,
    stadium,
)
from snugline.fit.shapes.sided_shape import Shape

Array = NDArray[np.float64]

THINNED = 600  # points of a section that are enough for a robust start
HOPELESS = 1.5  # mm
TRUST = 100.0  # a sum of squares within which a family's fit counts as linear
# Candidates whose robust cost (corrected for correlated noise) exceeds the best by this much are
# dropped.
UNLIKELY = 60.0
GIVE_UP = 600.0  # the same before the noise is known, for correlation as strong as ten to one
SAME = 0.05  # mm: outlines closer than this would be cut alike
ROUND = 0.3  # share of straight contour below which an outline may have no sides at all

_CORNERS = {corner.name: corner for corner in FAMILIES}
_WHOLE = {"stadium": stadium, "circle": circle, "ellipse": ellipse}


@dataclass(frozen=True)
class Candidate:
    """One family fitted to everything."""

    equations: Equations
    x: Array
    cost: float = math.inf  # robust, of the thinned points
    bic: float = math.inf


@dataclass(frozen=True)
class Choice:
    """The family that won.

    Attributes
    ----------
    noise : of the best-fitting candidate's residuals; weights for all points.
    ranking : outline families with posterior weights, heaviest first.
    corner_rankings : for each mirror group the corner families with theirs.
    runner_up : the next candidate, if any.
    """

    best: Candidate
    noise: ResidualNoise
    ranking: tuple[tuple[str, float], ...]
    corner_rankings: tuple[tuple[tuple[str, float], ...], ...]
    runner_up: Candidate | None


@dataclass(frozen=True)
class Setting:
    """What all candidates share: observations, first sizes and poses, mirror groups."""

    sections: tuple[CentredSection, ...]
    rows: tuple[ReadRow, ...]
    length: float
    width: float
    poses: tuple[Array, ...]
    groups: tuple[int, ...]
    straight: float = 1.0
    terms: tuple[str, ...] = ()  # bowed or tilted sides that the data were found to support
    form: Mapping[str, float] = field(default_factory=dict)  # u by what these leave out
    polygon: int = 0  # sides of a regular polygon that the contours look like
    first: tuple[Equations, Array] | None = None  # a rounded rectangle already fitted

    def start(self, shape: Shape) -> tuple[Equations, Array]:
        """Equations on thinned points and a first vector of unknowns."""
        thin = tuple(measured.thinned(THINNED) for measured in self.sections)
        equations = Equations(shape, thin, self.rows)
        x = np.zeros(equations.size)
        x[: len(shape.names)] = self._sizes(shape)
        for k, pose in enumerate(self.poses):
            x[equations.pose_columns(k)] = pose
        return equations, x

    def candidate(self, equations: Equations, fit: RobustFit) -> Candidate:
        """A shape fitted to thinned points, with all of them."""
        return Candidate(replace(equations, sections=self.sections), fit.x, fit.cost)

    def _sizes(self, shape: Shape) -> Array:
        known = {"length": self.length, "width": self.width,
                 "diameter": (self.length + self.width) / 2}  # fmt: skip
        sizes = np.array([known.get(name, 0.0) for name in shape.names])
        own = [i for i, name in enumerate(shape.names) if name not in known]
        if shape.sides != 4:
            return np.array([self.width / 2, self.width / 20][: len(sizes)])
        if self.first is not None:
            nested = _nested(shape, *self.first)
            if nested is not None:
                return nested
        if not own:
            return sizes
        sharp = rectangle([SQUARE])
        # From the most informative view of each group: the one with the most points near its apex.
        for k in _by_group(shape.groups):
            best, chosen = 0, None
            for j in (j for j in range(4) if shape.groups[j] == shape.groups[k]):
                for measured, pose in zip(self.sections, self.poses, strict=True):
                    points = measured.in_part(pose)
                    points = points[sharp.sector(points) == j]
                    local, turn = sharp.to_corner(j, points, np.array([self.length, self.width]))
                    near = (local > -0.25 * self.width).all(axis=1)
                    if int(near.sum()) > best:
                        best, chosen = int(near.sum()), (j, local[near], turn)
            family, first = shape.corners[k], None
            if chosen is not None and best >= 10:
                first = family.start(chosen[1], np.full(best, 0.05), chosen[2])
            fallback = np.full(len(family.parameters), self.width / 8)
            found = fallback if first is None or isinstance(first, NoFit) else first
            where = [int(np.flatnonzero(shape.ties[row])[0])
                     for row in range(*shape.corner_rows(k).indices(len(shape.base)))]  # fmt: skip
            room = 0.49 * min(self.length, self.width)
            for i, column in enumerate(where):
                sizes[column] = min(found[i], room)
        return sizes


def _nested(shape: Shape, equations: Equations, x: Array) -> Array | None:
    """The fitted rounded rectangle as a member of a family that contains all of them."""
    rounded = equations.shape
    if {c.name for c in rounded.corners} != {"arc"} or rounded.groups != shape.groups:
        return None
    if any(len(corner.parameters) < 2 for corner in shape.corners) or shape.family == "ellipse":
        return None
    inner = rounded.inner(x[: len(rounded.names)])
    z = [*inner[:12]]
    for k, corner in enumerate(shape.corners):
        radius = float(inner[rounded.corner_rows(k)][0])
        z += [2.0 if name == "exponent" else radius for name in corner.parameters]
    nested: Array = np.linalg.pinv(shape.ties) @ (np.array(z) - shape.base)
    return nested


def _freed(shape: Shape, like: Candidate) -> Array:
    """A fitted outline's nearest among those with free corners."""
    fitted, params = like.equations.shape, like.x[: len(like.equations.shape.names)]
    inner = fitted.inner(params)
    z = [*inner[:12]]
    for k, corner in enumerate(fitted.corners):
        turn = fitted.to_corner(k, np.empty((0, 2)), params)[1]
        z += [*FREE.like(corner.chain(inner[fitted.corner_rows(k)], turn, SAME), turn)]
    freed: Array = np.linalg.pinv(shape.ties) @ (np.array(z) - shape.base)
    return freed


def _by_group(groups: Sequence[int]) -> list[int]:
    """The first corner of each group that is not a mirror image (even), where there is one."""
    chosen = []
    for group in dict.fromkeys(groups):
        members = [k for k, g in enumerate(groups) if g == group]
        chosen.append(next((k for k in members if k % 2 == 0), members[0]))
    return chosen


def candidates(setting: Setting, family: str) -> list[Shape]:
    """Shapes to try for a family word, rounded rectangles first.

    Raises
    ------
    InputError : the word is not a family.
    """
    count = max(setting.groups) + 1
    cornered = [rectangle([corner] * count, setting.groups) for corner in NAMED]
    if setting.polygon and family in ("auto", "regular polygon"):
        return [regular_polygon(setting.polygon, corner) for corner in (ARC, SQUARE)]
    if family == "auto":
        shapes = [shape.with_terms(setting.terms) for shape in (*cornered, stadium())]
        if not setting.terms and setting.straight < ROUND:
            shapes.append(ellipse())
            if abs(setting.length - setting.width) < 0.05 * setting.width:
                shapes.append(circle())
        return shapes
    # The free curve is not one of the candidates, but may be requested.
    cornered = [rectangle([corner] * count, setting.groups) for corner in FAMILIES]
    named = [shape for shape in cornered if shape.family == family]
    named += [make() for word, make in _WHOLE.items() if word == family]
    if not named:
        words = [*(shape.family for shape in cornered), *_WHOLE]
        raise InputError(f"the family {family!r} is unknown", "family", f"use auto, free or one of "
                         f"{', '.join(words)}")  # fmt: skip
    return named


def choose(setting: Setting, shapes: Sequence[Shape], *, freely: bool) -> Choice | NoFit:
    """Fit all shapes and rank them, `freely` with free corners where none describes the corners."""
    tried: list[Candidate] = []
    scales: tuple[float, ...] | None = None
    best = math.inf
    waiting = list(shapes)
    while waiting:
        shape = waiting.pop(0)
        equations, x = setting.start(shape)
        fit = robust_fit(equations, x, scales=scales, give_up=best + GIVE_UP)
        best = min(best, fit.cost)
        if scales is None and hopeless(equations, fit.x):
            # No shape with these sides fits; one without sides may.
            waiting = [other for other in waiting if other.family in _WHOLE]
        if not reasonable(equations, fit.x):
            # Sides shorter than their corners from the start on: no shape at all.
            fit = replace(fit, cost=math.inf)
        tried.append(setting.candidate(equations, fit))
        if scales is None:
            # The first shape's scales make the costs comparable, its poses are near all others'.
            scales = fit.scales
            poses = tuple(fit.x[equations.pose_columns(k)] for k in range(len(setting.sections)))
            setting = replace(setting, poses=poses, first=(equations, fit.x))
    choice = rank(setting, tried)
    if freely and isinstance(choice, Choice) and _leaves_corners(choice):
        shape = rectangle([FREE], setting.groups).with_terms(setting.terms)
        equations, x = setting.start(shape)
        x[: len(shape.names)] = _freed(shape, choice.best)
        fit = robust_fit(equations, x, scales=scales)
        choice = rank(setting, [*tried, setting.candidate(equations, fit)])
    return choice


def _leaves_corners(choice: Choice) -> bool:
    """Whether the corners have more structure than the best family describes."""
    best = choice.best
    shape = best.equations.shape
    with_sides = "rectangle" in shape.family or shape.family == "stadium"
    return with_sides and corners_misfit(best.equations, best.x, choice.noise, SAME)


def hopeless(equations: Equations, x: Array) -> bool:
    """Whether most of some contour lies farther off than any family of corners could explain."""
    return any(
        float(np.median(np.abs(equations.points_block(x, k).residual * measured.noise))) > HOPELESS
        for k, measured in enumerate(equations.sections)
    )


def rank(setting: Setting, tried: Sequence[Candidate]) -> Choice | NoFit:
    """Whitened BIC of candidates that have robust fits."""
    tried = sorted(tried, key=lambda candidate: candidate.cost)
    reference = tried[0]
    if not math.isfinite(reference.cost):
        return NoFit("no outline shape could be fitted to the contours")
    noise = noise_at(reference.equations, reference.x)
    effective = max(sum(model.effective for model in noise.models), 10.0)
    thin = sum(min(THINNED, len(m.local)) for m in setting.sections)
    rows = sum(len(m.local) / model.block
               for m, model in zip(setting.sections, noise.models, strict=True))  # fmt: skip
    fitted: list[tuple[Candidate, float, Array]] = []
    for candidate in tried:
        gap = (candidate.cost - reference.cost) * min(1.0, effective / thin)
        if gap > UNLIKELY and fitted:
            continue
        fit = whitened_fit(candidate.equations, candidate.x, noise, trust=TRUST, rounds=6)
        candidate = replace(candidate, x=fit.x)
        points = _drawn(candidate)
        if points is not None:
            fitted.append((candidate, fit.total.square, points))
    if not fitted:
        return NoFit("none of the shapes fitted to the contours is a closed outline")
    # The noise's level is itself only known to some degrees of freedom: Student's likelihood.
    dof, least = sum(model.dof for model in noise.models), min(square for _, square, _ in fitted)
    closest = min(fitted, key=lambda one: one[1])[2]
    judged = []
    for candidate, square, _ in fitted:
        # Photos err by some hundredths in ways that no noise shows: a shape that would be cut
        # alike has nothing against it but its number of unknowns.
        same = _farthest(closest, candidate) < SAME
        bic = 0.0 if same else dof * math.log1p((square - least) / dof)
        bic += len(candidate.equations.shape.names) * math.log(rows)
        judged.append(replace(candidate, bic=bic))
    judged.sort(key=lambda candidate: candidate.bic)
    best = judged[0]
    weights = _posterior([c.bic for c in judged])
    ranking = tuple((c.equations.shape.family, w) for c, w in zip(judged, weights, strict=True))
    corners = _corner_rankings(judged, tried, noise, rows, setting.groups)
    return Choice(best, noise, ranking, corners, judged[1] if len(judged) > 1 else None)


def _drawn(candidate: Candidate) -> Array | None:
    """Points along its outline; None where corners left free turn round themselves."""
    shape = candidate.equations.shape
    try:
        outline = shape.to_outline(candidate.x[: len(shape.names)])
    except FitError:
        return None
    return outline.sampled(1.0)


def _farthest(points: Array, candidate: Candidate) -> float:
    """Largest distance (mm) of points from a candidate's outline."""
    shape = candidate.equations.shape
    return float(np.max(np.abs(shape.distance(points, candidate.x[: len(shape.names)]).value)))


def apart(first: Candidate, second: Candidate) -> float:
    """Largest distance (mm) of the first candidate's outline from the second's."""
    shape = first.equations.shape
    points = shape.to_outline(first.x[: len(shape.names)]).sampled(1.0)
    return _farthest(points, second)


def _posterior(bics: Sequence[float]) -> list[float]:
    weight = np.exp(-(np.asarray(bics) - min(bics)) / 2)
    return [float(w) for w in weight / weight.sum()]


def _corner_rankings(
    judged: Sequence[Candidate],
    tried: Sequence[Candidate],
    noise: ResidualNoise,
    rows: float,
    groups: Sequence[int],
) -> tuple[tuple[tuple[str, float], ...], ...]:
    """For each mirror group the corner families with their weights.

    With one group these are the outlines' own. With several, each group is judged by the points at
    its corners: a family may be right for one and wrong for the others.
    """
    rankings = []
    for group in range(max(groups) + 1):
        bics: dict[str, float] = {}
        for candidate in tried if max(groups) else judged:
            shape = candidate.equations.shape
            members = [k for k in range(4) if groups[k] == group]
            name, bic = shape.corners[members[0]].name, candidate.bic
            if max(groups) > 0:
                bic = 2 * _cost_at(candidate, noise, members)
                bic += len(shape.corners[members[0]].parameters) * math.log(rows)
            bics[name] = min(bic, bics.get(name, math.inf))
        weights = _posterior(list(bics.values()))
        ranked = sorted(zip(bics, weights, strict=True), key=lambda pair: -pair[1])
        rankings.append(tuple(ranked))
    return tuple(rankings)


def _cost_at(candidate: Candidate, noise: ResidualNoise, corners: Sequence[int]) -> float:
    """Cauchy's loss of the points at some corners, reduced by the noise's correlation."""
    equations, x, cost = candidate.equations, candidate.x, 0.0
    for k, model in enumerate(noise.models):
        block = equations.points_block(x, k)
        points = equations.sections[k].in_part(x[equations.pose_columns(k)])
        at = np.isin(equations.shape.sector(points), corners)
        cost += cauchy_cost(block.residual[at] / noise.scales[k]) * model.effective / len(points)
    return cost


def mixed(setting: Setting, choice: Choice) -> Shape | None:
    """The rectangle whose groups have each their own best family, where these differ."""
    names = [ranking[0][0] for ranking in choice.corner_rankings]
    if len(set(names)) < 2:
        return None
    return rectangle([_CORNERS[name] for name in names], setting.groups).with_terms(setting.terms)


__all__ = ["Candidate", "Choice", "Setting", "candidates", "choose", "mixed", "rank"]
