import pytest

from snugline.errors import InputError
from snugline.pocket.species import ALONG_GRAIN, SPECIES, known_name, species
from snugline.pocket.thermal import MATERIALS, WOOD_ACROSS, WOOD_ALONG, growth, material
from snugline.pocket.wood import Climate, Timber, equilibrium_moisture, movement

# Wood Handbook, FPL-GTR-190 (2010), table 13-5: radial, tangential.
TABLE_13_5 = {
    "ash, white": (0.00169, 0.00274),
    "basswood, american": (0.00230, 0.00330),
    "beech, american": (0.00190, 0.00431),
    "birch, yellow": (0.00256, 0.00338),
    "birch, paper": (0.00219, 0.00304),
    "cherry, black": (0.00126, 0.00248),
    "maple, sugar": (0.00165, 0.00353),
    "maple, red": (0.00137, 0.00289),
    "oak, red": (0.00158, 0.00369),
    "oak, white": (0.00180, 0.00365),
    "walnut, black": (0.00190, 0.00274),
    "alder, red": (0.00151, 0.00256),
    "hickory, pecan": (0.00169, 0.00315),
    "sycamore, american": (0.00172, 0.00296),
    "butternut": (0.00116, 0.00223),
    "aspen, quaking": (0.00119, 0.00234),
}

# Wood Handbook table 4-3, shrinkage green to ovendry in %: radial, tangential.
TABLE_4_3 = {
    "ash, white": (4.9, 7.8),
    "basswood, american": (6.6, 9.3),
    "beech, american": (5.5, 11.9),
    "birch, yellow": (7.3, 9.5),
    "cherry, black": (3.7, 7.1),
    "walnut, black": (5.5, 7.8),
    "poplar, yellow": (4.6, 8.2),
    "douglas-fir, coast": (4.8, 7.6),
    "fir, white": (3.3, 7.0),
}

# Wood Handbook table 4-2: degrees F for each row of % by relative humidity.
FAHRENHEIT = (30, 40, 50, 60, 70, 80, 90, 100)
TABLE_4_2 = {
    25: (5.5, 5.5, 5.5, 5.4, 5.4, 5.3, 5.1, 5.0),
    30: (6.3, 6.3, 6.3, 6.2, 6.2, 6.1, 5.9, 5.8),
    40: (7.9, 7.9, 7.9, 7.8, 7.7, 7.6, 7.4, 7.2),
    50: (9.5, 9.5, 9.5, 9.4, 9.2, 9.1, 8.9, 8.7),
    60: (11.3, 11.3, 11.2, 11.1, 11.0, 10.8, 10.5, 10.3),
    65: (12.4, 12.3, 12.3, 12.1, 12.0, 11.7, 11.5, 11.2),
    70: (13.5, 13.5, 13.4, 13.3, 13.1, 12.9, 12.6, 12.3),
    80: (16.5, 16.5, 16.4, 16.2, 16.0, 15.7, 15.4, 15.1),
}


def board(grain="length", now=8.0, driest=6.0, dampest=11.0, wood="walnut", cut="flat sawn"):
    return Timber(species(wood), grain, cut, Climate(now), Climate(driest), Climate(dampest))


@pytest.mark.parametrize("name", TABLE_13_5)
def test_coefficients_are_the_handbook_s_to_the_printed_digits(name):
    assert (SPECIES[name].radial, SPECIES[name].tangential) == TABLE_13_5[name]


@pytest.mark.parametrize("name", TABLE_4_3)
def test_coefficients_follow_from_the_handbook_s_shrinkage(name):
    for shrinkage, got in zip(
        TABLE_4_3[name], (SPECIES[name].radial, SPECIES[name].tangential), strict=True
    ):
        assert got == pytest.approx(shrinkage / 30 / (100 - shrinkage * 20 / 30), abs=1.0e-5)


def test_the_handbook_s_worked_example_comes_out():
    # GTR-190 ch. 13: a 232 mm (9.15 in) board moves 1.7 mm (0.067 in), to 233.7 mm (9.217 in).
    assert movement(232, 0.00245, 8, 11) == pytest.approx(1.7, abs=0.05)
    assert movement(9.15, 0.00245, 8, 11) == pytest.approx(0.067, abs=0.0005)
    assert 232 + movement(232, 0.00245, 8, 11) == pytest.approx(233.7, abs=0.05)


@pytest.mark.parametrize(
    ("name", "part", "way", "start", "end", "expected"),
    [  # equation 13-2 worked by hand
        ("walnut", 100, "tangential", 6, 10, 1.096),
        ("walnut", 100, "radial", 6, 10, 0.760),
        ("maple, sugar", 100, "tangential", 6, 10, 1.412),
        ("oak, red", 100, "tangential", 6, 10, 1.476),
        ("walnut", 300, "tangential", 6, 10, 3.288),
        ("walnut", 101.6, "tangential", 9, 6, -0.835152),
    ],
)
def test_movement_is_size_times_coefficient_times_moisture(name, part, way, start, end, expected):
    assert movement(part, getattr(species(name), way), start, end) == pytest.approx(
        expected, abs=1e-6
    )


