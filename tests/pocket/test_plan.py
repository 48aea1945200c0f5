import json
import math
from dataclasses import replace

import pypdfium2
import pytest
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices, free_outline

from snugline.errors import InputError, PlanError
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Arc, Line, outline_from_json, polygon_of
from snugline.fit.geometry.primitives import as_circle, rounded_rectangle
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.fit.readings.thickness import Thickness
from snugline.pocket.choices_record import from_record
from snugline.pocket.clearance import even
from snugline.pocket.plan import make_plan
from snugline.pocket.shop_sheet import shop_sheet
from snugline.pocket.width_error import WidthError

SLIM = {"clearance": "0.5 mm", "coupons": None, "stock": {"thickness": "20 mm"}}


def plan(part=TRAY, uncertainty=UNCERTAINTY, thickness=THICKNESS, unit="mm", **changes):
    """A plan with one pocket and nothing laid out, but for the changes."""
    chosen = choices(**(SLIM | changes))
    return make_plan(part, uncertainty, thickness, chosen, part="slate tray", unit=unit)


def codes(made):
    return [n.code for n in made.notices]


@pytest.fixture(scope="module")
def full():
    return make_plan(TRAY, UNCERTAINTY, THICKNESS, choices(), part="slate tray")


def test_there_is_one_pocket_for_each_clearance_and_one_sheet_of_each_other_kind(full):
    three = [even(0.25), even(0.5), even(0.75)]
    assert [(s.name, s.clearance) for s in full.sheets] == [
        *(("pocket", gap) for gap in three),
        ("coupon width", None),
        ("coupon length", None),
        ("coupons", None),
        *(("layout", gap) for gap in three),
    ]


def test_a_blocked_pocket_leaves_out_its_own_files_only(full):
    # The wood closes by 0.37 mm per side: 0.25 mm jams, the others go in.
    states = [(o.clearance.length, o.state) for o in full.openings]
    assert states == [(0.25, "not to be cut"), (0.5, "usable"), (0.75, "good")]
    assert full.openings[0].because[0] == "squeezed-in-season"
    assert "does-not-go-in" in full.openings[0].because
    blocked = [(s.name, s.clearance.length) for s in full.sheets if s.blocked]
    assert blocked == [("pocket", 0.25), ("layout", 0.25)]
    record = full.as_json()
    assert [p["state"] for p in record["pockets"]] == [state for _, state in states]
    assert {la["clearance"] for la in record["layers"] if la["sheet"] == "pocket"} == {0.5, 0.75}
    assert record["pockets"][2]["goes_in"]["probability"] > 0.95
    assert "%" in record["pockets"][2]["goes_in"]["words"]


def test_layers_carry_their_depths_in_their_names(full):
    assert [(la.name, la.depth) for la in full.sheets[0].layers] == [
        ("pocket depth 9.70 mm", pytest.approx(9.7)),
        ("step depth 11.70 mm", pytest.approx(11.7)),
        ("back notch depth 12.00 mm", 12.0),
        ("push hole through", None),
        ("border through", None),
    ]


def test_a_plain_pocket_of_a_rounded_rectangle_is_four_lines_and_four_arcs():
    (opening,) = plan(clearance="0.5 mm", notch=None).openings
    kinds = [type(s) for s in opening.outline.segments]
    assert (kinds.count(Line), kinds.count(Arc)) == (4, 4)
    assert {round(s.radius, 9) for s in opening.outline.segments if isinstance(s, Arc)} == {27.9}


def test_the_result_record_holds_every_layer_and_reads_back(full):
    record = json.loads(json.dumps(full.as_json(), allow_nan=False))
    assert len(record["layers"]) == sum(len(s.layers) for s in full.sheets if not s.blocked)
    first = record["layers"][0]
    assert (first["sheet"], first["clearance"], first["depth"]) == ("pocket", 0.5, 9.7)
    again = outline_from_json(first["outlines"][0])
    assert again.area == pytest.approx(full.openings[1].outline.area, rel=1e-15)


def test_the_drawing_of_a_clearance_is_named_by_it(full):
    made = full.openings[1].sheet.drawing(full.part, full.unit)
    assert made.title == "slate tray, pocket, clearance 0.50 mm"
    assert made.layers[0].outlines[0] is full.openings[1].outline


