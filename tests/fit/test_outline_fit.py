"""Whole outlines from made contours and readings: recovered, told apart, contradictions named."""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_contours import section

from snugline.errors import FitError, InputError
from snugline.fit.corners.corner_families import ARC, CHAMFER, FREE, SQUARE, SUPERELLIPSE
from snugline.fit.family_fit import fit_family
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.reading import Reading
from snugline.fit.section import Section, Systematic, outward_normals
from snugline.fit.shapes.outline_families import (
    GROUPS,
    circle,
    ellipse,
    rectangle,
    regular_polygon,
    stadium,
)
from snugline.fit.shapes.sided_shape import SIDES, Shape

PHOTOS = Path(__file__).parents[2].parent / "shared" / "photos"
ROUNDED = "rounded rectangle"
COMMON = Systematic(0.02, 2e-4, 2e-4, "sheet")
TAPE = Reading("length", (418.0,), "tape", step_mm=0.5)
CALIPER = Reading("width", (118.5,), "caliper")


def end(outline, shows, seed, name=None, **settings):
    rng = np.random.default_rng(seed)
    turn = rng.uniform(-0.08, 0.08) + (math.pi if shows == "left end" else 0)
    usual = {"correlation": 0.5, "systematic": COMMON, "pitch": 0.5, "turn": turn}
    return section(outline, shows, rng, name=name or f"{shows}.jpg", **(usual | settings))


def both_ends(outline, seed=1, **settings):
    return [
        end(outline, shows, seed + i, **settings)
        for i, shows in enumerate(("left end", "right end"))
    ]


def codes(fitted):
    """Codes of all remarks but that on a length which one tape alone gives, as here by most."""
    return [notice.code for notice in fitted.notices if notice.code != "one-reading"]


def holds(quantity, true):
    return abs(quantity.value - true) <= quantity.u95


PANEL = rounded_rectangle(418, 118.5, 27.4)


def test_two_ends_and_two_readings_give_the_whole_outline():
    fitted = fit_outline(both_ends(PANEL), [TAPE, CALIPER])
    assert fitted.family == "rounded rectangle"
    assert codes(fitted) == []
    assert holds(fitted.length, 418)
    assert holds(fitted.width, 118.5)
    assert fitted.length.sources == ("tape",)
    assert set(fitted.width.sources) == {"photo", "caliper"}
    # The tape's limit from its hook and its step: nothing else says anything of the length.
    assert fitted.length.u95 == pytest.approx(1.959964 * math.hypot(0.404145, 0.144338), rel=1e-3)
    assert [c.at for c in fitted.corners] == [
        "front left",
        "front right",
        "back right",
        "back left",
    ]
    for corner in fitted.corners:
        assert corner.seen
        assert corner.family == corner.ranking[0][0] == "arc"
        assert holds(corner.params["radius"], 27.4)
        assert corner.params["radius"].u95 < 0.06
    assert len(fitted.outline.segments) == 8
    assert fitted.residual_rms == pytest.approx(0.03, abs=0.004)


def test_a_family_whose_outline_cannot_be_drawn_is_passed_over(monkeypatch):
    """As where a corner that was left free turns round itself."""
    drawn = Shape.to_outline

    def to_outline(shape, *args):
        if shape.family in ("superellipse rectangle", "elliptical-cornered rectangle"):
            raise FitError("is no arc", "outline, segment 5", "give a sweep within one turn")
        return drawn(shape, *args)

    monkeypatch.setattr(Shape, "to_outline", to_outline)
    fitted = fit_outline(both_ends(PANEL), [TAPE, CALIPER])
    assert fitted.family == ROUNDED
    assert holds(fitted.width, 118.5)


def test_poses_lay_the_contours_on_the_outline():
    sections = both_ends(PANEL)
    fitted = fit_outline(sections, [TAPE], ROUNDED)
    for given, found in zip(sections, fitted.sections, strict=True):
        matrix = found.part_from_frame
        assert np.abs(given.points @ matrix[:, :2].T + matrix[:, 2] - found.points).max() < 1e-9
        away = (found.points[:, 0] > 0) == (given.shows == "right end")
        assert away.all()
        assert np.abs(found.residuals).max() < 0.2
        assert found.kept.mean() > 0.98


def test_a_part_seen_whole_needs_no_reading():
    card = rounded_rectangle(87, 57, 3.5)
    view = end(card, "whole", 4, pitch=0.15)
    fitted = fit_outline([view])
    assert fitted.family == "rounded rectangle"
    assert holds(fitted.length, 87)
    assert holds(fitted.width, 57)
    assert fitted.length.sources == ("photo",)
    assert holds(fitted.corners[0].params["radius"], 3.5)
    assert fitted.length.u95 < 0.2
    own = fit_outline([view], family=ROUNDED, symmetry="none")
    assert all(holds(corner.params["radius"], 3.5) for corner in own.corners)


