"""The page's own unit tests, run by node where there is one."""

import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
NODE = shutil.which("node")


@pytest.mark.skipif(NODE is None, reason="node is not installed")
def test_what_the_page_computes():
    files = sorted((ROOT / "tests" / "javascript").glob("*.test.js"))
    assert files
    run = subprocess.run([NODE, "--test", *files], capture_output=True, text=True, cwd=ROOT)
    assert run.returncode == 0, run.stdout + run.stderr
