"""Whole jobs: what a result holds, and that a job which fails leaves nothing behind."""

import json
import shutil
from pathlib import Path

import ezdxf
import pytest
import rendered
import svgelements
from PIL import Image
from threadpoolctl import threadpool_info, threadpool_limits

from snugline.desk.batch import run_all
from snugline.desk.job import read_job
from snugline.desk.job_run import finish, overlay_names, run_job
from snugline.errors import SnuglineError

pytestmark = pytest.mark.whole

SAMPLE = Path(__file__).parents[2] / "samples" / "basalt-plate-in-ash-board"

needs_cases = pytest.mark.skipif(
    not rendered.CASES, reason="the rendered cases are not beside the repository"
)


def broken_job(folder, photo):
    """The sample's job with its first photo replaced by the given bytes."""
    folder.mkdir()
    for name in ("job.toml", "frame.json", "right-end.jpg"):
        shutil.copy(SAMPLE / name, folder / name)
    (folder / "left-end.jpg").write_bytes(photo)
    return folder / "job.toml"


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    """A job whose photo is none and the sample, run side by side in processes of their own."""
    folder = tmp_path_factory.mktemp("run")
    bad = broken_job(folder / "bad", b"no picture")
    jobs = [(bad, folder / "first"), (SAMPLE / "job.toml", folder / "second")]
    return run_all(jobs, False, 2, lambda text: None)


@pytest.fixture(scope="module")
def sample_result(outcomes):
    """The sample's folder and outcome."""
    outcome = outcomes[1]
    assert outcome.error is None
    return outcome.folder, outcome


def test_one_job_that_fails_stops_no_other(outcomes):
    first, second = outcomes
    assert isinstance(first.error, SnuglineError)
    assert "left-end.jpg" in str(first.error)
    assert not first.folder.exists()
    assert second.error is None
    assert (second.folder / "result.json").exists()


def test_the_sample_s_sizes_are_found_within_their_uncertainty(sample_result):
    # The sample is rendered: its README states what is known exactly.
    outline = sample_result[1].record["outline"]
    assert outline["family"] == "rounded rectangle"
    assert abs(outline["length"]["value"] - 418.0) <= outline["length"]["u95"]
    assert outline["width"]["value"] == pytest.approx(118.5, abs=0.15)
    assert len(outline["corners"]) == 4
    for corner in outline["corners"]:
        assert corner["family"] == "arc"
        assert corner["radius"]["value"] == pytest.approx(27.4, abs=0.15)
        assert corner["seen"]


def test_the_result_s_folder_holds_what_its_record_says(sample_result):
    folder, _ = sample_result
    record = json.loads((folder / "result.json").read_text())
    assert record["schema"] == "snugline/result/1"
    assert record["files"] == sorted(path.name for path in folder.iterdir())
    for name in ("outline.svg", "outline.dxf", "outline.pdf", "report.html"):
        assert name in record["files"]
    assert [photo["file"] for photo in record["photos"]] == ["left-end.jpg", "right-end.jpg"]
    for photo in record["photos"]:
        with Image.open(folder / f"overlay-{Path(photo['file']).stem}.png") as overlay:
            assert overlay.format == "PNG"


def test_drawings_read_by_others_have_the_outline_s_size(sample_result):
    folder, outcome = sample_result
    outline = outcome.record["outline"]
    length, width = outline["length"]["value"], outline["width"]["value"]
    svg = svgelements.SVG.parse(folder / "outline.svg", ppi=25.4)  # one user unit a millimetre
    (path,) = svg.select(lambda element: isinstance(element, svgelements.Path))
    low_x, low_y, high_x, high_y = path.bbox()
    assert (high_x - low_x, high_y - low_y) == pytest.approx((length, width), abs=1e-3)
    document = ezdxf.readfile(folder / "outline.dxf")
    assert not document.audit().errors
    (polyline,) = document.modelspace().query("LWPOLYLINE")
    assert polyline.closed
    assert len(polyline) == 8


@pytest.fixture
def finished(tmp_path):
    """Finish a rendered case on contours made from its truth."""

    def run(case, change=lambda text: text):
        path = tmp_path / "job.toml"
        path.write_text(change(rendered.job_text(case)))
        job = read_job(path)
        return finish(job, rendered.contours_from_truth(case, job.frames()[0]), {})

    return run


@needs_cases
@pytest.mark.parametrize(
    ("case", "family"),
    [
        ("steel-plate-same-phone", "rounded rectangle"),
        ("maple-board-round-ends", "stadium"),
        ("satin-tile-sharp-corners", "rectangle"),
        ("white-plate-chamfered", "chamfered rectangle"),
    ],
)
def test_contours_of_every_kind_become_a_whole_result(finished, case, family):
    result = finished(case)
    truth = rendered.truth_of(case)["true_size"]
    outline = result.record["outline"]
    assert outline["family"] == family
    for what in ("length", "width"):
        assert abs(outline[what]["value"] - truth[what]) <= max(outline[what]["u95"], 0.05)
    assert result.record["budget"]
    assert result.files["report.html"].startswith(b"<!doctype html>")


@needs_cases
def test_equal_input_gives_equal_bytes(finished):
    first, second = finished("steel-plate-same-phone"), finished("steel-plate-same-phone")
    assert first.files == second.files


@needs_cases
def test_drawings_are_written_in_the_job_s_unit(finished):
    result = finished("steel-plate-same-phone", lambda text: text + '\n[output]\nunits = "in"\n')
    assert result.record["units"] == "mm"
    assert b'in" ' in result.files["outline.svg"].split(b"viewBox")[0]
    assert b" in</td>" in result.files["report.html"]


def test_overlays_of_one_name_in_two_folders_are_told_apart():
    photos = [Path("a/left.jpg"), Path("b/left.jpg"), Path("left.png")]
    names = overlay_names(photos)
    assert list(names.values()) == [
        "overlay-left.png",
        "overlay-left-2.png",
        "overlay-left-3.png",
    ]


def test_a_job_is_measured_with_one_thread_so_that_its_bytes_are_the_same_everywhere(monkeypatch):
    seen = []

    def measure(job, finished):
        seen.extend(info["num_threads"] for info in threadpool_info() if info["user_api"] == "blas")
        raise SnuglineError("enough", "test", "stop")

    monkeypatch.setattr("snugline.desk.job_run.measure_job", measure)
    with pytest.raises(SnuglineError), threadpool_limits(2, "blas"):
        run_job(read_job(SAMPLE / "job.toml"))
    assert seen
    assert set(seen) == {1}
