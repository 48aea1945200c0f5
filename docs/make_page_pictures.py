"""Pictures of every step of the page, on a phone and on a desktop, and the two of the README.

    python docs/make_page_pictures.py FOLDER      all pictures, to look at
    python docs/make_page_pictures.py --readme    the README's two, into docs/

The job shown is the sample, whose photos are rendered. Needs the test extra and Chromium.
"""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

DOCS = Path(__file__).parent
SAMPLE = DOCS.parent / "samples" / "basalt-plate-in-ash-board"
STEPS = ("frame", "photos", "readings", "outline", "pocket", "files", "fit")
SCREENS = {
    "phone": {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True},
    "desktop": {"viewport": {"width": 1440, "height": 900}},
}
README = {("desktop", "outline"): 1100, ("phone", "photos"): 390}  # width in px
WAIT_MS = 120_000


def settled(page: Page, step: str) -> None:
    """Wait until what the step shows has come."""
    if step == "photos":
        for card in range(2):
            page.locator("li.photo").nth(card).locator(".over.top").first.wait_for()
    elif step == "outline":
        page.locator(".state strong", has_text="Ready").wait_for()
    elif step == "pocket":
        page.locator(".planbox .line").first.wait_for()
    elif step == "files" and page.locator(".making strong", has_text="Ready").count() == 0:
        page.get_by_role("button", name="Make the files").click()
        page.locator(".making strong", has_text="Ready").wait_for()
    page.wait_for_load_state("networkidle") if step == "start" else page.wait_for_timeout(800)


def shoot(address: str, folder: Path, wanted: set[tuple[str, str]] | None) -> None:
    """Every step at both sizes, light on the desktop and, whole, in both themes on the phone."""
    with sync_playwright() as playwright:
        chromium = shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for screen, options in SCREENS.items():
            page = browser.new_context(**options).new_page()
            page.set_default_timeout(WAIT_MS)
            for step in ("start", *STEPS):
                if wanted is not None and (screen, step) not in wanted:
                    continue
                page.goto(address if step == "start" else f"{address}/?job=basalt#{step}")
                settled(page, step)
                page.screenshot(path=folder / f"{screen}-{step}.png")
                if wanted is not None:
                    continue
                page.emulate_media(color_scheme="dark")
                page.screenshot(path=folder / f"{screen}-{step}-dark.png", full_page=True)
                page.emulate_media(color_scheme="light")
            if wanted is None or (screen, "outline") in wanted:
                over_a_photo(page, folder / f"{screen}-outline-photo.png", address)
        browser.close()


def over_a_photo(page: Page, target: Path, address: str) -> None:
    """The outline over a photo, enlarged at its worst place."""
    page.goto(f"{address}/?job=basalt#outline")
    page.locator(".tabs button", has_text="left end").click()
    page.locator(".stage .over.fitted").first.wait_for()
    page.get_by_role("button", name="Largest error").click()
    page.wait_for_timeout(1500)
    page.screenshot(path=target)


def main() -> None:
    """Serve the sample from a folder of its own and take the pictures."""
    readme = sys.argv[1:] == ["--readme"]
    if not readme and len(sys.argv) != 2:
        raise SystemExit(__doc__)
    with tempfile.TemporaryDirectory() as name:
        shop = Path(name)
        shutil.copytree(SAMPLE, shop / "jobs" / "basalt")
        folder = shop if readme else Path(sys.argv[1])
        folder.mkdir(parents=True, exist_ok=True)
        command = [sys.executable, "-m", "snugline.desk.cli", "serve", str(shop / "jobs")]
        environment = os.environ | {"XDG_DATA_HOME": str(shop / "data")}
        with subprocess.Popen(
            [*command, "--no-open", "--json"], stdout=subprocess.PIPE, text=True, env=environment
        ) as server:
            try:
                address = json.loads(server.stdout.readline())["page"] if server.stdout else ""
                shoot(address, folder, set(README) if readme else None)
            finally:
                server.terminate()
        if readme:
            for (screen, step), width in README.items():
                with Image.open(folder / f"{screen}-{step}.png") as picture:
                    height = round(picture.height * width / picture.width)
                    small = picture.convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
                    small.save(DOCS / f"page-{step}.jpg", quality=84, optimize=True)


if __name__ == "__main__":
    main()
