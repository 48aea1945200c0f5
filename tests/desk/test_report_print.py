"""The report on paper: two pages of A4, bars and drawings on them."""

import re
from pathlib import Path

import pytest
from served_page import CHROMIUM, chromium

from snugline.desk.job import read_job
from snugline.desk.job_run import run_job

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

SAMPLE = Path(__file__).parents[2] / "samples" / "basalt-plate-in-ash-board" / "job.toml"


@pytest.mark.whole
@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
def test_the_sample_s_report_prints_on_two_pages_with_its_bars(tmp_path):
    report = tmp_path / "report.html"
    report.write_bytes(run_job(read_job(SAMPLE)).files["report.html"])
    with sync_api.sync_playwright() as playwright, chromium(playwright) as browser:
        page = browser.new_page()
        page.goto(report.as_uri())
        printed = page.pdf(format="A4", prefer_css_page_size=True)
        page.emulate_media(media="print")
        bar = page.locator(".bar").first
        adjusts = bar.evaluate("(bar) => getComputedStyle(bar).printColorAdjust")
    assert len(re.findall(rb"/Type\s*/Page[^s]", printed)) == 2
    assert adjusts == "exact"  # browsers leave backgrounds out otherwise
