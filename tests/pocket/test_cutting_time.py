import itertools

import pytest

from snugline.errors import InputError
from snugline.pocket.cutting_time import Feeds, time_table


def test_time_is_path_over_feed_by_hand():
    # 100 x 60 mm, step-over 2: 3000 mm of passes and 320 mm round, at 1000 mm/min; 10 mm deep in
    # steps of 2.5 is four passes, and 10 mm of plunge at 200.
    feeds = Feeds(feed=1000, plunge=200, step_over=2, step_down=2.5)
    (row,) = time_table(6000, 320, 10, feeds, factors=(1,))
    assert row.minutes == pytest.approx(4 * 3.32 + 0.05)


def test_the_table_shows_what_a_timid_step_down_costs():
    rows = time_table(6000, 320, 10, Feeds(step_down=2))
    assert [r.step_down for r in rows] == [1, 1.5, 2, 3, 4]
    assert [r.passes for r in rows] == [10, 7, 5, 4, 3]
    assert all(a.minutes > b.minutes for a, b in itertools.pairwise(rows))


def test_a_depth_of_whole_steps_takes_no_extra_pass():
    assert time_table(6000, 320, 0.3, Feeds(step_down=0.1))[2].passes == 3


@pytest.mark.parametrize("name", ["feed", "plunge", "step_over", "step_down"])
def test_feeds_of_zero_are_refused(name):
    with pytest.raises(InputError, match="not above 0"):
        time_table(6000, 320, 10, Feeds(**{name: 0}))


def test_usual_feeds_are_those_of_a_hobby_router():
    """1500 and 500 mm/min, 2.4 over, 2 down: common practice, no source; the job's own go first."""
    (row,) = time_table(2400.0, 150.0, 4.0, Feeds(), factors=(1,))
    # 1000 mm of passes and 150 round at 1500 mm/min, twice; 4 mm of plunge at 500.
    assert (row.passes, row.step_down) == (2, 2.0)
    assert row.minutes == pytest.approx(2 * 1150 / 1500 + 4 / 500)


def test_a_depth_below_one_step_is_one_pass():
    (row,) = time_table(6000, 320, 0.0, Feeds(), factors=(1,))
    assert row.passes == 1
    (row,) = time_table(6000, 320, 2.1, Feeds(step_down=2.0), factors=(1,))
    assert row.passes == 2
    with pytest.raises(InputError, match="a step-down of -1 is not above 0"):
        time_table(6000, 320, 10, Feeds(step_down=-1))
