"""What the machine's page says, read back from its PDF."""

import pypdfium2
import pytest
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices

from snugline.fit.geometry.primitives import filleted_polygon
from snugline.pocket.plan import make_plan
from snugline.pocket.shop_sheet import shop_sheet

SLIM = {"clearance": "0.5 mm", "coupons": None, "stock": {"thickness": "20 mm"}}


def document(part=TRAY, **changes):
    made = make_plan(part, UNCERTAINTY, THICKNESS, choices(**(SLIM | changes)), part="tray")
    return pypdfium2.PdfDocument(shop_sheet(made))


def words(part=TRAY, **changes):
    first = document(part, **changes)[0]
    return " ".join(first.get_textpage().get_text_range().split())


@pytest.mark.parametrize(
    ("seat", "said"),
    [
        ("flush", "the part sits flush"),
        ("0.5 mm above", "the part sits 0.50 mm above the face"),
        ("0.3 mm below", "the part sits 0.30 mm below the face"),
    ],
)
def test_the_seat_is_said_as_the_job_has_it(seat, said):
    assert said in words(seat=seat)


def test_depths_floor_and_sanding_are_said():
    text = words(step=None, notch=None)
    assert "depth 9.70 mm" in text
    assert "after sanding off 0.20 mm" in text
    assert "floor left 10.30 mm" in text


def test_a_part_with_one_corner_radius_has_it_with_its_uncertainty():
    assert "corner radius 27.40 mm (U95 0.09 mm)" in words()


def test_a_part_with_several_radii_has_their_range():
    corners = [(-100, -50), (100, -50), (100, 50), (-100, 50)]
    text = words(filleted_polygon(corners, [10, 12.5, 20, 20]))
    assert "radii 10.00 mm to 20.00 mm" in text
    assert "corner radius" not in text


def test_the_cutter_is_said_with_the_largest_that_clears_all():
    assert "cutter 6.00 mm (largest that reaches every corner: 55.8" in words(notch=None)


def test_picture_and_answer_come_first_then_checks_and_statistics_on_their_own_page():
    sheet = document()
    assert len(sheet) == 2
    first, second = (" ".join(p.get_textpage().get_text_range().split()) for p in sheet)
    order = ["419.00 mm", "Will it go in?", "Part", "Pocket", "Remarks", "Before the cut"]
    places = [first.index(title) for title in order]
    assert places == sorted(places)
    assert "Clearances (per side)" in second
    assert "opening measured" in second


def test_the_drawing_has_the_pocket_s_sizes_and_stays_inside_the_margins():
    text = words()
    for size in ("419.00 mm", "147.00 mm", "R 27.90 mm", "9.70 mm", "0.50 mm at the long sides"):
        assert size in text
    for shown in document(seat="0.5 mm above"):
        width, height = shown.get_size()
        margin = 12 * 72 / 25.4 - 0.5
        read = shown.get_textpage()
        boxes = [read.get_charbox(i) for i in range(read.count_chars())]
        boxes = [box for box in boxes if box[2] > box[0]]
        assert min(box[0] for box in boxes) >= margin
        assert max(box[2] for box in boxes) <= width - margin
        assert min(box[1] for box in boxes) >= margin - 3
        assert max(box[3] for box in boxes) <= height - margin


def test_a_pocket_that_may_be_cut_is_drawn_before_one_that_may_not():
    text = words(clearance=["0.05 mm", "1 mm"])
    assert "NOT TO BE CUT" in text
    assert "420.00 mm" in text[: text.index("Will it go in?")]
