"""Photos of a part that lay still: seen by the contours, and used to tell its edge from a shadow's.

Silhouettes are those of a solid in space (`made_solids`), a shadow's outline lies on the sheet; the
learned model is a made one, which sees both edges and holds the one or the other likelier.
"""

from dataclasses import dataclass, replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from made_solids import convex_silhouette, rounded_rectangle_line
from made_views import camera_over, phone_lens
from shapely import LinearRing, points

from snugline.trace import edge_by_height
from snugline.trace.edge.learned_edge import PLACES, Distribution
from snugline.trace.edge.relief_displacement import PartSides, lift, silhouette_pixels
from snugline.trace.edge.silhouette import Silhouette
from snugline.trace.edge_by_height import compared
from snugline.trace.still_part import Followed, disagree, lay_still, stretches

SIDES = PartSides(8.0)
LINE, NORMALS = rounded_rectangle_line(90, 60, 12, centre=(150.0, 100.0))
RING = LinearRing(LINE)
LENS = phone_lens(radial=(0.0, 0.0, 0.0, 0.0))
CAMERAS = {
    "a": camera_over((150.0, 100.0), 300.0, 24.0, 10.0, 5.0, LENS),
    "b": camera_over((150.0, 100.0), 310.0, 22.0, 190.0, 80.0, LENS),
}
OFF_MM = 1.2  # how far outside of the foot the shadow ends
NOISE_PX = 0.1
# Along the right side, whose foot one camera sees and whose top edge the other.
SHADOW = np.column_stack([np.full(400, 195.0 + OFF_MM), np.linspace(82.0, 118.0, 400)])


@dataclass(frozen=True)
class Seen:
    """A photo: its silhouette, and the outline of a shadow beside the right side (px)."""

    name: str
    silhouette: np.ndarray
    shadow: np.ndarray

    @staticmethod
    @cache
    def of(name, shift=(0.0, 0.0)):
        line = LINE + np.array(shift)
        camera = CAMERAS[name]
        silhouette = convex_silhouette(camera, line, NORMALS, SIDES)
        return Seen(name, silhouette[::-1], camera.pixels(SHADOW + np.array(shift)))

    def followed(self, shadow=False, seed=1):
        """As it was traced; along the right side by the shadow where that is asked."""
        camera, pixels = CAMERAS[self.name], self.silhouette
        if not LinearRing(camera.on_plane(pixels)).is_ccw:
            pixels = pixels[::-1]
        # From the middle of the left side, so that the seam is far from what is looked at.
        pixels = np.roll(pixels, -int(camera.on_plane(pixels)[:, 0].argmin()), axis=0)
        if shadow:
            plan = lift(camera, pixels, SIDES, True).points
            right = np.flatnonzero(plan[:, 0] > 194.0)
            inner = slice(right[0] + 10, right[-1] - 10)
            along = np.linspace(0, 1, inner.stop - inner.start)
            place = along * (len(self.shadow) - 1)
            put = [np.interp(place, np.arange(len(self.shadow)), self.shadow[:, k]) for k in (0, 1)]
            pixels = pixels.copy()
            pixels[inner] = np.column_stack(put)
        count = len(pixels)
        rng = np.random.default_rng(seed)
        pixels = pixels + NOISE_PX * rng.standard_normal((count, 2))
        all_good, none = np.ones(count, dtype=bool), np.zeros(count, dtype=bool)
        edge = Silhouette(pixels, np.full(count, NOISE_PX), all_good, none, True)
        return Followed(f"{self.name}.jpg", camera, SIDES, (edge,), 0.02)


def off(edge, name):
    """(N,) mm of the points that count, from the true outline."""
    lifted = lift(CAMERAS[name], edge.pixels, SIDES, edge.closed, 6)
    return RING.distance(points(lifted.points[edge.good & ~lifted.ambiguous]))


def test_where_the_plan_outline_is_seen_is_where_the_solid_is():
    for camera in CAMERAS.values():
        seen = silhouette_pixels(camera, LINE, NORMALS, SIDES)
        solid = LinearRing(convex_silhouette(camera, LINE, NORMALS, SIDES))
        lifted = lift(camera, seen, SIDES, True)
        off_px = solid.distance(points(seen))[~lifted.ambiguous]
        assert np.quantile(off_px, 0.95) < 0.05


def test_a_part_that_lay_still_is_told_from_one_that_was_moved():
    a, b = Seen.of("a").followed(), Seen.of("b").followed(seed=2)
    assert lay_still(a, b)
    assert not disagree(a, b)
    assert not lay_still(a, Seen.of("b", shift=(1.0, 0.0)).followed())
    assert not lay_still(a, Seen.of("b", shift=(0.3, 0.3)).followed())


def test_it_lay_still_though_one_photo_follows_a_shadow():
    a, b = Seen.of("a").followed(shadow=True), Seen.of("b").followed(seed=2)
    assert lay_still(a, b)
    (stretch,) = stretches(a, b)
    assert a.lifted[0].points[stretch.own][:, 0].min() > 193