def test_depths_and_names_follow_the_job_s_unit():
    made = plan(unit="in", clearance="0.01 in")
    assert made.sheets[0].layers[0].name == "pocket depth 0.382 in"
    assert made.openings[0].sheet.drawing(made.part, made.unit).unit == "in"
    assert made.sheets[0].stem("slate tray", "in").endswith("clearance-0.010-in-units-in")


def test_the_laid_out_pieces_lie_on_the_stock_apart_from_each_other(full):
    layers = {layer.name: layer for layer in full.sheets[-1].layers}
    stock = polygon_of(layers["stock not cut"].outlines[0]).buffer(-10 + 1e-6)
    pieces = [polygon_of(o) for o in layers["border through"].outlines]
    pieces += [polygon_of(o) for o in layers["coupon through"].outlines]
    assert len(pieces) == 2 + 2 + len(full.suggestion.ladder[::2])
    assert all(stock.covers(piece) for piece in pieces)
    distances = [a.distance(b) for i, a in enumerate(pieces) for b in pieces[:i]]
    assert min(distances) > 8 - 1e-3


def test_grain_along_the_width_turns_the_piece_on_the_stock():
    wood = {
        "species": "walnut",
        "grain": "width",
        "now": {"moisture": 8},
        "driest": {"moisture": 7},
        "dampest": {"moisture": 9},
    }
    stock = {"thickness": "20 mm", "length": "1200 mm", "width": "600 mm"}
    made = plan(wood=wood, stock=stock, coupons=None)
    (border,) = next(la for la in made.sheets[-1].layers if la.name == "border through").outlines
    low_x, low_y, high_x, high_y = border.bounds
    assert high_y - low_y > high_x - low_x


def test_square_parts_get_relieved_pockets_that_the_part_enters():
    square = rounded_rectangle(200, 100)
    made = plan(square, relief="dog-bone", notch=None, step=None, stock=None, border=None)
    for opening in made.openings:
        assert len(opening.discs) == 4
        assert opening.reach.uncut == ()
        assert opening.reach.part_overlap == pytest.approx(-opening.clearance.least, abs=1e-3)
        assert (signed_distance(opening.outline, square.sampled(1.0)) < 0).all()


def test_unrelieved_square_corners_are_said_to_keep_the_part_out():
    made = plan(rounded_rectangle(200, 100), clearance="0.25 mm", notch=None, step=None)
    (notice,) = [n for n in made.notices if n.code == "uncut-corner"]
    assert notice.severity == "cannot be cut"
    assert "not seat" in notice.text
    assert made.openings[0].blocked


def test_ribbons_feet_slips_and_templates_come_in_their_own_places():
    made = plan(
        clearance="0.5 mm",
        ribbon={"side": "left"},
        feet={"diameter": "12 mm", "inset": "25 mm", "deeper": "1 mm"},
        coupons={"slip": True, "tests": ["corner"], "ladder": ["0.3 mm", "0.4 mm"]},
        template={"bush": "17 mm", "cutter": "8 mm"},
    )
    assert [s.name for s in made.sheets] == [
        "pocket", "coupons", "width slips", "template",
    ]  # fmt: skip
    feet = next(la for la in made.sheets[0].layers if la.name.startswith("feet"))
    assert len(feet.outlines) == 4
    assert made.openings[0].outline.bounds[0] == pytest.approx(-209.5 - 3)
    assert len(made.sheets[1].layers[0].outlines) == 2
    (template,) = made.sheets[3].layers[0].outlines
    assert template.bounds[2] == pytest.approx(209.5 + 4.5)


def test_seasons_and_suggestions_are_stated():
    made = plan(clearance="0.25 mm")
    assert {"squeezed-in-season", "does-not-go-in"} <= set(codes(made))
    # Brittle 0.25, the width's U95 0.05, and what the driest day closes with its own U95.
    closes = 146.5 * 0.00274 * (8 - 6.1744) / 2
    u = ((0.15 * 2 * closes) ** 2 + (146.5 * 0.00274 / 3**0.5) ** 2) ** 0.5 / 2
    expected = 0.25 + 0.05 + closes + 1.96 * u
    assert made.suggestion.width.low == pytest.approx(expected, abs=0.06)
    assert made.suggestion.length.low < made.suggestion.width.low
    assert "common practice, no source" in made.suggestion.basis
    assert len(made.openings[0].seasons) == 4


