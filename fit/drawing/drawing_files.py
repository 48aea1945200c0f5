"""Drawings from files, by the ending of their names."""

from pathlib import Path

from snugline.errors import FileError, InputError
from snugline.fit.drawing.drawing import Drawing, Unit

_LARGEST = 20_000_000  # bytes, of a file to be read


def load_drawing(path: Path, unit: Unit | None = None) -> Drawing:
    """Read a drawing of closed lines and arcs from `.svg` or `.dxf`.

    Parameters
    ----------
    unit : of a file that states none.

    Raises
    ------
    FileError : a file that is missing, too large or cannot be read as an outline.
    InputError : an ending of another kind.
    """
    ending = path.suffix.lower()
    if ending not in (".svg", ".dxf"):
        raise InputError(
            f"outlines are not read from {ending or 'files without ending'}",
            str(path),
            "give an .svg or .dxf file",
        )
    try:
        if path.stat().st_size > _LARGEST:
            raise FileError(
                f"{path.stat().st_size / 1e6:.0f} MB is too large for an outline",
                str(path),
                "give a file with the outline alone",
            )
        content = path.read_bytes()
    except OSError as error:
        if isinstance(error, FileError):
            raise
        raise FileError(
            f"cannot be read ({error.strerror})", str(path), "check the name and the folder"
        ) from error
    if ending == ".svg":
        from snugline.fit.drawing.svg_reading import read_svg

        return read_svg(content, unit, str(path))
    from snugline.fit.drawing.dxf_reading import read_dxf

    return read_dxf(content, unit, str(path))
