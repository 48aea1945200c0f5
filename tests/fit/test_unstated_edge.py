"""Top edge and lean that nobody stated: the caliper's reading is kept, the question asked.

Two solids, seen by cameras of known place; their silhouettes are made from the solid in space. The
third part, of rendered photos, is in `benchmarks/unstated_edges.py`.
"""

import numpy as np
import pytest
from made_solids import convex_silhouette, rounded_rectangle_line
from made_views import camera_over, phone_lens

from snugline.fit.outline_fit import fit_outline
from snugline.fit.readings.reading import Reading
from snugline.fit.section import Section, Systematic
from snugline.trace.edge.part_sensitivity import sensitivities
from snugline.trace.edge.relief_displacement import PartSides, lift

PLAIN = phone_lens(radial=(0.0, 0.0, 0.0, 0.0))
CAMERAS = [
    camera_over([150, 105], height=320, tilt_deg=9, lens=PLAIN),
    camera_over([190, 140], height=300, tilt_deg=16, roll_deg=200, lens=PLAIN),
]
OWN, SHARED = 0.02, 0.03  # mm: each point's noise, the edge finder's offset
PARTS = {
    "slab, rounded 1.5 mm, leaning 1 degree": (
        PartSides(12.0, 0.06, "round", 1.5, float(np.radians(1.0))), 140.0, 90.0, 20.0,
    ),
    "tile, chamfered 1 mm, upright": (PartSides(8.0, 0.06, "chamfer", 1.0), 150.0, 110.0, 12.0),
    "plate, sharp and upright": (PartSides(6.0, 0.06), 130.0, 100.0, 15.0),
}  # fmt: skip


def sections(true, stated, size, step=0.0):
    """What the cameras see of a part with `true` sides, lifted with the `stated` ones.

    `step`: mm by which the foot is followed too far out, where it is what is seen.
    """
    rng = np.random.default_rng(11)
    outline, normals = rounded_rectangle_line(*size, centre=(150, 105))
    found = []
    for k, camera in enumerate(CAMERAS):
        lifted = lift(
            camera, convex_silhouette(camera, outline, normals, true), stated, closed=True
        )
        keep = ~lifted.ambiguous
        noise = OWN * rng.standard_normal(keep.sum()) + step * (lifted.slope[keep] < 0)
        points = lifted.points[keep] + noise[:, None] * lifted.normals[keep]
        moved = {of: by[keep] for of, by in sensitivities(stated, lifted.slope).items()}
        breaks = tuple(int(i) for i in np.flatnonzero(np.diff(np.flatnonzero(keep)) > 1) + 1)
        found.append(
            Section(f"{k}.jpg", "whole", points, np.full(keep.sum(), OWN), True, breaks,
                    Systematic(SHARED), moved)
        )  # fmt: skip
    return found


@pytest.mark.parametrize("part", list(PARTS))
def test_the_caliper_s_reading_is_kept_and_the_question_asked(part):
    sides, length, width, radius = PARTS[part]
    readings = [
        Reading("width", (width + 0.05,), "caliper"),
        Reading("length", (length,), "tape"),
        Reading("thickness", (sides.thickness,), "caliper"),
    ]
    unstated = PartSides.with_unstated(sides.thickness, 0.06, None, 0.0, None)
    size = (length, width, radius)
    stated, asked = (
        fit_outline(sections(sides, known, size), readings, "rounded rectangle")
        for known in (sides, unstated)
    )
    assert abs(asked.width.value - width) <= asked.width.u95
    assert asked.width.u95 <= 3 * stated.width.u95
    assert "caliper" in asked.width.sources
    codes = [notice.code for notice in asked.notices]
    assert "reading-contradicted" not in codes
    assert "edge-not-stated" in codes
    assert "edge-not-stated" not in [notice.code for notice in stated.notices]


def test_from_one_photo_and_no_reading_the_width_is_as_vague_as_the_edge():
    # From two places the photos tell the edge themselves, nearly as well as a statement.
    sides, *size = PARTS["tile, chamfered 1 mm, upright"]
    unstated = PartSides.with_unstated(sides.thickness, 0.06, None, 0.0, None)
    stated, asked = (
        fit_outline(sections(sides, known, size)[:1], [], "rounded rectangle")
        for known in (sides, unstated)
    )
    assert abs(asked.width.value - size[1]) <= asked.width.u95
    assert asked.width.u95 > 2 * stated.width.u95


@pytest.mark.parametrize("step", [-0.04, 0.04])
def test_a_step_that_the_tracer_leaves_between_foot_and_top_edge_is_not_taken_for_lean(step):
    sides, *size = PARTS["slab, rounded 1.5 mm, leaning 1 degree"]
    unstated = PartSides.with_unstated(sides.thickness, 0.06, None, 0.0, None)
    fitted = fit_outline(sections(sides, unstated, size, step)[1:], [], "rounded rectangle")
    assert abs(fitted.width.value - size[1]) <= fitted.width.u95
    u = {part.source: part.u for part in fitted.budget("width").contributions}
    # 0.04 mm at either of two edges 12 mm high are as 0.4 degrees.
    assert u["lean of the sides not stated"] > 0.08


def test_the_question_names_a_rounding_that_would_explain_it():
    sides, *size = PARTS["slab, rounded 1.5 mm, leaning 1 degree"]
    unstated = PartSides.with_unstated(sides.thickness, 0.06, None, 0.0, None)
    readings = [Reading("width", (size[1],), "caliper"), Reading("length", (size[0],), "caliper")]
    fitted = fit_outline(sections(sides, unstated, size), readings, "rounded rectangle")
    (question,) = [n for n in fitted.notices if n.code == "edge-not-stated"]
    rounded, lean = question.figures[:2]
    assert rounded.kind == "length"
    assert lean.kind == "angle"
    # 1.5 mm and one degree together are as a rounding of some more alone.
    assert 1.5 < rounded.value < 3.5
