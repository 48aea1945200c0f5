"""What is sent to the page about contours, outline and plan: results as plain records."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.desk.job import Job
from snugline.desk.job_outline import Fitting, job_state
from snugline.desk.job_run import sides_of
from snugline.desk.job_tables import LeaveOutTable
from snugline.desk.pictures import Along, along_outline
from snugline.desk.result_record import has_sizes
from snugline.desk.second_sheet import second_sheet
from snugline.desk.turning import turned_box, turned_points, turned_size
from snugline.fit.contour_section import kept_points, section_of
from snugline.fit.drawing.svg import path_data
from snugline.fit.geometry.outline import Outline
from snugline.fit.result import CornerResult, FittedOutline, SectionResult
from snugline.notice import Notice
from snugline.pocket.cutter import cutter_path
from snugline.pocket.opening import Opening
from snugline.pocket.plan import CutPlan
from snugline.pocket.sheet import PlanLayer
from snugline.sentence import Sentence, length
from snugline.trace.camera.projection import Camera
from snugline.trace.contour import Contour
from snugline.trace.measure import Measured, MeasuredPhoto, PartSides
from snugline.trace.sheet.frame_description import Frame

Floats = NDArray[np.float64]

_SHOWN = 600  # points of a photo in the ribbon of residuals
_OUTLINE_STEP = 1.0  # mm along the outline that is laid over a photo
_PLAN_KEYS = ("pockets", "guests", "depth", "gaps", "seasons", "suggestion", "times")
_MARGIN = 0.03  # round a drawing, of its larger side


def photo_answer(record: Mapping[str, Any], turn: int) -> dict[str, Any]:
    """Facts and verdict of one photo, from its measured record."""
    contour = record["contour"]
    facts = contour["photo"]
    size = (facts["width"], facts["height"])
    notices = [
        {
            **notice,
            "number": number,
            "region": turned_box(tuple(notice["place"]["region_px"]), turn, size)
            if "region_px" in notice.get("place", {})
            else None,
        }
        for number, notice in enumerate(contour["warnings"], start=1)
    ]
    width, height = turned_size(size, turn)
    return {
        "width": width,
        "height": height,
        "verdict": worst(notice["severity"] for notice in notices),
        "notices": notices,
        "facts": {k: v for k, v in facts.items() if k not in ("file", "width", "height")},
    }


def worst(severities: Any) -> str:
    """The gravest of `fine`, `usable` and `retake`."""
    order = ("fine", "usable", "retake")
    return order[max((order.index(one) for one in severities), default=0)]


def first_cause(
    result: Mapping[str, Any], shown: Sequence[Mapping[str, Any]]
) -> Mapping[str, Any] | None:
    """The remark that decides a result's state."""
    because = result.get("because") or [None]
    every = [*result.get("notices", []), *(n for photo in shown for n in photo["notices"])]
    return next((notice for notice in every if notice["code"] == because[0]), None)


def contour_answer(
    measured: Measured, fitted: Mapping[str, Any] | None, number: int, turn: int
) -> dict[str, Any]:
    """The curves of one photo in its pixels, with their residuals where there is an outline."""
    photo = measured.photos[number]
    facts = photo.contour.photo
    size = (facts.width, facts.height)
    share = fitted["photos"][number] if fitted is not None else {}

    def px(points: Floats) -> list[Any]:
        listed: list[Any] = np.round(turned_points(points, turn, size), 2).tolist()
        return listed

    curves = []
    pairs = zip((photo.contour.outer, *photo.contour.others), photo.contour_px, strict=True)
    for place, (curve, pixels) in enumerate(pairs):
        known = share if place == 0 else {}
        curves.append(
            {
                "outer": place == 0,
                "closed": curve.closed,
                "breaks": list(curve.breaks),
                "px": px(pixels),
                "mm": np.round(curve.points, 3).tolist(),
                "residual": known.get("residual"),
                "kept": known.get("kept"),
                "left_out": known.get("left_out", [0] * len(pixels)),
            }
        )
    width, height = turned_size(size, turn)
    return {
        "width": width,
        "height": height,
        "together": len(measured.photos) > 1,
        "curves": curves,
        "markers_used": px(photo.markers_used),
        "markers_rejected": px(photo.markers_rejected),
        "outline_px": [px(np.array(line)) for line in share.get("outline_px", [])],
    }


