"""The pipeline of this package: photos of a part on its frame to contours of its plan outline."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from snugline.errors import InputError, PhotoError
from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.trace.camera.camera_solution import solve
from snugline.trace.camera.lens import LensPrior
from snugline.trace.camera.sighting import (
    Sighting,
    sight_markers,
    sight_plain,
)
from snugline.trace.contour import Contour, Curve
from snugline.trace.contour_join import join
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.edge.silhouette import Silhouette, locate
from snugline.trace.edge.wall_height import common_height
from snugline.trace.edge_by_height import compared
from snugline.trace.image.linear_light import linear_table
from snugline.trace.image.photo_file import Photo, read_photo, reduced
from snugline.trace.measured_photo import MeasuredPhoto, Traced, judged
from snugline.trace.part.part_search import CoarseEdge, Region, find_part
from snugline.trace.part.whole_part import whole_border
from snugline.trace.part.window_contents import check_window, why_nothing
from snugline.trace.photo_view import PhotoView, reduced_px, response, sheet_view
from snugline.trace.plan_curve import plan_curve
from snugline.trace.sheet.frame_description import AnyFrame, Frame, PlainFrame
from snugline.trace.still_part import Followed, disagree, lay_still
from snugline.trace.verdict.window_verdict import judge_window, markers_covered

__all__ = ["Measured", "MeasuredPhoto", "PartSides", "measure_photos", "measure_with_each"]

Floats = NDArray[np.float64]

# The part is separated from the sheet on a picture of about this width or height.
_COARSE_SIDE_PX = 1000
# Decoded photos that are kept, to be measured once all cameras are known and to be looked at again
# where they disagree: two of 12 megapixels.
_KEPT_PIXELS = 25_000_000


@dataclass(frozen=True)
class Measured:
    """All photos of a job.

    Attributes
    ----------
    joined : where several frames lie under a part that was not moved between the photos: the one
        contour of all photos in the first frame's coordinate system.
    """

    photos: tuple[MeasuredPhoto, ...]
    joined: Contour | None = None
    notices: tuple[Notice, ...] = ()


def measure_photos(
    files: Sequence[str | Path],
    frames: Sequence[AnyFrame],
    sides: PartSides,
    known: Callable[[Photo], LensPrior | Notice | None] = lambda photo: None,
    finished: Callable[[MeasuredPhoto, Photo], None] = lambda measured, photo: None,
) -> Measured:
    """Measure the part's plan outline in photos of it.

    Parameters
    ----------
    frames : one, or the several that lie on the bench together; bars as measured are in them
        (`with_print_scale`).
    known : what is known of a photo's lens beforehand, or why that does not hold for it (see
        `known_cameras`).
    finished : called for each photo once it is measured, in any order, with its pixels at hand; and
        again where other photos of a part that lay still changed what it shows.

    Raises
    ------
    FileError, PhotoError : a photo that cannot be read or measured; it names the photo.
    """
    return measure_with_each(files, frames, [sides], known, finished)[0]


def measure_with_each(
    files: Sequence[str | Path],
    frames: Sequence[AnyFrame],
    each: Sequence[PartSides],
    known: Callable[[Photo], LensPrior | Notice | None] = lambda photo: None,
    finished: Callable[[MeasuredPhoto, Photo], None] = lambda measured, photo: None,
) -> tuple[Measured, ...]:
    """As `measure_photos`, once for `each` of several sides that the part may have.

    Photos are read and their cameras solved once, since neither knows of the part.
    """
    paths = [Path(f) for f in files]
    kept: dict[int, Photo] = {}
    sightings = []
    for index, path in enumerate(paths):
        photo = kept[index] = read_photo(path)
        sightings.append(_sight(photo, frames, known(photo)))
        _forget(kept)
    solved = solve(sightings, frames)
    measured: dict[int, list[MeasuredPhoto]] = {}
    traced: dict[int, list[Traced]] = {}

    def view(index: int, photo: Photo, sides: PartSides) -> PhotoView:
        return PhotoView(photo, index, sightings[index], solved, tuple(frames), sides)

    def at_hand(index: int) -> Photo:
        return kept[index] if index in kept else read_photo(paths[index])

    def again(sides: PartSides, index: int) -> PhotoView:
        return view(index, at_hand(index), sides)

    # Those still at hand first: the others are decoded a second time.
    for index in sorted(range(len(paths)), key=lambda i: i not in kept):
        photo = at_hand(index)
        views = [view(index, photo, sides) for sides in each]
        traced[index] = [_trace(one) for one in views]
        measured[index] = []
        for one, edges in zip(views, traced[index], strict=True):
            measured[index].append(judged(one, edges))
            finished(measured[index][-1], photo)
    together = []
    for k, sides in enumerate(each):
        photos = [measured[index][k] for index in range(len(paths))]
        if len(frames) > 1:
            together.append(_joined(photos))
            continue
        followed = [traced[index][k] for index in range(len(paths))]
        for index, found, photo in _by_still_photos(photos, followed, sides, partial(again, sides)):
            photos[index] = found
            finished(found, photo)
        together.append(Measured(tuple(photos)))
    return tuple(together)


def _forget(kept: dict[int, Photo]) -> None:
    """Let go of the first photos while those at hand are too large together."""
    while len(kept) > 1 and sum(p.width * p.height for p in kept.values()) > _KEPT_PIXELS:
        del kept[min(kept)]


def _sight(photo: Photo, frames: Sequence[AnyFrame], known: LensPrior | Notice | None) -> Sighting:
    if isinstance(known, Notice):
        sighting = _sight(photo, frames, None)
        return replace(sighting, notices=(*sighting.notices, known))
    prior = known
    with_markers = [f for f in frames if isinstance(f, Frame)]
    if len(with_markers) == len(frames):
        return sight_markers(photo, with_markers, prior)
    plain = [f for f in frames if isinstance(f, PlainFrame)]
    if len(frames) > 1:
        raise InputError(
            "a plain frame cannot be joined with others",
            f"frame {plain[0].name}",
            "use sheets with markers where more than one lies under the part",
        )
    return sight_plain(photo, plain[0], prior)


def _followed(view: PhotoView, edges: Sequence[CoarseEdge], step: int) -> list[Silhouette]:
    """Coarse edges of the reduced photo at full resolution."""
    shown, half = response(view), (step - 1) / 2
    return [
        locate(view.photo.rgb, view.camera, view.sides, e.points * step + half, e.closed, shown)
        for e in edges
    ]


def _trace(view: PhotoView) -> Traced:
    photo = view.photo
    step = max(1, round(max(photo.rgb.shape[:2]) / _COARSE_SIDE_PX))
    small = reduced(photo.rgb, step)
    light = np.asarray(cv2.LUT(small, linear_table()), dtype=np.float32)
    regions = _parts(view, light, step)
    found = [
        plan_curve(_followed(view, edges, step), view)
        for edges in _edges(view, regions, small, step)
    ]
    edges = tuple(edge for edge in found if edge is not None)
    covers = markers_covered(view, light, regions, step)
    if not edges:
        raise _no_edge(view, covers, light, step)
    window = judge_window(view, regions, step)
    return Traced(edges, (*photo.notices, *view.sighting.notices, *covers, *window))


def _shared(curve: Curve) -> float:
    """Mm, rms of what the curve's points share, all of it."""
    return float(np.sqrt(np.mean(curve.sigma**2 - curve.noise**2)))


