"""Solids on a sheet for rendering: a plan outline, a profiled edge, and rays that meet them.

An outline is known by its signed distance (negative inside). A solid is all its inset copies, one
at each height; nothing here knows of silhouettes or of how a contour is lifted.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree
from shapely import Polygon

MISSED, WALL, RIM, TOP = 0, 1, 2, 3
_GRID = 0.5  # mm, of the distances that only cull and cast shadows
_BISECTIONS, _NARROWINGS = 14, 14
_GRAZE = np.float32(0.04)  # mm over which a shadow begins at least


@dataclass(frozen=True)
class FilletedPolygon:
    """A polygon (counter-clockwise) whose convex corners all have one fillet radius."""

    corners: np.ndarray
    radius: float = 0.0

    @cached_property
    def _inner(self):
        inset = Polygon(self.corners).buffer(-self.radius, join_style="mitre", mitre_limit=50)
        return np.asarray(inset.exterior.coords, dtype=np.float64)[:-1]

    def ring(self):
        """(N, 2) mm of the outline; its chords stay within 0.001 mm of radii up to 50 mm."""
        grown = Polygon(self._inner).buffer(self.radius, quad_segs=128)
        return np.asarray(grown.exterior.coords, dtype=np.float64)[:-1]

    def distance(self, x, y):
        """Signed distance: to the segments of the inset polygon, less the radius."""
        nearest = np.full(x.shape, np.inf, dtype=x.dtype)
        inside = np.zeros(x.shape, dtype=bool)
        for (ax, ay), (bx, by) in zip(self._inner, np.roll(self._inner, -1, axis=0), strict=True):
            ax, ay, bx, by = (x.dtype.type(v) for v in (ax, ay, bx, by))
            ex, ey = bx - ax, by - ay
            px, py = x - ax, y - ay
            t = np.clip((px * ex + py * ey) / (ex * ex + ey * ey), 0, 1)
            qx, qy = px - t * ex, py - t * ey
            np.minimum(nearest, qx * qx + qy * qy, out=nearest)
            if ey:
                crosses = ((ay <= y) != (by <= y)) & ((px * ey < py * ex) == (ey > 0))
                inside ^= crosses
        nearest = np.sqrt(nearest)
        return np.where(inside, -nearest, nearest) - x.dtype.type(self.radius)


@dataclass(frozen=True)
class RoundedRectangle:
    """Length along x and width along y about the origin, one radius for all corners."""

    length: float
    width: float
    radius: float

    def ring(self):
        a, b = self.length / 2, self.width / 2
        corners = np.array([[-a, -b], [a, -b], [a, b], [-a, b]])
        return FilletedPolygon(corners, min(self.radius, 0.9999 * min(a, b))).ring()

    def distance(self, x, y):
        ax = np.abs(x) - x.dtype.type(self.length / 2 - self.radius)
        ay = np.abs(y) - x.dtype.type(self.width / 2 - self.radius)
        ox, oy = np.maximum(ax, 0), np.maximum(ay, 0)
        inner = np.minimum(np.maximum(ax, ay), 0)
        return np.sqrt(ox * ox + oy * oy) + inner - x.dtype.type(self.radius)


@dataclass(frozen=True)
class SmoothCurve:
    """A smooth closed curve through (N, 2) dense points, counter-clockwise.

    Distances are exact on a grid and bilinear between: off by step^2 / (8 R), 0.5 um at R 10 mm.
    """

    points: np.ndarray
    step: float = 0.2
    reach: float = 45.0

    def ring(self):
        return self.points

    def _exact(self, at):
        _, nearest = cKDTree(self.points).query(at)
        n = len(self.points)
        squared = []
        for a, b in ((nearest - 1, nearest), (nearest, (nearest + 1) % n)):
            start, along = self.points[a], self.points[b] - self.points[a]
            t = np.sum((at - start) * along, axis=1) / np.sum(along**2, axis=1)
            off = at - start - np.clip(t, 0, 1)[:, None] * along
            squared.append(np.sum(off**2, axis=1))
        tangent = self.points[(nearest + 1) % n] - self.points[nearest - 1]
        off = at - self.points[nearest]
        left = tangent[:, 0] * off[:, 1] - tangent[:, 1] * off[:, 0] > 0
        return np.where(left, -1, 1) * np.sqrt(np.minimum(*squared))

    @cached_property
    def _grid(self):
        low = self.points.min(axis=0) - self.reach
        every = 5  # a coarser grid away from the curve
        size = np.ceil((np.ptp(self.points, axis=0) + 2 * self.reach) / (self.step * every))
        nx, ny = size.astype(int) + 1
        x = low[0] + self.step * every * np.arange(nx)
        y = low[1] + self.step * every * np.arange(ny)
        coarse = self._exact(np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)).reshape(ny, nx)
        row, column = np.mgrid[: (ny - 1) * every + 1, : (nx - 1) * every + 1] / every
        fine = map_coordinates(coarse, [row, column], order=1)
        near = np.abs(fine) < 6
        at = low + self.step * np.argwhere(near)[:, ::-1]
        fine[near] = self._exact(at)
        return low, fine.astype(np.float32)

    def distance(self, x, y):
        low, grid = self._grid
        place = [(y - low[1]) / self.step, (x - low[0]) / self.step]
        return map_coordinates(grid, place, order=1, mode="nearest").astype(x.dtype)


def superellipse(length, width, power, count=6000):
    """A superellipse |2x/length|^p + |2y/width|^p = 1; an ellipse at power 2."""
    angle = np.arange(count) * 2 * np.pi / count
    c, s = np.cos(angle), np.sin(angle)
    shrink = (np.abs(c) ** power + np.abs(s) ** power) ** (-1 / power)
    return SmoothCurve(np.column_stack([c * length / 2, s * width / 2]) * shrink[:, None])


def waved(length, width, waves, depth, count=6000):
    """An ellipse whose radius swells and shrinks by a share: convex and hollow in turn."""
    angle = np.arange(count) * 2 * np.pi / count
    swell = 1 + depth * np.cos(waves * angle)
    return SmoothCurve(
        np.column_stack([np.cos(angle) * length / 2, np.sin(angle) * width / 2]) * swell[:, None]
    )


@dataclass(frozen=True)
class Solid:
    """A part on the sheet.

    Attributes
    ----------
    edge, edge_size : what the top edge is (`none`, `round`, `chamfer`), mm.
    draft : radians by which the sides lean inwards.
    origin, turn : where the outline's axes lie on the sheet; mm, radians.
    """

    outline: object
    thickness: float
    edge: str = "none"
    edge_size: float = 0.0
    draft: float = 0.0
    origin: tuple = (0.0, 0.0)
    turn: float = 0.0

    @cached_property
    def levels(self):
        """(K,) float32 heights from the top down, closer where the profile bends."""
        wall = self.thickness - self.edge_size
        heights = np.linspace(0, wall, 6)
        if self.edge == "round":
            bend = np.sin(np.linspace(0.15, 1, 9) * np.pi / 2)
            heights = np.r_[heights, wall + self.edge_size * bend]
        elif self.edge == "chamfer":
            heights = np.r_[heights, np.linspace(wall, self.thickness, 4)[1:]]
        heights[-1] = self.thickness
        return heights[::-1].astype(np.float32)

    def ring(self):
        """(N, 2) mm, the true plan outline on the sheet."""
        c, s = np.cos(self.turn), np.sin(self.turn)
        return self.outline.ring() @ np.array([[c, s], [-s, c]]) + np.array(self.origin)

    def local(self, x, y):
        """Sheet to part axes."""
        c, s = np.float32(np.cos(self.turn)), np.float32(np.sin(self.turn))
        x, y = x - np.float32(self.origin[0]), y - np.float32(self.origin[1])
        return c * x + s * y, c * y - s * x

    def turned(self, x, y, back=False):
        """A direction from sheet to part axes, or back."""
        c, s = np.float32(np.cos(self.turn)), np.float32(np.sin(self.turn))
        s = -s if back else s
        return c * x + s * y, c * y - s * x

    def inset(self, z):
        """How far the section at height z lies within the foot."""
        lean = np.float32(np.tan(self.draft))
        wall, e = np.float32(self.thickness - self.edge_size), np.float32(self.edge_size)
        if self.edge == "none" or not e:
            return lean * z
        above = np.clip(z - wall, 0, e)
        if self.edge == "round":
            above = e - np.sqrt(np.maximum(e * e - above * above, 0))
        return lean * np.minimum(z, wall) + above

    @cached_property
    def _coarse(self):
        ring = self.outline.ring()
        low = ring.min(axis=0) - 60
        nx, ny = np.ceil((np.ptp(ring, axis=0) + 120) / _GRID).astype(int)
        x = (low[0] + _GRID * np.arange(nx)).astype(np.float32)
        y = (low[1] + _GRID * np.arange(ny)).astype(np.float32)
        return low, self.outline.distance(*np.meshgrid(x, y))

    def near_distance(self, x, y):
        """Distance in part axes, to some 0.1 mm, quickly."""
        low, grid = self._coarse
        column = (x - np.float32(low[0])) / np.float32(_GRID)
        return bilinear(grid, column, (y - np.float32(low[1])) / np.float32(_GRID))

    def hit(self, x, y, sx, sy):
        """Where rays from above first meet the solid.

        Parameters
        ----------
        x, y : (N,) float32, part axes, where the rays would meet the sheet.
        sx, sy : (N,) float32, how far they move for each mm of height.

        Returns
        -------
        kind : (N,) uint8, MISSED, WALL, RIM (the rounding or chamfer) or TOP.
        z : (N,) float32 mm.
        """
        high = np.float32(self.thickness)
        kind = np.zeros(x.shape, np.uint8)
        z = np.zeros(x.shape, np.float32)
        low_d = self.near_distance(x, y)
        top_d = self.near_distance(x + high * sx, y + high * sy)
        sure = top_d < -(self.inset(high) + 1)
        kind[sure], z[sure] = TOP, high
        path = high * np.sqrt(sx * sx + sy * sy)
        open_ = np.flatnonzero(~sure & (low_d + top_d < path + 2))
        if len(open_):
            z_open = self._first(x[open_], y[open_], sx[open_], sy[open_])
            met = np.isfinite(z_open)
            z[open_[met]] = z_open[met]
            wall = self.thickness - self.edge_size
            kind[open_[met]] = np.where(
                z_open[met] >= high, TOP, np.where(z_open[met] > wall, RIM, WALL)
            )
        return kind, z

    def _first(self, x, y, sx, sy):
        """(N,) heights of the first meeting, nan where a ray passes by."""

        def gap(z, i=slice(None)):
            z = np.float32(z)
            return self.outline.distance(x[i] + z * sx[i], y[i] + z * sy[i]) + self.inset(z)

        gaps = np.stack([gap(level) for level in self.levels])
        inside = gaps <= 0
        first = np.where(inside.any(axis=0), inside.argmax(axis=0), -1)
        levels, last = self.levels, len(self.levels) - 1
        below = levels[np.maximum(first, 0)].copy()
        above = levels[np.maximum(first - 1, 0)].copy()
        # A ray may graze the solid between two heights: look where the gap is least.
        least = gaps.argmin(axis=0)
        spacing = np.abs(np.diff(levels)).max()
        may = (first < 0) & (gaps.min(axis=0) < spacing * (1 + np.hypot(sx, sy)))
        graze = np.flatnonzero(may)
        if len(graze):
            top, bottom = levels[np.maximum(least - 1, 0)], levels[np.minimum(least + 1, last)]
            a, b = bottom[graze], top[graze]
            share = np.float32((np.sqrt(5) - 1) / 2)
            for _ in range(_NARROWINGS):
                c, d = b - share * (b - a), a + share * (b - a)
                upper = gap(c, graze) > gap(d, graze)
                a, b = np.where(upper, c, a), np.where(upper, b, d)
            middle = (a + b) / 2
            met = gap(middle, graze) <= 0
            first[graze[met]] = 1
            below[graze[met]] = middle[met]
            above[graze[met]] = top[graze][met]
        z = np.full(x.shape, np.nan, np.float32)
        z[first == 0] = self.thickness
        side = np.flatnonzero(first > 0)
        low, up = below[side], above[side]
        for _ in range(_BISECTIONS):
            mid = (low + up) / 2
            met = gap(mid, side) <= 0
            low, up = np.where(met, mid, low), np.where(met, up, mid)
        z[side] = low
        return z

    def normal(self, x, y, z, kind):
        """(N,) x 3 outward normals in part axes, where rays met the solid."""
        h = np.float32(0.05)
        d = self.outline.distance
        nx, ny = d(x + h, y) - d(x - h, y), d(x, y + h) - d(x, y - h)
        length = np.maximum(np.sqrt(nx * nx + ny * ny), np.float32(1e-6))
        up = np.full(x.shape, np.sin(self.draft), np.float32)
        if self.edge == "chamfer":
            up[kind == RIM] = np.sqrt(0.5)
        elif self.edge == "round":
            above = (z - (self.thickness - self.edge_size)) / max(self.edge_size, 1e-6)
            up = np.where(kind == RIM, np.clip(above, 0, 1), up).astype(np.float32)
        up[kind == TOP] = 1
        flat = np.sqrt(np.maximum(1 - up * up, 0)) / length
        return nx * flat, ny * flat, up

    def lit(self, x, y, z, tx, ty, wide):
        """Share of a small round light that places (x, y, z) see past the solid.

        The rays to its middle go by (tx, ty) for each mm of height; `wide` is its radius as a
        tangent. Past the solid's edge, straight at that scale, what is seen of it grows evenly.
        """
        high = np.float32(self.thickness)
        start = self.near_distance(x, y) + self.inset(z)
        rise = np.maximum(high - z, 0)

        def seen(share, i=slice(None)):
            up = share * rise[i]
            gap = self.near_distance(x[i] + up * tx[i], y[i] + up * ty[i]) + self.inset(z[i] + up)
            return np.clip(np.float32(0.5) + gap / (2 * wide * up + _GRAZE), 0, 1), gap

        share, top = seen(np.float32(1))
        share[z >= high] = 1
        # A gap shrinks by no more than the way: most rays are told by their two ends.
        reach = rise * (np.hypot(tx, ty) + 2 * wide) + self.inset(high) + _GRAZE
        open_ = np.flatnonzero((share > 0) & (rise > 0) & (start + top < reach))
        for between in np.linspace(0, 1, 14, dtype=np.float32)[1:-1]:
            share[open_] = np.minimum(share[open_], seen(between, open_)[0])
        return share


def bilinear(grid, column, row, border=cv2.BORDER_REPLICATE):
    """(N,) or (N, 3) float32 values of a grid between its places."""
    n = len(column)
    if not n:
        return np.empty((0, *grid.shape[2:]), np.float32)
    tall = -(-n // 16000)  # remap takes no picture with a side beyond 2^15
    column, row = (a.astype(np.float32, copy=False) for a in (column, row))
    if n % tall:
        column, row = (np.pad(a, (0, -n % tall)) for a in (column, row))
    found = cv2.remap(
        grid, column.reshape(tall, -1), row.reshape(tall, -1), cv2.INTER_LINEAR, borderMode=border
    )
    return found.reshape(-1, *grid.shape[2:])[:n]
