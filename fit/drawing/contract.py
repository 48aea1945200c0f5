"""What every written drawing must hold, checked on the file itself before it is handed over.

A file is read back and compared with what was drawn: same unit, layers, patterns and texts; for
each outline the same lines and arcs in one closed path; area and perimeter to `RELATIVE_TOL`,
each node to `NODE_TOL`. That no path is open, no segment of zero length and no arc inconsistent,
the outline itself demands when it is read.
"""

import math
from collections.abc import Iterator

from snugline.counting import counted
from snugline.errors import FileError
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.geometry.outline import Outline, Point
from snugline.fit.geometry.primitives import as_circle

RELATIVE_TOL = 1e-8
NODE_TOL = 1e-6  # mm


def verify(drawn: Drawing, found: Drawing, kind: str) -> None:
    """Compare a drawing with what was read back from its file.

    Raises
    ------
    FileError : the first difference; the file must not be used.
    """
    for difference in differences(drawn, found):
        raise FileError(
            f"the {kind} file as written differs from the drawing: {difference}",
            f"drawing {drawn.title!r}",
            "do not cut from it; report this with the job file",
        )


def differences(drawn: Drawing, found: Drawing) -> Iterator[str]:
    """How a read drawing differs from the drawn one, one sentence for each difference."""
    if found.unit != drawn.unit:
        yield f"the unit is {found.unit}, not {drawn.unit}"
    names = [layer.name for layer in drawn.layers]
    if (read := [layer.name for layer in found.layers]) != names:
        yield f"the layers are {read}, not {names}"
        return
    for one, other in zip(drawn.layers, found.layers, strict=True):
        for difference in _layer_differences(one, other):
            yield f"layer {one.name!r}: {difference}"


def _layer_differences(drawn: Layer, found: Layer) -> Iterator[str]:
    if found.pattern != drawn.pattern:
        yield f"its lines are {found.pattern}, not {drawn.pattern}"
    if (texts := [n.text for n in found.notes]) != [n.text for n in drawn.notes]:
        yield f"its notes are {texts}"
    if [len(s) for s in found.strokes] != [len(s) for s in drawn.strokes]:
        yield f"it has {counted(len(found.strokes), 'stroke')}, not {len(drawn.strokes)}"
    if len(found.outlines) != len(drawn.outlines):
        yield f"it has {counted(len(found.outlines), 'closed path')}, not {len(drawn.outlines)}"
        return
    for number, (one, other) in enumerate(
        zip(drawn.outlines, found.outlines, strict=True), start=1
    ):
        for difference in _outline_differences(one, other):
            yield f"path {number}: {difference}"


def _outline_differences(drawn: Outline, found: Outline) -> Iterator[str]:
    if (circle := as_circle(drawn)) is not None:
        yield from _circle_differences(circle, as_circle(found))
        return
    kinds = [type(s) for s in drawn.segments]
    if [type(s) for s in found.segments] != kinds:
        yield f"it has {counted(len(found.segments), 'segment')} of {len(kinds)}, or other kinds"
        return
    away = max(
        math.dist(one.start, other.start)
        for one, other in zip(drawn.segments, found.segments, strict=True)
    )
    if away > NODE_TOL:
        yield f"a node is {away:.3g} mm away"
    for what, one, other in (
        ("area", drawn.area, found.area),
        ("perimeter", drawn.perimeter, found.perimeter),
    ):
        if abs(one - other) > RELATIVE_TOL * abs(one) + NODE_TOL * NODE_TOL:
            yield f"its {what} is {other:.9g}, not {one:.9g}"


def _circle_differences(
    drawn: tuple[Point, float], found: tuple[Point, float] | None
) -> Iterator[str]:
    """A circle has no first point to compare; its centre and radius define it."""
    if found is None:
        yield "it is not a whole circle"
    elif math.dist(drawn[0], found[0]) + abs(drawn[1] - found[1]) > NODE_TOL:
        yield f"its circle is {math.dist(drawn[0], found[0]):.3g} mm away or of another size"
