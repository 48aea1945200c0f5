import tomllib

import pytest

from snugline.errors import InputError
from snugline.place import OfKey
from snugline.pocket.access import FingerNotch
from snugline.pocket.choices import TESTS, PocketChoices
from snugline.pocket.choices_record import from_record, unit_notices, units_in
from snugline.pocket.clearance import Clearance, even

FULL = """
clearance = ["0.25 mm", "0.5 mm", "0.03 in"]
kind = "brittle"
seat = "0.5 mm above"
sanding = "0.2 mm"
relief = "t-bone along length"
material = "slate"
glued = true
food = true
machine = "bench router"
cutter = {diameter = "1/4 in", length = "22 mm"}
notch = [{side = "front", width = "22 mm", depth = "12 mm"}, {side = "back"}]
push_hole = {diameter = "20 mm", x = "-30 mm"}
ribbon = {side = "back", width = "20 mm"}
step = {inset = "6 mm", deeper = "2 mm"}
feet = {diameter = "12 mm", inset = "20 mm", deeper = "2 mm"}
stock = {thickness = "20 mm", length = "900 mm", width = "250 mm", copies = 2, coupons = true}
coupons = {corners = 2, ladder = ["0.2 mm", "0.3 mm"], slip = true}
template = {bush = "17 mm", cutter = "8 mm"}
feeds = {feed = "1200 mm", step_down = "1.5 mm"}
[wood]
species = "walnut"
grain = "length"
cut = "quarter sawn"
now = {moisture = 8}
driest = {humidity = 30, celsius = 21.1}
dampest = {humidity = 60, celsius = 21.1}
[border]
land = "18 mm"
corner = "30 mm"
edge = "cove"
edge_size = "6 mm"
edge_on = "both faces"
"""


def read(text):
    return from_record(tomllib.loads(text), OfKey(("pocket",), "job.toml"))


def test_every_key_is_read_in_millimetres():
    made = read(FULL)
    assert [c.length for c in made.clearance] == pytest.approx((0.25, 0.5, 0.762))
    assert (made.above, made.sanding, made.glued, made.food) == (0.5, 0.2, True, True)
    assert (made.cutter.diameter, made.cutter.length) == pytest.approx((6.35, 22))
    assert made.board.coefficient("width") == 0.0019
    assert made.board.driest.moisture == pytest.approx(6.17, abs=0.01)
    assert made.notches == (FingerNotch("front", 22, 12), FingerNotch("back", 20, None))
    assert made.push_holes[0].at == (-30, 0)
    assert made.border.edge.both_faces
    assert (made.stock.copies, made.stock.coupons, made.stock.margin) == (2, True, 10)
    assert made.coupons.ladder == (0.2, 0.3)
    assert made.template.offset == 4.5
    assert (made.feeds.feed, made.feeds.plunge, made.feeds.step_down) == (1200, 500, 1.5)
    assert made.written == {"mm", "in"}


def test_what_is_not_chosen_is_not_done():
    made = read('clearance = "0.25 mm"')
    assert made.clearance == (even(0.25),)
    assert (made.cutter, made.relief, made.board, made.border, made.coupons) == (None,) * 5
    assert (made.above, made.sanding, made.stock.thickness) == (0, 0, None)


