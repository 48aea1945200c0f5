"""What a job asks for at each moment, and which change asks for what anew."""

import tomllib

import pytest
import tomlkit

from snugline.desk.page.jobs.job_states import taught, wanted
from snugline.desk.page.jobs.measured_store import Store
from snugline.pocket.cut_record import Cut


def edited(path, *keys, value):
    record = tomllib.loads(path.read_text())
    table = record
    for key in keys[:-1]:
        table = table[key] if isinstance(key, int) else table.setdefault(key, {})
    if value is None:
        del table[keys[-1]]
    else:
        table[keys[-1]] = value
    path.write_text(tomlkit.dumps(record))
    return wanted(path)


def kept(before, after):
    return [name for name in ("measured", "fitted", "planned")
             if getattr(before, name) == getattr(after, name)]  # fmt: skip


def test_a_whole_job_asks_for_all(two_photos):
    want = wanted(two_photos)
    assert want.faults == ()
    assert None not in (want.measured, want.fitted, want.planned)
    assert [photo.provisional for photo in want.photos] == [False, False]
    assert wanted(two_photos) == want


@pytest.mark.parametrize(
    ("keys", "value", "stays"),
    [
        (("pocket", "clearance"), "0.4 mm", ["measured", "fitted"]),
        (("output", "units"), "in", ["measured", "fitted"]),
        (("part", "name"), "other", ["measured", "fitted"]),
        (("reading", 0, "value"), "419 mm", ["measured"]),
        (("part", "symmetry"), "none", ["measured"]),
        (("part", "symmetry"), "both", ["measured"]),
        (("photo", 0, "shows"), "section", ["measured"]),
        (("leave_out",), [{"photo": "left.jpg", "at": ["1 mm", "2 mm"], "within": "3 mm"}],
         ["measured"]),
        (("photo", 0, "turn"), 90, ["measured", "fitted", "planned"]),
        (("part", "thickness"), "9 mm", []),
        (("frame", "bar_x"), "199 mm", []),
    ],
)  # fmt: skip
def test_a_change_asks_anew_for_no_more_than_it_touches(two_photos, keys, value, stays):
    before = wanted(two_photos)
    assert kept(before, edited(two_photos, *keys, value=value)) == stays


def test_another_content_under_the_same_name_is_measured_anew(two_photos):
    before = wanted(two_photos)
    (two_photos.parent / "left.jpg").write_bytes(
        (two_photos.parent / "right.jpg").read_bytes() + b"\0"
    )
    after = wanted(two_photos)
    assert before.photos[0].key != after.photos[0].key
    assert before.photos[1].key == after.photos[1].key
    assert kept(before, after) == []


def test_without_a_thickness_photos_are_traced_to_be_looked_at(two_photos):
    want = edited(two_photos, "part", "thickness", value=None)
    assert all(photo.provisional and photo.key for photo in want.photos)
    assert want.measured is None
    assert "thickness" in str(want.lacking)


def test_a_fault_in_the_pocket_keeps_the_outline(two_photos):
    want = edited(two_photos, "pocket", "clearance", value="tight")
    assert want.fitted is not None
    assert want.planned is None
    assert "tight" in str(want.lacking_pocket)


def test_a_fault_in_a_reading_keeps_the_photos(two_photos):
    want = edited(two_photos, "reading", 0, "tool", value="thumb")
    assert all(photo.key for photo in want.photos)
    assert want.measured is None
    assert "thumb" in str(want.lacking)


@pytest.mark.parametrize("name", ["../left.jpg", "/etc/hostname", "link.jpg"])
def test_a_photo_outside_the_folder_is_not_touched(two_photos, name, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "left.jpg"
    outside.write_bytes((two_photos.parent / "left.jpg").read_bytes())
    (two_photos.parent / "link.jpg").symlink_to(outside)
    want = edited(two_photos, "photo", 0, "file", value=name)
    assert want.photos[0].key is None
    assert want.photos[0].fault is not None
    assert want.measured is None


def test_a_broken_file_is_told_and_asks_for_nothing(two_photos):
    two_photos.write_text("[part\n")
    want = wanted(two_photos)
    assert "TOML" in str(want.faults[0])
    assert want.photos == ()
    assert want.measured is None


def test_records_are_forgotten_oldest_first(tmp_path, monkeypatch):
    monkeypatch.setattr("snugline.desk.page.jobs.measured_store.KEPT", 3)
    store = Store(tmp_path)
    for i in range(5):
        store.save("fitted", f"key{i}", {"i": i})
        (tmp_path / ".snugline" / "fitted" / f"key{i}.json").touch()
    assert [store.has("fitted", f"key{i}") for i in range(5)] == [False, False, True, True, True]
    (tmp_path / ".snugline" / "fitted" / "key4.json").write_text("{")
    assert store.load("fitted", "key4") is None


def test_files_are_out_of_date_only_by_cuts_that_count(two_photos):
    job = edited(two_photos, "pocket", "machine", value="Old Bess").job
    own = [Cut(gap, "snug", "ash", "old bess") for gap in (0.1, 0.2, 0.3, 0.4)]
    other = [Cut(0.2, "tight", "ash", "the other")] * 5
    # The first cuts of a machine claim nothing, those of another one never do.
    assert taught(job, own[:2]) == taught(job, own[:2] + other) == taught(job, [])
    three = taught(job, own[:3])
    assert three != taught(job, [])
    assert taught(job, own[:3] + other) == three
    assert taught(job, own) != three
    nameless = edited(two_photos, "pocket", "machine", value=None).job
    assert taught(nameless, own) == taught(nameless, [])


def test_the_wood_of_the_part_matters_to_the_pocket_alone(two_photos):
    before = wanted(two_photos)
    wood = {"species": "maple, sugar", "grain": "length", "now": {"humidity": 45}}
    service = {"driest": {"humidity": 30}, "dampest": {"humidity": 60}}
    told = edited(two_photos, "part", "wood", value=wood | service)
    assert kept(before, told) == ["measured", "fitted"]
    unknown = edited(two_photos, "part", "wood", "species", value="no such tree")
    assert (unknown.fitted, unknown.planned) == (before.fitted, None)
