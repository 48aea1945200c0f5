"""How to read the test pieces, read back from the page."""

import pypdfium2
import pytest
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices

from snugline.pocket.coupon_guide import coupon_guide
from snugline.pocket.plan import make_plan


def guide(unit="mm", **changes):
    chosen = choices(**({"clearance": "0.5 mm", "stock": {"thickness": "20 mm"}} | changes))
    made = make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen, part="tray", unit=unit)
    return made, pypdfium2.PdfDocument(coupon_guide(made))


def words(*arguments, **changes):
    made, document = guide(*arguments, **changes)
    return made, " ".join(document[0].get_textpage().get_text_range().split())


def test_each_gauge_is_told_with_the_rungs_that_are_cut():
    made, text = words(coupons={})
    for axis in made.suggestion.axes:
        assert f"The {axis.direction} gauge" in text
        assert ", ".join(f"{rung:.2f} mm" for rung in axis.ladder) in text
    assert "0.25 mm to 0.50 mm is common practice for a brittle part" in text
    assert "its end down" in text
    assert "its long side down" in text
    assert "Never press a brittle part" in text
    assert "The ends with corners" in text
    assert '--machine "bench router"' in text
    own = words(coupons={"ladder": ["0.2 mm", "0.35 mm"]})[1]
    assert own.count("Steps: 0.20 mm, 0.35 mm, each") == 2


@pytest.mark.parametrize("tests", [["width"], ["length"], ["corner"]])
def test_only_what_is_cut_is_told(tests):
    _, text = words(coupons={"tests": tests})
    assert ("The width gauge" in text) == (tests == ["width"])
    assert ("The length gauge" in text) == (tests == ["length"])
    assert ("The ends with corners" in text) == (tests == ["corner"])


def test_a_soft_part_fills_its_step():
    _, text = words(kind="soft", material=None, coupons={})
    assert "take the step that it fills" in text
    assert "Never press" not in text
    _, text = words(kind="firm", material=None, coupons={})
    assert "that it fills" not in text


def test_it_is_one_page_with_its_unit_and_margins():
    made, document = guide("in", coupons={})
    assert len(document) == 1
    page = document[0]
    read = page.get_textpage()
    assert "All lengths in inches." in read.get_text_range()
    boxes = [read.get_charbox(i) for i in range(read.count_chars())]
    boxes = [b for b in boxes if b[2] > b[0]]
    mm = 72 / 25.4
    width, height = page.get_size()
    assert min(b[0] for b in boxes) == pytest.approx(15 * mm, abs=4)
    assert max(b[2] for b in boxes) <= width - 15 * mm + 1
    assert max(b[3] for b in boxes) == pytest.approx(height - 15 * mm, abs=12)
    assert coupon_guide(made) == coupon_guide(made)
