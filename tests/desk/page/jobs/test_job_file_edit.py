"""Changes to a job file: applied where it still holds what they expect, with comments kept."""

import random
import tomllib
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from snugline.desk.page.jobs.job_file_edit import Changed, change_file, changed_text, same
from snugline.desk.page.jobs.key_changes import Change, changes_from
from snugline.errors import FileError, InputError

TEXT = """# the tray for the kitchen
camera = "shop phone" # learned in May

[part]
name = "slate tray" # as on the shelf
thickness = "9.5 mm"

[frame]
description = "border-a4"

# two ends
[[photo]]
file = "photo-1.jpg"
shows = "left end"

[[photo]]
file = "photo-2.jpg"
shows = "right end"

[[reading]]
what = "length" # with the long tape
value = "418 mm"
tool = "tape"

[[reading]]
what = "width"
value = "146.5 mm"
tool = "caliper"

[pocket] # oak board
clearance = ["0.25 mm"]
cutter = { diameter = "6 mm" } # the new one

[pocket.wood]
species = "walnut"
"""
WIDTH = {"what": "width", "value": "146.5 mm", "tool": "caliper"}
LENGTH = {"what": "length", "value": "418 mm", "tool": "tape"}


def change(*path, was=None, now=None, element=None):
    return Change(path, was, now, element)


def after(*changes, text=TEXT):
    new, record = changed_text(text, changes)
    assert tomllib.loads(new) == record
    return new, record


def comments(text):
    return [line.partition("#")[2] for line in text.splitlines() if "#" in line]


def test_one_value_changes_and_nothing_else_does():
    new, record = after(change("part", "thickness", was="9.5 mm", now="10 mm"))
    assert new == TEXT.replace("9.5 mm", "10 mm")
    assert record["part"]["thickness"] == "10 mm"


def test_tables_on_the_way_are_made_and_emptied_ones_go():
    new, record = after(
        change("output", "units", now="in"),
        change("pocket", "wood", "now", "moisture", now=8),
        change("pocket", "cutter", "diameter", was="6 mm", now=None),
    )
    assert record["output"] == {"units": "in"}
    assert record["pocket"]["wood"] == {"species": "walnut", "now": {"moisture": 8}}
    assert "cutter" not in record["pocket"]
    _, again = after(change("output", "units", was="in", now=None), text=new)
    assert "output" not in again


def test_a_reading_is_found_wherever_it_stands_now():
    first, _ = after(change("reading", 0, was=LENGTH, now=None))
    new, record = after(
        change("reading", 1, "tool", was="caliper", now="rule", element=WIDTH), text=first
    )
    assert record["reading"] == [{**WIDTH, "tool": "rule"}]
    with pytest.raises(Changed) as caught:
        after(change("reading", 0, "tool", was="tape", now="rule", element=LENGTH), text=new)
    assert caught.value.conflicts[0].current == {**WIDTH, "tool": "rule"}


def test_readings_are_added_and_changed_whole_with_their_comments():
    more = {"what": "thickness", "values": ["9.4 mm", "9.6 mm"], "tool": "caliper"}
    new, record = after(
        change("reading", 99, now=more),
        change("reading", 0, was=LENGTH, now={**LENGTH, "value": "16 7/16 in"}),
    )
    assert record["reading"][0]["value"] == "16 7/16 in"
    assert record["reading"][2] == more
    assert " with the long tape" in comments(new)


def test_a_single_frame_becomes_a_list_of_frames_and_back():
    one, two = {"description": "border-a4"}, {"description": "border-a4-2"}
    new, record = after(change("frame", was=one, now=[one, two]))
    assert record["frame"] == [one, two]
    _, back = after(change("frame", was=[one, two], now=one), text=new)
    assert back["frame"] == one


def test_every_comment_lives_on_through_many_changes():
    new, _ = after(
        change("part", "listed", now="420 x 150 mm"),
        change("part", "name", was="slate tray", now="slate pouring tray"),
        change("pocket", "clearance", was=["0.25 mm"], now=["0.3 mm", "0.4 mm"]),
        change("pocket", "notch", now=[{"side": "front", "width": "24 mm"}]),
        change(
            "leave_out", 0, now={"photo": "photo-1.jpg", "at": ["1 mm", "2 mm"], "within": "3 mm"}
        ),
    )
    assert comments(new) == comments(TEXT)


