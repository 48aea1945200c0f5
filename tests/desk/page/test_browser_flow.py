"""The whole flow in a browser, as a phone and as a shop computer show it.

One job from nothing to the fit on record, on rendered photos whose truth is known; on each step the
page is held against WCAG 2.2 AA by axe-core, in both themes, against the sizes that dusty hands and
an arm's length ask for, and against layout that moves under the hand.
"""

import json
import subprocess
import tomllib
from pathlib import Path

import pytest
from served_page import CHROMIUM, COMMAND, chromium, served

from snugline.lengths import format_length, parse_length

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe = pytest.importorskip("axe_playwright_python", reason="axe-core is not installed")

CASE = Path(__file__).parents[4] / "shared" / "photos" / "basalt-panel-two-ends"

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
    pytest.mark.skipif(not CASE.is_dir(), reason="the rendered photos are not beside the project"),
]

SCREENS = {
    "phone": {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True},
    "desktop": {"viewport": {"width": 1440, "height": 900}},
}
SLOW_MS = 90_000  # for a machine that does other work besides

# WCAG 2.2, levels A and AA, as axe-core tags its rules, and its own list of good practice.
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
LEAST_TEXT_PX, LEAST_TARGET_PX = 16, 44
LARGEST_SHIFT = 0.01  # of a step, all told; 0.1 is called good (web.dev, Cumulative Layout Shift)

WATCH_SHIFTS = """
window.shifts = [];
new PerformanceObserver((list) => {
  for (const shift of list.getEntries()) {
    if (shift.hadRecentInput) continue;
    const moved = shift.sources.map(({ node }) => node?.className?.baseVal ?? node?.className);
    window.shifts.push({ value: shift.value, step: location.hash, moved: moved.join(", ") });
  }
}).observe({ type: "layout-shift", buffered: true });
"""

# On a phone the choice of theme is behind a button.
SET_THEME = """(theme) => {
  const select = document.querySelector("select[aria-label=Theme]");
  select.value = theme;
  select.dispatchEvent(new Event("change"));
}"""

TOO_SMALL = """([text, target]) => {
  const found = [];
  const seen = (one) => {
    const box = one.getBoundingClientRect();
    const style = getComputedStyle(one);
    return box.width > 1 && box.height > 1 && style.visibility !== "hidden"
      && !one.closest(".unseen, .skip, details:not([open]) > :not(summary)");
  };
  const name = (one) => `${one.tagName} ${one.textContent.slice(0, 30)}`;
  for (const one of document.querySelectorAll("body *")) {
    const says = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (!says || !seen(one)) continue;
    const ctm = one.ownerSVGElement && one.getScreenCTM();
    const scale = ctm ? Math.hypot(ctm.a, ctm.b) : 1;
    const size = parseFloat(getComputedStyle(one).fontSize) * scale;
    if (size < text - 0.01) found.push(`text of ${size} px: ${name(one)}`);
  }
  const targets = "a[href], button, select, summary, .few label, .check, "
    + "input:not([type=radio], [type=checkbox], [type=file])";
  for (const one of document.querySelectorAll(targets)) {
    if (!seen(one) || getComputedStyle(one).display === "inline") continue;
    const { width, height } = one.getBoundingClientRect();
    if (Math.min(width, height) < target - 0.01) found.push(`${width} x ${height}: ${name(one)}`);
  }
  const over = document.documentElement.scrollWidth - innerWidth;
  return over > 0 ? [...found, `${over} px wider than the window`] : found;
}"""


