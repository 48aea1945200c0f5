"""An end that no photo shows: mirrored with a word, unless the job says that ends are alike."""

import pytest

from snugline.desk.advice import advice
from snugline.desk.job import Job
from snugline.desk.unseen_ends import mirrored_unasked


def job(tmp_path, shown, symmetry=None):
    part = {"thickness": "9 mm"} | ({} if symmetry is None else {"symmetry": symmetry})
    photos = [{"file": f"{number}.jpg", "shows": word} for number, word in enumerate(shown)]
    record = {"part": part, "frame": {"description": "border-a4"}, "photo": photos}
    known = {"path": tmp_path / "job.toml", "reading_units": frozenset(), "readings_written": ()}
    return Job.model_validate({**record, **known})


@pytest.mark.parametrize(
    ("shown", "symmetry", "told"),
    [
        (["left end", "left end"], None, "the right end: it is drawn as the mirror image"),
        (["front right corner", "back right corner"], None, "the left end: it is drawn"),
        (["left end"], "both", None),
        (["left end"], "crosswise", None),
        (["left end", "right end"], None, None),
        (["whole"], None, None),
    ],
)
def test_a_mirrored_end_is_a_doubt_where_nobody_said_that_ends_are_alike(
    tmp_path, shown, symmetry, told
):
    remarks = mirrored_unasked(job(tmp_path, shown, symmetry))
    assert [remark.severity for remark in remarks] == ([] if told is None else ["usable"])
    assert told is None or told in remarks[0].text


@pytest.mark.parametrize(
    ("symmetry", "severity"),
    # The mirror line of `crosswise` runs across the length: it makes one end of the other.
    [("both", "fine"), ("crosswise", "fine"), ("lengthwise", "usable"), ("none", "usable")],
)
def test_an_end_must_be_photographed_where_no_mirror_line_makes_it(tmp_path, symmetry, severity):
    (remark,) = [
        one for one in advice(job(tmp_path, ["left end"], symmetry)) if one.code == "end-not-shown"
    ]
    assert (remark.severity, remark.text) == (severity, "No photo shows the right end.")
