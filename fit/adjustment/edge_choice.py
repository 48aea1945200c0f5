"""Of two edges that a photo shows, the one that shape, other photos and readings bear out.

A contour hands on such edges as alternatives: stretches of its points that may lie elsewhere, with
a probability. A fit is pulled little by points that doubtful; where its outline passes through the
alternative and not through the points, the alternative takes their place.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Outline
from snugline.fit.result import FittedOutline
from snugline.fit.section import OtherEdge, Section
from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, length

Array = NDArray[np.float64]

# What an outline misses of a true edge, mm, in the rms over a stretch: its own error and the
# contour's together; and how many times that can be told (beyond it all are alike).
_MISSES_MM = 0.06
_FARTHEST = 5.0
# An edge is exchanged where the other is this many times as probable.
_ODDS = 20.0


def with_likelier_edges(
    sections: Sequence[Section], fitted: FittedOutline
) -> tuple[list[Section], list[Notice]]:
    """The sections with those alternatives in place that a fit of them bears out; notices."""
    changed, notices = [], []
    results = {result.name: result for result in fitted.sections}
    for section in sections:
        result = results.get(section.name)
        if result is None:  # the photo was left out
            changed.append(section)
            continue
        turn, move = result.part_from_frame[:, :2], result.part_from_frame[:, 2]

        def cost(points: Array, share: float, turn: Array = turn, move: Array = move) -> float:
            return _cost(fitted.outline, points @ turn.T + move, share)

        for other in section.alternatives:
            own = section.points[other.first : other.last + 1]
            gain = cost(own, 1 - other.probability) - cost(other.points, other.probability)
            if gain > np.log(_ODDS):
                section = _exchanged(section, other)
                notices.append(_notice(section, own))
        changed.append(section)
    return changed, notices


def _cost(outline: Outline, points: Array, share: float) -> float:
    """Minus the logarithm of a probability: of lying so far off, and of being the edge at all."""
    off = np.sqrt(np.mean(signed_distance(outline, points) ** 2)) / _MISSES_MM
    return 0.5 * float(min(off, _FARTHEST)) ** 2 - float(np.log(max(share, 1e-6)))


def _exchanged(section: Section, other: OtherEdge) -> Section:
    points, noise = section.points.copy(), section.noise.copy()
    stretch = slice(other.first, other.last + 1)
    points[stretch] = other.points
    # They no longer count as doubtful, but as no better than the best of the others.
    rest = np.delete(noise, np.r_[stretch])
    noise[stretch] = np.median(rest) if len(rest) else noise[stretch]
    left = tuple(one for one in section.alternatives if one is not other)
    return replace(section, points=points, noise=noise, alternatives=left)


def _notice(section: Section, own: Array) -> Notice:
    along = float(np.linalg.norm(np.diff(own, axis=0), axis=1).sum())
    return Notice(
        "other-edge-taken",
        Sentence(
            "Along {} the photo shows two edges; the one that fits the rest of the outline was "
            "taken.",
            length(along, 0),
        ),
        "Check that stretch on the overlay, or light it from another side and take it again.",
        "usable",
        OfPhoto(section.name),
    )
