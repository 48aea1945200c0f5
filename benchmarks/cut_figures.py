"""The figures that cut, of a dozen made jobs: what a fault in the program would do to them.

    python benchmarks/cut_figures.py          # each job with its figures and processor time

Sizes, radii, outlines and U95 of fits; depths, clearances, layers and drawings of plans. All is
made without photos, from stated seeds, so that two runs of one program agree to the last digit and
a changed digit is a changed program. `mutants.py` compares by it what a survivor changes.
"""

import hashlib
import json
import math
import re
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

for folder in ("tests", "tests/pocket", "tests/fit/free"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))

Figures = dict[str, list]
SEEN = 1e-6  # mm: what is closer than this is called the same
KINDS = (
    "depth", "clearance", "radius", "outline", "size", "U95", "drawing", "chance", "remarks",
    "prints",
)  # fmt: skip


def two_ends() -> Figures:
    from made_contours import section

    from snugline.fit.geometry.primitives import rounded_rectangle
    from snugline.fit.outline_fit import fit_outline
    from snugline.fit.part_uncertainty import part_uncertainty
    from snugline.fit.readings.reading import Reading
    from snugline.fit.readings.thickness import thickness_of
    from snugline.fit.section import Systematic

    common, rng = Systematic(0.02, 2e-4, 2e-4, "sheet"), np.random.default_rng(1)
    panel = rounded_rectangle(418, 118.5, 27.4)
    ends = [
        section(panel, shows, rng, name=shows, correlation=0.5, pitch=0.5, systematic=common,
                turn=turn)
        for shows, turn in (("left end", math.pi + 0.03), ("right end", -0.02))
    ]  # fmt: skip
    readings = [
        Reading("length", (418.0,), "tape", step_mm=0.5),
        Reading("length", (418.3,), "steel tape", step_mm=1.0),
        Reading("width", (118.5,), "caliper"),
        Reading("thickness", (9.5, 9.52, 9.48), "caliper"),
    ]
    fitted = fit_outline(ends, readings)
    plan = planned(fitted.outline, part_uncertainty(fitted, readings), thickness_of(readings, None))
    return fit_figures(fitted) | plan


def four_corners() -> Figures:
    from made_contours import section

    from snugline.fit.geometry.primitives import rounded_rectangle
    from snugline.fit.outline_fit import fit_outline
    from snugline.fit.readings.reading import Reading

    slab, rng = rounded_rectangle(331, 262.5, [19.6, 38.2, 38.2, 19.6]), np.random.default_rng(2)
    names = ("front left corner", "front right corner", "back right corner", "back left corner")
    views = [
        section(slab, shows, rng, name=shows, pitch=0.7, reach=90, correlation=0.5)
        for shows in names
    ]
    readings = [Reading("length", (331.0,), "tape"), Reading("width", (263.5,), "caliper")]
    return fit_figures(fit_outline(views, readings, "rounded rectangle", "lengthwise"))


def bowed_sides() -> Figures:
    """Sides that are not straight, one point in forty astray, a reading that is wrong."""
    from made_contours import section

    from snugline.fit.corners.corner_families import CHAMFER
    from snugline.fit.outline_fit import fit_outline
    from snugline.fit.readings.reading import Reading
    from snugline.fit.shapes.outline_families import rectangle

    shape = rectangle([CHAMFER]).with_terms(("sag back",))
    outline = shape.to_outline(np.array([188, 118.5, 17.5, 0.6]), tolerance=1e-4)
    seen = section(outline, "whole", np.random.default_rng(3), pitch=0.6, turn=0.04)
    astray = seen.points.copy()
    astray[::40] += 0.8
    seen, wrong = replace(seen, points=astray), Reading("length", (198.0,), "caliper")
    given = fit_outline([seen], [wrong], "chamfered rectangle")
    free = fit_outline([seen], [wrong])
    return joined([fit_figures(given), fit_figures(free)])


def round_and_regular() -> Figures:
    from made_contours import section

    from snugline.fit.corners.corner_families import ARC
    from snugline.fit.outline_fit import fit_outline
    from snugline.fit.shapes.outline_families import circle, ellipse, regular_polygon

    found: list[Figures] = []
    for shape, params in (
        (circle(), [90.0]),
        (ellipse(), [160.0, 90.0]),
        (regular_polygon(6, ARC), [50.0, 8.0]),
    ):
        outline = shape.to_outline(np.array(params), tolerance=1e-4)
        seen = section(outline, "whole", np.random.default_rng(4), pitch=0.8, turn=0.3)
        found.append(fit_figures(fit_outline([seen], family=shape.family)))
    return joined(found)


