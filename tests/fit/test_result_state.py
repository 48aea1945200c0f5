"""Three states of a result, decided from its remarks."""

import pytest

from snugline.fit.result_state import PhotoVerdict, result_state
from snugline.notice import Notice


def remark(code, severity):
    return Notice(code, "It is so.", "Do that.", severity)


GOOD = PhotoVerdict("left end", ())
OTHER_END = PhotoVerdict("right end", ())
BAD = PhotoVerdict("left end", (remark("too-dark", "retake"),))


def test_nothing_said_is_good():
    state = result_state([remark("side-bowed", "fine")], [GOOD, OTHER_END])
    assert (state.state, state.because) == ("good", ())
    assert state.can_be_cut


def test_a_doubt_leaves_it_usable_and_is_named():
    state = result_state([remark("one-reading", "usable")], [GOOD, OTHER_END])
    assert (state.state, state.because) == ("usable", ("one-reading",))


def test_a_reading_that_cannot_be_right_comes_before_all_that_follows_from_it():
    of_fit = [remark("outline-not-fitted", "retake"), remark("reading-contradicted", "retake")]
    state = result_state(of_fit, [BAD, OTHER_END])
    assert state.state == "not to be cut"
    assert state.because == ("reading-contradicted", "too-dark", "outline-not-fitted")
    assert [n.code for n in state.notices] == list(state.because)
    assert not state.can_be_cut


@pytest.mark.parametrize(
    ("photos", "state"),
    [
        ([BAD, OTHER_END], "not to be cut"),  # the only photo of the left end
        ([BAD, GOOD, OTHER_END], "usable"),  # another shows the left end
        ([BAD, PhotoVerdict("whole", ())], "usable"),
        (
            [BAD, PhotoVerdict("front left corner", ()), PhotoVerdict("back left corner", ())],
            "usable",
        ),
        ([BAD, PhotoVerdict("front left corner", ())], "not to be cut"),
        ([PhotoVerdict("section", BAD.notices), GOOD], "not to be cut"),
    ],
)
def test_a_photo_to_take_again_decides_where_no_other_shows_the_same(photos, state):
    assert result_state([], photos).state == state


def test_photos_of_a_part_that_lay_still_make_each_other_good():
    photos = [PhotoVerdict("section", BAD.notices), PhotoVerdict("section", ())]
    assert result_state([], photos, joined=True).state == "usable"
