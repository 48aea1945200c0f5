"""Rendered photos with exact truth: a light form of `benchmarks/photos.py`, with its bounds."""

import pytest
from photo_truth import PHOTOS, Case, Score, markers_found, score

from snugline.trace.measure import MeasuredPhoto, measure_photos

pytestmark = pytest.mark.skipif(
    not PHOTOS.is_dir(), reason="the rendered photos are not beside the repository"
)


def measured(name: str, number: int, by_hand: bool = False) -> tuple[Case, MeasuredPhoto, Score]:
    """One photo of a case, with sides and bars as they are or as they were read by hand."""
    case = Case(PHOTOS / name)
    file = case.photos[number - 1]
    (photo,) = measure_photos([file], case.frames(by_hand), case.sides(by_hand)).photos
    curves = [photo.contour.outer, *photo.contour.others]
    record = case.truth["photos"][number - 1]
    return case, photo, score(case, record, curves, case.windows())


def test_a_contour_keeps_to_the_true_outline() -> None:
    case, photo, found = measured("basalt-panel-two-ends", 1)
    assert found.rms <= 0.05
    assert found.p99 <= 0.15
    assert found.seen >= 0.97
    assert found.on_marker == found.astray == 0
    record = case.truth["photos"][0]
    there, whole, false = markers_found(case, record, photo.markers_used)
    assert there >= 0.95 * whole
    assert false == 0
    assert photo.contour.photo.markers_found >= there


def test_hand_readings_cost_a_few_hundredths_of_a_millimetre() -> None:
    _, _, found = measured("basalt-panel-two-ends", 2, by_hand=True)
    assert found.rms <= 0.08
    assert found.p99 <= 0.20
    assert 0.3 < found.pull < 2