@pytest.mark.parametrize("humidity", TABLE_4_2)
def test_equilibrium_moisture_agrees_with_the_handbook_s_table(humidity):
    for fahrenheit, printed in zip(FAHRENHEIT, TABLE_4_2[humidity], strict=True):
        got = equilibrium_moisture(humidity, (fahrenheit - 32) / 1.8)
        assert got == pytest.approx(printed, abs=0.1)


@pytest.mark.parametrize(
    ("humidity", "expected"),
    [(25, 5.3602), (30, 6.1696), (40, 7.6990), (50, 9.2423), (60, 10.9649), (65, 11.9581)],
)
def test_equilibrium_moisture_at_70_f_is_the_formula_s(humidity, expected):
    assert equilibrium_moisture(humidity, 38 / 1.8) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize("moisture", [-1, 31])
def test_impossible_moisture_is_refused(moisture):
    with pytest.raises(InputError, match="outside 0 to 30"):
        movement(100, 0.002, 8, moisture)


@pytest.mark.parametrize("humidity", [-1, 101])
def test_impossible_humidity_is_refused(humidity):
    with pytest.raises(InputError, match="outside 0 to 100"):
        equilibrium_moisture(humidity, 20)


def test_an_ambiguous_or_unknown_wood_is_refused_with_the_choices():
    with pytest.raises(InputError, match="oak, european; oak, red; oak, white"):
        species("oak")
    with pytest.raises(InputError, match="no movement figures"):
        species("granite")


@pytest.mark.parametrize(
    ("name", "size", "expected"),
    [  # growth for +10 K with the tables' coefficients
        ("silicone", 300, 0.810),
        ("acrylic", 300, 0.210),
        ("aluminium", 300, 0.0693),
        ("glass", 300, 0.0270),
        ("slate", 300, 0.0240),
        ("steel", 300, 0.0345),
    ],
)
def test_thermal_growth_is_the_tables(name, size, expected):
    assert growth(size, MATERIALS[name].expansion, 10) == pytest.approx(expected, abs=1e-9)


def test_silicone_outgrows_the_wood_around_it():
    silicone = MATERIALS["silicone"].expansion
    assert growth(300, silicone - WOOD_ALONG, 10) == pytest.approx(0.7965)
    assert growth(100, silicone - WOOD_ACROSS, 10) == pytest.approx(0.238)


def test_an_unknown_material_is_refused_with_the_choices():
    with pytest.raises(InputError, match="silicone"):
        material("unobtainium")


# DIN 68100, total shrinkage in %, radial and tangential, least to greatest, as printed in the
# manual of a moisture meter (T2000, table 6).
DIN_68100 = {
    "oak, european": ((4.0, 4.6), (7.8, 10.0)),
    "beech, european": ((5.8, 5.8), (11.8, 11.8)),
    "larch, european": ((3.3, 4.3), (7.8, 10.4)),
}


@pytest.mark.parametrize("name", DIN_68100)
def test_european_woods_lie_within_the_standard_s_range(name):
    found = SPECIES[name]
    for got, limits in zip((found.radial, found.tangential), DIN_68100[name], strict=True):
        low, high = (s / 30 / (100 - s * 20 / 30) for s in limits)
        assert low - 1e-9 <= got <= high + 1e-9


def test_sheet_goods_move_as_published():
    # EWPAA, Facts about particleboard and MDF: 9 to 12 % moisture is 1 mm for a metre.
    assert movement(1000, SPECIES["mdf"].along, 9, 12) == pytest.approx(1.0, abs=0.02)
    # Forest Products Research Laboratory, 5 mm three-ply, 7 to 20 %: 0.18 % along, 0.27 % across.
    ply = SPECIES["plywood"]
    assert movement(100, ply.along, 7, 20) == pytest.approx(0.18)
    assert movement(100, ply.tangential, 7, 20) == pytest.approx(0.27)
    assert known_name("plywood, birch") == "plywood"


def test_turning_a_piece_exchanges_its_axes():
    made = board()
    assert made.turned().coefficient("length") == made.coefficient("width")
    assert made.turned().turned() == made


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [  # 1e-6 / K, from memory of general tables (CRC Handbook and data sheets of makers)
        ("acrylic", 50, 90),
        ("aluminium", 22, 24),
        ("borosilicate glass", 3, 4),
        ("ceramic", 4, 8),
        ("cork", 100, 200),
        ("glass", 8, 10),
        ("granite", 5, 9),
        ("marble", 5, 12),
        ("rubber", 70, 230),
        ("silicone", 200, 400),
        ("slate", 6, 12),
        ("steel", 10, 13),
    ],
)
def test_every_material_grows_as_general_tables_say(name, low, high):
    found = MATERIALS[name]
    assert low <= found.expansion * 1e6 <= high
    assert found.least <= found.expansion <= found.greatest


def test_wood_moves_little_along_the_grain():
    # 0.1 to 0.2 % from green to ovendry (GTR-190, chapter 4), over 30 % of moisture.
    assert 0.001 / 30 < ALONG_GRAIN < 0.002 / 30
    assert movement(1000, ALONG_GRAIN, 6, 12) == pytest.approx(0.3, abs=0.1)
