"""What is offered where the photos show other sheets than the job names."""

import pytest

from snugline.desk.page.jobs.sheet_offers import sheet_offer, sheet_words

A4 = {"description": "border-a4", "bar_x": "199.5 mm", "bar_y": "119.9 mm"}
OTHER = {"description": "border-a4-2"}


def sheet(name, dark=False):
    return {"name": name, "dark": dark, "markers": 30}


# The job's frames, what each photo shows, and the frames that are offered (None: nothing is).
TABLE = [
    (A4, [], None),
    (A4, [None], None),
    (A4, [[]], None),
    (A4, [None, [sheet("border-a4-2")]], None),
    (A4, [[sheet("border-a4")]], None),
    (A4, [[sheet("border-a3")]], {"description": "border-a3"}),
    (A4, [[sheet("border-a4-dark", True)]], {"description": "border-a4-dark"}),
    ({"description": "border-a4-dark"}, [[sheet("border-a4")]], {"description": "border-a4"}),
    # The part hides the tone: nothing is offered for it.
    ({"description": "border-a4-dark"}, [[sheet("border-a4", None)]], None),
    (A4, [[sheet("border-a4"), sheet("border-a4-2")]], [A4, OTHER]),
    # A sheet seen alone ties to nothing: that photo is refused, the job stays.
    (A4, [[sheet("border-a4")], [sheet("border-a4-2")]], None),
    ([A4, OTHER], [[sheet("border-a4")], [sheet("border-a4-2")]], None),
    ([A4, OTHER], [[sheet("border-a4-2-dark", True)]], [A4, {"description": "border-a4-2-dark"}]),
    (A4, [[sheet("border-a3-2"), sheet("border-a3")]],
     [{"description": "border-a3-2"}, {"description": "border-a3"}]),
    ({"description": "own.json"}, [[sheet("border-a4")]], None),
    ("nonsense", [[sheet("border-a4")]], None),
    ([], [[sheet("border-a4")]], {"description": "border-a4"}),
]  # fmt: skip


@pytest.mark.parametrize(("frame", "seen", "offered"), TABLE)
def test_the_offer_names_the_sheets_in_the_photos(frame, seen, offered):
    offer = sheet_offer(frame, seen)
    if offered is None:
        assert offer is None
    else:
        assert (offer.was, offer.now) == (frame, offered)


def test_the_offer_reads_as_a_person_would_say_it():
    offer = sheet_offer(A4, [[sheet("border-a3")]])
    assert offer.says == "The photo shows the A3 sheet; the job says A4 sheet."
    assert offer.button == "Use A3 sheet"
    assert sheet_words("border-letter-3") == "Letter sheet no. 3"
