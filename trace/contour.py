"""The contour: measured points of a part's plan outline, with the quality of its photo.

Its file form is written and read without loss, floats in full, so that a contour read back fits to
the same outline.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from math import isfinite, nan
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from snugline.errors import FileError
from snugline.notebook_svg import notebook_svg
from snugline.notice import Notice

SCHEMA = "snugline/contour/2"
_FIRST_SCHEMA = "snugline/contour/1"
# Of a contour of the first schema only the whole uncertainty is known; a point's own share of it is
# no less than this, since no edge is found without noise.
_LEAST_OWN_SHARE = 0.2

State = Literal["good", "usable", "retake"]


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
        """The `photo` object of the contour's file contract; null means not known."""
        record = {one.name: getattr(self, one.name) for one in fields(self)}
        return {
            key: None if isinstance(value, float) and not isfinite(value) else value
            for key, value in record.items()
        }

    @staticmethod
    def from_json(record: Mapping[str, Any]) -> "PhotoFacts":
        """What `as_json` wrote."""
        known: dict[str, Any] = {one.name: record.get(one.name) for one in fields(PhotoFacts)}
        values: dict[str, Any] = {k: nan if v is None else v for k, v in known.items()}
        return PhotoFacts(**values)


@dataclass(frozen=True)
class Alternative:
    """Another edge that is as likely over a stretch of a curve.

    Attributes
    ----------
    first, last : indices of the curve's points that it would replace, both included.
    points : (M, 2) mm in the frame's coordinates.
    probability : that this is the part's edge.
    """

    first: int
    last: int
    points: NDArray[np.float64]
    probability: float

    def as_json(self) -> dict[str, Any]:
        return {
            "first": self.first,
            "last": self.last,
            "points": self.points.tolist(),
            "probability": self.probability,
        }

    @staticmethod
    def from_json(record: Mapping[str, Any]) -> "Alternative":
        """What `as_json` wrote."""
        points = np.array(record["points"], dtype=np.float64).reshape(-1, 2)
        return Alternative(record["first"], record["last"], points, record["probability"])