def test_the_suggestion_learns_from_the_machine_s_records_and_changes_nothing_drawn():
    narrow = WidthError(-0.1, 0.01, cuts=5, alike=5)
    taught = make_plan(TRAY, UNCERTAINTY, THICKNESS, choices(**SLIM), width_error=narrow)
    plain = plan()
    assert taught.suggestion.low == pytest.approx(plain.suggestion.low + 0.1, abs=0.051)
    assert taught.openings[0].outline == plain.openings[0].outline


def test_a_clearance_below_the_uncertainty_names_the_best_reading():
    doubtful = replace(UNCERTAINTY, length=0.8)
    made = plan(uncertainty=doubtful, clearance=["0.25 mm", "0.5 mm"], wood=None)
    assert made.openings[0].state == "usable"
    (notice,) = [n for n in made.notices if n.code == "clearance-below-uncertainty"]
    assert str(notice.about) == "clearance 0.25 mm, length"
    assert "take a caliper reading of the length" in notice.mend


def test_each_axis_may_have_a_clearance_of_its_own():
    two = {"length": "0.8 mm", "width": "0.5 mm"}
    (opening,) = plan(clearance=[two], wood=None).openings
    low_x, low_y, high_x, high_y = opening.plain.bounds
    assert (high_x - low_x, high_y - low_y) == pytest.approx((418 + 1.6, 146 + 1.0))
    assert (signed_distance(opening.plain, TRAY.sampled(1.0)) < -0.5 + 1e-9).all()
    assert opening.sheet.title("mm") == "pocket, clearance length 0.80 mm width 0.50 mm"


def test_feet_sit_at_the_inset_from_the_part_s_own_sides():
    # Set-up j05: 24.75 mm for 25.
    made = plan(feet={"diameter": "12 mm", "inset": "25 mm", "deeper": "1 mm"}, step=None)
    feet = next(la for la in made.sheets[0].layers if la.name.startswith("feet"))
    centres = {tuple(round(v, 6) for v in as_circle(o)[0]) for o in feet.outlines}
    assert centres == {(x, y) for x in (-184, 184) for y in (-48, 48)}


def test_holes_that_overlap_are_not_to_be_cut():
    # Set-up w18.
    made = plan(push_hole=[{"diameter": "20 mm"}, {"diameter": "20 mm", "x": "10 mm"}], wood=None)
    assert "holes-overlap" in made.openings[0].because
    apart = plan(push_hole=[{"diameter": "20 mm"}, {"diameter": "20 mm", "x": "30 mm"}], wood=None)
    assert "holes-overlap" not in codes(apart)
    over = plan(
        push_hole=[{"diameter": "20 mm", "x": "-176 mm", "y": "-48 mm"}],
        feet={"diameter": "12 mm", "inset": "25 mm", "deeper": "1 mm"},
        wood=None,
    )
    assert "holes-overlap" in codes(over)


def test_corners_of_the_deeper_floor_are_relieved_or_remarked_on():
    # Set-up x01: 1.66 mm uncut by an 8 mm cutter, no word.
    square = rounded_rectangle(364, 248)
    common = {
        "clearance": "0.4 mm", "notch": None, "border": None, "wood": None,
        "cutter": {"diameter": "8 mm"}, "step": {"inset": "6 mm", "deeper": "4 mm"},
    }  # fmt: skip
    bare = plan(square, **common)
    (notice,) = [n for n in bare.notices if n.code == "uncut-step-corner"]
    assert "1.66 mm" in notice.text
    relieved = plan(square, relief="dog-bone", **common)
    assert "uncut-step-corner" not in codes(relieved)
    step = next(la for la in relieved.sheets[0].layers if la.name.startswith("step"))
    assert len(step.outlines[0].segments) == 8


def test_a_coupon_deeper_than_its_board_blocks_the_coupons_alone():
    # Set-up w28: 30 mm deep in a board of 6 mm.
    made = plan(
        thickness=Thickness(3.96, 0.03), clearance="0.5 mm", wood=None, notch=None, step=None,
        border=None, stock={"thickness": "8 mm"}, coupons={"depth": "30 mm"},
    )  # fmt: skip
    assert "coupon-deeper-than-board" in codes(made)
    assert [s.name for s in made.sheets if s.blocked] == ["coupons"]
    assert not made.openings[0].blocked


