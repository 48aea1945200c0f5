"""Pages that belong to no job: the test of phone and print, and the components."""

from pathlib import Path

import pytest
from acceptance_scenes import CARD_THAT_PASSES, photograph
from served_page import CHROMIUM, chromium, served

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe = pytest.importorskip("axe_playwright_python", reason="axe-core is not installed")

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]

AXE = (Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
LOOKS = [
    {"viewport": {"width": 390, "height": 844}, "has_touch": True, "color_scheme": "light"},
    {"viewport": {"width": 820, "height": 1180}, "color_scheme": "dark"},
    {"viewport": {"width": 1440, "height": 900}, "color_scheme": "light"},
    {"viewport": {"width": 390, "height": 844}, "has_touch": True, "color_scheme": "dark"},
]
# Texts that are wider than their boxes, or that stand out of the window.
CUT_OFF = """[...document.querySelectorAll("main *")].filter((one) => one.offsetParent &&
  [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim()) &&
  getComputedStyle(one).overflowX !== "auto" && one.scrollWidth > one.clientWidth + 1 &&
  getComputedStyle(one).display !== "inline").map((one) => one.textContent.slice(0, 40))"""


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages") / "jobs"
    folder.mkdir()
    with served(folder) as running:
        yield running


@pytest.fixture(scope="module")
def browser():
    with sync_api.sync_playwright() as playwright, chromium(playwright) as running:
        yield running


def opened(browser, server, rest, look):
    page = browser.new_context(**look, bypass_csp=True).new_page()
    page.set_default_timeout(240_000)
    page.goto(f"{server.address}/{rest}")
    page.get_by_role("heading", level=2).first.wait_for()
    return page


def check(page):
    page.evaluate(AXE)
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    wrong = [f"{one['id']}: {[n['target'] for n in one['nodes']]}" for one in found["violations"]]
    over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert (wrong, max(over, 0), page.evaluate(CUT_OFF)) == ([], 0, [])


@pytest.mark.parametrize("look", LOOKS, ids=["phone", "tablet", "desktop", "phone-dark"])
@pytest.mark.parametrize("rest", ["?page=prove", "?page=components", ""])
def test_pages_without_a_job_are_whole_at_every_size(browser, server, rest, look):
    page = opened(browser, server, rest, look)
    page.wait_for_load_state("networkidle")
    check(page)
    page.context.close()


def test_a_card_proves_phone_and_print_from_the_first_screen(browser, server, tmp_path):
    card = tmp_path / "card.jpg"
    photograph(CARD_THAT_PASSES, card)
    page = opened(browser, server, "", LOOKS[0])
    page.get_by_role("link", name="Test phone and print").click()
    page.get_by_text("Never a payment or identity card").wait_for()
    page.get_by_text("Still missing: the two bars of the print; a photo.").wait_for()
    test = page.get_by_role("button", name="Test", exact=True)
    assert test.is_disabled()
    for axis, text in (("x", "200.6 mm"), ("y", "120.36 mm")):
        page.get_by_label(f"Bar {axis} as measured", exact=True).fill(text)
        page.keyboard.press("Enter")
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Choose photos").click()
    chooser.value.set_files(card)
    page.get_by_text("ready", exact=True).wait_for()
    test.click()
    result = page.get_by_role("region", name="Result")
    result.get_by_text(
        "ID-1 card: passes: every size error is within 0.20 mm by its U95"
    ).wait_for()
    result.get_by_text("Kept for rendered and this print").wait_for()
    result.get_by_text("Take at least 3, and move and turn the object between them.").wait_for()
    assert result.get_by_role("row").count() == 4
    check(page)
    page.get_by_role("region", name="Tests kept").get_by_text("rendered on border-a4").wait_for()
    # Another object than the one that lies there is told as such.
    page.get_by_role("radio", name="Paper").check()
    page.get_by_label("Which one?").select_option("a6")
    test.click()
    result.get_by_text("which is not the A6 sheet").wait_for()
    page.context.close()
