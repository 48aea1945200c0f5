"""Photos into a job and out of it: names of our own, nothing lost, no photo twice."""

import asyncio
import io
import tomllib

import pytest
from PIL import Image

from snugline.desk.page.jobs import job_photos, limits, worker_tasks
from snugline.desk.page.jobs.job_folders import Shelf
from snugline.desk.page.jobs.job_states import photo_id
from snugline.errors import FileError, InputError, PhotoError


def picture(shade=128, kind="JPEG", size=(64, 48)):
    stream = io.BytesIO()
    Image.new("RGB", size, (shade, shade, shade)).save(stream, kind)
    return stream.getvalue()


@pytest.fixture
def job(tmp_path):
    shelf = Shelf(tmp_path)
    return shelf.find(shelf.make("slate tray"))


async def _pieces(*pieces):
    for piece in pieces:
        yield piece


async def _ending(path, name):
    return worker_tasks.photo_ending(path, name)


def take(job, content, name="IMG_1.JPG", shows="section", instead_of=None, split=1):
    step = -(-len(content) // split) or 1
    pieces = [content[i : i + step] for i in range(0, len(content), step)]
    return asyncio.run(job_photos.take_in(job, _pieces(*pieces), _ending, name, shows, instead_of))


def tables(job):
    return tomllib.loads(job.read_text()).get("photo", [])


def leftovers(job):
    return list((job.parent / ".snugline" / "incoming").glob("*"))


def test_a_photo_comes_in_whole_under_a_name_of_our_own(job):
    content = picture()
    file, removed = take(job, content, "../../etc/passwd", "left end", split=7)
    assert (file, removed) == ("photo-1.jpg", None)
    assert (job.parent / file).read_bytes() == content
    assert tables(job) == [{"file": "photo-1.jpg", "shows": "left end"}]
    assert leftovers(job) == []


@pytest.mark.parametrize(
    "name",
    ["../job.toml", "/etc/passwd", "..\\..\\x.jpg", "a\0b.jpg", "x" * 5000, "job.toml", "CON", "."],
)
def test_no_name_of_the_client_s_becomes_a_path(job, name):
    before = {p for p in job.parent.parent.rglob("*") if ".snugline" not in p.parts}
    file, _ = take(job, picture(), name)
    after = {p for p in job.parent.parent.rglob("*") if ".snugline" not in p.parts}
    assert after - before == {job.parent / file}
    assert file == "photo-1.jpg"


@pytest.mark.parametrize(
    ("kind", "ending"), [("JPEG", "jpg"), ("PNG", "png"), ("TIFF", "tif"), ("WEBP", "webp")]
)
def test_the_ending_says_what_the_content_is(job, kind, ending):
    file, _ = take(job, picture(kind=kind), "photo.exe")
    assert file == f"photo-1.{ending}"


def test_the_photo_of_an_iphone_comes_in(job):
    pillow_heif = pytest.importorskip("pillow_heif")
    stream = io.BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (64, 64), "grey")).save(stream)
    file, _ = take(job, stream.getvalue(), "IMG_2041.HEIC")
    assert file == "photo-1.heic"


SVG = (
    b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
)


@pytest.mark.parametrize(
    "content",
    [
        SVG,
        b"<!DOCTYPE html><html><script>alert(1)</script></html>",
        b"GIF89a" + bytes(100),
        b"%PDF-1.7\n" + bytes(100),
        b"\xff\xd8\xff" + b"<html>" * 20,
        b"PK\x03\x04" + bytes(100),
        b"\0" * 1000,
    ],
    ids=["svg", "html", "gif", "pdf", "html behind a jpeg's first bytes", "zip", "zeros"],
)
def test_what_only_poses_as_a_photo_is_refused(job, content):
    before = job.read_text()
    with pytest.raises(FileError) as caught:
        take(job, content, "left.jpg")
    assert "left.jpg" in str(caught.value)
    assert job.read_text() == before
    assert sorted(p.name for p in job.parent.iterdir() if p.name != ".snugline") == ["job.toml"]
    assert leftovers(job) == []


def test_a_decompression_bomb_is_refused_by_its_head(job):
    import struct
    import zlib

    def chunk(kind, data):
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    # A gigapixel of zeros packs to a megabyte; its head says how large it would be (PNG, 11.2.2).
    head = struct.pack(">IIBBBBB", 40_000, 40_000, 8, 2, 0, 0, 0)
    packed = zlib.compress(bytes(1_000_000), 9)
    bomb = (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")
    )
    with pytest.raises(PhotoError, match="1600 megapixels"):
        take(job, bomb)
    assert tables(job) == []


