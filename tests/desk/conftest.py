"""A small frame and the rendered cases beside the repository, for the desk's tests."""

import pytest

from snugline.desk.cli import main


@pytest.fixture(autouse=True)
def no_learned_cameras(tmp_path_factory, monkeypatch):
    """The data folder of whoever runs the tests is left alone; gives the one used instead."""
    folder = tmp_path_factory.mktemp("cameras")
    monkeypatch.setattr("snugline.trace.known_cameras.camera_folder", lambda: folder)
    return folder


@pytest.fixture(autouse=True)
def no_acceptance_tests(tmp_path_factory, monkeypatch):
    """As above for acceptance tests; gives the folder used instead."""
    folder = tmp_path_factory.mktemp("acceptance")
    for module in ("acceptance_records", "job_run"):
        monkeypatch.setattr(f"snugline.desk.{module}.acceptance_folder", lambda: folder)
    return folder


@pytest.fixture
def frame_record():
    """Four markers round a window of 200 x 100 mm."""

    def marker(ident, x, y):
        corners = [[x, y + 20], [x + 20, y + 20], [x + 20, y], [x, y]]
        return {"id": ident, "corners": corners}

    return {
        "name": "four-markers",
        "units": "mm",
        "axes": "x right, y up, origin at the sheet's lower left corner",
        "sheet": [297, 210],
        "dictionary": "DICT_APRILTAG_36h11",
        "markers": [marker(0, 5, 5), marker(1, 270, 5), marker(2, 270, 180), marker(3, 5, 180)],
        "window": [[40, 40], [240, 40], [240, 140], [40, 140]],
        "scale_bars": {
            "x": {"ends": [[40, 160], [240, 160]], "nominal": 200.0},
            "y": {"ends": [[250, 40], [250, 160]], "nominal": 120.0},
        },
    }


@pytest.fixture
def snugline(capsys):
    """Run a command; gives its exit status, standard output and standard error."""

    def run(*arguments):
        with pytest.raises(SystemExit) as left:
            main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return left.value.code, captured.out, captured.err

    return run
