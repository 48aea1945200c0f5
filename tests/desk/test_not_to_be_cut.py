"""A result that is not to be cut: report and record with the cause first, and no drawing."""

import json

import pytest
import rendered

from snugline.desk.job import read_job
from snugline.desk.job_run import Making, finish
from snugline.desk.result_record import has_sizes, summary
from snugline.fit.result_state import ResultState

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(
        not rendered.CASES, reason="the rendered cases are not beside the repository"
    ),
]
CASE = "steel-plate-same-phone"
DRAWINGS = (".svg", ".dxf", ".pdf")


@pytest.fixture
def finished(tmp_path):
    def run(old, new, **making):
        path = tmp_path / "job.toml"
        text = rendered.job_text(CASE, pocket=True)
        assert old in text
        path.write_text(text.replace(old, new))
        job = read_job(path)
        contours = rendered.contours_from_truth(CASE, job.frames()[0])
        return finish(job, contours, {}, making=Making(**making))

    return run


def test_a_slip_leaves_report_and_record_and_no_drawing(finished):
    result = finished('value = "94.56 mm"', 'value = "9.456 mm"')
    assert result.record["state"] == "not to be cut"
    assert result.record["because"][0] == "reading-contradicted"
    assert sorted(result.files) == ["report.html", "result.json"]
    first = result.record["warnings"][0]
    assert first["code"] == "reading-contradicted"
    assert "9.46 mm cannot be right" in first["text"]
    assert "Ten times too small? Then it is 94.56 mm" in first["mend"]
    assert first["about"]["what"] == "width"
    record = json.loads(result.files["result.json"])
    assert record["schema"] == "snugline/result/2"
    head = summary(record, "out")[0]
    assert "not to be cut. Reading 2 (width, caliper): The width of 9.46 mm" in head
    page = result.files["report.html"].decode()
    assert page.index("Not to be cut from.") < page.index("cannot be right") < page.index("<main>")


def test_an_unlikely_thickness_leaves_no_drawing_and_stands_first(finished):
    result = finished('thickness = "3.96 mm"', 'thickness = "3.96 in"')
    assert result.record["state"] == "not to be cut"
    assert sorted(result.files) == ["report.html", "result.json"]
    assert "100.58 mm cannot be right" in result.record["warnings"][0]["text"]


def test_asked_for_anyway_its_drawings_say_unverified_everywhere(finished):
    result = finished('value = "94.56 mm"', 'value = "9.456 mm"', anyway=True)
    drawings = [name for name in result.files if name.endswith(DRAWINGS)]
    assert drawings
    assert all("unverified" in name for name in drawings)
    for name in (n for n in drawings if n.endswith((".svg", ".dxf"))):
        assert b"unverified" in result.files[name]
    assert result.record["state"] == "not to be cut"


def test_the_right_job_is_usable_and_drawn_and_asks_for_a_second_reading(finished):
    result = finished('value = "94.56 mm"', 'value = "94.56 mm"')
    assert result.record["state"] == "usable"
    assert "one-reading" in result.record["because"]
    assert "outline.dxf" in result.files


def test_only_an_outline_that_can_be_the_part_s_has_sizes():
    slip = ResultState("not to be cut", ("reading-contradicted",), ())
    misfit = ResultState("not to be cut", ("outline-not-fitted",), ())
    assert [has_sizes(state) for state in (slip, misfit)] == [True, False]
