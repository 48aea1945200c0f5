"""The benchmarks are not run here, but what they import of the program is still there."""

import ast
import importlib
from pathlib import Path

import pytest

FILES = sorted((Path(__file__).parents[1] / "benchmarks").glob("*.py"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_what_a_benchmark_imports_is_there(file):
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("snugline"):
            module = importlib.import_module(node.module)
            for name in node.names:
                if not hasattr(module, name.name):
                    importlib.import_module(f"{node.module}.{name.name}")