def test_a_part_lying_across_the_frame_has_its_length_found():
    view = end(rounded_rectangle(87, 57, 3.5), "whole", 4)
    turned = Section(
        view.name, "whole", view.points @ np.array([[0, 1], [-1, 0]]), view.noise, True
    )
    assert fit_outline([turned], family=ROUNDED).length.value == pytest.approx(87, abs=0.1)


@pytest.mark.parametrize(
    ("shape", "params", "family"),
    [
        (rectangle([CHAMFER]), [418, 118.5, 17.5], "chamfered rectangle"),
        (rectangle([SUPERELLIPSE]), [418, 118.5, 40, 2.7], "superellipse rectangle"),
        (stadium(), [418, 118.5], "stadium"),
        (rectangle([ARC, CHAMFER], GROUPS["lengthwise"]), [418, 118.5, 20, 15], "mixed rectangle"),
    ],
)
def test_families_are_told_apart(shape, params, family):
    outline = shape.to_outline(np.array(params), tolerance=1e-4)
    symmetry = "lengthwise" if family == "mixed rectangle" else "both"
    fitted = fit_outline(both_ends(outline), [TAPE, CALIPER], symmetry=symmetry)
    assert fitted.family == family
    assert holds(fitted.width, 118.5)
    # In the order of `corners`: front left, front right, back right, back left.
    found = [list(c.params.values()) for c in fitted.corners]
    if family == "mixed rectangle":
        assert holds(found[2][0], 20)
        assert holds(found[0][0], 15)
    elif family != "stadium":
        for quantity, true in zip(found[0], params[2:], strict=True):
            assert holds(quantity, true)


def test_sharp_corners_get_no_radius():
    fitted = fit_outline(both_ends(rounded_rectangle(418, 118.5, 0.0)), [TAPE])
    assert fitted.family == "rectangle"
    assert fitted.corners[0].params == {}
    assert len(fitted.outline.segments) == 4


@pytest.mark.parametrize(("shape", "params"), [(circle(), [120.0]), (ellipse(), [200.0, 120.0])])
def test_outlines_without_sides_are_found(shape, params):
    outline = shape.to_outline(np.array(params), tolerance=1e-4)
    fitted = fit_outline([end(outline, "whole", 5, systematic=Systematic(), pitch=0.5)])
    assert fitted.family == shape.family
    assert holds(fitted.width, 120)
    assert holds(fitted.length, params[0])
    assert fitted.corners == ()


@pytest.mark.parametrize(("sides", "radius"), [(3, 0.0), (6, 8.0), (8, 0.0)])
def test_regular_polygons_are_found(sides, radius):
    shape = regular_polygon(sides, ARC if radius else SQUARE)
    outline = shape.to_outline(np.array([50.0, radius][: len(shape.names)]))
    fitted = fit_outline([end(outline, "whole", 6, turn=0.7)])
    assert fitted.family == "regular polygon"
    assert len(fitted.corners) == sides
    assert fitted.budget("inradius").value == pytest.approx(50, abs=fitted.budget("inradius").u95)
    assert fitted.corners[0].family == ("arc" if radius else "square")
    if radius:
        assert holds(fitted.corners[0].params["radius"], radius)


@pytest.mark.parametrize("symmetry", ["both", "lengthwise"])
def test_corners_of_no_named_family_are_followed_by_lines_and_arcs(symmetry):
    bends = [20, 28, -9, -6, 18, 14]  # hollow in the middle, steeper at the end
    count = max(GROUPS[symmetry]) + 1
    shape = rectangle([FREE] * count, GROUPS[symmetry])
    true = shape.to_outline(np.array([418, 118.5, *bends * count]))
    fitted = fit_outline(both_ends(true), [TAPE, CALIPER], symmetry=symmetry)
    assert fitted.family == "free-cornered rectangle"
    assert codes(fitted) == []
    assert holds(fitted.width, 118.5)
    assert [corner.family for corner in fitted.corners] == ["free"] * 4
    assert fitted.corners[0].params == {}  # its bends are no sizes
    assert all(not budget.of.startswith("bend") for budget in fitted.budgets)
    assert np.abs(signed_distance(true, fitted.outline.sampled(0.5))).max() < 0.15
    assert len(fitted.outline.segments) == 4 + 4 * len(bends)


def test_a_view_that_is_not_named_is_turned_to_where_it_fits():
    ends = rounded_rectangle(418, 118.5, [20, 32, 32, 20])  # the left corners 20, the right 32
    named = [end(ends, "left end", 1), end(ends, "right end", 2)]
    unnamed = [named[0], replace(named[1], shows="section")]
    fitted = fit_outline(unnamed, [TAPE, CALIPER], ROUNDED, "lengthwise")
    assert fitted.sections[1].points[:, 0].mean() > 0
    assert holds(fitted.corners[1].params["radius"], 32)


