"""All files of a plan, and one archive of them to hand on; every file name gives the unit."""

import io
import zipfile
from collections.abc import Mapping, Sequence

from snugline.fit.drawing.dxf import write_dxf
from snugline.fit.drawing.pdf import write_pdf
from snugline.fit.drawing.svg import write_svg
from snugline.pocket.coupon_guide import coupon_guide
from snugline.pocket.plan import CutPlan
from snugline.pocket.preview import preview_png
from snugline.pocket.shop_sheet import shop_sheet

_DATE = (1980, 1, 1, 0, 0, 0)  # the archive's earliest: equal files, equal bytes
_PRINTED = ("pocket", "template")


def plan_files(
    plan: CutPlan, readings: Sequence[str] = (), paper: str = "a4", r12: bool = False
) -> dict[str, bytes]:
    """Every file of a plan by its name: drawings, 1:1 prints, previews and the shop sheet.

    What is not to be cut has no file.

    Parameters
    ----------
    readings : lines for the shop sheet.
    paper : that the prints of pockets and templates are tiled over, and of the shop sheet; other
        drawings come on one page of their own size.
    r12 : whether the DXF files are of the old version R12.
    """
    files: dict[str, bytes] = {}
    for sheet in (sheet for sheet in plan.sheets if not sheet.blocked):
        drawing, stem = sheet.drawing(plan.part, plan.unit), sheet.stem(plan.part, plan.unit)
        files[f"{stem}.svg"] = write_svg(drawing)
        files[f"{stem}.dxf"] = write_dxf(drawing, "R12" if r12 else "R2010")
        # What is laid on the part or glued to a board comes on sheets that a shop can print.
        printed = paper if sheet.name in _PRINTED else None
        files[f"{stem}.pdf"] = write_pdf(drawing, printed)
        files[f"{stem}.png"] = preview_png(drawing)
    name = plan.sheets[0].stem(plan.part, plan.unit).split("-pocket-")[0]
    files[f"{name}-shop-sheet-units-{plan.unit}.pdf"] = shop_sheet(plan, readings, paper)
    if plan.choices.coupons is not None:
        guide = coupon_guide(plan, paper)
        files[f"{name}-reading-the-coupons-units-{plan.unit}.pdf"] = guide
    return files


def bundle(files: Mapping[str, bytes]) -> bytes:
    """A zip of files, in the order of their names; equal files give equal bytes."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, _DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, files[name])
    return stream.getvalue()