def free_form() -> Figures:
    from test_free_outline import PALETTE, whole

    from snugline.fit.free.free_outline import fit_free

    free = fit_free([whole(PALETTE)], {"width": (99.9, 0.05)})
    return free_figures(free) | planned_free(free)


def free_ends_mirrored() -> Figures:
    from test_free_outline import section

    from snugline.fit.free.free_outline import fit_free
    from snugline.fit.geometry.primitives import rounded_rectangle
    from snugline.fit.section import Systematic

    part = rounded_rectangle(300, 100, [10, 20, 25, 15])
    ends = [
        section(part, "l.jpg", "left end", lambda p: p[:, 0] < -60, 3.1, (40, 60), seed=1),
        section(part, "r.jpg", "right end", lambda p: p[:, 0] > 80, 0.02, (9, 90), seed=2),
    ]
    apart = fit_free(ends, {"length": (300.2, 0.15)})
    even = section(rounded_rectangle(300, 100, 25), "l.jpg", "left end", lambda p: p[:, 0] < -60)
    shared = replace(even, systematic=Systematic(0.05, 1e-3, 1e-3, "a"))
    mirrored = fit_free([shared], {"length": (300.0, 0.2)}, "both")
    return joined([free_figures(apart), free_figures(mirrored)])


def free_overlapping() -> Figures:
    from test_free_outline import PALETTE, section

    from snugline.fit.free.free_outline import fit_free

    low, high = (lambda p: p[:, 0] < 60), (lambda p: p[:, 0] > -60)
    parts = [
        section(PALETTE, "a.jpg", "left end", low, 3.1, (40, 60), seed=1),
        section(PALETTE, "b.jpg", "section", high, 0.05, (200, 90), seed=2),
    ]
    return free_figures(fit_free(parts))


def free_within_tolerance() -> Figures:
    """An oval from an ellipse, and sharp corners kept apart from slight ones."""
    from test_free_outline import whole

    from snugline.fit.free.free_outline import fit_free
    from snugline.fit.geometry.primitives import filleted_polygon

    t = np.linspace(0, 2 * math.pi, 700, endpoint=False)
    oval = whole(filleted_polygon([(-40, -25), (40, -25), (40, 25), (-40, 25)], [24.9] * 4))
    points = np.column_stack([40 * np.cos(t), 25 * np.sin(t)])
    ellipse = replace(oval, points=points, noise=np.full(len(points), 0.03))
    corners = whole(
        filleted_polygon([(-70, -40), (60, -45), (80, 0), (60, 45), (-70, 40)], [0, 12, 0, 9, 0])
    )
    found = [fit_free([ellipse], tolerance=0.35), fit_free([corners])]
    return joined([free_figures(one) for one in found])


def tray_in_full() -> Figures:
    """Three clearances, notches, steps, seasons, coupons, a layout, and all files."""
    from pocket_scenes import THICKNESS, TRAY, UNCERTAINTY, choices

    from snugline.pocket.bundle import plan_files
    from snugline.pocket.cut_record import Cut
    from snugline.pocket.plan import make_plan
    from snugline.pocket.width_error import estimate

    words = zip((0.15, 0.05, 0.25), ("snug", "tight", "loose"), strict=True)
    cuts = [Cut(gap, word, "walnut", "bench router", 6.0, "firm") for gap, word in words]
    error = estimate(cuts, "bench router", "walnut", 6.0)
    plan = make_plan(TRAY, UNCERTAINTY, THICKNESS, choices(), part="tray", width_error=error)
    files = plan_files(plan)
    drawn = [number for name in sorted(files) for number in numbers_of(name, files[name])]
    prints = [
        f"{name} {hashlib.sha256(content).hexdigest()[:12]}"
        for name, content in sorted(files.items())
        if name.endswith((".pdf", ".png"))
    ]
    return plan_figures(plan) | {"drawing": drawn, "prints": prints}


