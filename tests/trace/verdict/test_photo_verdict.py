"""Verdicts: each is given where it must be, and not given on a photo without that fault.

One drawn photo of a dark rectangle on a built-in frame is good in everything; each test spoils one
thing. At the end, the rendered photos, of which it is known what is wrong with them.
"""

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from snugline.notice import Notice
from snugline.trace.camera.adjusted_cameras import Adjusted, Layout
from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.lens import Lens, prior_from_exif
from snugline.trace.camera.observations import Observations, SheetState
from snugline.trace.camera.projection import Camera
from snugline.trace.camera.sighting import Sighting, sight_markers
from snugline.trace.contour import PhotoFacts
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.image.photo_file import read_photo
from snugline.trace.image.polyline import resample
from snugline.trace.sheet.frame_description import read_frame, with_print_scale
from snugline.trace.verdict.edge_verdict import by_cause
from snugline.trace.verdict.followed_piece import EdgeEvidence
from snugline.trace.verdict.photo_verdict import Evidence, judge, worst

PHOTOS = Path(__file__).parents[3].parent / "shared" / "photos"
SIZE = (1600, 1200)
FRAME = with_print_scale(read_frame("border-a4"), 200.0, 120.0)
MIDDLE = FRAME.window.mean(axis=0)
LENS = Lens(1700.0, (799.5, 599.5), (0.0, 0.0, 0.0, 0.0), SIZE)
# Straight above the window's middle, 350 mm high: 0.21 mm a pixel.
LOOK_DOWN = np.diag([1.0, -1.0, -1.0])
CAMERA = Camera(LENS, LOOK_DOWN, -LOOK_DOWN @ np.array([*MIDDLE, 350.0]))
STRETCH = slice(100, 250)  # points, of about 840: along a side
CORNER = slice(200, 340)  # round a corner
DARK = np.full(44, 0.05)
FACTS = PhotoFacts("p.jpg", *SIZE, 44, 44, 0.05, 0.01, 5.0, 1700.0, 0.206, 0.01)


def silhouette(corners):
    """The rectangle's edge, counter-clockwise on the sheet, in pixels."""
    pixels = resample(CAMERA.pixels(np.asarray(corners, dtype=np.float64)), 1.5, closed=True)
    n = len(pixels)
    return Silhouette(
        pixels, np.full(n, 0.08), np.ones(n, dtype=bool), np.zeros(n, dtype=bool), closed=True
    )


def rectangle(x, y, length, width):
    """Corners about the window's middle."""
    return MIDDLE + np.array([[x, y], [x + length, y], [x + length, y + width], [x, y + width]])


def edge_of(corners, part=60, paper=210):
    rgb = np.full((SIZE[1], SIZE[0], 3), paper, np.uint8)
    cv2.fillPoly(rgb, [np.round(CAMERA.pixels(corners)).astype(np.int32)], (part,) * 3)
    return EdgeEvidence(
        rgb, CAMERA, PartSides(6.0), (silhouette(corners),), (FRAME.window,), paper=0.65
    )


