"""The drawing of the architecture is the one that the import rules give."""

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture
def make_architecture(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "docs"))
    monkeypatch.delitem(sys.modules, "make_architecture", raising=False)
    import make_architecture

    return make_architecture


def test_the_drawing_is_up_to_date(make_architecture):
    drawn = make_architecture.PICTURE.read_text(encoding="utf-8")
    assert drawn == make_architecture.drawing(), "run python docs/make_architecture.py"


def test_every_folder_of_trace_and_fit_is_in_it(make_architecture):
    rules = make_architecture.layers()
    for room in ("trace", "fit"):
        named = {name for row in rules[f"inside {room}"] for name in row}
        assert named == {
            path.stem
            for path in (ROOT / room).iterdir()
            if path.suffix == ".py" or (path / "__init__.py").is_file()
        } - {"__init__"}
