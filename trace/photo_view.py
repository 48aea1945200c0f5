"""One photo with all that is known about it once the cameras are solved."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.camera_solution import Solved
from snugline.trace.camera.described_markers import FEWEST_MARKERS
from snugline.trace.camera.projection import Camera
from snugline.trace.camera.sighting import Sighting, first_marker
from snugline.trace.edge.learned_edge import Response, edge_response
from snugline.trace.edge.relief_displacement import PartSides
from snugline.trace.image.photo_file import Photo
from snugline.trace.image.step_edge import sample_luminance, sample_rgb
from snugline.trace.part.paper_light import LightField, fit_light, quiet_zone_points
from snugline.trace.part.sheet_view import SheetView, rims
from snugline.trace.part.window_contents import PRINTED
from snugline.trace.sheet.frame_description import AnyFrame, Frame, PlainFrame

Floats = NDArray[np.float64]

# This much of the paper round a white window is white too, before the scale bars begin.
_WHITE_MARGIN_MM = 5.0
_FREE_BORDER_MM = 1.5


@dataclass(frozen=True)
class PhotoView:
    """One photo with all that is known about it once the cameras are solved."""

    photo: Photo
    number: int
    sighting: Sighting
    solved: Solved
    frames: tuple[AnyFrame, ...]
    sides: PartSides

    @property
    def camera(self) -> Camera:
        return self.solved.adjusted.cameras[self.number]

    def window(self, sheet: int) -> Floats:
        """(K, 2) true mm in the world coordinate system."""
        frame = self.frames[sheet]
        if isinstance(frame, Frame):
            design = frame.window
        else:
            w, h = frame.opening
            design = np.array([[0, 0], [w, 0], [w, h], [0, h]])
        return self.solved.adjusted.sheets[sheet].place(design)

    def sheets_seen(self) -> list[int]:
        """Sheets with enough markers in the photo, the best seen first."""
        if isinstance(self.frames[0], PlainFrame):
            return [0]
        count = np.bincount(self.sighting.sheet, minlength=len(self.frames))
        return [int(s) for s in np.argsort(-count, kind="stable") if count[s] >= FEWEST_MARKERS]


def response(view: PhotoView) -> Response:
    """How the photo shows a sharp edge, and paper.

    By its markers' edges and quiet zones, or by a plain frame's edges and the surface inside its
    opening: divided by its own light, that looks like white paper, whatever its hue.
    """
    rgb, quads = view.photo.rgb, view.sighting.quads
    best = view.frames[view.sheets_seen()[0]]
    if isinstance(best, Frame):
        blur, halo = edge_response(rgb, quads)
        return Response(blur, halo, _light(rgb, quiet_zone_points(quads)).at, best.window_dark)
    dark = _window_dark(view, 0)
    paper = _light(rgb, view.camera.pixels(rims(view.window(0), dark)))
    return Response(view.sighting.blur_px, view.sighting.halo, paper.at, dark)


def _window_dark(view: PhotoView, sheet: int) -> bool:
    """Whether the surface under the part is much darker than the frame, like a dark window."""
    frame, window = view.frames[sheet], view.window(sheet)
    if isinstance(frame, Frame):
        return frame.window_dark
    inside, beside = (view.camera.pixels(rims(window, dark)).T for dark in (False, True))
    tones = [np.nanmedian(sample_luminance(view.photo.rgb, x, y)) for x, y in (inside, beside)]
    return bool(tones[0] < PRINTED * tones[1])


def _light(rgb: NDArray[np.uint8], points: Floats) -> LightField:
    """The light on what is seen at most of these pixels (N, 2)."""
    light = sample_rgb(rgb, points[:, 0], points[:, 1]).T.astype(np.float64)
    seen = np.isfinite(light).all(axis=1)
    return fit_light(points[seen], light[seen], 2)


def reduced_px(view: PhotoView, points: Floats, step: int) -> Floats:
    """(N, 2) pixels of the photo reduced by `step`, of (N, 2) world mm."""
    placed: Floats = (view.camera.pixels(points) - (step - 1) / 2) / step
    return placed


def sheet_view(view: PhotoView, sheet: int, step: int) -> SheetView:
    """What is known about a sheet in the photo reduced by `step`."""
    camera = view.camera
    frame = view.frames[sheet]
    quads, found = np.empty((0, 4, 2)), np.empty(0, dtype=bool)
    if isinstance(frame, Frame):
        corners = view.solved.adjusted.sheets[sheet].place(frame.corners.reshape(-1, 2))
        quads = reduced_px(view, corners, step).reshape(-1, 4, 2)
        found = np.zeros(len(frame.ids), dtype=bool)
        found[view.sighting.marker[view.sighting.sheet == sheet]] = True
    window = view.window(sheet)
    if isinstance(frame, Frame) and not frame.window_dark:
        window = _seen_window(window, camera, view.sides.thickness)
    return SheetView(
        window=window,
        pixel_from_sheet=lambda points: reduced_px(view, points, step),
        sheet_from_pixel=lambda points: camera.on_plane(points * step + (step - 1) / 2),
        markers=quads,
        found=found,
        window_dark=_window_dark(view, sheet),
        camera=camera.centre,
        thickness=view.sides.thickness,
    )


def _seen_window(window: Floats, camera: Camera, thickness: float) -> Floats:
    """The window grown by as much as the part's height moves its upper edge outwards in a photo.

    Less a border that no contour needs: nearer than that to the window's border it may end.
    """
    from shapely import Polygon

    place = camera.centre
    reach = float(np.linalg.norm(window - place[:2], axis=1).max())
    shift = reach * thickness / (place[2] - thickness)
    grown = min(max(shift - _FREE_BORDER_MM, 0.0), _WHITE_MARGIN_MM)
    around = Polygon(window).buffer(grown, join_style="mitre")
    return np.asarray(around.exterior.coords, dtype=np.float64)[:-1]


def split_markers(view: PhotoView) -> tuple[Floats, Floats]:
    """Quads of the markers that the camera solution used, and of its outliers."""
    sighting = view.sighting
    if isinstance(view.frames[0], PlainFrame):
        return sighting.quads, np.empty((0, 4, 2))
    o = sighting.observations
    frames = [f for f in view.frames if isinstance(f, Frame)]
    own = first_marker(frames)[sighting.sheet] + sighting.marker
    size = int(max(o.marker.max(initial=0), own.max(initial=0))) + 1
    trust = np.bincount(
        o.marker, weights=view.solved.adjusted.weights[view.number], minlength=size
    ) / np.maximum(np.bincount(o.marker, minlength=size), 1)
    used = trust[own] > 0.2
    return sighting.quads[used], sighting.quads[~used]