def _by_still_photos(
    measured: Sequence[MeasuredPhoto],
    traced: Sequence[Traced],
    sides: PartSides,
    view_of: Callable[[int], PhotoView],
) -> Iterator[tuple[int, MeasuredPhoto, Photo]]:
    """Those photos again that showed another edge than others of the part, which lay still.

    Parameters
    ----------
    view_of : a photo with its pixels, by its number.
    """
    now = dict(enumerate(traced))
    for i, k in combinations(now, 2):
        pair = [
            Followed(
                measured[n].file.name,
                measured[n].camera,
                sides,
                now[n].edges[0].pieces,
                _shared(measured[n].contour.outer),
            )
            for n in (i, k)
        ]
        if not (lay_still(*pair) and disagree(*pair)):
            continue
        views = view_of(i), view_of(k)
        for n, (own, other), (here, there) in ((i, pair, views), (k, pair[::-1], views[::-1])):
            pieces, told = compared(own, other, here, there)
            outer = plan_curve(pieces, here)
            if outer is not None:
                edges = (outer, *now[n].edges[1:])
                now[n] = Traced(edges, (*now[n].notices, *told))
    for n, found in now.items():
        if found is not traced[n]:
            view = view_of(n)
            again = judged(view, found)
            contour = _still_grave(measured[n].contour, again.contour)
            yield n, replace(again, contour=contour), view.photo