def test_four_corner_photos_with_two_readings_give_two_radii():
    outline = rounded_rectangle(531, 262.5, [19.6, 38.2, 38.2, 19.6])  # from front left on
    names = ("front left corner", "front right corner", "back right corner", "back left corner")
    views = [end(outline, shows, 20 + i, turn=1.5 * i, name=shows) for i, shows in enumerate(names)]
    readings = [Reading("length", (531.0,), "tape"), Reading("width", (262.5,), "caliper")]
    fitted = fit_outline(views, readings, ROUNDED, "lengthwise")
    radii = [corner.params["radius"] for corner in fitted.corners]
    for quantity, true in zip(radii, (19.6, 38.2, 38.2, 19.6), strict=True):
        assert holds(quantity, true)
    assert fitted.width.sources == ("caliper",)
    # Told to be alike, they are found to differ, and fitted apart.
    for family in (ROUNDED, "auto"):
        told = fit_outline(views, readings, family, symmetry="both")
        assert "corners-differ" in codes(told)
        assert all(corner.ranking[0][0] == "arc" for corner in told.corners)
    assert holds(told.corners[0].params["radius"], 19.6)
    assert holds(told.corners[1].params["radius"], 38.2)


def test_one_end_is_mirrored_to_the_other():
    fitted = fit_outline([end(PANEL, "left end", 7)], [TAPE], ROUNDED)
    assert [corner.seen for corner in fitted.corners] == [True, False, False, True]
    assert fitted.corners[1].params["radius"].value == fitted.corners[0].params["radius"].value
    assert "corner-not-seen" not in codes(fitted)
    alone = fit_outline([end(PANEL, "left end", 7)], [TAPE], ROUNDED, "lengthwise")
    assert codes(alone).count("corner-not-seen") == 2


def test_a_wrong_reading_is_named_and_left_out():
    wrong = Reading("width", (119.5,), "caliper", where="job.toml, reading 2")
    fitted = fit_outline(both_ends(PANEL), [TAPE, wrong], ROUNDED)
    (notice,) = (n for n in fitted.notices if n.code == "reading-contradicted")
    assert "119.50 mm cannot be right: all other observations give 118.4" in notice.text
    assert str(notice.about) == "job.toml, reading 2"
    assert holds(fitted.width, 118.5)
    assert fitted.width.sources == ("photo",)


def test_of_two_tapes_that_disagree_neither_is_believed():
    other = Reading("length", (424.0,), "old tape", step_mm=0.5)
    fitted = fit_outline(both_ends(PANEL), [TAPE, other], ROUNDED)
    (notice,) = (n for n in fitted.notices if n.code == "reading-contradicted")
    assert "read as 418.00 mm and as 424.00 mm: one of them cannot be right" in notice.text
    assert fitted.length.u95 > 3
    third = Reading("length", (417.8,), "steel tape", step_mm=0.5)
    fitted = fit_outline(both_ends(PANEL), [TAPE, other, third], ROUNDED)
    assert "reading-contradicted" in codes(fitted)
    assert holds(fitted.length, 418)


def test_a_length_that_one_reading_alone_gives_asks_for_a_second():
    one = fit_outline(both_ends(PANEL), [TAPE, CALIPER], ROUNDED)
    (notice,) = one.notices
    assert notice.code == "one-reading"
    assert "length" in notice.text
    other = Reading("length", (418.2,), "steel tape", step_mm=0.5)
    assert fit_outline(both_ends(PANEL), [TAPE, other, CALIPER], ROUNDED).notices == ()


def test_a_photo_that_disagrees_is_named():
    bad = end(rounded_rectangle(418, 119.5, 27.4), "left end", 9, name="moved.jpg")
    fitted = fit_outline([*both_ends(PANEL), bad], [TAPE])
    (notice,) = (n for n in fitted.notices if n.code == "photo-disagrees")
    assert "it was not used" in notice.text
    assert str(notice.about) == "moved.jpg"
    assert holds(fitted.width, 118.5)
    assert len(fitted.sections) == 2


@pytest.mark.parametrize(
    ("term", "true", "code"),
    [("sag back", 0.6, "side-bowed"), ("taper", 0.004, "sides-not-parallel")],
)
def test_sides_that_are_not_straight_or_parallel_are_reported(term, true, code):
    shape = rectangle([ARC]).with_terms((term,))
    outline = shape.to_outline(np.array([418, 118.5, 27.4, true]))
    fitted = fit_outline(both_ends(outline), [TAPE])
    assert codes(fitted) == [code]
    assert list(fitted.extras) == [term]
    # Of a bow what stands between the corners.
    shown = true * (1 - 2 * 27.4 / 418) ** 2 if term.startswith("sag") else true
    assert holds(fitted.extras[term], shown)
    assert holds(fitted.corners[0].params["radius"], 27.4)


