"""Someone at the page: finds the way by roles, names and words, and looks at what is shown."""

import json
import os
import re
import time
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from served_page import chromium, firefox

from snugline.lengths import parse_length

SLOW_MS = int(os.environ.get("SNUGLINE_TEST_PATIENCE_MS", 240_000))  # other work besides
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desktop": (1440, 900)}
THEMES = ("light", "dark")
NARROW = 320  # the narrowest window that has to do
WINDOWS = SIZES | {"narrow": (NARROW, 700)}
_TEXT_FAULTS = Path(__file__).parent / "javascript" / "text_faults.js"
# Of a burst: shifts less than 1 s apart, over 5 s at most; 0.1 is called good (web.dev, Cumulative
# Layout Shift, which defines the burst).
LARGEST_SHIFT, BURST_GAP_MS, BURST_MS = 0.01, 1000, 5000

_WATCH_SHIFTS = """
window.shifts = [];
new PerformanceObserver((list) => {
  for (const shift of list.getEntries()) {
    if (shift.hadRecentInput) continue;
    const named = (one) => `${one?.nodeName}.${one?.className?.baseVal ?? one?.className}`;
    const name = ({ node }) => `${named(node)} ${node?.textContent.slice(0, 20)}`;
    const moved = shift.sources.map(name).join(", ");
    window.shifts.push({ value: shift.value, at: shift.startTime, moved });
  }
}).observe({ type: "layout-shift", buffered: true });
"""


@dataclass(frozen=True)
class Look:
    """A browser's window: which browser, size and theme."""

    size: str = "desktop"
    theme: str = "light"
    browser: str = "chromium"


@contextmanager
def window(playwright, look):
    """A page of its own in that look."""
    width, height = WINDOWS[look.size]
    options: dict[str, Any] = {"viewport": {"width": width, "height": height}}
    if look.browser == "chromium":
        # axe-core is put into the page by the test, which the page's own policy forbids.
        options |= {"bypass_csp": True, "color_scheme": look.theme}
        options |= {"has_touch": True, "is_mobile": True} if width < SIZES["tablet"][0] else {}
    with (chromium if look.browser == "chromium" else firefox)(playwright) as browser:
        context = browser.new_context(**options, accept_downloads=True)
        yield context.new_page()


