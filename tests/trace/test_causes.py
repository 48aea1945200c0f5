"""The table of causes: one made picture a row, and the word that it must end with.

A row that is to be measured names the remarks it may have; a row that cannot be measured names a
piece of its sentence and of its remedy, which no other row's cause may share.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from made_photos import Block, Made, Patch, rectangle, rounded, saved, shown_again, taken
from PIL import Image
from shapely import LinearRing, points

from snugline.errors import SnuglineError
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.measure import measure_photos
from snugline.trace.sheet.frame_description import read_frame, with_print_scale

DARK, GREY, CREAM = (0.10, 0.10, 0.11), (0.30, 0.31, 0.30), (0.70, 0.62, 0.45)
CLOTH, WHITE = (0.20, 0.05, 0.05), (0.855, 0.855, 0.845)
END = rounded(rectangle(205, 105, 190, 82))  # leaves an A4 sheet on the right
WHOLE = rounded(rectangle(148, 105, 120, 70, 4))
PART = Block(END, 5.0, DARK)
SMALL = Block(WHOLE, 5.0, DARK)
A3_END = rounded(rectangle(290, 148, 270, 120))


def cropped(rgb):
    return np.ascontiguousarray(rgb[20:-30, 40:-90])


def mirrored(rgb):
    return np.ascontiguousarray(rgb[:, ::-1])


def upside_down(rgb):
    return np.ascontiguousarray(rgb[::-1, ::-1])


def reduced(rgb):
    height, width = rgb.shape[:2]
    small = Image.fromarray(rgb).resize((width * 5 // 6, height * 5 // 6), Image.Resampling.LANCZOS)
    return np.asarray(small)


def screenshot(rgb):
    """On a phone's tall screen, bars of black above and below."""
    height, width = rgb.shape[:2]
    screen = np.zeros((height + 700, width, 3), np.uint8)
    screen[300 : 300 + height] = rgb
    return screen


@dataclass(frozen=True)
class Row:
    """A picture and what it must end with.

    Attributes
    ----------
    cause : pieces of sentence and remedy that a refusal must have; empty where it is measured.
    codes : remarks that must be there.
    """

    name: str
    made: Made
    described: str = "border-a4"
    sent: object = None
    focal_35mm: int | None = 26
    bars: tuple = ()
    cause: tuple = ()
    codes: tuple = ()
    size_mm: float = 0.35