class Bench:
    """A window on a job, with the checks that hold on every step."""

    def __init__(self, page):
        self.page = page
        self.axe = (Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
        self.problems = []
        page.set_default_timeout(SLOW_MS)
        page.add_init_script(WATCH_SHIFTS)
        page.on("pageerror", lambda error: self.problems.append(str(error)))
        page.on("console", lambda said: said.type == "error" and self.problems.append(said.text))

    def check(self, step):
        """axe-core in both themes, sizes, shifts; what is found is listed with its step."""
        page, found = self.page, []
        page.evaluate("scrollTo(0, 0)")  # what the strip covers meanwhile can be scrolled to
        if not page.evaluate("'axe' in window"):
            page.evaluate(self.axe)
        for theme, rules in (("light", RULES), ("dark", ["color-contrast"])):
            page.evaluate(SET_THEME, theme)
            kind = "tag" if theme == "light" else "rule"
            options = {"runOnly": {"type": kind, "values": rules}, "resultTypes": ["violations"]}
            result = page.evaluate("(options) => axe.run(document, options)", options)
            found += [
                f"{theme}: {one['id']}: {[node['target'] for node in one['nodes']]}"
                for one in result["violations"]
            ]
        page.evaluate(SET_THEME, "system")
        found += page.evaluate(TOO_SMALL, [LEAST_TEXT_PX, LEAST_TARGET_PX])
        shifts = page.evaluate("window.shifts.splice(0)")
        if sum(shift["value"] for shift in shifts) > LARGEST_SHIFT:
            found += [f"moved by {one['value']:.4f}: {one['moved']}" for one in shifts]
        assert (step, found + self.problems) == (step, [])

    def go_on(self, heading):
        self.page.locator("footer a.main").click()
        self.page.get_by_role("heading", name=heading, exact=True).wait_for()

    def type_in(self, label, text):
        self.page.get_by_label(label, exact=True).fill(text)
        self.page.keyboard.press("Enter")

    def behind(self, link):
        """What a link leads to."""
        address = self.page.get_by_role("link", name=link).evaluate("(link) => link.href")
        return self.page.request.get(address).body()

    def text(self, selector):
        return " ".join(self.page.locator(selector).inner_text().split())


@pytest.fixture(params=SCREENS)
def bench(request, tmp_path_factory):
    """A server on an empty folder of its own, and a browser's window on it."""
    folder = tmp_path_factory.mktemp("shop") / "jobs"
    with (
        served(folder) as server,
        sync_api.sync_playwright() as playwright,
        chromium(playwright) as browser,
    ):
        # axe-core is put into the page by the test, which the page's own policy forbids.
        context = browser.new_context(**SCREENS[request.param], bypass_csp=True)
        made = Bench(context.new_page())
        made.folder, made.environment = folder, server.environment
        made.screen = request.param
        made.page.goto(server.address)
        yield made


def read_job(bench):
    return tomllib.loads((bench.folder / "basalt-plate" / "job.toml").read_text(encoding="utf-8"))


def test_the_whole_flow_gives_the_files_of_the_command_line(bench):
    page = bench.page
    start(bench)
    frame(bench)
    photos(bench)
    readings(bench)
    outline(bench)
    pocket(bench)
    files(bench)
    after_the_cut(bench)
    page.locator("a.home").click()
    page.get_by_role("link", name="basalt plate").wait_for()


def start(bench):
    bench.page.get_by_label("What is the part called?").wait_for()
    bench.check("start")
    bench.type_in("What is the part called?", "basalt plate")
    bench.page.get_by_role("heading", name="The frame", exact=True).wait_for()


def frame(bench):
    page = bench.page
    bench.type_in("Bar x as measured", "199.17")  # without a unit: the one that the page shows
    bench.type_in("Bar y as measured", "120.23 mm")
    page.get_by_text("They should measure").wait_for()
    page.get_by_text("from the middle of one end mark to the middle of the other").wait_for()
    assert bench.behind("Open the sheet to print").startswith(b"%PDF")
    bench.check("frame")
    assert read_job(bench)["frame"] == {
        "description": "border-a4",
        "bar_x": "199.17 mm",
        "bar_y": "120.23 mm",
    }


def photos(bench):
    page = bench.page
    bench.go_on("Photos")
    button = "Take a photo" if bench.screen == "phone" else "Choose photos"
    for number in (1, 2):
        with page.expect_file_chooser() as chooser:
            page.get_by_role("button", name=button).click()
        camera = chooser.value.element.get_attribute("capture")
        assert camera == ("environment" if bench.screen == "phone" else None)
        chooser.value.set_files(CASE / f"photo-{number}.jpg")
        page.locator("li.photo:not(.sending)").nth(number - 1).wait_for()
    # Measured with a thickness that is only assumed, and said to be so.
    for number in (0, 1):
        card = page.locator("li.photo").nth(number)
        card.get_by_text("needs the thickness").wait_for()
        card.locator("svg.still .over.top").first.wait_for()
    assert page.locator("svg.still ellipse.place").count() >= 1
    bench.check("photos")
    page.get_by_role("button", name="Rotate", exact=True).first.click()
    page.get_by_role("button", name="Undo: photo rotated").click()
    page.get_by_role("button", name="Redo: photo rotated").wait_for()
    assert [photo["shows"] for photo in read_job(bench)["photo"]] == ["left end", "right end"]
    assert not any(photo.get("turn") for photo in read_job(bench)["photo"])


def readings(bench):
    page = bench.page
    bench.go_on("Readings")
    for what, text in (("length", "16 7/16 in"), ("width", "118.66"), ("thickness", "5.27 mm")):
        page.locator(f".dimension[data-what={what}]").click()
        page.locator(".reading.draft input").fill(text)
        page.keyboard.press("Enter")
        page.locator(".reading.draft").wait_for(state="detached")
    assert "= 417.51 mm" in bench.text(".readings")
    edge = page.get_by_role("radiogroup", name="Top edge")
    assert edge.get_by_role("radio", name="Don't know").is_checked()
    edge.get_by_role("radio", name="Rounded").check()
    bench.type_in("Size of the edge", "0.8 mm")
    page.get_by_role("radiogroup", name="Sides").get_by_role("radio", name="Leaning").check()
    page.get_by_label("Draft angle of the sides").fill("0.5")
    page.keyboard.press("Tab")
    if bench.screen == "phone":
        page.get_by_role("button", name="Unit and theme").click()
    units = page.get_by_role("radiogroup", name="Unit shown")
    units.get_by_role("radio", name="inch").check()
    assert format_length(118.66, "in", 4) in bench.text(".plan")
    units.get_by_role("radio", name="mm").check()
    if bench.screen == "phone":
        page.get_by_role("button", name="Unit and theme").click()
    bench.check("readings")
    page.wait_for_function("!document.querySelector('.strip [href$=outline][data-state=missing]')")
    assert read_job(bench)["reading"] == [
        {"what": "length", "values": ["16 7/16 in"], "tool": "tape"},
        {"what": "width", "values": ["118.66 mm"], "tool": "caliper"},
        {"what": "thickness", "values": ["5.27 mm"], "tool": "caliper"},
    ]


def outline(bench):
    page = bench.page
    bench.go_on("The outline")
    ready(bench)
    sizes = bench.text(".sizes")
    truth = json.loads((CASE / "truth.json").read_text(encoding="utf-8"))["true_size"]
    width = page.locator(".sizes tr", has_text="Width").locator("td.number")
    value, u95 = (parse_length(text.strip("± ")) for text in width.all_inner_texts())
    assert abs(value - truth["width"]) < max(2 * u95, 0.15)
    corner = json.loads((CASE / "truth.json").read_text(encoding="utf-8"))["outline"]["R"]
    radius = page.locator(".sizes tr", has_text="Corner radius").locator("td.number")
    value, u95 = (parse_length(text.strip("± ")) for text in radius.all_inner_texts())
    assert abs(value - corner) < max(2 * u95, 0.05)
    assert "Corner radius arc, all corners" in sizes
    bench.check("outline")
    if bench.screen == "phone":
        accept_a_drawn_size(bench)
    else:
        leave_a_piece_out(bench)


def ready(bench):
    bench.page.locator(".state strong", has_text="Ready").wait_for()
    bench.page.locator(".sizes tr", has_text="Width").wait_for()


def accept_a_drawn_size(bench):
    page = bench.page
    offers = page.get_by_role("listitem").filter(has_text="Width").locator("button")
    label = offers.first.inner_text().split(",")[0]
    offers.first.click()
    exact = format_length(parse_length(label), "mm")
    page.locator(".sizes tr", has_text="Width").filter(has_text=exact).wait_for()
    page.locator(".sizes").get_by_text("nominal size").first.wait_for()
    assert read_job(bench)["part"]["drawn"] == {"width": label}
    page.get_by_role("button", name="Undo: nominal width accepted").click()
    sizes = "document.querySelector('.sizes').innerText"
    page.wait_for_function(f"!{sizes}.includes('nominal size')")
    assert "drawn" not in read_job(bench)["part"]


def leave_a_piece_out(bench):
    page = bench.page
    page.locator(".tabs button", has_text="left end").click()
    page.locator(".stage .over.fitted").first.wait_for()
    stage = page.locator(".stage")
    whole = stage.get_attribute("viewBox").split()
    stage.focus()
    for key in ("+", "+", "ArrowRight"):
        page.keyboard.press(key)
    assert float(stage.get_attribute("viewBox").split()[2]) < float(whole[2]) / 2
    before = measured_width(bench)
    page.get_by_role("button", name="Largest error").click()
    page.get_by_role("radio", name="16 mm").check()
    page.get_by_role("button", name="Leave it out").click()
    page.locator(".stage .over.gone").first.wait_for()
    (left,) = read_job(bench)["leave_out"]
    assert left["within"] == "16 mm"
    assert measured_width(bench) != before
    bench.check("outline over the photo")
    page.get_by_role("button", name="Put it back").click()
    page.locator(".stage .over.gone").first.wait_for(state="detached")
    assert measured_width(bench) == before
    assert "leave_out" not in read_job(bench)


def measured_width(bench):
    """To the last digit, which the page rounds away."""
    address = "fetch('/api/jobs/basalt-plate/outline').then((answer) => answer.json())"
    return bench.page.evaluate(address)["width"]["value"]


def pocket(bench):
    page = bench.page
    bench.go_on("The pocket")
    bench.type_in("Clearance", "0.4 mm")
    page.locator(".planbox .line").first.wait_for()
    drawn = page.locator(".planbox .line").first.get_attribute("d")
    page.get_by_role("button", name="Clearance: more").click()
    page.wait_for_function("(old) => document.querySelector('.planbox .line').getAttribute('d')"
                           " !== old", arg=drawn)  # fmt: skip
    page.get_by_label("Kind of part").select_option("brittle")
    bench.type_in("Diameter (optional)", "6 mm")
    page.locator("summary", has_text="Border").click()
    border = page.locator("details.group", has_text="Border")
    border.get_by_label("Cut the outside too").check()
    bench.type_in("Wood left around the pocket", "2 mm")
    border.get_by_text("at its thinnest").wait_for()
    bench.check("pocket")
    time_at_the_machine(bench)
    bench.type_in("Wood left around the pocket", "25 mm")
    border.get_by_text("at its thinnest").wait_for(state="detached")
    assert read_job(bench)["pocket"] == {
        "clearance": ["0.45 mm"],
        "kind": "brittle",
        "cutter": {"diameter": "6 mm"},
        "border": {"land": "25 mm"},
    }


def time_at_the_machine(bench):
    """Each line of the table names its step-down, as the plan has it, in the unit shown."""
    page = bench.page
    page.locator("summary", has_text="Time at the machine").click()
    group = page.locator("details.group", has_text="Time at the machine")
    group.get_by_label("Estimate the time").check()
    group.locator("tbody tr").first.wait_for()
    plan = page.evaluate("fetch('/api/jobs/basalt-plate/plan').then((answer) => answer.json())")
    listed = [row.split("\t") for row in group.locator("tbody tr").all_inner_texts()]
    assert [row[0] for row in listed] == [f"{row['step_down']:.2f} mm" for row in plan["times"]]
    assert [row[1] for row in listed] == [str(row["passes"]) for row in plan["times"]]
    assert all(row[2].endswith((" min", " h")) for row in listed)
    page.get_by_role("button", name="Undo: estimate the time").click()
    group.locator("tbody tr").first.wait_for(state="hidden")


def files(bench):
    page = bench.page
    bench.go_on("Files")
    page.locator("main").get_by_role("button", name="Make the files").click()
    page.locator(".making strong", has_text="Ready").wait_for()
    name = "basalt-plate-pocket-clearance-0.45-mm-units-mm.svg"
    with page.expect_download() as download:
        page.get_by_role("link", name=f"Download {name}").click()
    bench.check("files")
    assert bench.behind("Download all").startswith(b"PK")
    assert bench.behind("Print the template, 1:1").startswith(b"%PDF")
    assert bench.behind("Shop sheet").startswith(b"%PDF")

    out = bench.folder.parent / "by-command"
    job = bench.folder / "basalt-plate" / "job.toml"
    run = [*COMMAND, "run", str(job), "--out", str(out)]
    subprocess.run(run, check=True, capture_output=True, env=bench.environment)
    assert Path(download.value.path()).read_bytes() == (out / name).read_bytes()


def after_the_cut(bench):
    page = bench.page
    bench.go_on("After the cut")
    page.get_by_label("Wood", exact=True).fill("ash")
    page.get_by_label("Machine", exact=True).fill("bench router")
    page.get_by_role("button", name="Snug").click()
    page.locator(".records li", has_text="snug, clearance 0.45 mm, ash, bench router").wait_for()
    bench.check("after the cut")
