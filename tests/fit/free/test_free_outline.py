import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

from snugline.errors import FitError
from snugline.fit.free.free_outline import fit_free
from snugline.fit.free_part import fit_free_part
from snugline.fit.geometry.outline import Arc
from snugline.fit.geometry.primitives import filleted_polygon, rounded_rectangle
from snugline.fit.readings.reading import Reading
from snugline.fit.section import Section, Systematic

PHOTOS = Path(__file__).parents[3].parent / "shared" / "photos"
SIGMA = 0.03
# Sides that close in on each other by 1.5 degrees, a hollow, no mirror line.
PALETTE = filleted_polygon(
    [(-120, -45), (40, -50), (130, -25), (115, 45), (0, 25), (-90, 55)], [25, 60, 18, 30, 90, 20]
)


def noisy(points, seed, correlation=1.0):
    """The points of a closed contour moved along their normals by correlated noise."""
    ahead = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    normals = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    noise = np.random.default_rng(seed).standard_normal(len(points))
    fade = math.exp(-float(np.linalg.norm(ahead[0])) / 2 / correlation)
    for i in range(1, len(noise)):
        noise[i] = fade * noise[i - 1] + math.sqrt(1 - fade * fade) * noise[i]
    return points + SIGMA * noise[:, None] * normals


def section(outline, name, shows, inside, turn=0.0, shift=(0.0, 0.0), seed=0, pitch=0.4):
    """What a photo shows of an outline: the one run of points that are inside, in its own frame."""
    points = outline.sampled(pitch)
    seen = inside(points)
    begin = np.flatnonzero(seen & ~np.roll(seen, 1))
    assert len(begin) == 1
    points, seen = np.roll(noisy(points, seed), -begin[0], axis=0), np.roll(seen, -begin[0])
    c, s = math.cos(turn), math.sin(turn)
    points = points[seen] @ np.array([[c, s], [-s, c]]) + shift
    return Section(name, shows, points, np.full(len(points), SIGMA))


def whole(outline, seed=0, pitch=0.4, systematic=None):
    points = noisy(outline.sampled(pitch), seed)
    return Section(
        "all.jpg", "whole", points, np.full(len(points), SIGMA), True,
        systematic=systematic or Systematic(),
    )  # fmt: skip


def strays(outline, truth):
    """Largest distance of an outline from the truth, laid on each other as well as they can be."""
    from scipy.optimize import least_squares

    edge = shapely.Polygon(truth).exterior
    points = outline.sampled(2.0)
    middle = (truth.max(axis=0) + truth.min(axis=0)) / 2

    def far(pose):
        c, s = math.cos(pose[2]), math.sin(pose[2])
        moved = points @ np.array([[c, s], [-s, c]]) + pose[:2]
        return shapely.distance(shapely.points(moved), edge)

    starts = [np.array([*middle, turn]) for turn in (0.0, math.pi)]
    start = min(starts, key=lambda pose: far(pose).sum())
    return far(least_squares(far, start, x_scale=[1, 1, 0.01], diff_step=1e-6).x).max()


@pytest.fixture(scope="module")
def palette_fit():
    return fit_free([whole(PALETTE)])


@pytest.fixture(scope="module")
def rounded_fit():
    return fit_free([whole(rounded_rectangle(160, 90, 20))])


def test_a_closed_contour_gives_the_shape_with_its_uncertainty(palette_fit):
    fit = palette_fit
    assert len(fit.outline.segments) == 12
    assert fit.outline.winding == 1
    assert max(abs(t) for t in fit.outline.turns) < 1e-9
    assert strays(fit.outline, PALETTE.inscribed(1e-4)) < 0.04
    truth = sorted(s.radius for s in PALETTE.segments if isinstance(s, Arc))
    found = sorted((s.radius for s in fit.segments if s.radius), key=lambda r: r.value)
    assert len(found) == len(truth)
    for radius, expected in zip(found, truth, strict=True):
        assert radius.value == pytest.approx(expected, abs=1.5 * radius.u95)
        assert 0.005 * expected**0.5 < radius.u95 < 0.1 * expected
    assert {s.mark for s in fit.segments} == {"seen"}
    assert not fit.notices


