"""Pockets of several parts in one board that exists: placed, turned, and kept apart."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from snugline.errors import PlanError
from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.distance import signed_distance
from snugline.fit.geometry.outline import Outline, Point
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.lengths import format_length
from snugline.notice import Notice
from snugline.place import OfPart
from snugline.pocket.border import LEAST_WALL
from snugline.pocket.clearance import Clearance
from snugline.pocket.cutter import UNCUT_TOL, cutter_centres, reach
from snugline.pocket.enlarge import enlarged
from snugline.pocket.goes_in import Chance, chance, chance_notices
from snugline.pocket.relief import Style, relieved
from snugline.pocket.sheet import PlanLayer, Sheet, merged_layers
from snugline.pocket.state import State, state_of
from snugline.pocket.width_error import WidthError
from snugline.sentence import Sentence, length

_STEP = 1.0  # mm between the places compared


@dataclass(frozen=True)
class Placing:
    """Where a pocket lies on its board.

    Attributes
    ----------
    left, right, front, back : mm from the board's edge to the pocket's wall, after turning; of each
        pair one at most. Neither: in the middle between those edges.
    turn : counter-clockwise, radians.
    """

    left: float | None = None
    right: float | None = None
    front: float | None = None
    back: float | None = None
    turn: float = 0.0


@dataclass(frozen=True)
class Guest:
    """A further part's pocket in the board; lengths in mm.

    Attributes
    ----------
    name : of the part; part of the layer's name.
    source : its outline's file, as the job names it.
    clearance : gap per side.
    depth : of its pocket.
    placing : where it lies.
    """

    name: str
    source: str
    clearance: Clearance
    depth: float
    placing: Placing


@dataclass(frozen=True)
class SharedBoard:
    """The board: its outline's file (None: the stock's own rectangle), and what lies in it."""

    source: str | None
    placing: Placing
    guests: tuple[Guest, ...] = ()

    @property
    def files(self) -> tuple[tuple[tuple[str | int, ...], str], ...]:
        """Each file that is named: the key of the job that names it, and its name."""
        own = () if self.source is None else ((("pocket", "board", "outline"), self.source),)
        others = (
            (("pocket", "board", "part", number, "outline"), guest.source)
            for number, guest in enumerate(self.guests)
        )
        return (*own, *others)


@dataclass(frozen=True)
class Known:
    """An outline that a file gave, and what is known of it where that was a result of ours."""

    outline: Outline
    uncertainty: PartUncertainty | None = None


@dataclass(frozen=True)
class Tool:
    """The cutter's diameter (0: not known), the style of relief and its allowance, mm."""

    diameter: float = 0.0
    relief: Style | None = None
    allowance: float = 0.0


@dataclass(frozen=True)
class GuestPocket:
    """A guest's pocket at its place, and its remarks."""

    guest: Guest
    outline: Outline
    chance: Chance | None
    notices: tuple[Notice, ...]
    state: State
    because: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        record: dict[str, Any] = {
            "part": self.guest.name,
            "clearance": self.guest.clearance.as_json(),
            "state": self.state,
            "because": list(self.because),
        }
        if self.chance is not None:
            record["goes_in"] = self.chance.as_json()
        return record


def shift(wall: Outline, board: Outline, placing: Placing) -> Point:
    """How far a pocket with that wall is moved to its place, once it is turned about its origin.

    Raises
    ------
    PlanError : two opposite edges are both given a distance.
    """
    low_x, low_y, high_x, high_y = wall.rotated(placing.turn).bounds
    left, front, right, back = board.bounds
    dx = _shift((low_x, high_x), (left, right), placing.left, placing.right, "left and right")
    dy = _shift((low_y, high_y), (front, back), placing.front, placing.back, "front and back")
    return dx, dy


def _shift(
    own: tuple[float, float],
    board: tuple[float, float],
    near: float | None,
    far: float | None,
    edges: str,
) -> float:
    if near is not None and far is not None:
        raise PlanError(
            f"both {edges} are given", "board", "give one of them; the other follows from it"
        )
    if near is not None:
        return board[0] + near - own[0]
    if far is not None:
        return board[1] - far - own[1]
    return (sum(board) - sum(own)) / 2


def moved_layers(
    layers: Sequence[PlanLayer], wall: Outline, board: Outline, placing: Placing
) -> list[PlanLayer]:
    """All layers of a pocket at its place; its border, which the board replaces, is left out."""
    dx, dy = shift(wall, board, placing)
    cos, sin = math.cos(placing.turn), math.sin(placing.turn)

    def move(p: Point) -> Point:
        return cos * p[0] - sin * p[1] + dx, sin * p[0] + cos * p[1] + dy

    return [
        layer.mapped(lambda o: o.rotated(placing.turn).translated(dx, dy), move)
        for layer in layers
        if not layer.name.startswith("border")
    ]


