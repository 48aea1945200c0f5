"""Ends of the part that no photo shows: they can at best be mirrored."""

from snugline.desk.job import Job
from snugline.notice import Notice
from snugline.place import OfKey

_ENDS = ("left", "right")


def unseen_ends(job: Job) -> tuple[str, ...]:
    """`left`, `right`: the ends of which no photo is said to show anything."""
    shown: set[str] = {photo.shows for photo in job.photo}
    if shown & {"whole", "section"}:
        return ()
    seen = {end for end in _ENDS for word in shown if end in word.split()}
    return tuple(end for end in _ENDS if end not in seen)


def can_be_mirrored(job: Job) -> bool:
    """Whether one end is the other's mirror image, by the symmetry of the job."""
    return job.part.symmetry in ("both", "crosswise")


def mirrored_unasked(job: Job) -> list[Notice]:
    """The doubt in an end that was mirrored although nobody said that the ends are alike."""
    missing = unseen_ends(job)
    stated = "symmetry" in job.part.model_fields_set
    if len(missing) != 1 or stated or not can_be_mirrored(job):
        return []
    (end,) = missing
    other = "right" if end == "left" else "left"
    return [
        Notice(
            "end-mirrored",
            f"No photo shows the {end} end: it is drawn as the mirror image of the {other} end.",
            f"Photograph the {end} end too. If the ends are alike, say so: "
            'symmetry = "both" (or "crosswise").',
            "usable",
            OfKey(("photo",)),
        )
    ]
