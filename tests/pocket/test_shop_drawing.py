"""The shop sheet's drawings, by what they draw: to one scale, inside their box, sizes as cut."""

import math
from contextlib import contextmanager

import pytest
from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices

from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.pocket.plan import make_plan
from snugline.pocket.shop_drawing import Box, draw_plan, draw_section, plan_height

SLIM = {"clearance": "0.5 mm", "coupons": None, "wood": None, "notch": None, "step": None,
        "push_hole": None, "stock": {"thickness": "20 mm"}}  # fmt: skip


class Paper:
    """Takes down what is drawn; a text is two millimetres wide for each letter."""

    def __init__(self):
        self.lines, self.polygons, self.rects, self.texts, self.turned = [], [], [], [], []

    def line(self, x0, y0, x1, y1):
        self.lines.append((x0, y0, x1, y1))

    def polygon(self, points, style=None):
        self.polygons.append((list(points), style))

    def rect(self, x, y, width, height):
        self.rects.append((x, y, width, height))

    def text(self, x, y, text):
        self.texts.append((text, x, y))

    def get_string_width(self, text):
        return 2.0 * len(text)

    @contextmanager
    def rotation(self, angle, x, y):
        self.turned.append((angle, x, y))
        yield

    def __getattr__(self, name):
        return lambda *arguments, **named: None

    def place(self, text):
        (found,) = [(x, y) for t, x, y in self.texts if t == text]
        return found


def plan(part=TRAY, **changes):
    return make_plan(part, UNCERTAINTY, THICKNESS, choices(**(SLIM | changes)), part="tray")