def square_with_relief() -> Figures:
    from pocket_scenes import THICKNESS, UNCERTAINTY, choices

    from snugline.fit.geometry.primitives import rounded_rectangle
    from snugline.pocket.plan import make_plan

    found = []
    for relief in ("dog-bone", "t-bone along length"):
        chosen = choices(
            relief=relief, clearance={"length": "0.6 mm", "width": "0.4 mm"}, step=None,
            template={"bush": "17 mm", "cutter": "8 mm"}, coupons={"slip": True},
            push_hole=None, feet={"diameter": "12 mm", "inset": "20 mm", "deeper": "2 mm"},
            passes={"wall": "0.5 mm", "floor": "0.2 mm"}, through={"tabs": 4},
            ribbon={"side": "right", "width": "20 mm", "reach": "3 mm"},
            lip=[{"outset": "4 mm", "depth": "2 mm"}],
            label=[{"text": "TRAY", "height": "6 mm", "y": "-60 mm"}],
            recess=[{"name": "magnet", "diameter": "10 mm", "depth": "3 mm", "below": "seat"}],
            notch=[{"side": "front", "width": "22 mm", "depth": "7 mm"}],
            feeds={"feed": "1500 mm", "plunge": "500 mm", "step_over": "2.4 mm",
                   "step_down": "2 mm"},
            cutter={"diameter": "6 mm", "length": "22 mm", "taper": "1 deg", "corner": "0.5 mm"},
        )  # fmt: skip
        plan = make_plan(rounded_rectangle(200, 100), UNCERTAINTY, THICKNESS, chosen, part="tile")
        found.append(plan_figures(plan))
    return joined(found)


def wood_in_wood() -> Figures:
    from pocket_scenes import THICKNESS, UNCERTAINTY, choices, free_outline

    from snugline.place import OfKey
    from snugline.pocket.choices_record import from_record
    from snugline.pocket.plan import make_plan

    climate = {"now": {"moisture": 8}, "driest": {"humidity": 30, "celsius": 21},
               "dampest": {"humidity": 65, "celsius": 21}}  # fmt: skip
    record = {
        "clearance": ["0.6 mm", "1 mm"], "kind": "firm", "seat": "0.5 mm above",
        "cutter": {"diameter": "6 mm", "length": "22 mm"},
        "wood": {"species": "white oak", "grain": "width", "cut": "quarter sawn", **climate},
        "border": {"land": "18 mm"}, "stock": {"thickness": "19 mm"},
    }  # fmt: skip
    own = {"species": "walnut", "grain": "length", **climate}
    chosen = from_record(record, OfKey(("pocket",), "job.toml"), own)
    part = free_outline(arcs=24, length=220, width=120)
    plan = make_plan(part, UNCERTAINTY, THICKNESS, chosen, part="oval", unit="in")
    soft = choices(
        kind="soft", clearance="-0.1 mm", squeeze="0.3 mm", material=None, notch=None,
        step=None, stock={"thickness": "20 mm"}, coupons={},
    )  # fmt: skip
    pressed = make_plan(part, UNCERTAINTY, THICKNESS, soft, part="cork")
    return joined([plan_figures(plan), plan_figures(pressed)])


def shared_board() -> Figures:
    from test_shared_board import plan

    return plan_figures(plan())


JOBS: dict[str, Callable[[], Figures]] = {
    job.__name__.replace("_", " "): job
    for job in (
        two_ends, four_corners, bowed_sides, round_and_regular, free_form, free_ends_mirrored,
        free_overlapping, free_within_tolerance, tray_in_full, square_with_relief, wood_in_wood,
        shared_board,
    )
}  # fmt: skip


def fit_figures(fitted) -> Figures:
    params = [quantity for corner in fitted.corners for quantity in corner.params.values()]
    params += fitted.extras.values()
    drawn = outline_figures([fitted.outline])
    return {
        "outline": drawn["outline"],
        "radius": drawn["radius"] + [q.value for q in params],
        "size": [fitted.length.value, fitted.width.value],
        "U95": [q.u95 for q in (fitted.length, fitted.width, *params)],
        "remarks": [fitted.family, *(f"{n.code} {n.severity}" for n in fitted.notices)],
    }


def free_figures(free) -> Figures:
    radii = [segment.radius for segment in free.segments if segment.radius is not None]
    return {
        **outline_figures([free.outline]),
        "size": [free.length.value, free.width.value, *free.contradicted.values()],
        "U95": [q.u95 for q in (free.length, free.width, *radii)]
        + [segment.position_u95 for segment in free.segments],
        "remarks": [
            *(s.mark for s in free.segments),
            *(f"{n.code} {n.text}" for n in free.notices),
        ],
    }


def outline_figures(outlines: Iterable) -> Figures:
    """Where each segment begins, and its radius if it has one."""
    segments = [segment for outline in outlines for segment in outline.segments]
    return {
        "outline": [coordinate for segment in segments for coordinate in segment.start],
        "radius": [segment.radius for segment in segments if hasattr(segment, "radius")],
    }


