"""Contours of a part that lay still: averaged by their weights, doubted where they disagree."""

import numpy as np
import pytest
from made_solids import rounded_rectangle_line
from numpy.typing import NDArray
from shapely import LinearRing, points

from snugline.trace.contour import Curve
from snugline.trace.contour_join import join

Floats = NDArray[np.float64]
SIGMA = 0.04


def outline(step: float = 0.2) -> tuple[Floats, Floats, LinearRing]:
    """A rounded rectangle of 200 x 90 mm at even steps, with normals, and its line."""
    corner, normals = rounded_rectangle_line(200, 90, 20, per_corner=400)
    corner, normals = np.vstack([corner, corner[:1]]), np.vstack([normals, normals[:1]])
    along = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(corner, axis=0), axis=1))])
    at = np.arange(0, along[-1], step)
    line = np.column_stack([np.interp(at, along, corner[:, k]) for k in (0, 1)])
    normal = np.column_stack([np.interp(at, along, normals[:, k]) for k in (0, 1)])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    return line, normal, LinearRing(corner[:-1])


def curve(
    seed: int,
    keep: NDArray[np.bool_] | None = None,
    sigma: float = SIGMA,
    shift: Floats | float = 0.0,
) -> Curve:
    """The outline as a photo might have it: noise and a shift along the normal."""
    line, normal, _ = outline()
    rng = np.random.default_rng(seed)
    found = line + (sigma * rng.standard_normal(len(line)) + shift)[:, None] * normal
    closed = keep is None
    if keep is not None:
        found = found[keep]
    u = np.full(len(found), sigma)
    return Curve(found, u, u, closed)


def rms(found: Curve) -> float:
    off = outline()[2].distance(points(found.points))
    return float(np.sqrt(np.mean(off**2)))


def test_the_average_of_two_contours_is_nearer_than_either() -> None:
    one, other = curve(1), curve(2)
    joined = join([one, other], ["a.jpg", "b.jpg"])
    assert joined is not None
    assert joined.curve.closed
    assert not joined.notices
    assert rms(joined.curve) < 0.75 * min(rms(one), rms(other))
    assert np.median(joined.curve.sigma) < SIGMA


def test_the_better_contour_counts_more() -> None:
    fine, coarse = curve(1, sigma=0.02), curve(2, sigma=0.2)
    joined = join([coarse, fine], ["a.jpg", "b.jpg"])
    assert joined is not None
    assert rms(joined.curve) < 1.1 * rms(fine)


def test_open_sections_are_averaged_into_the_closed_one() -> None:
    line, _, _ = outline()
    whole = curve(1, sigma=0.1)
    ends = [curve(2, line[:, 0] > 30, 0.02), curve(3, line[:, 0] < -30, 0.02)]
    joined = join([whole, *ends], ["a.jpg", "b.jpg", "c.jpg"])
    assert joined is not None
    assert joined.curve.closed
    off = outline()[2].distance(points(joined.curve.points))
    at_ends = np.abs(joined.curve.points[:, 0]) > 35
    assert np.sqrt(np.mean(off[at_ends] ** 2)) < 0.03
    # Where only the coarse photo looked, its own sigma stands.
    assert np.median(joined.curve.sigma[~at_ends]) > 2 * np.median(joined.curve.sigma[at_ends])


def test_without_a_photo_of_the_whole_there_is_nothing_to_close() -> None:
    line, _, _ = outline()
    assert join([curve(1, line[:, 0] > 0), curve(2, line[:, 0] < 0)], ["a.jpg", "b.jpg"]) is None


def test_a_disagreement_names_photo_and_place() -> None:
    line, _, _ = outline()
    bump = 0.6 * np.exp(-0.5 * ((line[:, 0] - 60) / 6) ** 2) * (line[:, 1] > 40)
    joined = join([curve(1), curve(2), curve(3, shift=bump)], ["a.jpg", "b.jpg", "c.jpg"])
    assert joined is not None
    (notice,) = [n for n in joined.notices if str(n.about) == "c.jpg"]
    assert notice.code == "photos-disagree"
    assert notice.severity == "usable"
    assert "c.jpg" in notice.text
    x = float(notice.text.split("near (")[1].split(",")[0])
    assert x == pytest.approx(60, abs=8)
    assert notice.mend


def test_photos_that_agree_within_their_sigma_are_not_remarked() -> None:
    for seed in range(3):
        joined = join([curve(10 + seed), curve(20 + seed)], ["a.jpg", "b.jpg"])
        assert joined is not None
        assert joined.notices == ()


def test_disagreement_widens_the_stated_sigma() -> None:
    apart = join([curve(1, shift=0.2), curve(2, shift=-0.2)], ["a.jpg", "b.jpg"])
    agreed = join([curve(1), curve(2)], ["a.jpg", "b.jpg"])
    assert apart is not None
    assert agreed is not None
    assert np.median(apart.curve.sigma) > 3 * np.median(agreed.curve.sigma)


def test_a_marker_under_the_edge_leaves_the_outline_closed_with_a_break() -> None:
    line, _, _ = outline()
    hidden = (np.abs(line[:, 0]) < 8) & (line[:, 1] > 40)
    one = curve(1)
    seen = Curve(one.points[~hidden], one.sigma[~hidden], one.noise[~hidden], True)
    joined = join([seen], ["a.jpg"])
    assert joined is not None
    assert joined.curve.closed
    gaps = np.linalg.norm(np.diff(joined.curve.points, axis=0), axis=1)
    assert len(joined.curve.breaks) == int(np.sum(gaps > 5)) <= 1
    assert rms(joined.curve) < 2 * SIGMA


def test_points_of_another_edge_are_left_out() -> None:
    stray = curve(2)
    # A second photo's section, two centimetres off: not this edge.
    far = Curve(stray.points + np.array([0.0, 20.0]), stray.sigma, stray.noise, False)
    joined = join([curve(1), far], ["a.jpg", "b.jpg"])
    assert joined is not None
    near = np.abs(joined.curve.points[:, 0]) < 60
    off = outline()[2].distance(points(joined.curve.points[near]))
    assert off.max() < 0.3
