"""The files that a board of several parts names: drawings, and jobs that were run."""

from pathlib import Path

from snugline.desk.job import Job
from snugline.desk.options import result_folder
from snugline.desk.result_folder import INDEX
from snugline.errors import FileError, SnuglineError
from snugline.files import read_within
from snugline.fit.drawing.drawing import Drawing
from snugline.fit.drawing.dxf_reading import read_dxf
from snugline.fit.drawing.svg_reading import read_svg
from snugline.fit.geometry.outline import Outline, outline_from_json
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.limits import RESULT_JSON_BYTES
from snugline.place import OfKey
from snugline.pocket.choices import PocketChoices
from snugline.pocket.shared_board import Known
from snugline.untrusted import parsed_json

_DRAWING_BYTES = 20_000_000


def board_outlines(job: Job, choices: PocketChoices) -> dict[str, Known]:
    """What the files hold that `[pocket.board]` names, by their names in the job.

    Raises
    ------
    FileError : one that cannot be read, lies outside the job's folder tree, or has no outline.
    """
    if choices.shared is None:
        return {}
    return {name: _read(job, name, key) for key, name in choices.shared.files}


def _read(job: Job, name: str, key: tuple[str | int, ...]) -> Known:
    where = OfKey(key, str(job.path))
    path = job.beside(name)
    if Path(name).is_absolute() or Path(name).parts.count("..") > 1:
        raise FileError(
            f"{name!r} leads away from the job",
            where,
            "put the file beside the job, or its folder beside the job's folder",
        )
    try:
        if name.lower().endswith(".toml"):
            folder = result_folder(path)
            return _of_result(read_within(folder, INDEX, RESULT_JSON_BYTES), name)
        content = read_within(path.parent, path.name, _DRAWING_BYTES)
        read = read_dxf if name.lower().endswith(".dxf") else read_svg
        return Known(_largest(read(content, job.output.units, name), name))
    except SnuglineError as error:
        what = error.what if error.where in (str(path), name) else f"{error.where}: {error.what}"
        raise FileError(what, where, error.mend) from error
    except OSError as error:
        wanted = "the result of that job" if name.lower().endswith(".toml") else "the file"
        raise FileError(
            f"{wanted} cannot be read ({name})",
            where,
            "run that job first, or put the file beside this job",
        ) from error


def _largest(drawing: Drawing, name: str) -> Outline:
    outlines = [outline for layer in drawing.layers for outline in layer.outlines]
    if not outlines:
        raise FileError(
            "it holds no closed outline", name, "draw one closed path of lines and arcs"
        )
    largest = max(outlines, key=lambda outline: abs(outline.area))
    return largest if largest.winding > 0 else largest.reversed()


def _of_result(content: bytes, name: str) -> Known:
    try:
        found = parsed_json(content, name)["outline"]
        outline = outline_from_json(found["segments"], name)
        length, width = (float(found[of]["u95"]) for of in ("length", "width"))
    except (KeyError, TypeError, ValueError) as error:
        if isinstance(error, SnuglineError):
            raise
        raise FileError("its result has no outline", name, "run that job again") from error
    return Known(outline, PartUncertainty(width / 2, length, width))
