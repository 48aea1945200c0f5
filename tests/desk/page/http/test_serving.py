"""A server as a shop runs it: the whole job, two windows, and an end in the middle of anything."""

import io
import json
import socket
import subprocess
import tomllib
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import rendered
from page_server import Window
from PIL import Image

from snugline.desk.batch import run_one
from snugline.desk.job_run import Making

pytestmark = pytest.mark.whole

CASE = "basalt-panel-two-ends"
DOCS = Path(__file__).parents[4] / "docs"

needs_cases = pytest.mark.skipif(
    not rendered.CASES, reason="the rendered cases are not beside the repository"
)


def photo(number):
    """A rendered photo at half its size, which is traced sooner."""
    stream = io.BytesIO()
    with Image.open(rendered.PHOTOS / CASE / f"photo-{number}.jpg") as image:
        exif = image.getexif()
        half = image.resize((image.width // 2, image.height // 2), Image.Resampling.BOX)
    half.save(stream, "JPEG", quality=92, exif=exif.tobytes())
    return stream.getvalue()


def plain(number=0, size=(64, 48)):
    stream = io.BytesIO()
    Image.new("RGB", size, (number, 90, 90)).save(stream, "PNG")
    return stream.getvalue()


@pytest.fixture(scope="module")
def finished(serving, tmp_path_factory):
    """A job done from the first photo to the files, as a page does it; and a window's events."""
    job = serving.new_job("Basalt panel")
    window = Window(serving, job)
    by_name = {reading["what"]: reading for reading in rendered.readings_of(CASE)}

    def length(what):
        return f"{by_name[what]['value']} {by_name[what]['unit']}"

    told = serving.change(
        job,
        (["part", "thickness"], None, length("thickness")),
        (["frame", "bar_x"], None, length("scale bar x")),
        (["frame", "bar_y"], None, length("scale bar y")),
        (["reading", 0], None, {"what": "length", "value": length("length"), "tool": "tape"}),
    )
    assert told.status_code == 200
    for number, shows in ((1, "left end"), (2, "right end")):
        answer = serving.browser.post(
            job + "/photos", params={"shows": shows}, content=photo(number)
        )
        assert answer.status_code == 201
    # One of the first photo alone may be ready before the second is in.
    serving.wait(
        job,
        lambda found: (
            [p["state"] for p in found["photos"]] == ["done", "done"]
            and found["outline"]["state"] == "ready"
        ),
    )
    planned = serving.change(
        job,
        (["pocket", "clearance"], None, ["0.25 mm", "0.5 mm"]),
        (["pocket", "cutter"], None, {"diameter": "6 mm"}),
        plan=1,
    ).json()
    assert serving.browser.post(job + "/finish").status_code == 202
    window.wait("files", lambda data: data["state"] == "ready" and not data["stale"])
    yield job, window, planned
    window.close()


def outline_and_photos(serving, job):
    found = serving.browser.get(job).json()
    return found, [serving.browser.get(f"{job}/photos/{p['id']}/contour").json()
                   for p in found["photos"]]  # fmt: skip


@needs_cases
def test_the_files_are_those_of_the_command_line_byte_for_byte(serving, finished, tmp_path):
    job, _, _ = finished
    path = serving.folder / "basalt-panel" / "job.toml"
    outcome = run_one(path, tmp_path / "out", Making())
    assert outcome.error is None
    names = {entry["name"] for entry in serving.browser.get(job).json()["files"]["list"]}
    assert names == {p.name for p in (tmp_path / "out").iterdir()}
    assert any(name.endswith(".dxf") for name in names)
    with zipfile.ZipFile(io.BytesIO(serving.browser.get(job + "/files.zip").content)) as archive:
        packed = {name: archive.read(name) for name in archive.namelist()}
    for name in names:
        given = serving.browser.get(f"{job}/files/{name}").content
        wanted = (tmp_path / "out" / name).read_bytes()
        assert packed[name] == given
        if name.endswith(".svg"):
            assert given == wanted
        assert given == wanted, name


@needs_cases
def test_photos_outline_and_plan_were_announced_as_they_came(finished):
    _, window, _ = finished
    events = [name for name, _ in window.events]
    states = [data["state"] for name, data in window.events if name == "photo"]
    assert {"waiting", "tracing", "done"} <= set(states)
    assert events.index("photo") < events.index("outline") or "outline" in events
    outline = [data["state"] for name, data in window.events if name == "outline"]
    assert outline[-1] == "ready"
    assert "fitting" in outline
    steps = {data["step"] for name, data in window.events if name == "files"}
    assert len(steps) > 2


@needs_cases
def test_the_outline_lies_on_the_contour_in_the_photo(serving, finished):
    import numpy as np

    job, _, _ = finished
    found, contours = outline_and_photos(serving, job)
    for contour, shown in zip(contours, found["photos"], strict=True):
        (curve,) = contour["curves"]
        seen = np.array(curve["px"])
        assert contour["width"], contour["height"] == (shown["width"], shown["height"])
        assert len(curve["residual"]) == len(curve["kept"]) == len(seen) == len(curve["mm"])
        kept = np.array(curve["kept"], dtype=bool)
        assert np.abs(np.array(curve["residual"])[kept]).max() < 0.3
        laid = np.concatenate([np.array(line) for line in contour["outline_px"]])
        away = np.min(np.linalg.norm(seen[:, None] - laid[None], axis=2), axis=1)
        # Half a millimetre at 0.28 mm a pixel; the vertices lie 1 mm apart.
        assert np.percentile(away, 95) < 2.5


@needs_cases
def test_turning_moves_what_is_shown_and_measures_nothing(serving, finished):
    job, _, _ = finished
    before, (contour, _) = outline_and_photos(serving, job)
    ident = before["photos"][0]["id"]
    turned = serving.browser.post(f"{job}/photos/{ident}/turn", json={"by": 90}).json()["photo"]
    assert (turned["width"], turned["height"]) == (contour["height"], contour["width"])
    assert turned["state"] == "done"
    after = serving.browser.get(f"{job}/photos/{ident}/contour").json()
    x, y = contour["curves"][0]["px"][0]
    assert after["curves"][0]["px"][0] == pytest.approx([contour["height"] - 1 - y, x], abs=1e-9)
    picture = serving.browser.get(f"{job}/photos/{ident}/picture", params={"width": "480"})
    with Image.open(io.BytesIO(picture.content)) as image:
        assert image.size[0] < image.size[1]
    assert serving.browser.get(job).json()["outline"]["key"] == before["outline"]["key"]
    serving.browser.post(f"{job}/photos/{ident}/turn", json={"by": 270})


@needs_cases
def test_the_plan_comes_with_the_change_that_asks_for_it(serving, finished):
    _, _, planned = finished
    plan = planned["plan"]["plan"]
    assert planned["plan"]["state"] == "ready"
    assert [sheet["clearance"] for sheet in plan["sheets"] if sheet["name"] == "pocket"] == [
        0.25,
        0.5,
    ]
    assert all(layer["d"].startswith("M") for layer in plan["sheets"][0]["layers"])


@needs_cases
def test_a_pocket_is_tried_without_changing_the_job(serving, finished):
    job, _, _ = finished
    before = serving.browser.get(job).json()["revision"]
    tried = serving.browser.post(job + "/plan", json={"pocket": {"clearance": "0.7 mm"}}).json()
    assert tried["sheets"][0]["clearance"] == 0.7
    bad = serving.browser.post(job + "/plan", json={"pocket": {"clearance": "wide"}})
    assert bad.status_code == 422
    assert "wide" in bad.json()["error"]["what"]
    assert serving.browser.get(job).json()["revision"] == before


@needs_cases
def test_every_field_of_outline_and_plan_is_in_the_documentation(serving, finished):
    job, _, planned = finished
    pages = (DOCS / "page-api.md").read_text(encoding="utf-8")
    told = {
        "## The outline": [serving.browser.get(job + "/outline").json()],
        "## The plan": [planned["plan"]["plan"], *planned["plan"]["plan"]["sheets"]],
    }
    for title, answers in told.items():
        section = pages.partition(title)[2].partition("\n## ")[0]
        keys = {key for answer in answers for key in answer}
        assert [key for key in sorted(keys) if f'"{key}"' not in section] == []


@needs_cases
def test_the_chances_about_a_clearance_are_those_of_its_plan(serving, finished):
    job, _, planned = finished
    asked = serving.browser.get(job + "/clearances", params={"of": 1, "step": 0.05})
    rungs = {rung["clearance"]: rung for rung in asked.json()["rungs"]}
    for pocket in planned["plan"]["plan"]["pockets"]:
        rung = rungs[pocket["clearance"]]
        assert rung["probability"] == pocket["goes_in"]["probability"]
        assert rung["words"] == pocket["goes_in"]["words"]
    low, high = asked.json()["suggested"]
    assert 0 <= low <= high < max(rungs)
    for wrong in ({"of": 7}, {"of": "x"}, {"step": "nan"}, {"step": 0}):
        assert serving.browser.get(job + "/clearances", params=wrong).status_code == 422


@needs_cases
def test_points_left_out_change_the_outline_without_tracing_again(serving, finished):
    job, _, _ = finished
    serving.wait(job, lambda found: found["outline"]["state"] == "ready")
    found, (contour, _) = outline_and_photos(serving, job)
    curve = contour["curves"][0]
    x, y = curve["mm"][len(curve["mm"]) // 2]
    table = {"photo": found["photos"][0]["file"], "at": [f"{x} mm", f"{y} mm"], "within": "5 mm"}
    assert serving.change(job, (["leave_out", 9], None, table)).status_code == 200
    old = found["outline"]["key"]
    serving.wait(
        job,
        lambda found: found["outline"]["state"] == "ready" and found["outline"]["key"] != old,
    )
    after, (without, _) = outline_and_photos(serving, job)
    assert without["key"] == contour["key"]
    assert 10 < sum(without["curves"][0]["left_out"]) < len(curve["px"]) / 3
    assert sum(curve["left_out"]) == 0
    assert after["files"]["stale"]
    serving.change(job, (["leave_out", 0], table, None))
    serving.wait(job, lambda found: found["outline"]["key"] == old)
    assert not serving.browser.get(job).json()["files"]["stale"]


def test_two_windows_see_each_other_s_changes_and_lose_none(serving):
    job = serving.new_job("two windows")
    first, second = Window(serving, job), Window(serving, job)
    told = serving.change(job, (["part", "thickness"], None, "9.5 mm")).json()
    for window in (first, second):
        window.wait("job", lambda data: data["revision"] == told["revision"])
    late = serving.change(job, (["part", "thickness"], None, "10 mm"))
    assert late.status_code == 409
    (conflict,) = late.json()["conflicts"]
    assert conflict["current"] == "9.5 mm"
    assert late.json()["job"]["part"]["thickness"] == "9.5 mm"

    def window_of_its_own(number):
        for step in range(5):
            was = f"{step - 1}" if step else None
            serving.change(job, (["pocket", f"note-{number}"], was, f"{step}"))

    with ThreadPoolExecutor(4) as windows:
        list(windows.map(window_of_its_own, range(4)))
    pocket = serving.browser.get(job).json()["job"]["pocket"]
    assert pocket == {f"note-{number}": "4" for number in range(4)}
    first.close()
    second.close()


def test_a_change_by_hand_is_seen_and_not_overwritten(serving):
    job = serving.new_job("by hand")
    window = Window(serving, job)
    path = serving.folder / "by-hand" / "job.toml"
    path.write_text(path.read_text().replace("[frame]", "# mine\n[frame]\nbar_x = '199 mm'"))
    window.wait("job")
    told = serving.change(job, (["frame", "bar_y"], None, "119 mm")).json()
    assert told["job"]["frame"]["bar_x"] == "199 mm"
    assert "# mine" in path.read_text()
    path.write_text("[part\n")
    found = serving.wait(job, lambda found: found["faults"])
    assert "TOML" in found["faults"][0]["what"]
    refused = serving.change(job, (["part", "name"], None, "x"))
    assert refused.status_code == 422
    assert path.read_text() == "[part\n"
    window.close()


def test_many_uploads_at_once_lose_no_photo(serving):
    job = serving.new_job("many")

    def upload(number):
        return serving.browser.post(
            job + "/photos", params={"name": f"{number}"}, content=plain(number)
        ).status_code

    with ThreadPoolExecutor(12) as windows:
        assert set(windows.map(upload, range(24))) == {201}
    found = serving.wait(job, lambda found: {p["state"] for p in found["photos"]} == {"refused"})
    assert len(found["photos"]) == 24
    folder = serving.folder / "many"
    contents = {(folder / p["file"]).read_bytes() for p in found["photos"]}
    assert contents == {plain(number) for number in range(24)}
    assert found["outline"]["state"] == "missing"
    assert serving.browser.post(job + "/photos", content=plain(3)).status_code == 409


def test_the_fit_is_recorded_with_what_the_job_says_of_the_cut(serving):
    job = serving.new_job("cut tray")
    serving.change(job, (["pocket", "machine"], None, "bench router"))
    answer = serving.browser.post(
        job + "/fitted", json={"clearance": "0.25 mm", "verdict": "tight", "wood": "poplar"}
    ).json()
    assert answer["cuts"] == 1
    (record,) = serving.browser.get(job + "/fitted").json()["records"]
    assert record["machine"] == "bench router"
    assert record["wood"] == "poplar"
    bad = serving.browser.post(job + "/fitted", json={"clearance": "0.25", "verdict": "tight"})
    assert bad.status_code == 422
    steps = {s["step"]: s["state"] for s in serving.browser.get(job).json()["steps"]}
    assert steps["fit"] == "done"
    changed = serving.browser.put(job + f"/fitted/{record['key']}", json={"verdict": "snug"})
    assert changed.json()["records"][0]["verdict"] == "snug"
    assert b"poplar" in serving.browser.get("/api/fitted.csv").content
    assert serving.browser.delete(job + f"/fitted/{record['key']}").json()["records"] == []
    assert len(serving.browser.post(job + "/fitted/undo", json={}).json()["records"]) == 1


def test_frames_and_lengths_are_given(serving):
    pdf = serving.browser.get("/api/frames/border-a4-2-dark.pdf")
    assert pdf.content.startswith(b"%PDF")
    assert "attachment" in pdf.headers["content-disposition"]
    frame = serving.browser.get("/api/frames/border-letter").json()
    assert frame["bars"]["x"] > 0
    lengths = serving.browser.post("/api/lengths", json={"texts": ["16 7/16 in", "4"]}).json()
    # 16 7/16 in is 417.5125 mm: 25.4 mm to the inch, exactly.
    assert lengths["lengths"][0]["mm"] == pytest.approx(417.5125)
    assert "unit" in lengths["lengths"][1]["error"]["what"]


def test_a_second_server_on_the_same_folder_is_refused(serving):
    command = [*serving.process.args[:5], "--no-open"]
    second = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert second.returncode == 2
    assert "another snugline serves this folder" in second.stderr


@needs_cases
def test_after_an_end_in_the_middle_of_everything_the_job_opens_as_it_last_was(serving, finished):
    job, _, _ = finished
    before, contours = outline_and_photos(serving, job)
    # In the middle of an upload, of a trace, of a new fit and of writing files.
    half = socket.create_connection(("127.0.0.1", serving.port))
    half.sendall(
        f"POST {job}/photos HTTP/1.1\r\nHost: 127.0.0.1:{serving.port}\r\nOrigin: {serving.url}\r\n"
        "Content-Length: 100000\r\n\r\n".encode()
        + bytes(50000)
    )
    serving.browser.post(job + "/finish")
    added = serving.browser.post(job + "/photos", params={"shows": "left end"}, content=photo(3))
    ident = added.json()["photo"]["id"]
    serving.change(job, (["part", "listed"], None, "418 x 118 mm"))
    serving.wait(job, lambda found: found["photos"][2]["state"] in ("tracing", "done"))
    serving.kill()
    half.close()
    folder = serving.folder / "basalt-panel"
    record = tomllib.loads((folder / "job.toml").read_text())
    assert record["part"]["listed"] == "418 x 118 mm"
    assert (folder / record["photo"][2]["file"]).read_bytes() == photo(3)

    serving.start()
    found = serving.browser.get(job).json()
    assert found["job"] == record
    assert [p["state"] for p in found["photos"]][:2] == ["done", "done"]
    assert not list((folder / ".snugline" / "incoming").glob("*"))
    # The third photo is traced without being asked for again; the other two need not be.
    found = serving.wait(job, lambda found: found["photos"][2]["state"] == "done")
    serving.browser.delete(f"{job}/photos/{ident}")
    serving.change(job, (["part", "listed"], "418 x 118 mm", None))
    found = serving.wait(job, lambda found: found["outline"]["state"] == "ready")
    again = outline_and_photos(serving, job)[1]
    assert found["outline"]["key"] == before["outline"]["key"]
    assert again == contours
    # Whole or as before: never a result in between.
    listed = json.loads((folder / "job-result" / "result.json").read_text())["files"]
    assert all((folder / "job-result" / name).is_file() for name in listed)
