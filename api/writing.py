"""Outlines and plans as files at true size, whole or not at all."""

import math
from pathlib import Path

from snugline.api.lengths_given import LengthGiven, mm_of
from snugline.errors import PlanError
from snugline.files import write_whole
from snugline.fit.drawing.drawing import Drawing, Layer, Unit
from snugline.fit.geometry.outline import Outline
from snugline.fit.result import FittedOutline
from snugline.pocket.plan import CutPlan

Drawable = Outline | FittedOutline | CutPlan | Drawing


def drawing_of(thing: Drawable, unit: Unit = "mm", clearance: LengthGiven | None = None) -> Drawing:
    """What is drawn of an outline or a plan.

    Parameters
    ----------
    unit : that the file is written in; a plan has its own.
    clearance : which of a plan's pockets; may be left out where it has one.

    Raises
    ------
    PlanError : a plan of several pockets and no clearance, or one that it does not hold.

    Examples
    --------
    >>> from snugline.fit.geometry.primitives import circle
    >>> drawing_of(circle(20)).bounds
    (-20.0, -20.0, 20.0, 20.0)
    """
    match thing:
        case Drawing():
            return thing
        case CutPlan():
            return _pocket(thing, clearance)
        case FittedOutline():
            return drawing_of(thing.outline, unit)
        case _:
            return Drawing("outline", (Layer("outline", (thing,)),), unit)


def write_svg(
    thing: Drawable, path: str | Path, unit: Unit = "mm", clearance: LengthGiven | None = None
) -> None:
    """Write an SVG at true size, in true arcs; read back and compared before it is handed over.

    Parameters are those of `drawing_of`.

    Raises
    ------
    FileError : the folder cannot be written, or the file would not hold what was drawn.
    """
    from snugline.fit.drawing import svg

    write_whole(Path(path), svg.write_svg(drawing_of(thing, unit, clearance)))


def write_dxf(
    thing: Drawable,
    path: str | Path,
    unit: Unit = "mm",
    clearance: LengthGiven | None = None,
    *,
    r12: bool = False,
) -> None:
    """Write a DXF (R2010, or R12 for old programs), in true arcs, its unit in `$INSUNITS`.

    Parameters are those of `drawing_of`.

    Raises
    ------
    FileError : the folder cannot be written, or the file would not hold what was drawn.
    """
    from snugline.fit.drawing import dxf

    version: dxf.Version = "R12" if r12 else "R2010"
    write_whole(Path(path), dxf.write_dxf(drawing_of(thing, unit, clearance), version))


def write_pdf(
    thing: Drawable,
    path: str | Path,
    unit: Unit = "mm",
    clearance: LengthGiven | None = None,
    *,
    paper: str | None = None,
) -> None:
    """Write a PDF at 1:1 with a bar to check the print; over sheets of `paper` where it is given.

    Parameters are those of `drawing_of`.

    Raises
    ------
    FileError : the folder cannot be written, or the file would not hold what was drawn.
    """
    from snugline.fit.drawing import pdf

    write_whole(Path(path), pdf.write_pdf(drawing_of(thing, unit, clearance), paper))


def _pocket(plan: CutPlan, clearance: LengthGiven | None) -> Drawing:
    openings = plan.openings
    if clearance is not None:
        asked = mm_of(clearance, "clearance")
        gaps = ((o, (o.clearance.length, o.clearance.width)) for o in openings)
        openings = tuple(
            o for o, both in gaps if all(math.isclose(gap, asked, abs_tol=1e-9) for gap in both)
        )
    if len(openings) != 1:
        held = ", ".join(o.clearance.named(plan.unit) for o in plan.openings)
        raise PlanError(
            f"the plan holds pockets for {held}", "clearance", "name one of these clearances"
        )
    if openings[0].blocked:
        raise PlanError(
            f"this pocket is not to be cut ({', '.join(openings[0].because)})",
            "clearance",
            "see the plan's notices, and plan another",
        )
    return openings[0].sheet.drawing(plan.part, plan.unit)
