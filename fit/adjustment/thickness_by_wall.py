"""A thickness that the walls in the photos contradict, whatever the photos' sizes say."""

from collections.abc import Sequence
from dataclasses import replace

from snugline.fit.adjustment.thickness_weighing import RARE, OtherThickness, as_reading, possible
from snugline.fit.readings.reading_remarks import contradicted
from snugline.fit.readings.slips import prior_of
from snugline.fit.readings.thickness import Thickness
from snugline.fit.section import Section
from snugline.sentence import length

# A wall is told roughly: a thickness counts as contradicted this many times beyond its limits.
BEYOND = 1.5
# A crease that was followed in place of the foot leaves a low wall: two photos have to show it.
SEEN_LOW = 2


def contradicted_by_walls(
    thickness: Thickness, sections: Sequence[Section]
) -> OtherThickness | None:
    """What was probably meant, where the walls in the photos are far higher or lower than stated.

    Only a common slip is told: what else makes photo and reading disagree is not known.
    """
    walls = [section.wall for section in sections if section.wall is not None]
    low, high = max((w[0] for w in walls), default=0.0), min((w[1] for w in walls), default=0.0)
    too_thin = thickness.value < low / BEYOND
    too_thick = thickness.value > high * BEYOND and len(walls) >= SEEN_LOW
    if not low < high or not (too_thin or too_thick):
        return None
    slips = [s for s in possible(thickness) if low <= s.meant <= high and prior_of(s) > RARE]
    if not slips:
        return None
    total = sum(slip.weight for slip in slips)
    slips = [replace(slip, weight=slip.weight / total) for slip in slips]
    shown, limit = (
        ("the photos show a side at least {} high", low)
        if too_thin
        else ("the photos show a side no higher than {}", high)
    )
    told = contradicted(as_reading(thickness), thickness.value, shown, [length(limit, 0)], slips)
    return OtherThickness(slips[0].meant, told)