def evidence(keep=None, edge=None):
    """A good photo; `keep` marks the markers that show."""
    shown = np.arange(len(FRAME.ids)) if keep is None else np.flatnonzero(keep)
    corners = FRAME.corners[shown]
    side = np.roll(corners, -1, axis=1) - corners
    places = corners[:, :, None] + np.array([0.3, 0.7])[:, None] * side[:, :, None]
    outward = np.stack([-side[..., 1], side[..., 0]], axis=-1) / 14.0
    outward = np.broadcast_to(outward[:, :, None], places.shape).reshape(-1, 2)
    n = outward.shape[0]
    marker = np.repeat(shown, 8)
    observations = Observations(
        sheet=np.zeros(n, dtype=np.int64),
        marker=marker,
        design=places.reshape(-1, 2),
        outward=outward,
        pixels=CAMERA.pixels(places.reshape(-1, 2)),
        normals=outward * [1, -1],
        sigma=np.full(n, 0.02),
        height=np.zeros(n),
    )
    m = len(shown)
    sighting = Sighting(
        file="p.jpg",
        size=SIZE,
        observations=observations,
        sheet=np.zeros(m, dtype=np.int64),
        marker=shown,
        design=corners,
        quads=CAMERA.pixels(corners.reshape(-1, 2)).reshape(-1, 4, 2),
        blur_px=1.0,
        light=np.full(m, 0.65),
        dark=np.full(m, 0.04),
        prior=prior_from_exif(SIZE, 26.0),
        camera_key=None,
    )
    layout = Layout((0,), 1, 1, 1)
    covariance = 1e-12 * np.eye(layout.size)
    adjusted = Adjusted(
        cameras=(CAMERA,),
        sheets=(SheetState(np.array(FRAME.scale), np.array(FRAME.scale_u), np.zeros(3)),),
        bloom=np.zeros(1),
        residuals=(np.random.default_rng(3).normal(0, 0.02, n),),
        weights=(np.ones(n),),
        precision=(np.full(n, 0.02**-2),),
        noise_px=np.array([0.02]),
        covariance=covariance,
        layout=layout,
        by_decentring=np.zeros((1, layout.size, 2)),
    )
    edge = edge or edge_of(rectangle(-40, -25, 80, 50))
    return Evidence(FACTS, sighting, adjusted, 0, (FRAME,), (FRAME.window,), edge)


def codes(e):
    return {notice.code: notice for notice in judge(e)}


def with_facts(**changes):
    e = evidence()
    return replace(e, facts=replace(e.facts, **changes))


def with_sighting(**changes):
    e = evidence()
    return replace(e, sighting=replace(e.sighting, **changes))


def moved_markers(which, move_px, weight):
    """Some markers seen elsewhere, by (2,) px or (K, 2) px, with the adjustment's weight."""
    e = evidence()
    o = e.sighting.observations
    move = np.zeros((len(FRAME.ids), 2))
    move[which] = move_px
    residuals = e.adjusted.residuals[0] + np.sum(move[o.marker] * o.normals, axis=1)
    weights = np.where(np.isin(o.marker, which), weight, 1.0)
    return replace(e, adjusted=replace(e.adjusted, residuals=(residuals,), weights=(weights,)))


def with_edge(corners=None, part=60, paper=210, stretch=STRETCH, **changes):
    edge = edge_of(rectangle(-40, -25, 80, 50) if corners is None else corners, part, paper)
    piece = edge.pieces[0]
    for name, value in changes.items():
        array = getattr(piece, name).copy()
        array[stretch] = value
        piece = replace(piece, **{name: array})
    return evidence(edge=replace(edge, pieces=(piece,)))


def test_a_good_photo_gets_no_remark():
    assert judge(evidence()) == ()
    assert worst(judge(evidence())) == "fine"


def test_the_worst_remark_judges_the_whole():
    remarks = [Notice("a", "", "", severity) for severity in ("fine", "retake", "usable")]
    assert worst(remarks) == "retake"
    assert worst(remarks[::2]) == "usable"


@pytest.mark.parametrize(
    ("spoilt", "code", "severity", "figure"),
    [
        (lambda: with_sighting(blur_px=3.0), "not-sharp", "usable", "3.0 px"),
        (lambda: with_sighting(blur_px=6.0), "not-sharp", "retake", "6.0 px"),
        (lambda: with_sighting(light=DARK, dark=DARK / 20), "too-dark", "usable", "5 %"),
        (lambda: with_sighting(light=np.full(44, 0.99)), "overexposed", "retake", "44 of 44"),
        (lambda: with_sighting(dark=np.full(44, 0.4)), "glare", "usable", "44 of 44"),
        (lambda: with_facts(tilt_deg=31.0), "tilted", "usable", "31 degrees"),
        (lambda: with_facts(tilt_deg=44.0), "tilted", "retake", "44 degrees"),
        (lambda: with_facts(mm_per_px=0.3), "coarse", "usable", "0.30 mm"),
        (lambda: with_facts(markers_holdout_mm=0.08), "holdout-large", "usable", "0.08 mm"),
        (lambda: with_facts(markers_holdout_mm=0.3), "holdout-large", "retake", "0.30 mm"),
    ],
)
def test_a_fault_of_the_photo_is_named_with_its_figure(spoilt, code, severity, figure):
    (notice,) = judge(spoilt())
    assert (notice.code, notice.severity, str(notice.about)) == (code, severity, "p.jpg")
    assert figure in notice.text
    assert notice.mend.endswith(".")


