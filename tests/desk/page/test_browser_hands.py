"""What hands do at the page: pinch, drag and drop, a slider, a code to scan, two windows."""

import base64
import io
import json
import re
import shutil
import tomllib

import cv2
import numpy as np
import pytest
from PIL import Image
from served_page import CHROMIUM, chromium, served

from snugline.desk.page.http.entrance import code_svg
from snugline.desk.page.http.serving import lan_address
from snugline.desk.page.jobs.job_moves import sample_job
from snugline.errors import InputError

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed"),
]

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
SLOW_MS = 240_000


def with_network():
    try:
        return not lan_address().startswith("127.")
    except InputError:
        return False


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hands") / "jobs"
    shutil.copytree(sample_job().parent, folder / "plate")
    shutil.copytree(sample_job().parent, folder / "plain")
    path = folder / "plain" / "job.toml"
    path.write_text('[part]\nname = "plain"\n[frame]\ndescription = "border-a4"\n')
    with served(folder, *(["--lan"] if with_network() else [])) as running:
        yield running


@pytest.fixture(scope="module")
def browser():
    with sync_api.sync_playwright() as playwright, chromium(playwright) as running:
        yield running


@pytest.fixture
def window(server, browser):
    """Opens a window on a step; a fault of its scripts fails the test."""
    wrong, contexts = [], []

    def opened(step, job="plate", **options):
        context = browser.new_context(**options, bypass_csp=True)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(SLOW_MS)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.goto(f"{server.address}/?job={job}#{step}")
        page.get_by_role("heading", level=2).first.wait_for()
        return page

    yield opened
    for context in contexts:
        context.close()
    assert wrong == []


def in_file(server, job):
    return tomllib.loads((server.folder / job / "job.toml").read_text(encoding="utf-8"))


def until(page, holds, job="plate"):
    """Wait until something holds of the job `j` as the server has it."""
    for _ in range(SLOW_MS // 100):
        if page.evaluate(f"fetch('/api/jobs/{job}').then((a) => a.json()).then((j) => {holds})"):
            return
        page.wait_for_timeout(100)
    raise AssertionError(holds)


def drawn_box(page):
    return [float(v) for v in page.locator(".planbox .stage").get_attribute("viewBox").split()]


def slider(page, name="Clearance, tight to loose"):
    found = page.get_by_role("slider", name=name)
    found.wait_for()
    return found


def test_two_fingers_enlarge_the_drawing_about_the_place_between_them(window):
    page = window("pocket", **PHONE)
    page.locator(".planbox .stage .line").first.wait_for()
    page.wait_for_timeout(300)
    where = page.locator(".planbox .stage").bounding_box()
    before = drawn_box(page)
    middle = (where["x"] + where["width"] * 0.4, where["y"] + where["height"] * 0.5)
    fingers = page.context.new_cdp_session(page)

    def touch(kind, apart):
        points = [{"x": middle[0] + s * apart, "y": middle[1], "id": s} for s in (-1, 1)]
        points = [{**p, "id": i} for i, p in enumerate(points)] if kind != "touchEnd" else []
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 30)
    for apart in range(32, 62, 2):
        touch("touchMove", apart)
    touch("touchEnd", 60)
    after = drawn_box(page)
    assert before[2] / after[2] == pytest.approx(2.0, rel=0.1)

    def at(box):
        return [
            box[0] + (middle[0] - where["x"]) / where["width"] * box[2],
            box[1] + (middle[1] - where["y"]) / where["height"] * box[3],
        ]

    assert at(after) == pytest.approx(at(before), abs=0.02 * before[2])
    # The page itself stays as it is.
    assert page.evaluate("visualViewport.scale") == 1
    page.get_by_role("button", name="Show all").first.click()
    assert drawn_box(page)[2] == pytest.approx(before[2], rel=0.01)


