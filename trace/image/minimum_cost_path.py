"""The cheapest way along a band: one place across for each row, found for all rows together."""

import numpy as np
from numpy.typing import NDArray
from skimage.graph import MCP

Floats = NDArray[np.float64]


def cheapest_way(cost: Floats, closed: bool, twice: int) -> Floats:
    """(N,) columns that the cheapest way through a band (N, G) goes by (Dijkstra's algorithm).

    Parameters
    ----------
    closed : whether the last row joins the first; so many rows beyond either end are then walked
        `twice`.
    """
    wrap = min(twice, len(cost) - 1) if closed else 0
    if wrap:
        cost = np.vstack([cost[-wrap:], cost, cost[:wrap]])
    search = MCP(cost)
    totals, _ = search.find_costs([(0, k) for k in range(cost.shape[1])])
    way = np.array(search.traceback((len(cost) - 1, int(np.argmin(totals[-1])))))
    column: Floats = np.bincount(way[:, 0], way[:, 1]) / np.bincount(way[:, 0])
    return column[wrap : len(column) - wrap]