@pytest.mark.parametrize(
    ("text", "where", "match"),
    [
        ("", "pocket", "'clearance' is missing"),
        ('clearance = "-0.1 mm"', "pocket.clearance", "negative"),
        ("clearance = 0.25", "pocket.clearance", "is not a length"),
        ('clearance = "0.25"', "pocket.clearance", "has no unit"),
        ("clearance = []", "pocket.clearance", "empty"),
        ('clearance = ["0.2 mm", "0.2 mm"]', "pocket.clearance", "twice"),
        ('clearence = "0.1 mm"\nclearance = "0.1 mm"', "pocket.clearence", "write clearance"),
        ('clearance = "0.1 mm"\nkind = "hard"', "pocket.kind", "soft, firm"),
        ('clearance = "0.1 mm"\nseat = "level"', "pocket.seat", "not a seat"),
        ('clearance = "0.1 mm"\nseat = "-1 mm above"', "pocket.seat", "not a seat"),
        ('clearance = "0.1 mm"\nsanding = "-1 mm"', "pocket.sanding", "too small"),
        ('clearance = "0.1 mm"\nrelief = "dog-bone"', "pocket", "no cutter"),
        ('clearance = "0.1 mm"\nmaterial = "cheese"', "pocket.material", "slate"),
        ('clearance = "0.1 mm"\nglued = 1', "pocket.glued", "true or false"),
        ('clearance = "0.1 mm"\nmachine = 7', "pocket.machine", "not a text"),
        ('clearance = "0.1 mm"\ncutter = "6 mm"', "pocket.cutter", "not a table"),
        ('clearance = "0.1 mm"\ncutter = {diameter = "0 mm"}', "pocket.cutter.diameter", "small"),
        ('clearance = "0.1 mm"\ncutter = {length = "9 mm"}', "pocket.cutter", "'diameter' is"),
        ('clearance = "0.1 mm"\nborder = {land = "0 mm"}', "pocket.border.land", "too small"),
        ('clearance = "0.1 mm"\nborder = {land = "-5 mm"}', "pocket.border.land", "too small"),
        (
            'clearance = "0.1 mm"\nborder = {land = "9 mm", edge = "cove"}',
            "pocket.border",
            "edge_s",
        ),
        ('clearance = "0.1 mm"\nstock = {length = "9 mm"}', "pocket.stock", "one of length"),
        ('clearance = "0.1 mm"\nstock = {copies = 1.5}', "pocket.stock.copies", "whole number"),
        ('clearance = "0.1 mm"\nstock = {copies = true}', "pocket.stock.copies", "not a number"),
        ('clearance = "0.1 mm"\nnotch = [{side = "top"}]', "pocket.notch[1].side", "front, back"),
        ('clearance = "0.1 mm"\nnotch = [{side = "left", w = 1}]', "pocket.notch[1].w", "known"),
        ('clearance = "0.1 mm"\ntemplate = {cutter = "8 mm"}', "pocket.template", "either bush"),
        ('clearance = "0.1 mm"\ncoupons = {corners = 3}', "pocket.coupons.corners", "from 1 to 2"),
        (
            'clearance = "0.1 mm"\nwood = {species = "walnut", grain = "length", now = {},'
            " driest = {moisture = 6}, dampest = {moisture = 9}}",
            "pocket.wood.now",
            "either moisture or humidity",
        ),
        (
            'clearance = "0.1 mm"\nwood = {species = "walnut", grain = "length",'
            " now = {moisture = 8}, driest = {moisture = 12}, dampest = {moisture = 9}}",
            "pocket.wood",
            "swap driest",
        ),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_key(text, where, match):
    with pytest.raises(InputError, match=match) as caught:
        read(text)
    assert caught.value.about is not None
    assert caught.value.about.as_json() == {"key": where}
    assert caught.value.mend


def test_a_gap_of_its_own_along_each_axis_is_read():
    made = read('clearance = ["0.4 mm", {length = "0.6 mm", width = "0.4 mm"}]')
    assert made.clearance == (even(0.4), Clearance(0.6, 0.4))
    with pytest.raises(InputError, match="'width' is missing"):
        read('clearance = {length = "0.6 mm"}')


def test_a_soft_part_may_be_squeezed_up_to_its_limit():
    made = read('clearance = "-0.1 mm"\nkind = "soft"')
    assert made.clearance == (even(-0.1),)
    assert made.squeezed == 0.1
    with pytest.raises(InputError, match=r"more than the 0\.1 mm"):
        read('clearance = "-0.2 mm"\nkind = "soft"')
    wide = read('clearance = "-0.2 mm"\nkind = "soft"\nsqueeze = "0.3 mm"')
    assert wide.squeezed == pytest.approx(0.3)


WOOD = 'grain = "width", now = {moisture = 8}, driest = {moisture = 6}, dampest = {moisture = 11}'


def test_a_wood_of_one_s_own_figures_is_read():
    made = read(
        f'clearance = "0.5 mm"\nwood = {{movement = {{radial = 0.16, tangential = 0.33}}, {WOOD}}}'
    )
    assert made.board.coefficient("length") == pytest.approx(0.0033)
    # Wood Handbook, table 4-3 to table 13-5: white ash 4.9 and 7.8 % are 0.00169 and 0.00274.
    made = read(
        f'clearance = "0.5 mm"\nwood = {{shrinkage = {{radial = 4.9, tangential = 7.8}}, {WOOD}}}'
    )
    assert made.board.wood.tangential == pytest.approx(0.00274, abs=1e-5)
    assert made.board.wood.radial == pytest.approx(0.00169, abs=1e-5)


def test_a_wooden_part_takes_its_service_from_the_board():
    record = tomllib.loads(f'clearance = "0.5 mm"\nwood = {{species = "walnut", {WOOD}}}')
    own = {"species": "maple, sugar", "grain": "length", "now": {"moisture": 7}}
    made = from_record(record, part_wood=own)
    assert (made.part_wood.driest.moisture, made.part_wood.dampest.moisture) == (6, 11)
    assert made.part_wood.now.moisture == 7
    del record["wood"]
    with pytest.raises(InputError, match="'driest' is missing"):
        from_record(record, part_wood=own)


def test_a_wood_is_not_a_material():
    with pytest.raises(InputError, match=r"moves with moisture") as caught:
        read('clearance = "0.5 mm"\nmaterial = "walnut"')
    assert "[part.wood]" in caught.value.mend


def test_units_are_found_however_they_are_written():
    assert units_in({"a": ['7-3/16"', "x"], "b": {"c": "0.5 in"}}) == {"in"}
    assert units_in({"a": "0.5 mm above", "b": 3}) == {"mm"}
    assert units_in({"a": "walnut in oil", "b": "12 inside"}) == set()


def test_a_job_in_inches_with_millimetre_readings_is_said():
    (notice,) = unit_notices(frozenset({"in"}), frozenset({"mm", "in"}), "in")
    assert notice.code == "mixed-units"
    assert "written in inches, while hand readings are given in millimetres" in notice.text
    assert unit_notices(frozenset({"mm"}), frozenset({"mm"}), "mm") == ()


def test_what_is_left_out_has_the_value_that_the_readme_states():
    made = read('clearance = "0.3 mm"\ncoupons = {}\nstock = {length = "1 m", width = "0.3 m"}')
    assert (made.coupons.tests, made.coupons.run, made.coupons.slip) == (TESTS, 20.0, False)
    assert (made.stock.copies, made.stock.margin, made.stock.turn) == (1, 10.0, False)
    assert (made.kind, made.above, made.sanding, made.glued) == ("firm", 0.0, 0.0, False)


def test_the_corner_of_a_border_may_be_square_and_is_not_negative():
    border = 'clearance = "0.3 mm"\nborder = {{land = "18 mm", corner = "{}"}}'
    assert read(border.format("0 mm")).border.corner == 0.0
    assert read(border.format("0.5 mm")).border.corner == 0.5
    with pytest.raises(InputError, match="too small"):
        read(border.format("-0.001 mm"))


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ('cutter = {diameter = "0.05 mm"}', "0.1 mm or more"),
        ('sanding = "11 m"', "10000.00 mm at most"),
        ('step = {inset = "0.0001 mm", deeper = "1 mm"}', "too small"),
        ('feeds = {feed = "61 m"}', "60000.00 mm at most"),
        ("notch = [" + 51 * '{side = "front"},' + "]", "there are 51"),
        ("stock = {copies = 201}", "1 to 200"),
    ],
)
def test_what_no_shop_needs_is_refused(text, match):
    with pytest.raises(InputError, match=match):
        read(f'clearance = "0.3 mm"\n{text}')


def test_no_more_than_twenty_clearances_are_planned():
    listed = ", ".join(f'"0.{n:02} mm"' for n in range(1, 22))
    with pytest.raises(InputError, match="there are 21"):
        read(f"clearance = [{listed}]")


def test_a_seat_of_nothing_above_or_below_is_flush():
    for seat in ("flush", "0 mm above", "0 mm below"):
        assert read(f'clearance = "0.3 mm"\nseat = "{seat}"').above == 0.0
    with pytest.raises(InputError, match="seat"):
        read('clearance = "0.3 mm"\nseat = "-0.1 mm above"')


def test_what_has_to_be_more_than_nothing_may_not_be_nothing():
    for value, good in (("0 mm", False), ("0.0005 mm", False), ("0.001 mm", True)):
        text = f'clearance = "0.3 mm"\nstep = {{inset = "{value}", deeper = "1 mm"}}'
        if good:
            assert read(text).step.inset == 0.001
        else:
            with pytest.raises(InputError, match="too small"):
                read(text)


def test_choices_made_without_a_job_do_nothing_that_is_not_asked_for():
    read_from_job = read('clearance = "0.25 mm"')
    assert PocketChoices((even(0.25),), written=read_from_job.written) == read_from_job