def test_a_template_whose_corners_the_part_meets_is_left_out_alone():
    square = rounded_rectangle(200, 100)
    common = {"notch": None, "step": None, "wood": None, "template": {"bush": "17 mm",
              "cutter": "8 mm"}, "cutter": {"diameter": "1 mm"}, "clearance": "0.5 mm"}  # fmt: skip
    bare = plan(square, **common)
    assert [s.name for s in bare.sheets if s.blocked] == ["template"]
    relieved = plan(square, relief="dog-bone", **common)
    assert not any(s.blocked for s in relieved.sheets)


def test_a_pocket_that_cannot_be_drawn_leaves_the_others():
    made = plan(clearance=["0.5 mm", "40 mm"], border={"land": "22 mm", "corner": "130 mm"},
                notch=None, wood=None)  # fmt: skip
    assert [o.clearance.length for o in made.openings] == [40.0]
    (notice,) = [n for n in made.notices if n.code == "pocket-cannot-be-drawn"]
    assert notice.severity == "cannot be cut"


def test_a_part_at_no_clearance_is_not_called_usable_without_a_word():
    # Set-up w08: a brittle part at 0.00 mm brought no word and status 0.
    made = plan(clearance=["0 mm", "1 mm"], wood=None)
    assert made.openings[0].state != "good"
    assert made.openings[0].chance.probability < 0.6
    assert {"may-not-go-in", "does-not-go-in"} & set(made.openings[0].because)
    assert made.openings[1].chance.probability > 0.98


def test_a_wooden_part_across_the_board_s_grain_is_squeezed_and_named():
    # Set-up x03: by hand 162.93 x 0.00353 x 4 = 2.30 mm of growth between 7 and 11 %.
    maple = {"species": "maple, sugar", "now": {"moisture": 7}}
    board = {**maple, "grain": "width", "driest": {"moisture": 6.5}, "dampest": {"moisture": 11}}
    record = {"clearance": "0.5 mm", "kind": "firm", "wood": board}
    chosen = from_record(record, part_wood={**maple, "grain": "length"})
    part = rounded_rectangle(602.4, 162.93, 81.465 - 1e-3)
    made = make_plan(part, PartUncertainty(0.05, 0.5, 0.1), Thickness(18.22, 0.05), chosen)
    (opening,) = made.openings
    assert (opening.state, opening.because[0]) == ("not to be cut", "squeezed-in-season")
    text = " ".join(n.text for n in made.notices)
    assert "the part grows by 2.30 mm" in text
    (record,) = [
        s for s in made.as_json()["seasons"] if (s["season"], s["along"]) == ("dampest", "width")
    ]
    assert record["part"] == pytest.approx(2.30, abs=0.005)
    assert record["gap"] == pytest.approx(0.5 - 2.30 / 2, abs=0.03)


def test_figures_from_memory_are_said_on_page_report_and_shop_sheet():
    # Set-up x06.
    wood = {"species": "mahogany", "grain": "length", "now": {"moisture": 8},
            "driest": {"moisture": 7}, "dampest": {"moisture": 10}}  # fmt: skip
    made = plan(wood=wood, clearance="1 mm")
    assert "movement-from-memory" in codes(made)
    text = pypdfium2.PdfDocument(shop_sheet(made))[0].get_textpage().get_text_range()
    assert "from memory" in text


def test_stock_without_room_leaves_out_the_layout_alone():
    made = plan(stock={"thickness": "20 mm", "length": "400 mm", "width": "250 mm"}, wood=None)
    (notice,) = [n for n in made.notices if n.code == "layout-does-not-fit"]
    assert "too long" in notice.text
    assert [s.name for s in made.sheets] == ["pocket"]
    assert not made.openings[0].blocked


def test_what_all_clearances_have_alike_is_said_once():
    made = plan(glued=True, clearance=["0.4 mm", "0.5 mm"])
    assert codes(made).count("glue-would-split-land") == 1


