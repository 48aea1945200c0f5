"""What the photos alone show of length and width, before any reading is used."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from snugline.fit.adjustment.observation_equations import CentredSection
from snugline.fit.adjustment.start_values import View, main_direction, tangents
from snugline.fit.readings.slips import Expected

# Of sides whose shape is not known yet, a distance between them is good to this; bows, leaning
# sides and unstated edges are within it. Gross contradictions only are to be told by it.
SPAN_U_MM, SPAN_U_SHARE = 0.7, 0.004


def photo_sizes(
    sections: Sequence[CentredSection], views: Sequence[View | None]
) -> Mapping[str, Expected]:
    """`length` and `width` as the photos show them: a value where both sides are in one photo.

    A size of which they show a part only has that part as its least value.
    """
    least = {"length": 0.0, "width": 0.0}
    spans: dict[str, list[float]] = {"length": [], "width": []}
    for section, view in zip(sections, views, strict=True):
        if view is None or (len(view.turns) > 1 and not section.section.closed):
            # Which way it lies is not known: no side is shorter than its least extent.
            least = {of: max(mm, _least_extent(section)) for of, mm in least.items()}
            continue
        c, s = math.cos(view.turns[0]), math.sin(view.turns[0])
        extents = np.ptp(section.local @ np.array([[c, s], [-s, c]]), axis=0)
        for axis, of in enumerate(least):
            least[of] = max(least[of], float(extents[axis]))
            high, low = view.sides[axis], view.sides[axis + 2]
            if high is not None and low is not None:
                spans[of].append(high + low)
    sizes = {}
    for of, found in spans.items():
        u = math.hypot(SPAN_U_MM, SPAN_U_SHARE * least[of])
        value = float(np.median(found)) if found else None
        sizes[of] = Expected(value, u, least[of])
    return sizes


def _least_extent(section: CentredSection) -> float:
    found = tangents(section.local, section.breaks, closed=section.section.closed)
    if len(found.angle) < 10:
        return 0.0
    direction, _ = main_direction(found)
    c, s = math.cos(direction), math.sin(direction)
    return float(np.ptp(section.local @ np.array([[c, -s], [s, c]]), axis=0).min())
