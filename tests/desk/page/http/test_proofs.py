"""The acceptance test on the page: what is taken, what is refused, and the command's own words."""

import io

import pytest
from acceptance_scenes import CARD_THAT_PASSES, photograph
from PIL import Image

from snugline.desk.acceptance_words import decision_words, object_of, scale_words
from snugline.desk.page.jobs.proofs import ProofPhotos
from snugline.errors import InputError

BARS = {"bar_x": ["200.6 mm"], "bar_y": ["120.36 mm"]}


def png(shade=90):
    stream = io.BytesIO()
    Image.new("RGB", (64, 48), (shade, shade, shade)).save(stream, "PNG")
    return stream.getvalue()


def test_objects_are_listed_with_published_sizes_and_no_payment_card(ask, no_acceptance_tests):
    answer = ask(("GET", "/api/proofs")).json()
    by_name = {one["name"]: one for one in answer["objects"]}
    # ISO/IEC 7810, ID-1; ISO 216, A6; US Mint, five cents.
    assert [s["value"] for s in by_name["card"]["sizes"]] == [85.60, 53.98, 3.18]
    assert [s["value"] for s in by_name["a6"]["sizes"]] == [148.0, 105.0]
    assert [s["value"] for s in by_name["us-nickel"]["sizes"]] == [21.21]
    assert answer["mpe"] == 0.2
    assert answer["tests"] == []


def test_photos_of_a_test_have_their_limits(tmp_path):
    photos = ProofPhotos()
    kept = []
    for shade in range(50):
        file = tmp_path / "one"
        file.write_bytes(png(shade))
        kept.append(photos.take(file, f"{shade:02x}" * 32, "png"))
    assert len(list(photos.folder.iterdir())) == 48
    assert [path.name for path in photos.find(kept[-2:])] == kept[-2:]
    for wrong in ([], None, kept[:1], [kept[-1]] * 2, kept[-13:], ["../job.toml"]):
        with pytest.raises(InputError):
            photos.find(wrong)
    folder = photos.folder
    photos.end()
    assert not folder.exists()


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"photos": []}, "no photo"),
        ({"photos": ["gone.png"]}, "a photo is missing"),
        ({"object": "payment-card"}, "no object"),
        ({"object": "block"}, "sizes are missing"),
        ({"mpe": "-1 mm"}, "not above zero"),
        ({"mpe": "wide"}, "not a length"),
        ({"sheet": "/etc/passwd"}, "no sheet"),
        ({"bar_x": ["20 mm"]}, "20"),
        ({"bar_x": "200 mm"}, "list of readings"),
    ],
)
def test_what_cannot_be_tested_is_refused_with_its_reason(serving, changed, said):
    sent = serving.browser.post("/api/proofs/photos", content=png()).json()["id"]
    asked = {"photos": [sent], "object": "card", "sheet": "border-a4", **BARS} | changed
    answer = serving.browser.post("/api/proofs", json=asked)
    assert answer.status_code == 422
    assert said in answer.json()["error"]["what"]


def test_what_is_no_photo_is_not_taken(serving):
    assert serving.browser.post("/api/proofs/photos", content=b"text").status_code == 415
    assert serving.browser.post("/api/proofs/photos", content=b"").status_code == 422


def test_a_block_has_the_sizes_that_are_typed_and_a_card_its_own():
    made = object_of("block", (35.0, 60.0, 9.0), 0.02)
    assert [size.value for size in made.sizes] == [60.0, 35.0]
    assert {size.tolerance for size in made.sizes} == {0.02}
    with pytest.raises(InputError, match="published"):
        object_of("card", (86.0, None, None))


def test_the_words_are_in_the_reader_s_unit_and_the_scale_is_told_beyond_its_u95():
    record = {"object_words": "ID-1 card", "mpe": 0.2, "decision": "passes", "warnings": []}
    said = decision_words(record)
    assert said == "ID-1 card: passes: every size error is within 0.20 mm by its U95"
    assert "0.008 in" in said.in_unit("in")
    assert scale_words({"share": 0.001, "share_u95": 0.002}) is None
    told = scale_words({"share": 0.003, "share_u95": 0.002})
    assert "a part of 400 mm comes out +1.2 mm" in told


@pytest.mark.whole
def test_the_page_says_what_the_command_says_and_both_keep_the_same(
    serving, snugline, tmp_path, no_acceptance_tests
):
    card = tmp_path / "photo-1.jpg"
    photograph(CARD_THAT_PASSES, card)
    status, out, _ = snugline("prove", card, "--frame", "border-a4", "--bar-x", "200.6mm",
                              "--bar-y", "120.36mm")  # fmt: skip
    assert status == 0
    sent = serving.browser.post("/api/proofs/photos", content=card.read_bytes()).json()["id"]
    asked = {"photos": [sent], "object": "card", "sheet": "border-a4", **BARS}
    found = serving.browser.post("/api/proofs", json=asked).json()
    decision, worst = (told["text"] for told in found["told"][:2])
    assert out.splitlines()[0] == decision
    assert out.splitlines()[1].strip() == worst
    assert [error["photo"] for error in found["errors"]] == ["photo-1.jpg"] * 3
    listed = serving.browser.get("/api/proofs").json()["tests"]
    assert listed[0]["told"]["text"].startswith("rendered on border-a4, acceptance test of")
    # Its bars are a print from now on.
    assert serving.browser.get("/api/prints").json()["prints"][0]["bar_x"] == ["200.6 mm"]