def _still_grave(before: Contour, after: Contour) -> Contour:
    """What asked for another photo goes on doing so: its cause may be cured in part only."""
    grave = [notice for notice in before.notices if notice.severity == "retake"]
    codes = {notice.code for notice in grave}
    return replace(after, notices=(*grave, *(n for n in after.notices if n.code not in codes)))


def _parts(view: PhotoView, light: NDArray[np.float32], step: int) -> list[Region]:
    """What the windows show of the part, those of the sheet seen best first.

    Raises
    ------
    PhotoError : none shows any; it says why the best seen one does not.
    """
    regions: list[Region] = []
    nothing: PhotoError | None = None
    for sheet in view.sheets_seen():
        here, window = sheet_view(view, sheet, step), view.window(sheet)
        try:
            check_window(light, here, window)
            try:
                regions.extend(find_part(light, here))
            except PhotoError:
                raise why_nothing(light, here, window) from None
        except PhotoError as error:
            nothing = nothing or PhotoError(error.what, OfPhoto(str(view.photo.path)), error.mend)
    if not regions and nothing is not None:
        raise nothing
    return regions


def _no_edge(
    view: PhotoView, covers: Sequence[Notice], light: NDArray[np.float32], step: int
) -> PhotoError:
    """Why something lies in the window and yet shows no edge."""
    where = OfPhoto(str(view.photo.path))
    if covers:
        text = covers[0].text
        return PhotoError(text[0].lower() + text[1:].rstrip("."), where, covers[0].mend)
    best = view.sheets_seen()[0]
    why = why_nothing(light, sheet_view(view, best, step), view.window(best))
    return PhotoError(why.what, where, why.mend)


def _edges(
    view: PhotoView, regions: list[Region], small: NDArray[np.uint8], step: int
) -> list[tuple[CoarseEdge, ...]]:
    """Coarse edges, those of one curve together, the part's outer one first."""
    if len(view.sheets_seen()) > 1:
        border = whole_border(
            small,
            [np.concatenate([edge.points for edge in region.outer]) for region in regions],
            [reduced_px(view, view.window(s), step) for s in view.sheets_seen()],
            (view.sighting.quads - (step - 1) / 2) / step,
        )
        if border is not None:
            whole = CoarseEdge(border, True, np.ones(len(border), dtype=bool))
            return [(whole,), *[(hole,) for region in regions for hole in region.holes]]
        # The part leaves the photo: its pieces in the windows are one open curve with gaps.
        pieces = tuple(edge for region in regions for edge in region.outer)
        return [pieces, *[(hole,) for region in regions for hole in region.holes]]
    edges = []
    for region in regions:
        edges.append(region.outer)
        edges.extend((hole,) for hole in region.holes)
    return edges


def _joined(measured: Sequence[MeasuredPhoto]) -> Measured:
    joined = join([m.contour.outer for m in measured], [m.file.name for m in measured])
    if joined is None:
        notice = Notice(
            "whole-not-seen",
            "No single photo shows the whole edge, so the partial contours could not be joined "
            "into a closed outline.",
            "Take one more photo from higher up that shows the whole part and both sheets.",
        )
        return Measured(tuple(measured), None, (notice,))
    best = min(measured, key=lambda m: -len(m.contour.outer.points))
    contour = replace(
        best.contour,
        outer=joined.curve,
        others=(),
        notices=joined.notices,
        wall=common_height([m.contour.wall for m in measured]),
    )
    return Measured(tuple(measured), contour, joined.notices)
