"""What an acceptance test is told: which object lies there, and the result in sentences.

The command and the page say the same.
"""

from collections.abc import Mapping
from typing import Any

from snugline.errors import InputError
from snugline.fit.acceptance import ReferenceObject
from snugline.fit.readings.reading import CALIPER_CONTACT
from snugline.fit.reference_objects import BLOCK, block, reference_object
from snugline.sentence import Sentence, length

LONG_PART = 400.0  # mm, a usual length of what is set into a board


def object_of(
    name: str,
    sizes: tuple[float | None, float | None, float | None] = (None, None, None),
    limit: float | None = None,
) -> ReferenceObject:
    """The object that lies there; a block by its length, width and thickness, mm.

    Parameters
    ----------
    limit : of error of a block's sizes; None for a caliper by hand.

    Raises
    ------
    InputError : no such object, a block without sizes, or sizes for what has published ones.
    """
    if name != BLOCK:
        if any(size is not None for size in sizes):
            raise InputError(
                "the sizes of this object are published",
                "--length, --width, --thickness",
                f"leave them out, or use --object {BLOCK}",
            )
        return reference_object(name)
    along, across, thick = sizes
    if along is None or across is None or thick is None:
        raise InputError(
            "a block's sizes are missing", "--object block", "give --length, --width, --thickness"
        )
    return block(along, across, thick, CALIPER_CONTACT if limit is None else limit)


def decision_words(record: Mapping[str, Any]) -> Sentence:
    """The decision first, of a test as `acceptance_records.record_of` keeps it."""
    limit = length(record["mpe"])
    said = {
        "passes": Sentence("passes: every size error is within {} by its U95", limit),
        "fails": Sentence("fails: a size error is beyond {} by its U95", limit),
        "not decided": Sentence.joined(["not decided:", _why_open(record)]),
    }
    return Sentence.joined([f"{record['object_words']}:", said[record["decision"]]])


def largest_words(record: Mapping[str, Any]) -> Sentence:
    """The largest size error with its U95."""
    worst = record["largest"]
    return Sentence(
        "largest: {of} {}, U95 {}",
        length(worst["error"], signed=True),
        length(worst["u95"]),
        of=worst["of"],
    )


def scale_words(record: Mapping[str, Any]) -> Sentence | None:
    """What the error would do to a long part, were it the scale of the print; None within U95."""
    share = record["share"]
    if abs(share) <= record["share_u95"]:
        return None
    return Sentence(
        "if it is the scale of the print, a part of {} comes out {}: measure the bars again",
        length(LONG_PART, 0),
        length(LONG_PART * share, 1, signed=True),
    )


def _why_open(record: Mapping[str, Any]) -> Sentence:
    if any(warning["severity"] == "retake" for warning in record["warnings"]):
        return Sentence("a photo has to be taken again")
    if any(warning["code"] == "object-too-coarse" for warning in record["warnings"]):
        return Sentence("the size of the object is known too coarsely")
    return Sentence("a size error is too near to {} for its U95", length(record["mpe"]))