def planned(outline, uncertainty, thickness) -> Figures:
    """Depth and opening of the plainest pocket for a fitted outline."""
    from pocket_scenes import choices

    from snugline.pocket.plan import make_plan

    chosen = choices(clearance="0.5 mm", coupons=None, stock={"thickness": "20 mm"})
    made = plan_figures(make_plan(outline, uncertainty, thickness, chosen))
    return {f"plan {kind}": values for kind, values in made.items()}


def planned_free(free) -> Figures:
    from pocket_scenes import THICKNESS

    from snugline.fit.part_uncertainty import PartUncertainty

    edge = max(segment.position_u95 for segment in free.segments)
    uncertainty = PartUncertainty(edge, free.length.u95, free.width.u95)
    return planned(free.outline, uncertainty, THICKNESS)


def plan_figures(plan) -> Figures:
    layers = [layer for sheet in plan.sheets for layer in sheet.layers]
    record = plan.as_json()
    chances = ("pockets", "times")
    return {
        **outline_figures(outline for layer in layers for outline in layer.outlines),
        "depth": [plan.depth.pocket, plan.depth.deepest, plan.depth.above, plan.depth.floor or 0.0]
        + [layer.depth for layer in layers if layer.depth is not None],
        "clearance": [*numbers_in([record[k] for k in ("gaps", "seasons", "guests", "suggestion")])]
        + [opening.clearance.length for opening in plan.openings]
        + [opening.clearance.width for opening in plan.openings],
        "U95": [plan.depth.u95],
        "chance": [*numbers_in([record[k] for k in chances])],
        "remarks": [opening.state for opening in plan.openings]
        + [f"{sheet.name} {sheet.blocked}" for sheet in plan.sheets]
        + [layer.name for layer in layers]
        + [f"{n.code} {n.severity} {n.text} {n.mend}" for n in plan.notices],
    }


def numbers_in(record: object) -> Iterable[float]:
    if isinstance(record, dict):
        record = list(record.values())
    if isinstance(record, list | tuple):
        for item in record:
            yield from numbers_in(item)
    elif isinstance(record, int | float):
        yield float(record)


def numbers_of(name: str, content: bytes) -> list[float]:
    """Every number of a drawing, in its order."""
    if not name.endswith((".svg", ".dxf")):
        return []
    return [float(n) for n in re.findall(r"-?\d+\.\d+(?:e-?\d+)?", content.decode("utf-8"))]


def joined(found: Iterable[Figures]) -> Figures:
    out: Figures = {}
    for figures in found:
        for kind, values in figures.items():
            out[kind] = out.get(kind, []) + values
    return out


def figures(
    begin: Callable[[str], object] = lambda name: None, names: Iterable[str] = tuple(JOBS)
) -> dict:
    """The figures of these jobs, or the words of what went wrong; and each one's `seconds`.

    begin : told each job's name before it begins.
    """
    out: dict = {"seconds": {}}
    for name in names:
        begin(name)
        begun = time.process_time()
        try:
            out[name] = JOBS[name]()
        except Exception as error:
            out[name] = f"{type(error).__name__}: {error}"
        out["seconds"][name] = time.process_time() - begun
    return out


def changed(own: dict, other: dict) -> dict[str, float | str]:
    """By kind, what is changed: by how much at most, or in words where that cannot be told."""
    out: dict[str, float | str] = {}
    for name in other.keys() - {"seconds"}:
        one, two = own[name], other[name]
        if isinstance(two, str):
            out["fails"] = f"({name}: {two})"
            continue
        for key in one:
            kind = key.removeprefix("plan ")
            change = _change(one[key], two.get(key, []))
            if isinstance(change, str):
                out[kind] = change
            elif change > SEEN and not isinstance(out.get(kind), str):
                out[kind] = max(change, out.get(kind, 0.0))
    return {kind: out[kind] for kind in (*KINDS, "fails") if kind in out}


def _change(one: list, two: list) -> float | str:
    if len(one) != len(two):
        return f"{len(two)} instead of {len(one)}"
    if any(isinstance(value, str) for value in one):
        return "others" if one != two else 0.0
    a, b = (np.array(values, dtype=float) for values in (one, two))
    same = (a == b) | (np.isnan(a) & np.isnan(b))
    away = np.abs(np.where(same, 0.0, a - b))
    return float(np.nan_to_num(away, nan=math.inf).max(initial=0.0))


def main() -> None:
    for name, job in JOBS.items():
        begun = time.process_time()
        counts = {kind: len(values) for kind, values in job().items()}
        print(f"{name:24} {time.process_time() - begun:6.2f} s  {json.dumps(counts)}")


if __name__ == "__main__":
    main()
