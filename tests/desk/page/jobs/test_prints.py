"""The shop's printed sheets, each with its bars."""

from datetime import date

import pytest

from snugline.desk.page.jobs.prints import Prints
from snugline.errors import FileError, InputError


@pytest.fixture
def prints(tmp_path):
    return Prints(tmp_path / "data" / "prints.json")


def table(bar_x, bar_y, sheet="border-a4"):
    return {"description": sheet, "bar_x": bar_x, "bar_y": bar_y}


def bars(prints):
    return [(one.sheet, one.bar_x, one.bar_y) for one in prints.all()]


def test_a_print_is_kept_under_sheet_and_month_when_both_bars_are_read(prints):
    assert prints.all() == ()
    prints.keep({"description": "border-a4", "bar_x": "199.5 mm"})
    assert prints.all() == ()
    prints.keep(table("199.5 mm", ["119.8 mm", "119.9 mm"]))
    (kept,) = prints.all()
    assert kept.name == f"A4 sheet, printed in {date.today():%b}"
    assert (kept.bar_x, kept.bar_y) == (("199.5 mm",), ("119.8 mm", "119.9 mm"))
    prints.keep(table("199.5 mm", ["119.8 mm", "119.9 mm"]))
    assert len(prints.all()) == 1


def test_a_correction_goes_to_the_print_and_new_bars_are_a_new_print(prints):
    first = table("199.5 mm", "119.8 mm")
    prints.keep(first)
    prints.keep(table("199.6 mm", "119.8 mm"), before=first)
    assert bars(prints) == [("border-a4", ("199.6 mm",), ("119.8 mm",))]
    prints.keep(table("200.1 mm", "120.0 mm"), before={"description": "border-a4"})
    prints.keep(table("200.2 mm", "120.0 mm"))
    assert len(prints.all()) == 3
    assert len({one.name for one in prints.all()}) == 3


@pytest.mark.parametrize(
    "wrong",
    [
        table("19.95 mm", "119.8 mm"),  # ten times too small
        table("199.5 mm", "117 mm"),  # the axes differ by 2 %
        table("nonsense", "119.8 mm"),
        table("199.5 mm", "119.8 mm", sheet="own.json"),
    ],
)
def test_what_no_print_can_have_is_not_kept(prints, wrong):
    prints.keep(wrong)
    assert prints.all() == ()


def test_prints_are_renamed_and_forgotten(prints):
    prints.keep(table("199.5 mm", "119.8 mm"))
    (kept,) = prints.all()
    prints.rename(kept.key, " the one on the bench ")
    assert prints.all()[0].name == "the one on the bench"
    with pytest.raises(InputError):
        prints.rename(kept.key, "  ")
    with pytest.raises(LookupError):
        prints.rename("other", "name")
    prints.remove(kept.key)
    assert prints.all() == ()


def test_a_damaged_file_is_named_and_left_alone(prints):
    prints.path.parent.mkdir()
    prints.path.write_text('{"schema": "something else"}')
    with pytest.raises(FileError, match=r"prints\.json"):
        prints.keep(table("199.5 mm", "119.8 mm"))
    assert prints.path.read_text() == '{"schema": "something else"}'


def test_bars_typed_on_the_page_are_offered_to_the_next_job(ask, monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    frame = [
        {"path": ["frame", "bar_x"], "was": None, "now": "199.5 mm"},
        {"path": ["frame", "bar_y"], "was": None, "now": "119.8 mm"},
    ]
    answers = ask(
        ("POST", "/api/jobs", {"json": {"name": "tray"}}),
        ("POST", "/api/jobs/tray/changes", {"json": {"changes": frame}}),
        ("GET", "/api/prints"),
        ("POST", "/api/jobs", {"json": {"name": "lid"}}),
        ("GET", "/api/jobs/lid"),
    )
    (kept,) = answers[2].json()["prints"]
    assert (kept["sheet"], kept["bar_x"], kept["bar_y"]) == (
        "border-a4",
        ["199.5 mm"],
        ["119.8 mm"],
    )
    assert answers[4].json()["job"]["frame"] == {"description": "border-a4"}
    renamed, removed = ask(
        ("PUT", f"/api/prints/{kept['key']}", {"json": {"name": "bench"}}),
        ("DELETE", f"/api/prints/{kept['key']}"),
    )
    assert renamed.json()["prints"][0]["name"] == "bench"
    assert removed.json() == {"prints": []}


def test_a_print_forgotten_by_mistake_comes_back_under_its_name(tmp_path):
    prints = Prints(tmp_path / "prints.json")
    table = {"description": "border-a4", "bar_x": ["199.5 mm", "199.6 mm"], "bar_y": "119.8 mm"}
    prints.keep(table)
    (one,) = prints.all()
    prints.rename(one.key, "office printer")
    prints.remove(one.key)
    assert prints.all() == ()
    prints.restore(table, "office printer")
    (back,) = prints.all()
    assert (back.name, back.bar_x, back.bar_y) == (
        "office printer", ("199.5 mm", "199.6 mm"), ("119.8 mm",),
    )  # fmt: skip
    with pytest.raises(InputError, match="no print"):
        prints.restore({**table, "bar_x": "20 mm"}, "slip")
