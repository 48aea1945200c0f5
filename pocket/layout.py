"""Pieces laid on the stock, with margins, room for the cutter between them, and the grain kept."""

from collections.abc import Sequence
from dataclasses import dataclass

from snugline.counting import counted
from snugline.errors import PlanError
from snugline.fit.geometry.outline import Point

_PER_MM = 1000  # the packer counts in whole micrometres


@dataclass(frozen=True)
class Piece:
    """A rectangle to be placed: its name and size in mm, x along the grain."""

    name: str
    length: float
    width: float


@dataclass(frozen=True)
class Place:
    """Where a piece lies: its lower left corner on the stock, mm, and whether it is turned."""

    piece: Piece
    at: Point
    turned: bool


def placed(
    pieces: Sequence[Piece],
    stock: tuple[float, float],
    margin: float,
    gap: float,
    turn: bool = False,
) -> tuple[Place, ...]:
    """Places for all pieces, in their order.

    Parameters
    ----------
    stock : (length, width) mm, its length along the grain.
    margin : kept free along the stock's edges, mm.
    gap : between pieces, mm; the cutter's diameter at least.
    turn : whether pieces may lie across the grain.

    Raises
    ------
    PlanError : what does not fit, and by how much.
    """
    room = stock[0] - 2 * margin + gap, stock[1] - 2 * margin + gap
    for piece in pieces:
        _fits_alone(piece, (room[0] - gap, room[1] - gap), turn)
    found = _packed(pieces, room, gap, turn)
    if found is None:
        short = _shortfall(pieces, room, gap, turn)
        raise PlanError(
            f"{counted(len(pieces), 'piece')} need{'s' if len(pieces) == 1 else ''} stock "
            f"{short:.0f} mm longer than {stock[0]:.0f} x {stock[1]:.0f} mm",
            "layout",
            "use longer stock, fewer pieces or smaller margins",
        )
    return tuple(Place(p.piece, (p.at[0] + margin, p.at[1] + margin), p.turned) for p in found)


def _fits_alone(piece: Piece, room: tuple[float, float], turn: bool) -> None:
    options = [(piece.length, piece.width)]
    if turn:
        options.append((piece.width, piece.length))
    short = [(max(0.0, x - room[0]), max(0.0, y - room[1])) for x, y in options]
    x, y = min(short, key=sum)
    if x + y > 1e-6:
        said = " and ".join(
            f"{by:.1f} mm too {word}" for by, word in ((x, "long"), (y, "wide")) if by > 1e-6
        )
        raise PlanError(
            f"{piece.name} of {piece.length:.1f} x {piece.width:.1f} mm is {said} for the stock",
            "layout",
            "use larger stock or smaller margins",
        )


def _packed(
    pieces: Sequence[Piece], room: tuple[float, float], gap: float, turn: bool
) -> list[Place] | None:
    """Places from (0, 0) on, each piece with a gap to its right and above; None if too many."""
    import rectpack  # type: ignore[import-untyped]

    packer = rectpack.newPacker(rotation=turn, sort_algo=rectpack.SORT_AREA)
    for number, piece in enumerate(pieces):
        packer.add_rect(_whole(piece.length + gap), _whole(piece.width + gap), number)
    packer.add_bin(int(room[0] * _PER_MM + 1e-6), int(room[1] * _PER_MM + 1e-6))
    packer.pack()
    places: dict[int, Place] = {}
    for _, x, y, width, _, number in packer.rect_list():
        piece = pieces[number]
        turned = width != _whole(piece.length + gap)
        places[number] = Place(piece, (x / _PER_MM, y / _PER_MM), turned)
    return [places[n] for n in range(len(pieces))] if len(places) == len(pieces) else None


def _whole(mm: float) -> int:
    return -int(-(mm * _PER_MM) // 1)


def _shortfall(pieces: Sequence[Piece], room: tuple[float, float], gap: float, turn: bool) -> float:
    """Length in mm that the stock lacks, to the millimetre."""
    low, high = 0.0, sum(max(p.length, p.width) + gap for p in pieces)
    while high - low > 1.0:
        middle = (low + high) / 2
        if _packed(pieces, (room[0] + middle, room[1]), gap, turn) is None:
            low = middle
        else:
            high = middle
    return high
