"""Cameras over a frame and what they would see of its markers' edges, by OpenCV's projection."""

import cv2
import numpy as np

from snugline.trace.camera.lens import Lens
from snugline.trace.camera.observations import Observations
from snugline.trace.camera.projection import Camera, rotation_from_vector

SIZE = (4000, 3000)
_FRACTIONS = np.array([0.31, 0.69])


def phone_lens(focal=3000.0, radial=(0.02, -0.03, 0.01, 0.0), centre=(1995.0, 1510.0), size=SIZE):
    return Lens(focal, centre, radial, size)


def camera_over(place, height=300.0, tilt_deg=12.0, azimuth_deg=40.0, roll_deg=10.0, lens=None):
    """A camera that looks at `place` (mm on the sheet) from `height` above it."""
    tilt, azimuth, roll = np.radians([tilt_deg, azimuth_deg, roll_deg])
    away = np.array([np.cos(azimuth), np.sin(azimuth)])
    centre = np.append(np.asarray(place) + height * np.tan(tilt) * away, height)
    forward = np.append(place, 0.0) - centre
    forward /= np.linalg.norm(forward)
    right = np.cross(forward, [np.sin(roll), np.cos(roll), 0.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    return Camera(lens or phone_lens(), rotation, -rotation @ centre)


def seen_by_opencv(camera, points):
    """(N, 2) px of (N, 3) mm by OpenCV; the lens must do with three radial terms."""
    k1, k2, k3, k4 = camera.lens.radial
    assert k4 == 0
    f, (cx, cy) = camera.lens.focal, camera.lens.centre
    matrix = np.array([[f, 0, cx], [0, f, cy], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(camera.rotation)
    lens = np.array([k1, k2, 0, 0, k3])
    pixels, _ = cv2.projectPoints(points, turn, camera.translation, matrix, lens)
    return pixels[:, 0]


def edge_observations(
    corners, camera, sheets=None, sheet=None, bloom=0.0, sigma=0.0, rng=None, stated=None
):
    """What a camera sees of markers with (M, 4, 2) design corners.

    Parameters
    ----------
    sheets : list of (scale, pose) for each sheet; one exact sheet when None.
    sheet : (M,) which sheet each marker is on.
    bloom : mm, outward shift of the printed edges.
    sigma : px, noise added across each edge.
    stated : px, what each edge says of itself: a fit's formal sigma, well below its true one.
    """
    m = len(corners)
    sheet = np.zeros(m, dtype=np.int64) if sheet is None else np.asarray(sheet)
    sheets = sheets or [(np.ones(2), np.zeros(3))]
    side = np.roll(corners, -1, axis=1) - corners
    design = corners[:, :, None] + _FRACTIONS[:, None] * side[:, :, None]
    tangent = side / np.linalg.norm(side, axis=-1, keepdims=True)
    outward = np.stack([-tangent[..., 1], tangent[..., 0]], axis=-1)
    shape = design.shape[:3]
    number = np.broadcast_to(sheet[:, None, None], shape).ravel()
    outward = np.broadcast_to(outward[:, :, None], design.shape).reshape(-1, 2)
    tangent = np.broadcast_to(tangent[:, :, None], design.shape).reshape(-1, 2)
    design = design.reshape(-1, 2)

    def on_bench(at):
        bench = np.empty_like(at)
        for s, (scale, pose) in enumerate(sheets):
            c, sn = np.cos(pose[2]), np.sin(pose[2])
            mine = number == s
            bench[mine] = (at[mine] * scale) @ np.array([[c, sn], [-sn, c]]) + pose[:2]
        return np.column_stack([bench, np.zeros(len(bench))])

    printed = design + bloom * outward
    pixels = seen_by_opencv(camera, on_bench(printed))
    ahead = seen_by_opencv(camera, on_bench(printed + 0.01 * tangent)) - pixels
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    # In the picture, with y down, the outside lies to the left of the clockwise walk.
    normals = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    if sigma:
        pixels = pixels + sigma * rng.standard_normal((len(pixels), 1)) * normals
    return Observations(
        sheet=number,
        marker=np.broadcast_to(np.arange(m)[:, None, None], shape).ravel(),
        design=design,
        outward=outward,
        pixels=pixels,
        normals=normals,
        sigma=np.full(len(pixels), 0.2 * sigma if stated is None else stated),
        height=np.zeros(len(pixels)),
    )


def nudged(camera, turn=(0.003, -0.002, 0.004), move=(1.5, -1.0, 3.0), focal=1.01):
    """A camera somewhat beside the true one, to start from."""
    lens = camera.lens.with_vector(camera.lens.vector() * np.array([focal, 1, 1, 1, 1, 1, 1]))
    return Camera(
        lens,
        rotation_from_vector(np.array(turn)) @ camera.rotation,
        camera.translation + np.array(move),
    )
