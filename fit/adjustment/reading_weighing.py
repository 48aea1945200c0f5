"""Readings weighed before they are used: those that nothing else can agree with.

Only gross slips are told here, before anything is adjusted: they would spoil the start values, and
an outline forced through them shows nothing. What is left is tested within the adjustment
(`outlier_test`), where every uncertainty is known.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from snugline.errors import FitError
from snugline.fit.adjustment.photo_sizes import PhotoSizes
from snugline.fit.readings.reading import Reading, uncertainty
from snugline.fit.readings.reading_remarks import contradicted, scatter_remarks
from snugline.fit.readings.scatter import scatter_of
from snugline.fit.readings.slips import FITS, Expected, Slip, likely_slips
from snugline.notice import Notice
from snugline.sentence import Figure, length

# A listing is nominal, often in another unit's round numbers: it is taken to this share, and speaks
# against a reading only where that is off by more than the other share.
LISTED_U, LISTED_OFF = 0.02, 0.25


@dataclass(frozen=True)
class Weighed:
    """Readings that pass so far, and what is said of the others.

    Attributes
    ----------
    stands_in : dimensions for which a likely value stands, since no reading of them can be right.
    to_explain : readings that cannot be right, of dimensions that the outline will tell, each with
        its remark in case no outline is found.
    """

    readings: tuple[Reading, ...]
    notices: tuple[Notice, ...]
    stands_in: frozenset[str] = frozenset()
    to_explain: tuple[tuple[Reading, Notice], ...] = ()

    def explained(
        self,
        sizes: Mapping[str, float],
        expected: Mapping[str, Expected],
        typed: Mapping[str, float],
    ) -> tuple[Notice, ...]:
        """What is said of the readings to explain, once an outline is there.

        Parameters
        ----------
        sizes : what the outline gives for length and width, mm.
        expected : the same, in any direction that a hand may have meant.
        typed : what was typed for the dimensions, mm.
        """
        told = []
        for reading, _ in self.to_explain:
            slips = likely_slips(reading, expected[reading.what], typed, typed)
            shown = ("the photos show {}", [length(sizes[reading.what], 1)])
            told.append(contradicted(reading, reading.value, *shown, slips))
        return tuple(told)


def weigh(
    readings: Sequence[Reading],
    sizes: Mapping[str, PhotoSizes],
    thickness: float | None = None,
    listed: tuple[float, float] | None = None,
    thicker: float = 0.0,
    shown: frozenset[str] = frozenset(),
) -> Weighed:
    """Take out what is wrong beyond doubt.

    Parameters
    ----------
    sizes : what the photos show of `length` and `width`.
    listed : length and width that the seller states, mm.
    thicker : mm by which the part is thicker than the photos were traced with.
    shown : dimensions that an outline can be fitted without a reading of.

    Raises
    ------
    FitError : the only reading of a dimension that no photo shows whole cannot be right, and no
        slip says what was meant.
    """
    kept = [reading for reading in readings if reading.what not in sizes]
    notices: list[Notice] = []
    stands_in: set[str] = set()
    to_explain: list[tuple[Reading, Notice]] = []
    expectations = {of: size.expected(thicker) for of, size in sizes.items()}
    seen = {of: e.value for of, e in expectations.items() if e.value is not None}
    others = {**seen, **({} if thickness is None else {"thickness": thickness})}
    typed: dict[str, float] = {
        reading.what: reading.value for reading in readings if reading.what in sizes
    }
    by_listing: dict[str, float] = dict(zip(("length", "width"), listed or (), strict=False))
    for what, expected in expectations.items():
        scatter = scatter_of(readings, what)
        notices += scatter_remarks(what, scatter)
        believed, wrong = [], []
        # Which of contradicting readings is wrong may show when they meet the photos: all go on.
        taken = [reading for reading in readings if reading.what == what]
        for reading in taken if scatter.kind == "contradiction" else scatter.readings:
            slips = _contradiction(reading, expected, others, typed, by_listing.get(what))
            if slips is None:
                believed.append(reading)
            else:
                wrong.append((reading, slips))
                against, figures = _shown(what, expected, reading, by_listing.get(what))
                told = contradicted(reading, reading.value, against, figures, slips)
                if what in shown and expected.value is None:
                    to_explain.append((reading, told))
                else:
                    notices.append(told)
        if wrong and not believed and expected.value is None and what not in shown:
            believed = [_stand_in(*wrong[0], notices[-1])]
            stands_in.add(what)
        kept += believed
    return Weighed(tuple(kept), tuple(notices), frozenset(stands_in), tuple(to_explain))


def _contradiction(
    reading: Reading,
    expected: Expected,
    others: Mapping[str, float],
    typed: Mapping[str, float],
    listed: float | None,
) -> tuple[Slip, ...] | None:
    """The slips that explain a reading that cannot be right; None where it can."""
    own = uncertainty(reading).u
    if expected.off(reading.value, own) > FITS:
        if expected.value is None and listed is not None:
            expected = replace(expected, value=listed, u=LISTED_U * listed)
        return likely_slips(reading, expected, others, typed)
    if expected.value is not None or listed is None:
        return None
    if abs(reading.value - listed) <= LISTED_OFF * listed:
        return None
    by_listing = replace(expected, value=listed, u=LISTED_U * listed)
    return likely_slips(reading, by_listing, others, typed) or None


def _shown(
    what: str, expected: Expected, reading: Reading, listed: float | None
) -> tuple[str, list[Figure]]:
    if expected.value is not None:
        return "the photos show {}", [length(expected.value, 1)]
    if reading.value < expected.least:
        return "the photos show at least {} of it", [length(expected.least, 0)]
    return "it is listed as {}", [length(listed or 0.0, 1)]


def _stand_in(reading: Reading, slips: Sequence[Slip], told: Notice) -> Reading:
    """The value that was probably meant, in place of the only reading of a dimension."""
    if not slips or slips[0].meant == reading.value:
        raise FitError(str(told.text).rstrip("."), reading.where, str(told.mend).rstrip("."))
    return replace(reading, values_mm=(slips[0].meant,))
