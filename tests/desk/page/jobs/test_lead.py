"""What to do next, as a table: states of a job -> where, and the sentence's beginning."""

from dataclasses import replace

import pytest

from snugline.desk.page.jobs.lead import Cause, Facts, ShownPhoto, lead
from snugline.desk.page.jobs.sheet_offers import SheetOffer
from snugline.sentence import Sentence, length

LEFT, RIGHT = ShownPhoto("left end", "good"), ShownPhoto("right end", "good")
BAD = ShownPhoto("right end", "retake", "The sheet is cut off.")
MEASURING = ShownPhoto("right end", "working")
OFFER = SheetOffer("The photo shows the A3 sheet; the job says A4 sheet.", "Use A3 sheet", {}, {})
SLIP = Cause("readings", "Length 16.44 mm cannot be right.", "Is it in inches?")

NEW = Facts()
READ = Facts(bars=True)
TAKEN = replace(READ, photos=(LEFT, RIGHT))
MEASURED = replace(TAKEN, thickness=True, length=True)
READY = replace(MEASURED, outline="ready", result="good")
CHOSEN = replace(READY, clearance=True, plan="ready")
MADE = replace(CHOSEN, files="ready")

TABLE = [
    ("nothing yet", NEW, "frame", "go", "Print the sheet"),
    ("no sheet", replace(NEW, sheet=False), "frame", "go", "Choose the sheet"),
    ("a frame of one's own", replace(NEW, own_frame=True), "frame", "go", "Measure the two bars"),
    ("bars read", READ, "photos", "go", "Lay one end"),
    ("another sheet in sight", replace(TAKEN, photos=(BAD,), offer=OFFER), "frame", "change",
     "The photo shows the A3 sheet"),
    ("a bar that cannot be", replace(TAKEN, fault=Cause("frame", "Bar x was read 20 mm.")),
     "frame", "go", "Bar x"),
    ("a photo to take again", replace(TAKEN, photos=(LEFT, BAD)), "photos", "go",
     "Take photo 2 (right end) again. The sheet is cut off."),
    ("a bad one while another is measured", replace(MEASURED, photos=(BAD, MEASURING)), "photos",
     "wait", "Photo 2 of 2 is being measured"),
    ("made good by another", replace(CHOSEN, photos=(LEFT, BAD, RIGHT)), "files", "finish",
     "Everything is there"),
    ("no thickness", TAKEN, "readings", "go", "Measure the part's thickness"),
    ("no thickness, still measuring", replace(TAKEN, photos=(LEFT, MEASURING)), "readings", "go",
     "Measure the part's thickness"),
    ("one end", replace(MEASURED, photos=(LEFT,), ends_missing=("right",)), "photos", "go",
     "Take a photo of the right end"),
    ("no length", replace(TAKEN, thickness=True), "readings", "go", "Measure the length"),
    ("measuring", replace(MEASURED, photos=(LEFT, MEASURING)), "photos", "wait",
     "Photo 2 of 2 is being measured"),
    ("fitting", replace(MEASURED, outline="fitting"), "outline", "wait", "The outline is being"),
    ("refused", replace(MEASURED, outline="refused", cause=Cause("outline", "It does not close.")),
     "outline", "go", "It does not close."),
    ("a slip", replace(READY, result="not to be cut", cause=SLIP), "readings", "go",
     "Not to be cut. Length 16.44 mm cannot be right. Is it in inches?"),
    ("a slip before the pocket", replace(CHOSEN, result="not to be cut", cause=SLIP), "readings",
     "go", "Not to be cut."),
    ("bars left out", replace(READY, bars=False), "frame", "go", "Measure the two bars"),
    ("an outline", READY, "pocket", "go", "The outline is ready"),
    ("a usable one", replace(READY, result="usable"), "pocket", "go", "The outline is ready"),
    ("planning", replace(CHOSEN, plan="planning"), "pocket", "wait", "The pocket is being drawn"),
    ("blocked", replace(CHOSEN, pocket_cause=Cause("pocket", "The part does not go in.")),
     "pocket", "go", "The part does not go in."),
    ("all there", CHOSEN, "files", "finish", "Everything is there"),
    ("none can be cut", replace(CHOSEN, blocked=True), "files", "finish", "No pocket can be cut"),
    ("none could be cut", replace(MADE, blocked=True), "pocket", "go", "No pocket can be cut"),
    ("writing", replace(CHOSEN, files="writing"), "files", "wait", "The files are being made"),
    ("changed since", replace(MADE, stale=True), "files", "finish", "The job has changed"),
    ("made", MADE, "fit", "go", "Print the template"),
    ("recorded", replace(MADE, fit_recorded=True), "files", "go", "Done."),
]  # fmt: skip


@pytest.mark.parametrize(("name", "facts", "step", "act", "says"), TABLE, ids=[t[0] for t in TABLE])
def test_the_first_thing_left_to_do_leads(name, facts, step, act, says):
    found = lead(facts)
    assert (found.step, found.act) == (step, act)
    assert found.says.startswith(says)
    assert found.says.endswith((".", "?"))
    assert bool(found.button) == (act != "wait")


def test_an_offer_carries_its_change():
    found = lead(replace(TAKEN, offer=OFFER)).as_json()
    assert found["changes"] == [{"path": ["frame"], "was": {}, "now": {}}]


def test_a_cause_keeps_its_quantities():
    cause = Cause("readings", Sentence("The length {} cannot be right.", length(16.44)), "Is it?")
    found = lead(replace(READY, result="not to be cut", cause=cause)).as_json()
    assert found["says"] == "Not to be cut. The length 16.44 mm cannot be right. Is it?"
    inches = Sentence.from_json(found).in_unit("in")
    assert inches == "Not to be cut. The length 0.647 in cannot be right. Is it?"
