"""Whole jobs by what the page says: only roles, names and words, as a person finds the way.

Sizes and themes take turns; `benchmarks/page_jobs.py` runs all of them.
"""

from itertools import product

import pytest
import rendered
from page_jobs import JOBS, bars, photo
from page_maker import SIZES, THEMES, Look, Maker, window
from served_page import CHROMIUM, FIREFOX, served

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytest.importorskip("axe_playwright_python", reason="axe-core is not installed")

BROWSERS = {"chromium": CHROMIUM, "firefox": FIREFOX}
LOOKS = [Look(size, theme) for theme, size in product(THEMES, SIZES)]
# On what the repository has, and one on photos from beside it.
IN_FIREFOX = ("inches throughout", "a wrong unit mended", "pale part on the dark sheet")

pytestmark = pytest.mark.whole


@pytest.fixture
def at_page(tmp_path):
    """At the page of an empty folder of jobs, in a look: `at_page(look)` gives the maker."""
    with sync_api.sync_playwright() as playwright, served(tmp_path / "jobs") as server:
        windows = []

        def opened(look):
            if BROWSERS[look.browser] is None:
                pytest.skip(f"{look.browser} is not installed")
            windows.append(window(playwright, look))
            maker = Maker(windows[-1].__enter__(), look)
            maker.page.goto(server.address)
            return maker

        yield opened
        for one in windows:
            one.__exit__(None, None, None)


def run(name, maker):
    if not JOBS[name].possible:
        pytest.skip("the rendered photos are not beside the project")
    JOBS[name].run(maker)


@pytest.mark.parametrize(
    ("name", "look"), [(name, LOOKS[i % len(LOOKS)]) for i, name in enumerate(JOBS)], ids=JOBS
)
def test_a_whole_job(name, look, at_page):
    run(name, at_page(look))


@pytest.mark.parametrize("name", IN_FIREFOX)
def test_a_whole_job_in_firefox(name, at_page):
    run(name, at_page(Look("tablet", "light", "firefox")))


@pytest.mark.skipif(not rendered.CASES, reason="the rendered photos are not beside the project")
def test_another_sheet_than_the_jobs_is_recognised_and_its_bars_serve_the_next_job(at_page):
    case, maker = "maple-board-round-ends", at_page(Look("phone"))
    maker.begin("maple board")
    maker.told("Print the sheet at actual size")
    maker.go("Photos")
    maker.add_photo(photo(case, 1), "left end")
    maker.told("The photo shows the A3 sheet; the job says A4 sheet.")
    maker.press_next("Use A3 sheet")
    maker.told("Measure the part's thickness")
    maker.go("Frame")
    bars(maker, case)
    maker.page.get_by_role("button", name="New print", disabled=False).wait_for()

    maker.page.get_by_role("link", name="Snugline, all jobs").click()
    maker.begin("maple lid")
    maker.choose("Paper", "A3")
    prints = maker.page.get_by_label("Which print?")
    prints.select_option(index=1)
    maker.page.get_by_role("button", name="New print", disabled=False).wait_for()
    value = maker.page.get_by_label("Bar x as measured", exact=True).input_value()
    assert value == "199.7 mm"


def test_the_sample_is_tried_renamed_copied_deleted_and_put_back(at_page, tmp_path):
    maker = at_page(Look("phone", "dark"))
    page = maker.page
    maker.press("Try the sample")
    maker.heading("The frame")
    page.get_by_role("link", name="Snugline, all jobs").click()
    jobs = page.get_by_role("region", name="Jobs")
    jobs.get_by_text("More", exact=True).click()
    maker.press("Copy: basalt plate, sample", jobs)
    jobs.get_by_label("Name of the copy").fill("slate lid")
    maker.press("Save", jobs)
    jobs.get_by_text("slate lid", exact=True).wait_for()
    maker.checked("jobs")
    jobs.get_by_label("Search").fill("slate")
    jobs.get_by_text("basalt plate, sample", exact=True).wait_for(state="detached")
    jobs.get_by_text("More", exact=True).click()
    with page.expect_download() as download:
        jobs.get_by_role("link", name="Save as zip: slate lid").click()
    maker.press("Delete: slate lid", jobs)
    jobs.get_by_text("slate lid", exact=True).wait_for(state="detached")
    maker.press("Put slate-lid back", jobs)
    jobs.get_by_text("slate lid", exact=True).wait_for()
    with page.expect_file_chooser() as chooser:
        maker.press("Open a zip", jobs)
    zipped = tmp_path / "slate.zip"
    download.value.save_as(zipped)
    chooser.value.set_files(zipped)
    maker.heading("The frame")
    taken_in = (tmp_path / "jobs" / "slate-lid-2" / "job.toml").read_bytes()
    assert taken_in == (tmp_path / "jobs" / "slate-lid" / "job.toml").read_bytes()
