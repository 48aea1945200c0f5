import math

import pytest

from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.odd_direction import odd_directions
from snugline.fit.readings.reading import Reading

LENGTH, WIDTH = 150.0, 90.0


def told(*readings):
    outline = rounded_rectangle(LENGTH, WIDTH, 0.0)
    return odd_directions(outline, readings, ["width"])


def turned(value):
    """Degrees by which a rectangle is turned to be so wide.

    Width w cos a + l sin a, solved for a: elementary geometry.
    """
    far = math.hypot(LENGTH, WIDTH)
    return math.degrees(math.asin(value / far) - math.asin(WIDTH / far))


def test_a_mark_not_taken_off_is_told_with_the_direction_it_would_take():
    (notice,) = told(Reading.of("width", "115.4 mm", tool="tape"))
    assert notice.gravity == 2
    assert f"{turned(115.4):.0f} degrees" in str(notice.text)
    assert "1 in mark" in str(notice.mend)
    assert "90.00 mm" in str(notice.mend)


@pytest.mark.parametrize("off", [0.0, 1.0, 2.0])
@pytest.mark.parametrize("tool", ["tape", "caliper"])
def test_a_hand_may_aim_a_little_off(off, tool):
    a = math.radians(off)
    value = WIDTH * math.cos(a) + LENGTH * math.sin(a)
    assert told(Reading("width", (round(2 * value) / 2,), tool)) == ()


def test_an_odd_direction_that_no_slip_explains_is_the_makers_own():
    assert told(Reading.of("width", "117.38 mm", tool="caliper")) == ()


def test_what_was_read_twice_counts():
    twice = [Reading.of("width", "115.4 mm", tool=tool) for tool in ("tape", "rule")]
    assert told(*twice) == ()
    assert told(Reading.of("width", "115.4 mm", "115.3 mm", tool="tape")) == ()
