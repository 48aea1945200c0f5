"""What is not exactly known of a part and moves its contours: by how much it may be off."""

from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.readings.thickness import Thickness
from snugline.unstated_sides import UNSTATED

# By the name of a section's sensitivity: what a budget calls it.
PATTERN = " along the edge of "  # of an unknown, what it makes of nothing but a section's points
SOURCES = {
    "thickness": "thickness of the part",
    "edge": "top edge not stated",
    "lean": "lean of the sides not stated",
    "chamfer": "form of the top edge not stated",
}


def part_uncertainties(thickness: Thickness | None) -> dict[str, float]:
    """Standard uncertainties by the name of a section's sensitivity: mm, mm, degrees.

    Points come with a thickness; where the fit is not given its readings it counts as read once
    with a caliper.
    """
    once = uncertainty(Reading("thickness", (1.0,), "caliper")).u
    return {
        "thickness": once if thickness is None else thickness.u,
        **{of: prior.u for of, prior in UNSTATED.items()},
    }
