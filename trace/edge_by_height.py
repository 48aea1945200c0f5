"""Of two edges that photos of a part show, which lay still: the one that stands at its height.

Paper, printed lines and shadows lie in the sheet's plane, the silhouette of a raised part does not.
Taken as the part's edge, what one photo shows has its place in the other; only a silhouette is an
edge there, too.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_propagation

from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length
from snugline.trace.edge.learned_edge import (
    LINE_SMOOTH,
    NORMAL_SMOOTH,
    STEP_PX,
    Distribution,
    Response,
    edge_distribution,
)
from snugline.trace.edge.relief_displacement import silhouette_pixels
from snugline.trace.edge.silhouette import (
    Silhouette,
    pooled_cost,
    silhouette_along,
)
from snugline.trace.image.polyline import resample, right_normals, smoothed
from snugline.trace.photo_view import PhotoView, response
from snugline.trace.plan_curve import mm_of_px
from snugline.trace.still_part import (
    AGREES,
    Apart,
    Followed,
    Stretch,
    agreeing,
    length_along,
    stretches,
)

Floats = NDArray[np.float64]

# Two wrong edges may agree over so few points beside a stretch of which one of them was wrong.
_CROSSING = 36
# Of two edges the one is the part's that both photos together hold this many times as likely, by
# the mean over the rows of the stretch; one that has less than the second, a probability, is
# refused. No row counts as surer than the third.
_ODDS, _REFUSED = 5.0, 0.1
_LEAST_SURE = 1e-3
_REMARK_MM, _REMARK_APART_MM = 10.0, 0.15  # what is longer and farther apart is worth a remark


def compared(
    one: Followed, other: Followed, here: PhotoView, there: PhotoView
) -> tuple[tuple[Silhouette, ...], list[Notice]]:
    """The first photo's edge with what another says of it; remarks.

    Where they disagree, both photos are asked along both edges, each taken as the part's. The one
    that both hold likelier is taken, as the first photo shows it. Where neither is an edge in both,
    the points are left out; where both are, they lose weight.

    Parameters
    ----------
    here, there : the two photos, with their pixels.
    """
    one, other = _opened(one, other), _opened(other, one)
    look_here, look_there = _Look.of(here), _Look.of(there)
    apart = Apart.of(one, other)
    pieces = list(one.pieces)
    # Points of which one photo was wrong, and those of this one.
    decided = [np.zeros(len(piece.pixels), dtype=bool) for piece in pieces]
    wrong = [np.zeros(len(piece.pixels), dtype=bool) for piece in pieces]
    taken: list[tuple[Stretch, _Looked]] = []
    vague: list[Stretch] = []
    for stretch in stretches(one, other):
        own = _Edge.of(one, stretch.piece, stretch.own)
        their = _Edge.of(other, stretch.other_piece, stretch.other)
        instead = look_here.along(their.seen_by(here))
        for_their = instead.certainty + look_there.along(their.pixels).certainty
        for_own = look_here.along(own.pixels).certainty
        for_own += look_there.along(own.seen_by(there)).certainty
        gain = for_their - for_own
        refused = max(for_their, for_own) < np.log(_REFUSED)
        if not refused and abs(gain) < np.log(_ODDS):
            vague.append(stretch)
            continue
        decided[stretch.piece][stretch.own] = True
        if refused:
            wrong[stretch.piece][stretch.own] = True
        elif gain > 0:
            wrong[stretch.piece][stretch.own] = True
            taken.append((stretch, instead))
    for number, piece in enumerate(pieces):
        short = agreeing(one, other, number) & ~agreeing(one, other, number, _CROSSING)
        beside = binary_propagation(binary_dilation(decided[number]) & short, mask=short)
        pieces[number] = replace(piece, good=piece.good & ~wrong[number] & ~beside)
    for stretch in vague:
        pieces[stretch.piece] = _widened(one, stretch, pieces[stretch.piece], apart)
    # From the last one on, so that the numbers of the points before it stay.
    for stretch, instead in reversed(taken):
        edge = _near(instead.silhouette(), instead.line, stretch, one, apart)
        pieces[stretch.piece] = _spliced(pieces[stretch.piece], stretch.own, edge)
    return tuple(pieces), list(_remarks(one, other, apart, [s for s, _ in taken], vague))


def _opened(one: Followed, other: Followed) -> Followed:
    """With the seam of each closed piece where both photos agree, so that no stretch crosses it."""
    pieces = list(one.pieces)
    for number, piece in enumerate(pieces):
        agree = np.flatnonzero(agreeing(one, other, number, _CROSSING))
        if piece.closed and len(agree):
            first = -int(agree[len(agree) // 2])
            fields = ("pixels", "sigma", "good", "rival", "other")
            rolled: dict[str, Any] = {
                name: np.roll(getattr(piece, name), first, axis=0)
                for name in fields
                if getattr(piece, name) is not None
            }
            pieces[number] = replace(piece, belief=None, **rolled)
    return replace(one, pieces=tuple(pieces))


@dataclass(frozen=True)
class _Edge:
    """A stretch of an edge: where it is seen in its photo, and in plan."""

    pixels: Floats
    points: Floats
    normals: Floats

    @staticmethod
    def of(photo: Followed, piece: int, which: slice) -> "_Edge":
        lifted = photo.lifted[piece]
        return _Edge(photo.pieces[piece].pixels[which], lifted.points[which], lifted.normals[which])

    def seen_by(self, view: PhotoView) -> Floats:
        """(N, 2) px, where another photo sees it if it is the part's."""
        return silhouette_pixels(view.camera, self.points, self.normals, view.sides)

    @property
    def length(self) -> float:
        return length_along(self.points)


