import os
import signal
import sqlite3
import subprocess
import sys

import pytest

from snugline.errors import FileError, InputError
from snugline.pocket.cut_record import Cut
from snugline.pocket.records import Records

WRITER = """
import sys
from pathlib import Path
from snugline.pocket.cut_record import Cut
from snugline.pocket.records import Records
records = Records(Path(sys.argv[1]))
for number in range(int(sys.argv[3])):
    records.add(Cut(0.25, "snug", sys.argv[2], "router", part=str(number)))
    print(number, flush=True)
"""

HALF_WRITTEN = """
import sys, time
from pathlib import Path
import snugline.pocket.records as records
from snugline.pocket.cut_record import Cut
class Slow:
    def __init__(self, real): self.real = real
    def __getattr__(self, name): return getattr(self.real, name)
    def execute(self, text, *values):
        if text == "COMMIT":
            # Rows are written to the file itself, past the cache, but not yet committed.
            self.real.execute("PRAGMA cache_spill = 1")
            print("writing", flush=True)
            time.sleep(60)
        return self.real.execute(text, *values)
real = records.sqlite3.connect
def connect(*a, **k):
    c = real(*a, **k)
    c.execute("PRAGMA cache_size = 1")
    return Slow(c)
class Module:
    connect = staticmethod(connect)
    def __getattr__(self, name): return getattr(__import__("sqlite3"), name)
records.sqlite3 = Module()
book = records.Records(Path(sys.argv[1]))
many = [(str(i), Cut(0.25, "tight", "oak " * 100, "router")) for i in range(500)]
book._insert(many)
"""


def start(code, *arguments):
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)], stdout=subprocess.PIPE, text=True
    )


def cut(**changes):
    return Cut(**{"clearance": 0.25, "verdict": "snug", "wood": "oak", "machine": "m", **changes})


def test_a_cut_comes_back_as_it_was_put_in(tmp_path):
    records = Records(tmp_path / "deep" / "fits.sqlite")
    assert records.cuts() == ()
    kept = cut(cutter=6.35, part="tray", part_u=0.03, opening_error=-0.05, on="2024-02-29")
    records.add(kept)
    assert records.cuts() == (kept,)
    records.add(cut())
    assert len(records.cuts()[1].on) == len("2024-02-29")


def test_two_programs_writing_at_once_lose_nothing(tmp_path):
    path = tmp_path / "fits.sqlite"
    writers = [start(WRITER, path, wood, 15) for wood in ("oak", "ash")]
    for writer in writers:
        out, _ = writer.communicate(timeout=60)
        assert writer.returncode == 0
        assert out.split()[-1] == "14"
    found = Records(path).cuts()
    assert len(found) == 30
    for wood in ("oak", "ash"):
        assert [c.part for c in found if c.wood == wood] == [str(n) for n in range(15)]


def test_what_was_acknowledged_survives_a_kill(tmp_path):
    path = tmp_path / "fits.sqlite"
    writer = start(WRITER, path, "oak", 100000)
    for _ in range(20):
        acknowledged = int(writer.stdout.readline())
    os.kill(writer.pid, signal.SIGKILL)
    # From the same buffer that the lines before came through: a busy machine fills it.
    rest = writer.stdout.read()
    writer.wait(timeout=10)
    writer.stdout.close()
    acknowledged = max([acknowledged, *(int(n) for n in rest.split())])
    records = Records(path)
    parts = [int(c.part) for c in records.cuts()]
    assert parts == list(range(len(parts)))
    assert len(parts) in (acknowledged + 1, acknowledged + 2)
    records.add(cut())
    assert sqlite3.connect(path).execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_a_kill_in_mid_write_leaves_the_file_as_it_was(tmp_path):
    path = tmp_path / "fits.sqlite"
    records = Records(path)
    records.add(cut(part="before", on="2024-01-01"))
    whole = path.read_bytes()
    writer = start(HALF_WRITTEN, path)
    assert writer.stdout.readline() == "writing\n"
    torn = path.read_bytes()
    os.kill(writer.pid, signal.SIGKILL)
    writer.wait(timeout=10)
    writer.stdout.close()
    assert torn != whole  # the kill did strike while the file was half written
    assert [c.part for c in records.cuts()] == ["before"]
    records.add(cut(part="after"))
    assert [c.part for c in records.cuts()] == ["before", "after"]
    assert sqlite3.connect(path).execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_export_and_import_carry_all_cuts_and_add_none_twice(tmp_path):
    here, there = Records(tmp_path / "a.sqlite"), Records(tmp_path / "b.sqlite")
    for number in range(3):
        here.add(cut(part=str(number), on="2024-01-01"))
    there.add(cut(part="own", on="2024-01-01"))
    assert here.export_to(tmp_path / "fits.json") == 3
    assert there.import_from(tmp_path / "fits.json") == 3
    assert there.import_from(tmp_path / "fits.json") == 0
    assert [c.part for c in there.cuts()] == ["own", "0", "1", "2"]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"schema": "other", "units": "mm", "cuts": []}'])
