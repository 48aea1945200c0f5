"""A whole job: photos to contours, contours and readings to an outline, and all files of it.

Everything is made in memory; `snugline.desk.result_folder` moves it in when it is complete.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from threadpoolctl import threadpool_limits

from snugline.api.part_sides import part_sides
from snugline.counting import counted
from snugline.desk.acceptance_records import acceptance_folder, earlier_tests, read_tests
from snugline.desk.console import Step, silent
from snugline.desk.job import Job
from snugline.desk.job_outline import Fitting, fit_job, job_state, traced_thickness
from snugline.desk.pictures import along_outline
from snugline.desk.pocketing import plan_of
from snugline.desk.report import ReportInput, report_html
from snugline.desk.result_drawings import marked, outline_drawings, plan_drawings, title
from snugline.desk.result_folder import INDEX, manifest
from snugline.desk.result_record import result_record
from snugline.desk.turning import turned_png
from snugline.errors import FitError
from snugline.notice import Notice
from snugline.pocket.bundle import bundle as archive
from snugline.pocket.plan import CutPlan
from snugline.trace.contour import Contour
from snugline.trace.image.photo_file import Photo
from snugline.trace.known_cameras import lens_finder
from snugline.trace.measure import Measured, MeasuredPhoto, PartSides, measure_photos
from snugline.trace.overlay import draw_overlay


@dataclass(frozen=True)
class Making:
    """How a job's files are made.

    Attributes
    ----------
    bundle : all of them in one archive, too.
    anyway : drawings even of a result that is not to be cut, marked unverified.
    step : told what is being done.
    """

    bundle: bool = False
    anyway: bool = False
    step: Step = silent


@dataclass(frozen=True)
class Finished:
    """What a job gives: its files by name, the record of `result.json`, and all remarks."""

    files: dict[str, bytes]
    record: dict[str, Any]
    notices: tuple[Notice, ...]


def run_job(job: Job, making: Making | None = None) -> Finished:
    """Measure, fit and draw. Nothing is written.

    Raises
    ------
    SnuglineError : a photo, a frame or the plan refuses the job.
    """
    making = making or Making()
    # Sums in another order differ in the last bit: with one thread, equal jobs give equal bytes on
    # machines with any number of cores. The matrices are small, so it is not slower either.
    with threadpool_limits(1, "blas"):
        count = len(job.photo)
        making.step(f"reading {counted(count, 'photo')}", 0, count)
        overlays: dict[Path, bytes] = {}

        def draw(measured: MeasuredPhoto, photo: Photo) -> None:
            overlays[measured.file] = draw_overlay(measured, photo.rgb)
            done = len(overlays)
            making.step(f"measuring photos, {done} of {count} done", done, count)

        return finish_measured(job, measure_job(job, draw), making, overlays)


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
    making: Making | None = None,
    drawn: Mapping[Path, bytes] = MappingProxyType({}),
) -> Finished:
    """From the measured photos to every file of the job; `drawn` are overlays made before."""
    making = making or Making()
    making.step("drawing the overlays")
    overlays = {
        str(table.file): turned_png(drawn.get(photo.file) or draw_overlay(photo), table.turn)
        for table, photo in zip(job.photo, measured.photos, strict=True)
    }
    contours = [photo.contour for photo in measured.photos]
    return finish(job, contours, overlays, measured.joined, measured.notices, making)


def finish(
    job: Job,
    contours: Sequence[Contour],
    overlays: Mapping[str, bytes],
    joined: Contour | None = None,
    notices: Sequence[Notice] = (),
    making: Making | None = None,
) -> Finished:
    """From contours to every file of the job; no drawings where it is not to be cut from.

    Parameters
    ----------
    contours, overlays : one for each of the job's photos; overlays by the photo's file.
    joined : the one contour of all photos, where several frames lie under the part.
    """
    making = making or Making()
    making.step("fitting the outline")
    fitting: Fitting | None
    try:
        fitting = fit_job(job, contours, joined)
        of_fit = fitting.fitted.notices
    except FitError as error:
        fitting = None
        of_fit = (_no_outline(error),)
    state = job_state(job, of_fit, contours, joined, notices)

    making.step("drawing")
    verified = state.can_be_cut
    files: dict[str, bytes] = {}
    plan: CutPlan | None = None
    if fitting is not None and (verified or making.anyway):
        files |= outline_drawings(job, fitting.fitted.outline, verified)
        if (choices := job.choices) is not None:
            plan = plan_of(job, fitting.fitted, choices)
            plan = plan if verified else marked(plan, title(job, verified))
            files |= plan_drawings(job, plan)
    names = overlay_names([photo.file for photo in job.photo])
    files |= {names[file]: png for file, png in overlays.items()}
    remarks = tuple(dict.fromkeys([*state.notices, *(plan.notices if plan is not None else ())]))
    record = result_record(job, contours, fitting, plan, state, remarks)
    if tests := read_tests(acceptance_folder()):
        photos = [job.beside(photo.file) for photo in job.photo]
        if before := earlier_tests(photos, job.frames(), tests):
            record["acceptance"] = before
    files["report.html"] = _report(job, record, fitting, plan, overlays)
    if making.bundle:
        # The overlays are reduced inside the report; whole they would be most of the archive.
        handed = {name: data for name, data in files.items() if name not in names.values()}
        files[f"bundle-units-{job.output.units}.zip"] = archive(handed)
    record["files"] = sorted([*files, INDEX])
    record["sha256"] = manifest(files)
    files[INDEX] = (
        json.dumps(record, indent=1, allow_nan=False, ensure_ascii=False) + "\n"
    ).encode()
    return Finished(files, record, remarks)


def _no_outline(error: FitError) -> Notice:
    """Why there is no outline; what only says how a chain of arcs broke is put in plain words."""
    if "segment" in error.where:
        return Notice(
            "no-outline",
            "The photos give no closed outline.",
            "Look at the overlays, and take the photo again whose line leaves the part.",
            "retake",
        )
    return Notice("no-outline", error.what, error.mend, "retake", error.about)


def _report(
    job: Job,
    record: Mapping[str, Any],
    fitting: Fitting | None,
    plan: CutPlan | None,
    overlays: Mapping[str, bytes],
) -> bytes:
    unit = job.output.units
    shown = fitting.fitted if fitting is not None and record["outline"] is not None else None
    shares = (
        []
        if shown is None
        else [along_outline(s.name, shown.outline, s.points[s.kept]) for s in shown.sections]
    )
    sheets = {s.title(unit): s.drawing(plan.part, unit) for s in plan.sheets} if plan else {}
    outline = None if shown is None else shown.outline
    given = ReportInput(job.part.name, record, outline, shares, overlays, sheets, unit)
    return report_html(given).encode()


def overlay_names(photos: Sequence[Path]) -> dict[str, str]:
    """An overlay's file name for each photo; photos of one name in two folders get a number."""
    names: dict[str, str] = {}
    for photo in photos:
        name, count = f"overlay-{photo.stem}.png", 2
        # Names that differ in capitals only are one name on Windows and a Mac.
        while name.casefold() in {taken.casefold() for taken in names.values()}:
            name, count = f"overlay-{photo.stem}-{count}.png", count + 1
        names[str(photo)] = name
    return names


def sides_of(job: Job) -> PartSides:
    """The profile of the part's edge that the job's photos are traced with."""
    part = job.part
    thickness = replace(job.thickness, value=traced_thickness(job))
    return part_sides(thickness, part.edge_radius, part.edge_chamfer, part.draft)
