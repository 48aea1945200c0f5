"""Roughing and finishing: what is cleared first, and what is left for the last pass."""

from dataclasses import dataclass, replace

from snugline.errors import PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.parallel import parallel
from snugline.lengths import format_length
from snugline.pocket.sheet import PlanLayer


@dataclass(frozen=True)
class Passes:
    """Stock left by the roughing pass on walls and floor, mm."""

    wall: float
    floor: float = 0.0


def with_roughing(layer: PlanLayer, passes: Passes, unit: Unit) -> list[PlanLayer]:
    """A layer as two: the roughing pass, then the finishing pass, which is the drawn outline.

    Raises
    ------
    PlanError : nothing is left to rough out.
    """
    rough = tuple(made for o in layer.outlines for made in parallel(o, -passes.wall))
    if not rough or layer.depth is None or passes.floor >= layer.depth:
        raise PlanError(
            f"with {passes.wall:.2f} mm left on the walls and {passes.floor:.2f} mm on the floor "
            "nothing is left to rough out",
            "passes",
            "leave less for finishing",
        )
    deep = layer.depth - passes.floor
    kind = layer.name.split(" depth ")[0]
    left = format_length(passes.wall, unit)
    return [
        PlanLayer(
            f"{kind} roughing leaves {left} depth {format_length(deep, unit)}",
            deep,
            rough,
            pattern="dashed",
        ),
        replace(layer, name=f"{kind} finishing depth {format_length(layer.depth, unit)}"),
    ]
