from dataclasses import dataclass

import pytest

from snugline.errors import FitError
from snugline.fit.adjustment.thickness_by_wall import contradicted_by_walls
from snugline.fit.outline_fit import _other_thickness
from snugline.fit.readings.reading import Reading
from snugline.fit.readings.thickness import thickness_of


@dataclass(frozen=True)
class Seen:
    wall: tuple[float, float] | None
    shows: str = "section"


def told(thickness, *walls):
    readings = [Reading.of("thickness", thickness, tool="caliper")]
    return contradicted_by_walls(thickness_of(readings), [Seen(wall) for wall in walls])


@pytest.mark.parametrize(
    ("typed", "meant", "words"),
    [
        ("0.93 mm", 9.3, "Ten times too small"),
        ("93.0 mm", 9.3, "Ten times too large"),
        ("0.366 mm", 9.3, "Typed in millimetres, read in inches"),
        ("9.30 in", 9.3, "Typed in inches, read in millimetres"),
    ],
)
def test_a_slip_of_the_thickness_is_told_by_the_wall(typed, meant, words):
    other = told(typed, (6.5, 14.0), None, (0.0, 30.0))
    assert other.meant == pytest.approx(meant, rel=0.01)
    assert other.notice.gravity == 2
    assert str(other.notice.mend).startswith(words)


@pytest.mark.parametrize("typed", ["4.5 mm", "9.3 mm", "20 mm"])
def test_a_wall_is_told_roughly_only(typed):
    assert told(typed, (6.5, 14.0)) is None


def test_where_photos_contradict_each_other_nothing_is_told():
    assert told("0.93 mm", (6.5, 8.0), (9.0, 14.0)) is None
    assert told("0.93 mm", None) is None


def test_a_low_wall_is_believed_of_two_photos_only():
    assert told("93.0 mm", (6.5, 14.0), None) is None
    assert told("0.93 mm", (6.5, 14.0), None) is not None


def test_what_no_slip_explains_is_not_told():
    assert told("2.1 mm", (6.5, 14.0)) is None


def test_of_two_slips_of_a_thickness_not_traced_with_the_wall_tells_which():
    """1.465 mm, less than its top edge: traced with 14.65 mm, where 37.21 mm was read in inches."""
    stated = thickness_of([Reading("thickness", (1.465,), "caliper")])
    seen = [Seen((32.0, 60.0), shows="left end")]
    with pytest.raises(FitError, match=r"37\.21"):
        _other_thickness(stated, 14.65, {}, seen, [], lambda thicker: {})
