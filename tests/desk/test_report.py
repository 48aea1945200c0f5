"""`report.html`: one file, nothing fetched, every part of the result in it."""

import base64
import re
from html.parser import HTMLParser
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from snugline.desk.pictures import along_outline
from snugline.desk.report import OVERLAY_WIDTH, ReportInput, report_html
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.geometry.outline import Line, Outline

VOID = {"meta", "img", "br", "path"}
TRIANGLE = Outline(
    (
        Line((0.0, 0.0), (30.0, 0.0)),
        Line((30.0, 0.0), (0.0, 20.0)),
        Line((0.0, 20.0), (0.0, 0.0)),
    )
)


def record(**changes):
    corner = {"at": "front left", "family": "arc", "seen": False, "ranking": [["arc", 1.0]]}
    return {
        "state": "usable",
        "because": ["b"],
        "outline": {
            "family": "rounded rectangle",
            "length": {"value": 418.02, "u95": 0.31, "from": ["tape"]},
            "width": {"value": 146.48, "u95": 0.05, "from": ["photo", "caliper"]},
            "corners": [{**corner, "radius": {"value": 27.41, "u95": 0.09}}],
            "residual_rms": 0.04,
            "residual_max": 0.15,
        },
        "nominal": [{"of": "corner radius", "candidates": [["27.5 mm", 0.7]]}],
        "budget": [
            {
                "of": "length",
                "value": 418.02,
                "u95": 0.31,
                "contributions": [
                    {"source": "tape scale", "u": 0.15},
                    {"source": "points", "u": 0.003},
                    {"source": "edge offset", "u": 0.004},
                ],
                "gains": [{"by": "a second tape", "u95": 0.2}],
            }
        ],
        "photos": [
            {
                "file": "left <end>.jpg",
                "markers_found": 17,
                "markers_total": 22,
                "holdout_mm": 0.03,
                "tilt_deg": 12.1,
                "mm_per_px": 0.09,
            }
        ],
        "cut_plan": {
            "layers": [],
            "suggestion": {"low": 0.25, "high": 0.5, "basis": "common practice"},
            "cautions": ["Cut a test in scrap."],
        },
        "warnings": [
            {"code": "a", "text": "Note this.", "mend": "Nothing.", "severity": "fine"},
            {
                "code": "b",
                "text": "the sheet is bent",
                "mend": "tape it flat",
                "severity": "retake",
            },
        ],
        **changes,
    }


def page(unit="mm", **changes):
    stream = BytesIO()
    Image.new("RGB", (2400, 600), "white").save(stream, "PNG")
    share = along_outline("left <end>.jpg", TRIANGLE, np.array([[10.0, -0.02], [-0.03, 5.0]]))
    overlays = {"left <end>.jpg": stream.getvalue()}
    plans = {"0.25 mm": Drawing("tray", (Layer("pocket 6 mm deep", (TRIANGLE,)),))}
    return report_html(
        ReportInput("a <fine> tray", record(**changes), TRIANGLE, [share], overlays, plans, unit)
    )


class Balance(HTMLParser):
    """Fails on a tag that is closed in the wrong place."""

    def __init__(self):
        super().__init__()
        self.open = []

    def handle_starttag(self, tag, attrs):
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        pass

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_the_page_is_well_formed():
    parser = Balance()
    parser.feed(page())
    assert parser.open == []


def test_nothing_is_fetched_from_anywhere():
    text = page()
    assert not re.findall(r"https?:|//[a-z]|@import|<script|<link", text)
    for source in re.findall(r'(?:src|href)="([^"]{0,20})', text):
        assert source.startswith("data:image/jpeg")


def test_every_part_of_the_result_is_shown():
    text = page()
    for words in ["418.02 mm", "0.31 mm", "from photo, caliper", "27.41 mm", "27.5 mm (70 %)"]:
        assert words in text
    for words in [
        "tape scale",
        "a second tape",
        "17 of 22 markers",
        "pocket 6 mm deep",
        "0.25 mm to 0.50 mm",
        "Cut a test in scrap.",
    ]:
        assert words in text
    assert "in no photo; mirrored" in text


def test_what_must_be_taken_again_stands_first():
    text = page()
    assert text.index("The sheet is bent.") < text.index("Note this.")


def test_small_contributions_share_a_bar():
    assert re.search(r"all others</td><td[^>]*>0.005 mm", page())  # 3 and 4 make 5
    assert "edge offset" not in page()


def test_without_remarks_the_page_says_so():
    assert "Remarks</h2><p>None.</p>" in page(warnings=[])


def test_words_from_outside_are_escaped():
    text = page()
    assert "<fine>" not in text
    assert "<end>" not in text
    assert "a &lt;fine&gt; tray" in text


def test_lengths_follow_the_job_s_unit():
    text = page(unit="in")
    assert "16.4575 in" in text  # 418.02 mm / 25.4
    assert "418.02 mm" not in text


def test_overlays_are_reduced_to_what_a_page_shows():
    data = re.search(r"data:image/jpeg;base64,([^\"]+)", page())[1]
    with Image.open(BytesIO(base64.b64decode(data))) as image:
        assert image.size == (OVERLAY_WIDTH, OVERLAY_WIDTH // 4)


@pytest.mark.parametrize("size", re.findall(r"font(?:-size)?:\s*([\d.]+)(px|rem)", page()))
def test_no_text_is_smaller_than_16_px(size):
    value, unit = float(size[0]), size[1]
    assert value * (16 if unit == "rem" else 1) >= 16


def test_picture_and_answer_come_before_remarks_and_statistics():
    heads = re.findall(r"<h2>(.*?)</h2>", page())
    assert heads == ["Outline", "Dimensions", "Pocket", "Remarks", "Photos",
                     "What the uncertainty is made of", "Residuals along the edge"]  # fmt: skip


def test_a_pocket_says_whether_it_may_be_cut_and_how_likely_the_part_goes_in():
    pockets = [
        {"clearance": 0.25, "state": "not to be cut", "goes_in": {"words": "hardly (12 %)"}},
        {"clearance": {"length": 0.6, "width": 0.4}, "state": "good",
         "goes_in": {"words": "almost certainly (99 %)"}},
    ]  # fmt: skip
    plan = {"layers": [], "pockets": pockets, "depth": {"pocket": 6.4}}
    text = page(cut_plan=plan)
    assert "clearance 0.25 mm (not to be cut)</td><td>hardly (12 %)" in text
    assert "length 0.60 mm, width 0.40 mm</td><td>almost certainly (99 %)" in text
    assert "depth</td><td>6.40 mm" in text
