"""A frame of markers as a printer puts it on paper: out of scale, with ink that bleeds."""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from drawn_pictures import tag_modules
from solid_parts import bilinear

from snugline.trace.sheet.frame_description import Frame

# Reflectances of ordinary paper and toner (common practice, no source).
PAPER = (0.86, 0.86, 0.85)
INK = 0.045


@dataclass(frozen=True)
class Sheet:
    """The printed sheet.

    Attributes
    ----------
    scale : of the print, in x and y, about the origin.
    bleed : mm by which the ink stands over on all sides.
    """

    frame: Frame
    scale: tuple = (1.0, 1.0)
    bleed: float = 0.0
    window_ink: float = 0.06

    @property
    def _raster(self):
        """Px for each mm such that the modules of the built-in sheets end on its lines."""
        places = np.concatenate([self.frame.corners.reshape(-1, 2), self.frame.window])
        sides = np.linalg.norm(self.frame.corners[:, 1] - self.frame.corners[:, 0], axis=1)
        modules = sides / len(tag_modules(int(self.frame.ids[0]), self.frame.dictionary))
        lengths = np.append(places.ravel(), modules)
        return next(k for k in (8, 10, 20) if np.allclose(lengths * k, np.round(lengths * k)))

    @cached_property
    def _print(self):
        """Signed distance to the ink, mm, negative on it; rows run up with y."""
        per_mm = self._raster
        width, height = np.round(self.frame.sheet * per_mm).astype(int)
        ink = np.zeros((height, width), np.uint8)
        for marker, corners in zip(self.frame.ids, self.frame.corners, strict=True):
            dark = tag_modules(int(marker), self.frame.dictionary)
            module = round(np.linalg.norm(corners[1] - corners[0]) * per_mm / len(dark))
            left, bottom = np.round(corners[3] * per_mm).astype(int)
            size = module * len(dark)
            ink[bottom : bottom + size, left : left + size] = np.kron(
                dark[::-1], np.ones((module, module), np.uint8)
            )
        for bar in self.frame.bars.values():
            a, b = np.round(bar.ends * per_mm).astype(int)
            across = 2 * per_mm * np.array([-(b - a)[1], (b - a)[0]]) // max(abs(b - a))
            for p, q in ((a, b), (a - across, a + across), (b - across, b + across)):
                cv2.line(ink, p.tolist(), q.tolist(), 1, per_mm // 4)
        words = np.zeros((5 * per_mm, 60 * per_mm), np.uint8)
        cv2.putText(words, self.frame.name, (0, 3 * per_mm), 0, 1.6, 1, 5, cv2.LINE_8)
        left, top = np.round((self.frame.window.min(0)[0], self.frame.window.max(0)[1] + 1.5))
        row, column = int(top * per_mm), int(left * per_mm)
        ink[row : row + len(words), column : column + words.shape[1]] |= words[::-1]
        if self.frame.window_dark:
            (x0, y0), (x1, y1) = np.round(
                np.array([self.frame.window.min(axis=0), self.frame.window.max(axis=0)]) * per_mm
            ).astype(int)
            ink[y0:y1, x0:x1] = 1
        # Pixel centres stand half a pixel from the line between ink and paper.
        out = cv2.distanceTransform(1 - ink, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) - 0.5
        within = cv2.distanceTransform(ink, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) - 0.5
        return (np.where(ink > 0, -within, out) / per_mm).astype(np.float32)

    def ink(self, x, y, px):
        """(N,) share of a pixel of side `px` mm at (x, y) that is printed."""
        column = x * np.float32(self._raster / self.scale[0]) - np.float32(0.5)
        row = y * np.float32(self._raster / self.scale[1]) - np.float32(0.5)
        off = bilinear(self._print, column, row, cv2.BORDER_REPLICATE)
        return np.clip(0.5 - (off - np.float32(self.bleed)) / px, 0, 1)

    def paper(self, x, y, px):
        """(N,) share of a pixel that lies on the sheet."""
        w, h = (np.float32(v) for v in self.frame.sheet)
        off = np.maximum(np.abs(x - w / 2) - w / 2, np.abs(y - h / 2) - h / 2)
        return np.clip(0.5 - off / px, 0, 1)

    def in_window(self, x, y):
        low, high = self.frame.window.min(axis=0), self.frame.window.max(axis=0)
        x, y = x / np.float32(self.scale[0]), y / np.float32(self.scale[1])
        b = 1.0
        return (x > low[0] - b) & (x < high[0] + b) & (y > low[1] - b) & (y < high[1] + b)