def test_a_deep_bow_between_the_corners_asks_for_a_straightedge():
    # A tape touches where the corners begin: 281.3 mm, not 282.9 mm as at corners without a radius.
    shape = rectangle([ARC]).with_terms(("sag right",))
    params = np.array([282.9, 100.0, 29.0, -1.9])
    outline = shape.to_outline(params)
    left, _, right, _ = outline.bounds
    tape = replace(TAPE, values_mm=(round(2 * (right - left)) / 2,))
    fitted = fit_outline(both_ends(outline), [tape], ROUNDED)
    (bowed,) = (n for n in fitted.notices if n.code == "side-bowed")
    assert holds(fitted.length, right - left)
    assert right - left < 281.4
    assert bowed.severity == "usable"
    assert "straightedge" in str(bowed.mend)
    assert "0.33 mm" in str(bowed.text)  # 1.9 mm times (1 - 2 x 29 / 100)^2
    assert holds(fitted.extras["sag right"], -1.9 * 0.42**2)
    low, _, high, _ = fitted.outline.bounds
    assert high - low == pytest.approx(right - left, abs=fitted.length.u95)


def test_bows_too_small_to_be_taken_in_stay_in_the_radius_s_budget():
    shape = rectangle([ARC]).with_terms([f"sag {side}" for side in SIDES])
    for sag, expected in ((0.08, True), (0.0, False)):
        outline = shape.to_outline(np.array([418, 118.5, 27.4, *[sag] * 4]), tolerance=1e-4)
        fitted = fit_outline(both_ends(outline), [TAPE, CALIPER], ROUNDED)
        assert fitted.extras == {}
        parts = {part.source: part.u for part in fitted.budget("radius").contributions}
        assert (parts.get("form of the sides", 0.0) > 0.02) is expected
        # All around the radius looks larger by about 0.07 mm, twice what noise and offset explain.
        assert holds(fitted.corners[0].params["radius"], 27.4)


def test_what_bows_of_the_seen_sides_say_counts_for_the_middle_that_no_photo_shows():
    shape = rectangle([ARC]).with_terms([f"sag {side}" for side in SIDES])
    quiet = {"systematic": Systematic(), "reach": 90.0}
    stated = []
    for sag in (0.05, 0.0):
        outline = shape.to_outline(np.array([418, 118.5, 27.4, *[sag] * 4]), tolerance=1e-4)
        fitted = fit_outline(both_ends(outline, **quiet), [TAPE], ROUNDED)
        true = shape.dimension("width", np.array([418, 118.5, 27.4, *[sag] * 4]))[0]
        assert holds(fitted.width, true)
        stated.append(fitted.width.u95)
    assert stated[0] > 5 * stated[1]


def test_a_wave_of_less_than_a_tenth_is_not_drawn_out_to_a_bow_of_the_whole_side():
    # 0.09 mm over the 120 mm seen is as a bow of 1 mm over the side's 418 mm.
    view = end(PANEL, "right end", 6, turn=0.0, systematic=Systematic(), sigma=0.02)
    x, y = view.points.T
    front = y < y.min() + 1.0
    along = (x - x[front].mean()) / np.ptp(x[front]) * 2
    bent = view.points + np.column_stack([0 * x, np.where(front, 0.09 * along**2, 0.0)])
    fitted = fit_outline([replace(view, points=bent)], [TAPE], ROUNDED)
    assert fitted.extras == {}
    assert holds(fitted.width, 118.5)
    # Nor is it forgotten: it may be one.
    parts = {part.source: part.u for part in fitted.budget("width").contributions}
    assert parts["form of the sides"] > 0.05


def test_one_stretch_beyond_a_gap_is_not_drawn_out_to_sides_that_are_not_parallel():
    # 13 mm at the far end of the front side lie 0.3 mm off, with 24 mm lost before them.
    view = end(PANEL, "right end", 6, turn=0.0, systematic=Systematic(), sigma=0.02)
    x, y = view.points.T
    front, from_end = y < y.min() + 1.0, x - x.min()
    stray, lost = front & (from_end < 13.0), front & (from_end > 13.0) & (from_end < 37.0)
    moved = view.points + np.column_stack([0 * x, np.where(stray, -0.3, 0.0)])
    noise = np.where(stray, 0.07, view.noise)
    kept = {"points": moved[~lost], "noise": noise[~lost]}
    breaks = (int(np.flatnonzero(lost)[0]),)
    fitted = fit_outline([replace(view, breaks=breaks, **kept)], [TAPE], ROUNDED)
    assert fitted.extras == {}
    assert holds(fitted.width, 118.5)
    assert fitted.width.u95 < 0.5


