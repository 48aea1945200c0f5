"""What lies in the window beside the part: covers, a second part, a border that cannot be told."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, number, share
from snugline.trace.part.part_search import Region
from snugline.trace.part.window_contents import foreign_covers
from snugline.trace.photo_view import PhotoView, sheet_view
from snugline.trace.verdict.followed_piece import region_of

# Crumbs and print are smaller than that.
_SECOND_PART_MM2 = 150.0
# Of the border: less is a corner or a grain, which the search at full resolution settles; beyond
# the second the border was off by several mm in made pictures of white parts on white.
_UNTOLD_SHARE = (0.05, 0.3)


def judge_window(view: PhotoView, regions: Sequence[Region], step: int) -> list[Notice]:
    """Remarks on a second part, and on a border where it is not clear which side is the part."""
    return [*_others(view, regions, step), *_untold(view, regions, step)]


def markers_covered(
    view: PhotoView, light: NDArray[np.float32], regions: Sequence[Region], step: int
) -> list[Notice]:
    """A remark on what covers markers and is not the part; over several sheets it may be that."""
    sheets = view.sheets_seen()
    if len(sheets) > 1:
        return []
    here = sheet_view(view, sheets[0], step)
    foreign = foreign_covers(light, here, tuple(regions))
    if not foreign.any():
        return []
    return [
        Notice(
            "markers-covered",
            Sentence(
                "Something else than the part covers {} of the frame's markers.",
                number(int(foreign.sum())),
            ),
            "Take it away: only the part should lie on the frame.",
            "usable",
            OfPhoto(view.photo.path.name),
            region_of(here.markers[foreign].reshape(-1, 2) * step + (step - 1) / 2),
        )
    ]


def _others(view: PhotoView, regions: Sequence[Region], step: int) -> list[Notice]:
    """A remark on a second part in one window; the largest is measured."""
    others = [r for r in regions[1:] if r.outer and r.area_mm2 >= _SECOND_PART_MM2]
    if len(view.sheets_seen()) > 1 or not others:
        return []
    places = np.concatenate([edge.points for edge in others[0].outer]) * step + (step - 1) / 2
    return [
        Notice(
            "second-part",
            Sentence(
                "{} things lie in the window; the largest was measured.",
                number(1 + len(others)),
            ),
            "Leave one part alone in the window and take the photo again.",
            "usable",
            OfPhoto(view.photo.path.name),
            region_of(places),
        )
    ]


def _untold(view: PhotoView, regions: Sequence[Region], step: int) -> list[Notice]:
    """A remark where it cannot be told which side of the border is the part."""
    if not regions or not regions[0].outer:
        return []
    edges = (*regions[0].outer, *regions[0].holes)
    points, told = (
        np.concatenate(v) for v in zip(*((e.points, e.told) for e in edges), strict=True)
    )
    untold = 1 - float(told.mean())
    remarked, unusable = _UNTOLD_SHARE
    if untold < remarked:
        return []
    return [
        Notice(
            "part-untold",
            Sentence(
                "Over {} of the border the photo does not show what is part and what is sheet.",
                share(untold),
            ),
            "Use even light from several sides, or a sheet whose window contrasts with the part, "
            "and look at the overlay.",
            "usable" if untold < unusable else "retake",
            OfPhoto(view.photo.path.name),
            region_of(points[~told] * step + (step - 1) / 2),
        )
    ]
