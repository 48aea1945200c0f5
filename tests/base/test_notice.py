import json
from dataclasses import FrozenInstanceError

import pytest

from snugline import Notice


def test_a_bare_notice_has_the_keys_of_the_contract() -> None:
    notice = Notice("sheet-bent", "The sheet is bent by 0.6 mm.", "Tape the sheet flat.")
    assert notice.as_json() == {
        "code": "sheet-bent",
        "text": "The sheet is bent by 0.6 mm.",
        "mend": "Tape the sheet flat.",
        "severity": "usable",
    }


def test_a_notice_with_a_place_names_it_and_its_pixels() -> None:
    region = (10.04, 20.06, 300.0, 400.123)
    notice = Notice("glare", "A.", "B.", "retake", "left.jpg", region)
    record = json.loads(json.dumps(notice.as_json()))
    assert record["place"] == "left.jpg"
    assert record["region_px"] == [10.0, 20.1, 300.0, 400.1]
    assert record["severity"] == "retake"


def test_a_notice_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError):
        Notice("a", "b", "c").code = "d"  # type: ignore[misc]
