"""Solids by geometry alone: a plan outline by its distance, an edge profile, and what a ray meets.

Written for numpy and torch alike: every function takes `xp`, the one or the other. Lengths are
pixels of the sheet seen straight from above; a scene's numbers are arrays of (B, 1, ...), so that
scenes lie side by side. Nothing here is shared with the program's own model of an edge.
"""

from dataclasses import dataclass
from typing import Any

# Nodes of a profile from the foot up: bottom edge, wall, top edge.
BOTTOM, WALL, TOP = 4, 5, 5
NODES = BOTTOM + WALL + TOP - 2


@dataclass(frozen=True)
class Outline:
    """Two straight sides joined by an arc, bent by a wave: d < 0 is the part's.

    Attributes
    ----------
    turn : angle (radians) between the two sides; 0 is straight on.
    radius : of the arc between them; with `turn` of pi or more it is a full circle.
    hollow : 1 for a solid, -1 for its complement (a hollow corner, a hole).
    wave, rate, phase : the sides' own bend: height, radians for each px, radians.
    """

    turn: Any
    radius: Any
    hollow: Any
    wave: Any
    rate: Any
    phase: Any

    def beside(self, axis):
        """The same, for places with one more axis."""
        names = ("turn", "radius", "hollow", "wave", "rate", "phase")
        values = (getattr(self, k) for k in names)
        return Outline(*(v.reshape(*v.shape[:axis], 1, *v.shape[axis:]) for v in values))

    def distance(self, xp, x, y):
        """Signed distance (exact but for the wave) and its gradient.

        The sides meet at the origin's arc, which has its top there; outwards is +y.
        """
        bend = self.wave * xp.sin(self.rate * x + self.phase)
        slope = self.wave * self.rate * xp.cos(self.rate * x + self.phase)
        v = y - bend + self.radius
        s, c = xp.sin(self.turn / 2), xp.cos(self.turn / 2)
        # Mirror-symmetric about y: one side with the normal (s, c) for |x|.
        u = abs(x)
        side = s * u + c * v
        along = c * u - s * v
        far = xp.sqrt(u * u + v * v + 1e-12)
        round_ = (along < 0) | (self.turn > 3.1)
        d = xp.where(round_, far, side) - self.radius
        gx = xp.where(round_, u / far, s + 0 * u) * xp.where(x < 0, -1.0 + 0 * x, 1.0 + 0 * x)
        gy = xp.where(round_, v / far, c + 0 * u)
        gx = gx - gy * slope
        size = xp.sqrt(gx * gx + gy * gy)
        return self.hollow * d / size, self.hollow * gx / size, self.hollow * gy / size

    def at(self, xp, along):
        """Places (x, y) on the outline at so many px from the arc's middle."""
        half = xp.where(self.turn > 3.1, 1e6 + 0 * self.radius, self.radius * self.turn / 2)
        on_arc = xp.minimum(xp.maximum(along, -half), half)
        angle = on_arc / xp.maximum(self.radius, 1e-6 + 0 * self.radius)
        rest = along - on_arc
        x = self.radius * xp.sin(angle) + rest * xp.cos(self.turn / 2)
        y = self.radius * (xp.cos(angle) - 1) - abs(rest) * xp.sin(self.turn / 2)
        return x, y + self.wave * xp.sin(self.rate * x + self.phase)


@dataclass(frozen=True)
class Profile:
    """The edge from the foot up, as a chain of NODES places; each (B, NODES).

    Attributes
    ----------
    height, inset : px over the sheet, px inside the outline.
    side, up : the surface's normal at each node (across the edge, upwards); where the chain turns
        sharply the two neighbouring pieces have `side_next`, `up_next` below the node.
    """

    height: Any
    inset: Any
    side: Any
    up: Any
    side_below: Any
    up_below: Any


