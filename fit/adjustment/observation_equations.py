"""The observation equations of the whole adjustment, linearised section by section.

Unknowns, in one vector: the shape's parameters; for every section its pose (shift x, y, turn);
then the errors that many observations share, each in units of its own standard uncertainty and
hence with the prior 0 ± 1: the edge offset of each section and of all, what of each section's
offset changes with the edge's direction, the print's scale along x and y for each sheet, what is
not exactly known of the part (thickness, top edge, lean of the sides), the tools' errors.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from snugline.fit.contour_noise import NoiseModel, whiten
from snugline.fit.readings.reading import Reading, ReadingUncertainty, uncertainty
from snugline.fit.section import Section, outward_normals
from snugline.fit.shapes.sided_shape import TERMS, Shape

Array = NDArray[np.float64]

# Edge offsets have causes that all photos of a part share (the edge finder itself, what it makes of
# the part's finish, shadow and light) and few of one photo's own: those of two photos of one end
# correlate by 0.92 (12 pairs, seed 7100 of benchmarks/two_photos.py). Share of the variance.
SHARED_OFFSET = 0.9
# Waves round the part of what changes with the direction that the edge faces; the first would be a
# shift of the photo.
DIRECTION_ORDERS = (2, 3, 4)


@dataclass(frozen=True)
class CentredSection:
    """A section ready for the equations: points about their own centre.

    `moved` are mm outwards for one standard uncertainty of what is not exactly known of the part,
    `waves` (N, 2 x orders) cosines and sines of multiples of the direction that the edge faces.
    """

    section: Section
    centre: Array
    local: Array
    noise: Array
    breaks: tuple[int, ...]
    moved: Mapping[str, Array]
    waves: Array

    @staticmethod
    def of(section: Section, part_u: Mapping[str, float] | None = None) -> "CentredSection":
        """`part_u`: standard uncertainties of what the section's sensitivities are by."""
        centre = section.points.mean(axis=0)
        known = part_u or {}
        return CentredSection(
            section,
            centre,
            section.points - centre,
            section.noise,
            tuple(section.breaks),
            {of: by * known[of] for of, by in section.sensitivity.items() if known.get(of)},
            _waves(section),
        )

    def thinned(self, most: int) -> "CentredSection":
        """Every n-th point: enough for starts and for a rough choice of families."""
        step = max(1, len(self.local) // most)
        breaks = tuple(sorted({-(-b // step) for b in self.breaks} - {0}))
        local, noise = self.local[::step], self.noise[::step]
        moved = {of: by[::step] for of, by in self.moved.items()}
        waves = self.waves[::step]
        return replace(self, local=local, noise=noise, breaks=breaks, moved=moved, waves=waves)

    def in_part(self, pose: Array) -> Array:
        """The points in part axes, the scale errors left out."""
        c, s = math.cos(pose[2]), math.sin(pose[2])
        moved: Array = self.local @ np.array([[c, s], [-s, c]]) + pose[:2]
        return moved


def _waves(section: Section) -> Array:
    """(N, 2 x orders) cosines and sines of multiples of the direction of each point's normal; none
    where nothing is stated to change with it.
    """
    if not section.systematic.directional > 0:
        return np.empty((len(section.points), 0))
    normal = outward_normals(section.points)
    angle = np.arctan2(normal[:, 1], normal[:, 0])[:, None] * np.array(DIRECTION_ORDERS)
    return np.hstack([np.cos(angle), np.sin(angle)])


@dataclass(frozen=True)
class ReadRow:
    """A reading as an equation: which dimension, its tool's common errors, its own uncertainty."""

    reading: Reading
    parts: ReadingUncertainty
    own: float

    @staticmethod
    def of(reading: Reading) -> "ReadRow":
        parts = uncertainty(reading)
        return ReadRow(reading, parts, max(parts.own, 1e-3))

    @property
    def label(self) -> str:
        return f"{self.parts.tool} reading of the {self.reading.what}"


def _wave_keys(k: int) -> list[tuple[str, ...]]:
    return [("offset", "wave", str(k), str(i)) for i in range(2 * len(DIRECTION_ORDERS))]


@dataclass(frozen=True)
class Block:
    """Scaled residuals of one group and their derivatives by the unknowns in `columns`."""

    residual: Array  # (N,), divided by the noise
    jacobian: Array  # (N, C)
    columns: NDArray[np.intp]


@dataclass(frozen=True)
class Equations:
    """Everything that is observed of one part, against one shape."""

    shape: Shape
    sections: tuple[CentredSection, ...]
    rows: tuple[ReadRow, ...]

    @cached_property
    def nuisances(self) -> tuple[tuple[str, ...], ...]:
        """Keys of the shared errors, in the order of the vector."""
        keys: dict[tuple[str, ...], None] = {}
        for k, measured in enumerate(self.sections):
            common = measured.section.systematic
            if common.offset > 0:
                keys["offset", "own", str(k)] = None
                keys["offset", "all"] = None
            if common.directional > 0:
                keys |= dict.fromkeys(_wave_keys(k))
            if common.scale_x > 0:
                keys["scale", common.scale_group, "x"] = None
            if common.scale_y > 0:
                keys["scale", common.scale_group, "y"] = None
            for of in measured.moved:
                keys["part", of] = None
        for row in self.rows:
            for part in row.parts.common:
                keys["tool", *part.key] = None
        return tuple(keys)

    @cached_property
    def size(self) -> int:
        return self.first_nuisance + len(self.nuisances)

    @cached_property
    def first_nuisance(self) -> int:
        return len(self.shape.names) + 3 * len(self.sections)

    def pose_columns(self, k: int) -> slice:
        start = len(self.shape.names) + 3 * k
        return slice(start, start + 3)

    @cached_property
    def _columns(self) -> dict[tuple[str, ...], int]:
        return {key: self.first_nuisance + i for i, key in enumerate(self.nuisances)}

    def column(self, key: tuple[str, ...]) -> int:
        return self._columns[key]

    def points_block(self, x: Array, k: int) -> Block:
        """Section k: signed distances of its points to the shape."""
        measured = self.sections[k]
        common = measured.section.systematic
        shape_count = len(self.shape.names)
        pose = x[self.pose_columns(k)]
        c, s = math.cos(pose[2]), math.sin(pose[2])
        scale_keys, scale_u = [], []
        for axis, u in enumerate((common.scale_x, common.scale_y)):
            if u > 0:
                scale_keys.append((axis, self.column(("scale", common.scale_group, "xy"[axis]))))
                scale_u.append(u)
        shrink = np.ones(2)
        for (axis, column), u in zip(scale_keys, scale_u, strict=True):
            shrink[axis] -= u * x[column]
        turned = (measured.local * shrink) @ np.array([[c, s], [-s, c]])
        found = self.shape.distance(turned + pose[:2], x[:shape_count])
        normal = found.normal
        spin = normal[:, 1] * turned[:, 0] - normal[:, 0] * turned[:, 1]
        blocks = [found.by_params, normal, spin[:, None]]
        columns = [*range(shape_count), *range(*self.pose_columns(k).indices(len(x)))]
        value = found.value.copy()
        for (axis, column), u in zip(scale_keys, scale_u, strict=True):
            # The scale stretches the edge and not its noise: else a smaller scale, which shrinks
            # all residuals, would look likelier the more points there are.
            along = normal @ np.array([[c, s], [-s, c]])[axis]
            foot = measured.local[:, axis] - found.value * along
            value += u * x[column] * along**2 * found.value
            blocks.append((-u * along * foot)[:, None])
            columns.append(column)
        if common.offset > 0:
            for key, share in ((("own", str(k)), 1 - SHARED_OFFSET), (("all",), SHARED_OFFSET)):
                column = self.column(("offset", *key))
                u = common.offset * math.sqrt(share)
                value -= u * x[column]
                blocks.append(np.full((len(value), 1), -u))
                columns.append(column)
        if common.directional > 0:
            waves = -common.directional * measured.waves
            own = [self.column(key) for key in _wave_keys(k)]
            value += waves @ x[own]
            blocks.append(waves)
            columns += own
        for of, by in measured.moved.items():
            column = self.column(("part", of))
            value += by * x[column]
            blocks.append(by[:, None])
            columns.append(column)
        noise = measured.noise
        jacobian = np.hstack(blocks)
        jacobian /= noise[:, None]
        return Block(value / noise, jacobian, np.array(columns))

    def reading_block(self, x: Array, i: int) -> Block:
        """Reading i: what the shape has there plus the tool's errors, minus what was read."""
        row = self.rows[i]
        value, by_params = self.dimension(x, row.reading.what)
        columns = list(range(len(self.shape.names)))
        jacobian = [*by_params]
        for part in row.parts.common:
            column = self.column(("tool", *part.key))
            value += part.u * x[column]
            columns.append(column)
            jacobian.append(part.u)
        residual = np.array([(value - row.reading.value) / row.own])
        return Block(residual, np.array([jacobian]) / row.own, np.array(columns))

    def dimension(self, x: Array, what: str) -> tuple[float, Array]:
        """A dimension of the shape and its derivative by the shape's parameters."""
        return self.shape.dimension(what, x[: len(self.shape.names)])


@dataclass(frozen=True)
class Normals:
    """Normal equations of one group: N dx = -g, with the sum of squares at the present x."""

    matrix: Array
    gradient: Array
    square: float

    def __add__(self, other: "Normals") -> "Normals":
        return Normals(
            self.matrix + other.matrix,
            self.gradient + other.gradient,
            self.square + other.square,
        )

    def __sub__(self, other: "Normals") -> "Normals":
        return self + other.times(-1.0)

    def moved(self, step: Array) -> "Normals":
        """The same equations seen from x + step."""
        push = self.matrix @ step
        square = self.square + float(step @ (2 * self.gradient + push))
        return Normals(self.matrix, self.gradient + push, square)

    def times(self, factor: float) -> "Normals":
        return Normals(factor * self.matrix, factor * self.gradient, factor * self.square)


def normals_of(block: Block, size: int) -> Normals:
    """Sums over the rows of a block, put where they belong among `size` unknowns."""
    matrix, gradient = np.zeros((size, size)), np.zeros(size)
    matrix[np.ix_(block.columns, block.columns)] = block.jacobian.T @ block.jacobian
    gradient[block.columns] = block.jacobian.T @ block.residual
    return Normals(matrix, gradient, float(block.residual @ block.residual))


def weighted(block: Block, weights: Array) -> Block:
    root = np.sqrt(weights)
    return Block(block.residual * root, block.jacobian * root[:, None], block.columns)


def whitened(block: Block, model: NoiseModel, breaks: Sequence[int], weights: Array) -> Block:
    rows = whiten(model, np.column_stack([block.residual, block.jacobian]), breaks, weights)
    return Block(rows[:, 0], rows[:, 1:], block.columns)


# How far sides of a bought part may be expected to tilt (rad) and to bow (mm): wide enough to let
# the data decide, narrow enough to hold what they do not determine.
TILT, BOW = 0.02, 2.0


def prior_normals(equations: Equations, x: Array) -> Normals:
    """Priors: the shared errors' 0 ± 1 each, and those of tilting and bowing sides."""
    own = np.zeros(equations.size)
    own[equations.first_nuisance :] = 1.0
    for i, name in enumerate(equations.shape.names):
        if name in TERMS:
            own[i] = 1 / (BOW if name.startswith("sag") else TILT) ** 2
    return Normals(np.diag(own), own * x, float(np.sum(own * x * x)))
