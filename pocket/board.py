"""Pieces with all their layers laid on one board, of one part or of several."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from snugline.fit.geometry.outline import Point
from snugline.fit.geometry.primitives import polygon
from snugline.pocket.layout import Piece, Place, placed
from snugline.pocket.sheet import PlanLayer, merged_layers


@dataclass(frozen=True)
class Group:
    """One piece: the layers that stay together.

    Attributes
    ----------
    name : for messages.
    layers : in the part's own axes, with at least one outline.
    across : whether the grain runs along its y instead of its x.
    """

    name: str
    layers: tuple[PlanLayer, ...]
    across: bool = False


def laid_out(
    groups: Sequence[Group],
    stock: tuple[float, float],
    margin: float,
    gap: float,
    turn: bool = False,
) -> tuple[PlanLayer, ...]:
    """Layers of all pieces in their places, and the board's own edge.

    Layers of one name, and so of one depth, become one: pieces of several parts can share a
    board.

    Parameters
    ----------
    stock : (length, width) mm, its length along the grain; its lower left corner is the origin.
    margin, gap : kept free along the edges and between pieces, mm.
    turn : whether pieces may lie across the grain.

    Raises
    ------
    PlanError : what does not fit, and by how much.
    """
    turned = [_turned(g.layers) if g.across else list(g.layers) for g in groups]
    boxes = [_box(layers) for layers in turned]
    pieces = [
        Piece(group.name, high_x - low_x, high_y - low_y)
        for group, (low_x, low_y, high_x, high_y) in zip(groups, boxes, strict=True)
    ]
    places = placed(pieces, stock, margin, gap, turn)
    layers = [
        layer for own, place in zip(turned, places, strict=True) for layer in _laid(own, place)
    ]
    length, width = stock
    edge = polygon([(0, 0), (length, 0), (length, width), (0, width)])
    board = PlanLayer("stock not cut", None, (edge,), pattern="dotted")
    return (*merged_layers(layers), board)


def _laid(layers: list[PlanLayer], place: Place) -> list[PlanLayer]:
    layers = _turned(layers) if place.turned else layers
    low_x, low_y, _, _ = _box(layers)
    dx, dy = place.at[0] - low_x, place.at[1] - low_y
    return [
        layer.mapped(lambda o: o.translated(dx, dy), lambda p: (p[0] + dx, p[1] + dy))
        for layer in layers
    ]


def _turned(layers: Sequence[PlanLayer]) -> list[PlanLayer]:
    """Turned counter-clockwise by a quarter."""

    def quarter(p: Point) -> Point:
        return -p[1], p[0]

    return [layer.mapped(lambda o: o.rotated(math.pi / 2), quarter) for layer in layers]


def _box(layers: Sequence[PlanLayer]) -> tuple[float, float, float, float]:
    bounds = [o.bounds for layer in layers for o in layer.outlines]
    low_x, low_y, high_x, high_y = zip(*bounds, strict=True)
    return min(low_x), min(low_y), max(high_x), max(high_y)