def test_a_part_without_parallel_sides_lies_as_it_was_measured():
    # Measured 3 degrees off its narrowest rectangle, where it is wider by some millimetres.
    corners = PALETTE.inscribed(1e-4)
    turned = {a: corners @ [math.cos(a), math.sin(a)] for a in (0.0, math.pi / 2)}
    size = {"length": np.ptp(turned[0.0]), "width": np.ptp(turned[math.pi / 2])}
    fit = fit_free(
        [whole(PALETTE)], {"length": (size["length"], 0.1), "width": (size["width"], 0.03)}
    )
    assert fit.length.value == pytest.approx(size["length"], abs=0.1)
    assert fit.width.value == pytest.approx(size["width"], abs=fit.width.u95)
    assert not fit.notices
    assert fit.outline.bounds[3] == pytest.approx(size["width"] / 2, abs=0.05)


def test_the_part_lies_along_its_narrowest_rectangle(palette_fit):
    # The least extent of a dense polygon over all directions, independent of the chain.
    fit = palette_fit
    corners = PALETTE.inscribed(1e-3)
    width = min(np.ptp(corners @ [math.cos(a), math.sin(a)]) for a in np.linspace(0, math.pi, 7201))
    assert fit.width.value == pytest.approx(width, abs=0.02)
    low_x, low_y, high_x, high_y = fit.outline.bounds
    assert (low_x + high_x, low_y + high_y) == pytest.approx((0, 0), abs=1e-6)
    assert (high_x - low_x, high_y - low_y) == pytest.approx(
        (fit.length.value, fit.width.value), abs=1e-6
    )


def test_systematic_errors_of_the_contour_widen_what_is_told(rounded_fit):
    plain = rounded_fit
    shifted = fit_free(
        [whole(rounded_rectangle(160, 90, 20), systematic=Systematic(0.05, 1e-3, 1e-3, "a"))]
    )
    # A shift of the edge goes twice into a length; a scale error of 1e-3 once per mm.
    expected = math.hypot(plain.length.u95 / 1.97, 2 * 0.05, 160 * 1e-3)
    assert shifted.length.u95 == pytest.approx(1.97 * expected, rel=0.1)
    assert shifted.length.value == pytest.approx(plain.length.value, abs=1e-6)


def test_points_astray_cost_a_free_outline_next_to_nothing(rounded_fit):
    seen = whole(rounded_rectangle(160, 90, 20))
    ahead = np.roll(seen.points, -1, axis=0) - np.roll(seen.points, 1, axis=0)
    outwards = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    outwards /= np.linalg.norm(outwards, axis=1, keepdims=True)
    astray = seen.points.copy()
    astray[::40] += 0.8 * outwards[::40]  # some 27 standard deviations
    fit = fit_free([replace(seen, points=astray)])
    assert fit.width.value == pytest.approx(rounded_fit.width.value, abs=0.006)
    assert fit.length.value == pytest.approx(rounded_fit.length.value, abs=0.006)
    assert fit.width.u95 == pytest.approx(rounded_fit.width.u95, rel=0.2)
    assert fit.length.u95 == pytest.approx(rounded_fit.length.u95, rel=0.2)
    assert not fit.kept[0][::40].any()
    assert fit.kept[0].mean() > 0.965


def test_sections_that_share_a_bend_are_laid_on_each_other():
    low, high = (lambda p: p[:, 0] < 60), (lambda p: p[:, 0] > -60)
    parts = [
        section(PALETTE, "a.jpg", "left end", low, 3.1, (40, 60), seed=1),
        section(PALETTE, "b.jpg", "section", high, 0.05, (200, 90), seed=2),
    ]
    fit = fit_free(parts)
    assert strays(fit.outline, PALETTE.inscribed(1e-4)) < 0.15
    assert {s.mark for s in fit.segments} == {"seen"}
    assert [r.shape for r in fit.residuals] == [(len(p.points),) for p in parts]


