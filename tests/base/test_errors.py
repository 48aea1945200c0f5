import pickle

import pytest

import snugline
from snugline import SnuglineError
from snugline.errors import FileError, FitError, InputError, PhotoError, PlanError
from snugline.place import OfKey
from snugline.sentence import Sentence, length

KINDS = {
    SnuglineError: Exception,
    InputError: ValueError,
    FileError: OSError,
    PhotoError: ValueError,
    FitError: ValueError,
    PlanError: ValueError,
}


@pytest.mark.parametrize("kind", KINDS)
def test_an_error_names_what_where_and_mend_in_one_line(kind: type[SnuglineError]) -> None:
    error = kind("the end is\nmissing", "left.jpg", "copy it\tonce  more")
    assert (error.what, error.where, error.mend) == (
        "the end is\nmissing",
        "left.jpg",
        "copy it\tonce  more",
    )
    assert str(error) == "left.jpg: the end is missing; copy it once more"


@pytest.mark.parametrize(("kind", "builtin"), KINDS.items())
def test_an_error_is_caught_as_ours_and_as_the_built_in_kind(
    kind: type[SnuglineError], builtin: type[Exception]
) -> None:
    for expected in (SnuglineError, builtin):
        with pytest.raises(expected):
            raise kind("a", "b", "c")


@pytest.mark.parametrize("kind", KINDS)
def test_an_error_survives_a_trip_between_processes(kind: type[SnuglineError]) -> None:
    back = pickle.loads(pickle.dumps(kind("a", "b", "c")))
    assert type(back) is kind
    assert str(back) == "b: a; c"


def test_the_root_name_is_the_one_that_callers_import() -> None:
    assert snugline.SnuglineError is SnuglineError


def test_every_kind_of_error_crosses_between_processes_whole() -> None:
    from snugline.trace.sheet.frame_description import BarError, read_frame

    frame = read_frame("border-a4")
    errors: tuple[SnuglineError, ...] = (
        FileError("is missing", "a.jpg", "take it again"),
        InputError(Sentence("{} is too long", length(20)), OfKey(("part",)), "measure again"),
        BarError("bar x is too short", frame, "x"),
    )
    for error in errors:
        back = pickle.loads(pickle.dumps(error))
        assert type(back) is type(error)
        assert (str(back), back.as_json()) == (str(error), error.as_json())