def test_the_clearance_is_turned_by_keys_and_by_a_finger(window, server):
    page = window("pocket", **PHONE)
    knob = slider(page)
    field = page.get_by_label("Clearance", exact=True)
    assert field.input_value() == "0.60 mm"
    words = knob.get_attribute("aria-valuetext")
    assert words.startswith("0.60 mm per side: the part ")
    knob.press("ArrowRight")
    page.wait_for_function("document.querySelector('main input[type=text]').value === '0.65 mm'")
    assert knob.get_attribute("aria-valuetext").startswith("0.65 mm per side")
    knob.press("Home")
    assert "most likely does not go in" in knob.get_attribute("aria-valuetext")
    knob.press("End")
    assert "almost certainly goes in" in knob.get_attribute("aria-valuetext")
    loosest = knob.get_attribute("aria-valuetext").split(" per side")[0]
    until(page, f"j.job.pocket.clearance[0] === '{loosest}'")
    page.get_by_role("button", name="Undo: clearance").click()
    page.get_by_role("button", name="Undo: clearance").click()
    page.get_by_role("button", name="Undo: clearance").click()
    page.wait_for_function("document.querySelector('main input[type=text]').value === '0.60 mm'")

    until(page, "j.job.pocket.clearance[0] === '0.60 mm'")

    # A finger: drawn while it moves, and kept in the file only when it lets go.
    knob.scroll_into_view_if_needed()
    where = knob.bounding_box()
    y = where["y"] + where["height"] / 2
    share = float(knob.input_value()) / float(knob.get_attribute("max"))
    thumb = where["x"] + 8 + share * (where["width"] - 16)
    fingers = page.context.new_cdp_session(page)

    def touch(kind, *points):
        sent = [{"x": x, "y": y} for x in points]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": sent})

    touch("touchStart", thumb)
    touch("touchMove", thumb + 20)
    touch("touchMove", thumb + 40)
    turned = knob.get_attribute("aria-valuetext").split(" per side")[0]
    tab = page.get_by_role("group", name="Drawings").get_by_role("button").first
    page.wait_for_function(
        "words => document.querySelector('.tabs button').textContent.includes(words)", arg=turned
    )
    assert turned != "0.60 mm"
    assert in_file(server, "plate")["pocket"]["clearance"][0] == "0.60 mm"
    touch("touchEnd")
    page.wait_for_function(
        "words => document.querySelector('main input[type=text]').value === words", arg=turned
    )
    assert turned in tab.inner_text()
    until(page, "j.job.pocket.clearance[0] !== '0.60 mm'")
    page.get_by_role("button", name="Undo: clearance").click()


def test_a_cutter_too_thick_for_the_corners_is_drawn_with_what_it_leaves(window):
    page = window("pocket")
    page.locator(".planbox .cutterpath").first.wait_for()
    legend = page.get_by_role("region", name="Layers")
    legend.get_by_text("Path of the cutter's centre along the walls, cutter 6.00 mm").wait_for()
    assert page.locator(".planbox .spot").count() == 0
    tried = page.evaluate(
        """async () => {
            const answer = await fetch("/api/jobs/plate/plan", {method: "POST",
              headers: {"Content-Type": "application/json"}, body: JSON.stringify({pocket: {
                clearance: "0.6 mm", cutter: {diameter: "60 mm"}}})});
            return (await answer.json()).sheets[0].cutter; }"""
    )
    assert len(tried["corners"]) == 4
    assert tried["uncut"].count("M") == 2


def dropped(page, files):
    """Files as they come from the desktop: name and content."""
    sent = [(name, base64.b64encode(content).decode()) for name, content in files]
    page.evaluate(
        """files => {
            const carried = new DataTransfer();
            for (const [name, content] of files) {
              const bytes = Uint8Array.from(atob(content), (one) => one.charCodeAt(0));
              carried.items.add(new File([bytes], name, { type: "image/png" }));
            }
            const zone = document.querySelector(".dropping");
            for (const kind of ["dragover", "drop"]) {
              zone.dispatchEvent(new DragEvent(kind,
                { bubbles: true, cancelable: true, dataTransfer: carried }));
            }
        }""",
        sent,
    )


def png(shade):
    stream = io.BytesIO()
    Image.new("RGB", (64, 48), (shade, shade, shade)).save(stream, "PNG")
    return stream.getvalue()


