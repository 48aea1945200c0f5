"""A part over two sheets, done through the server as the command line does it."""

import json
import tomllib

import pytest
import rendered

from snugline.desk.batch import run_one
from snugline.desk.job_run import Making

CASE = "walnut-shelf-two-sheets"

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(not rendered.CASES, reason="the rendered cases are not beside the project"),
]


def test_a_part_over_two_sheets_gives_the_command_lines_outline(serving, tmp_path):
    record = tomllib.loads(rendered.job_text(CASE))
    job = serving.new_job("walnut shelf")
    part = {key: record["part"][key] for key in ("thickness", "edge_radius", "draft", "symmetry")}
    for key, value in part.items():
        assert serving.change(job, (["part", key], None, value)).status_code == 200
    for number in (1, 3):  # each shows one sheet alone
        assert upload(serving, job, number).status_code == 201
    # The page starts with one sheet; the photo says that another lies under the other end.
    found = serving.wait(job, lambda found: all(photo["sheets"] for photo in found["photos"]))
    assert [photo["sheets"][0]["name"] for photo in found["photos"]] == ["border-a4", "border-a4-2"]
    assert found["photos"][1]["state"] == "refused"

    bars = [{key: frame[key] for key in ("bar_x", "bar_y")} for frame in record["frame"]]
    one = {"description": "border-a4"}
    both = [{**one, **bars[0]}, {"description": "border-a4-2", **bars[1]}]
    assert serving.change(job, (["frame"], one, both)).status_code == 200
    # Each is traced on the sheet that it shows, though nothing ties the two together yet.
    found = serving.wait(job, lambda found: [p["state"] for p in found["photos"]] == ["done"] * 2)
    found = serving.wait(job, lambda found: found["outline"]["state"] == "refused")
    assert "together with another one" in found["outline"]["error"]["what"]

    assert upload(serving, job, 5).status_code == 201  # shows both
    for number, reading in enumerate(record["reading"]):
        assert serving.change(job, (["reading", number], None, reading)).status_code == 200
    serving.wait(
        job,
        lambda found: (
            [p["state"] for p in found["photos"]] == ["done"] * 3
            and found["outline"]["state"] == "ready"
            and not serving.browser.get(job + "/outline").json()["stale"]
        ),
        seconds=240,
    )
    outline = serving.browser.get(job + "/outline").json()
    truth = rendered.truth_of(CASE)["true_size"]
    assert abs(outline["length"]["value"] - truth["length"]) < max(outline["length"]["u95"], 0.15)

    out = tmp_path / "out"
    run_one(serving.folder / "walnut-shelf" / "job.toml", out, Making())
    by_command = json.loads((out / "result.json").read_text())
    assert by_command["outline"]["length"]["value"] == outline["length"]["value"]


def upload(serving, job, number):
    content = (rendered.PHOTOS / CASE / f"photo-{number}.jpg").read_bytes()
    return serving.browser.post(job + "/photos", params={"shows": "section"}, content=content)