class Maker:
    """At one page; what the page does wrong besides is listed in `wrong`.

    Parameters
    ----------
    thorough : ask axe-core, and look at a phone's page in the narrowest window, too.
    moves : layout that moves is a fault. What comes later than half a second after a press counts
        as unasked for, so that this is fair only on a machine that does nothing else.
    pictures : a folder for a picture of every step.
    """

    def __init__(self, page, look, thorough=True, moves=False, pictures=None):
        self.page, self.look, self.wrong, self.photos = page, look, [], 0
        self.pictures, self.taken = pictures, 0
        self.thorough = thorough and look.browser == "chromium"
        self.moves = moves and look.browser == "chromium"
        self.offline = False
        page.set_default_timeout(SLOW_MS)
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        page.on("console", self._said)
        if self.moves:
            page.add_init_script(_WATCH_SHIFTS)

    def _said(self, message):
        # A browser writes down every request that fails while the net is down.
        if message.type == "error" and not self.offline:
            self.wrong.append(message.text)

    # ---- finding the way

    @property
    def next(self):
        return self.page.get_by_role("region", name="What to do next")

    def told(self, words):
        self.next.get_by_text(words).first.wait_for()

    def press_next(self, name):
        """The button of the line that says what to do; on a phone the foot has it, too."""
        link = self.next.get_by_role("link", name=name, exact=True, include_hidden=True)
        button = self.next.get_by_role("button", name=name, exact=True)
        link.or_(button).first.wait_for(state="attached")
        if button.is_visible():
            button.click()
        elif link.is_visible():
            link.click()
        else:
            self.page.get_by_role("contentinfo").get_by_role("link").last.click()

    def go(self, step):
        steps = self.page.get_by_role("navigation", name="Steps of the job")
        steps.get_by_role("link", name=step).click()

    def press(self, name, within=None):
        (within or self.page).get_by_role("button", name=name, exact=True).first.click()

    def pick(self, group, choice):
        options = self.page.get_by_role("radiogroup", name=group, exact=True)
        options.get_by_role("radio", name=choice, exact=True).check()

    def choose(self, label, option, nth=0):
        self.page.get_by_label(label, exact=True).nth(nth).select_option(option)

    def type_in(self, label, text, nth=0):
        self.page.get_by_label(label, exact=True).nth(nth).fill(text)
        self.page.keyboard.press("Enter")

    def unfold(self, title):
        self.page.get_by_role("heading", name=title, exact=True).first.click()

    def show_inches(self):
        menu = self.page.get_by_role("button", name="Unit and theme")
        folded = menu.is_visible()
        if folded:
            menu.click()
        self.pick("Unit shown", "inch")
        if folded:
            menu.click()

    # ---- the steps

    def begin(self, name):
        self.checked("start")
        self.page.get_by_label("What is the part called?").fill(name)
        self.page.keyboard.press("Enter")
        self.heading("The frame")

    def heading(self, name):
        self.page.get_by_role("heading", name=name, exact=True, level=2).wait_for()

    def add_photos(self, photos):
        """Add some as (path, what it shows), each card being there as soon as the server has it."""
        if self.look.browser == "firefox":
            # Its chooser, once answered by a program, does not open again; the left end goes first.
            self._choose([path for path, _ in sorted(photos, key=lambda one: one[1])])
            return
        for path, shows in photos:
            self.add_photo(path, shows)

    def add_photo(self, path, shows):
        """Add one and say what it shows."""
        card = self._choose([path])
        card.get_by_label("Shows the").select_option(shows)

    def _choose(self, paths):
        with self.page.expect_file_chooser() as chooser:
            self.press("Choose photos")
        chooser.value.set_files(paths)
        self.photos += len(paths)
        card = self.page.get_by_role("listitem", name="photo-").nth(self.photos - 1)
        card.get_by_label("Shows the").wait_for()
        return card

    def read(self, what, text):
        taken = self.page.get_by_role("region", name="Readings taken")
        self.press(what, taken)
        # The one being typed stands first, with a button to give it up.
        cancel = taken.get_by_role("button", name="Cancel")
        cancel.wait_for()
        taken.get_by_role("textbox").first.fill(text)
        self.page.keyboard.press("Enter")
        cancel.wait_for(state="detached")

    def sizes(self):
        """The table of sizes as shown, mm: `{"Length": (value, u95), ...}`."""
        table = self.page.get_by_role("region", name="Sizes").get_by_role("table")
        table.wait_for()
        found = {}
        for row in table.get_by_role("row").all()[1:]:
            name, value, u95 = (cell.inner_text() for cell in row.get_by_role("cell").all())
            if u95.startswith("±") and "°" not in value:
                numbers = (re.sub(r"\(.*\)", "", text.strip("± ")) for text in (value, u95))
                found[name.split("\n")[0]] = tuple(map(_number, numbers))
        return found

    def settled(self):
        """Until the last change has been taken up and nothing is being worked on any more."""
        steps = self.page.get_by_role("navigation", name="Steps of the job")
        quiet = 0
        while quiet < 4:
            self.page.wait_for_timeout(150)
            quiet = 0 if steps.get_by_text("working", exact=True).count() else quiet + 1

    def outline_ready(self, words="Ready"):
        """At the step Outline, once it is fitted."""
        self.go("Outline")
        self.settled()
        state = self.page.get_by_role("region", name="State of the outline")
        state.get_by_text(words).first.wait_for()
        return self.sizes()

    def files_made(self, clearance):
        """From an outline that is ready to the files, by what the page says next."""
        self.told("Choose the clearance")
        self.press_next("Choose the clearance")
        self.heading("The pocket")
        self.type_in("Clearance", clearance)
        self.told("Everything is there. Make the files.")
        self.checked("pocket")
        self.press_next("Make the files")
        self.told("Print the template and lay the part on it")
        self.go("Files")
        link = self.page.get_by_role("link", name=re.compile(r"^Download .*\.svg$")).first
        link.wait_for()
        self.checked("files")
        return link

    # ---- looking at it

    def checked(self, step):
        """All rules of axe-core in both themes, text that is cut off or broken, layout that moves.

        Raises
        ------
        AssertionError : with all that was found, and the step.
        """
        page = self.page
        page.get_by_role("heading", level=2).first.wait_for()
        found = list(self.wrong)
        self.picture(step)
        found += page.evaluate(text_faults())
        if self.moves:
            found += [f"moved: {one}" for one in self._shifts()]
        if self.thorough:
            found += self._axe()
            if self.look.size == "phone":
                found += self._narrow()
        assert not found, (step, found)

    def picture(self, name):
        """A picture of the whole page, where a folder for them is given."""
        if self.pictures is not None:
            self.pictures.mkdir(parents=True, exist_ok=True)
            self.taken += 1
            stem = f"{self.taken:02d} {name} {self.look.size} {self.look.theme}"
            wrong = list(self.wrong)
            self.page.screenshot(path=self.pictures / f"{stem}.png", full_page=True)
            self.wrong[:] = wrong  # taking a picture may offend the page's policy

    def _shifts(self):
        bursts: list[list[dict[str, Any]]] = []
        for shift in self.page.evaluate("window.shifts.splice(0)"):
            last = bursts[-1] if bursts else None
            near = last and shift["at"] - last[-1]["at"] < BURST_GAP_MS
            if last and near and shift["at"] - last[0]["at"] < BURST_MS:
                last.append(shift)
            else:
                bursts.append([shift])
        large = [b for b in bursts if sum(one["value"] for one in b) > LARGEST_SHIFT]
        return [shift for burst in large for shift in burst]

    def forget_moves(self):
        """Where the hand has asked for another layout."""
        if self.moves:
            self._shifts()

    def _axe(self):
        page = self.page
        if not page.evaluate("'axe' in window"):
            page.evaluate(axe_source())
        page.evaluate("scrollTo(0, 0)")  # what the strip covers meanwhile can be scrolled to
        found = []
        for theme in (self.look.theme, *(t for t in THEMES if t != self.look.theme)):
            page.emulate_media(color_scheme=theme)
            options: dict[str, Any] = {"resultTypes": ["violations"]}
            if theme != self.look.theme:  # what else is wrong is so in every colour
                options["runOnly"] = {
                    "type": "rule",
                    "values": ["color-contrast", "link-in-text-block"],
                }
            result = page.evaluate(f"axe.run(document, {json.dumps(options)})")
            found += [
                f"{theme}: {one['id']}: {[node['target'] for node in one['nodes']]}"
                for one in result["violations"]
            ]
        page.emulate_media(color_scheme=self.look.theme)
        return found

    def _narrow(self):
        width, height = SIZES[self.look.size]
        self.page.set_viewport_size({"width": NARROW, "height": height})
        self.page.wait_for_timeout(60)
        found = [f"{NARROW} px: {one}" for one in self.page.evaluate(text_faults())]
        self.page.set_viewport_size({"width": width, "height": height})
        self.forget_moves()
        return found

    def until(self, holds):
        """Wait for something outside the page."""
        end = time.monotonic() + SLOW_MS / 1000
        while not holds():
            assert time.monotonic() < end
            self.page.wait_for_timeout(100)


def text_faults():
    """The function of the script, as an expression."""
    return _TEXT_FAULTS.read_text(encoding="utf-8").partition("textFaults = ")[2].rstrip(";\n")


def axe_source():
    found = find_spec("axe_playwright_python")
    assert found is not None
    assert found.origin is not None
    return (Path(found.origin).parent / "axe.min.js").read_text(encoding="utf-8")


def _number(text):
    """Of a length in mm, or of a bare number."""
    text = text.strip()
    return parse_length(text) if re.search("[a-z]", text) else float(text)
