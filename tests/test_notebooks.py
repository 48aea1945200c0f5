"""The notebooks run from top to bottom, and are stored without what they printed."""

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

pytestmark = pytest.mark.whole

DRAWS = re.compile(r"plt\.subplots|SVG\(")
NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


def test_there_is_a_notebook():
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_is_stored_without_outputs(path):
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_it_runs(path, monkeypatch):
    monkeypatch.setenv("MPLBACKEND", "module://matplotlib_inline.backend_inline")
    book = nbformat.read(path, as_version=4)
    resources = {"metadata": {"path": str(path.parent)}}
    NotebookClient(book, timeout=300, kernel_name="python3", resources=resources).execute()
    pictures = [
        output
        for cell in book.cells
        if cell.cell_type == "code"
        for output in cell.outputs
        if {"image/png", "image/svg+xml"} & set(output.get("data", ()))
    ]
    drawing = [c for c in book.cells if c.cell_type == "code" and DRAWS.search(c.source)]
    assert drawing
    assert len(pictures) >= len(drawing)