pytestmark = pytest.mark.whole
A4 = Made(blocks=(PART,))
ROWS = [
    Row("an end, plainly", A4),
    Row("a whole part", Made(blocks=(SMALL,))),
    Row("photographed upside down", A4, sent=upside_down),
    Row("cropped", A4, sent=cropped, codes=("lens-unsure",)),
    Row("cropped, metadata lost", A4, sent=cropped, focal_35mm=None, codes=("lens-unsure",)),
    Row("metadata lost", A4, focal_35mm=None),
    Row("EXIF of a tele lens", A4, focal_35mm=77, codes=("not-as-taken",)),
    Row("EXIF of an ultra-wide lens", A4, focal_35mm=13, codes=("not-as-taken",)),
    Row("reduced by a messenger", A4, sent=reduced, focal_35mm=None),
    Row("a screenshot of the photo", A4, sent=screenshot, focal_35mm=None,
        codes=("lens-unsure",)),
    Row("steep", replace(A4, tilt_deg=32), codes=("tilted",)),
    Row("printed at 94 %, bars read", replace(A4, scale=(0.94, 0.94)), bars=(0.94, 0.94)),
    Row("printed at 94 %, one bar read", replace(A4, scale=(0.94, 0.94)), bars=(0.94, None)),
    Row("a photo of a screen", A4, sent=shown_again, codes=("not-as-taken",)),
    Row("mirrored", A4, sent=mirrored, cause=("mirrored", "flip")),
    Row("mirrored, a whole part", Made(blocks=(SMALL,)), sent=mirrored, cause=("mirrored", "flip")),
    Row("A3, the job says A4", Made("border-a3", (Block(A3_END, 5.0, DARK),)),
        cause=("the photo shows the sheet border-a3", "border-a4"[:6])),
    Row("letter, the job says A4", Made("border-letter", (PART,)),
        cause=("the photo shows the sheet border-letter", "use border-letter")),
    Row("A4, the job says letter", A4, "border-letter",
        cause=("the photo shows the sheet border-a4", "use border-a4")),
    Row("A4's second sheet, the job says the first", Made("border-a4-2", (PART,)),
        cause=("the photo shows the sheet border-a4-2", "use border-a4-2")),
    Row("A3, the job says A4's second sheet", Made("border-a3", (Block(A3_END, 5.0, DARK),)),
        "border-a4-2", cause=("the photo shows the sheet border-a3", "use border-a3")),
    Row("markers of nobody", Made("shuffled", (PART,)), "strange",
        cause=("belong to no frame described", "choose the sheet")),
    Row("markers in other places than described", Made("shuffled", (PART,)),
        cause=("not where the description border-a4 puts them", "description")),
    Row("a sheet of another name, described as strange", A4, "strange",
        cause=("the photo shows the sheet border-a4", "use border-a4")),
    Row("no sheet", Made("border-a4", patches=(Patch(rectangle(148, 105, 330, 240), GREY),)),
        cause=("no marker", "photograph the part on the printed frame")),
    Row("nearly all markers covered",
        Made(blocks=(PART,), patches=(Patch(rectangle(130, 135, 330, 220), CLOTH),
                                      Patch(rectangle(120, 30, 290, 80), CLOTH))),
        cause=("of the markers of border-a4 were found", "cover less")),
    Row("no part", Made(), cause=("no part is in", "lay the part")),
    Row("no part on the dark window", Made("border-a4-dark"), "border-a4-dark",
        cause=("no part is in", "lay the part")),
    Row("as white as the sheet", Made(patches=(Patch(END, WHITE),)),
        cause=("as light as", "dark")),
    Row("as dark as the dark window", Made("border-a4-dark", patches=(Patch(END, (0.062,) * 3),)),
        "border-a4-dark", cause=("as light as", "white")),
    Row("as white as the sheet, its side seen", Made(blocks=(Block(END, 3.0, WHITE),)),
        codes=("edge-lost",)),
    Row("over the whole window", Made(blocks=(Block(rectangle(148, 105, 230, 150), 5.0, DARK),)),
        cause=("covers all", "larger frame")),
    Row("dark window, described white", Made("border-a4-dark", (Block(END, 5.0, CREAM),)),
        cause=("window is printed dark", "-dark")),
    Row("white window, described dark", A4, "border-a4-dark",
        cause=("window is white", "without -dark")),
    Row("yellowish paper in the window", Made(
        blocks=(SMALL,), patches=(Patch(rectangle(148.5, 105, 226, 146), CREAM),)),
        cause=("paper in the window", "own paper")),
    Row("grey card in the window", Made(
        blocks=(SMALL,), patches=(Patch(rectangle(148.5, 105, 224, 144), (0.55,) * 3),)),
        cause=("paper in the window", "own paper")),
    Row("two parts", Made(blocks=(Block(rectangle(95, 105, 70, 60), 5.0, DARK),
                                  Block(rectangle(205, 105, 80, 62), 5.0, DARK))),
        codes=("second-part",)),
    Row("two parts of two colours", Made(blocks=(Block(rectangle(95, 105, 70, 60), 5.0, GREY),
                                                 Block(rectangle(205, 105, 80, 62), 5.0, DARK))),
        codes=("second-part",)),
    Row("a cloth over markers", Made(
        blocks=(PART,), patches=(Patch(rectangle(20, 110, 46, 120), CLOTH),)),
        codes=("markers-covered",)),
    Row("a card over markers", Made(
        blocks=(PART,), patches=(Patch(rectangle(90, 12, 86, 54), (0.15, 0.25, 0.5)),)),
        codes=("markers-covered",)),
    Row("in the dark", replace(A4, noise=0.004, exposure=0.07), codes=("too-dark",)),
    Row("out of focus", replace(A4, blur=2.6), codes=("not-sharp",)),
    Row("overexposed", replace(A4, exposure=1.3), codes=("overexposed",)),
]  # fmt: skip
assert len(ROWS) >= 30
# Of a mid-sized made picture the resolution is no news.
QUIET = {"coarse"}


@dataclass(frozen=True)
class Ended:
    """What a picture ended with."""

    sentence: str = ""
    codes: frozenset = field(default_factory=frozenset)
    off_mm: float = 0.0


def described(row):
    name = "border-a4" if row.described == "strange" else row.described
    frame = read_frame(name)
    if row.described == "strange":
        return replace(frame, name="strange", ids=frame.ids + 300)
    if row.bars:
        read = [
            None if k is None else frame.bars[axis].nominal * k
            for axis, k in zip("xy", row.bars, strict=True)
        ]
        return with_print_scale(frame, *read)
    return frame


def ended(row, path):
    rgb = taken(row.made)
    saved(row.sent(rgb) if row.sent else rgb, path, row.focal_35mm)
    blocks = row.made.blocks
    sides = PartSides(blocks[0].thickness if blocks else 5.0, 0.02)
    try:
        (photo,) = measure_photos([path], [described(row)], sides).photos
    except SnuglineError as error:
        return Ended(str(error))
    contour = photo.contour
    rings = [LinearRing(block.foot) for block in blocks]
    off = np.min([ring.distance(points(contour.outer.points)) for ring in rings], axis=0)
    codes = frozenset(n.code for n in contour.notices if n.severity != "fine")
    return Ended("", codes, float(np.quantile(off, 0.95)))


@pytest.mark.parametrize("row", ROWS, ids=[row.name for row in ROWS])
def test_every_picture_ends_with_its_own_cause(row, tmp_path):
    found = ended(row, tmp_path / "photo.jpg")
    if row.cause:
        assert all(words in found.sentence for words in row.cause), found
        return
    assert not found.sentence, found
    assert set(row.codes) <= found.codes, found
    if not row.codes:
        assert found.codes <= QUIET, found
        assert found.off_mm < row.size_mm, found
