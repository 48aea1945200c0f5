"""A board with the pockets of several parts, checked by shapely and by foreign readers."""

import io
import math

import ezdxf.recover
import pypdfium2
import pytest
import shapely
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices
from svgelements import SVG, Circle, Path

from snugline.errors import PlanError
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.drawing.dxf import write_dxf
from snugline.fit.drawing.dxf_reading import read_dxf
from snugline.fit.geometry.outline import polygon_of
from snugline.fit.geometry.primitives import circle, filleted_polygon, rounded_rectangle
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.pocket.bundle import plan_files
from snugline.pocket.clearance import even
from snugline.pocket.plan import make_plan
from snugline.pocket.shared_board import (
    Guest,
    Known,
    Placing,
    Tool,
    distance_between,
    guest_pocket,
    moved_layers,
    shift,
    spacing_notices,
)
from snugline.pocket.sheet import PlanLayer
from snugline.pocket.width_error import WidthError

SURE = PartUncertainty(0.02, 0.05, 0.05)
BOARD = filleted_polygon(((0, 0), (900, 0), (900, 420), (450, 470), (0, 420)), 20.0)
CUP, TILE = circle(40.0), rounded_rectangle(120, 80, 8)
PARTS = [
    {"name": "cup", "outline": "cup.svg", "clearance": "0.8 mm", "depth": "6 mm",
     "right": "60 mm", "back": "90 mm", "turn": "17 deg"},
    {"name": "tile", "outline": "tile/job.toml", "depth": "8 mm",
     "clearance": {"length": "1.0 mm", "width": "0.8 mm"},
     "left": "520 mm", "front": "60 mm", "turn": "90 deg"},
]  # fmt: skip


def from_dxf():
    """The board's outline as a shop would have it: read from a DXF."""
    content = write_dxf(Drawing("board", (Layer("edge", (BOARD,)),)))
    return read_dxf(content).layers[0].outlines[0]


def plan(parts=PARTS, own=None, **changes):
    board = {"outline": "board.dxf", "left": "30 mm", "front": "40 mm", "part": parts}
    board = {k: v for k, v in (board | (own or {})).items() if v is not None}
    chosen = choices(
        board=board, clearance="1 mm", wood=None, coupons=None, border=None, feeds=None,
        stock={"thickness": "20 mm"}, step=None, **changes,
    )  # fmt: skip
    outlines = {
        "board.dxf": Known(from_dxf()),
        "cup.svg": Known(CUP),
        "tile/job.toml": Known(TILE, SURE),
    }
    return make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen, part="tray", outlines=outlines)


@pytest.fixture(scope="module")
def made():
    return plan()


def sheet_of(plan):
    return next(s for s in plan.sheets if s.name == "board")


def pockets(sheet):
    return {
        layer.name.split(" depth")[0]: polygon_of(layer.outlines[0], 1e-5)
        for layer in sheet.layers
        if "pocket" in layer.name
    }


def test_every_pocket_has_its_own_size_and_depth(made):
    sheet = sheet_of(made)
    found = pockets(sheet)
    own = polygon_of(made.openings[0].outline, 1e-5)
    assert found["pocket"].area == pytest.approx(own.area, rel=1e-9)
    assert found["cup pocket"].area == pytest.approx(math.pi * 40.8**2, rel=1e-4)
    # A rounded rectangle of 120 + 2 x 1.0 by 80 + 2 x 0.8 with corners of 8 + 0.8 mm, and the 0.2
    # mm by which the length's gap is larger in straight pieces between corner and side.
    expected = 122 * 81.6 - (4 - math.pi) * 8.8**2
    assert found["tile pocket"].area == pytest.approx(expected, rel=1e-4)
    depths = {layer.name: layer.depth for layer in sheet.layers}
    assert depths["cup pocket depth 6.00 mm"] == 6.0
    assert depths["tile pocket depth 8.00 mm"] == 8.0


def test_distances_from_the_edges_are_those_asked_for(made):
    found = pockets(sheet_of(made))
    notches = made.openings[0].plain.bounds
    low_x, low_y, *_ = found["pocket"].bounds
    assert low_x == pytest.approx(30.0)
    # The front notch lies outside the wall that the distance is from.
    assert low_y == pytest.approx(40.0 - (notches[1] - made.openings[0].outline.bounds[1]))
    *_, high_x, high_y = found["cup pocket"].bounds
    assert (high_x, high_y) == pytest.approx((900 - 60, BOARD.bounds[3] - 90), abs=1e-3)
    low_x, low_y, high_x, high_y = found["tile pocket"].bounds
    assert (low_x, low_y) == pytest.approx((520, 60))
    # Turned by a quarter: its length stands across.
    assert (high_x - low_x, high_y - low_y) == pytest.approx((81.6, 122.0))


