"""The drawings of a result, by file name, and the mark of those that should not be cut from."""

from dataclasses import replace

from snugline.desk.job import Job
from snugline.desk.pocketing import reading_lines
from snugline.fit.drawing.drawing import Drawing, Layer
from snugline.fit.drawing.dxf import Version, write_dxf
from snugline.fit.drawing.pdf import write_pdf
from snugline.fit.drawing.svg import write_svg
from snugline.fit.geometry.outline import Outline
from snugline.pocket.bundle import plan_files
from snugline.pocket.plan import CutPlan

UNVERIFIED = "unverified"


def outline_drawings(job: Job, outline: Outline, verified: bool = True) -> dict[str, bytes]:
    """The outline in each format, and over sheets of paper; unverified ones say so everywhere."""
    unit, paper = job.output.units, job.output.paper
    layer = "outline" if verified else f"outline {UNVERIFIED}"
    drawing = Drawing(title(job, verified), (Layer(layer, (outline,)),), unit)
    stem = layer.replace(" ", "-")
    files = drawing_files(drawing, stem, job.output.dxf)
    files[f"{stem}-tiled-{paper}.pdf"] = write_pdf(drawing, paper)
    return files


def plan_drawings(job: Job, plan: CutPlan) -> dict[str, bytes]:
    """Every file of the plan."""
    return plan_files(plan, reading_lines(job), job.output.paper, job.output.dxf == "R12")


def title(job: Job, verified: bool = True) -> str:
    """The part's name, as drawings and their files are called."""
    return job.part.name if verified else f"{job.part.name} {UNVERIFIED}"


def marked(plan: CutPlan, part: str) -> CutPlan:
    """The plan with "unverified" in its name and in those of its layers."""
    sheets = tuple(
        replace(
            sheet,
            layers=tuple(
                replace(layer, name=f"{layer.name} {UNVERIFIED}") for layer in sheet.layers
            ),
        )
        for sheet in plan.sheets
    )
    return replace(plan, part=part, sheets=sheets)


def drawing_files(drawing: Drawing, stem: str, dxf: Version = "R2010") -> dict[str, bytes]:
    """A drawing in each format, by file name."""
    return {
        f"{stem}.svg": write_svg(drawing),
        f"{stem}.dxf": write_dxf(drawing, dxf),
        f"{stem}.pdf": write_pdf(drawing),
    }
