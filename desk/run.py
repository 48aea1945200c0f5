"""A whole job: photos to contours, contours and readings to an outline, and all files of it.

Everything is made in memory; `snugline.desk.folder` moves it in when it is complete.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from snugline.desk.console import Step
from snugline.desk.folder import INDEX
from snugline.desk.job import Job
from snugline.desk.pictures import along_outline
from snugline.desk.pocketing import plan_of, reading_lines
from snugline.desk.report import ReportInput, report_html
from snugline.desk.snapping import snapped
from snugline.desk.wording import measure
from snugline.fit.adjust import fit_outline
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.drawing.dxf import Version, write_dxf
from snugline.fit.drawing.pdf import write_pdf
from snugline.fit.drawing.svg import write_svg
from snugline.fit.nominal import Dimension, NominalSet, nominal_candidates, parse_listed
from snugline.fit.result import FittedOutline
from snugline.fit.section import Section, Systematic
from snugline.notice import Notice
from snugline.pocket.bundle import bundle as archive
from snugline.pocket.bundle import plan_files
from snugline.trace.contour import Contour
from snugline.trace.known_cameras import lens_finder
from snugline.trace.measure import PartSides, measure_photos
from snugline.trace.overlay import draw_overlay

SCHEMA = "snugline/result/1"


@dataclass(frozen=True)
class Finished:
    """What a job gives: its files by name, the record of `result.json`, and all remarks."""

    files: dict[str, bytes]
    record: dict[str, Any]
    notices: tuple[Notice, ...]


def run_job(job: Job, bundle: bool = False, step: Step = lambda text: None) -> Finished:
    """Measure, fit and draw. Nothing is written.

    Raises
    ------
    SnuglineError : a photo, a frame, the fit or the plan refuses the job.
    """
    step(f"measuring {len(job.photo)} photos")
    files = [job.beside(p.file) for p in job.photo]
    measured = measure_photos(files, job.frames(), sides_of(job), lens_finder(job.camera))
    step("drawing the overlays")
    overlays = {
        str(table.file): draw_overlay(photo)
        for table, photo in zip(job.photo, measured.photos, strict=True)
    }
    contours = [photo.contour for photo in measured.photos]
    return finish(job, contours, overlays, measured.joined, measured.notices, bundle, step)


def finish(
    job: Job,
    contours: Sequence[Contour],
    overlays: Mapping[str, bytes],
    joined: Contour | None = None,
    notices: Sequence[Notice] = (),
    bundle: bool = False,
    step: Step = lambda text: None,
) -> Finished:
    """From contours to every file of the job.

    Parameters
    ----------
    contours, overlays : one for each of the job's photos; overlays by the photo's file.
    joined : the one contour of all photos, where several frames lie under the part.
    """
    step("fitting the outline")
    if joined is not None:
        shows = "whole" if joined.outer.closed else "section"
        sections = [replace(section_of(joined, shows), name="all photos")]
    else:
        sections = [
            section_of(contour, table.shows)
            for contour, table in zip(contours, job.photo, strict=True)
        ]
    part = job.part
    fitted = fit_outline(
        sections,
        job.readings,
        part.family,
        part.symmetry,
        listed=_listed_size(part.listed),
        thickness=part.thickness,
    )
    nominal = nominal_sizes(fitted, part.listed)
    if part.snap:
        fitted = snapped(fitted, nominal, sections, job.readings, part.symmetry)
    remarks = [*notices, *(notice for contour in contours for notice in contour.notices)]
    remarks += [*fitted.notices, *_other_curves(contours)]

    step("drawing")
    unit = job.output.units
    drawing = Drawing(part.name, (Layer("outline", (fitted.outline,)),), unit)
    files = drawing_files(drawing, "outline", job.output.dxf)
    files[f"outline-tiled-{job.output.paper}.pdf"] = write_pdf(drawing, job.output.paper)
    plan = plan_of(job, fitted, choices) if (choices := job.choices) is not None else None
    if plan is not None:
        r12 = job.output.dxf == "R12"
        files |= plan_files(plan, reading_lines(job), job.output.paper, r12)
        remarks += plan.notices
    names = overlay_names([photo.file for photo in job.photo])
    files |= {names[file]: png for file, png in overlays.items()}

    unique = tuple(dict.fromkeys(remarks))
    record: dict[str, Any] = {
        "schema": SCHEMA,
        "units": "mm",
        "part": part.name,
        "outline": fitted.as_json()
        | {"extras": {name: quantity.as_json() for name, quantity in fitted.extras.items()}},
        "nominal": [entry.as_json() for entry in nominal],
        "budget": [budget.as_json() for budget in fitted.budgets],
        "photos": [
            {**contour.photo.as_json(), "file": str(table.file)}
            for contour, table in zip(contours, job.photo, strict=True)
        ],
        "cut_plan": plan.as_json() if plan is not None else {"layers": []},
        "warnings": [notice.as_json() for notice in unique],
    }
    shares = [along_outline(s.name, fitted.outline, s.points[s.kept]) for s in fitted.sections]
    sheets = {s.title(unit): s.drawing(part.name, unit) for s in plan.sheets} if plan else {}
    report = ReportInput(part.name, record, fitted.outline, shares, overlays, sheets, unit)
    files["report.html"] = report_html(report).encode()
    if bundle:
        # The overlays are reduced inside the report; whole they would be most of the archive.
        handed = {name: data for name, data in files.items() if name not in names.values()}
        files[f"bundle-units-{unit}.zip"] = archive(handed)
    record["files"] = sorted([*files, INDEX])
    files[INDEX] = (
        json.dumps(record, indent=1, allow_nan=False, ensure_ascii=False) + "\n"
    ).encode()
    return Finished(files, record, unique)


def drawing_files(drawing: Drawing, stem: str, dxf: Version = "R2010") -> dict[str, bytes]:
    """A drawing in each format, by file name."""
    return {
        f"{stem}.svg": write_svg(drawing),
        f"{stem}.dxf": write_dxf(drawing, dxf),
        f"{stem}.pdf": write_pdf(drawing),
    }


def overlay_names(photos: Sequence[Path]) -> dict[str, str]:
    """An overlay's file name for each photo; photos of one name in two folders get a number."""
    names: dict[str, str] = {}
    for photo in photos:
        name, count = f"overlay-{photo.stem}.png", 2
        while name in names.values():
            name, count = f"overlay-{photo.stem}-{count}.png", count + 1
        names[str(photo)] = name
    return names