@pytest.mark.parametrize("taper", [0.0015, 0.004])
def test_sides_out_of_parallel_seen_at_one_end_alone_are_no_bows(taper):
    # Near one end a bow of each side looks much like it, and makes another width of mid-part.
    shape = rectangle([ARC]).with_terms(("taper",))
    outline = shape.to_outline(np.array([418, 118.5, 27.4, taper]))
    for seed in (100, 101):
        quiet = {"correlation": 3.0, "sigma": 0.03}
        fitted = fit_outline([end(outline, "right end", seed, **quiet)], [TAPE], ROUNDED)
        assert not any(name.startswith("sag") for name in fitted.extras)
        assert holds(fitted.width, 118.5)
        assert fitted.width.u95 < 1.0
        told = [n for n in fitted.notices if n.code == "sides-not-parallel"]
        assert [n.severity for n in told] == ["usable"] * len(fitted.extras)
        assert all("seen at one end alone" in n.text for n in told)


def test_a_corner_with_a_rougher_edge_has_a_less_certain_radius():
    view = end(rounded_rectangle(87, 57, 3.5), "whole", 4, pitch=0.15, turn=0.0)
    away = np.hypot(*(view.points - view.points.min(axis=0)).T)
    rough = np.random.default_rng(3).normal(0, 0.07, (len(away), 2)) * (away < 8)[:, None]
    fitted = fit_outline(
        [replace(view, points=view.points + rough)], family=ROUNDED, symmetry="none"
    )
    front_left, *others = (corner.params["radius"] for corner in fitted.corners)
    assert front_left.u95 > 1.5 * max(radius.u95 for radius in others)
    assert holds(front_left, 3.5)
    assert all(holds(radius, 3.5) for radius in others)


def lifted_corner(size):
    """A small card seen whole, the contour about its front left corner moved out by `size` mm."""
    view = end(rounded_rectangle(87, 57, 3.5), "whole", 4, pitch=0.15, turn=0.0)
    away = np.hypot(*(view.points - view.points.min(axis=0)).T)
    out = -np.array([1, 1]) / math.sqrt(2) * size
    return replace(view, points=view.points + np.exp(-((away / 12) ** 4))[:, None] * out)


def test_a_stretch_that_alone_determines_a_radius_is_not_cut():
    fitted = fit_outline([lifted_corner(0.15)], family=ROUNDED, symmetry="none")
    (section_found,) = fitted.sections
    assert section_found.kept.mean() > 0.99
    assert all(holds(corner.params["radius"], 3.5) for corner in fitted.corners)


def test_of_a_stretch_that_is_not_cut_the_gross_outliers_are():
    lifted = lifted_corner(0.15)
    points = lifted.points.copy()
    gross = np.flatnonzero(np.hypot(*(points - points.min(axis=0)).T) < 4)[::3]
    points[gross] += 1.5  # some 50 standard deviations, inwards over the diagonal
    fitted = fit_outline([replace(lifted, points=points)], family=ROUNDED, symmetry="none")
    (section_found,) = fitted.sections
    assert len(gross) >= 3
    assert not section_found.kept[gross].any()
    assert section_found.kept.mean() > 0.95


@pytest.mark.parametrize(("radius", "lost", "sharp"), [(1.0, 1.1, True), (10.0, 11.0, False)])
def test_small_radii_that_no_photo_shows_are_as_good_as_none(monkeypatch, radius, lost, sharp):
    outline = rounded_rectangle(418, 118.5, radius)
    views = []
    for shows, turn in (("right end", 0.0), ("left end", math.pi)):
        view = end(outline, shows, 6, turn=turn, sigma=0.02)
        low, high = view.points.min(axis=0), view.points.max(axis=0)
        tips = np.array([low, high, [low[0], high[1]], [high[0], low[1]]])
        away = np.hypot(*(view.points[:, None] - tips).T).min(axis=0)
        kept = np.flatnonzero(away > lost)
        breaks = tuple(int(i) for i in np.flatnonzero(np.diff(kept) > 1) + 1)
        views.append(replace(view, points=view.points[kept], noise=view.noise[kept], breaks=breaks))
    # By chance the rounded rectangle was found likelier.
    monkeypatch.setattr(
        "snugline.fit.outline_fit.fit_family",
        lambda measured, rows, family, symmetry: fit_family(
            measured, rows, ROUNDED if family == "auto" else family, symmetry
        ),
    )
    fitted = fit_outline(views, [TAPE, CALIPER])
    assert (fitted.family == "rectangle") == sharp
    assert ("dimension-not-observed" in codes(fitted)) != sharp


