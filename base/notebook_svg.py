"""A small picture of curves for notebooks: SVG in the text's colour, y up, titled by its size."""

from collections.abc import Iterable, Sequence

Curve = tuple[Iterable[Sequence[float]], bool]

_WIDTH = 480  # px on the screen
_MARGIN = 0.04  # of the larger side


def notebook_svg(curves: Iterable[Curve]) -> str:
    """SVG of curves, each its (N, 2) points in mm and whether it is closed.

    Examples
    --------
    >>> notebook_svg([([(0, 0), (30, 0), (30, 10)], True)])[:25]
    '<svg xmlns="http://www.w3'
    """
    lines = [([(float(x), float(y)) for x, y in points], closed) for points, closed in curves]
    xs = [x for points, _ in lines for x, _ in points] or [0.0]
    ys = [y for points, _ in lines for _, y in points] or [0.0]
    left, top, width, height = min(xs), -max(ys), max(xs) - min(xs), max(ys) - min(ys)
    edge = _MARGIN * (max(width, height) or 1.0)
    box = f"{left - edge:g} {top - edge:g} {width + 2 * edge:g} {height + 2 * edge:g}"
    data = " ".join(
        "M" + " L".join(f"{x:.3f},{-y:.3f}" for x, y in points) + (" Z" if closed else "")
        for points, closed in lines
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}" viewBox="{box}">'
        f"<title>{width:.2f} x {height:.2f} mm</title>"
        f'<path d="{data}" fill="none" stroke="currentColor" stroke-width="1.5" '
        'vector-effect="non-scaling-stroke"/></svg>'
    )
