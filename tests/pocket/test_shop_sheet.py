"""What the machine's page says, read back from its PDF."""

import pypdfium2
import pytest
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices

from snugline.fit.geometry.primitives import filleted_polygon
from snugline.pocket.plan import make_plan
from snugline.pocket.shop_sheet import shop_sheet

SLIM = {"clearance": "0.5 mm", "coupons": None, "stock": {"thickness": "20 mm"}}


def page(part=TRAY, **changes):
    made = make_plan(part, UNCERTAINTY, THICKNESS, choices(**(SLIM | changes)), part="tray")
    return pypdfium2.PdfDocument(shop_sheet(made))[0]


def words(part=TRAY, **changes):
    return " ".join(page(part, **changes).get_textpage().get_text_range().split())


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


def test_the_text_beside_the_picture_ends_where_the_picture_begins():
    """The picture stands 62 by 40 mm in the upper right corner, 12 mm from the edges."""
    shown = page()
    width, height = shown.get_size()
    mm = 72 / 25.4
    text = shown.get_textpage()
    boxes = [text.get_charbox(i) for i in range(text.count_chars())]
    title = 20 * mm  # the heading runs across above the sections
    beside = [b for b in boxes if height - 50 * mm < b[3] < height - title and b[2] > b[0]]
    assert beside
    assert max(b[2] for b in beside) < width - (12 + 60) * mm
