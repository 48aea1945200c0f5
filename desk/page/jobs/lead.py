"""What to do next: one sentence, and the one button that does it. Decided here and nowhere else.

The first cause comes first: a sheet that is not the one in the photo explains everything after it,
a reading that cannot be right is corrected in seconds, a photo takes minutes.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from snugline.desk.page.jobs.sheet_offers import SheetOffer
from snugline.sentence import Sentence

PhotoState = Literal["working", "good", "usable", "retake"]
WORKING = ("waiting", "tracing", "fitting", "planning")


@dataclass(frozen=True)
class Cause:
    """A remark or an error, as sentences, and the step where it is put right."""

    step: str
    says: str
    mend: str = ""

    @property
    def whole(self) -> Sentence:
        return Sentence.joined([self.says, self.mend])


@dataclass(frozen=True)
class ShownPhoto:
    """A photo of the job: what it shows, how far it is, and why it has to be taken again."""

    shows: str
    state: PhotoState
    cause: str = ""


@dataclass(frozen=True)
class Facts:
    """What the next step depends on.

    Attributes
    ----------
    bars : whether each sheet's bars are read; of a plain frame, its opening.
    own_frame : a frame of the shop's own is among them: it is not to be printed.
    fault : the first value of the job that cannot be right.
    ends_missing : ends that no photo shows and that are needed.
    result : of the outline's state, once it is ready.
    cause : of an outline that is not ready, or not to be cut.
    pocket_cause : of a pocket that cannot be planned.
    blocked : whether none of the pockets that are planned can be cut.
    """

    sheet: bool = True
    offer: SheetOffer | None = None
    bars: bool = False
    own_frame: bool = False
    fault: Cause | None = None
    photos: tuple[ShownPhoto, ...] = ()
    ends_missing: tuple[str, ...] = ()
    thickness: bool = False
    length: bool = False
    outline: str = "missing"
    result: str = ""
    cause: Cause | None = None
    clearance: bool = False
    plan: str = "missing"
    pocket_cause: Cause | None = None
    blocked: bool = False
    files: str = "missing"
    stale: bool = False
    fit_recorded: bool = False


@dataclass(frozen=True)
class Lead:
    """The sentence, the button and what it does.

    Attributes
    ----------
    step : where it is done.
    button : its words; "" where there is nothing to do but wait.
    act : `go` to the step, `change` the job as the offer says, `finish`.
    """

    step: str
    says: str
    button: str
    act: Literal["go", "change", "finish", "wait"] = "go"
    changes: tuple[dict[str, Any], ...] = ()

    def as_json(self) -> dict[str, Any]:
        says = Sentence.of(self.says)
        record = {"step": self.step, "says": str(says), **says.as_json()}
        record |= {"button": self.button, "act": self.act}
        return record | ({"changes": list(self.changes)} if self.changes else {})


_BLOCKED = "No pocket can be cut like this."


def lead(facts: Facts) -> Lead:
    """The first thing that is left to do."""
    return next(found for rule in _RULES if (found := rule(facts)) is not None)


def _sheet(facts: Facts) -> Lead | None:
    if not facts.sheet:
        return Lead("frame", "Choose the sheet that lies under the part.", "Choose the sheet")
    if facts.offer is not None:
        offer = facts.offer
        changes = tuple(offer.as_json()["changes"])
        return Lead("frame", offer.says, offer.button, "change", changes)
    return None


def _fault(facts: Facts) -> Lead | None:
    if facts.fault is None:
        return None
    words = {"frame": "Correct the bar", "pocket": "Correct the pocket"}
    button = words.get(facts.fault.step, "Correct it")
    return Lead(facts.fault.step, facts.fault.whole, button)


def _first_photo(facts: Facts) -> Lead | None:
    if facts.photos:
        return None
    if not facts.bars and facts.own_frame:
        says = "Measure the two bars of your frame with a caliper; of a plain frame, its opening."
        return Lead("frame", says, "Measure the frame")
    if not facts.bars:
        says = "Print the sheet at actual size and measure its two bars with a caliper."
        return Lead("frame", says, "Print and measure the sheet")
    says = "Lay one end of the part on the sheet and take a photo of it."
    return Lead("photos", says, "Take the first photo")


def _bad_photo(facts: Facts) -> Lead | None:
    bad = [(n, photo) for n, photo in enumerate(facts.photos, 1) if photo.state == "retake"]
    # Another photo of the same place may make it good; then the result says so. One that is being
    # measured may show what is really wrong.
    measuring = any(photo.state == "working" for photo in facts.photos)
    if not bad or measuring or facts.result in ("good", "usable"):
        return None
    number, photo = bad[0]
    says = Sentence.joined([f"Take photo {number} ({photo.shows}) again.", photo.cause])
    return Lead("photos", says, f"Go to photo {number}")


def _readings(facts: Facts) -> Lead | None:
    if not facts.thickness:
        says = "Measure the part's thickness: the photos need it to find the outline."
        return Lead("readings", says, "Enter the thickness")
    if facts.ends_missing and facts.outline not in WORKING:
        end = facts.ends_missing[0]
        return Lead("photos", f"Take a photo of the {end} end too.", "Add a photo")
    if not facts.length:
        says = "Measure the length with a tape: no photo shows the whole part."
        return Lead("readings", says, "Enter the length")
    return None


def _waiting(facts: Facts) -> Lead | None:
    count = len(facts.photos)
    left = [n for n, photo in enumerate(facts.photos, 1) if photo.state == "working"]
    if left:
        says = f"Photo {left[0]} of {count} is being measured."
        return Lead("photos", says, "", "wait")
    if facts.outline in WORKING:
        return Lead("outline", "The outline is being fitted.", "", "wait")
    return None


def _outline(facts: Facts) -> Lead | None:
    cause = facts.cause or Cause("outline", "There is no outline yet.")
    if facts.outline in ("missing", "refused"):
        return Lead(cause.step, cause.whole, _to(cause.step))
    if facts.result == "not to be cut":
        return Lead(cause.step, Sentence.joined(["Not to be cut.", cause.whole]), _to(cause.step))
    if not facts.bars:
        says = "Measure the two bars on your print: every size depends on them."
        return Lead("frame", says, "Measure the bars")
    return None


def _pocket(facts: Facts) -> Lead | None:
    if facts.pocket_cause is not None:
        return Lead("pocket", facts.pocket_cause.whole, "Go to the pocket")
    if not facts.clearance:
        says = "The outline is ready. Choose the clearance between part and wood."
        return Lead("pocket", says, "Choose the clearance")
    if facts.plan in WORKING:
        return Lead("pocket", "The pocket is being drawn.", "", "wait")
    return None


def _files(facts: Facts) -> Lead | None:
    if facts.files == "writing":
        return Lead("files", "The files are being made.", "", "wait")
    if facts.files != "ready" and facts.blocked:
        says = f"{_BLOCKED} Outline and report can be made."
        return Lead("files", says, "Make the files", "finish")
    if facts.files != "ready":
        return Lead("files", "Everything is there. Make the files.", "Make the files", "finish")
    if facts.stale:
        says = "The job has changed since its files were made. Make them again."
        return Lead("files", says, "Make the files again", "finish")
    return None


def _cut(facts: Facts) -> Lead:
    if facts.blocked:
        return Lead("pocket", _BLOCKED, "Go to the pocket")
    if not facts.fit_recorded:
        says = (
            "Print the template and lay the part on it, then mill the coupon in scrap "
            "and record the fit."
        )
        return Lead("fit", says, "Record the fit")
    return Lead("files", "Done. The files are ready to hand on.", "See the files")


_RULES: Sequence[Callable[[Facts], Lead | None]] = (
    _sheet,
    _fault,
    _first_photo,
    _bad_photo,
    _readings,
    _waiting,
    _outline,
    _pocket,
    _files,
    _cut,
)


def _to(step: str) -> str:
    words = {
        "frame": "Go to the sheet",
        "photos": "Go to the photos",
        "readings": "Go to the readings",
        "outline": "Look at the outline",
    }
    return words.get(step, "Go there")
