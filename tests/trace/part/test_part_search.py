"""The part told from the sheet, on composed pictures with an exact border."""

import cv2
import numpy as np
import pytest
from shapely import Polygon, contains_xy

from snugline.errors import PhotoError
from snugline.trace.part.part_search import Region, SheetView, find_part

SHEET = (297.0, 210.0)
WINDOW = np.array([[38.5, 35.0], [258.5, 35.0], [258.5, 175.0], [38.5, 175.0]])
PX_PER_MM = 2.0
CELL_MM = 1.0  # of the learned map, on A4


def pixel_from_sheet(points):
    points = np.asarray(points, dtype=np.float64)
    return np.column_stack([20 + PX_PER_MM * points[:, 0], 440 - PX_PER_MM * points[:, 1]])


def sheet_from_pixel(points):
    points = np.asarray(points, dtype=np.float64)
    return np.column_stack([(points[:, 0] - 20) / PX_PER_MM, (440 - points[:, 1]) / PX_PER_MM])


def markers():
    """Lower left corners of 14 mm squares round the window."""
    across = [(x, y) for x in np.arange(11.5, 280, 20) for y in (8.0, 188.0)]
    up = [(x, y) for y in np.arange(28.0, 170, 20) for x in (11.5, 271.5)]
    corner = np.array(across + up)
    square = np.array([[0, 14], [14, 14], [14, 0], [0, 0.0]])
    return corner[:, None] + square


def compose(part, tone, *, shadow=(0.0, 0.0), soft=0.3, dark=0.45, noise=0.003, seed=0):
    """A picture of a flat part (polygon in mm) on the sheet, rendered at eight times the size."""
    fine, size = 4, (640, 460)
    canvas = np.full((size[1] * fine, size[0] * fine, 3), (0.45, 0.3, 0.2), np.float32)

    def fill(picture, polygon, colour):
        q = (pixel_from_sheet(polygon) + 0.5) * fine - 0.5
        cv2.fillPoly(picture, [np.round(q * 16).astype(np.int32)], colour, shift=4)

    fill(canvas, np.array([[0, 0], [297, 0], [297, 210], [0, 210]]), (0.8, 0.8, 0.8))
    for square in markers():
        fill(canvas, square, (0.04, 0.04, 0.04))
    shade = np.zeros(canvas.shape[:2], np.float32)
    fill(shade, part + np.array(shadow), 1.0)
    shade = cv2.GaussianBlur(shade, (0, 0), soft * PX_PER_MM * fine)
    if any(shadow):
        canvas *= 1 - (1 - dark) * shade[..., None]
    fill(canvas, part, tuple(0.8 * t for t in tone))
    picture = cv2.resize(canvas, size, interpolation=cv2.INTER_AREA)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.6)
    rng = np.random.default_rng(seed)
    picture += rng.normal(0, noise, picture.shape).astype(np.float32)
    quads = markers()
    from shapely.geometry import Polygon

    covered = np.array([Polygon(q).intersects(Polygon(part)) for q in quads])
    view = SheetView(
        WINDOW,
        pixel_from_sheet,
        sheet_from_pixel,
        pixel_from_sheet(quads.reshape(-1, 2)).reshape(-1, 4, 2),
        ~covered,
    )
    return picture, view


PLATE = np.array([[120, 70], [400, 80], [400, 145], [118, 135.0]])


def distance_mm(result: tuple[Region, ...], polygon):
    from shapely import points
    from shapely.geometry import Polygon

    found = np.vstack([edge.points for region in result for edge in region.outer])
    return Polygon(polygon).exterior.distance(points(sheet_from_pixel(found)))


@pytest.mark.parametrize("tone", [(0.03, 0.03, 0.03), (0.3, 0.3, 0.3), (0.6, 0.4, 0.25)])
def test_a_part_that_leaves_the_window_has_one_open_border_on_its_polygon(tone):
    picture, view = compose(PLATE, tone)
    result = find_part(picture, view)
    assert len(result) == 1
    (edge,) = result[0].outer
    assert not edge.closed
    off = distance_mm(result, PLATE)
    # A third of a cell; the full-resolution search reaches 16 px of a photo inwards, 47 outwards.
    assert np.sqrt(np.mean(off**2)) < 0.33 * CELL_MM


@pytest.mark.parametrize("check_mm", [5, 8])
def test_the_border_goes_round_the_patches_of_a_print(check_mm):
    """Grey checks: the first step inside is as sharp as the part's edge, and keeps the hue."""
    picture, view = compose(PLATE, (0.16, 0.16, 0.16))
    rows, columns = np.indices(picture.shape[:2])
    place = sheet_from_pixel(np.column_stack([columns.ravel(), rows.ravel()]))
    light = np.floor(place / check_mm).sum(axis=1).reshape(rows.shape) % 2 == 1
    inside = contains_xy(Polygon(PLATE).buffer(-0.3), *place.T).reshape(rows.shape)
    picture[light & inside] *= 2.0
    off = distance_mm(find_part(picture, view), PLATE)
    # What the full-resolution search reaches; a patch taken for a shadow puts it 5 to 6 mm off.
    assert np.quantile(off, 0.95) < 1.5 / PX_PER_MM
    assert off.max() < 3 / PX_PER_MM


def test_the_part_lies_on_the_left_as_seen_on_the_sheet():
    picture, view = compose(PLATE, (0.2, 0.2, 0.2))
    (edge,) = find_part(picture, view)[0].outer
    on_sheet = sheet_from_pixel(edge.points)
    # Counter-clockwise round the plate's left end: in along the upper side, out along the lower.
    assert on_sheet[0, 1] > on_sheet[-1, 1]


def test_an_empty_window_is_an_error_that_says_so():
    picture, view = compose(PLATE + 1000, (0.2, 0.2, 0.2))
    with pytest.raises(PhotoError, match="nothing lies in the frame's window"):
        find_part(picture, view)
