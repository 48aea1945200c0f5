"""The layers of one pocket, each at its depth, and whether its holes keep clear of each other."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from snugline.counting import counted
from snugline.errors import PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Outline, polygon_of
from snugline.fit.geometry.parallel import parallel
from snugline.fit.geometry.primitives import circle
from snugline.lengths import format_length
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.pocket.access import notch_outline, push_hole_outline
from snugline.pocket.choices import Feet, PocketChoices
from snugline.pocket.cutter import UNCUT_TOL, cutter_centres, reach
from snugline.pocket.depth import Depth
from snugline.pocket.hold_down import held
from snugline.pocket.passes import with_roughing
from snugline.pocket.recess import label_layer, lip_layer, recess_layer
from snugline.pocket.relief import relieved
from snugline.pocket.sheet import PlanLayer
from snugline.sentence import Sentence, length


@dataclass(frozen=True)
class Shape:
    """What is known of a pocket before its layers: the part, its plain outline, the cut ones."""

    part: Outline
    plain: Outline
    outline: Outline
    border: Outline | None


def pocket_layers(
    shape: Shape, depth: Depth, choices: PocketChoices, unit: Unit
) -> list[PlanLayer]:
    """All layers in the order of cutting.

    Raises
    ------
    PlanError : a step that leaves nothing, recesses or holes beyond the wall.
    """

    def at(name: str, mm: float) -> str:
        return f"{name} depth {format_length(mm, unit)}"

    width = choices.cutter.diameter if choices.cutter else 0.0
    layers = [lip_layer(shape.plain, lip, unit) for lip in choices.lips]
    main = PlanLayer(at("pocket", depth.pocket), depth.pocket, (shape.outline,))
    layers += [main] if choices.passes is None else with_roughing(main, choices.passes, unit)
    if choices.step is not None:
        deep = depth.pocket + choices.step.deeper
        floors = tuple(step_floors(shape.plain, choices))
        layers.append(PlanLayer(at("step", deep), deep, floors, pattern="dashed"))
    if choices.feet is not None:
        deep = depth.pocket + choices.feet.deeper
        recesses = feet_recesses(shape.part, shape.plain, choices.feet, width)
        layers.append(PlanLayer(at("feet", deep), deep, recesses, pattern="dashed"))
    for notch in choices.notches:
        if notch.depth is not None:
            name = at(f"{notch.side} notch", notch.depth)
            bay = notch_outline(shape.plain, notch, width)
            layers.append(PlanLayer(name, notch.depth, (bay,), pattern="dotted"))
    layers += [recess_layer(r, depth.pocket, width, unit) for r in choices.recesses]
    layers += [label_layer(label, unit) for label in choices.labels]
    if choices.push_holes:
        holes = tuple(push_hole_outline(shape.plain, hole, width) for hole in choices.push_holes)
        layers.append(PlanLayer("push hole through", None, holes, pattern="dash-dot"))
    if shape.border is not None:
        layers.append(PlanLayer("border through", None, (shape.border,), pattern="dash-dot"))
    if choices.hold is not None:
        return held(layers, choices.hold, choices.stock.thickness, width, unit)
    return layers


def step_floors(plain: Outline, choices: PocketChoices) -> Iterator[Outline]:
    """The deeper floor's outlines, their corners relieved as the pocket's are."""
    assert choices.step is not None
    inner = parallel(plain, -choices.step.inset)
    if not inner:
        raise PlanError(
            f"an inset of {choices.step.inset:.2f} mm leaves nothing of the step",
            "pocket step",
            "make the inset smaller",
        )
    for floor in inner:
        if choices.cutter is None:
            yield floor
            continue
        width = choices.cutter.diameter
        cutter_centres(floor, width)
        if choices.relief is None:
            yield floor
        else:
            yield relieved(floor, width, choices.relief, choices.relief_allowance).outline


def step_notices(plain: Outline, choices: PocketChoices) -> tuple[Notice, ...]:
    """Whether the cutter leaves wood in the corners of the deeper floor."""
    if choices.step is None or choices.cutter is None:
        return ()
    width = choices.cutter.diameter
    left = [
        corner
        for floor in step_floors(plain, choices)
        for corner in reach(floor, width - UNCUT_TOL, None).uncut
    ]
    if not left:
        return ()
    return (
        Notice(
            "uncut-step-corner",
            Sentence(
                "the {} cutter leaves up to {} of wood uncut in "
                f"{counted(len(left), 'corner')} of the deeper floor; what goes down there may "
                "meet it",
                length(width),
                length(max(corner.stands for corner in left)),
            ),
            "relieve the corners (relief = ...), use a thinner cutter or square them by hand",
            "check",
            OfKey(("pocket", "step")),
        ),
    )


def feet_recesses(part: Outline, plain: Outline, feet: Feet, cutter: float) -> tuple[Outline, ...]:
    """Recesses for feet, their centres at the inset from the part's own sides."""
    low_x, low_y, high_x, high_y = part.bounds
    if feet.diameter < cutter:
        raise PlanError(
            f"recesses of {feet.diameter:.1f} mm are narrower than the cutter of {cutter:.1f} mm",
            "pocket feet",
            f"make them {cutter:.1f} mm or wider",
        )
    places = [
        (x, y)
        for y in (low_y + feet.inset, high_y - feet.inset)
        for x in (low_x + feet.inset, high_x - feet.inset)
    ]
    out = float(signed_distance(plain, np.array(places)).max()) + feet.diameter / 2
    if out > 0:
        raise PlanError(
            f"recesses for feet pass the pocket's wall by {out:.2f} mm",
            "pocket feet",
            "move them further in or make them smaller",
        )
    return tuple(circle(feet.diameter / 2, place) for place in places)


def overlap_notices(layers: list[PlanLayer], choices: PocketChoices) -> tuple[Notice, ...]:
    """Holes and recesses that cut into each other: two paths where one is meant.

    One that lies wholly in another of another depth is a step of it, and is meant so.
    """
    names = ("push hole", "feet", *(recess.name for recess in choices.recesses))
    holes = [
        (next(name for name in names if layer.name.startswith(name)), layer.depth, outline)
        for layer in layers
        if layer.name.startswith(names) and "tabs" not in layer.name
        for outline in layer.outlines
    ]
    found = []
    for (one, deep, a), (other, deeper, b) in combinations(holes, 2):
        apart = _apart(a, b, deep != deeper)
        if apart < 0:
            found.append((apart, one, other))
    if not found:
        return ()
    worst, one, other = min(found)
    what = (
        f"two of the {one.removesuffix('s')}s"
        if one == other
        else f"a {one} and one of the {other}"
    )
    return (
        Notice(
            "holes-overlap",
            Sentence(f"{what} cut into each other by {{}}", length(-worst)),
            "move them apart, or make one of them of both",
            "cannot be cut",
            one,
        ),
    )


def _apart(a: Outline, b: Outline, may_hold: bool) -> float:
    """Distance between two outlines, mm; negative by how much they lie in each other."""
    one, other = polygon_of(a), polygon_of(b)
    if not one.intersects(other):
        return float(one.distance(other))
    if may_hold and (one.contains(other) or other.contains(one)):
        return 0.0
    low_x, low_y, high_x, high_y = one.intersection(other).bounds
    return -float(min(high_x - low_x, high_y - low_y))
