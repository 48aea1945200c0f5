"""What is cut from one board: named layers of outlines, each with its depth."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from snugline.fit.drawing.drawing import Drawing, Layer, Pattern, Unit
from snugline.fit.geometry.outline import Outline, Point
from snugline.pocket.clearance import Clearance


@dataclass(frozen=True)
class PlanLayer:
    """Outlines cut to one depth.

    Attributes
    ----------
    name : plain words with the depth in the job's unit.
    depth : mm below the face; None goes through, or is not cut.
    outlines : closed.
    strokes : open lines for engraving.
    pattern : of the lines in drawings.
    """

    name: str
    depth: float | None
    outlines: tuple[Outline, ...] = ()
    strokes: tuple[tuple[Point, ...], ...] = ()
    pattern: Pattern = "solid"

    def mapped(
        self, outline: Callable[[Outline], Outline], point: Callable[[Point], Point]
    ) -> "PlanLayer":
        """A moved copy."""
        return replace(
            self,
            outlines=tuple(outline(o) for o in self.outlines),
            strokes=tuple(tuple(point(p) for p in s) for s in self.strokes),
        )


@dataclass(frozen=True)
class Sheet:
    """One drawing of a plan: `pocket`, `layout`, `template`, or a coupon's.

    Attributes
    ----------
    name : which one.
    clearance : where the sheet is for one clearance.
    layers : in the order of cutting.
    blocked : whether it is not to be cut; no file is written of it then.
    """

    name: str
    clearance: Clearance | None
    layers: tuple[PlanLayer, ...]
    blocked: bool = False

    def drawing(self, part: str, unit: Unit) -> Drawing:
        """For the writers."""
        layers = tuple(
            Layer(layer.name, layer.outlines, layer.pattern, layer.strokes) for layer in self.layers
        )
        return Drawing(f"{part}, {self.title(unit)}", layers, unit)

    def title(self, unit: Unit) -> str:
        if self.clearance is None:
            return self.name
        return f"{self.name}, clearance {self.clearance.named(unit)}"

    def stem(self, part: str, unit: Unit) -> str:
        """A file name without its ending; every one gives the unit."""
        words = f"{part} {self.title(unit)} units {unit}".lower()
        words = re.sub(r"(?<= )-(?=\d)", "minus ", words)
        return re.sub(r"[^a-z0-9.]+", "-", words).strip("-")

    def as_json(self) -> list[dict[str, Any]]:
        """The layers as the result contract has them."""
        return [
            {
                "sheet": self.name,
                "clearance": None if self.clearance is None else self.clearance.as_json(),
                "name": layer.name,
                "depth": layer.depth,
                "outlines": [outline.as_json() for outline in layer.outlines],
                "strokes": [[list(p) for p in stroke] for stroke in layer.strokes],
            }
            for layer in self.layers
        ]


def merged_layers(layers: list[PlanLayer]) -> tuple[PlanLayer, ...]:
    """Layers of one name made one, in order of first appearance."""
    found: dict[str, PlanLayer] = {}
    for layer in layers:
        known = found.get(layer.name)
        found[layer.name] = layer if known is None else replace(
            known,
            outlines=known.outlines + layer.outlines,
            strokes=known.strokes + layer.strokes,
        )  # fmt: skip
    return tuple(found.values())