def test_photos_are_dropped_onto_the_page_and_one_is_replaced(window, server):
    page = window("photos", job="plain")
    dropped(page, [("left.png", png(90)), ("right.png", png(160))])
    cards = page.get_by_role("listitem", name=re.compile("^photo-"))
    cards.nth(1).wait_for()
    folder = server.folder / "plain"
    # Which of them is in first is up to the wires.
    shows = [photo["shows"] for photo in in_file(server, "plain")["photo"]]
    assert sorted(shows) == ["left end", "right end"]
    first = in_file(server, "plain")["photo"][0]["file"]
    before = (folder / first).read_bytes()
    with page.expect_file_chooser() as chooser:
        cards.first.get_by_role("button", name="Replace").click()
    chooser.value.set_files({"name": "again.png", "mimeType": "image/png", "buffer": png(30)})
    page.get_by_role("button", name="Undo: photo replaced").wait_for()
    photos = in_file(server, "plain")["photo"]
    assert [photo["shows"] for photo in photos] == shows
    assert photos[0]["file"] != first
    assert (folder / photos[0]["file"]).read_bytes() == png(30)
    page.get_by_role("button", name="Undo: photo replaced").click()
    page.get_by_role("button", name="Redo: photo replaced").wait_for()
    back = in_file(server, "plain")["photo"][0]["file"]
    assert (folder / back).read_bytes() == before


@pytest.mark.parametrize(("button", "left"), [("Use mine", "12 mm"), ("Keep the file's", "11 mm")])
def test_two_windows_that_change_one_value_ask_which_to_keep(window, server, button, left):
    mine, other = window("pocket"), window("pocket")
    label = "Thickness of the board"
    for page in (mine, other):
        page.get_by_role("heading", name="Board", exact=True).click()
    held = []
    mine.route("**/api/jobs/plate/changes*", lambda route: held.append(route))
    mine.get_by_label(label).fill("12 mm")
    mine.keyboard.press("Enter")
    mine.wait_for_timeout(300)
    other.get_by_label(label).fill("11 mm")
    other.keyboard.press("Enter")
    until(other, "j.job.pocket.stock.thickness === '11 mm'")
    for route in held:
        route.continue_()
    mine.unroute("**/api/jobs/plate/changes*")
    asked = mine.get_by_role("dialog", name="Changed elsewhere")
    asked.wait_for()
    row = asked.get_by_role("row", name="pocket stock thickness")
    assert row.get_by_role("cell").all_inner_texts() == ["11 mm", "12 mm"]
    asked.get_by_role("button", name=button).click()
    until(mine, f"j.job.pocket.stock.thickness === '{left}'")
    assert mine.get_by_label(label).input_value() == left
    back = {"path": ["pocket", "stock", "thickness"], "was": left, "now": "20 mm"}
    mine.evaluate(
        """change => fetch("/api/jobs/plate/changes", { method: "POST",
            headers: { "Content-Type": "application/json" },
            body: JSON.stringify({ changes: [change] }) })""",
        back,
    )


def scanned(dialog):
    """What a phone's camera reads from the square on the screen: of several looks, the first."""
    square = dialog.get_by_role("img", name="The link as a square to scan")
    for size in (1.0, 2.0, 1.5, 3.0):
        grey = cv2.imdecode(np.frombuffer(square.screenshot(), np.uint8), cv2.IMREAD_GRAYSCALE)
        grey = cv2.copyMakeBorder(grey, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=255)
        larger = cv2.resize(grey, None, fx=size, fy=size, interpolation=cv2.INTER_CUBIC)
        if found := cv2.QRCodeDetector().detectAndDecode(larger)[0]:
            return found
    return ""


needs_network = pytest.mark.skipif(not with_network(), reason="this computer is in no network")