def fit_answer(job: Job, measured: Measured, fitting: Fitting) -> dict[str, Any]:
    """The outline with all that is known about it, and each photo's share of the fit."""
    fitted = fitting.fitted
    outline = fitted.outline
    contours = [photo.contour for photo in measured.photos]
    state = job_state(job, fitted.notices, contours, measured.joined, measured.notices)
    of_photos = {notice for contour in contours for notice in contour.notices}
    by_name = {section.name: section for section in fitted.sections}
    joined = by_name.get("all photos")
    files = {str(photo.file): i for i, photo in enumerate(job.photo)}
    record: dict[str, Any] = {
        **fitted.as_json(),
        "state": state.state,
        "because": list(state.because),
        "has_sizes": has_sizes(state),
        "corners": [_corner_answer(corner) for corner in fitted.corners],
        "extras": {name: size.as_json() for name, size in fitted.extras.items()},
        "d": path_data(outline),
        "bounds": [round(v, 4) for v in outline.bounds],
        "perimeter": round(outline.perimeter, 4),
        "along": [
            {"name": s.name, "index": files.get(s.name), **_thinned(along_of(s, outline))}
            for s in fitted.sections
        ],
        "nominal": [
            {
                "of": entry.of,
                "candidates": [[c.label, c.value, round(c.weight, 3)] for c in entry.candidates],
                "none": round(entry.none, 3),
                "decisive": entry.decisive.label if entry.decisive is not None else None,
            }
            for entry in fitting.nominal
        ],
        "budget": [_without_gains(budget.as_json()) for budget in fitted.budgets],
        "gains": sorted(
            (
                {"of": budget.of, "u95": budget.u95, "then": gain.u95, "by": gain.by}
                for budget in fitted.budgets
                for gain in budget.gains
            ),
            key=lambda gain: gain["then"] - gain["u95"],
        ),
        "second_sheet": _second_sheet(job, fitted, contours),
        "notices": [notice_answer(n) for n in state.notices if n not in of_photos],
    }
    sides = sides_of(job)
    shares = []
    for photo, table in zip(measured.photos, job.photo, strict=True):
        section = joined or by_name.get(photo.contour.photo.file)
        tables = [one for one in job.leave_out if joined or one.photo == str(table.file)]
        own = section if section is not None and measured.joined is None else None
        share = _share(photo, table.shows, tables, own)
        if section is not None:
            share["outline_px"] = laid_over(photo, outline, section.part_from_frame, sides)
        shares.append(share)
    return {"outline": record, "photos": shares}


def _corner_answer(corner: CornerResult) -> dict[str, Any]:
    return {
        "at": corner.at,
        "family": corner.family,
        "sizes": {name: size.as_json() for name, size in corner.params.items()},
        "seen": corner.seen,
        "ranking": [[family, round(weight, 3)] for family, weight in corner.ranking],
    }


def along_of(section: SectionResult, outline: Outline) -> Along:
    return along_outline(section.name, outline, section.points[section.kept])


def _second_sheet(
    job: Job, fitted: FittedOutline, contours: Sequence[Contour]
) -> dict[str, Any] | None:
    """What a second sheet would bring, in words with their quantities; None where nothing."""
    frames = job.frames()
    alone = len(frames) == 1 and isinstance(frames[0], Frame)
    found = second_sheet(fitted, contours) if alone else None
    if found is None:
        return None
    says = Sentence(
        "The length rests on tape or rule alone, to {} (U95). A second sheet under the other end, "
        "in the same photos, would give it to about {}.",
        length(found.u95),
        length(found.then),
    )
    return {"u95": found.u95, "then": found.then, "says": says.as_json()}