def test_cautions_are_short_and_fit_the_job(full):
    text = " ".join(full.cautions)
    for word in ("scrap", "clamps", "eye, ear and dust", "brittle", "food", "local regul"):
        assert word in text
    assert max(map(len, full.cautions)) < 110
    assert "food" not in " ".join(plan(food=False).cautions)


def test_a_free_outline_of_many_arcs_is_planned():
    free = free_outline()
    assert len(free.segments) == 200
    assert max(map(abs, free.turns)) < 1e-7
    made = plan(free, notch=None, step=None, stock=None, coupons=None)
    for opening in made.openings:
        d, area = opening.clearance.least, free.area
        steiner = area + free.perimeter * d + math.pi * d * d
        assert opening.outline.area == pytest.approx(steiner, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "error", "match"),
    [
        ({"clearance": "-0.25 mm"}, InputError, "negative"),
        ({"cutter": {"diameter": "200 mm"}}, PlanError, "wider than the pocket"),
        ({"stock": {"thickness": "9 mm"}}, PlanError, "goes through the board"),
        ({"notch": [{"side": "back", "depth": "25 mm"}]}, PlanError, "goes through the board"),
        ({"border": {"land": "-1 mm"}}, InputError, "too small"),
        ({"border": {"land": "10 mm"}}, PlanError, "passes the border by 1"),
        ({"step": {"inset": "80 mm", "deeper": "1 mm"}}, PlanError, "leaves nothing"),
        ({"seat": "12 mm above"}, PlanError, "cannot stand"),
        ({"feet": {"diameter": "3 mm", "inset": "20 mm", "deeper": "1 mm"}}, PlanError, "narrower"),
        ({"feet": {"diameter": "12 mm", "inset": "3 mm", "deeper": "1 mm"}}, PlanError, "wall by"),
    ],
)
def test_nonsense_is_refused_in_three_parts(changes, error, match):
    with pytest.raises(error, match=match) as caught:
        plan(**changes)
    assert all((caught.value.what, caught.value.where, caught.value.mend))


def test_clearances_that_read_the_same_are_refused():
    with pytest.raises(InputError, match=r"two clearances both read 0\.010 in"):
        plan(unit="in", clearance=["0.25 mm", "0.26 mm"])


def test_an_inch_job_with_millimetre_readings_is_warned_of():
    made = make_plan(
        TRAY, UNCERTAINTY, THICKNESS, choices(**SLIM), unit="in", readings_in=frozenset({"mm"})
    )
    (notice,) = [n for n in made.notices if n.code == "mixed-units"]
    assert "written in inches" in notice.text
    assert notice.mend


def test_an_inch_where_millimetres_were_meant_is_noticed():
    assert "clearance-large" in codes(plan(clearance="0.25 in", border=None, stock=None))


def test_a_step_over_wider_than_the_cutter_is_said():
    assert "step-over-wider-than-cutter" in codes(plan(feeds={"step_over": "8 mm"}))


def test_uncertain_thickness_and_thin_floor_reach_the_notices():
    made = plan(
        thickness=Thickness(9.5, 0.15, values=(9.25, 9.5, 9.75)), stock={"thickness": "12.5 mm"}
    )
    assert {"thin-floor", "uneven-thickness"} <= set(codes(made))


def layer(made, start):
    (found,) = [la for la in made.sheets[0].layers if la.name.startswith(start)]
    return found


def test_recesses_for_feet_go_deeper_than_the_floor():
    made = plan(
        feet={"diameter": "12 mm", "inset": "25 mm", "deeper": "1.5 mm"}, step=None, notch=None
    )
    feet = layer(made, "feet")
    assert feet.depth == pytest.approx(9.5 + 0.2 + 1.5)
    assert feet.name == "feet depth 11.20 mm"
    # The board has to hold them: 20 mm less the deepest cut.
    assert made.depth.floor == pytest.approx(20 - 11.2)
    by = 209 - 25, 73 - 25  # from the sides of the part
    middles = {
        tuple(round((a + b) / 2, 6) for a, b in zip(o.bounds[:2], o.bounds[2:], strict=True))
        for o in feet.outlines
    }
    assert middles == {(x, y) for x in (-by[0], by[0]) for y in (-by[1], by[1])}
    assert {round(o.bounds[2] - o.bounds[0], 6) for o in feet.outlines} == {12.0}