def test_all_changes_are_applied_or_none(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(TEXT)
    with pytest.raises(Changed) as caught:
        change_file(
            path,
            [
                change("part", "thickness", was="9.5 mm", now="10 mm"),
                change("part", "name", was="oak tray", now="ash tray"),
            ],
        )
    assert path.read_text() == TEXT
    (conflict,) = caught.value.conflicts
    assert conflict.as_json() == {
        "path": ["part", "name"], "was": "oak tray", "now": "ash tray", "current": "slate tray",
    }  # fmt: skip


def test_a_change_that_was_made_already_is_no_conflict():
    _, record = after(change("part", "thickness", was="8 mm", now="9.5 mm"))
    assert record == tomllib.loads(TEXT)


def test_sameness_is_that_of_a_job_file():
    assert same({"a": 1, "b": [2]}, {"b": [2.0], "a": 1.0})
    assert not same(True, 1)
    assert not same("1", 1)
    assert not same(["1 mm"], "1 mm")


def test_two_windows_at_once_never_lose_each_other_s_change(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(TEXT)

    def window(number):
        for step in range(8):
            was = f"{step - 1} mm" if step else None
            change_file(path, [change("pocket", f"key-{number}", was=was, now=f"{step} mm")])

    with ThreadPoolExecutor(4) as windows:
        list(windows.map(window, range(4)))
    pocket = tomllib.loads(path.read_text())["pocket"]
    assert {pocket[f"key-{number}"] for number in range(4)} == {"7 mm"}


def test_two_windows_on_one_value_are_told_apart(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(TEXT)

    def window(now):
        try:
            change_file(path, [change("part", "thickness", was="9.5 mm", now=now)])
        except Changed as error:
            return error.conflicts[0].current
        return None

    with ThreadPoolExecutor(2) as windows:
        told = list(windows.map(window, ["9 mm", "11 mm"]))
    kept = tomllib.loads(path.read_text())["part"]["thickness"]
    assert sorted(told, key=str) == sorted([None, kept], key=str)


def test_a_file_that_a_hand_broke_is_left_alone(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text("[part\n")
    with pytest.raises(FileError, match="is not TOML"):
        change_file(path, [change("part", "name", now="x")])
    assert path.read_text() == "[part\n"


KEYS = st.sampled_from(["clearance", "seat", "relief", "glued", "machine"])
VALUES = st.one_of(
    st.none(),
    st.text(max_size=8).filter(str.isprintable),
    st.booleans(),
    st.integers(-5, 5),
    st.floats(-1e3, 1e3),
    st.lists(st.sampled_from(["0.2 mm", "1 in"]), max_size=3),
    st.dictionaries(st.sampled_from(["side", "width"]), st.just("3 mm"), min_size=1),
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(KEYS, VALUES), min_size=1, max_size=6))
def test_any_run_of_changes_leaves_what_a_plain_table_would_hold(steps):
    text, expected = TEXT, tomllib.loads(TEXT)
    for key, now in steps:
        pocket = expected["pocket"]
        was = deepcopy(pocket.get(key))
        text, record = changed_text(text, [change("pocket", key, was=was, now=now)])
        if now is None:
            pocket.pop(key, None)
        else:
            pocket[key] = now
        assert record == expected
        assert tomllib.loads(text) == expected
    assert comments(text)[:4] == comments(TEXT)[:4]


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_undo_is_the_change_turned_round(seed):
    draw = random.Random(seed)
    text, record = TEXT, tomllib.loads(TEXT)
    done = []
    for _ in range(6):
        kind = draw.choice(["value", "append", "drop", "edit"])
        readings = record.get("reading", [])
        if kind == "append":
            one = change(
                "reading", len(readings), now={**LENGTH, "value": f"{draw.random():.3f} mm"}
            )
        elif kind == "drop" and readings:
            at = draw.randrange(len(readings))
            one = change("reading", at, was=readings[at], now=None)
        elif kind == "edit" and readings:
            at = draw.randrange(len(readings))
            one = change("reading", at, was=readings[at], now={**readings[at], "tool": "rule"})
        else:
            key = draw.choice(["thickness", "listed", "draft"])
            now = draw.choice([None, "1 mm", "2 mm"])
            one = change("part", key, was=record["part"].get(key), now=now)
        text, record = changed_text(text, [one])
        done.append(one)
    for one in reversed(done):
        text, record = changed_text(text, [Change(one.path, one.now, one.was)])

    def order(record):
        return {**record, "reading": sorted(record["reading"], key=str)}

    assert order(record) == order(tomllib.loads(TEXT))


@pytest.mark.parametrize(
    "bad",
    [
        {"path": ["part", "../name"], "was": None, "now": "x"},
        {"path": ["secrets"], "was": None, "now": "x"},
        {"path": [], "was": None, "now": "x"},
        {"path": ["part", "name"], "now": "x" * 501},
        {"path": ["part", "name"], "now": "two\nlines"},
        {"path": ["part", "name"], "now": float("nan")},
        {"path": ["part", "name"], "now": 2**80},
        {"path": ["part", "name"], "now": [[[[[[[["deep"]]]]]]]]},
        {"path": ["pocket", "notch", 0, "side"], "now": "front"},
        {"path": ["reading", 0, "tool"], "was": "tape", "now": "rule"},
        {"path": ["reading", -1], "now": WIDTH},
        {"path": ["photo", 0, "file"], "was": "a.jpg", "now": "/etc/passwd", "element": {}},
        {"path": ["photo", 5], "was": None, "now": {"file": "../x.jpg", "shows": "whole"}},
        {"path": ["photo"], "was": None, "now": [{"file": "../x.jpg", "shows": "whole"}]},
        {"path": ["photo", 0], "was": {"file": "a.jpg"}, "now": {"file": "b.jpg"}},
        {"path": ["frame", "description"], "was": "border-a4", "now": "../../frame.json"},
        {"path": ["frame"], "was": None, "now": {"description": "/etc/frame.json"}},
        {"path": ["frame"], "was": None, "now": [{"description": "a/b.json"}]},
        {"path": ["part", "name"], "now": "x", "more": 1},
    ],
)  # fmt: skip
def test_what_no_page_would_send_is_refused(bad):
    with pytest.raises(InputError):
        changes_from([bad])


def test_what_the_page_sends_is_taken():
    (one,) = changes_from(
        [
            {
                "path": ["photo", 1, "shows"],
                "was": "section",
                "now": "whole",
                "element": {"file": "a"},
            }
        ]
    )
    assert one == Change(("photo", 1, "shows"), "section", "whole", {"file": "a"})