def profile(xp, thickness, top, top_round, bottom, bottom_round, draft):
    """A profile of (B,) sizes: top and bottom edge's size, 1 where rounded (else chamfered)."""
    half_pi = 3.141592653589793 / 2
    height, inset, side, up = [], [], [], []
    below: list = []
    low = bottom
    lean = xp.sin(draft) / xp.cos(draft)
    wall = thickness - top - bottom
    for i in range(BOTTOM):
        a = -half_pi * (1 - i / (BOTTOM - 1))
        c, s = xp.cos(a + 0 * draft), xp.sin(a + 0 * draft)
        share = i / (BOTTOM - 1)
        height.append(xp.where(bottom_round > 0, low * (1 + s), low * share))
        inset.append(xp.where(bottom_round > 0, low * (1 - c), low * (1 - share)))
        n = (
            xp.where(bottom_round > 0, c, 0.7071 + 0 * c),
            xp.where(bottom_round > 0, s, -0.7071 + 0 * c),
        )
        below.append(n)
        side.append(n[0])
        up.append(n[1])
    side[-1], up[-1] = xp.cos(draft), xp.sin(draft)
    for i in range(1, WALL):
        share = i / (WALL - 1)
        height.append(bottom + wall * share)
        inset.append(wall * share * lean)
        side.append(xp.cos(draft))
        up.append(xp.sin(draft))
        below.append((side[-1], up[-1]))
    for i in range(TOP):
        a = half_pi * i / (TOP - 1)
        c, s = xp.cos(a + 0 * draft), xp.sin(a + 0 * draft)
        share = i / (TOP - 1)
        n = xp.where(top_round > 0, c, 0.7071 + 0 * c), xp.where(top_round > 0, s, 0.7071 + 0 * c)
        if i == 0:  # the wall's own last node: above it the top edge begins
            side[-1], up[-1] = n
            continue
        height.append(bottom + wall + xp.where(top_round > 0, top * s, top * share))
        inset.append(wall * lean + xp.where(top_round > 0, top * (1 - c), top * share))
        side.append(n[0])
        up.append(n[1])
        below.append(n)
    stack = lambda values: xp.stack(values, -1)  # noqa: E731
    return Profile(
        stack(height),
        stack(inset),
        stack(side),
        stack(up),
        stack([b[0] for b in below]),
        stack([b[1] for b in below]),
    )


def grazing(xp, outline, profile, x, y, lean_x, lean_y):
    """How far (px, about) a ray passes the solid: negative where it meets it.

    The ray meets the sheet at (x, y) and leans by (lean_x, lean_y) px for each px of height.
    """
    fit = (slice(None), slice(None)) + (None,) * (x.ndim - 1)
    z, inset = profile.height[fit], profile.inset[fit]
    x, y, lean_x, lean_y = (v[:, None] for v in (x, y, lean_x, lean_y))
    distance = outline.beside(1).distance(xp, x + lean_x * z, y + lean_y * z)[0]
    return (distance + inset).min(1) if xp.__name__ == "numpy" else (distance + inset).amin(1)


def crossing(xp, passes, low, step, rounds=3, parts=16):
    """(B, N) places where `passes` ((B, N, parts) of places) turns positive, `low` to `low + step`.

    It is negative at `low`; each round keeps the first of `parts` intervals that leaves.
    """
    share = (xp.arange(parts) + 1.0) / parts
    if xp.__name__ != "numpy":
        share = share.to(low.device)
    for _ in range(rounds):
        outside = passes(low[..., None] + step * share) > 0
        first = outside.argmax(-1) if xp.__name__ == "numpy" else outside.to(xp.int8).argmax(-1)
        step = step / parts
        low = low + step * first
    return low + 0.5 * step


def widths(xp, thickness, edge, edge_round, draft, slope):
    """Widths in the picture (sheet px) inside the silhouette: up to the wall top and to the face.

    For rays that lean outwards by `slope`; the foot is taken as sharp.
    """
    wall = thickness - edge
    lean = xp.sin(draft) / xp.cos(draft)
    foot = 0 * slope
    top = wall * slope - wall * lean
    crease = thickness * slope - wall * lean - edge
    farthest = xp.maximum(xp.maximum(foot, top), crease)
    rounded = top + edge * (xp.sqrt(1 + slope * slope) - 1)
    farthest = xp.where((edge_round > 0) & (slope > 0), xp.maximum(farthest, rounded), farthest)
    return farthest - top, farthest - crease
