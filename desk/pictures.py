"""Pictures of the report: SVG that takes its colours from the page around it.

No picture carries text, so that words stay readable on a phone; the page sets them around it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.fit.drawing.drawing import Layer, Pattern
from snugline.fit.drawing.svg import path_data
from snugline.fit.geometry.distance import nearest
from snugline.fit.geometry.outline import Outline

Floats = NDArray[np.float64]

# How long the largest residual's spike is drawn, against the outline's larger side.
RIBBON_SHARE = 0.06


@dataclass(frozen=True)
class Along:
    """Measured points against the outline: one photo's share.

    Attributes
    ----------
    name : the photo.
    position : (N,) mm along the outline from its first point, ascending.
    residual : (N,) mm, positive outside.
    foot, normal : (N, 2) mm, the nearest point of the outline and the outward direction there.
    """

    name: str
    position: Floats
    residual: Floats
    foot: Floats
    normal: Floats

    @property
    def shift(self) -> float:
        """Mm outwards, what the photo's points have in common."""
        return float(np.mean(self.residual)) if len(self.residual) else 0.0


def along_outline(name: str, outline: Outline, points: Floats) -> Along:
    """Positions of (N, 2) points, in part coordinates, relative to the outline, sorted along it."""
    near = nearest(outline, points)
    a = outline.arrays
    before = np.cumsum(a.length) - a.length
    which = near.segment
    way = np.hypot(*(near.foot - a.start[which]).T)
    # On an arc the way is the arc over the chord from its start; a full turn has no such chord.
    radius = np.where(a.is_arc, a.radius, 1.0)[which]
    angle = 2 * np.arcsin(np.clip(way / (2 * radius), 0.0, 1.0))
    way = np.where(a.is_arc[which], radius * angle, way)
    position = before[which] + way
    order = np.argsort(position)
    return Along(name, position[order], near.distance[order], near.foot[order], near.normal[order])


def _picture(bounds: tuple[float, float, float, float], margin: float, body: str, says: str) -> str:
    x0, y0, x1, y1 = bounds
    width, height = x1 - x0 + 2 * margin, y1 - y0 + 2 * margin
    box = f"{x0 - margin:.3f} {-y1 - margin:.3f} {width:.3f} {height:.3f}"
    return f'<svg viewBox="{box}" role="img" aria-label="{says}">{body}</svg>'


def outline_picture(outline: Outline, measured: Sequence[Along]) -> tuple[str, float]:
    """The outline with its residuals as magnified spikes, and the magnification.

    Each photo's own shift is taken out: with it all spikes of a photo would lean to one side.
    """
    x0, y0, x1, y1 = outline.bounds
    size = max(x1 - x0, y1 - y0)
    left = [m.residual - m.shift for m in measured]
    largest = max((float(np.abs(r).max()) for r in left if len(r)), default=0)
    scale = _round_factor(RIBBON_SHARE * size / largest) if largest > 0 else 1.0
    spikes = []
    for share, residual in zip(measured, left, strict=True):
        step = max(1, len(residual) // 600)
        foot = share.foot[::step]
        tip = foot + share.normal[::step] * (residual[::step] * scale)[:, None]
        data = "".join(
            f"M{a:.2f} {-b:.2f}L{c:.2f} {-d:.2f}"
            for (a, b), (c, d) in zip(foot.tolist(), tip.tolist(), strict=True)
        )
        spikes.append(f'<path class="spike" d="{data}"/>')
    axes = (
        f'<path class="axis" d="M{x0:.2f} 0H{x1:.2f}M0 {-y0:.2f}V{-y1:.2f}"/>'
        if x0 < 0 < x1 and y0 < 0 < y1
        else ""
    )
    body = f'{axes}{"".join(spikes)}<path class="line" d="{path_data(outline)}"/>'
    margin = RIBBON_SHARE * size * 1.2
    return _picture((x0, y0, x1, y1), margin, body, "the fitted outline"), scale


def _round_factor(factor: float) -> float:
    """The largest of 1, 2, 5, 10, 20, ... (or 0.5, 0.2, ...) that does not exceed a factor."""
    decade = 10.0 ** math.floor(math.log10(factor))
    return decade * max(step for step in (1, 2, 5) if step * decade <= factor * (1 + 1e-12))


def residual_picture(share: Along, perimeter: float, limit: float) -> str:
    """Residuals along the edge, stretched to the width it is given; +-`limit` mm in height."""
    step = max(1, len(share.residual) // 1500)
    x = share.position[::step] / perimeter * 1000
    y = -np.clip(share.residual[::step] / limit, -1, 1) * 100
    dots = "".join(f"M{a:.1f} {b:.1f}h0" for a, b in zip(x.tolist(), y.tolist(), strict=True))
    return (
        '<svg class="plot" viewBox="0 -104 1000 208" preserveAspectRatio="none" role="img" '
        f'aria-label="residuals along the edge"><path class="axis" d="M0 0H1000"/>'
        f'<path class="grid" d="M0 -50H1000M0 50H1000M0 -100H1000M0 100H1000"/>'
        f'<path class="dot" d="{dots}"/></svg>'
    )


def plan_picture(layers: Sequence[Layer]) -> str:
    """The layers of a drawing, distinguished by line pattern."""
    outlines = [(layer.pattern, outline) for layer in layers for outline in layer.outlines]
    bounds = np.array([outline.bounds for _, outline in outlines])
    x0, y0 = bounds[:, :2].min(axis=0)
    x1, y1 = bounds[:, 2:].max(axis=0)
    body = "".join(
        f'<path class="line {pattern}" d="{path_data(outline)}"/>' for pattern, outline in outlines
    )
    for layer in layers:
        data = "".join(
            "M" + "L".join(f"{x:.2f} {-y:.2f}" for x, y in stroke) for stroke in layer.strokes
        )
        body += f'<path class="line" d="{data}"/>' if data else ""
    return _picture((x0, y0, x1, y1), 0.03 * max(x1 - x0, y1 - y0), body, "the cut plan")


def pattern_sample(pattern: Pattern) -> str:
    """A short line in a layer's pattern, for the legend."""
    return (
        '<svg class="sample" viewBox="0 0 60 10" aria-hidden="true">'
        f'<path class="line {pattern}" d="M2 5H58"/></svg>'
    )