def test_a_radius_that_rests_on_nothing_says_so():
    fitted = fit_outline([lifted_corner(3.0)], family=ROUNDED, symmetry="none")
    notices = {notice.code: notice for notice in fitted.notices}
    assert str(notices["dimension-not-observed"].about) == "radius front left"
    assert notices["dimension-not-observed"].severity == "retake"
    front_left, *others = fitted.corners
    assert front_left.params == {}  # a guess does not count as a result
    assert all(budget.of != "radius front left" for budget in fitted.budgets)
    assert max(corner.params["radius"].u95 for corner in others) < 0.5


def test_common_errors_of_a_sheet_are_not_taken_for_shape():
    scale = (3e-4, -2e-4)
    sections = both_ends(PANEL, offset=0.03, scale=scale)
    fitted = fit_outline(sections, [TAPE], ROUNDED)
    assert "edge offset" in [part.source for part in fitted.budget("radius").contributions]
    assert holds(fitted.corners[0].params["radius"], 27.4)
    assert holds(fitted.width, 118.5)
    # A caliper reading of the width takes most of the offset out of the radius.
    better = fit_outline(sections, [TAPE, CALIPER], ROUNDED)
    assert better.corners[0].params["radius"].u95 < fitted.corners[0].params["radius"].u95


@pytest.mark.parametrize("seed", [1, 3, 5])
def test_the_points_noise_says_nothing_of_the_scale(seed):
    # A smaller scale would shrink all residuals: taken for a better fit, it once made the photos
    # disagree. That the arcs are round makes the two scales alike, and their mean is known better.
    sheet = Systematic(0.0, 2e-3, 2e-3, "sheet")
    sections = both_ends(PANEL, seed, correlation=0.0, systematic=sheet)
    fitted = fit_outline(sections, [TAPE], ROUNDED)
    assert codes(fitted) == []
    assert fitted.width.u95 == pytest.approx(1.96 * 118.5 * 2e-3 / math.sqrt(2), rel=0.1)
    assert abs(fitted.width.value - 118.5) < 0.4 * fitted.width.u95


def test_contours_without_noise_contradict_nothing():
    sections = both_ends(PANEL, sigma=3e-5)
    fitted = fit_outline(sections, [TAPE, CALIPER], ROUNDED)
    assert codes(fitted) == []
    assert fitted.width.value == pytest.approx(118.5, abs=1e-3)


def test_the_budget_says_what_a_further_reading_would_gain():
    fitted = fit_outline(both_ends(PANEL), [TAPE], ROUNDED)
    length, width = fitted.budget("length"), fitted.budget("width")
    assert length.contributions[0].source.startswith("tape")
    assert length.u == pytest.approx(fitted.length.u95 / 1.959964, rel=1e-6)
    gains = {gain.by: gain.u95 for gain in length.gains}
    assert gains["a second reading of the length with another tape"] < 0.8 * length.u95
    # Foretold and then done: another tape's reading, as good as the first.
    added = fit_outline(
        both_ends(PANEL), [TAPE, Reading("length", (418.0,), "b tape", step_mm=1.0)]
    )
    assert added.length.u95 == pytest.approx(
        gains["a second reading of the length with another tape"], rel=0.05
    )
    assert any("caliper" in gain.by for gain in width.gains)


def test_outliers_do_not_move_the_outline():
    clean = both_ends(PANEL)
    rng = np.random.default_rng(3)
    dirty = []
    for view in clean:
        points = view.points.copy()
        points[rng.random(len(points)) < 0.08] += rng.normal(0, 2, 2)
        points[100:140] += [0.5, 0.5]  # a burr
        dirty.append(Section(view.name, view.shows, points, view.noise, systematic=COMMON))
    fitted, before = (fit_outline(views, [TAPE], ROUNDED) for views in (dirty, clean))
    assert fitted.width.value == pytest.approx(before.width.value, abs=0.02)
    assert fitted.corners[0].params["radius"].value == pytest.approx(27.4, abs=0.06)
    assert codes(fitted).count("points-left-out") == 2


def test_an_edge_that_is_off_by_its_direction_is_a_doubt_of_the_radius():
    # Outwards along the sides and inwards round the corners, by waves as large as stated.
    views = []
    for view in both_ends(PANEL, sigma=0.01):
        normal = outward_normals(view.points)
        wave = 0.02 * np.cos(4 * np.arctan2(normal[:, 1], normal[:, 0]))
        views.append(replace(view, points=view.points + wave[:, None] * normal))
    stated = [replace(v, systematic=replace(COMMON, directional=0.02)) for v in views]
    told, untold = (fit_outline(v, [TAPE], ROUNDED).corners[0] for v in (stated, views))
    assert abs(told.params["radius"].value - 27.4) < told.params["radius"].u95
    assert abs(untold.params["radius"].value - 27.4) > untold.params["radius"].u95


