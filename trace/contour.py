"""The contour: measured points of a part's plan outline, with the quality of its photo."""

from dataclasses import dataclass, field
from math import isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.notice import Notice

SCHEMA = "snugline/contour/1"


@dataclass(frozen=True)
class PhotoFacts:
    """The quality of one photo; pixels are those of the displayed photo.

    Attributes
    ----------
    holdout_mm : the rms error to expect of the contour's points: the hold-out error of the markers
        and the uncertainty of locating the part's own edge, combined.
    markers_holdout_mm : the hold-out error of the markers alone; NaN with too few markers.
    """

    file: str
    width: int
    height: int
    markers_found: int
    markers_total: int
    reprojection_px: float
    holdout_mm: float
    tilt_deg: float
    focal_px: float
    mm_per_px: float
    markers_holdout_mm: float

    def as_json(self) -> dict[str, Any]:
        """The `photo` object of the contour's file contract."""
        return {
            "file": self.file,
            "width": self.width,
            "height": self.height,
            "markers_found": self.markers_found,
            "markers_total": self.markers_total,
            "reprojection_px": round(self.reprojection_px, 4),
            "holdout_mm": round(self.holdout_mm, 4),
            "tilt_deg": round(self.tilt_deg, 3),
            "focal_px": round(self.focal_px, 2),
            "mm_per_px": round(self.mm_per_px, 5),
            "markers_holdout_mm": (
                round(self.markers_holdout_mm, 4) if isfinite(self.markers_holdout_mm) else None
            ),
        }


@dataclass(frozen=True)
class Curve:
    """One measured edge.

    Attributes
    ----------
    points : (N, 2) mm in the frame's coordinates, in order with the part on the left.
    sigma : (N,) mm, total standard uncertainty normal to the edge.
    noise : (N,) mm, the part of it that differs from point to point.
    closed : whether the last point joins the first.
    breaks : ascending indices of points before which a gap lies (what is in it was not seen).
    """

    points: NDArray[np.float64]
    sigma: NDArray[np.float64]
    noise: NDArray[np.float64]
    closed: bool
    breaks: tuple[int, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Points to 0.1 µm: far below what any photo gives, and short to read."""
        record: dict[str, Any] = {
            "closed": self.closed,
            "points": np.round(self.points, 4).tolist(),
            "sigma": np.round(self.sigma, 4).tolist(),
        }
        if self.breaks:
            record["breaks"] = list(self.breaks)
        return record


@dataclass(frozen=True)
class CommonUncertainty:
    """Standard uncertainties that all points of a contour share.

    Attributes
    ----------
    offset : mm along the outward normal (camera, thickness), rms over the contour.
    scale_x, scale_y : relative, along the frame's axes (from the printed bars' readings).
    """

    offset: float = 0.0
    scale_x: float = 0.0
    scale_y: float = 0.0


@dataclass(frozen=True)
class Contour:
    """The outline that one photo shows: its outer curve and any others (a hole, a second part)."""

    frame: str
    outer: Curve
    photo: PhotoFacts
    common: CommonUncertainty = field(default_factory=CommonUncertainty)
    others: tuple[Curve, ...] = ()
    notices: tuple[Notice, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The contour's file contract."""
        return {
            "schema": SCHEMA,
            "units": "mm",
            "frame": self.frame,
            **self.outer.as_json(),
            "others": [curve.as_json() for curve in self.others],
            "common": {
                "offset": round(self.common.offset, 5),
                "scale_x": round(self.common.scale_x, 7),
                "scale_y": round(self.common.scale_y, 7),
            },
            "photo": self.photo.as_json(),
            "warnings": [notice.as_json() for notice in self.notices],
        }