def test_some_overexposed_markers_are_boxed():
    light = np.full(44, 0.65)
    light[:5] = 0.99  # the top row's left end
    notice = codes(with_sighting(light=light))["overexposed"]
    left, top, right, bottom = notice.region_px
    quads = evidence().sighting.quads
    assert notice.severity == "usable"
    assert left <= quads[0, :, 0].min()
    assert quads[4, :, 0].max() <= right < quads[8, :, 0].min()
    assert top <= quads[:5, :, 1].min()
    assert quads[:5, :, 1].max() <= bottom < quads[20, :, 1].min()


def test_few_markers_and_markers_on_one_side_are_named():
    x = FRAME.corners.mean(axis=1)[:, 0]
    left = codes(evidence(keep=x < 60))
    assert left["one-sided-markers"].severity == "retake"
    # The bare side is the right one.
    assert left["one-sided-markers"].region_px[2] > 1200
    corners = np.zeros(44, dtype=bool)
    corners[[0, 13, 20, 25, 30, 43]] = True
    assert codes(evidence(keep=corners))["few-markers"].severity == "usable"
    assert "one-sided-markers" not in codes(evidence(keep=corners))
    corners[20] = False
    assert codes(evidence(keep=corners))["few-markers"].severity == "retake"


def test_rejected_markers_side_by_side_are_a_bent_sheet():
    x = FRAME.corners.mean(axis=1)[:, 0]
    end = np.flatnonzero(x > 270)
    notice = codes(moved_markers(end, [1.0, 0.0], 0.0))["sheet-not-flat"]
    assert notice.region_px[0] > 1200
    assert "0.2" in notice.text


def test_single_rejected_markers_are_no_bent_sheet():
    assert "sheet-not-flat" not in codes(moved_markers([0, 13, 30], [3.0, 0.0], 0.0))


def test_neighbours_off_alike_are_a_pattern_and_single_ones_are_none():
    x = FRAME.corners.mean(axis=1)[:, 0]
    everyone = np.arange(44)
    bow = np.column_stack([0.15 * np.sin((x - x.min()) / 60), np.zeros(44)])
    assert "sheet-not-flat" in codes(moved_markers(everyone, bow, 1.0))
    each = np.random.default_rng(5).permutation(bow)
    assert "sheet-not-flat" not in codes(moved_markers(everyone, each, 1.0))


def print_scale(x, read=True):
    e = evidence()
    frame = FRAME if read else replace(FRAME, scale_u=(0.0, 0.0))
    sheet = replace(e.adjusted.sheets[0], scale=np.array([x, 1.0]))
    return replace(e, frames=(frame,), adjusted=replace(e.adjusted, sheets=(sheet,)))


def test_a_print_that_the_bars_do_not_explain_is_named():
    # Bars of 200 and 120 mm read to 0.060 mm: 3.0e-4 and 5.0e-4 of their lengths.
    assert "print-scale-off" not in codes(print_scale(1.0010))
    notice = codes(print_scale(1.0028))["print-scale-off"]
    assert "1.0028" in notice.text
    assert "again" in notice.mend


