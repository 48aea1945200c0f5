"""Whole jobs by what the page says: only roles, names and words, as a person finds their way.

Each leads along the line "What to do next". Sizes and themes take turns; axe-core with all rules
looks at every step.
"""

import json
import os
import time
import tomllib
from pathlib import Path

import pytest
import rendered
from served_page import CHROMIUM, chromium, served

from snugline.desk.page.jobs.job_moves import sample_folder

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe = pytest.importorskip("axe_playwright_python", reason="axe-core is not installed")

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
    pytest.mark.skipif(not rendered.CASES, reason="the rendered photos are not beside the project"),
]

SLOW_MS = 240_000  # for a machine that does other work besides
LOOKS = [
    {"viewport": {"width": 390, "height": 844}, "has_touch": True, "color_scheme": "light"},
    {"viewport": {"width": 820, "height": 1180}, "color_scheme": "dark"},
    {"viewport": {"width": 1440, "height": 900}, "color_scheme": "light"},
    {"viewport": {"width": 390, "height": 844}, "has_touch": True, "color_scheme": "dark"},
    {"viewport": {"width": 820, "height": 1180}, "color_scheme": "light"},
    {"viewport": {"width": 1440, "height": 900}, "color_scheme": "dark"},
]
AXE = (Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8")


class Maker:
    """Someone at the page, who reads it and does what it says."""

    def __init__(self, page, folder):
        self.page, self.folder, self.wrong = page, folder, []
        page.set_default_timeout(SLOW_MS)
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        page.on("console", lambda said: said.type == "error" and self.wrong.append(said.text))

    @property
    def next(self):
        return self.page.get_by_role("region", name="What to do next")

    def told(self, words):
        self.next.get_by_text(words).wait_for()

    def press_next(self, name):
        link = self.next.get_by_role("link", name=name, exact=True)
        link.or_(self.next.get_by_role("button", name=name, exact=True)).first.click()

    def go(self, step):
        steps = self.page.get_by_role("navigation", name="Steps of the job")
        steps.get_by_role("link", name=step).click()
        self.checked(step)

    def begin(self, name):
        self.checked("start")
        self.page.get_by_label("What is the part called?").fill(name)
        self.page.keyboard.press("Enter")
        self.page.get_by_role("heading", name="The frame", exact=True).wait_for()
        self.checked("frame")

    def type_in(self, label, text, nth=0):
        self.page.get_by_label(label, exact=True).nth(nth).fill(text)
        self.page.keyboard.press("Enter")

    def add_photo(self, path, shows=None):
        with self.page.expect_file_chooser() as chooser:
            self.page.get_by_role("button", name="Choose photos").click()
        chooser.value.set_files(path)
        cards = self.page.get_by_role("listitem", name="photo-")
        cards.nth(self.photos).get_by_label("Shows the").wait_for()
        if shows:
            cards.nth(self.photos).get_by_label("Shows the").select_option(shows)
        self.photos += 1

    photos = 0

    def read(self, what, text):
        taken = self.page.get_by_role("region", name="Readings taken")
        taken.get_by_role("button", name=what, exact=True).click()
        # The one being typed stands first, with a button to give it up.
        cancel = taken.get_by_role("button", name="Cancel")
        cancel.wait_for()
        taken.get_by_role("textbox").first.fill(text)
        self.page.keyboard.press("Enter")
        cancel.wait_for(state="detached")

    def checked(self, step):
        """axe-core with all its rules, and nothing wider than the window."""
        page = self.page
        page.get_by_role("heading", level=2).first.wait_for()
        if not page.evaluate("'axe' in window"):
            page.evaluate(AXE)
        found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
        wrong = [
            f"{one['id']}: {[n['target'] for n in one['nodes']]}" for one in found["violations"]
        ]
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert (step, wrong, self.wrong, max(over, 0)) == (step, [], [], 0)

    def answer(self, rest):
        address = json.dumps(f"/api/jobs/{rest}")
        return self.page.evaluate(f"fetch({address}).then((answer) => answer.json())")

    def until(self, holds):
        """The page is ahead of the file for a moment."""
        end = time.monotonic() + SLOW_MS / 1000
        while not holds():
            assert time.monotonic() < end
            self.page.wait_for_timeout(100)

    def in_file(self, job):
        return tomllib.loads((self.folder / job / "job.toml").read_text(encoding="utf-8"))


@pytest.fixture
def maker(request, tmp_path):
    look = LOOKS[getattr(request, "param", 0) % len(LOOKS)]
    folder = tmp_path / "jobs"
    folder.mkdir()
    with (
        served(folder) as server,
        sync_api.sync_playwright() as playwright,
        chromium(playwright) as browser,
    ):
        page = browser.new_context(**look, bypass_csp=True).new_page()
        page.goto(server.address)
        yield Maker(page, folder)


def reading(case, what):
    found = next(one for one in rendered.readings_of(case) if one["what"] == what)
    return f"{found['value']} {found['unit']}"


@pytest.mark.parametrize("maker", [0], indirect=True)
def test_another_sheet_than_the_jobs_is_recognised_and_its_bars_serve_the_next_job(maker):
    case = "maple-board-round-ends"
    maker.begin("maple board")
    maker.told("Print the sheet at actual size")
    maker.go("Photos")
    maker.add_photo(rendered.PHOTOS / case / "photo-1.jpg", "left end")
    maker.told("The photo shows the A3 sheet; the job says A4 sheet.")
    maker.press_next("Use A3 sheet")
    maker.told("Measure the part's thickness")
    maker.until(lambda: maker.in_file("maple-board")["frame"] == {"description": "border-a3"})
    maker.go("Frame")
    maker.type_in("Bar x as measured", reading(case, "scale bar x"))
    maker.type_in("Bar y as measured", reading(case, "scale bar y"))
    maker.page.get_by_role("button", name="New print").wait_for()
    maker.until(lambda: "bar_y" in maker.in_file("maple-board")["frame"])
    bars = maker.in_file("maple-board")["frame"]

    maker.page.get_by_role("link", name="Snugline, all jobs").click()
    maker.begin("maple lid")
    maker.page.get_by_label("Paper", exact=True).select_option("A3")
    prints = maker.page.get_by_label("Which print?")
    prints.select_option(index=1)
    maker.page.get_by_role("button", name="New print").wait_for()
    maker.until(lambda: maker.in_file("maple-lid")["frame"] == bars)


@pytest.mark.parametrize("maker", [1], indirect=True)
def test_a_part_over_two_sheets(maker):
    case = "walnut-shelf-two-sheets"
    maker.begin("walnut shelf")
    maker.go("Photos")
    for number in (1, 3, 5):
        maker.add_photo(rendered.PHOTOS / case / f"photo-{number}.jpg", "section")
    maker.told("The photo also shows the A4 sheet no. 2")
    maker.press_next("Add A4 sheet no. 2")
    maker.told("Measure the part's thickness")
    maker.go("Frame")
    for nth, suffix in ((0, ""), (1, ", sheet 2")):
        for axis in "xy":
            text = reading(case, f"scale bar {axis}{suffix}")
            maker.type_in(f"Bar {axis} as measured", text, nth)
    maker.press_next("Enter the thickness")
    for what in ("thickness", "length"):
        maker.read(what.capitalize(), reading(case, what))
    maker.go("Outline")
    maker.page.get_by_label("Symmetry").select_option("none")
    maker.until(lambda: maker.answer("walnut-shelf")["outline"]["state"] in ("ready", "refused"))
    assert maker.answer("walnut-shelf")["outline"]["error"] is None
    found = maker.answer("walnut-shelf/outline")
    truth = rendered.truth_of(case)["true_size"]
    assert abs(found["length"]["value"] - truth["length"]) < max(found["length"]["u95"], 0.15)


@pytest.mark.parametrize("maker", [2], indirect=True)
def test_a_wrong_unit_closes_the_pocket_and_is_mended(maker):
    case = "basalt-panel-two-ends"
    maker.begin("basalt plate")
    for axis in "xy":
        maker.type_in(f"Bar {axis} as measured", reading(case, f"scale bar {axis}"))
    maker.press_next("Take the first photo")
    for number, shows in ((1, "left end"), (2, "right end")):
        maker.add_photo(rendered.PHOTOS / case / f"photo-{number}.jpg", shows)
    maker.press_next("Enter the thickness")
    maker.read("Thickness", reading(case, "thickness"))
    maker.read("Length", "16.44 mm")  # inches, typed as millimetres
    maker.told("Not to be cut.")
    maker.go("Pocket")
    assert maker.answer("basalt-plate")["plan"]["state"] == "missing"
    maker.go("Readings")
    maker.page.get_by_role("button", name="Undo: reading of the length").click()
    maker.told("Measure the length with a tape")
    maker.read("Length", reading(case, "length"))
    maker.told("The outline is ready. Choose the clearance")
    maker.press_next("Choose the clearance")
    maker.type_in("Clearance", "0.4 mm")
    maker.told("Everything is there. Make the files.")
    maker.press_next("Make the files")
    maker.told("Print the template and lay the part on it")
    maker.go("Files")
    made = os.listdir(maker.folder / "basalt-plate" / "job-result")
    assert "outline.svg" in made


@pytest.mark.parametrize("maker", [3], indirect=True)
@pytest.mark.skipif(sample_folder() is None, reason="installed without the sample job")
def test_the_sample_is_tried_renamed_copied_deleted_and_put_back(maker):
    page = maker.page
    page.get_by_role("button", name="Try the sample").click()
    page.get_by_role("heading", name="The frame", exact=True).wait_for()
    home = page.get_by_role("link", name="Snugline, all jobs")
    home.click()
    jobs = page.get_by_role("region", name="Jobs")
    jobs.get_by_text("More", exact=True).click()
    jobs.get_by_role("button", name="Copy: basalt plate, sample").click()
    jobs.get_by_label("Name of the copy").fill("slate lid")
    jobs.get_by_role("button", name="Save", exact=True).click()
    jobs.get_by_text("slate lid", exact=True).wait_for()
    maker.checked("jobs")
    jobs.get_by_label("Search").fill("slate")
    jobs.get_by_text("basalt plate, sample", exact=True).wait_for(state="detached")
    jobs.get_by_text("More", exact=True).click()
    with page.expect_download() as download:
        jobs.get_by_role("link", name="Save as zip: slate lid").click()
    jobs.get_by_role("button", name="Delete: slate lid").click()
    jobs.get_by_text("slate lid", exact=True).wait_for(state="detached")
    jobs.get_by_role("button", name="Put slate-lid back").click()
    jobs.get_by_text("slate lid", exact=True).wait_for()
    with page.expect_file_chooser() as chooser:
        jobs.get_by_role("button", name="Open a zip").click()
    zipped = maker.folder.parent / "slate.zip"
    download.value.save_as(zipped)
    chooser.value.set_files(zipped)
    page.get_by_role("heading", name="The frame", exact=True).wait_for()
    assert maker.in_file("slate-lid-2") == maker.in_file("slate-lid")
