"""Which bows and tilts of the sides the data need, by one fit in which all are free.

Near one end of a part they stand for each other: a bow of each long side looks much like sides that
are not parallel, and makes another width of mid-part. So all sets of them are compared.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from snugline.fit.adjustment.robust_solution import inverse

Array = NDArray[np.float64]
Free = tuple[Array, Array]  # information on the free parameters (C, C), and their values (C,)

# Differences and bows below this (mm) would change no cut, however well they are measured.
MATERIAL = 0.1
SAME = 1e-9  # share of the largest singular value below which columns are alike


@dataclass(frozen=True)
class Shown:
    """What terms of 1 move of the points seen, less what shape and poses take of it.

    Attributes
    ----------
    moves : (N, T) in units of their `noise` (N,), mm.
    """

    moves: Array
    noise: Array

    def arm(self, term: int, kept: Sequence[int]) -> float:
        """Mm between the two points that it moves farthest apart, beyond what the others can."""
        others = self.moves[:, [i for i in kept if i != term]]
        own = self.moves[:, term]
        own = own - others @ np.linalg.lstsq(others, own, rcond=SAME)[0]
        return float(np.ptp(own * self.noise))


@dataclass(frozen=True)
class NeededTerms:
    """Which terms the data need: those without which they are less likely by far.

    A term is as large as it moves what the photos show: a bow that is mostly where nothing was
    photographed is the tracer's waviness, drawn out. And it rests on no single stretch of the edge,
    along which something else may have been followed: it is needed whichever is left out.

    Attributes
    ----------
    onto : (C, base + T) from tied parameters and terms to the free ones.
    critical : of a term in units of its standard uncertainty.
    """

    onto: Array
    base: int
    terms: Sequence[str]
    critical: float
    shown: Shown

    def of(self, found: Free, less: Callable[[], list[Free]]) -> tuple[list[int], Array]:
        """The terms, and the parameters with them.

        Parameters
        ----------
        found : information on the free parameters and their values, by all points.
        less : the same, less each stretch of the edge.
        """
        allowed, left = list(range(len(self.terms))), None
        while True:
            kept, values = self._likeliest(found, allowed)
            if not kept:
                return kept, values
            left = less() if left is None else left
            sure = np.min([self._sure(one, kept) for one in left], axis=0, initial=np.inf)
            if np.min(sure) > self.critical:
                return kept, values
            allowed.remove(kept[int(np.argmin(sure))])

    def _likeliest(self, found: Free, allowed: Sequence[int]) -> tuple[list[int], Array]:
        """Of all sets, each term at its price: near one end tilts and bows stand for each other."""
        information, estimate = found
        sets = []
        for count in range(len(allowed) + 1):
            for kept in combinations(allowed, count):
                values = tied_again(information, self.onto, self.base, kept)[1] @ estimate
                off = estimate - self.onto[:, self._columns(kept)] @ values
                price = float(off @ information @ off) + count * self.critical**2
                sets.append((price, list(kept), values))
        sets.sort(key=lambda one: one[0])
        for _, likeliest, values in sets:
            if not likeliest or np.min(self._sure(found, likeliest)) > self.critical:
                return likeliest, values
        raise AssertionError("the set of none is one of them")

    def _sure(self, found: Free, kept: Sequence[int]) -> Array:
        """Each term in units of its standard uncertainty; 0 where it moves too little."""
        information, estimate = found
        covariance, onto_these = tied_again(information, self.onto, self.base, kept)
        values = onto_these @ estimate
        size = np.abs(values[self.base :])
        arms = [min(arm_of(self.terms[i], values), self.shown.arm(i, kept)) for i in kept]
        z = size / np.sqrt(np.diagonal(covariance)[self.base :])
        return np.where(size * np.array(arms) > MATERIAL, z, 0.0)

    def _columns(self, kept: Sequence[int]) -> list[int]:
        return [*range(self.base), *(self.base + i for i in kept)]


def tied_again(
    information: Array, onto: Array, base: int, kept: Sequence[int], prior: Array | None = None
) -> tuple[Array, Array]:
    """Covariance of the tied parameters and kept terms, and their derivative by the free ones."""
    design = onto[:, [*range(base), *(base + i for i in kept)]]
    matrix = design.T @ information @ design
    covariance = inverse(matrix if prior is None else matrix + np.diag(prior))
    return covariance, covariance @ design.T @ information


def arm_of(term: str, values: Array) -> float:
    """How far a side moves at its ends or its middle for a term of 1, mm."""
    return 1.0 if term.startswith("sag") else float(values[0 if term == "taper" else 1])