def test_two_ends_that_share_nothing_stand_at_the_length_that_was_read():
    part = rounded_rectangle(300, 100, [10, 20, 25, 15])
    ends = [
        section(part, "l.jpg", "left end", lambda p: p[:, 0] < -60, 3.1, (40, 60), seed=1),
        section(part, "r.jpg", "right end", lambda p: p[:, 0] > 80, 0.02, (9, 90), seed=2),
    ]
    fit = fit_free(ends, {"length": (300.2, 0.15)})
    assert len(fit.outline.segments) == 8
    assert fit.length.value == pytest.approx(300.2, abs=0.01)
    assert fit.length.u95 == pytest.approx(0.3, rel=0.1)
    assert fit.width.value == pytest.approx(100, abs=fit.width.u95)
    assert fit.width.u95 < 0.1
    # Part axes: the left end, with corners of 10 and 15 mm, lies at low x.
    left_radii = sorted(
        s.radius for s in fit.outline.segments if isinstance(s, Arc) and s.centre[0] < 0
    )
    assert left_radii == pytest.approx([10, 15], abs=0.2)
    unseen = [n for n in fit.notices if n.code == "unseen-stretch"]
    assert {str(n.about) for n in unseen} == {"front", "back"}
    stretch = int(unseen[0].text.split("shows ")[1].split(" mm")[0])
    assert stretch == pytest.approx(140, abs=1.5)


def test_what_the_symmetry_tells_is_mirrored_and_marked():
    part = rounded_rectangle(300, 100, 25)
    end = section(part, "l.jpg", "left end", lambda p: p[:, 0] < -60, 3.1, (40, 60), seed=1)
    fit = fit_free([end], {"length": (300.0, 0.2)}, "both")
    assert len(fit.outline.segments) == 8
    marks = {
        mark: [s for s, g in zip(fit.outline.segments, fit.segments, strict=True) if g.mark == mark]
        for mark in ("seen", "mirrored", "extrapolated")
    }
    assert [len(v) for v in marks.values()] == [3, 3, 2]
    assert all(s.start[0] < 0 for s in marks["seen"] if isinstance(s, Arc))
    assert fit.length.u95 == pytest.approx(0.4, rel=0.1)
    assert strays(fit.outline, part.inscribed(1e-4)) < 0.1


def test_a_mirror_image_shares_the_errors_of_what_it_mirrors():
    part = rounded_rectangle(200, 80, 20)
    end = section(part, "l.jpg", "left end", lambda p: p[:, 0] < 0, pitch=0.6)
    plain, shifted = (
        fit_free([replace(end, systematic=Systematic(offset))], {"length": (200.0, 0.2)}, "both")
        for offset in (0.0, 0.1)
    )
    # Both sides of the one photo move outwards together: twice into the width.
    added = math.sqrt(shifted.width.u95**2 - plain.width.u95**2) / 2
    assert added == pytest.approx(2 * 0.1, rel=0.1)


def test_a_reading_that_the_contour_contradicts_is_left_out_and_named():
    sections = [whole(rounded_rectangle(160, 90, 20))]
    fit, without = (fit_free(sections, read) for read in ({"width": (90.8, 0.05)}, {}))
    assert fit.width.value == pytest.approx(90, abs=0.03)
    assert fit.width.value == pytest.approx(without.width.value, abs=1e-6)
    assert fit.contradicted == {"width": pytest.approx(90.0, abs=0.05)}


def test_an_end_that_nothing_shows_is_not_invented():
    part = rounded_rectangle(300, 100, 25)
    end = section(part, "l.jpg", "left end", lambda p: p[:, 0] < -60)
    with pytest.raises(FitError, match="other end"):
        fit_free([end], {"length": (300.0, 0.2)})


def test_a_lone_corner_is_not_mirrored():
    part = rounded_rectangle(300, 100, 25)
    corner = section(part, "c.jpg", "front left corner", lambda p: (p[:, 0] < -60) & (p[:, 1] < 0))
    with pytest.raises(FitError, match="whole end"):
        fit_free([corner], {"length": (300.0, 0.2)}, "both")


def test_ends_whose_sides_do_not_meet_are_refused():
    """They were joined once, metres away, and said to be known to a tenth of a millimetre."""
    narrow, wide = rounded_rectangle(400, 60, 12), rounded_rectangle(400, 140, 12)
    left = section(narrow, "left.jpg", "left end", lambda p: p[:, 0] < -100)
    right = section(wide, "right.jpg", "right end", lambda p: p[:, 0] > 100)
    with pytest.raises(FitError, match="point past each other"):
        fit_free([left, right], {"length": (400.0, 0.3)})


