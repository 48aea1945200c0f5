"""What photos show of printed sheets: edges at designed places, and the sheets on the bench."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Observations:
    """Edge points of one photo; every array has N rows.

    Attributes
    ----------
    sheet : which sheet the marker is printed on.
    marker : which marker (or stretch of a plain frame's side), unique over the job's sheets.
    design : (N, 2) mm, the point on the marker's side as designed, in the sheet's coordinates.
    outward : (N, 2) unit, out of the marker, in the sheet's coordinates.
    pixels : (N, 2) where the edge was seen.
    normals : (N, 2) unit, across the edge in the picture, outwards.
    sigma : (N,) px.
    height : (N,) mm over the sheet.
    """

    sheet: Ints
    marker: Ints
    design: Floats
    outward: Floats
    pixels: Floats
    normals: Floats
    sigma: Floats
    height: Floats

    def only(self, keep: NDArray[np.bool_]) -> "Observations":
        """The rows that `keep` marks."""
        return Observations(
            self.sheet[keep],
            self.marker[keep],
            self.design[keep],
            self.outward[keep],
            self.pixels[keep],
            self.normals[keep],
            self.sigma[keep],
            self.height[keep],
        )


@dataclass(frozen=True)
class SheetState:
    """A printed sheet in the world: its print scale, and its pose (x, y, turn)."""

    scale: Floats
    scale_u: Floats
    pose: Floats

    def place(self, design: Floats) -> Floats:
        """(N, 2) world mm of (N, 2) design mm."""
        turn = plane_rotation(self.pose[2])
        placed: Floats = (design * self.scale) @ turn.T + self.pose[:2]
        return placed


def plane_rotation(angle: float) -> Floats:
    """(2, 2) rotation by `angle`, counter-clockwise."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


def on_bench(o: Observations, sheets: Sequence[SheetState]) -> Observations:
    """The same observations with every design point in true world mm, all on one sheet."""
    design, outward = np.empty_like(o.design), np.empty_like(o.outward)
    for s, sheet in enumerate(sheets):
        mine = o.sheet == s
        design[mine] = sheet.place(o.design[mine])
        outward[mine] = o.outward[mine] @ plane_rotation(sheet.pose[2]).T
    return replace(o, sheet=np.zeros_like(o.sheet), design=design, outward=outward)


def expected_points(flat: Observations, bloom: float) -> Floats:
    """(N, 3) world mm, where the edges of observations lie with their dot gain."""
    return np.column_stack([flat.design + bloom * flat.outward, flat.height])
