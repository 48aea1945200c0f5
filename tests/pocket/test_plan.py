import json
import math
from dataclasses import replace

import pytest
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices, free_outline

from snugline.errors import InputError, PlanError
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Arc, Line, outline_from_json, polygon_of
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.readings.thickness import Thickness
from snugline.pocket.overcut import Overcut
from snugline.pocket.plan import drawings, make_plan

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
    assert [(s.name, s.clearance) for s in full.sheets] == [
        ("pocket", 0.25),
        ("pocket", 0.5),
        ("pocket", 0.75),
        ("coupons", None),
        ("layout", 0.25),
    ]


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
    assert len(record["layers"]) == sum(len(s.layers) for s in full.sheets)
    first = record["layers"][0]
    assert (first["sheet"], first["clearance"], first["depth"]) == ("pocket", 0.25, 9.7)
    again = outline_from_json(first["outlines"][0])
    assert again.area == pytest.approx(full.openings[0].outline.area, rel=1e-15)


def test_the_drawing_of_a_clearance_is_found_and_an_unplanned_one_refused(full):
    made = drawings(full, 0.5)
    assert made.title == "slate tray, pocket, clearance 0.50 mm"
    assert made.layers[0].outlines[0] is full.openings[1].outline
    with pytest.raises(PlanError, match=r"no pocket is planned .* 0\.60 mm"):
        drawings(full, 0.6)


def test_depths_and_names_follow_the_job_s_unit():
    made = plan(unit="in", clearance="0.01 in")
    assert made.sheets[0].layers[0].name == "pocket depth 0.382 in"
    assert drawings(made, 0.254).unit == "in"
    assert made.sheets[0].stem("slate tray", "in").endswith("clearance-0.010-in-units-in")


def test_the_laid_out_pieces_lie_on_the_stock_apart_from_each_other(full):
    layers = {layer.name: layer for layer in full.sheets[-1].layers}
    stock = polygon_of(layers["stock not cut"].outlines[0]).buffer(-10 + 1e-6)
    pieces = [polygon_of(o) for o in layers["border through"].outlines]
    pieces += [polygon_of(o) for o in layers["coupon through"].outlines]
    assert len(pieces) == 2 + 5
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
        assert opening.reach.part_overlap == pytest.approx(-opening.clearance, abs=1e-3)
        assert (signed_distance(opening.outline, square.sampled(1.0)) < 0).all()


def test_unrelieved_square_corners_are_said_to_keep_the_part_out():
    made = plan(rounded_rectangle(200, 100), clearance="0.25 mm", notch=None, step=None)
    (notice,) = [n for n in made.notices if n.code == "uncut-corner"]
    assert notice.severity == "retake"
    assert "not seat" in notice.text


