"""The same outlines for a hand router: a template for a guide bush or a bearing cutter."""

from dataclasses import dataclass

from snugline.counting import counted
from snugline.errors import InputError, PlanError
from snugline.fit.geometry.outline import Outline
from snugline.fit.geometry.parallel import parallel
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.pocket.cutter import UNCUT_TOL, reach
from snugline.sentence import Sentence, length


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
            f"{counted(len(made), 'piece')}",
            "template",
            f"use a {follower.name} nearer to the cutter's diameter",
        )
    return made[0]


def template_notices(
    pocket: Outline, part: Outline, follower: Follower, squeeze: float = 0.0
) -> tuple[Notice, ...]:
    """Whether the part goes into the pocket as the hand router's cutter leaves it.

    The tightest corner that a follower and its cutter can make is of the cutter's radius.
    """
    found = reach(pocket, follower.cutter - UNCUT_TOL, part)
    if not found.uncut:
        return ()
    overlap = found.part_overlap or 0.0
    jams = overlap > max(UNCUT_TOL, squeeze)
    does, figures = "the part still drops in", []
    if jams:
        does, figures = "the part would meet {} of it", [length(overlap)]
    return (
        Notice(
            "template-corner-too-tight",
            Sentence(
                "routed with the template, a {} cutter leaves up to {} of wood in "
                f"{counted(len(found.uncut), 'corner')}; {does}",
                length(follower.cutter),
                length(max(c.stands for c in found.uncut)),
                *figures,
            ),
            "relieve the corners (relief = ...), use a thinner cutter with a "
            f"{follower.name} that fits it, or square the corners with a chisel",
            "cannot be cut" if jams else "note",
            OfKey(("pocket", "template")),
        ),
    )