def test_a_file_that_is_no_export_is_refused_and_adds_nothing(tmp_path, text):
    (tmp_path / "fits.json").write_text(text)
    records = Records(tmp_path / "a.sqlite")
    with pytest.raises(FileError, match="not an export of fit records"):
        records.import_from(tmp_path / "fits.json")
    assert records.cuts() == ()


def test_a_wrong_cut_in_an_import_is_refused_and_adds_nothing(tmp_path):
    here = Records(tmp_path / "a.sqlite")
    here.add(cut())
    here.add(cut())
    here.export_to(tmp_path / "fits.json")
    text = (tmp_path / "fits.json").read_text()
    (tmp_path / "fits.json").write_text(text[::-1].replace("guns", "kcams", 1)[::-1])
    there = Records(tmp_path / "b.sqlite")
    with pytest.raises(InputError, match="smack"):
        there.import_from(tmp_path / "fits.json")
    assert there.cuts() == ()


def test_a_file_that_is_no_record_is_refused(tmp_path):
    path = tmp_path / "fits.sqlite"
    path.write_text("no database at all, but long enough to be looked at " * 20)
    with pytest.raises(FileError, match="cannot be used"):
        Records(path).cuts()
    with pytest.raises(FileError, match="cannot be used"):
        Records(path).add(cut())


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"clearance": -0.1}, "negative"),
        ({"clearance": float("nan")}, "negative"),
        ({"machine": " "}, "no machine is named"),
        ({"wood": ""}, "no wood is named"),
        ({"verdict": "fine"}, "is not a verdict"),
    ],
)
def test_a_cut_that_makes_no_sense_is_not_recorded(tmp_path, changes, match):
    records = Records(tmp_path / "fits.sqlite")
    with pytest.raises(InputError, match=match):
        records.add(cut(**changes))
    assert records.cuts() == ()


def test_changes_are_undone_one_by_one_and_the_order_stays(tmp_path):
    records = Records(tmp_path / "fits.sqlite")
    keys = [records.add(cut(part=str(n), on="2024-01-01")) for n in range(3)]
    before = records.cuts()
    records.change(keys[1][:8], cut(part="other", clearance=0.4, on="2024-01-01"))
    assert records.cuts()[1].clearance == 0.4
    assert records.remove(keys[0]).part == "0"
    assert [c.part for c in records.cuts()] == ["other", "2"]
    records.undo()
    records.undo()
    assert records.cuts() == before
    assert "1 cut taken off" in records.undo()
    assert [c.part for c in records.cuts()] == ["0", "1"]
    records.undo()
    records.undo()
    with pytest.raises(InputError, match="nothing to undo"):
        records.undo()


def test_an_import_is_undone_as_a_whole(tmp_path):
    here, there = Records(tmp_path / "a.sqlite"), Records(tmp_path / "b.sqlite")
    for number in range(3):
        here.add(cut(part=str(number)))
    here.export_to(tmp_path / "fits.json")
    there.import_from(tmp_path / "fits.json")
    there.undo()
    assert there.cuts() == ()


def test_a_table_goes_out_and_comes_back_the_same(tmp_path):
    here, there = Records(tmp_path / "a.sqlite"), Records(tmp_path / "b.sqlite")
    here.add(cut(wood="=cmd()", part='plate, "small"', clearance_width=0.4, length_u=0.3))
    here.add(cut(opening_error=-0.05))
    here.export_to(tmp_path / "fits.csv")
    assert "'=cmd()" in (tmp_path / "fits.csv").read_text()
    assert there.import_from(tmp_path / "fits.csv") == 2
    assert there.cuts() == here.cuts()


def test_a_file_of_the_first_version_is_read_and_its_words_are_today_s(tmp_path):
    path = tmp_path / "fits.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute(
            "CREATE TABLE cut (key TEXT PRIMARY KEY, clearance REAL NOT NULL, verdict TEXT NOT "
            "NULL, wood TEXT NOT NULL, machine TEXT NOT NULL, cutter REAL NOT NULL, kind TEXT NOT "
            'NULL, part TEXT NOT NULL, part_u REAL NOT NULL, opening_error REAL, "on" TEXT NOT '
            "NULL)"
        )
        connection.execute(
            "INSERT INTO cut VALUES ('a', 0.1, 'no-go', 'oak', 'm', 6, 'firm', 'p', 0.02, NULL, "
            "'2024-01-01')"
        )
    connection.close()
    records = Records(path)
    (kept,) = records.cuts()
    assert (kept.verdict, kept.length_u) == ("does not enter", None)
    records.add(cut())
    assert len(records.cuts()) == 2


def test_a_key_that_fits_no_cut_or_several_is_refused(tmp_path):
    records = Records(tmp_path / "fits.sqlite")
    records.add(cut())
    for key in ("", "nothing"):
        with pytest.raises(InputError, match="take the key from the list"):
            records.remove(key)