def test_a_body_is_counted_whatever_it_claims_and_nothing_stays(job, monkeypatch):
    monkeypatch.setattr(job_photos, "UPLOAD_BYTES", 10_000)
    seen = 0

    async def endless():
        nonlocal seen
        while True:
            seen += 1
            yield bytes(1000)

    with pytest.raises(job_photos.TooLargeError):
        asyncio.run(job_photos.take_in(job, endless(), _ending, "big.jpg", "section"))
    assert seen == 11
    assert leftovers(job) == []
    assert tables(job) == []


def test_an_upload_that_breaks_off_leaves_nothing(job):
    async def broken():
        yield picture()[:100]
        raise ConnectionError

    with pytest.raises((ConnectionError, FileError)):
        asyncio.run(job_photos.take_in(job, broken(), _ending, "left.jpg", "section"))
    assert leftovers(job) == []
    assert tables(job) == []


def test_an_empty_file_is_refused(job):
    with pytest.raises(FileError, match="empty"):
        take(job, b"")


def test_the_same_photo_does_not_count_double(job):
    take(job, picture(10))
    with pytest.raises(job_photos.SamePhotoError, match="already"):
        take(job, picture(10))
    take(job, picture(11))
    assert [t["file"] for t in tables(job)] == ["photo-1.jpg", "photo-2.jpg"]


def test_many_at_once_are_all_taken(job):
    async def all_of_them():
        await asyncio.gather(
            *(
                job_photos.take_in(job, _pieces(picture(shade)), _ending, "x.jpg", "section")
                for shade in range(30)
            )
        )

    asyncio.run(all_of_them())
    files = [t["file"] for t in tables(job)]
    assert len(files) == len(set(files)) == 30
    contents = {(job.parent / file).read_bytes() for file in files}
    assert contents == {picture(shade) for shade in range(30)}


def test_a_job_holds_a_limited_number(job, monkeypatch):
    monkeypatch.setattr(job_photos, "PHOTOS", 2)
    take(job, picture(1))
    take(job, picture(2))
    with pytest.raises(InputError, match="2 photos already"):
        take(job, picture(3))


def test_a_photo_is_replaced_in_its_place_and_had_back(job):
    take(job, picture(1), shows="left end")
    take(job, picture(2), shows="right end")
    file, removed = take(job, picture(3), instead_of=photo_id("photo-1.jpg"))
    assert tables(job)[0] == {"file": file, "shows": "left end"}
    assert not (job.parent / "photo-1.jpg").exists()
    back = job_photos.put_back(job, removed, photo_id(file))
    assert tables(job)[0] == {"file": back, "shows": "left end"}
    assert (job.parent / back).read_bytes() == picture(1)


def test_a_deleted_photo_can_be_had_back_with_what_it_shows(job):
    take(job, picture(1), shows="front left corner")
    removed = job_photos.take_out(job, photo_id("photo-1.jpg"))
    assert tables(job) == []
    assert "removed" not in job.read_text()
    take(job, picture(2))
    job_photos.put_back(job, removed, None)
    assert tables(job)[1]["shows"] == "front left corner"
    assert (job.parent / tables(job)[1]["file"]).read_bytes() == picture(1)


def test_a_number_is_not_given_twice(job):
    take(job, picture(1))
    job_photos.take_out(job, photo_id("photo-1.jpg"))
    file, _ = take(job, picture(2))
    assert file == "photo-2.jpg"


def test_turning_adds_up_and_leaves_no_key_at_the_end(job):
    take(job, picture(1))
    for turn in (90, 180, 270):
        job_photos.turn(job, photo_id("photo-1.jpg"), 90)
        assert tables(job)[0]["turn"] == turn
    job_photos.turn(job, photo_id("photo-1.jpg"), 90)
    assert "turn" not in tables(job)[0]
    with pytest.raises(InputError):
        job_photos.turn(job, photo_id("photo-1.jpg"), 45)


def test_ids_that_name_nothing_are_not_found(job):
    for act in (job_photos.take_out, lambda j, i: job_photos.put_back(j, i, None)):
        with pytest.raises(LookupError):
            act(job, "../job.toml")


def test_a_photo_that_a_hand_named_outside_is_never_moved(job, tmp_path):
    outside = tmp_path / "outside.jpg"
    outside.write_bytes(picture())
    job.write_text(job.read_text() + '\n[[photo]]\nfile = "../outside.jpg"\nshows = "whole"\n')
    job_photos.take_out(job, photo_id("../outside.jpg"))
    assert outside.exists()
    assert tables(job) == []


def test_the_limits_let_a_phone_s_photos_in():
    # 48 megapixels, and an uncompressed scan of 12 megapixels.
    assert limits.UPLOAD_PIXELS > 8064 * 6048
    assert limits.UPLOAD_BYTES > 3 * 12_200_000