@dataclass(frozen=True)
class Curve:
    """One measured edge.

    Attributes
    ----------
    points : (N, 2) mm in the frame's coordinates, in order with the part on the left.
    sigma : (N,) mm, total standard uncertainty normal to the edge: for people and pictures.
    noise : (N,) mm, the share of it that is each point's own: what a fit uses, together with
        what the points have in common (`CommonUncertainty`, `sensitivity`).
    closed : whether the last point joins the first.
    breaks : ascending indices of points before which a gap lies (what is in it was not seen).
    sensitivity : what an unknown of the part moves each point by, outwards: (N,) mm for each mm of
        `thickness`, of `edge` (rounding of the top edge) and of what it is rather a `chamfer`, mm
        for each degree of `lean`. Only what is not known exactly has an entry.
    correlation_mm : how far along the edge the noise hangs together; 0 where nothing is known.
    alternatives : other edges that are as likely over a stretch.
    """

    points: NDArray[np.float64]
    sigma: NDArray[np.float64]
    noise: NDArray[np.float64]
    closed: bool
    breaks: tuple[int, ...] = ()
    sensitivity: Mapping[str, NDArray[np.float64]] = field(default_factory=dict)
    correlation_mm: float = 0.0
    alternatives: tuple[Alternative, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The curve's share of the contour's file contract."""
        record: dict[str, Any] = {
            "closed": self.closed,
            "points": self.points.tolist(),
            "sigma": self.sigma.tolist(),
            "noise": self.noise.tolist(),
            "correlation_mm": self.correlation_mm,
            "sensitivity": {of: by.tolist() for of, by in self.sensitivity.items()},
        }
        if self.breaks:
            record["breaks"] = [int(i) for i in self.breaks]
        if self.alternatives:
            record["alternatives"] = [one.as_json() for one in self.alternatives]
        return record

    @staticmethod
    def from_json(record: Mapping[str, Any]) -> "Curve":
        """What `as_json` wrote."""
        sensitivity = record["sensitivity"].items()
        return Curve(
            np.array(record["points"], dtype=np.float64).reshape(-1, 2),
            np.array(record["sigma"], dtype=np.float64),
            np.array(record["noise"], dtype=np.float64),
            record["closed"],
            tuple(record.get("breaks", ())),
            {of: np.array(by, dtype=np.float64) for of, by in sensitivity},
            record["correlation_mm"],
            tuple(Alternative.from_json(one) for one in record.get("alternatives", ())),
        )


@dataclass(frozen=True)
class CommonUncertainty:
    """Standard uncertainties that all points of a contour share.

    Attributes
    ----------
    offset : mm along the outward normal (camera, edge model), rms over the contour; what an
        unknown of the part adds is under the curve's `sensitivity`.
    scale_x, scale_y : relative, along the frame's axes (from the printed bars' readings).
    """

    offset: float = 0.0
    scale_x: float = 0.0
    scale_y: float = 0.0


@dataclass(frozen=True)
class Contour:
    """The outline that one photo shows: its outer curve and any others (a hole, a second part).

    Attributes
    ----------
    wall : mm, the least and the greatest height of the part's wall as the photo shows it, whatever
        thickness was stated; None where it shows none.
    """

    frame: str
    outer: Curve
    photo: PhotoFacts
    common: CommonUncertainty = field(default_factory=CommonUncertainty)
    others: tuple[Curve, ...] = ()
    notices: tuple[Notice, ...] = ()
    wall: tuple[float, float] | None = None

    @property
    def state(self) -> State:
        """The photo's verdict: that of its gravest remark."""
        severities = {notice.severity for notice in self.notices}
        return (
            "retake" if "retake" in severities else "usable" if "usable" in severities else "good"
        )

    @staticmethod
    def of_points(
        points: ArrayLike, sigma: float, name: str = "points", closed: bool = True
    ) -> "Contour":
        """A contour of points from elsewhere, such as a scan or a coordinate measuring machine.

        Parameters
        ----------
        points : (N, 2) mm, in order along the edge with the part on the left.
        sigma : mm, standard uncertainty of each point normal to the edge, independent of others.
        name : of the set, for messages.

        Examples
        --------
        >>> Contour.of_points([(0, 0), (30, 0), (30, 10)], sigma=0.02).outer.closed
        True
        """
        at = np.array(points, dtype=np.float64).reshape(-1, 2)
        spread = np.full(len(at), float(sigma))
        facts = PhotoFacts(name, 0, 0, 0, 0, nan, float(sigma), nan, nan, nan, nan)
        return Contour(name, Curve(at, spread, spread.copy(), closed), facts)

    @property
    def __geo_interface__(self) -> dict[str, Any]:
        """GeoJSON of the outer curve: a polygon where it is closed, else a line."""
        line = [(float(x), float(y)) for x, y in self.outer.points]
        if self.outer.closed:
            return {"type": "Polygon", "coordinates": [[*line, *line[:1]]]}
        return {"type": "LineString", "coordinates": line}

    def _repr_svg_(self) -> str:
        curves = (self.outer, *self.others)
        return notebook_svg((curve.points.tolist(), curve.closed) for curve in curves)

    def as_json(self) -> dict[str, Any]:
        """The contour's file contract."""
        seen = {} if self.wall is None else {"wall": list(self.wall)}
        return {
            "schema": SCHEMA,
            "units": "mm",
            "frame": self.frame,
            "state": self.state,
            **self.outer.as_json(),
            "others": [curve.as_json() for curve in self.others],
            "common": {one.name: getattr(self.common, one.name) for one in fields(self.common)},
            "photo": self.photo.as_json(),
            "warnings": [notice.as_json() for notice in self.notices],
            **seen,
        }

    @staticmethod
    def from_json(record: Mapping[str, Any], where: str = "contour") -> "Contour":
        """What `as_json` wrote, to the last bit; a file of the first schema with a remark.

        Parameters
        ----------
        where : the file, for messages.

        Raises
        ------
        FileError : no contour.
        """
        try:
            schema = record["schema"]
            if schema == _FIRST_SCHEMA:
                record = _from_first(record)
            elif schema != SCHEMA:
                raise ValueError(f"its schema is {schema!r}")
            low, high = record.get("wall", (nan, nan))
            return Contour(
                frame=record["frame"],
                outer=Curve.from_json(record),
                photo=PhotoFacts.from_json(record["photo"]),
                common=CommonUncertainty(**record["common"]),
                others=tuple(Curve.from_json(curve) for curve in record["others"]),
                notices=tuple(map(Notice.from_json, record["warnings"])),
                wall=(low, high) if low <= high else None,
            )
        except (KeyError, TypeError, ValueError) as error:
            raise FileError(
                f"cannot be read as a contour ({error})",
                where,
                "give a contour that `snugline trace` wrote",
            ) from error


def _from_first(record: Mapping[str, Any]) -> dict[str, Any]:
    """A record of the first schema in the form of the present one."""
    shared = record["common"]["offset"]

    def curve(one: Mapping[str, Any]) -> dict[str, Any]:
        sigma = np.array(one["sigma"], dtype=np.float64)
        own = np.sqrt(np.maximum(sigma**2 - shared**2, (_LEAST_OWN_SHARE * sigma) ** 2))
        return {**one, "noise": own.tolist(), "correlation_mm": 0.0, "sensitivity": {}}

    word = Notice(
        "contour-of-first-schema",
        "The contour was written by an earlier version: each point's own noise is estimated from "
        "its whole uncertainty.",
        "Trace the photo again to have it exactly.",
        "fine",
    )
    kept = ("code", "text", "mend", "severity")  # places were written in another form
    return {
        **curve(record),
        "others": [curve(one) for one in record["others"]],
        "warnings": [*({k: one[k] for k in kept} for one in record["warnings"]), word.as_json()],
    }
