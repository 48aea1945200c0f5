import json
from dataclasses import FrozenInstanceError

import pytest

from snugline import Notice
from snugline.place import OfPhoto, Region
from snugline.sentence import Sentence, length, share


def test_a_bare_notice_has_the_keys_of_the_contract() -> None:
    notice = Notice("sheet-bent", "The sheet is bent by 0.6 mm.", "Tape the sheet flat.")
    assert notice.as_json() == {
        "code": "sheet-bent",
        "text": "The sheet is bent by 0.6 mm.",
        "mend": "Tape the sheet flat.",
        "severity": "usable",
    }


def test_a_notice_with_a_place_names_photo_pixels_and_figures_and_is_read_back() -> None:
    region = Region((10.0, 20.1, 300.0, 400.1))
    text = Sentence("Over {} the edge is lost.", length(7, 0))
    mend = Sentence("Move it {} or {} {{or}} so.", length(2.5, 1), share(0.1))
    notice = Notice("edge-lost", text, mend, "retake", OfPhoto("left.jpg"), region)
    record = json.loads(json.dumps(notice.as_json()))
    assert record["about"] == {"photo": "left.jpg"}
    assert record["place"] == {"region_px": [10.0, 20.1, 300.0, 400.1]}
    assert record["text"] == "Over 7 mm the edge is lost."
    assert record["figures"][0] == {"value": 7, "unit": "mm", "kind": "length", "decimals": 0}
    assert record["mend"] == "Move it 2.5 mm or 10 % {or} so."
    assert Notice.from_json(record) == notice
    assert Notice.from_json(record).text.in_unit("in") == "Over 0.3 in the edge is lost."


def test_a_notice_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError):
        Notice("a", "b", "c").code = "d"  # type: ignore[misc]
