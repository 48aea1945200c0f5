"""The sheets of a board that holds the pockets of several parts."""

from collections.abc import Mapping, Sequence

from snugline.errors import PlanError
from snugline.fit.geometry.outline import Outline
from snugline.fit.geometry.primitives import polygon
from snugline.notice import Notice
from snugline.pocket.choices import PocketChoices
from snugline.pocket.opening import Given, Opening
from snugline.pocket.shared_board import (
    GuestPocket,
    Known,
    Tool,
    board_sheet,
    guest_pocket,
    moved_layers,
    shift,
    spacing_notices,
)
from snugline.pocket.sheet import Sheet


def boards(
    openings: Sequence[Opening], given: Given, outlines: Mapping[str, Known]
) -> tuple[tuple[GuestPocket, ...], list[Sheet], list[Notice]]:
    """A sheet of the whole board for each clearance, with the pockets of the other parts."""
    choices, unit, shared = given.choices, given.unit, given.choices.shared
    if shared is None:
        return (), [], []
    board = _board_outline(choices, outlines)
    tool = Tool(
        choices.cutter.diameter if choices.cutter else 0.0,
        choices.relief,
        choices.relief_allowance,
    )
    guests = tuple(
        guest_pocket(guest, outlines[guest.source], board, tool, given.width_error)
        for guest in shared.guests
    )
    notices = [notice for guest in guests for notice in guest.notices]
    sheets = []
    for opening in openings:
        own = moved_layers(opening.sheet.layers, opening.plain, board, shared.placing)
        at = shift(opening.plain, board, shared.placing)
        wall = opening.outline.rotated(shared.placing.turn).translated(*at)
        pockets = [("this part", wall), *((g.guest.name, g.outline) for g in guests)]
        found = spacing_notices(pockets, board)
        blocked = opening.blocked or any(n.severity == "cannot be cut" for n in found)
        sheets.append(board_sheet(opening.clearance, own, guests, board, blocked, unit))
        notices += found
    return guests, sheets, notices


def _board_outline(choices: PocketChoices, outlines: Mapping[str, Known]) -> Outline:
    assert choices.shared is not None
    if choices.shared.source is not None:
        return outlines[choices.shared.source].outline
    long, wide = choices.stock.length, choices.stock.width
    if long is None or wide is None:
        raise PlanError(
            "the board has no outline",
            "board",
            'name its file (outline = "board.dxf"), or give stock a length and a width',
        )
    return polygon([(0.0, 0.0), (long, 0.0), (long, wide), (0.0, wide)])
