"""Remarks and faults find the key of the job that brings them."""

import re
from pathlib import Path

import pytest

from snugline.desk.job import inspect_record
from snugline.desk.page.jobs.remark_keys import OF_NOTICE, key_of, key_of_error
from snugline.place import OfKey, OfPhoto, OfReading
from snugline.pocket.choices_record import from_record

POCKET = Path(__file__).parents[4] / "pocket"
GOOD = {
    "part": {"thickness": "9 mm"},
    "frame": {"description": "border-a4"},
    "photo": [{"file": "a.jpg", "shows": "whole"}],
    "pocket": {"clearance": "0.3 mm"},
}


def test_every_remark_of_the_plan_has_its_cause():
    source = "\n".join(path.read_text(encoding="utf-8") for path in POCKET.glob("*.py"))
    codes = set(re.findall(r'Notice\(\s*"([a-z-]+)"', source))
    assert len(codes) > 10
    assert codes <= set(OF_NOTICE)
    assert [code for code in OF_NOTICE if f'"{code}"' not in source] == []


def test_every_cause_is_a_key_that_a_pocket_may_have():
    example = {
        "clearance": "0.3 mm",
        "cutter": {"diameter": "6 mm", "length": "20 mm"},
        "border": {"land": "20 mm", "edge": "cove", "edge_size": "4 mm"},
        "stock": {"thickness": "20 mm"},
        "feeds": {"step_over": "2 mm"},
        "template": {"bush": "17 mm", "cutter": "8 mm"},
        "wood": {"species": "ash, white", "grain": "length", "now": {"moisture": 8},
                 "driest": {"moisture": 6}, "dampest": {"moisture": 12}},
        "glued": True,
        "coupons": {"run": "20 mm"},
        "board": {"left": "20 mm"},
        "relief": "dog-bone",
    }  # fmt: skip
    from_record(example)
    for key in OF_NOTICE.values():
        table = example
        for step in key:
            assert step in table, key
            table = table[step]


@pytest.mark.parametrize(
    ("table", "value", "key"),
    [
        ("part", {"thickness": "9"}, ["part", "thickness"]),
        ("part", {"thicknes": "9 mm"}, ["part", "thicknes"]),
        ("reading", [{"what": "length", "value": "1 mm", "tool": "tape"},
                     {"what": "width", "value": "1 mm", "tool": "thumb"}], ["reading", 1, "tool"]),
        ("frame", [{"description": "border-a4", "bar_x": "x"}], ["frame", 0, "bar_x"]),
        ("leave_out", [{"photo": "b.jpg", "at": ["1 mm", "1 mm"], "within": "1 mm"}],
         ["leave_out", 0, "photo"]),
        ("pocket", {"clearance": "x"}, ["pocket", "clearance"]),
        ("pocket", {"clearance": "1 mm", "cutter": {"diameter": "6"}},
         ["pocket", "cutter", "diameter"]),
        ("pocket", {"clearance": "1 mm", "notch": [{"side": "up"}]}, ["pocket", "notch"]),
        ("pocket", {"clearance": "1 mm", "wood": {"species": "ash, white", "grain": "length",
                    "now": {"moisture": 99}}}, ["pocket", "wood", "now", "moisture"]),
    ],
)  # fmt: skip
def test_a_fault_of_the_job_names_its_key(tmp_path, table, value, key):
    (tmp_path / "a.jpg").touch()
    _, faults = inspect_record({**GOOD, table: value}, tmp_path / "a, [x] b" / "job.toml")
    keys = [key_of_error(fault, {**GOOD, table: value}) for fault in faults]
    assert key in keys


def test_a_remark_names_a_reading_or_a_photo():
    record = {"reading": [{"what": "width", "tool": "rule"}, {"what": "length", "tool": "tape"}],
              "photo": [{"file": "a.jpg"}, {"file": "b.jpg"}]}  # fmt: skip
    assert key_of(OfReading(2, "length", "tape"), record) == ["reading", 1]
    assert key_of(OfPhoto("b.jpg"), record) == ["photo", 1]
    assert key_of(OfKey(("reading",)), record) == ["reading"]
    assert key_of(OfKey(("frame", 0, "bar_x")), {"frame": {}}) == ["frame", "bar_x"]
    assert key_of(None, record, "mixed-units") == []
