import pickle

import pytest

from snugline.errors import PhotoError
from snugline.place import OfKey, OfPhoto, OfReading, about_from_json
from snugline.sentence import Sentence, angle, length, pixels, position

TOLD = Sentence("The edge near {} is {} from there.", position(120, 35), length(0.32))


def test_a_place_and_two_lengths_are_all_in_the_unit_asked() -> None:
    told = Sentence(
        "Near {} it lies {} off, {} allowed.", position(304.8, 25.4), length(2.54), length(0.0254)
    )
    assert told == "Near (305, 25) mm it lies 2.54 mm off, 0.03 mm allowed."
    assert told.in_unit("in") == "Near (12.0, 1.0) in it lies 0.100 in off, 0.001 in allowed."


def test_what_is_not_a_length_keeps_its_unit() -> None:
    told = Sentence("Tilted {}, blurred {}.", angle(31), pixels(3.14))
    assert told == told.in_unit("in") == "Tilted 31 degrees, blurred 3.1 px."


def test_a_sentence_comes_back_from_json_and_from_another_process() -> None:
    for back in (Sentence.from_json(TOLD.as_json()), pickle.loads(pickle.dumps(TOLD))):
        assert back == TOLD
        assert back.in_unit("in") == TOLD.in_unit("in")


def test_plain_text_keeps_its_braces() -> None:
    assert Sentence.of("write { key = value }") == "write { key = value }"
    assert Sentence.of("write { key = value }").in_unit("in") == "write { key = value }"


@pytest.mark.parametrize("figures", [(), (length(1), length(2))])
def test_a_template_takes_as_many_quantities_as_it_has_places(figures: tuple) -> None:  # type: ignore[type-arg]
    with pytest.raises(ValueError, match="does not take"):
        Sentence("{} mm", *figures)


def test_an_error_reads_in_either_unit() -> None:
    error = PhotoError(Sentence("the bar is {} long", length(200, 1)), "a.jpg", "measure it")
    assert str(error) == "a.jpg: the bar is 200.0 mm long; measure it"
    assert error.in_unit("in") == "a.jpg: the bar is 7.87 in long; measure it"
    assert pickle.loads(pickle.dumps(error)).in_unit("in") == error.in_unit("in")


@pytest.mark.parametrize(
    "about",
    [
        OfPhoto("a.jpg"),
        OfReading(2, "width", "caliper"),
        OfKey(("pocket", "clearance")),
        OfKey(("frame", 1, "bar_x")),
        OfKey(("reading", 0, "values", 2)),
    ],
)
def test_what_a_remark_is_about_comes_back_from_json(about: OfKey) -> None:
    assert about_from_json(about.as_json()) == about


def test_keys_read_as_the_job_file_has_them() -> None:
    assert OfKey(("pocket", "clearance")).as_json() == {"key": "pocket.clearance"}
    assert str(OfKey(("part", "thickness"), "job.toml")) == "job.toml, [part], thickness"
    assert str(OfKey(("camera",), "job.toml", in_table=False)) == "job.toml, camera"
    assert str(OfKey(("reading", 0, "values", 2))) == "[[reading]] 1, values[3]"