def test_ribbons_feet_slips_and_templates_come_in_their_own_places():
    made = plan(
        clearance="0.5 mm",
        ribbon={"side": "left"},
        feet={"diameter": "12 mm", "inset": "25 mm", "deeper": "1 mm"},
        coupons={"corners": 2, "slip": True, "ladder": ["0.3 mm", "0.4 mm"]},
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
    assert codes(made) == ["squeezed-in-season"]
    assert made.suggestion.low == pytest.approx(0.3 + 0.37, abs=0.03)
    assert "common practice, no source" in made.suggestion.basis
    assert len(made.openings[0].seasons) == 4


def test_the_suggestion_learns_from_the_machine_s_records_and_changes_nothing_drawn():
    narrow = Overcut(-0.1, 0.01, cuts=5, alike=5)
    taught = make_plan(TRAY, UNCERTAINTY, THICKNESS, choices(**SLIM), overcut=narrow)
    plain = plan()
    assert taught.suggestion.low == pytest.approx(plain.suggestion.low + 0.1)
    assert taught.openings[0].outline == plain.openings[0].outline


def test_a_clearance_below_the_uncertainty_names_the_best_reading():
    doubtful = replace(UNCERTAINTY, length=0.8)
    made = plan(uncertainty=doubtful, clearance=["0.25 mm", "0.5 mm"], wood=None)
    (notice,) = [n for n in made.notices if n.code == "clearance-below-uncertainty"]
    assert str(notice.about) == "clearance 0.25 mm, length"
    assert "take a caliper reading of the length" in notice.mend


def test_what_all_clearances_have_alike_is_said_once():
    made = plan(glued=True, clearance=["0.4 mm", "0.5 mm"])
    assert codes(made).count("glue-would-split-land") == 1


def test_cautions_are_short_and_fit_the_job(full):
    text = " ".join(full.cautions)
    for word in ("scrap", "clamps", "eye, ear and dust", "brittle", "food", "local rules"):
        assert word in text
    assert max(map(len, full.cautions)) < 110
    assert "food" not in " ".join(plan(food=False).cautions)


def test_a_free_outline_of_many_arcs_is_planned():
    free = free_outline()
    assert len(free.segments) == 200
    assert max(map(abs, free.turns)) < 1e-7
    made = plan(free, notch=None, step=None, stock=None, coupons=None)
    for opening in made.openings:
        d, area = opening.clearance, free.area
        steiner = area + free.perimeter * d + math.pi * d * d
        assert opening.outline.area == pytest.approx(steiner, rel=1e-6)


@pytest.mark.parametrize(
    ("changes", "error", "match"),
    [
        ({"clearance": "-0.25 mm"}, InputError, "negative"),
        ({"cutter": {"diameter": "200 mm"}}, PlanError, "wider than the pocket"),
        ({"stock": {"thickness": "9 mm"}}, PlanError, "goes through the board"),
        ({"notch": [{"side": "back", "depth": "25 mm"}]}, PlanError, "goes through the board"),
        (
            {"stock": {"thickness": "20 mm", "length": "400 mm", "width": "250 mm"}},
            PlanError,
            "too long",
        ),
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
    by = 209.5 - 25, 73.5 - 25
    middles = {
        tuple(round((a + b) / 2, 6) for a, b in zip(o.bounds[:2], o.bounds[2:], strict=True))
        for o in feet.outlines
    }
    assert middles == {(x, y) for x in (-by[0], by[0]) for y in (-by[1], by[1])}
    assert {round(o.bounds[2] - o.bounds[0], 6) for o in feet.outlines} == {12.0}


def test_recesses_for_feet_end_where_the_pocket_s_corner_begins():
    # Over the diagonal of the corner of 27.9 mm a recess of 10 mm radius is flush with the wall
    # at an inset of 27.9 - 17.9 / sqrt 2 = 15.243 mm.
    def feet(inset):
        return plan(feet={"diameter": "20 mm", "inset": f"{inset} mm", "deeper": "1 mm"})

    assert layer(feet(15.25), "feet").outlines
    with pytest.raises(PlanError, match=r"by 0\.06 mm"):
        feet(15.2)


def test_a_cutter_as_wide_as_a_foot_s_recess_cuts_it_and_a_wider_one_does_not():
    assert layer(plan(feet={"diameter": "6 mm", "inset": "25 mm", "deeper": "1 mm"}), "feet")
    with pytest.raises(PlanError, match="narrower than the cutter"):
        plan(feet={"diameter": "5.9 mm", "inset": "25 mm", "deeper": "1 mm"})


def test_the_suggestion_makes_up_for_what_the_season_closes():
    made = plan(clearance="0.5 mm", step=None)
    closes = 0.5 - min(gap.gap for gap in made.openings[0].seasons)
    assert closes > 0.2
    assert f"{closes:.2f} mm added for the season" in made.suggestion.basis
    # Brittle parts start with 0.3 to 0.6 mm (common practice, no source), offered in steps of 0.05.
    assert made.suggestion.low == pytest.approx(0.3 + closes, abs=0.026)
    assert made.suggestion.high == pytest.approx(0.6 + closes, abs=0.026)
    assert len(made.suggestion.ladder) == 5


def test_coupons_have_the_pocket_s_relief_and_only_then():
    asked = {"coupons": {"corners": 1, "ladder": ["0.5 mm"]}, "stock": {"thickness": "20 mm"}}
    square = rounded_rectangle(200, 100, 0)

    def radii(**more):
        made = plan(square, clearance="0.5 mm", notch=None, step=None, **asked, **more)
        (sheet,) = [s for s in made.sheets if s.name == "coupons"]
        arcs = [s for o in sheet.layers[0].outlines for s in o.segments if isinstance(s, Arc)]
        return {round(arc.radius, 6) for arc in arcs}

    assert 3.0 in radii(relief="dog-bone")
    assert 3.0 not in radii()


def test_the_board_of_a_layout_is_the_stock(full):
    (board,) = [la for s in full.sheets for la in s.layers if la.name == "stock not cut"]
    (edge,) = board.outlines
    assert edge.bounds == pytest.approx((0, 0, 1200, 500))
    assert edge.area == pytest.approx(1200 * 500)