def test_sides_alone_do_not_hold_a_part():
    # Slid along its straight sides by 0.5 mm: what is seen of them agrees, and tells nothing.
    a, b = Seen.of("a").followed(), Seen.of("b", shift=(0.5, 0.0)).followed()

    def straight(photo):
        (edge,) = photo.pieces
        at = photo.lifted[0].points[:, 0]
        return replace(photo, pieces=(replace(edge, good=(at > 125) & (at < 175)),))

    assert not lay_still(straight(a), straight(b))


def test_a_shadow_that_stays_on_the_sheet_holds_a_part_too():
    # Of a corner's two sides both photos follow the shadow of one: it lies in one place.
    def corner(name, shift=(0.0, 0.0)):
        photo = Seen.of(name, shift).followed(shadow=True)
        (edge,) = photo.pieces
        x, y = (photo.lifted[0].points - np.array(shift)).T
        good = ((x > 190) & (y > 85) & (y < 115)) | ((y < 75) & (x > 125) & (x < 175))
        return replace(photo, pieces=(replace(edge, good=good),))

    assert lay_still(corner("a"), corner("b"))
    assert not lay_still(corner("a"), corner("b", shift=(0.5, 0.0)))


@pytest.fixture
def witness(monkeypatch):
    """Photos in which the silhouette has this share of the probability, the shadow the rest."""
    shown = {}

    def look(rgb, camera, sides, response, line, normals, closed):
        seen, share = shown[id(rgb)]
        assert sides == SIDES
        middle = np.full((len(line), PLACES), -999.0)
        weight = np.zeros((len(line), PLACES))
        for k, (edge, likely) in enumerate(((seen.silhouette, share), (seen.shadow, 1 - share))):
            apart = edge[None] - line[:, None]
            nearest = np.argmin(np.sum(apart**2, axis=2), axis=1)
            step = apart[np.arange(len(line)), nearest]
            across = np.sum(step * normals, axis=1)
            beside = np.linalg.norm(step - across[:, None] * normals, axis=1)
            near = (beside < 3) & (np.abs(across) < PLACES / 2)
            middle[near, k], weight[near, k] = across[near], likely
        total = weight.sum(axis=1, keepdims=True)
        middle[:, 2], weight[:, 2] = 500.0, np.where(total[:, 0] == 0, 1.0, 0.0)
        weight /= weight.sum(axis=1, keepdims=True)
        untold = np.where(total[:, 0] == 0, 0.99, 0.0)
        return Distribution(weight, middle, np.full_like(weight, 0.05), untold)

    monkeypatch.setattr(edge_by_height, "edge_distribution", look)
    monkeypatch.setattr(edge_by_height, "response", lambda view: SimpleNamespace(blur=1.0))

    def photo(name, share):
        rgb = np.broadcast_to(np.uint8(128), (3000, 4000, 3))  # no step of light to be seen
        shown[id(rgb)] = Seen.of(name), share
        return SimpleNamespace(photo=SimpleNamespace(rgb=rgb), camera=CAMERAS[name], sides=SIDES)

    return photo


def test_the_edge_that_stands_at_the_part_s_height_replaces_the_shadow(witness):
    # One photo follows the shadow; the other shows no edge at that place.
    a, b = Seen.of("a").followed(shadow=True), Seen.of("b").followed(seed=2)
    fooled, right = witness("a", 0.2), witness("b", 0.8)
    (edge,), told = compared(a, b, fooled, right)
    assert [notice.code for notice in told] == ["other-edge-taken"]
    assert off(a.pieces[0], "a").max() > 0.9 * OFF_MM
    assert off(edge, "a").max() < 0.1
    assert edge.good.mean() > 0.8
    (other,), told = compared(b, a, right, fooled)
    assert told == []
    assert off(other, "b").max() < 0.1
    assert other.good.mean() > 0.9


def test_what_stands_at_no_height_is_left_out(witness):
    # Both follow the shadow and see nothing else: taken as the part's it stands in two places.
    a, b = Seen.of("a").followed(shadow=True), Seen.of("b").followed(shadow=True, seed=2)
    assert lay_still(a, b)
    for one, other, name in ((a, b, "a"), (b, a, "b")):
        views = (witness(photo.name[0], 0.0) for photo in (one, other))
        (edge,), _ = compared(one, other, *views)
        assert off(one.pieces[0], name).max() > 0.9 * OFF_MM
        assert off(edge, name).max() < 0.15


def test_what_both_hold_possible_loses_weight_and_is_said(witness):
    # From one place no height can be told: the shadow is as good an edge as the part's own.
    a = Seen.of("a").followed(shadow=True)
    b = replace(Seen.of("a").followed(seed=2), name="b.jpg")
    views = witness("a", 0.5), witness("a", 0.5)
    (edge,), told = compared(a, b, *views)
    assert [notice.code for notice in told] == ["photos-disagree"]
    wrong = off(edge, "a") > 0.3
    assert wrong.any()
    lifted = lift(CAMERAS["a"], edge.pixels, SIDES, True, 6)
    sigma = edge.sigma[edge.good & ~lifted.ambiguous]
    assert np.median(sigma[wrong]) > 30 * NOISE_PX
    assert np.median(sigma[~wrong]) == NOISE_PX
