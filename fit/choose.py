"""Which outline family the data ask for: robust starts, then whitened BIC with one noise model.

All candidates are judged with the weights and the noise of the one that fits best, or a shape that
fits badly would call its misfit noise (and, unwhitened, correlated noise would call for a shape).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.equations import Equations, Measured, ReadRow
from snugline.fit.failure import NoFit
from snugline.fit.families import ARC, CHAMFER, SQUARE, Family
from snugline.fit.shapes import Shape, circle, rectangle, stadium
from snugline.fit.solve import Noise, RobustFit, noise_at, robust_fit, whitened_fit

Array = NDArray[np.float64]

THINNED = 600  # points of a section that are enough for a robust start
HOPELESS = 60.0  # a robust cost this much above the best, per effective point ratio, is out

CORNER_FAMILIES: dict[str, Family] = {"arc": ARC, "chamfer": CHAMFER, "square": SQUARE}

FAMILIES = {
    "rounded rectangle": "arc",
    "rectangle": "square",
    "chamfered rectangle": "chamfer",
}


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
    noise: Noise
    ranking: tuple[tuple[str, float], ...]
    corner_rankings: tuple[tuple[tuple[str, float], ...], ...]
    runner_up: Candidate | None


@dataclass(frozen=True)
class Setting:
    """What all candidates share: observations, first sizes and poses, mirror groups."""

    sections: tuple[Measured, ...]
    rows: tuple[ReadRow, ...]
    length: float
    width: float
    poses: tuple[Array, ...]
    groups: tuple[int, ...]

    def start(self, shape: Shape) -> tuple[Equations, Array]:
        """Equations on thinned points and a first vector of unknowns."""
        thin = tuple(measured.thinned(THINNED) for measured in self.sections)
        equations = Equations(shape, thin, self.rows)
        x = np.zeros(equations.size)
        x[: len(shape.names)] = self._sizes(shape)
        for k, pose in enumerate(self.poses):
            x[equations.pose_columns(k)] = pose
        return equations, x

    def _sizes(self, shape: Shape) -> Array:
        known = {"length": self.length, "width": self.width,
                 "diameter": (self.length + self.width) / 2}  # fmt: skip
        sizes = np.array([known.get(name, 0.0) for name in shape.names])
        own = [i for i, name in enumerate(shape.names) if name not in known]
        if not own:
            return sizes
        sharp = rectangle([SQUARE])
        # From the most telling view of each group: the one with the most points near its apex.
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


def _by_group(groups: Sequence[int]) -> list[int]:
    """The first corner of each group that is not a mirror image (even), where there is one."""
    chosen = []
    for group in dict.fromkeys(groups):
        members = [k for k, g in enumerate(groups) if g == group]
        chosen.append(next((k for k in members if k % 2 == 0), members[0]))
    return chosen


def candidates(setting: Setting, family: str) -> list[Shape]:
    """Shapes to try for a family word, the most adaptable first."""
    count = max(setting.groups) + 1
    if family in FAMILIES:
        return [rectangle([CORNER_FAMILIES[FAMILIES[family]]] * count, setting.groups)]
    if family == "stadium":
        return [stadium()]
    if family == "circle":
        return [circle()]
    shapes = [
        rectangle([corner] * count, setting.groups)
        for corner in (CORNER_FAMILIES[name] for name in FAMILIES.values())
    ]
    shapes.append(stadium())
    if abs(setting.length - setting.width) < 0.05 * setting.width:
        shapes.append(circle())
    return shapes


def choose(setting: Setting, shapes: Sequence[Shape]) -> Choice | NoFit:
    """Fit all shapes and rank them."""
    tried: list[Candidate] = []
    scales: tuple[float, ...] | None = None
    for shape in shapes:
        equations, x = setting.start(shape)
        fit = robust_fit(equations, x, scales=scales)
        # The scales of the first, most adaptable shape make the costs of all comparable.
        scales = scales or fit.scales
        tried.append(Candidate(replace(equations, sections=setting.sections), fit.x, fit.cost))
    return rank(setting, tried)


def rank(setting: Setting, tried: Sequence[Candidate]) -> Choice | NoFit:
    """Whitened BIC of candidates that have robust fits."""
    tried = sorted(tried, key=lambda candidate: candidate.cost)
    reference = tried[0]
    if not math.isfinite(reference.cost):
        return NoFit("no family could be laid on the contours")
    noise = noise_at(reference.equations, reference.x)
    effective = max(sum(model.effective for model in noise.models), 10.0)
    thin = sum(min(THINNED, len(m.local)) for m in setting.sections)
    judged: list[Candidate] = []
    for candidate in tried:
        gap = (candidate.cost - reference.cost) * min(1.0, effective / thin)
        if gap > HOPELESS and len(judged) >= 1:
            continue
        fit = whitened_fit(candidate.equations, candidate.x, noise, rounds=6)
        parameters = len(candidate.equations.shape.names)
        bic = fit.total.square + parameters * math.log(effective)
        judged.append(replace(candidate, x=fit.x, bic=bic))
    judged.sort(key=lambda candidate: candidate.bic)
    best = judged[0]
    weights = _posterior([c.bic for c in judged])
    ranking = tuple((c.equations.shape.family, w) for c, w in zip(judged, weights, strict=True))
    corners = _corner_rankings(judged, noise, effective, setting.groups)
    return Choice(best, noise, ranking, corners, judged[1] if len(judged) > 1 else None)


def _posterior(bics: Sequence[float]) -> list[float]:
    weight = np.exp(-(np.asarray(bics) - min(bics)) / 2)
    return [float(w) for w in weight / weight.sum()]


def _corner_rankings(
    judged: Sequence[Candidate], noise: Noise, effective: float, groups: Sequence[int]
) -> tuple[tuple[tuple[str, float], ...], ...]:
    """For each mirror group: corner families by BIC of the points that belong to its corners."""
    rankings = []
    for group in range(max(groups) + 1):
        bics: dict[str, float] = {}
        for candidate in judged:
            shape = candidate.equations.shape
            if shape.sides != 4:
                continue
            members = [k for k in range(4) if groups[k] == group]
            name = shape.corners[members[0]].name
            if max(groups) == 0:
                bic = candidate.bic
            else:
                bic = _square_in(candidate, noise, members)
                bic += len(shape.corners[members[0]].parameters) * math.log(effective)
            bics[name] = min(bic, bics.get(name, math.inf))
        weights = _posterior(list(bics.values())) if bics else []
        ranked = sorted(zip(bics, weights, strict=True), key=lambda pair: -pair[1])
        rankings.append(tuple(ranked))
    return tuple(rankings)


def _square_in(candidate: Candidate, noise: Noise, corners: Sequence[int]) -> float:
    """Chi-square of the points at some corners, reduced by the noise's correlation."""
    equations, x, square = candidate.equations, candidate.x, 0.0
    for k, model in enumerate(noise.models):
        weight, scale = noise.weights[k], noise.scales[k]
        block = equations.points_block(x, k)
        points = equations.sections[k].in_part(x[equations.pose_columns(k)])
        at = np.isin(equations.shape.sector(points), corners)
        z2 = weight[at] * (block.residual[at] / scale) ** 2
        square += float(z2.sum()) * model.effective / len(points)
    return square


def mixed(setting: Setting, choice: Choice) -> Shape | None:
    """The rectangle whose groups have each their own best family, where these differ."""
    names = [ranking[0][0] for ranking in choice.corner_rankings if ranking]
    if len(set(names)) < 2:
        return None
    return rectangle([CORNER_FAMILIES[name] for name in names], setting.groups)


__all__ = ["Candidate", "Choice", "RobustFit", "Setting", "candidates", "choose", "mixed", "rank"]