def test_recesses_for_feet_end_where_the_pocket_s_corner_begins():
    # Over the diagonal of the corner of 27.9 mm a recess of 10 mm radius is flush with the wall
    # at an inset of 27.9 - 17.9 / sqrt 2 - 0.5 = 14.743 mm from the part.
    def feet(inset):
        return plan(feet={"diameter": "20 mm", "inset": f"{inset} mm", "deeper": "1 mm"})

    assert layer(feet(14.75), "feet").outlines
    with pytest.raises(PlanError, match=r"by 0\.06 mm"):
        feet(14.7)


def test_a_cutter_as_wide_as_a_foot_s_recess_cuts_it_and_a_wider_one_does_not():
    assert layer(plan(feet={"diameter": "6 mm", "inset": "25 mm", "deeper": "1 mm"}), "feet")
    with pytest.raises(PlanError, match="narrower than the cutter"):
        plan(feet={"diameter": "5.9 mm", "inset": "25 mm", "deeper": "1 mm"})


def test_coupons_have_the_pocket_s_relief_and_only_then():
    asked = {"coupons": {"ladder": ["0.5 mm"]}, "stock": {"thickness": "20 mm"}}
    square = rounded_rectangle(200, 100, 0)

    def radii(**more):
        made = plan(square, clearance="0.5 mm", notch=None, step=None, **asked, **more)
        (sheet,) = [s for s in made.sheets if s.name == "coupons"]
        arcs = [s for o in sheet.layers[0].outlines for s in o.segments if isinstance(s, Arc)]
        return {round(arc.radius, 6) for arc in arcs}

    assert 3.2 in radii(relief="dog-bone")  # the cutter's and the allowance of 0.2 mm
    assert 3.2 not in radii()


def test_the_board_of_a_layout_is_the_stock(full):
    boards = [la for s in full.sheets for la in s.layers if la.name == "stock not cut"]
    edges = [edge for board in boards for edge in board.outlines]
    assert edges
    for edge in edges:
        assert edge.bounds == pytest.approx((0, 0, 1200, 500))
    assert edge.area == pytest.approx(1200 * 500)


def test_a_coupon_is_as_deep_as_the_pocket_but_six_millimetres_at_most():
    def depth(thickness, **chosen):
        asked = {"corners": 1, "ladder": ["0.5 mm"], **chosen}
        made = plan(thickness=Thickness(thickness, 0.025), coupons=asked, sanding=None, step=None)
        (sheet,) = [s for s in made.sheets if s.name == "coupons"]
        return sheet.layers[0].depth

    assert depth(9.5) == 6.0
    assert depth(4.25) == pytest.approx(4.25)
    assert depth(9.5, depth="7 mm") == 7.0


def test_a_board_whose_grain_runs_along_the_width_moves_along_the_length():
    def gaps(grain):
        wood = {
            "species": "walnut", "grain": grain, "now": {"moisture": 8},
            "driest": {"moisture": 6}, "dampest": {"moisture": 10},
        }  # fmt: skip
        made = plan(clearance="1.5 mm", wood=wood, material=None)
        return {(g.season, g.direction): g.gap for g in made.openings[0].seasons}

    along, across = gaps("length"), gaps("width")
    # Walnut, tangential 0.00274 for 1 % of moisture (GTR-190, table 13-5), on half the opening.
    dry = [key for key in along if key[0].startswith("dri")]
    assert {key[1] for key in dry} == {"length", "width"}
    closes = {
        (grain, d): 1.5 - found[next(k for k in dry if k[1] == d)]
        for grain, found in (("length", along), ("width", across))
        for d in ("length", "width")
    }
    assert closes["length", "width"] == pytest.approx(149 * 0.00274 * 2 / 2, abs=0.02)
    assert closes["width", "length"] == pytest.approx(421 * 0.00274 * 2 / 2, abs=0.05)
    assert abs(closes["length", "length"]) < 0.1 * closes["width", "length"]
    assert abs(closes["width", "width"]) < 0.1 * closes["length", "width"]