@dataclass(frozen=True)
class _Look:
    """A photo, to be asked along lines where a silhouette may be."""

    view: PhotoView
    response: Response

    @staticmethod
    def of(view: PhotoView) -> "_Look":
        return _Look(view, response(view))

    def along(self, line: Floats) -> "_Looked":
        """What the edge model sees along a line (N, 2) px."""
        line = smoothed(resample(line, STEP_PX, closed=False), LINE_SMOOTH, closed=False)
        normals = right_normals(smoothed(line, NORMAL_SMOOTH, closed=False), closed=False)
        view = self.view
        seen = edge_distribution(
            view.photo.rgb, view.camera, view.sides, self.response, line, normals, closed=False
        )
        return _Looked(self, line, normals, seen)


@dataclass(frozen=True)
class _Looked:
    look: _Look
    line: Floats
    normals: Floats
    seen: Distribution

    @property
    def certainty(self) -> float:
        """The logarithm of the probability that the edge is on the line, its mean over the rows."""
        _, _, share = self.seen.near(np.zeros(len(self.line)))
        return float(np.mean(np.log(np.maximum(share, _LEAST_SURE))))

    def silhouette(self) -> Silhouette:
        """The edge that is on the line."""
        rgb, response, on_line = self.look.view.photo.rgb, self.look.response, self.line[:, 0] * 0.0
        cost = pooled_cost(self.seen, closed=False)
        return silhouette_along(
            rgb, response, self.line, self.normals, self.seen, cost, on_line, closed=False
        )


def _spliced(piece: Silhouette, own: slice, instead: Silhouette) -> Silhouette:
    """The piece with a stretch of it replaced."""
    fields: dict[str, Any] = {}
    for name in ("pixels", "sigma", "good", "rival", "other"):
        old, new = getattr(piece, name), getattr(instead, name)
        if old is not None and new is not None:
            fields[name] = np.concatenate([old[: own.start], new, old[own.stop :]])
    return Silhouette(closed=piece.closed, **fields)


def _near(
    edge: Silhouette, line: Floats, stretch: Stretch, one: Followed, apart: Apart
) -> Silhouette:
    """The edge, of which only what agrees with the other photo's line counts."""
    u_mm = float(np.median(apart.u[one.within(stretch.piece, stretch.own)]))
    height = one.lifted[stretch.piece].height
    px = mm_of_px(one.camera, one.pieces[stretch.piece], height)[stretch.own]
    off_px = np.linalg.norm(edge.pixels - line, axis=1)
    return replace(edge, good=edge.good & (off_px < AGREES * u_mm / np.median(px)))


def _widened(one: Followed, stretch: Stretch, piece: Silhouette, apart: Apart) -> Silhouette:
    """Which of the two is wrong is not known: either takes half of the variance between them."""
    which = one.within(stretch.piece, stretch.own)
    px = mm_of_px(one.camera, one.pieces[stretch.piece], one.lifted[stretch.piece].height)
    across = np.where(apart.near[which], apart.across[which], apart.typical(which))
    sigma = piece.sigma.copy()
    sigma[stretch.own] = np.hypot(sigma[stretch.own], across / np.sqrt(2) / px[stretch.own])
    return replace(piece, sigma=sigma)


def _remarks(
    one: Followed,
    other: Followed,
    apart: Apart,
    taken: Sequence[Stretch],
    vague: Sequence[Stretch],
) -> Iterator[Notice]:
    def along(stretches: Sequence[Stretch]) -> float:
        return sum(length_along(one.lifted[s.piece].points[s.own]) for s in stretches)

    if along(taken) > _REMARK_MM:
        yield Notice(
            "other-edge-taken",
            Sentence(
                "Along {} another edge was followed at first; together with {photo} the photo "
                "shows which one is the part's.",
                length(along(taken), 0),
                photo=other.name,
            ),
            "Check that stretch on the overlay.",
            "fine",
            OfPhoto(one.name),
        )
    far = [s for s in vague if apart.typical(one.within(s.piece, s.own)) > _REMARK_APART_MM]
    if along(far) > _REMARK_MM:
        yield Notice(
            "photos-disagree",
            Sentence(
                "Along {} the photo does not show the edge where {photo} shows it, though the part "
                "lay still; it hardly counts there.",
                length(along(far), 0),
                photo=other.name,
            ),
            "Compare that stretch on both overlays, and take a photo with light from another side.",
            "usable",
            OfPhoto(one.name),
        )
