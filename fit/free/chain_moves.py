"""What can be done to a chain's kind: fewer or more segments, corners made sharp or smooth.

Each move gives a rough chain for `chain_fit.refine` to settle, or None where it has no sense. On a
closed chain all indices run round.
"""

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from snugline.fit.geometry.arc_chain import Array, Chain


def rotated(chain: Chain, node: int) -> Chain:
    """A closed chain started at another node."""
    if node == 0:
        return chain
    at = chain.poses

    def roll(values: Array) -> Array:
        return np.roll(values, -node)

    return replace(
        chain,
        start=(float(at.start[node, 0]), float(at.start[node, 1])),
        heading=float(at.heading[node]),
        lengths=roll(chain.lengths),
        curvatures=roll(chain.curvatures),
        turns=roll(chain.turns),
        straight=np.roll(chain.straight, -node),
        corner=np.roll(chain.corner, -node),
    )


def _centred(chain: Chain, segment: int, span: int) -> tuple[Chain, int] | None:
    """The chain with the segment, one before and `span` after inside, and the segment's index."""
    k = len(chain)
    if chain.closed and k >= span + 2:
        chain, segment = rotated(chain, (segment - 1) % k), 1
    return (chain, segment) if segment >= 0 and segment + span <= k else None


def _bent(chain: Chain, sweeps: Array, lengths: Array) -> Chain:
    """The chain with these sweeps and lengths; what a line is given to bend is left out."""
    curvatures = np.where(chain.straight, 0.0, sweeps / lengths)
    return replace(chain, lengths=lengths, curvatures=curvatures)


def _without(chain: Chain, segment: int) -> Chain:
    return replace(
        chain,
        lengths=np.delete(chain.lengths, segment),
        curvatures=np.delete(chain.curvatures, segment),
        turns=np.delete(chain.turns, segment),
        straight=np.delete(chain.straight, segment),
        corner=np.delete(chain.corner, segment),
    )


def merged(chain: Chain, segment: int) -> Chain | None:
    """The segment and the next as one arc, or as one line where both are lines in line."""
    if len(chain) < 2:
        return None
    placed = _centred(chain, segment, 2)
    if placed is None:
        return None
    chain, i = placed
    both = bool(chain.straight[i] and chain.straight[i + 1] and abs(chain.turns[i + 1]) < 0.1)
    sweep = chain.curvatures * chain.lengths
    sweep[i] += sweep[i + 1] + chain.turns[i + 1]
    lengths = chain.lengths.copy()
    lengths[i] += lengths[i + 1]
    straight = chain.straight.copy()
    straight[i] = both
    return _without(_bent(replace(chain, straight=straight), sweep, lengths), i + 1)


def lined(chain: Chain, segment: int) -> Chain | None:
    """The segment and the next, of which one is an arc and one a line, as one line."""
    after = (segment + 1) % len(chain)
    if chain.straight[segment] == chain.straight[after]:
        return None
    arc = merged(chain, segment)
    return straightened(arc, 1 if arc.closed else segment) if arc is not None else None


def removed(chain: Chain, segment: int, sharp: bool) -> Chain | None:
    """The segment gone and its neighbours met, in a sharp corner or smoothly."""
    placed = _centred(chain, segment, 2) if len(chain) > 2 else None
    if placed is None or placed[1] < 1:
        return None
    chain, i = placed
    sweep = chain.curvatures * chain.lengths
    through = float(sweep[i] + chain.turns[i] + chain.turns[i + 1])
    lengths, turns, corner = chain.lengths.copy(), chain.turns.copy(), chain.corner.copy()
    if sharp:
        if abs(through) < 0.02 or abs(through) > 3.0:
            return None
        half = lengths[i] / 2 / max(math.cos(through / 2), 0.05)
        turns[i + 1], corner[i + 1] = through, True
    else:
        bends = [j for j in (i - 1, i + 1) if not chain.straight[j]]
        if not bends:
            return None
        half = lengths[i] / 2
        turns[i + 1], corner[i + 1] = 0.0, False
        sweep[bends] += through / len(bends)
    lengths[[i - 1, i + 1]] += half
    chain = _bent(replace(chain, turns=turns, corner=corner), sweep, lengths)
    return _without(chain, i)


def straightened(chain: Chain, segment: int) -> Chain | None:
    """The arc as a line, its sweep given to the neighbours that can bend."""
    k = len(chain)
    if chain.straight[segment] or (chain.closed and k < 3):
        return None
    before, after = (segment - 1) % k, (segment + 1) % k
    ends = (segment > 0 or chain.closed, segment + 1 < k or chain.closed)
    for there, other, node in ((ends[0], before, segment), (ends[1], after, after)):
        if there and chain.straight[other] and not chain.corner[node]:
            return None  # two lines in line are one: that is `merged`
    sweep = chain.curvatures * chain.lengths
    straight = chain.straight.copy()
    straight[segment] = True
    bends = [j for there, j in zip(ends, (before, after), strict=True) if there and not straight[j]]
    if bends:
        sweep[bends] += sweep[segment] / len(bends)
    return _bent(replace(chain, straight=straight), sweep, chain.lengths)


