"""From an outline to the pocket that the part drops into."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

from snugline.api.lengths_given import LengthGiven, mm_of
from snugline.errors import InputError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.part_uncertainty import part_uncertainty
from snugline.fit.readings.thickness import thickness_of
from snugline.fit.result import FittedOutline
from snugline.pocket.choices_record import from_record
from snugline.pocket.plan import CutPlan, make_plan

ClearanceGiven = LengthGiven | Mapping[str, LengthGiven]


def plan_pocket(
    fitted: FittedOutline,
    clearance: ClearanceGiven | Sequence[ClearanceGiven],
    *,
    thickness: LengthGiven | None = None,
    part: str = "part",
    unit: Unit = "mm",
    **choices: Any,
) -> CutPlan:
    """Plan the pocket of a part.

    Parameters
    ----------
    fitted : as `fit_outline` gives it.
    clearance : gap per side between part and wood, one or several; a pocket is planned for each.
        A gap of its own along each axis is `{"length": "0.6 mm", "width": "0.4 mm"}`.
    thickness : of the part, where the fit had none.
    part : its name, for files and layers.
    unit : that the files are written in.
    choices : any other key of the job file's `[pocket]` with its value as written there, such as
        `cutter={"diameter": "6 mm"}`, `seat="flush"`, `relief="dog-bone"`.

    Raises
    ------
    InputError : a key or value that `[pocket]` does not have, or no thickness.
    PlanError : a plan that cannot be cut.

    Examples
    --------
    >>> from snugline.api.fitting import fit_outline
    >>> from snugline.fit.geometry.primitives import rounded_rectangle
    >>> from snugline.trace.contour import Contour
    >>> points = rounded_rectangle(150, 80, 12).sampled(0.5)
    >>> contour = Contour.of_points(points, sigma=0.02)
    >>> fitted = fit_outline([contour])
    >>> plan = plan_pocket(fitted, "0.8 mm", thickness="5.27 mm")
    >>> [sheet.name for sheet in plan.sheets][:1]
    ['pocket']
    """
    alone = isinstance(clearance, str | float | int | Mapping)
    several = [clearance] if alone else list(cast(Sequence[ClearanceGiven], clearance))
    table = {"clearance": [_written(cast(ClearanceGiven, one)) for one in several]}
    known = fitted.thickness
    if thickness is not None:
        known = thickness_of((), mm_of(thickness, "thickness"))
    if known is None:
        raise InputError(
            "no thickness is known", "plan_pocket", 'give thickness="9.5 mm", or a reading of it'
        )
    return make_plan(
        fitted.outline,
        part_uncertainty(fitted),
        known,
        from_record(table | choices),
        part=part,
        unit=unit,
    )


def _written(clearance: ClearanceGiven) -> Any:
    """As the job file would have it."""
    if isinstance(clearance, Mapping):
        return {axis: _written(gap) for axis, gap in clearance.items()}
    return clearance if isinstance(clearance, str) else f"{clearance!r} mm"
