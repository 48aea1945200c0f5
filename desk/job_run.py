"""A whole job: photos to contours, contours and readings to an outline, and all its files.

Everything is made in memory; `snugline.desk.result_folder` moves it in when it is complete.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from threadpoolctl import threadpool_limits

from snugline.api.part_sides import part_sides
from snugline.counting import counted
from snugline.desk.console import Step
from snugline.desk.job import Job
from snugline.desk.job_outline import fit_job
from snugline.desk.pictures import along_outline
from snugline.desk.pocketing import plan_of, reading_lines
from snugline.desk.report import ReportInput, report_html
from snugline.desk.result_folder import INDEX, manifest
from snugline.desk.turning import turned_png
from snugline.desk.wording import measure
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.drawing.dxf import Version, write_dxf
from snugline.fit.drawing.pdf import write_pdf
from snugline.fit.drawing.svg import write_svg
from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.pocket.bundle import bundle as archive
from snugline.pocket.bundle import plan_files
from snugline.trace.contour import Contour
from snugline.trace.image.photo_file import Photo
from snugline.trace.known_cameras import lens_finder
from snugline.trace.measure import Measured, MeasuredPhoto, PartSides, measure_photos
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
    # Sums in another order differ in the last bit: with one thread, equal jobs give equal bytes on
    # machines with any number of cores. The matrices are small, so it is not slower either.
    with threadpool_limits(1, "blas"):
        step(f"measuring {counted(len(job.photo), 'photo')}")
        overlays: dict[Path, bytes] = {}

        def draw(measured: MeasuredPhoto, photo: Photo) -> None:
            overlays[measured.file] = draw_overlay(measured, photo.rgb)

        return finish_measured(job, measure_job(job, draw), bundle, step, overlays)


def measure_job(
    job: Job, finished: Callable[[MeasuredPhoto, Photo], None] = lambda measured, photo: None
) -> Measured:
    """The contours of all photos of a job; `finished` as `measure_photos` calls it.

    Raises
    ------
    SnuglineError : a photo or a frame refuses the job.
    """
    files = [job.beside(p.file) for p in job.photo]
    return measure_photos(files, job.frames(), sides_of(job), lens_finder(job.camera), finished)


def finish_measured(
    job: Job,
    measured: Measured,
    bundle: bool = False,
    step: Step = lambda text: None,
    drawn: Mapping[Path, bytes] = MappingProxyType({}),
) -> Finished:
    """From the measured photos to every file of the job; `drawn` are overlays made before."""
    step("drawing the overlays")
    overlays = {
        str(table.file): turned_png(drawn.get(photo.file) or draw_overlay(photo), table.turn)
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
    fitting = fit_job(job, contours, joined)
    fitted, nominal, part = fitting.fitted, fitting.nominal, job.part
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
    cut = [s for s in plan.sheets if not s.blocked] if plan else []
    sheets = {s.title(unit): s.drawing(part.name, unit) for s in cut}
    report = ReportInput(part.name, record, fitted.outline, shares, overlays, sheets, unit)
    files["report.html"] = report_html(report).encode()
    if bundle:
        # The overlays are reduced inside the report; whole they would be most of the archive.
        handed = {name: data for name, data in files.items() if name not in names.values()}
        files[f"bundle-units-{unit}.zip"] = archive(handed)
    record["files"] = sorted([*files, INDEX])
    record["sha256"] = manifest(files)
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


def _other_curves(contours: Sequence[Contour]) -> list[Notice]:
    return [
        Notice(
            "second-contour",
            f"{counted(len(contour.others), 'more contour')} "
            f"{'was' if len(contour.others) == 1 else 'were'} found in the window (a hole, or "
            f"another part); the outline is that of the largest.",
            "Remove whatever does not belong to the part.",
            "usable",
            OfPhoto(contour.photo.file),
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
    part = job.part
    return part_sides(job.thickness, part.edge_radius, part.edge_chamfer, part.draft)