def test_what_a_tracer_leaves_along_an_edge_is_not_taken_for_a_change_with_its_direction():
    rng = np.random.default_rng(5)
    view = section(PANEL, "right end", rng, sigma=0.03, correlation=15.0, systematic=COMMON)
    stated = replace(view, systematic=replace(COMMON, directional=0.03))
    told, untold = (fit_outline([v], [TAPE], ROUNDED) for v in (stated, view))
    for one, other in (
        (told.width, untold.width),
        (told.corners[0].params["radius"], untold.corners[0].params["radius"]),
    ):
        assert one.value == pytest.approx(other.value, abs=0.04)
        assert one.u95 > other.u95


@pytest.mark.parametrize(("off_mm", "told"), [(0.04, 0), (0.4, 2)])
def test_points_left_out_are_spoken_of_where_they_lie_off_by_what_matters(off_mm, told):
    views = []
    for view in both_ends(PANEL, sigma=0.003):
        points = view.points.copy()
        points[np.random.default_rng(3).random(len(points)) < 0.08] += off_mm / 2**0.5
        views.append(Section(view.name, view.shows, points, view.noise, systematic=COMMON))
    assert codes(fit_outline(views, [TAPE], ROUNDED)).count("points-left-out") == told


def test_nothing_that_gives_the_length_is_an_error_with_a_mend():
    with pytest.raises(FitError, match="the length is not determined") as caught:
        fit_outline(both_ends(PANEL))
    assert "reading of the length" in caught.value.mend
    with pytest.raises(FitError):
        fit_outline([])
    short = Section("tiny.jpg", "left end", np.zeros((5, 2)), np.full(5, 0.03))
    with pytest.raises(FitError, match=r"tiny\.jpg"):
        fit_outline([short], [TAPE])
    with pytest.raises(InputError, match="trapezium"):
        fit_outline(both_ends(PANEL), [TAPE], family="trapezium")


def test_a_listed_size_is_compared_and_never_used():
    with_it = fit_outline(both_ends(PANEL), [TAPE], ROUNDED, listed=(410.0, 118.0))
    assert "listed-size-differs" not in codes(with_it)
    far = fit_outline(both_ends(PANEL), [TAPE], ROUNDED, listed=(460.0, 118.0))
    assert codes(far) == ["listed-size-differs"]
    assert far.length.value == with_it.length.value


def test_the_result_is_the_contracts_outline_object():
    record = fit_outline(both_ends(PANEL), [TAPE, CALIPER], ROUNDED).as_json()
    assert list(record) == ["family", "length", "width", "corners", "segments", "residual_rms",
                            "residual_max"]  # fmt: skip
    assert record["length"]["from"] == ["tape"]
    corner = record["corners"][0]
    assert corner["at"] == "front left"
    assert set(corner) == {"at", "family", "radius", "seen", "ranking"}
    assert {"value", "u95"} <= set(corner["radius"])
    kinds = [segment["kind"] for segment in record["segments"]]
    assert kinds.count("line") == kinds.count("arc") == 4
    json.dumps(record, allow_nan=False)


def cut_to_window(case, seed=0):
    """The true outlines of a rendered case as its photos' windows show them, with noise."""
    folder = PHOTOS / case
    truth = json.loads((folder / "truth.json").read_text())
    frame = json.loads((folder / "frame.json").read_text())
    scale = [truth["print_scale"]["x"], truth["print_scale"]["y"]]
    window = np.array(frame["window"], dtype=float) * scale
    low, high = window.min(axis=0) + 3, window.max(axis=0) - 3
    rng = np.random.default_rng(seed)
    views = {"+x": "right end", "-x": "left end", "+x+y": "back right corner",
             "-x+y": "back left corner", "-x-y": "front left corner",
             "+x-y": "front right corner"}  # fmt: skip
    sections = []
    for photo in truth["photos"]:
        loop = np.array(photo["bottom_outline"])
        inside = np.all((loop > low) & (loop < high), axis=1)
        first = int(np.flatnonzero(inside & ~np.roll(inside, 1))[0])
        points = np.roll(loop, -first, axis=0)[np.roll(inside, -first)]
        way = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        at = np.arange(0, way[-1], 0.5)
        points = np.column_stack([np.interp(at, way, points[:, i]) for i in (0, 1)])
        along = np.gradient(points, axis=0)
        normal = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
        points = points + 0.03 * rng.normal(size=(len(points), 1)) * normal
        sections.append(Section(photo["file"], views[photo["view"]], points,
                                np.full(len(points), 0.03), systematic=COMMON))  # fmt: skip
    steps = {"1/16 in": 25.4 / 16, "0.5 mm": 0.5}
    readings = [
        Reading(r["what"], (r["value"] * (25.4 if r["unit"] == "in" else 1),), r["tool"],
                step_mm=steps.get(r.get("graduation", "")))
        for r in json.loads((folder / "readings.json").read_text())["readings"]
        if r["what"] in ("length", "width")
    ]  # fmt: skip
    return truth, sections, readings


