"""Readings too small for what one photo shows: explained by the outline that does without them."""

import pytest

from snugline.fit.adjustment.photo_sizes import PhotoSizes
from snugline.fit.adjustment.reading_weighing import weigh
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.slips import Expected

SIZES = {"length": PhotoSizes((), 242.0), "width": PhotoSizes((), 181.0)}
TAPE = Reading("length", (483.0,), "tape")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (18.87, "Ten times too small? Then it is 188.70 mm"),
        (7.43, "Typed in millimetres, read in inches? Then it is 188.72 mm"),
    ],
)
def test_a_width_that_the_outline_shows_is_not_guessed_but_explained_by_it(typed, words):
    width = Reading("width", (typed,), "caliper")
    weighed = weigh([TAPE, width], SIZES, shown=frozenset(("width",)))
    assert weighed.readings == (TAPE,)
    assert not weighed.notices
    assert not weighed.stands_in
    # Any width that a hand finds within 12 degrees, of which 187.6 mm is the least.
    (told,) = weighed.explained({"width": 187.6}, {"width": Expected(198.0, 6.0)}, {})
    assert "187.6 mm" in str(told.text)
    assert str(told.mend).startswith(words)


def test_a_length_that_nothing_else_gives_has_a_likely_value_in_its_stead():
    weighed = weigh([Reading("length", (48.3,), "tape")], SIZES, shown=frozenset(("width",)))
    assert weighed.stands_in == {"length"}
    assert weighed.readings[0].value == pytest.approx(483.0)
    assert not weighed.to_explain