def size(points):
    xs, ys = zip(*points, strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


@pytest.mark.parametrize(("width", "height"), [(120.0, 60.0), (60.0, 90.0)])
def test_the_view_from_above_is_to_one_scale_and_in_its_box(width, height):
    made, box, paper = plan(border=None), Box(12.0, 40.0, width, height), Paper()
    draw_plan(paper, made, made.openings[0], box)
    part, pocket = (size(points) for points, style in paper.polygons if style is None)
    # The part of 418 by 146 mm, and the pocket half a millimetre wider on each side.
    scale = min((width - 11) / 419, (height - 11) / 147)
    assert pocket == pytest.approx((419 * scale, 147 * scale), abs=0.02)
    assert part == pytest.approx((418 * scale, 146 * scale), abs=0.02)
    points = [p for points, _ in paper.polygons for p in points]
    assert min(x for x, _ in points) >= 12
    assert max(x for x, _ in points) <= 12 + width + 0.01
    assert min(y for _, y in points) >= 40 - 0.01
    assert max(y for _, y in points) <= 40 + height
    # In the middle of what the dimension's room leaves.
    xs = [x for x, _ in paper.polygons[1][0]]
    assert (min(xs) + max(xs)) / 2 == pytest.approx(12 + 11 + (width - 11) / 2, abs=0.01)
    # Dimension lines as long as what they measure, with extension lines to it.
    low, high = min(xs), max(xs)
    below = [line for line in paper.lines if line[1] == line[3] and line[0] != line[2]]
    assert any((a, b) == pytest.approx((low, high), abs=0.01) for a, _, b, _ in below)
    text = paper.place("419.00 mm")
    assert text[0] == pytest.approx((low + high - 18) / 2)
    assert text[1] > max(y for _, y in paper.polygons[1][0])
    paper.place("147.00 mm")
    paper.place("R 27.90 mm")
    assert [angle for angle, *_ in paper.turned] == [90]


def test_up_is_up_on_the_paper():
    lopsided = rounded_rectangle(200, 100, [5, 5, 40, 40])  # the front corners first
    made, paper = plan(lopsided, border=None), Paper()
    draw_plan(paper, made, made.openings[0], Box(0.0, 0.0, 120.0, 80.0))
    points = paper.polygons[1][0]
    top, bottom = min(y for _, y in points), max(y for _, y in points)
    wide = [sum(abs(y - at) < 1.0 for _, y in points) for at in (top, bottom)]
    reach = [
        max(x for x, y in points if abs(y - at) < 0.3)
        - min(x for x, y in points if abs(y - at) < 0.3)
        for at in (top, bottom)
    ]
    assert reach[0] < reach[1], wide
    assert not any(t.startswith("R ") for t, *_ in paper.texts)  # no one radius


@pytest.mark.parametrize(
    ("width", "least", "most", "height"),
    [(431.0, 10.0, 500.0, 147 + 11), (431.0, 200.0, 500.0, 200.0), (431.0, 10.0, 90.0, 90.0),
     (11 + 209.5, 10.0, 500.0, 73.5 + 11)],
)  # fmt: skip
def test_the_view_is_as_high_as_its_width_asks_for_within_limits(width, least, most, height):
    opening = plan(border=None).openings[0]
    scale = (width - 11) / 419
    expected = min(most, max(least, 147 * scale + 11))
    assert plan_height(opening, width, least, most) == pytest.approx(expected, abs=0.01)
    assert expected == pytest.approx(height, abs=0.5)


@pytest.mark.parametrize(
    ("changes", "above", "depth", "floor"),
    [
        ({}, -0.2, 9.7, 10.3),  # 0.2 mm are sanded off the face
        ({"sanding": "0 mm"}, 0.0, 9.5, 10.5),
        ({"sanding": "0 mm", "seat": "3 mm above"}, 3.0, 6.5, 13.5),
        ({"sanding": "0 mm", "seat": "2 mm below"}, -2.0, 11.5, 8.5),
        ({"sanding": "0 mm", "stock": {}}, 0.0, 9.5, None),
    ],
)
def test_the_section_s_heights_are_to_one_scale(changes, above, depth, floor):
    made, paper = plan(**changes), Paper()
    assert made.depth.pocket == pytest.approx(depth)
    draw_section(paper, made, made.openings[0], Box(100.0, 40.0, 60.0, 50.0))
    (wood,) = [points for points, style in paper.polygons if style == "DF"]
    face = min(y for _, y in wood)
    bottom = max(y for _, y in wood)
    seat = sorted({round(y, 9) for _, y in wood})[1]
    thick = 6.0 if floor is None else floor
    scale = (50 - 6) / (max(0.0, above) + depth + thick)
    assert seat - face == pytest.approx(scale * depth)
    assert bottom - seat == pytest.approx(scale * thick)
    assert bottom == pytest.approx(90.0)
    ((x, y, width, height),) = paper.rects
    # The part rests on the seat, stands above the face or below it, and keeps off the wall.
    assert y + height == pytest.approx(seat)
    assert height == pytest.approx(scale * 9.5)
    assert face - y == pytest.approx(scale * above)
    wall = sorted({round(px, 9) for px, _ in wood})[1]
    assert x == pytest.approx(wall + 1.2)
    assert x + width == pytest.approx(160.0)
    said = [f"{depth:.2f} mm"] + ([f"{floor:.2f} mm"] if floor is not None else [])
    assert [t for t, *_ in paper.texts if t.endswith(" mm")] == said
    paper.place("0.50 mm at the long sides")
    dashed = [line for line in paper.lines if line[1] == line[3] and line[2] == wall]
    assert any(line[1] == pytest.approx(face + scale * 0.2) for line in dashed) == (
        "sanding" not in changes
    )


def test_arrows_point_outwards_and_lie_on_their_line():
    made, paper = plan(border=None), Paper()
    draw_plan(paper, made, made.openings[0], Box(0.0, 0.0, 120.0, 80.0))
    arrows = [points for points, style in paper.polygons if style == "F"]
    assert len(arrows) == 4
    ends = {(round(x, 6), round(y, 6)) for x0, y0, x1, y1 in paper.lines
            for x, y in ((x0, y0), (x1, y1))}  # fmt: skip
    for tip, one, other in arrows:
        assert (round(tip[0], 6), round(tip[1], 6)) in ends
        middle = ((one[0] + other[0]) / 2, (one[1] + other[1]) / 2)
        assert math.dist(tip, middle) == pytest.approx(1.8)
        assert math.dist(one, other) == pytest.approx(0.6)
