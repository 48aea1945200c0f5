"""What a fit returns: a true outline with its uncertainty, and its form in the file contract."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.outline import Outline
from snugline.fit.readings.thickness import Thickness
from snugline.fit.readings.uncertainty_budget import Budget
from snugline.notice import Notice

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Quantity:
    """A value in mm (or an exponent, or radians) with its expanded uncertainty and its sources."""

    value: float
    u95: float
    sources: tuple[str, ...] = ()

    def as_json(self, digits: int = 4) -> dict[str, Any]:
        record: dict[str, Any] = {
            "value": round(self.value, digits),
            "u95": round(self.u95, digits),
        }
        if self.sources:
            record["from"] = list(self.sources)
        return record


@dataclass(frozen=True)
class CornerResult:
    """One corner: where, which family, its parameters, whether a photo shows it.

    Attributes
    ----------
    params : by the family's own names (`radius`, `leg`, ...).
    ranking : families with their posterior weights, heaviest first.
    """

    at: str
    family: str
    params: dict[str, Quantity]
    seen: bool
    ranking: tuple[tuple[str, float], ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {
            "at": self.at,
            "family": self.family,
            **{name: quantity.as_json() for name, quantity in self.params.items()},
            "seen": self.seen,
            "ranking": [[family, round(weight, 3)] for family, weight in self.ranking],
        }


@dataclass(frozen=True)
class SectionResult:
    """One section in part axes, for plots and overlays.

    Attributes
    ----------
    name : the photo's file name.
    part_from_frame : (2, 3) affine map of measured frame coordinates (mm) to part axes.
    points : (N, 2) mm in part axes, print scale corrected.
    residuals : (N,) mm, positive outside the outline.
    kept : (N,) whether the point took part; outliers did not.
    """

    name: str
    part_from_frame: Array
    points: Array
    residuals: Array
    kept: NDArray[np.bool_]


@dataclass(frozen=True)
class FittedOutline:
    """The outline that contours and readings determine together.

    Attributes
    ----------
    family : the word of the file contract.
    length, width : mm.
    corners : counter-clockwise from front left where there are four.
    extras : form of the sides where the data support it: `taper`, `end taper`, `skew` (angles
        between opposite sides, out of square; rad), `sag back` and so on (bow, between the corners;
        mm).
    outline : segments in part coordinates, counter-clockwise.
    residual_rms, residual_max : mm, over the points that took part.
    budgets : one for each dimension.
    """

    family: str
    length: Quantity
    width: Quantity
    corners: tuple[CornerResult, ...]
    outline: Outline
    residual_rms: float
    residual_max: float
    sections: tuple[SectionResult, ...]
    extras: dict[str, Quantity]
    thickness: Thickness | None
    budgets: tuple[Budget, ...]
    notices: tuple[Notice, ...]

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        return self.outline.__geo_interface__

    def _repr_svg_(self) -> str:
        return self.outline._repr_svg_()

    def budget(self, of: str) -> Budget:
        """The budget of one dimension, such as `length` or `radius`."""
        return next(budget for budget in self.budgets if budget.of == of)

    def as_json(self) -> dict[str, Any]:
        """The `outline` object of the result's file contract."""
        thickness = {} if self.thickness is None else {"thickness": self.thickness.as_json()}
        return {
            "family": self.family,
            "length": self.length.as_json(),
            "width": self.width.as_json(),
            "corners": [corner.as_json() for corner in self.corners],
            "segments": self.outline.as_json(),
            "residual_rms": round(self.residual_rms, 4),
            "residual_max": round(self.residual_max, 4),
            **thickness,
        }