def guest_pocket(
    guest: Guest, known: Known, board: Outline, tool: Tool, error: WidthError
) -> GuestPocket:
    """A further part's pocket: its outline enlarged, relieved, placed and judged.

    Raises
    ------
    PlanError : a cutter wider than the pocket.
    """
    low_x, low_y, high_x, high_y = known.outline.bounds
    part = known.outline.translated(-(low_x + high_x) / 2, -(low_y + high_y) / 2)
    plain = enlarged(part, guest.clearance)
    pocket, notices, gap = plain, [], None
    if tool.diameter:
        cutter_centres(plain, tool.diameter)
        if tool.relief is not None:
            pocket = relieved(plain, tool.diameter, tool.relief, tool.allowance).outline
        found = reach(pocket, tool.diameter - UNCUT_TOL, part)
        overlap = -guest.clearance.least if found.part_overlap is None else found.part_overlap
        gap = -overlap if -overlap < guest.clearance.least - 1e-3 else None
    likely = None
    if known.uncertainty is not None:
        size = (high_x - low_x, high_y - low_y)
        likely = chance(guest.clearance, known.uncertainty, size, (), error, gap)
        notices += [replace(n, about=OfPart(guest.name)) for n in chance_notices(likely)]
    elif gap is not None and gap < 0:
        notices.append(
            Notice(
                "uncut-corner",
                Sentence("the part would meet {} of uncut wood in its corners", length(-gap)),
                "relieve the corners (relief = ...), or use a thinner cutter",
                "cannot be cut",
                OfPart(guest.name),
            )
        )
    else:
        notices.append(
            Notice(
                "part-uncertainty-unknown",
                "nothing is known of how far this part's outline can be trusted, so that no chance "
                "is given that it goes in",
                "name its job (job.toml with its result) in place of a drawing, or cut a coupon",
                "note",
                OfPart(guest.name),
            )
        )
    placed = pocket.rotated(guest.placing.turn).translated(*shift(plain, board, guest.placing))
    state, because = state_of(notices)
    return GuestPocket(guest, placed, likely, tuple(notices), state, because)


def board_sheet(
    clearance: Clearance,
    own: Sequence[PlanLayer],
    guests: Sequence[GuestPocket],
    board: Outline,
    blocked: bool,
    unit: Unit,
) -> Sheet:
    """The whole board: its own pocket's layers, those of its guests, and its edge.

    A guest that is not to be cut is left out of the drawing.
    """
    layers = list(own)
    for found in guests:
        if found.state == "not to be cut":
            continue
        deep = format_length(found.guest.depth, unit)
        name = f"{found.guest.name} pocket depth {deep}"
        layers.append(PlanLayer(name, found.guest.depth, (found.outline,)))
    edge = PlanLayer("board edge not cut", None, (board,), pattern="dotted")
    return Sheet("board", clearance, (*merged_layers(layers), edge), blocked)


def spacing_notices(pockets: Sequence[tuple[str, Outline]], board: Outline) -> tuple[Notice, ...]:
    """Pockets that pass the board's edge or each other, and walls that are thin."""
    notices = []
    for name, outline in pockets:
        room = -float(signed_distance(board, outline.sampled(_STEP)).max())
        room = min(room, float(signed_distance(outline, board.sampled(_STEP)).min()))
        if room < 0:
            notices.append(
                _passing(name, Sentence("it passes the board's edge by {}", length(-room)))
            )
        elif room < LEAST_WALL:
            notices.append(_thin(name, "the board's edge", room))
    for (one, a), (other, b) in combinations(pockets, 2):
        room = distance_between(a, b)
        if room < 0:
            text = Sentence(f"it overlaps the pocket of {_braced(other)} by {{}}", length(-room))
            notices.append(_passing(one, text))
        elif room < LEAST_WALL:
            notices.append(_thin(one, f"the pocket of {other}", room))
    return tuple(notices)


def distance_between(a: Outline, b: Outline) -> float:
    """The wood between two pockets, mm; negative by how far one lies in the other."""
    there = signed_distance(a, b.sampled(_STEP))
    back = signed_distance(b, a.sampled(_STEP))
    return float(min(np.min(there), np.min(back)))


def _passing(name: str, text: str) -> Notice:
    return Notice(
        "pocket-off-board", text, "move it, turn it, or use a larger board", "cannot be cut",
        OfPart(name),
    )  # fmt: skip


def _thin(name: str, beside: str, room: float) -> Notice:
    return Notice(
        "thin-wall-on-board",
        Sentence("only {} of wood is left to " + _braced(beside), length(room)),
        Sentence("leave at least {}, as is usual", length(LEAST_WALL, 0)),
        "check",
        OfPart(name),
    )


def _braced(text: str) -> str:
    return text.replace("{", "{{").replace("}", "}}")
