"""`snugline prove`: a known object is tested, the test is kept, and later results name it.

The photos are rendered with known errors built in: a print that is 0.3 % too large, a card as thick
as ISO/IEC 7810 allows (0.84 mm), sizes inside the published limits.
"""

import json
import math
from dataclasses import replace

import pytest
from acceptance_scenes import CARD_THAT_PASSES, COPPER, FRAME, HIGH, Laid, photograph
from PIL import Image

from snugline.desk.acceptance_records import (
    SCHEMA,
    Phone,
    earlier_tests,
    phone_of,
    phone_of_all,
    read_tests,
    save,
    told,
)
from snugline.desk.acceptance_run import run_acceptance
from snugline.fit.acceptance import ReferenceSize
from snugline.fit.reference_objects import CARD, OBJECTS
from snugline.trace.sheet.frame_description import with_print_scale

CARD_LAID = Laid((85.66, 54.00, 3.10), 0.84, print_scale=(1.003, 1.003))
COIN_LAID = Laid(
    (21.18,), 1.90, 0.35, COPPER, print_scale=(1.003, 1.003), view=(310.0, 6.0, 200.0, 4.0), seed=2
)
BARS = ("--bar-x", "200.6mm", "--bar-y", "120.36mm")


def phone_photo(path, model="phone one", lens="wide 1.8"):
    exif = Image.Exif()
    exif[271], exif[272] = "maker", model
    exif.get_ifd(0x8769)[0xA434] = lens
    Image.new("RGB", (64, 48)).save(path, exif=exif)
    return path


def kept(bars_read=True, scale=1.0, day="2026-03-01", **changes):
    return {
        "schema": SCHEMA,
        "date": day,
        "phone": Phone("maker", "phone one", "wide 1.8", None).as_json()
        | {"name": "maker phone one"},
        "sheet": {
            "name": "border-a4",
            "scale": [scale, scale],
            "scale_u": [0.0003, 0.0005],
            "bars_read": bars_read,
        },
        "object": "card",
        "object_words": "ID-1 card",
        "mpe": 0.2,
        "decision": "passes",
        "largest": {"of": "width", "error": -0.06, "u95": 0.07},
        **changes,
    }


def test_the_phone_is_known_from_the_photo(tmp_path):
    first = phone_photo(tmp_path / "a.jpg")
    assert phone_of(first).name == "maker phone one"
    assert phone_of_all([first, phone_photo(tmp_path / "b.jpg")]) == phone_of(first)
    assert phone_of_all([first, phone_photo(tmp_path / "c.jpg", lens="ultra-wide")]) is None
    Image.new("RGB", (64, 48)).save(tmp_path / "bare.jpg")
    assert phone_of(tmp_path / "bare.jpg") is None
    assert phone_of(tmp_path / "absent.jpg") is None


def test_a_later_job_of_the_same_phone_and_print_names_the_test(tmp_path):
    photo = phone_photo(tmp_path / "left.jpg")
    printed = with_print_scale(FRAME, 200.02, 120.01)
    save(kept(), tmp_path / "tests")
    (entry,) = earlier_tests([photo], [printed], read_tests(tmp_path / "tests"))
    assert entry["date"] == "2026-03-01"
    assert entry["text"] == (
        "maker phone one on border-a4, acceptance test of 2026-03-01 (ID-1 card): passed; "
        "largest size error -0.06 mm (U95 0.07 mm), limit 0.20 mm."
    )
    assert "-0.002 in" in told(entry).in_unit("in")


@pytest.mark.parametrize(
    "record",
    [
        kept(scale=1.004),  # another print
        kept(bars_read=False),
        kept(phone=Phone("maker", "phone two", None, None).as_json() | {"name": "maker phone two"}),
        kept(sheet={**kept()["sheet"], "name": "border-a3"}),
    ],
)
def test_the_test_of_another_phone_or_print_is_not_named(tmp_path, record):
    photo = phone_photo(tmp_path / "left.jpg")
    save(record, tmp_path / "tests")
    printed = with_print_scale(FRAME, 200.02, 120.01)
    assert earlier_tests([photo], [printed], read_tests(tmp_path / "tests")) == []