def test_nothing_overlaps_and_all_lies_on_the_board(made):
    found = list(pockets(sheet_of(made)).values())
    board = polygon_of(BOARD, 1e-5)
    for i, one in enumerate(found):
        assert board.buffer(-6).covers(one)
        for other in found[:i]:
            assert one.distance(other) > 6
    assert not sheet_of(made).blocked
    assert not {n.code for n in made.notices} & {"pocket-off-board", "thin-wall-on-board"}


def test_a_turned_pocket_keeps_its_holes_and_strokes_with_it(made):
    quarter = plan(own={"left": None, "turn": "90 deg", "right": "40 mm"}, parts=[])
    there = {layer.name: layer for layer in sheet_of(quarter).layers}
    hole = polygon_of(there["push hole through"].outlines[0])
    pocket = polygon_of(there["pocket depth 9.70 mm"].outlines[0], 1e-5)
    wall = made.openings[0].plain.rotated(math.pi / 2)
    low_x, low_y, high_x, high_y = wall.bounds
    middle = (900 - 40 - (high_x - low_x) / 2, 40 + (high_y - low_y) / 2)
    assert (hole.centroid.x, hole.centroid.y) == pytest.approx(middle, abs=1e-6)
    assert pocket.contains(hole)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"left": "440 mm"}, "thin-wall-on-board"),
        ({"left": "400 mm"}, "pocket-off-board"),
        ({"left": "860 mm"}, "pocket-off-board"),
        ({"front": "2 mm"}, "thin-wall-on-board"),
    ],
)
def test_what_passes_the_edge_or_another_pocket_is_said(change, code):
    tile = {**PARTS[1], "left": "520 mm", **change}
    if change == {"left": "440 mm"}:
        tile["left"] = "454 mm"
    found = plan(parts=[tile])
    assert code in {n.code for n in found.notices}
    assert sheet_of(found).blocked == (code == "pocket-off-board")
    # The tray's own pocket is none the worse for it.
    assert not found.openings[0].blocked


def test_a_guest_that_jams_is_left_out_alone():
    tight = {**PARTS[1], "clearance": "0.0 mm"}
    loose = PartUncertainty(0.3, 2.0, 2.0)
    chosen = choices(
        board={"part": [tight, PARTS[0]]}, clearance="1 mm", wood=None, coupons=None, border=None,
        stock={"thickness": "20 mm", "length": "1200 mm", "width": "600 mm"}, step=None,
    )  # fmt: skip
    outlines = {"tile/job.toml": Known(TILE, loose), "cup.svg": Known(CUP)}
    found = make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen, outlines=outlines)
    states = {g.guest.name: g.state for g in found.guests}
    assert states == {"tile": "not to be cut", "cup": "good"}
    assert {"pocket", "cup pocket"} == set(pockets(sheet_of(found)))
    assert found.as_json()["guests"][0]["state"] == "not to be cut"


def test_its_files_are_read_by_others(made):
    files = plan_files(made)
    sheet = sheet_of(made)
    stem = sheet.stem("tray", "mm")
    document, auditor = ezdxf.recover.read(io.BytesIO(files[f"{stem}.dxf"]))
    assert not auditor.errors
    assert not auditor.fixes
    entities = list(document.modelspace())
    outlines = sum(len(layer.outlines) for layer in sheet.layers)
    assert len(entities) == outlines
    read = SVG.parse(io.StringIO(files[f"{stem}.svg"].decode()), reify=True)
    shapes = [e for e in read.elements() if isinstance(e, Path | Circle)]
    assert len(shapes) == outlines
    boxes = [shape.bbox() for shape in shapes]
    wide = max(b[2] for b in boxes) - min(b[0] for b in boxes)
    assert wide * 25.4 / 96 == pytest.approx(900, abs=1e-3)
    pdf = pypdfium2.PdfDocument(files[f"{stem}.pdf"])
    assert pdf[0].get_width() / 72 * 25.4 > 900


def test_without_distances_a_pocket_lies_in_the_middle():
    assert shift(circle(10), BOARD, Placing()) == pytest.approx((450, BOARD.bounds[3] / 2))
    with pytest.raises(PlanError, match="both left and right"):
        shift(circle(10), BOARD, Placing(left=1, right=1))


def test_shapely_agrees_on_the_walls_left(made):
    found = pockets(sheet_of(made))
    gap = found["pocket"].distance(found["tile pocket"])
    # The tray's right wall is at 30 + 420, the tile's left at 520.
    assert gap == pytest.approx(520 - 450, abs=0.01)
    assert isinstance(found["pocket"], shapely.Polygon)


def test_an_outline_that_nobody_read_is_refused():
    chosen = choices(board={"outline": "board.dxf"}, clearance="1 mm", wood=None, coupons=None)
    with pytest.raises(PlanError, match=r"'board\.dxf' was not read"):
        make_plan(TRAY, UNCERTAINTY, THICKNESS, chosen)


