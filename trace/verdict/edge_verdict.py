"""Is the part's edge good enough? Where it is lost, vague, overexposed, or jumps sideways."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length, share
from snugline.trace.contour import PhotoFacts
from snugline.trace.edge.part_sensitivity import sensitivities
from snugline.trace.verdict.followed_piece import (
    EdgeEvidence,
    FollowedPiece,
    Stretch,
    longest_stretch,
    region_of,
)
from snugline.trace.verdict.shadow_verdict import in_shadow
from snugline.trace.verdict.straight_verdict import goes_on, jump

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# A sharp corner alone leaves a gap of up to 4 mm, and twice that of a straight side is missed by no
# fit; a long gap is bridged by the fit alone.
LOST_MM: tuple[float, float] = (8.0, 25.0)
# With more of the edge lost a word is due even where all of it lies along straight sides.
_LOST_SHARE = 0.3
# An end or a corner in the window has more edge than this.
SHORT_MM = 40.0
# A whole stretch of points less certain than the first misses the accuracy wanted; beyond the
# second over a good part of the edge, neighbours no longer agree on one edge either.
VAGUE_MM: tuple[float, float] = (0.06, 0.09)
_VAGUE_STRETCH_MM = 4.0  # a shorter stretch is bridged by the fit
# What a vague stretch does to a dimension: its uncertainty by the share that it is of a short side.
# More than a third of 0.1 mm, the U95 of a width, is worth another photo.
_VAGUE_EFFECT_MM = 0.033
_VAGUE_SHARE = 0.15  # of the edge above the second
# Where a second edge is as likely over a short stretch, the overall shape still decides between
# them; not where that holds for a good part of the edge.
_RIVAL_STRETCH_MM = 8.0
RIVAL_SHARE = 0.3
# A stretch this long that looks like shaded sheet is remarked on. It alone refuses no photo: of 18
# outside photos (seed 4200) it refused four, all right to 0.04 mm rms; of 400 (seeds 7901, 7902)
# none that another remark did not.
_SHADOW_MM = 12.0
# Below this share of the paper's luminance a shadow's outline or grain is as strong as the edge.
PALE = 0.04
_PALE_STRETCH_MM = 10.0  # to be remarked on
# This near the window's border its printed line, or its end, may be mistaken for the edge.
BORDER_MM = 2.5
_BORDER_STRETCH_MM = 40.0  # shorter ones are where the edge crosses the border
# Beyond this from the window's border a contour has no reason to end.
_END_MM = 6.0
_BESIDE_PX = 4.0  # from the edge to where clipping is looked for: beyond its blur
_GLARE_STRETCH_MM = 3.0  # shorter ones move no dimension
# A reflection is a patch; where more than this share is clipped, the exposure is too long.
_PATCH = 0.3
# A shift of the edge by the thickness's U95 that is worth another reading: a third of 0.15 mm, the
# smallest clearance that is asked for often (common practice, no source).
MOVES_MM = 0.05
# A remark whose place lies this far within that of a graver one on the edge has the same cause.
_SAME_PLACE = 0.5
# What a hard shadow beside the part does to its edge here and there: one lamp, one remedy.
_BY_SHADOW = ("shadow-taken", "edge-jumps", "edge-doubtful", "edge-vague")
_CONTRASTING_SHEET = (
    "a sheet whose window contrasts with the part (`border-a4-dark` for a pale part)."
)
_BOX_MARGIN_PX = 60.0  # round a single point, so that the box can be seen


def judge_edge(edge: EdgeEvidence, facts: PhotoFacts) -> list[Notice]:
    """Remarks on the part's edge in one photo."""
    pieces = [FollowedPiece(edge, s, facts.mm_per_px) for s in edge.pieces if len(s.pixels) > 2]
    by_edge = (_short, _lost, _vague, _rivals, _shadow)
    checks = (*by_edge, _ends, _border, _glare, jump, _thickness)
    if not pieces:
        return []
    about = OfPhoto(facts.file)
    return by_cause([notice for check in checks for notice in check(pieces, about)])