def _thinned(share: Along) -> dict[str, Any]:
    step = max(1, len(share.residual) // _SHOWN)
    return {
        "position": np.round(share.position[::step], 2).tolist(),
        "residual": np.round(share.residual[::step], 4).tolist(),
        "foot": np.round(share.foot[::step], 3).tolist(),
        "normal": np.round(share.normal[::step], 4).tolist(),
    }


def _without_gains(record: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in record.items() if key != "gains"}


def _share(
    photo: MeasuredPhoto,
    shows: str,
    tables: Sequence[LeaveOutTable],
    section: SectionResult | None,
) -> dict[str, Any]:
    """Residuals of a photo's contour, point by point in the contour's own order."""
    whole = section_of(photo.contour, shows)
    order = kept_points(whole, tables)
    count = len(whole.points)
    out = np.ones(count, dtype=int)
    out[order] = 0
    share: dict[str, Any] = {"left_out": out.tolist(), "residual": None, "kept": None}
    if section is not None and len(section.residuals) == len(order):
        residual, kept = np.zeros(count), np.zeros(count, dtype=int)
        residual[order], kept[order] = section.residuals, section.kept
        share["residual"] = np.round(residual, 4).tolist()
        share["kept"] = kept.tolist()
    return share


def laid_over(
    photo: MeasuredPhoto, outline: Outline, part_from_frame: Floats, sides: PartSides
) -> list[Any]:
    """Polylines of the outline in the photo's pixels, as the camera sees that edge of the part.

    On the side facing the camera the bottom edge is seen, on the other side the top edge. For
    display only: the small inset of the top edge is ignored.
    """
    part = outline.sampled(_OUTLINE_STEP)
    turn, shift = part_from_frame[:, :2], part_from_frame[:, 2]
    frame: Floats = (part - shift) @ np.linalg.inv(turn).T
    normal = _outward(frame)
    camera: Camera = photo.camera
    sees_foot = np.sum((camera.centre[:2] - frame) * normal, axis=1) > 0
    size = sides.edge_size if sides.edge != "none" else 0.0
    height = np.where(sees_foot, 0.0, sides.thickness - size)
    pixels = camera.pixels(np.column_stack([frame, height]))
    facts = photo.contour.photo
    inside = np.all((pixels > -1) & (pixels < [facts.width, facts.height]), axis=1)
    cuts = np.flatnonzero(np.diff(inside.astype(int)) | np.diff(sees_foot.astype(int))) + 1
    pieces = np.split(np.arange(len(pixels)), cuts)
    return [np.round(pixels[p], 2).tolist() for p in pieces if len(p) > 1 and inside[p[0]]]


def _outward(points: Floats) -> Floats:
    """(N, 2) directions to the right of a closed line of points that runs counter-clockwise."""
    along = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    return np.column_stack([along[:, 1], -along[:, 0]])


def notice_answer(notice: Notice) -> dict[str, Any]:
    """A remark; its key in the job is found when it is sent. `where` names what it is about."""
    where = "" if notice.about is None else str(notice.about)
    return {**notice.as_json(), "where": where}


def plan_answer(plan: CutPlan) -> dict[str, Any]:
    """The cut plan: its drawings as paths, its figures and its remarks."""
    record = plan.as_json()
    return {
        "unit": plan.unit,
        "sheets": [
            {
                "name": sheet.name,
                "title": sheet.title(plan.unit),
                "clearance": None if sheet.clearance is None else sheet.clearance.as_json(),
                "blocked": sheet.blocked,
                "view_box": _view_box(sheet.layers),
                "layers": [_layer(layer) for layer in sheet.layers],
                "cutter": _cutter(plan.openings[number]) if number < len(plan.openings) else None,
            }
            for number, sheet in enumerate(plan.sheets)
        ],
        **{key: record[key] for key in _PLAN_KEYS},
        "suggestion": record["suggestion"] | {"basis": plan.suggestion.basis.as_json()},
        "notices": [notice_answer(notice) for notice in plan.notices],
        "cautions": record["cautions"],
    }


def blocking(plan: Mapping[str, Any]) -> dict[str, Any] | None:
    """The remark for which none of a plan's pockets can be cut; None where one can."""
    pockets = plan.get("pockets", [])
    if any(pocket["state"] != "not to be cut" for pocket in pockets):
        return None
    causes = [code for pocket in pockets for code in pocket["because"]]
    return next((n for n in plan.get("notices", []) if n["code"] in causes), None)


def _cutter(opening: Opening) -> dict[str, Any] | None:
    """The cutter's way along the walls and the wood that it leaves; None without a cutter."""
    found = opening.reach
    if found is None:
        return None
    path = cutter_path(opening.outline, found.diameter)
    left = (opening.outline, *path.cleared) if found.uncut else ()
    return {
        "diameter": found.diameter,
        "path": "".join(map(path_data, path.centres)),
        "uncut": "".join(map(path_data, left)),
        "corners": [{"at": corner.at, "stands": corner.stands} for corner in found.uncut],
    }


def _layer(layer: PlanLayer) -> dict[str, Any]:
    strokes = ["M" + "L".join(f"{x:.3f} {-y:.3f}" for x, y in stroke) for stroke in layer.strokes]
    return {
        "name": layer.name,
        "depth": layer.depth,
        "pattern": layer.pattern,
        "d": "".join([*(path_data(outline) for outline in layer.outlines), *strokes]),
    }


def _view_box(layers: Sequence[PlanLayer]) -> list[float]:
    bounds = np.array([outline.bounds for layer in layers for outline in layer.outlines])
    x0, y0 = bounds[:, :2].min(axis=0)
    x1, y1 = bounds[:, 2:].max(axis=0)
    margin = _MARGIN * max(x1 - x0, y1 - y0)
    box = (x0 - margin, -y1 - margin, x1 - x0 + 2 * margin, y1 - y0 + 2 * margin)
    return [round(float(v), 3) for v in box]
