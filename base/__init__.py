"""Snugline: from photos of a bought-in part to a true outline and the pocket it drops into.

>>> import snugline
>>> sorted(snugline.__all__)[:4]
['Contour', 'CutPlan', 'FittedOutline', 'Notice']

The packages, in the order of the pipeline: `snugline.trace` (photos to contours), `snugline.fit`
(contours to an outline), `snugline.pocket` (outline to a cut plan), `snugline.api` (the
functions below) and `snugline.desk` (command line and local page). This package holds what all of
them use. Names of the other packages are imported when they are first used.
"""

from importlib import import_module
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from snugline.errors import SnuglineError
from snugline.notice import Notice

if TYPE_CHECKING:
    from snugline.api.fitting import fit_outline
    from snugline.api.measuring import measure
    from snugline.api.planning import plan_pocket
    from snugline.api.writing import write_dxf, write_pdf, write_svg
    from snugline.fit.corners.circle import fit_circle
    from snugline.fit.corners.single_corner import fit_corner
    from snugline.fit.geometry.outline import Outline
    from snugline.fit.readings.reading import Reading
    from snugline.fit.result import FittedOutline
    from snugline.pocket.plan import CutPlan
    from snugline.trace.contour import Contour
    from snugline.trace.sheet.frame_description import read_frame

__version__ = version("snugline")

__all__ = [
    "Contour",
    "CutPlan",
    "FittedOutline",
    "Notice",
    "Outline",
    "Reading",
    "SnuglineError",
    "__version__",
    "fit_circle",
    "fit_corner",
    "fit_outline",
    "measure",
    "plan_pocket",
    "read_frame",
    "write_dxf",
    "write_pdf",
    "write_svg",
]

_HOMES = {
    "Contour": "trace.contour",
    "CutPlan": "pocket.plan",
    "FittedOutline": "fit.result",
    "Outline": "fit.geometry.outline",
    "Reading": "fit.readings.reading",
    "fit_circle": "fit.corners.circle",
    "fit_corner": "fit.corners.single_corner",
    "fit_outline": "api.fitting",
    "measure": "api.measuring",
    "plan_pocket": "api.planning",
    "read_frame": "trace.sheet.frame_description",
    "write_dxf": "api.writing",
    "write_pdf": "api.writing",
    "write_svg": "api.writing",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'snugline' has no attribute {name!r}")
    return getattr(import_module(f"snugline.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