def test_a_print_taken_for_exact_is_named_where_the_markers_contradict():
    assert "print-scale-off" not in codes(print_scale(1.001, read=False))
    notice = codes(print_scale(1.004, read=False))["print-scale-off"]
    assert "assumed" in notice.text


@pytest.mark.parametrize(
    ("changes", "code", "severity"),
    [
        ({"good": False, "stretch": CORNER}, "edge-lost", "retake"),
        ({"sigma": 0.4}, "edge-vague", "usable"),
        ({"sigma": 0.8}, "edge-vague", "retake"),
        ({"rival": True}, "edge-doubtful", "usable"),
    ],
)
def test_a_stretch_of_edge_that_is_lost_vague_or_doubtful_is_named_and_boxed(
    changes, code, severity
):
    e = with_edge(**changes)
    (notice,) = judge(e)
    assert (notice.code, notice.severity) == (code, severity)
    pixels = e.edge.pieces[0].pixels[changes.get("stretch", STRETCH)]
    left, top, right, bottom = notice.region_px
    assert np.all((pixels >= [left, top]) & (pixels <= [right, bottom]))
    assert right - left < np.ptp(pixels[:, 0]) + 60


def test_a_lost_stretch_of_a_straight_side_is_no_loss_unless_it_leaves_the_side():
    lost = with_edge(good=False)
    assert judge(lost) == ()
    (piece,) = lost.edge.pieces
    off = piece.pixels.copy()
    off[STRETCH, 1] += 3  # px, 0.6 mm: a shadow's outline was followed there
    aside = replace(lost.edge, pieces=(replace(piece, pixels=off),))
    assert codes(replace(lost, edge=aside))["edge-lost"].severity == "retake"


def test_a_word_is_due_where_much_of_the_edge_is_lost_however_straight_it_is():
    good = np.ones(len(evidence().edge.pieces[0].pixels), bool)
    for start in (20, 280, 440, 700):
        good[start : start + 90] = False
    e = with_edge(stretch=slice(None), good=good)
    assert "edge-lost" in codes(e)


def test_a_part_as_pale_as_the_sheet_is_named():
    assert codes(with_edge(part=207))["edge-pale"].severity == "usable"
    assert "edge-pale" not in codes(with_edge(part=190))


def test_a_part_or_sheet_cut_off_at_white_is_told_apart_from_a_reflection():
    assert "overexposed" in codes(with_edge(part=255))
    assert "overexposed" in codes(with_edge(paper=255))
    e = evidence()
    x, y = np.round(e.edge.pieces[0].pixels[60]).astype(int)
    cv2.circle(e.edge.rgb, (int(x), int(y)), 20, (255, 255, 255), -1)
    notice = codes(e)["glare"]
    assert notice.region_px[0] < x < notice.region_px[2]


def test_an_edge_along_the_windows_border_is_named_and_one_across_it_is_not():
    low, high = FRAME.window.min(axis=0) - MIDDLE, FRAME.window.max(axis=0) - MIDDLE
    along = rectangle(-40, low[1] + 1.5, 80, 50)
    assert "80 mm" in codes(with_edge(along))["edge-near-border"].text
    across = rectangle(-20, low[1] - 10, 40, high[1] - low[1] + 20)
    assert "edge-near-border" not in codes(with_edge(across))


def test_an_edge_that_ends_in_the_middle_of_the_window_is_named():
    e = evidence()
    piece = e.edge.pieces[0]
    half = Silhouette(
        *(a[:300] for a in (piece.pixels, piece.sigma, piece.good, piece.rival)), False
    )
    found = judge(replace(e, edge=replace(e.edge, pieces=(half,))))
    assert [n.code for n in found] == ["edge-ends-inside"] * 2


