"""What the page keeps while the server does not take it: values and photos, over a reload too."""

import tomllib
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from served_page import CHROMIUM, chromium, served

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

PHOTO = Path(__file__).parents[3] / "samples" / "basalt-plate-in-ash-board" / "left-end.jpg"

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]

JOB = """
[part]
name = "tray"
[frame]
description = "border-a4"
"""


@pytest.fixture
def jobs(tmp_path):
    folder = tmp_path / "jobs"
    (folder / "tray").mkdir(parents=True)
    (folder / "tray" / "job.toml").write_text(JOB, encoding="utf-8")
    return folder


@contextmanager
def window(address, step):
    with sync_api.sync_playwright() as playwright, chromium(playwright) as browser:
        page = browser.new_context().new_page()
        page.set_default_timeout(60_000)
        page.goto(f"{address}/?job=tray#{step}")
        page.locator("main h2").wait_for()
        yield page


def bar(page, text):
    page.get_by_label("Bar x as measured", exact=True).fill(text)
    page.keyboard.press("Enter")


def in_file(folder):
    return tomllib.loads((folder / "tray" / "job.toml").read_text(encoding="utf-8"))["frame"]


def test_a_value_typed_while_the_server_is_gone_is_sent_when_it_is_back(jobs):
    with served(jobs) as first:
        port = str(urlsplit(first.address).port)
        with window(first.address, "frame") as page:
            first.process.terminate()
            first.process.wait()
            bar(page, "199.2 mm")
            page.get_by_text("Not saved: 1 change, because the server does not answer").wait_for()
            assert "bar_x" not in in_file(jobs)
            with served(jobs, "--port", port):
                page.locator(".unsent").wait_for(state="hidden")
                assert in_file(jobs)["bar_x"] == "199.2 mm"


def test_a_value_that_could_not_be_sent_outlives_a_reload(jobs):
    with served(jobs) as server, window(server.address, "frame") as page:
        page.route("**/jobs/*/changes*", lambda route: route.abort())
        bar(page, "199.3 mm")
        page.get_by_text("Not saved: 1 change").wait_for()
        page.reload()
        page.get_by_text("Not saved: 1 change").wait_for()
        assert page.get_by_label("Bar x as measured", exact=True).input_value() == "199.3 mm"
        assert "bar_x" not in in_file(jobs)
        page.unroute("**/jobs/*/changes*")
        page.locator(".unsent").wait_for(state="hidden")
        assert in_file(jobs)["bar_x"] == "199.3 mm"


def test_a_photo_is_seen_at_once_warns_before_the_page_goes_and_is_sent_by_the_next(jobs):
    with served(jobs) as server, window(server.address, "photos") as page:
        page.route("**/photos?*", lambda route: None)  # never answered
        with page.expect_file_chooser() as chooser:
            page.get_by_role("button", name="Choose photos").click()
        chooser.value.set_files(PHOTO)
        page.wait_for_function("document.querySelector('.sending img.quick')?.naturalWidth > 0")
        page.wait_for_function(
            "new Promise((done) => { const open = indexedDB.open('snugline');"
            " open.onsuccess = () => { const all = open.result.transaction('photos')"
            ".objectStore('photos').count(); all.onsuccess = () => done(all.result === 1); }; })"
        )
        asked = []
        page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
        page.close(run_before_unload=True)
        other = page.context.new_page()
        other.goto(f"{server.address}/?job=tray#photos")
        other.locator("li.photo:not(.sending)").wait_for()
        assert asked == ["beforeunload"]
        assert [photo.name for photo in (jobs / "tray").glob("photo-*")] == ["photo-1.jpg"]
        kept = "document.querySelectorAll('li.photo.sending').length"
        assert other.evaluate(kept) == 0