def test_of_several_tests_the_newest_counts_and_a_damaged_one_is_passed_over(tmp_path):
    folder = tmp_path / "tests"
    photo = phone_photo(tmp_path / "left.jpg")
    save(kept(day="2026-05-01", object="us-nickel", object_words="US nickel coin"), folder)
    save(kept(day="2026-03-01"), folder)
    save(kept(day="2026-04-01"), folder)  # replaces the card's first
    (folder / "broken.json").write_text('{"schema": "snugline/acceptance/1"')
    (folder / "short.json").write_text('{"schema": "snugline/acceptance/1", "phone": {}}')
    tests = read_tests(folder)
    assert [test["date"] for test in tests] == ["2026-05-01", "2026-04-01"]
    printed = with_print_scale(FRAME, 200.0, 120.0)
    (entry,) = earlier_tests([photo], [printed], tests)
    assert entry["object"] == "us-nickel"


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--object", "euro-20c"], "euro-20c"),
        (["--object", "block"], "--thickness"),
        (["--object", "card", "--length", "86mm"], "published"),
        (["--mpe", "0mm"], "--mpe"),
        (["--frame", "border-a9"], "border-a9"),
        ([], "absent.jpg"),
    ],
)
def test_what_cannot_be_tested_is_refused_in_a_line(
    snugline, no_acceptance_tests, arguments, named
):
    frame = [] if "--frame" in arguments else ["--frame", "border-a4"]
    status, out, err = snugline("prove", "absent.jpg", *frame, *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert named in err
    assert not list(no_acceptance_tests.iterdir())


def test_the_help_warns_of_payment_cards(snugline):
    _, out, _ = snugline("prove", "--help")
    assert "Never a payment or identity card" in " ".join(out.split())
    assert "loyalty card" in out


@pytest.fixture(scope="module")
def card(tmp_path_factory):
    path = tmp_path_factory.mktemp("card") / "card.jpg"
    photograph(CARD_LAID, path)
    return path


def exactly(known, laid):
    """The object as it was rendered."""
    sizes = [
        ReferenceSize(size.of, value, 1e-6)
        for size, value in zip(known.sizes, laid.sizes, strict=True)
    ]
    thickness = ReferenceSize("thickness", laid.thickness, 1e-4)
    return replace(known, sizes=tuple(sizes), thickness=thickness, edge_radius=laid.edge_radius)


def check_stated_errors(photo, frame, known, laid, scale):
    """Each stated error holds, within its U95, the true one and the one built in."""
    stated = run_acceptance([photo], frame, known)
    true = run_acceptance([photo], frame, exactly(known, laid))
    for said, real in zip(stated.errors, true.errors, strict=True):
        assert abs(said.error - real.error) <= said.u95, said.of
        # Light is under test, too: what the program states for it is allowed beside U95.
        built_in = real.reference / scale - real.reference
        assert abs(said.error - built_in) <= math.hypot(said.u95, said.stated_u95), said.of
    return {error.of: error for error in stated.errors}


@pytest.mark.whole
@pytest.mark.parametrize(
    "lamp",
    [
        HIGH,
        pytest.param(
            CARD_LAID.lamp,
            id="from the side",
            marks=pytest.mark.xfail(
                reason="the shaded edges of a dark card are placed 0.09 mm outside", strict=True
            ),
        ),
    ],
)
def test_a_print_out_of_scale_is_found_on_a_card(tmp_path, lamp):
    card = tmp_path / "card.jpg"
    laid = replace(CARD_LAID, lamp=lamp)
    photograph(laid, card)
    errors = check_stated_errors(card, FRAME, CARD, laid, 1.003)
    assert errors["length"].error < -0.15
    assert errors["length"].decision != "passes"
    printed = with_print_scale(FRAME, 200.6, 120.36)
    errors = check_stated_errors(card, printed, CARD, laid, 1.0)
    assert abs(errors["length"].error) < 0.15


@pytest.mark.whole
def test_a_print_out_of_scale_is_found_on_a_coin(tmp_path):
    photo = tmp_path / "coin.jpg"
    photograph(COIN_LAID, photo)
    known = OBJECTS["us-nickel"]
    check_stated_errors(photo, FRAME, known, COIN_LAID, 1.003)
    check_stated_errors(photo, with_print_scale(FRAME, 200.6, 120.36), known, COIN_LAID, 1.0)


@pytest.mark.whole
def test_the_command_decides_keeps_and_later_results_name_it(
    snugline, tmp_path, no_acceptance_tests
):
    card = tmp_path / "card.jpg"
    photograph(CARD_THAT_PASSES, card)
    status, out, err = snugline("prove", card, "--frame", "border-a4", *BARS)
    assert status == 0, err
    assert out.startswith("ID-1 card: passes")
    assert "known too coarsely" in out  # the corner radius
    assert "Take at least 3" in err
    (file,) = no_acceptance_tests.glob("*.json")
    record = json.loads(file.read_text())
    assert (record["decision"], record["phone"]["name"]) == ("passes", "rendered")

    status, out, _ = snugline("prove", card, "--frame", "border-a4", *BARS, "--mpe", "0.1mm",
                              "--json")  # fmt: skip
    assert status == 1
    assert json.loads(out)["decision"] == "not decided"  # the card itself is not that exact
    save(record, no_acceptance_tests)

    job = tmp_path / "job.toml"
    job.write_text(
        f'[part]\nname = "card"\nthickness = "0.76 mm"\nedge_radius = "0 mm"\ndraft = "0 deg"\n'
        f'[frame]\ndescription = "border-a4"\nbar_x = "200.6 mm"\nbar_y = "120.36 mm"\n'
        f'[[photo]]\nfile = "{card}"\nshows = "whole"\n'
    )
    snugline("run", job, "--out", tmp_path / "result")
    (entry,) = json.loads((tmp_path / "result" / "result.json").read_text())["acceptance"]
    assert entry["decision"] == "passes"
    assert entry["text"] in (tmp_path / "result" / "report.html").read_text()


@pytest.mark.whole
def test_another_object_than_named_is_refused(snugline, card, no_acceptance_tests):
    status, _, err = snugline("prove", card, "--frame", "border-a4", "--object", "a6")
    assert status == 2
    assert "is not the A6 sheet" in err
    assert not list(no_acceptance_tests.iterdir())
