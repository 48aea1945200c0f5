"""Ten whole jobs at the page, each from nothing to its outline or files by what the page says.

Photos are the rendered ones beside the project, and the sample's own; what is true of their parts
is known exactly.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import rendered
from page_maker import Maker

SAMPLE = Path(__file__).parents[1] / "samples" / "basalt-plate-in-ash-board"
# What the sample's README says is known exactly of its plate, mm.
SAMPLE_TRUTH = {"length": 418.0, "width": 118.5, "radius": 27.4}
LEAST_ERROR = 0.15  # mm, allowed of a size whatever its U95


@dataclass(frozen=True)
class PageJob:
    """A job: what is done, and the rendered case it needs (None: what the repository has)."""

    run: Callable[[Maker], None]
    case: str | None = None

    @property
    def possible(self):
        return self.case is None or self.case in rendered.CASES


def reading(case, what):
    found = next(one for one in rendered.readings_of(case) if one["what"] == what)
    return f"{found['value']} {found['unit']}"


def photo(case, number):
    return rendered.PHOTOS / case / f"photo-{number}.jpg"


def near(found, truth, what):
    """A size on the page holds what is true, within its U95 or what is allowed in any case."""
    value, u95 = found[what.capitalize()]
    assert abs(value - truth) <= max(u95, LEAST_ERROR), (what, value, u95, truth)


def true_size(found, case):
    for what in ("length", "width"):
        near(found, rendered.truth_of(case)["true_size"][what], what)


def bars(maker, case, nth=0, suffix=""):
    for axis in "xy":
        maker.type_in(f"Bar {axis} as measured", reading(case, f"scale bar {axis}{suffix}"), nth)


def hand_readings(maker, case, *whats):
    for what in whats:
        maker.read(what.capitalize(), reading(case, what))


def to_photos(maker, photos):
    """On to the photos, each with what it shows."""
    maker.press_next("Take the first photo")
    maker.heading("Photos")
    maker.checked("photos, none yet")
    maker.add_photos(photos)


def photos_and_readings(maker, case, shows):
    """On to the case's photos, what each shows in their order, and to all that was read by hand."""
    to_photos(maker, [(photo(case, i + 1), what) for i, what in enumerate(shows)])
    maker.press_next("Enter the thickness")
    hand_readings(maker, case, "thickness", "length", "width")


def sample_photos(maker):
    """The sample's plate: bars and both ends."""
    maker.type_in("Bar x as measured", "199.17 mm")
    maker.type_in("Bar y as measured", "120.23 mm")
    to_photos(maker, [(SAMPLE / f"{end}-end.jpg", f"{end} end") for end in ("left", "right")])


def rounded_edge(maker, size, draft=None):
    maker.pick("Top edge", "Rounded")
    maker.type_in("Size of the edge", size)
    maker.pick("Sides", "Leaning" if draft else "Straight")
    if draft:
        maker.type_in("Draft angle of the sides", draft)


def two_ends(maker):
    maker.begin("basalt plate")
    maker.told("Print the sheet at actual size")
    maker.checked("frame")
    sample_photos(maker)
    maker.told("Measure the part's thickness")
    maker.checked("photos")
    maker.press_next("Enter the thickness")
    for what, text in (("Thickness", "5.27"), ("Length", "418 mm"), ("Width", "118.66")):
        maker.read(what, text)
    rounded_edge(maker, "0.8 mm", "0.5")
    maker.checked("readings")
    found = maker.outline_ready()
    maker.checked("outline")
    near(found, SAMPLE_TRUTH["length"], "length")
    near(found, SAMPLE_TRUTH["width"], "width")
    near({"Radius": found["Corner radius"]}, SAMPLE_TRUTH["radius"], "radius")
    link = maker.files_made("0.4 mm")
    with maker.page.expect_download() as download:
        link.click()
    assert Path(download.value.path()).read_bytes().startswith(b"<?xml")
    maker.press_next("Record the fit")
    maker.heading("After the cut")
    maker.page.get_by_label("Wood", exact=True).fill("ash")
    maker.page.get_by_label("Machine", exact=True).fill("bench router")
    maker.page.get_by_role("button", name="Snug").click()
    maker.page.get_by_text("snug, clearance 0.40 mm, ash, bench router").wait_for()
    maker.checked("after the cut")


