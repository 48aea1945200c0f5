"""The page's own unit tests, run by node where there is one."""

import re
import shutil
import subprocess
from pathlib import Path
from typing import get_args

import pytest

from snugline.fit.shapes.family_words import OutlineFamily

ROOT = Path(__file__).parents[3]
NODE = shutil.which("node")


@pytest.mark.skipif(NODE is None, reason="node is not installed")
def test_what_the_page_computes():
    files = sorted((ROOT / "tests" / "javascript").glob("*.test.js"))
    assert files
    run = subprocess.run([NODE, "--test", *files], capture_output=True, text=True, cwd=ROOT)
    assert run.returncode == 0, run.stdout + run.stderr


def test_the_page_offers_the_families_that_a_job_may_name():
    script = (ROOT / "desk/page/static/steps/outline.js").read_text(encoding="utf-8")
    (offered,) = re.findall(r"const FAMILIES = \[.*?\.\.\.\[(.*?)\]", script, re.DOTALL)
    words = re.findall(r'"([^"]+)"', offered)
    assert ["auto", *words] == list(get_args(OutlineFamily))
