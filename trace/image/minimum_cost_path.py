"""Minimum-cost path along a strip: one offset per row, found for all rows together."""

import numpy as np
from numpy.typing import NDArray
from skimage.graph import MCP

Floats = NDArray[np.float64]


def minimum_cost_path(cost: Floats, closed: bool, overlap: int) -> Floats:
    """(N,) columns of the minimum-cost path through a strip (N, G), by Dijkstra's algorithm.

    Parameters
    ----------
    closed : whether the last row joins the first; `overlap` rows beyond either end are then
        searched twice.
    """
    wrap = min(overlap, len(cost) - 1) if closed else 0
    if wrap:
        cost = np.vstack([cost[-wrap:], cost, cost[:wrap]])
    search = MCP(cost)
    totals, _ = search.find_costs([(0, k) for k in range(cost.shape[1])])
    path = np.array(search.traceback((len(cost) - 1, int(np.argmin(totals[-1])))))
    column: Floats = np.bincount(path[:, 0], path[:, 1]) / np.bincount(path[:, 0])
    return column[wrap : len(column) - wrap]
