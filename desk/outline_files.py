"""An outline from any file that holds one: a result, or a drawing in SVG or DXF."""

from pathlib import Path

from snugline.errors import FileError, InputError
from snugline.files import why
from snugline.fit.drawing.drawing import Unit
from snugline.fit.drawing.drawing_files import load_drawing
from snugline.fit.geometry.outline import Outline, outline_from_json
from snugline.limits import RESULT_JSON_BYTES
from snugline.untrusted import parsed_json

_KINDS = "give a result.json, or a drawing in SVG or DXF"


def read_outline(path: Path, layer: str | None = None, unit: Unit | None = None) -> Outline:
    """The outline in a `result.json`, an SVG or a DXF file, in mm.

    Parameters
    ----------
    layer : of a drawing; without it the drawing's largest outline is taken.
    unit : of a drawing that states none.

    Raises
    ------
    FileError : no such file, or one of another kind.
    InputError : no such layer, or nothing closed in it.
    """
    kind = path.suffix.lower()
    if kind == ".json":
        return _from_result(path)
    if kind not in (".svg", ".dxf"):
        raise FileError(f"{path.suffix!r} is not a known kind of outline file", str(path), _KINDS)
    drawing = load_drawing(path, unit)
    found = {one.name: one.outlines for one in drawing.layers if one.outlines}
    if layer is not None and layer not in found:
        raise InputError(
            f"no layer {layer!r} holds an outline",
            str(path),
            f"choose one of {', '.join(found) or 'another file'}",
        )
    outlines = found[layer] if layer is not None else [o for some in found.values() for o in some]
    if not outlines:
        raise InputError("no closed outline", str(path), "give a drawing with a closed path")
    return max(outlines, key=lambda outline: abs(outline.area))


def _from_result(path: Path) -> Outline:
    where = str(path)
    try:
        with path.open("rb") as stream:
            content = stream.read(RESULT_JSON_BYTES)
        segments = parsed_json(content, where)["outline"]["segments"]
    except OSError as error:
        if isinstance(error, FileError):
            raise
        raise FileError(f"cannot read the file ({why(error)})", where, _KINDS) from error
    except (ValueError, KeyError, TypeError) as error:
        raise FileError(
            "holds no outline", where, "give the result.json that `snugline run` wrote"
        ) from error
    return outline_from_json(segments, where)
