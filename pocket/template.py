"""The same outlines for a hand router: a template for a guide bush or a bearing cutter."""

from dataclasses import dataclass

from snugline.errors import InputError, PlanError
from snugline.fit.geometry.outline import Arc, Outline
from snugline.fit.geometry.parallel import parallel
from snugline.notice import Notice


@dataclass(frozen=True)
class Follower:
    """What runs along the template: a guide bush or a bearing, and the cutter; diameters in mm."""

    diameter: float
    cutter: float
    name: str = "bush"

    @property
    def offset(self) -> float:
        """Template less pocket, per side: half of follower less cutter."""
        return (self.diameter - self.cutter) / 2


def template_outline(pocket: Outline, follower: Follower) -> Outline:
    """The opening of the template that makes this pocket.

    Raises
    ------
    InputError : diameters that are none.
    PlanError : a follower so small that nothing is left of the template.
    """
    if not (follower.diameter > 0 and follower.cutter > 0):
        raise InputError(
            f"a {follower.name} of {follower.diameter:g} mm with a cutter of "
            f"{follower.cutter:g} mm",
            "template",
            "give both diameters above 0 mm",
        )
    if follower.name == "bush" and follower.cutter >= follower.diameter:
        raise InputError(
            f"a cutter of {follower.cutter:g} mm does not pass a bush of {follower.diameter:g} mm",
            "template",
            "use a wider bush or a thinner cutter",
        )
    made = parallel(pocket, follower.offset)
    if len(made) != 1:
        raise PlanError(
            f"the template for a {follower.name} of {follower.diameter:g} mm falls into "
            f"{len(made)} pieces",
            "template",
            f"use a {follower.name} nearer to the cutter's diameter",
        )
    return made[0]


def template_notices(pocket: Outline, follower: Follower) -> tuple[Notice, ...]:
    """Whether the follower enters the corners; the tightest it can make is the cutter's radius."""
    least = follower.cutter / 2
    radii = [s.radius for s in pocket.segments if isinstance(s, Arc) and s.sweep > 0]
    tightest = 0.0 if max(pocket.turns) > 1e-6 else min(radii, default=least)
    if tightest >= least - 1e-9:
        return ()
    return (
        Notice(
            "template-corner-too-tight",
            f"the {follower.name} of {follower.diameter:g} mm turns no tighter than "
            f"{follower.diameter / 2:g} mm: corners of {tightest:.2f} mm come out at "
            f"{least:.2f} mm",
            f"use a cutter of {2 * tightest:.1f} mm or less with a {follower.name} that fits it, "
            "or square the corners with a chisel",
        ),
    )