def by_cause(notices: Sequence[Notice]) -> list[Notice]:
    """One remark for each place: what is lost is also vague, and doubtful, and ends there.

    And one for a hard shadow, wherever it lies along the edge: the gravest of what it does.
    """
    kept: list[Notice] = []
    shadow = any(notice.code == _BY_SHADOW[0] for notice in notices)
    for notice in sorted(notices, key=lambda n: (-n.gravity, n.code != _BY_SHADOW[0])):
        if shadow and notice.code in _BY_SHADOW and any(n.code in _BY_SHADOW for n in kept):
            continue
        if notice.code == "thickness-matters" or all(_apart(notice, other) for other in kept):
            kept.append(notice)
    return kept


def _apart(notice: Notice, other: Notice) -> bool:
    """Whether less than half of a remark's place lies in that of another."""
    if notice.region_px is None or other.region_px is None:
        return True
    left, top, right, bottom = notice.region_px
    left2, top2, right2, bottom2 = other.region_px
    wide = max(0.0, min(right, right2) - max(left, left2))
    high = max(0.0, min(bottom, bottom2) - max(top, top2))
    return wide * high < _SAME_PLACE * (right - left) * (bottom - top)


def _short(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    """Open pieces too short for an edge: printing on the sheet, or a stray region."""
    found = sum(float(p.length[p.inside].sum()) for p in pieces)
    if found < SHORT_MM and not any(p.silhouette.closed for p in pieces):
        yield Notice(
            "edge-short",
            Sentence(
                "Only {} of edge was found in the window. It may be printing on the sheet; the "
                "part may be too similar in brightness to be seen.",
                length(found, 0),
            ),
            f"Lay the part so that its end or corner shows, or use {_CONTRASTING_SHEET}",
            "retake",
            about,
            region_of(np.concatenate([p.pixels for p in pieces])),
        )


def _lost(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    lost = [~p.silhouette.good for p in pieces]
    found = longest_stretch(pieces, lost)
    if found and found.share < _LOST_SHARE:
        found = longest_stretch(
            pieces, [m & ~goes_on(p, m) for p, m in zip(pieces, lost, strict=True)]
        )
    if found and found.length_mm > LOST_MM[0]:
        yield Notice(
            "edge-lost",
            Sentence(
                "The edge could not be found along one stretch of {}, and along {} of its length "
                "in all.",
                length(found.length_mm, 0),
                share(found.share),
            ),
            "Light it from another side, or lay the part so that the edge shows against the sheet.",
            "retake" if found.length_mm > LOST_MM[1] else "usable",
            about,
            region_of(found.pixels),
        )


def _vague(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    sigma = [p.silhouette.sigma * p.mm_per_px for p in pieces]
    found = longest_stretch(pieces, [s > VAGUE_MM[0] for s in sigma])
    if found is not None and found.length_mm > _VAGUE_STRETCH_MM:
        i = next(k for k, p in enumerate(pieces) if p is found.piece)
        typical = float(np.median(sigma[i][found.run]))
        if typical * min(1.0, found.length_mm / SHORT_MM) < _VAGUE_EFFECT_MM:
            return
        very = sum(
            float(p.length[(s > VAGUE_MM[1]) & p.inside].sum())
            for p, s in zip(pieces, sigma, strict=True)
        ) / sum(float(p.length[p.inside].sum()) for p in pieces)
        yield Notice(
            "edge-vague",
            Sentence(
                f"Along {{}} the edge is located only to within {{}} (standard uncertainty"
                f"{_contrast(found, '; ')}). The same holds for {{}} of the edge.",
                length(found.length_mm, 0),
                length(typical),
                share(found.share),
            ),
            f"Light the part evenly from all sides, or use {_CONTRASTING_SHEET}",
            "retake" if very > _VAGUE_SHARE else "usable",
            about,
            region_of(found.pixels),
        )
        return
    found = longest_stretch(pieces, [p.contrast < PALE for p in pieces])
    if found and found.length_mm > _PALE_STRETCH_MM:
        yield Notice(
            "edge-pale",
            Sentence(
                f"Along {{}} the part is hardly darker or lighter than the sheet "
                f"({_contrast(found)}).",
                length(found.length_mm, 0),
            ),
            f"Use {_CONTRASTING_SHEET}",
            "usable",
            about,
            region_of(found.pixels),
        )


def _rivals(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    found = longest_stretch(pieces, [p.silhouette.rival for p in pieces])
    if found and found.length_mm > _RIVAL_STRETCH_MM:
        yield Notice(
            "edge-doubtful",
            Sentence(
                "Along {} another edge is just as likely as the one followed (the outline of a "
                "shadow, or the part's own rounding). This affects {} of the edge.",
                length(found.length_mm, 0),
                share(found.share),
            ),
            f"Light the part evenly from all sides, or use {_CONTRASTING_SHEET}",
            "retake" if found.share > RIVAL_SHARE else "usable",
            about,
            region_of(found.pixels),
        )


def _shadow(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    found = longest_stretch(pieces, [in_shadow(p.beside) for p in pieces])
    if found and found.length_mm > _SHADOW_MM:
        yield Notice(
            "shadow-taken",
            Sentence(
                "Along {} the strip just inside the edge looks like shaded paper: the outline of a "
                "shadow may have been mistaken for the edge of the part.",
                length(found.length_mm, 0),
            ),
            "Soften the lamp or move it away, so that no hard shadow lies next to the part, and "
            "take the photo again.",
            "usable",
            about,
            region_of(found.pixels),
        )


def _contrast(found: Stretch, before: str = "") -> str:
    if not np.isfinite(found.piece.edge.paper):
        return ""
    contrast = float(np.median(found.piece.contrast[found.run]))
    return f"{before}contrast {contrast * 100:.0f} %"


def _ends(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    """Ends of the followed edge that lie in the middle of the window."""
    for piece in pieces:
        if piece.silhouette.closed or piece.edge.whole:
            continue
        height, width = piece.edge.rgb.shape[:2]
        for i in (0, len(piece.pixels) - 1):
            x, y = piece.pixels[i]
            in_photo = min(x, y, width - 1 - x, height - 1 - y) > 10
            if piece.deep[i] > _END_MM and in_photo:
                yield Notice(
                    "edge-ends-inside",
                    Sentence(
                        "The edge could not be followed beyond a point {} inside the window.",
                        length(piece.deep[i], 0),
                    ),
                    "Light the edge from another side, and take the photo again.",
                    "usable",
                    about,
                    region_of(piece.pixels[i : i + 1], _BOX_MARGIN_PX),
                )


def _border(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    if pieces[0].edge.whole or not pieces[0].edge.border_printed:
        return
    found = longest_stretch(pieces, [(p.deep > 0) & (p.deep < BORDER_MM) for p in pieces])
    if found and found.length_mm > _BORDER_STRETCH_MM:
        yield Notice(
            "edge-near-border",
            Sentence(
                "{} of the edge is closer than {} to the printed border.",
                length(found.length_mm, 0),
                length(BORDER_MM, 1),
            ),
            "Slide the part so that its edge stays 5 mm clear of the border, or crosses it "
            "steeply.",
            "usable",
            about,
            region_of(found.pixels),
        )


def _glare(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    for beside, what in ((-_BESIDE_PX, "part"), (_BESIDE_PX, "sheet")):
        found = longest_stretch(pieces, [p.clipped(beside) for p in pieces])
        if found and found.length_mm > _GLARE_STRETCH_MM:
            patch = what == "part" and found.share < _PATCH
            yield Notice(
                "glare" if patch else "overexposed",
                Sentence(
                    f"Along {{}} of the edge the {what} is overexposed (clipped to white).",
                    length(found.length_mm, 0),
                ),
                "Move the lamp to the other side, or soften it."
                if patch
                else "Lower the camera's exposure, or use less light.",
                "usable",
                about,
                region_of(found.pixels),
            )


def _thickness(pieces: Sequence[FollowedPiece], about: OfPhoto) -> Iterator[Notice]:
    known = 2 * pieces[0].edge.sides.thickness_u
    moves = [
        np.abs(sensitivities(p.edge.sides, p.lifted.slope)["thickness"]) * known for p in pieces
    ]
    kept = [p.inside & p.silhouette.good & ~p.lifted.ambiguous for p in pieces]
    found = longest_stretch(pieces, [(m > MOVES_MM) & k for m, k in zip(moves, kept, strict=True)])
    if found:
        i = next(k for k, p in enumerate(pieces) if p is found.piece)
        yield Notice(
            "thickness-matters",
            Sentence(
                "The thickness as read is uncertain by {}, which shifts the edge by up to {} along "
                "{}, where the camera sees the top edge.",
                length(known),
                length(float(moves[i][found.run].max())),
                length(found.length_mm, 0),
            ),
            "Measure the thickness there with a caliper.",
            "fine",
            about,
            region_of(found.pixels),
        )