def test_ends_without_a_length_are_refused():
    part = rounded_rectangle(300, 100, 25)
    end = section(part, "l.jpg", "left end", lambda p: p[:, 0] < -60)
    with pytest.raises(FitError, match="reading of the length"):
        fit_free([end], symmetry="crosswise")


def test_a_clockwise_contour_is_refused():
    one = whole(rounded_rectangle(160, 90, 20))
    with pytest.raises(FitError, match="part on the left"):
        fit_free([replace(one, points=one.points[::-1])])


def test_nothing_and_bad_readings_are_refused():
    with pytest.raises(FitError, match="no sections"):
        fit_free([])
    with pytest.raises(FitError, match="positive"):
        fit_free([whole(rounded_rectangle(160, 90, 20))], {"length": (160.0, 0.0)})


def test_the_rendered_palette_of_three_photos_comes_together():
    folder = PHOTOS / "slate-palette-free-form"
    if not folder.exists():
        pytest.skip("the sample photos are not beside the repository")
    truth = json.loads((folder / "truth.json").read_text())
    frame = json.loads((folder / "frame.json").read_text())
    scale = [truth["print_scale"][axis] for axis in "xy"]
    window = np.array(frame["window"]) * scale
    sections = []
    for i, (photo, shows) in enumerate(
        zip(truth["photos"], ("right end", "left end", "section"), strict=True)
    ):
        dense = np.array(photo["bottom_outline"])
        ring = np.vstack([dense, dense[:1]])
        length = np.cumsum(np.linalg.norm(np.diff(ring, axis=0, prepend=ring[:1]), axis=1))
        at = np.arange(0, length[-1] - 0.2, 0.4)
        points = noisy(np.column_stack([np.interp(at, length, v) for v in ring.T]), i)
        seen = ((points > window.min(axis=0) + 1) & (points < window.max(axis=0) - 1)).all(axis=1)
        points = np.roll(points, -np.flatnonzero(seen & ~np.roll(seen, 1))[0], axis=0)[: seen.sum()]
        sections.append(Section(photo["file"], shows, points, np.full(len(points), SIGMA)))
    fit = fit_free(sections, {"length": (483.0, 0.25)})
    assert len(fit.outline.segments) == 18
    assert {s.mark for s in fit.segments} == {"seen"}
    bottom = np.array(truth["part_outline"]["bottom"]["points"])
    # The tape places one end to about a millimetre: it is not known along which line it was laid.
    assert fit.length.u95 > 0.5
    assert strays(fit.outline, bottom) < fit.length.u95
    width = min(np.ptp(bottom @ [math.cos(a), math.sin(a)]) for a in np.linspace(1.3, 1.8, 5001))
    assert fit.width.value == pytest.approx(width, abs=1.5 * fit.width.u95)
    for radius, expected in ((18.5, 18.5), (21.0, 21.0), (26.0, 26.0), (31.0, 31.0), (44.0, 44.0)):
        nearest = min(
            (s.radius for s in fit.segments if s.radius), key=lambda r: abs(r.value - radius)
        )
        assert nearest.value == pytest.approx(expected, abs=1.5 * nearest.u95)


def test_three_pieces_that_share_nothing_are_refused_by_name():
    part = rounded_rectangle(400, 150, 20)
    places = {
        "front left corner": lambda p: (p[:, 0] < -120) & (p[:, 1] < -20),
        "front right corner": lambda p: (p[:, 0] > 120) & (p[:, 1] < -20),
        "back right corner": lambda p: (p[:, 0] > 120) & (p[:, 1] > 20),
    }
    pieces = [section(part, f"{at}.jpg", at, where) for at, where in places.items()]
    with pytest.raises(FitError, match="3 sets of photos") as caught:
        fit_free(pieces, {"length": (400.0, 0.1)})
    assert "front left corner.jpg" in caught.value.where


def leaning(outline, u):
    """A contour of sides whose lean is uncertain: `u` mm all round is one standard uncertainty."""
    seen = whole(outline, seed=3)
    return replace(seen, sensitivity={"lean": np.full(len(seen.points), u)})