def four_corners(maker):
    case = "stone-slab-four-corners"
    maker.begin("stone slab")
    bars(maker, case)
    corners = ("back right", "back left", "front left", "front right")
    photos_and_readings(maker, case, [f"{at} corner" for at in corners])
    rounded_edge(maker, "1.2 mm")
    maker.go("Outline")
    maker.choose("Symmetry", "lengthwise")
    found = maker.outline_ready()
    maker.checked("outline")
    true_size(found, case)


def two_sheets(maker):
    case = "walnut-shelf-two-sheets"
    maker.begin("walnut shelf")
    maker.go("Photos")
    maker.add_photos([(photo(case, number), "section") for number in (1, 3, 5)])
    maker.told("The photo also shows the A4 sheet no. 2")
    maker.checked("photos, another sheet")
    maker.press_next("Add A4 sheet no. 2")
    maker.told("Measure the part's thickness")
    maker.go("Frame")
    for nth, suffix in ((0, ""), (1, ", sheet 2")):
        bars(maker, case, nth, suffix)
    maker.checked("frame, two sheets")
    maker.press_next("Enter the thickness")
    hand_readings(maker, case, "thickness", "length", "width")
    rounded_edge(maker, "1 mm")
    maker.go("Outline")
    maker.choose("Symmetry", "none")
    true_size(maker.outline_ready(), case)
    maker.checked("outline, two sheets")


def free_form(maker):
    case = "slate-palette-free-form"
    maker.begin("slate palette")
    maker.choose("Paper", "A3")
    bars(maker, case)
    shows = ("right end", "left end", "section")
    photos_and_readings(maker, case, shows)
    maker.pick("Top edge", "Chamfered")
    maker.type_in("Size of the edge", "0.7 mm")
    maker.go("Outline")
    maker.choose("Shape", "free")
    maker.choose("Symmetry", "none")
    found = maker.outline_ready()
    maker.checked("outline, free")
    true_size(found, case)
    maker.files_made("0.5 mm")


def plain_frame(maker):
    case = "gloss-tray-plain-frame"
    maker.begin("gloss tray")
    maker.page.get_by_text("A frame of your own", exact=True).click()
    for label, text in (
        ("Width of the opening", reading(case, "opening x")),
        ("Height of the opening", reading(case, "opening y")),
        ("Width of its border", "12"),
        ("Its thickness", "0.8"),
    ):
        maker.page.get_by_label(label, exact=True).fill(text)
    maker.press("Use this plain frame")
    maker.page.get_by_label("Opening, width as measured", exact=True).wait_for()
    maker.forget_moves()  # another kind of frame is another picture; it was asked for
    maker.checked("frame, plain")
    photos_and_readings(maker, case, ("right end", "left end"))
    rounded_edge(maker, "1 mm", "1.5 deg")
    found = maker.outline_ready()
    maker.checked("outline, plain frame")
    true_size(found, case)


def pale_on_dark(maker):
    case = "porcelain-dish-dark-window"
    maker.begin("porcelain dish")
    maker.choose("Inside of the sheet", "dark (white or pale parts)")
    bars(maker, case)
    photos_and_readings(maker, case, ("right end", "left end"))
    rounded_edge(maker, "1.6 mm", "1 deg")
    maker.go("Outline")
    maker.choose("Shape", "stadium")
    found = maker.outline_ready()
    maker.checked("outline, pale part")
    true_size(found, case)


def wood_in_wood(maker):
    case = "maple-board-round-ends"
    maker.begin("maple board")
    maker.choose("Paper", "A3")
    bars(maker, case)
    photos_and_readings(maker, case, ("right end", "left end"))
    rounded_edge(maker, "1.5 mm")
    true_size(maker.outline_ready(), case)
    maker.told("Choose the clearance")
    maker.go("Pocket")
    maker.type_in("Clearance", "0.6 mm")
    maker.unfold("Wood and seasons")
    wood = maker.page.get_by_role("group").filter(
        has=maker.page.get_by_role("heading", name="Wood and seasons")
    )
    wood.get_by_label("Allow for wood movement").check()
    wood.get_by_label("The part is wood, too").check()
    maker.type_in("Species of the part", "maple, sugar")
    maker.choose("Grain runs along the part's", "length")
    wood.get_by_role("table").get_by_text("Driest day").first.wait_for()
    maker.checked("pocket, wood in wood")


