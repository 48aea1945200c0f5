"""Drawings to and from files, by the ending of their names."""

from pathlib import Path

from snugline.errors import FileError, InputError
from snugline.files import write_whole
from snugline.fit.drawing.drawing import Drawing, Unit

_LARGEST = 20_000_000  # bytes, of a file to be read


def save_drawing(
    drawing: Drawing, path: Path, *, paper: str | None = None, r12: bool = False
) -> None:
    """Write a drawing whole or not at all, as `.svg`, `.dxf` or `.pdf`.

    Parameters
    ----------
    paper : for PDF: tile over this paper.
    r12 : for DXF: write the old version R12.

    Raises
    ------
    InputError : an ending of another kind.
    FileError : the folder cannot be written.
    """
    ending = path.suffix.lower()
    if ending == ".svg":
        from snugline.fit.drawing.svg import write_svg

        content = write_svg(drawing)
    elif ending == ".dxf":
        from snugline.fit.drawing.dxf import write_dxf

        content = write_dxf(drawing, "R12" if r12 else "R2010")
    elif ending == ".pdf":
        from snugline.fit.drawing.pdf import write_pdf

        content = write_pdf(drawing, paper)
    else:
        raise InputError(
            f"drawings are not written as {ending or 'files without ending'}",
            str(path),
            "end the name in .svg, .dxf or .pdf",
        )
    write_whole(path, content)


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