def nominal_sizes(fitted: FittedOutline, listed: str | None) -> tuple[NominalSet, ...]:
    """Likely drawn sizes of length, width and each corner size that is not said twice."""
    dimensions = {"length": fitted.length, "width": fitted.width}
    for corner in fitted.corners:
        for name, quantity in corner.params.items():
            if name in ("radius", "leg") and quantity not in dimensions.values():
                known = f"corner {name}" in dimensions
                dimensions[f"{corner.at} {name}" if known else f"corner {name}"] = quantity
    given = [Dimension(of, q.value, q.u95) for of, q in dimensions.items()]
    return nominal_candidates(given, (listed,) if listed else ())


def _listed_size(listed: str | None) -> tuple[float, float] | None:
    """The seller's size in mm, the longer one as the length, whichever is named first."""
    if listed is None:
        return None
    first, second = (mm for mm, _ in parse_listed(listed))
    return max(first, second), min(first, second)


def _other_curves(contours: Sequence[Contour]) -> list[Notice]:
    return [
        Notice(
            "second-contour",
            f"{len(contour.others)} more contours lie in the window: a hole or another part.",
            "The outline is that of the largest; take away what does not belong to the part.",
            "usable",
            contour.photo.file,
        )
        for contour in contours
        if contour.others
    ]


def summary(record: Mapping[str, Any], folder: Path) -> tuple[str, ...]:
    """A few lines for the terminal: the dimensions, and where the files are."""
    outline = record["outline"]
    sizes = {what: outline[what] for what in ("length", "width")}
    corners: dict[tuple[str, float, float], list[str]] = {}
    for corner in outline["corners"]:
        for name, size in corner.items():
            if isinstance(size, dict):
                alike = corners.setdefault((name, size["value"], size["u95"]), [])
                alike.append(corner["at"])
    for (name, value, u95), places in corners.items():
        where = "all corners" if len(places) == len(outline["corners"]) else ", ".join(places)
        sizes[f"{where}, {name}"] = {"value": value, "u95": u95}
    lines = [f"{record['part']}: {outline['family']}"]
    lines += [
        f"  {what}: {measure(what, size['value'])}, U95 {measure(what, size['u95'])}"
        for what, size in sizes.items()
    ]
    return (*lines, f"  files: {folder}")


def sides_of(job: Job) -> PartSides:
    """The profile of the part's edge, from the job's part and thickness readings."""
    part, (thickness, u) = job.part, job.thickness
    if part.edge_radius is not None:
        return PartSides(thickness, u, "round", part.edge_radius, part.draft)
    if part.edge_chamfer is not None:
        return PartSides(thickness, u, "chamfer", part.edge_chamfer, part.draft)
    return PartSides(thickness, u, draft=part.draft)


def section_of(contour: Contour, shows: str) -> Section:
    """A contour as the fit takes it; the sheet's name tells which sections share a print.

    What a contour's points have in common enters as such, and only the rest as their noise.
    """
    return Section(
        name=contour.photo.file,
        shows=shows,
        points=contour.outer.points,
        sigma=contour.outer.noise,
        closed=contour.outer.closed,
        breaks=contour.outer.breaks,
        systematic=Systematic(
            contour.common.offset,
            contour.common.scale_x,
            contour.common.scale_y,
            scale_group=contour.frame,
        ),
    )
