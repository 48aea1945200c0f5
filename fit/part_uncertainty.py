"""What a fit leaves open of a part, as whatever is cut round it has to know."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.readings.uncertainty_budget import Gain, coverage_factor
from snugline.fit.result import FittedOutline


@dataclass(frozen=True)
class SizeRead:
    """A dimension as one hand reading has it, mm; `u` is its standard uncertainty."""

    value: float
    u: float
    tool: str = ""


@dataclass(frozen=True)
class PartUncertainty:
    """How far the part's outline can be trusted; U95 throughout, mm.

    Attributes
    ----------
    edge : of the edge's place along its normal, anywhere.
    length, width : of the whole dimension; a gap per side takes half of it.
    corner_radius : of the corners' radius.
    gains : for a dimension, what one further reading would leave of its U95.
    read : for a dimension, what hand readings say of it.
    """

    edge: float
    length: float
    width: float
    corner_radius: float = 0.0
    gains: Mapping[str, tuple[Gain, ...]] = field(default_factory=dict)
    read: Mapping[str, tuple[SizeRead, ...]] = field(default_factory=dict)

    def per_side(self, direction: str) -> float:
        """U95 of the gap on one side along `length` or `width`."""
        whole = self.length if direction == "length" else self.width
        return max(whole / 2, self.edge)


def part_uncertainty(fitted: FittedOutline, readings: Sequence[Reading] = ()) -> PartUncertainty:
    """What the fit knows of the outline, as the clearance needs it.

    Anywhere along the edge the part may be off by what its width is off on one side, and by what
    the outline leaves of the measured points: form that no line or arc describes.
    """
    radii = [corner.params["radius"].u95 for corner in fitted.corners if "radius" in corner.params]
    form = coverage_factor(math.inf) * fitted.residual_rms
    return PartUncertainty(
        edge=math.hypot(fitted.width.u95 / 2, form),
        length=fitted.length.u95,
        width=fitted.width.u95,
        corner_radius=max(radii, default=0.0),
        gains={budget.of: budget.gains for budget in fitted.budgets},
        read=_sizes_read(readings),
    )


def _sizes_read(readings: Sequence[Reading]) -> dict[str, tuple[SizeRead, ...]]:
    """What the hand readings say of length and width."""
    found: dict[str, tuple[SizeRead, ...]] = {}
    for reading in readings:
        if reading.what in ("length", "width"):
            size = SizeRead(reading.value, uncertainty(reading).u, str(reading.tool))
            found[reading.what] = (*found.get(reading.what, ()), size)
    return found
