"""Remarks on readings that cannot be right: the value, the evidence against it, the slip."""

from collections.abc import Sequence

from snugline.fit.readings.reading import Reading
from snugline.fit.readings.scatter import Scatter
from snugline.fit.readings.slips import Slip, first_words
from snugline.notice import Notice
from snugline.sentence import Figure, Sentence, length

CONTRADICTED = "reading-contradicted"
READINGS_DISAGREE = "readings-disagree"
NOT_TIED = "photos-not-tied"
VARIES = "part-varies"
# A slip that is not this much less likely than the first is named beside it, unless what was meant
# is the same to this share.
ALSO_LIKELY, ALIKE = 0.2, 0.02


def contradicted(
    reading: Reading, value: float, shown: str, figures: Sequence[Figure], slips: Sequence[Slip]
) -> Notice:
    """A reading that cannot be right.

    Parameters
    ----------
    shown : the evidence against it, a clause with `{}` for each of the figures.
    slips : what may have gone wrong, the likeliest first.
    """
    text = Sentence(
        f"The {reading.what} of {{}} cannot be right: {shown}.", length(value), *figures
    )
    return Notice(CONTRADICTED, text, remedy(reading.what, value, slips), "retake", reading.where)


def remedy(what: str, value: float, slips: Sequence[Slip]) -> Sentence:
    """The likely slip as a question with the likely value, and what to do."""
    again = f"measure the {what} again, with another tool or from another mark"
    slips = _not_told_apart(slips, value)
    if not slips:
        return Sentence(f"{again[0].upper()}{again[1:]}.")
    if abs(slips[0].meant - value) < 1e-9:  # a hook: what was meant is not known
        return Sentence(f"{first_words(slips)} {again[0].upper()}{again[1:]}.")
    meant = [length(slip.meant) for slip in slips]
    return Sentence(
        f"{first_words(slips)} Then it is {' or '.join('{}' for _ in meant)}. Correct it, or "
        f"{again}.",
        *meant,
    )


def _not_told_apart(slips: Sequence[Slip], value: float) -> list[Slip]:
    """The likeliest slip, and the next where nothing tells the two apart."""
    also = [
        slip
        for slip in slips[1:2]
        if slip.weight > ALSO_LIKELY * slips[0].weight
        and abs(slip.meant - slips[0].meant) > ALIKE * slips[0].meant
        and slip.meant != value  # a hook
        and slip.words != slips[0].words
    ]
    return [*slips[:1], *also]


def scatter_remarks(what: str, scatter: Scatter) -> tuple[Notice, ...]:
    """Remarks on repeated readings that scatter more than their tools."""
    if scatter.kind == "alike":
        return ()
    low, high = min(scatter.values), max(scatter.values)
    if scatter.kind == "varies":
        takes = (
            "the pocket is cut for the thickest place"
            if what == "thickness"
            else "their mean is used, with what they scatter"
        )
        return (
            Notice(
                VARIES,
                Sentence(
                    f"The {what} varies over the part from {{}} to {{}}; {takes}.",
                    length(low), length(high),
                ),
                f"Should the {what} be the same everywhere, measure it again.",
                "usable",
                scatter.readings[0].where,
            ),
        )  # fmt: skip
    if scatter.kind == "contradiction":
        text = Sentence(
            f"The {what} was read as {{}} and as {{}}: one of them cannot be right.",
            length(low), length(high),
        )  # fmt: skip
        where = scatter.odd[0][0].where
        return (Notice(CONTRADICTED, text, remedy(what, low, ()), "retake", where),)
    kept = [value for reading in scatter.readings for value in reading.values_mm]
    shown = "another reading says {}" if len(kept) == 1 else "the other readings say {}"
    middle = sum(kept) / len(kept)
    return tuple(
        contradicted(reading, value, shown, [length(middle)], slips)
        for reading, value, slips in scatter.odd
    )
