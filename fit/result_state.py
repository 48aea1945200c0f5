"""Whether a result can be cut from: the one place where that is decided.

Good: nothing stands against it. Usable: it can be cut from, with a doubt that is named. Not to be
cut: something contradicts it, and whoever cut from it would likely spoil the board.

What is decisive stands first, since it is what a user should mend first: a reading that cannot be
right is mended in seconds and often explains all else; a photo takes minutes; an outline that does
not fit says only that something is wrong.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from snugline.fit.readings.reading_remarks import CONTRADICTED, NOT_TIED, READINGS_DISAGREE
from snugline.notice import Notice

State = Literal["good", "usable", "not to be cut"]
DOUBT, BLOCKS = 1, 2  # a remark's gravity

# What is likeliest mended first; photos stand before what is not named here.
_ORDER = {
    CONTRADICTED: 0,
    READINGS_DISAGREE: 0,
    NOT_TIED: 2,
    "no-outline": 3,
    "outline-not-fitted": 4,
    "points-reject-outline": 5,
}
_OF_PHOTO, _OTHER = 1, 2

_CORNERS_OF = {
    "left end": {"front left corner", "back left corner"},
    "right end": {"front right corner", "back right corner"},
}


@dataclass(frozen=True)
class PhotoVerdict:
    """What is said of one photo, and what it shows, by the word of the job."""

    shows: str
    notices: tuple[Notice, ...]

    @property
    def good_enough(self) -> bool:
        return all(notice.gravity < BLOCKS for notice in self.notices)


@dataclass(frozen=True)
class ResultState:
    """The decision.

    Attributes
    ----------
    because : codes of the remarks that decide it, the likeliest cause first; empty where good.
    notices : all remarks, in the order in which they are to be told.
    """

    state: State
    because: tuple[str, ...]
    notices: tuple[Notice, ...]

    @property
    def can_be_cut(self) -> bool:
        return self.state != "not to be cut"


def result_state(
    of_fit: Sequence[Notice], photos: Sequence[PhotoVerdict], joined: bool = False
) -> ResultState:
    """Decide from all remarks on a result.

    Parameters
    ----------
    of_fit : remarks on the outline and the readings.
    photos : one for each photo.
    joined : whether the photos show one part that was not moved between them, so that any of them
        can make good what another lacks.
    """
    deciding: list[tuple[int, Notice]] = []
    for notice in of_fit:
        if notice.gravity == BLOCKS:
            deciding.append((_ORDER.get(notice.code, _OTHER), notice))
    for number, photo in enumerate(photos):
        others = [p for i, p in enumerate(photos) if i != number and p.good_enough]
        if not photo.good_enough and not _made_good(photo, others, joined):
            deciding += [(_OF_PHOTO, n) for n in photo.notices if n.gravity == BLOCKS]
    every = [*of_fit, *(notice for photo in photos for notice in photo.notices)]
    if deciding:
        first = [notice for _, notice in sorted(deciding, key=lambda pair: pair[0])]
        return _told("not to be cut", first, every)
    doubts = [notice for notice in every if notice.gravity >= DOUBT]
    return _told("usable" if doubts else "good", doubts, every)


def _told(state: State, first: Sequence[Notice], every: Sequence[Notice]) -> ResultState:
    rest = sorted(every, key=lambda notice: -notice.gravity)
    because = tuple(dict.fromkeys(notice.code for notice in first))
    return ResultState(state, because, tuple(dict.fromkeys([*first, *rest])))


def _made_good(photo: PhotoVerdict, others: Sequence[PhotoVerdict], joined: bool) -> bool:
    """Whether other photos show what this one was to show."""
    shown = {other.shows for other in others}
    if joined and others:
        return True
    if photo.shows == "section":
        return False
    if "whole" in shown or photo.shows in shown:
        return True
    if any(photo.shows in _CORNERS_OF.get(end, ()) for end in shown):
        return True
    return bool(_CORNERS_OF.get(photo.shows)) and _CORNERS_OF[photo.shows] <= shown