CASES = [
    ("basalt-panel-two-ends", "both", "rounded rectangle", {"radius": "R"}),
    ("steel-plate-same-phone", "both", "rounded rectangle", {"radius": "R"}),
    ("birch-tray-bent-sheet", "both", "rounded rectangle", {"radius": "R"}),
    ("stone-slab-four-corners", "lengthwise", "rounded rectangle", {"radius": "R"}),
    ("white-plate-chamfered", "both", "chamfered rectangle", {"leg": "C"}),
    ("satin-tile-sharp-corners", "both", "rectangle", {}),
    ("maple-board-round-ends", "both", "stadium", {}),
    ("porcelain-dish-dark-window", "both", "stadium", {}),
    ("gloss-tray-plain-frame", "both", "superellipse rectangle", {"size": "S", "exponent": "N"}),
]


@pytest.mark.skipif(not PHOTOS.is_dir(), reason="the rendered photos are not beside the repository")
@pytest.mark.parametrize(("case", "symmetry", "family", "own"), CASES)
def test_rendered_parts_are_recovered_from_their_true_contours(case, symmetry, family, own):
    truth, sections, readings = cut_to_window(case)
    fitted = fit_outline(sections, readings, symmetry=symmetry)
    true = truth["outline"]
    assert fitted.family == family
    assert holds(fitted.length, true["L"])
    assert holds(fitted.width, true["W"])
    assert fitted.width.value == pytest.approx(true["W"], abs=0.15)
    for name, key in own.items():
        radii = true[key] if isinstance(true[key], list) else [true[key]] * 4
        # The truth counts from back right on; `corners` from front left.
        for corner, value in zip(fitted.corners, radii[2:] + radii[:2], strict=True):
            assert abs(corner.params[name].value - value) <= max(corner.params[name].u95, 0.01)
            assert corner.params[name].value == pytest.approx(value, abs=0.15)


def test_free_corners_can_be_asked_for():
    readings = [Reading("length", (420.0,), "tape"), Reading("width", (120.0,), "caliper")]
    views = both_ends(rounded_rectangle(420, 120, 25))
    fitted = fit_outline(views, readings, "free-cornered rectangle")
    assert fitted.family == "free-cornered rectangle"
    assert fitted.width.value == pytest.approx(120, abs=fitted.width.u95)


def overlapping(whole, back, seed):
    """The section with single points and short runs seen `back` mm before their place, as rows
    are that see the part's top edge among others that see its foot.
    """
    rng = np.random.default_rng(seed)
    points = whole.points.copy()
    tangent = np.gradient(points, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    for at in rng.integers(20, len(points) - 20, 12):
        run = slice(at, at + int(rng.integers(1, 9)))
        points[run] -= back * tangent[run]
    return replace(whole, points=points)


@pytest.mark.parametrize("family", ["auto", "stadium"])
def test_points_that_overlap_along_the_edge_do_not_spoil_the_start(family):
    outline = stadium().to_outline(np.array([374.0, 108.6]))
    for seed in range(6):
        one = end(outline, "right end", seed, pitch=0.3)
        plain = fit_outline([one], [TAPE], family)
        mixed_up = overlapping(one, 3.2, seed)
        fitted = fit_outline([mixed_up], [TAPE], family)
        assert fitted.family == plain.family == "stadium"
        assert fitted.width.value == pytest.approx(plain.width.value, abs=0.02)
        # Results come in the order in which the points were given.
        section = fitted.sections[0]
        there = np.hypot(*np.diff(section.points, axis=0).T)
        given = np.hypot(*np.diff(mixed_up.points, axis=0).T)
        assert np.allclose(there, given, rtol=1e-3, atol=1e-3)


def test_sides_that_cannot_be_are_no_start():
    """An outline whose sides are shorter than its corners is refused, not reported."""
    rng = np.random.default_rng(1)
    scribble = np.cumsum(rng.normal(0, 1.0, (400, 2)), axis=0)
    section = Section("photo.jpg", "right end", scribble, np.full(400, 0.02))
    with pytest.raises(FitError) as error:
        fit_outline([section], [Reading("width", (0.2,), "caliper")], "stadium")
    assert "usable values" not in str(error.value)