def test_a_step_s_corners_that_the_cutter_leaves_are_told_with_the_worst():
    """(r - rho)(sqrt 2 - 1) at a corner of 1 mm: the step's own corners, 6 mm further in."""
    part = rounded_rectangle(200, 100, [1, 1, 4, 4])
    cutter = {"diameter": "6 mm"}
    step = {"inset": "6 mm", "deeper": "2 mm"}
    made = plan(part, cutter=cutter, step=step, notch=None, relief=None)
    (found,) = [n for n in made.notices if n.code == "uncut-step-corner"]
    # The inset takes the corners' radii away: all four are square.
    assert f"up to {3 * (math.sqrt(2) - 1):.2f} mm of wood uncut in 4 corners" in str(found.text)
    relieved = plan(part, cutter=cutter, step=step, notch=None, relief="dog-bone")
    assert "uncut-step-corner" not in codes(relieved)
    # A corner as wide as the cutter is reached: 9.5 mm of pocket's corner, 6.5 mm further in.
    wide = rounded_rectangle(200, 100, 9.0)
    made = plan(wide, cutter=cutter, step={**step, "inset": "6.5 mm"}, notch=None)
    assert "uncut-step-corner" not in codes(made)
    made = plan(wide, cutter=cutter, step={**step, "inset": "6.6 mm"}, notch=None)
    assert "uncut-step-corner" in codes(made)


def test_feet_lie_at_their_inset_from_the_part_and_within_the_wall():
    feet = {"diameter": "12 mm", "inset": "10 mm", "deeper": "2 mm"}
    square = rounded_rectangle(200, 100)
    made = plan(square, feet=feet, step=None, notch=None, push_hole=None)
    (layer,) = [la for la in made.sheets[0].layers if la.name.startswith("feet")]
    centres = sorted(tuple(round(v, 6) for v in as_circle(o)[0]) for o in layer.outlines)
    assert centres == [(-90, -40), (-90, 40), (90, -40), (90, 40)]
    assert [as_circle(o)[1] for o in layer.outlines] == [6.0] * 4
    assert layer.depth == pytest.approx(11.7)
    # 10.5 mm from the wall: a recess of 21 mm just fits.
    plan(square, feet={**feet, "diameter": "21 mm"}, step=None, notch=None, push_hole=None)
    with pytest.raises(PlanError, match=r"pass the pocket's wall by 0\.05 mm"):
        plan(square, feet={**feet, "diameter": "21.1 mm"}, step=None, notch=None, push_hole=None)
    with pytest.raises(PlanError, match="narrower than the cutter"):
        plan(square, feet={**feet, "diameter": "5.9 mm"}, step=None, notch=None, push_hole=None)


def test_holes_that_cut_into_each_other_are_told_by_how_much():
    def overlapping(*holes):
        recess = [
            {"name": name, "diameter": f"{d} mm", "depth": f"{deep} mm", "x": f"{x} mm"}
            for name, d, deep, x in holes
        ]
        made = plan(recess=recess, step=None, notch=None, push_hole=None)
        return [n for n in made.notices if n.code == "holes-overlap"]

    assert overlapping(("a", 20, 3, 0), ("b", 20, 3, 20.1)) == []
    (found,) = overlapping(("a", 20, 3, 0), ("b", 20, 3, 18))
    assert "a a and one of the b cut into each other by 2.00 mm" in str(found.text)
    # Of several the worst; one wholly in another of another depth is meant so.
    (found,) = overlapping(("a", 20, 3, 0), ("b", 20, 3, 18), ("c", 20, 3, -15))
    assert "by 5.00 mm" in str(found.text)
    assert overlapping(("a", 20, 3, 0), ("b", 8, 5, 2)) == []
    (found,) = overlapping(("a", 20, 3, 0), ("b", 8, 3, 2))
    assert "by 8.00 mm" in str(found.text)


def test_the_stock_s_own_rectangle_is_the_board():
    made = plan(
        board={"left": "30 mm", "front": "40 mm"}, border=None, step=None, notch=None,
        stock={"thickness": "20 mm", "length": "700 mm", "width": "300 mm"},
    )  # fmt: skip
    sheet = next(s for s in made.sheets if s.name == "board")
    edge = sheet.layers[-1].outlines[0]
    assert edge.bounds == pytest.approx((0, 0, 700, 300))
    pocket = next(la for la in sheet.layers if la.name.startswith("pocket")).outlines[0]
    assert pocket.bounds[:2] == pytest.approx((30, 40))
    assert pocket.bounds[2] == pytest.approx(30 + 419)