def test_a_reading_tells_of_errors_that_all_points_share():
    # Seen 0.2 mm too small on either side, which is one standard uncertainty of the lean.
    seen = leaning(rounded_rectangle(160, 90, 20), 0.2)
    alone = fit_free([seen])
    read = fit_free([seen], {"width": (90.4, 0.06)})
    assert alone.width.u95 == pytest.approx(2 * 2 * 0.2, rel=0.1)
    assert not read.contradicted
    # As two estimates combined by their weights (JCGM 100, 5.1.2), the length with the width.
    combined = 1 / math.hypot(1 / 0.4, 1 / 0.06)
    assert read.width.u95 == pytest.approx(2 * combined, rel=0.1)
    weight = 0.4**2 / (0.4**2 + 0.06**2)
    assert read.width.value == pytest.approx(90 + 0.4 * weight, abs=0.02)
    assert read.length.value == pytest.approx(160 + 0.4 * weight, abs=0.02)
    assert read.length.u95 < 0.2
    # The points are then 0.2 mm farther out than they were seen, and so is the outline.
    assert read.residual_rms == pytest.approx(alone.residual_rms, rel=0.05)
    assert read.residual_max == pytest.approx(alone.residual_max, rel=0.2)


def test_of_two_readings_that_fit_in_no_direction_the_wrong_one_is_named():
    corners = PALETTE.inscribed(1e-4)
    length, width = np.ptp(corners[:, 0]), np.ptp(corners[:, 1])
    for of, off in (("length", 9.0), ("width", 30.0)):
        read = {"length": (length, 0.4), "width": (width, 0.05)}
        value, u = read[of]
        fit = fit_free([whole(PALETTE)], {**read, of: (value + off, u)})
        assert set(fit.contradicted) == {of}
        # The other reading fits in two directions; the one counts in which less is wrong.
        assert of == "width" or fit.contradicted[of] == pytest.approx(value, abs=0.2)


def test_a_gross_slip_bends_no_outline_and_the_value_that_shows_it_is_the_right_one():
    read = {"length": (float(np.ptp(PALETTE.inscribed(1e-4)[:, 0])), 0.4)}
    right = fit_free([whole(PALETTE)], read)
    for slip in (0.1, 10.0, 25.4):
        fit = fit_free([whole(PALETTE)], {**read, "width": (slip * right.width.value, 0.05)})
        assert fit.contradicted == {"width": pytest.approx(right.width.value, abs=0.1)}
        assert fit.length.value == pytest.approx(right.length.value, abs=0.1)


def test_a_length_that_alone_places_two_ends_asks_for_a_second():
    part = rounded_rectangle(300, 100, [10, 20, 25, 15])
    ends = [
        section(part, "l.jpg", "left end", lambda p: p[:, 0] < -60, 3.1, (40, 60), 1, pitch=0.8),
        section(part, "r.jpg", "right end", lambda p: p[:, 0] > 80, 0.02, (9, 90), 2, pitch=0.8),
    ]
    tape, steel = (Reading("length", (300.2,), tool) for tool in ("tape", "steel tape"))
    for readings, asked in (([tape], True), ([tape, steel], False)):
        told = fit_free_part(ends, readings, "none", None).notices
        assert ("one-reading" in [notice.code for notice in told]) is asked
    alone = fit_free_part([whole(part, pitch=0.8)], [tape], "none", None).notices
    assert "one-reading" not in [notice.code for notice in alone]


def test_a_width_that_turns_the_part_is_asked_for():
    """1 in too large it fits 10 degrees off, where no hand measures."""
    narrowest = min(
        float(np.ptp(PALETTE.sampled(0.1) @ [-math.sin(a), math.cos(a)]))
        for a in np.radians(np.arange(-15, 15, 0.1))
    )
    for mm, codes in ((narrowest, []), (narrowest + 25.4, ["reading-contradicted"])):
        reading = Reading.of("width", f"{round(2 * mm) / 2} mm", tool="tape")
        fitted = fit_free_part([whole(PALETTE, pitch=1.0)], [reading], "none", None)
        assert [n.code for n in fitted.notices if n.gravity == 2] == codes