@needs_network
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_code_shown_is_the_address_and_lets_one_phone_in(window, browser, theme):
    page = window("photos", job="plain", color_scheme=theme)
    page.get_by_role("button", name="Phone", exact=True).click()
    dialog = page.get_by_role("dialog", name="Open on a phone")
    address = dialog.get_by_role("link").inner_text()
    assert scanned(dialog) == address
    phone = browser.new_context(**PHONE)
    on_phone = phone.new_page()
    on_phone.goto(address)
    on_phone.get_by_role("link", name="plain").first.wait_for()
    # The phone lets nobody else in, and the link is used up.
    assert on_phone.get_by_role("button", name="Phone", exact=True).count() == 0
    second = browser.new_context().new_page()
    assert second.goto(address).status == 401
    second.get_by_text("This link was used already").wait_for()
    # What the phone sends is in the computer's window at once.
    on_phone.get_by_role("link", name="plain").first.click()
    on_phone.get_by_label("Bar x as measured", exact=True).fill("199.1 mm" if theme == "light"
                                                                else "199.2 mm")  # fmt: skip
    on_phone.keyboard.press("Enter")
    dialog.get_by_role("button", name="Close").click()
    page.get_by_role("navigation").get_by_role("link", name="Frame").click()
    wanted = "199.1 mm" if theme == "light" else "199.2 mm"
    page.wait_for_function(
        "words => [...document.querySelectorAll('main input')].some(i => i.value === words)",
        arg=wanted,
    )
    phone.close()
    second.context.close()


@needs_network
def test_a_phone_that_does_not_get_here_is_told_what_to_try_and_shown_the_other_address(window):
    page = window("photos", job="plain")
    second = "http://10.9.8.7:8437/enter/abc"

    def with_another(route):
        answer = route.fetch()
        link = answer.json()
        link["others"] = [{"url": second, "qr": code_svg(second)}]
        route.fulfill(response=answer, body=json.dumps(link))

    page.route("**/api/link", with_another)
    page.get_by_role("button", name="Phone", exact=True).click()
    dialog = page.get_by_role("dialog", name="Open on a phone")
    dialog.get_by_text("The phone does not open it").click()
    dialog.get_by_text("Is the phone in the same network as this computer?").wait_for()
    first = dialog.get_by_role("link").inner_text()
    dialog.get_by_role("button", name="Show the other address").click()
    dialog.get_by_text("Now shown: 10.9.8.7:8437.").wait_for()
    assert scanned(dialog) == second
    dialog.get_by_role("button", name="Show the other address").click()
    assert scanned(dialog) == first


def test_a_print_is_renamed_forgotten_and_kept_after_all(window, server):
    page = window("frame", job="plain")
    for axis, text in (("x", "199.6 mm"), ("y", "119.7 mm")):
        page.get_by_label(f"Bar {axis} as measured", exact=True).fill(text)
        page.keyboard.press("Enter")
    page.get_by_text("This print", exact=True).click()
    page.get_by_role("button", name="Rename").click()
    page.get_by_label("Name of this print").fill("office printer")
    page.get_by_role("button", name="Save").click()
    which = page.get_by_label("Which print?")
    page.wait_for_function("document.querySelector('.prints select').selectedOptions[0]"
                           ".textContent === 'office printer'")  # fmt: skip
    page.get_by_role("button", name="Forget this print").click()
    page.get_by_text("Forgot office printer.").wait_for()
    assert "office printer" not in which.inner_text()
    assert in_file(server, "plain")["frame"]["bar_y"] == "119.7 mm"  # the job keeps its bars
    page.get_by_role("button", name="Keep it after all").click()
    page.wait_for_function("document.querySelector('.prints select').selectedOptions[0]"
                           ".textContent === 'office printer'")  # fmt: skip
    link = page.get_by_role("link", name="Test it on a card")
    link.click()
    page.get_by_role("heading", name="Test phone and print").wait_for()
    page.wait_for_function("document.querySelector('main select:not([hidden])') && "
                           "[...document.querySelectorAll('main select')].some(s => "
                           "s.selectedOptions[0]?.textContent === 'office printer')")  # fmt: skip


def test_a_second_sheet_is_offered_with_what_it_would_bring(window):
    page = window("readings")
    offered = page.get_by_text("The length rests on tape or rule alone, to")
    offered.wait_for()
    now, then = map(float, re.findall(r"([\d.]+) mm", offered.inner_text()))
    found = page.evaluate("fetch('/api/jobs/plate/outline').then((answer) => answer.json())")
    assert now == pytest.approx(found["length"]["u95"], abs=0.006)
    assert 0.1 < then < 0.5 * now
    page.get_by_role("img", name="One sheet under each end of the part").wait_for()
    page.get_by_role("button", name="Add a second sheet").click()
    page.get_by_role("heading", name="Sheet 2").wait_for()
    page.get_by_role("button", name="Undo: another sheet").click()