def test_a_few_centimetres_of_an_open_edge_are_taken_for_no_part():
    e = evidence()
    piece = e.edge.pieces[0]
    for count, short in ((60, True), (300, False)):
        open_ = Silhouette(
            *(a[:count] for a in (piece.pixels, piece.sigma, piece.good, piece.rival)), False
        )
        found = codes(replace(e, edge=replace(e.edge, pieces=(open_,))))
        assert ("edge-short" in found) == short
    assert "edge-short" not in codes(with_edge(rectangle(-4, -4, 8, 8)))


@pytest.mark.parametrize(
    ("step", "severity"), [(0.0, None), (0.25, None), (0.6, "usable"), (1.6, "retake")]
)
def test_a_straight_edge_that_goes_on_beside_itself_is_named(step, severity):
    (x0, y0), (x1, y1) = rectangle(-40, -25, 80, 50)[[0, 2]]
    middle = MIDDLE[0]
    corners = [[x0, y0], [middle, y0], [middle + 0.5, y0 - step], [x1, y0 - step], [x1, y1],
               [x0, y1]]  # fmt: skip
    notice = codes(with_edge(np.array(corners))).get("edge-jumps")
    assert (notice and notice.severity) == severity
    if severity:
        assert f"{step:.1f} mm" in notice.text


def test_an_arc_is_no_jump():
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    ellipse = MIDDLE + np.column_stack([80 * np.cos(turn), 40 * np.sin(turn)])
    assert "edge-jumps" not in codes(with_edge(ellipse))


def test_what_one_shadow_does_along_the_edge_is_one_remark():
    def remark(code, severity, left):
        return Notice(code, "Seen.", "Do this.", severity, "p.jpg", (left, 0.0, left + 50.0, 50.0))

    jump, vague = remark("edge-jumps", "usable", 100.0), remark("edge-vague", "usable", 300.0)
    shadow, spot = remark("shadow-taken", "usable", 500.0), remark("glare", "usable", 700.0)
    assert by_cause([jump, vague]) == [jump, vague]
    assert by_cause([jump, vague, shadow, spot]) == [shadow, spot]
    graver = replace(vague, severity="retake")
    assert by_cause([shadow, jump, graver]) == [graver]


def test_where_thickness_matters_it_is_said_by_how_much():
    # Seen from above the middle, the top edge 100 mm off moves by 100 / 350 of the thickness.
    edge = edge_of(rectangle(40, -25, 60, 50))
    notice = codes(evidence(edge=replace(edge, sides=PartSides(6.0, 0.1))))["thickness-matters"]
    assert notice.severity == "fine"
    # A standard uncertainty of 0.1 mm is a U95 of 0.2 mm.
    assert f"{0.2 * 100 / 350:.2f} mm" in notice.text
    assert notice.region_px[0] > 1100
    # Read by caliper to 0.06 mm it changes nothing that a clearance would show.
    assert "thickness-matters" not in codes(
        evidence(edge=replace(edge, sides=PartSides(6.0, 0.06)))
    )


@pytest.mark.parametrize(
    ("case", "number"),
    [("birch-tray-bent-sheet", 1), ("birch-tray-bent-sheet", 2), ("basalt-panel-two-ends", 1)],
)
@pytest.mark.skipif(not PHOTOS.is_dir(), reason="the rendered photos are not there")
def test_of_rendered_sheets_the_bent_ones_are_named_and_the_flat_one_is_not(case, number):
    truth = json.loads((PHOTOS / case / "truth.json").read_text())
    bars = truth["true_scale_bars"]
    frame = with_print_scale(read_frame(PHOTOS / case / "frame.json"), bars["x"], bars["y"])
    sighting = sight_markers(read_photo(PHOTOS / case / f"photo-{number}.jpg"), [frame])
    solved = solve([sighting], [frame])
    e = Evidence(
        replace(FACTS, mm_per_px=0.12),
        sighting,
        solved.adjusted,
        0,
        (frame,),
        (frame.window,),
        None,
    )
    assert ("sheet-not-flat" in codes(e)) == ("sheet_bend" in truth["photos"][number - 1])
    assert worst(judge(e)) != "retake"
