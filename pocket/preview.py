"""A picture of a drawing to look at; nothing is cut from it."""

import io
from collections.abc import Iterator

import numpy as np

from snugline.fit.drawing.drawing import PATTERNS, STROKE, Drawing, Pattern
from snugline.lengths import MM_PER_INCH

_LONGEST = 1400  # pixels
_MARGIN = 24
_SMOOTH = 2  # drawn this many times larger, then reduced
_DASH = 2.0  # pixels for a millimetre of the patterns


def preview_png(drawing: Drawing) -> bytes:
    """The drawing as a PNG, all its layers over each other; equal drawings give equal bytes.

    Its scale (pHYs) is that of the drawing: printed by it, the picture has the true size.
    """
    from PIL import Image, ImageDraw

    low_x, low_y, high_x, high_y = drawing.bounds
    scale = _LONGEST / max(high_x - low_x, high_y - low_y)
    width = round((high_x - low_x) * scale) + 2 * _MARGIN
    height = round((high_y - low_y) * scale) + 2 * _MARGIN
    image = Image.new("L", (width * _SMOOTH, height * _SMOOTH), 255)
    pen = ImageDraw.Draw(image)
    shade = int(STROKE[1:3], 16)

    def at(x: float, y: float) -> tuple[float, float]:
        px, py = (x - low_x) * scale + _MARGIN, (high_y - y) * scale + _MARGIN
        return px * _SMOOTH, py * _SMOOTH

    for layer in drawing.layers:
        for outline in layer.outlines:
            points = [at(x, y) for x, y in outline.inscribed(0.2 / scale)]
            for run in _dashes([*points, points[0]], layer.pattern):
                pen.line(run, shade, width=2 * _SMOOTH, joint="curve")
        for stroke in layer.strokes:
            pen.line([at(x, y) for x, y in stroke], shade, width=2 * _SMOOTH, joint="curve")
    stream = io.BytesIO()
    per_inch = scale * MM_PER_INCH
    image.reduce(_SMOOTH).save(stream, "PNG", dpi=(per_inch, per_inch))
    return stream.getvalue()


def _dashes(
    points: list[tuple[float, float]], pattern: Pattern
) -> Iterator[list[tuple[float, float]]]:
    """The drawn runs of a line in a pattern, its dashes as long on any picture."""
    lengths = [part * _DASH * _SMOOTH for part in PATTERNS[pattern]]
    if not lengths:
        yield points
        return
    corners = np.array(points)
    places = np.append(0.0, np.cumsum(np.hypot(*np.diff(corners, axis=0).T)))
    ends = np.cumsum(np.resize(lengths, int(2 + places[-1] / sum(lengths)) * len(lengths)))
    starts = np.append(0.0, ends[1::2])
    starts = starts[starts < places[-1]]
    ends = np.minimum(ends[: 2 * len(starts) : 2], places[-1])
    heads, tails = (
        np.column_stack([np.interp(at, places, xy) for xy in corners.T]) for at in (starts, ends)
    )
    first, after = np.searchsorted(places, starts, "right"), np.searchsorted(places, ends, "left")
    rows = (heads.tolist(), first.tolist(), after.tolist(), tails.tolist())
    for (x, y), i, j, (u, v) in zip(*rows, strict=True):
        yield [(x, y), *points[i:j], (u, v)]