@pytest.mark.parametrize(
    ("placing", "low"),
    [
        (Placing(), (240, 145)),  # in the middle: (600 - 120) / 2, (370 - 80) / 2
        (Placing(left=30.0, front=40.0), (30, 40)),
        (Placing(right=30.0, back=40.0), (600 - 120 - 30, 370 - 80 - 40)),
        (Placing(left=30.0, back=0.0), (30, 290)),
        (Placing(left=10.0, front=20.0, turn=math.pi / 2), (10, 20)),
    ],
)
def test_a_wall_lies_as_far_from_the_edges_as_it_is_said(placing, low):
    wall = rounded_rectangle(120, 80, 8).translated(7, -3)
    board = rounded_rectangle(600, 370).translated(300, 185)
    dx, dy = shift(wall, board, placing)
    moved = wall.rotated(placing.turn).translated(dx, dy)
    assert moved.bounds[:2] == pytest.approx(low)
    # Its layers and their strokes go with it; its border does not.
    layer = PlanLayer("pocket depth 9.00 mm", 9.0, (wall,), (((7.0, -3.0), (8.0, -3.0)),))
    border = PlanLayer("border through", None, (wall,))
    (found,) = moved_layers([layer, border], wall, board, placing)
    assert found.outlines[0].bounds == pytest.approx(moved.bounds)
    low_x, low_y, high_x, high_y = moved.bounds
    (start, end) = found.strokes[0]
    assert start == pytest.approx(((low_x + high_x) / 2, (low_y + high_y) / 2))
    way = (math.cos(placing.turn), math.sin(placing.turn))
    assert (end[0] - start[0], end[1] - start[1]) == pytest.approx(way)


@pytest.mark.parametrize("pair", [("left", "right"), ("front", "back")])
def test_two_distances_across_are_refused(pair):
    with pytest.raises(PlanError, match=" and ".join(pair)):
        shift(CUP, BOARD, Placing(**dict.fromkeys(pair, 1.0)))


@pytest.mark.parametrize(
    ("gap", "code", "said"),
    [(6.0, None, ""), (5.9, "thin-wall-on-board", "5.90 mm"), (0.0, "thin-wall-on-board", "0.00"),
     (-0.5, "pocket-off-board", "0.50 mm")],
)  # fmt: skip
def test_six_millimetres_of_wood_are_left_to_edge_and_neighbour(gap, code, said):
    board = rounded_rectangle(600, 400)
    own = rounded_rectangle(120, 80, 8)
    beside = rounded_rectangle(100, 80, 8).translated(110 + gap, 0)
    found = spacing_notices([("tray", own), ("cup {1}", beside)], board)
    assert [n.code for n in found] == ([code] if code else [])
    assert all(said in str(n.text) and "cup {1}" in str(n.text) for n in found)
    assert distance_between(own, beside) == pytest.approx(gap, abs=1e-6)
    # Within the board, the wall's distance to its edge.
    at_edge = own.translated(300 - 60 - gap, 0)
    found = spacing_notices([("tray", at_edge)], board)
    assert [n.code for n in found] == ([code] if code else [])
    assert all(said in str(n.text) for n in found)


def guest(clearance, depth=6.0):
    return Guest("cup", "cup.svg", clearance, depth, Placing(left=50.0, front=50.0))


def test_a_guest_s_chance_and_corners_are_judged_as_a_part_s():
    square = rounded_rectangle(80, 60, 1.0).translated(500, 20)
    board = rounded_rectangle(600, 400).translated(300, 200)
    exact = WidthError(0.0, 0.0, cuts=5)
    made = guest_pocket(guest(even(0.3)), Known(square, SURE), board, Tool(), exact)
    assert (made.state, made.notices) == ("good", ())
    assert made.outline.bounds == pytest.approx((50, 50, 130.6, 110.6))
    # (r - rho)(sqrt 2 - 1) - 0.3 sqrt 2 of wood in the way of a cutter of 6 mm.
    overlap = 2.0 * (math.sqrt(2) - 1) - 0.3 * math.sqrt(2)
    jams = guest_pocket(guest(even(0.3)), Known(square), board, Tool(6.0), exact)
    assert (jams.state, jams.because) == ("not to be cut", ("uncut-corner",))
    assert f"meet {overlap:.2f} mm of uncut wood" in str(jams.notices[0].text)
    assert jams.chance is None
    likely = guest_pocket(guest(even(0.3)), Known(square, SURE), board, Tool(6.0), exact)
    assert likely.chance.places[-1].name == "corner"
    assert likely.chance.places[-1].gap == pytest.approx(-overlap, abs=1e-5)
    assert likely.state == "not to be cut"
    free = guest_pocket(
        guest(even(0.3)), Known(square, SURE), board, Tool(6.0, "dog-bone", 0.2), exact
    )
    assert free.state == "good"
    assert free.outline.area > made.outline.area
    wide = guest_pocket(guest(even(0.9)), Known(square), board, Tool(6.0), exact)
    assert [n.code for n in wide.notices] == ["part-uncertainty-unknown"]
    assert (wide.state, wide.as_json()["part"]) == ("good", "cup")
