"""Drawings: what their names may be, and whole files by the ending of their name."""

import pytest

from snugline.errors import FileError, InputError
from snugline.fit.drawing.contract import differences
from snugline.fit.drawing.drawing import Drawing, Layer, Note, number, usable_name
from snugline.fit.drawing.drawing_files import load_drawing
from snugline.fit.drawing.dxf import write_dxf
from snugline.fit.drawing.svg import write_svg
from snugline.fit.geometry.primitives import circle, polygon, rounded_rectangle

PLATE = rounded_rectangle(30, 20, 4)


def drawing(*outlines, name="part", unit="mm", pattern="solid"):
    return Drawing("plate", (Layer(name, outlines or (PLATE,), pattern),), unit)


@pytest.mark.parametrize("name", ["", " part", "a/b", "a*", "x" * 256, "two\nlines", "a,b"])
def test_names_that_files_cannot_hold_are_refused(name):
    with pytest.raises(InputError, match="cannot name a layer"):
        Layer(name)
    assert Layer(usable_name(name))


@pytest.mark.parametrize(
    "make",
    [
        lambda: Drawing("", ()),
        lambda: Drawing("two\nlines", ()),
        lambda: Drawing("plate", (), "cm"),
        lambda: Drawing("plate", (Layer("Part"), Layer("part"))),
        lambda: Layer("part", pattern="wavy"),
        lambda: Layer("part", strokes=(((0, 0),),)),
        lambda: Note("two\nlines", (0, 0)),
    ],
)
def test_drawings_that_files_cannot_hold_are_refused(make):
    with pytest.raises(InputError):
        make()


@pytest.mark.parametrize(
    ("value", "text"),
    [(12.7, "12.7"), (0.1 + 0.2, "0.3"), (-1e-15, "0"), (100, "100"), (1 / 3, "0.333333333333")],
)
def test_numbers_are_short_where_they_are_round(value, text):
    assert number(value) == text


@pytest.mark.parametrize("unit", ["mm", "in"])
@pytest.mark.parametrize(
    ("ending", "write"), [(".svg", write_svg), (".dxf", write_dxf), (".SVG", write_svg)]
)
def test_files_give_back_what_was_saved(tmp_path, ending, write, unit):
    path = tmp_path / f"plate{ending}"
    path.write_bytes(write(drawing(unit=unit)))
    found = load_drawing(path)
    assert found.unit == unit
    assert found.layers[0].outlines[0].area == pytest.approx(PLATE.area, rel=1e-10)


def test_other_endings_missing_files_and_folders_are_refused(tmp_path):
    with pytest.raises(InputError, match="not read"):
        load_drawing(tmp_path / "plate.pdf")
    with pytest.raises(FileError, match="cannot be read"):
        load_drawing(tmp_path / "missing.svg")
    huge = tmp_path / "huge.svg"
    with huge.open("wb") as stream:
        stream.truncate(30_000_000)
    with pytest.raises(FileError, match="too large"):
        load_drawing(huge)


@pytest.mark.parametrize(
    "found",
    [
        drawing(unit="in"),
        drawing(name="other"),
        drawing(pattern="dotted"),
        drawing(PLATE, PLATE),
        drawing(circle(5)),
        drawing(polygon([(0, 0), (1, 0), (0, 1)])),
        drawing(PLATE.translated(1e-5, 0)),
        drawing(PLATE.reversed()),
        drawing(rounded_rectangle(30, 20, 4.00001)),
    ],
)
def test_the_contract_notices_every_kind_of_difference(found):
    assert not list(differences(drawing(), drawing()))
    assert list(differences(drawing(), found))