def inches(maker):
    maker.show_inches()
    maker.begin("basalt plate")
    paper = maker.page.get_by_label("Paper", exact=True)
    assert paper.locator("option:checked").inner_text() == "Letter"
    paper.select_option("A4")  # the photos are of that sheet
    maker.page.get_by_text("They should measure 7.8740 in").wait_for()
    maker.type_in("Bar x as measured", "7.8413")
    maker.type_in("Bar y as measured", "4.7335")
    to_photos(maker, [(SAMPLE / f"{end}-end.jpg", f"{end} end") for end in ("left", "right")])
    maker.press_next("Enter the thickness")
    for what, text in (("Thickness", "0.2075"), ("Length", "16 7/16"), ("Width", "4.6715 in")):
        maker.read(what, text)
    rounded_edge(maker, "1/32", "0.5")
    maker.checked("readings, inches")
    found = maker.outline_ready()
    maker.checked("outline, inches")
    near(found, SAMPLE_TRUTH["length"], "length")
    near(found, SAMPLE_TRUTH["width"], "width")
    mm_left(maker, "outline")
    maker.told("Choose the clearance")
    maker.press_next("Choose the clearance")
    maker.heading("The pocket")
    maker.type_in("Clearance", "1/64")
    maker.type_in("Diameter (optional)", "1/4")
    maker.told("Everything is there. Make the files.")
    mm_left(maker, "pocket")
    maker.checked("pocket, inches")
    maker.press_next("Make the files")
    maker.told("Print the template and lay the part on it")
    maker.go("Files")
    maker.page.get_by_role("link", name=re.compile(r"^Download .*units-in\.svg$")).first.wait_for()
    maker.checked("files, inches")


def mm_left(maker, step):
    """No length is shown in mm, but for the round sizes that the part may have been drawn with."""
    texts = maker.page.get_by_role("main").inner_text()
    left = re.findall(r"[^\n]*\d\s?mm\b[^\n]*", texts)
    left = [line for line in left if not re.search(r"mm, \d+ %", line)]
    assert not left, (step, left)


def wrong_unit(maker):
    maker.begin("basalt plate")
    sample_photos(maker)
    maker.press_next("Enter the thickness")
    maker.read("Thickness", "5.27 mm")
    maker.read("Length", "16.44 mm")  # inches, typed as millimetres
    maker.told("Not to be cut.")
    maker.checked("readings, not to be cut")
    maker.go("Outline")
    maker.page.get_by_role("region", name="State of the outline").get_by_text(
        "Not to be cut"
    ).first.wait_for()
    maker.checked("outline, not to be cut")
    maker.go("Readings")
    maker.press("Undo: reading of the length")
    maker.told("Measure the length with a tape")
    maker.read("Length", "418 mm")
    maker.files_made("0.4 mm")


def net_lost(maker):
    """The phone is out of the net while photo and readings are given, and reloaded without it."""
    context = maker.page.context
    maker.begin("basalt plate")
    sample_photos(maker)
    maker.told("Measure the part's thickness")
    maker.press_next("Enter the thickness")
    maker.heading("Readings")
    maker.offline = True
    context.set_offline(True)
    maker.read("Thickness", "5.27 mm")
    maker.page.get_by_text("Not saved: 1 change").wait_for()
    maker.read("Length", "418 mm")
    maker.page.get_by_text("Not saved: 2 changes").wait_for()
    maker.checked("readings, offline")
    context.set_offline(False)
    maker.page.get_by_text("Not saved").wait_for(state="hidden")
    maker.offline = False
    maker.page.reload()
    maker.press("thickness: 5.27 mm, read once. Add a reading")
    maker.press("Cancel")
    maker.told("Choose the clearance")
    found = maker.outline_ready()
    near(found, SAMPLE_TRUTH["length"], "length")
    near(found, SAMPLE_TRUTH["width"], "width")
    maker.files_made("0.4 mm")


JOBS = {
    "two ends": PageJob(two_ends),
    "four corners": PageJob(four_corners, "stone-slab-four-corners"),
    "two sheets": PageJob(two_sheets, "walnut-shelf-two-sheets"),
    "free form": PageJob(free_form, "slate-palette-free-form"),
    "plain frame": PageJob(plain_frame, "gloss-tray-plain-frame"),
    "pale part on the dark sheet": PageJob(pale_on_dark, "porcelain-dish-dark-window"),
    "wooden part in wood": PageJob(wood_in_wood, "maple-board-round-ends"),
    "inches throughout": PageJob(inches),
    "a wrong unit mended": PageJob(wrong_unit),
    "a phone that loses the net": PageJob(net_lost),
}