def smoothed(chain: Chain, node: int) -> Chain | None:
    """The sharp corner at a node made tangent."""
    k = len(chain)
    if not chain.corner[node]:
        return None
    bends = [j for j in ((node - 1) % k, node) if not chain.straight[j]]
    if not bends:
        return None
    sweep = chain.curvatures * chain.lengths
    sweep[bends] += chain.turns[node] / len(bends)
    turns, corner = chain.turns.copy(), chain.corner.copy()
    turns[node], corner[node] = 0.0, False
    return _bent(replace(chain, turns=turns, corner=corner), sweep, chain.lengths)


def split(chain: Chain, segment: int, along: float) -> Chain:
    """The segment as two arcs, parted `along` mm after its start."""
    length = float(chain.lengths[segment])
    along = min(max(along, 0.15 * length), 0.85 * length)
    lengths, curvatures = chain.lengths.copy(), chain.curvatures
    lengths[segment] = along
    straight = chain.straight.copy()
    straight[segment] = False
    after = segment + 1
    return replace(
        chain,
        lengths=np.insert(lengths, after, length - along),
        curvatures=np.insert(curvatures, after, curvatures[segment]),
        turns=np.insert(chain.turns, after, 0.0),
        straight=np.insert(straight, after, False),
        corner=np.insert(chain.corner, after, False),
    )


def bent(chain: Chain, segment: int) -> Chain | None:
    """A line allowed to bend."""
    if not chain.straight[segment]:
        return None
    straight = chain.straight.copy()
    straight[segment] = False
    return replace(chain, straight=straight)


def part(chain: Chain, first: int, end: int) -> Chain:
    """The segments from `first` to before `end`, an open chain."""
    at = chain.poses
    turns, corner = chain.turns[first:end].copy(), chain.corner[first:end].copy()
    turns[0], corner[0] = 0.0, False
    return Chain(
        (float(at.start[first, 0]), float(at.start[first, 1])),
        float(at.heading[first]),
        chain.lengths[first:end],
        chain.curvatures[first:end],
        turns,
        chain.straight[first:end],
        corner,
        closed=False,
    )


def kinked(chain: Chain, segment: int, along: float) -> Chain:
    """The segment as two lines with a sharp corner between them."""
    chain = split(chain, segment, along)
    turn = float(chain.sweeps[segment] + chain.sweeps[segment + 1])
    straight, corner, turns = chain.straight.copy(), chain.corner.copy(), chain.turns.copy()
    straight[[segment, segment + 1]] = True
    corner[segment + 1], turns[segment + 1] = True, turn
    sharp = replace(chain, straight=straight, corner=corner, turns=turns)
    return _bent(sharp, chain.sweeps, chain.lengths)


def sharpened(chain: Chain, node: int) -> Chain | None:
    """A tangent node allowed to turn."""
    if chain.corner[node] or (node == 0 and not chain.closed):
        return None
    corner = chain.corner.copy()
    corner[node] = True
    return replace(chain, corner=corner)


def filleted(chain: Chain, node: int, radius: float) -> Chain | None:
    """A sharp corner rounded by an arc."""
    if not chain.corner[node]:
        return None
    placed = _centred(chain, node, 1)
    if placed is None:
        return None
    chain, i = placed
    turn = float(chain.turns[i])
    cut = radius * math.tan(min(abs(turn), 2.5) / 2)
    cut = min(cut, 0.4 * float(min(chain.lengths[i - 1], chain.lengths[i])))
    radius = cut / math.tan(min(abs(turn), 2.5) / 2)
    lengths, turns, corner = chain.lengths.copy(), chain.turns.copy(), chain.corner.copy()
    lengths[[i - 1, i]] -= cut
    turns[i], corner[i] = 0.0, False
    return replace(
        chain,
        lengths=np.insert(lengths, i, radius * abs(turn)),
        curvatures=np.insert(chain.curvatures, i, math.copysign(1 / radius, turn)),
        turns=np.insert(turns, i, 0.0),
        straight=np.insert(chain.straight, i, False),
        corner=np.insert(corner, i, False),
    )


def _smoothly(chain: Chain, segment: int) -> Chain | None:
    return removed(chain, segment, sharp=False)


def _sharply(chain: Chain, segment: int) -> Chain | None:
    return removed(chain, segment, sharp=True)


# What is tried on each segment to make a chain smaller.
SIMPLER: tuple[Callable[[Chain, int], Chain | None], ...] = (
    merged, lined, straightened, smoothed, _smoothly, _sharply,
)  # fmt: skip

# What is tried to make it larger: of a segment, a place along it, and a radius for a fillet.
RICHER: tuple[Callable[[Chain, int, float, float], Chain | None], ...] = (
    lambda chain, i, along, radius: split(chain, i, along),
    lambda chain, i, along, radius: split(chain, i, 0.5 * float(chain.lengths[i])),
    lambda chain, i, along, radius: kinked(chain, i, along),
    lambda chain, i, along, radius: bent(chain, i),
    lambda chain, i, along, radius: sharpened(chain, i),
    lambda chain, i, along, radius: filleted(chain, i, radius),
    lambda chain, i, along, radius: sharpened(chain, (i + 1) % len(chain)),
    lambda chain, i, along, radius: filleted(chain, (i + 1) % len(chain), radius),
)
