"""What a shop chooses for its pocket, in mm.

Nothing is filled in that changes the cut: what is not chosen is not done. The `[pocket]` table of a
job is read by `snugline.pocket.choices_record`.
"""

from dataclasses import dataclass, field

from snugline.pocket.access import FingerNotch, PushHole, RibbonSlot
from snugline.pocket.border import EdgeTreatment
from snugline.pocket.clearance import Clearance
from snugline.pocket.cutting_time import Feeds
from snugline.pocket.fits import fit_of
from snugline.pocket.hold_down import Hold
from snugline.pocket.passes import Passes
from snugline.pocket.recess import Label, Lip, Recess
from snugline.pocket.relief import ALLOWANCE, Style
from snugline.pocket.season import Movers
from snugline.pocket.shared_board import SharedBoard
from snugline.pocket.template import Follower
from snugline.pocket.thermal import Material
from snugline.pocket.tool_shape import Cutter
from snugline.pocket.wood import Timber


@dataclass(frozen=True)
class Step:
    """A deeper floor for a part that is thicker in the middle, or has a lip.

    Attributes
    ----------
    inset : how far inside the pocket's wall it begins, mm: the width of the ledge left.
    deeper : below the seat, mm.
    """

    inset: float
    deeper: float


@dataclass(frozen=True)
class Feet:
    """Round recesses for the part's feet, one near each corner of its box.

    Attributes
    ----------
    diameter : of the recess, mm.
    inset : of its centre from the part's sides, mm.
    deeper : below the seat, mm.
    """

    diameter: float
    inset: float
    deeper: float


@dataclass(frozen=True)
class BorderChoice:
    """The outer cut: its land, its own corner radius (None: parallel), and its edge; mm."""

    land: float
    corner: float | None = None
    edge: EdgeTreatment | None = None


@dataclass(frozen=True)
class Stock:
    """The board to cut from; mm.

    Attributes
    ----------
    thickness : when the pocket is cut.
    length, width : along and across its grain; both or neither.
    margin : kept free along its edges, for clamps.
    copies : of the pocket with its border.
    turn : whether pieces may lie across the grain.
    coupons : whether the coupons are laid on it too.
    """

    thickness: float | None = None
    length: float | None = None
    width: float | None = None
    margin: float = 10.0
    copies: int = 1
    turn: bool = False
    coupons: bool = False


TESTS = ("width", "length", "corner")


@dataclass(frozen=True)
class Coupons:
    """Test pieces.

    Attributes
    ----------
    tests : what is tested, of `TESTS`.
    run : straight side beyond the corners, mm.
    ladder : clearances, mm; empty takes the suggested ladder of each axis.
    depth : of the corner's pocket, mm; None for the pocket's own, at most 6 mm.
    slip : whether a full-length channel of the pocket's width is cut as well.
    """

    tests: tuple[str, ...] = TESTS
    run: float = 20.0
    ladder: tuple[float, ...] = ()
    depth: float | None = None
    slip: bool = False


@dataclass(frozen=True)
class PocketChoices:
    """All that a shop decides; lengths in mm.

    Attributes
    ----------
    clearance : one or several gaps; one pocket is drawn for each.
    kind : of part, `soft`, `firm`, `brittle` or `metal`: which clearances are suggested.
    above : how far the part projects above the finished face; negative is below it.
    sanding : taken off the face after the pocket is cut.
    cutter : None leaves all checks of the cutter out.
    relief : of corners that the cutter cannot reach; None leaves them.
    relief_allowance : radius of a relief over the cutter's.
    squeeze : by how much per side the part may be squeezed; None takes the kind's.
    floor : the least wood to be left under the deepest cut; None takes common practice.
    board : wood, grain, climate; None leaves its movement out.
    part_wood : the same of a wooden part.
    part_material : for the part's own growth with temperature.
    glued : whether the part is glued in.
    food : whether the piece meets food or water.
    machine : as it is called in the shop's records.
    notches, push_holes, ribbons : ways to lift the part out.
    step, feet : deeper places of the floor.
    lips, recesses, labels : further depths and engraved text.
    hold : how through cuts keep the piece in place.
    passes : what roughing leaves for a finishing pass.
    shared : the board that this pocket and those of other parts lie in.
    border, stock, coupons, template, feeds : None leaves them out.
    written : the units that lengths in the table were written in.
    """

    clearance: tuple[Clearance, ...]
    kind: str = "firm"
    above: float = 0.0
    sanding: float = 0.0
    cutter: Cutter | None = None
    relief: Style | None = None
    relief_allowance: float = ALLOWANCE
    squeeze: float | None = None
    floor: float | None = None
    board: Timber | None = None
    part_wood: Timber | None = None
    part_material: Material | None = None
    glued: bool = False
    food: bool = False
    machine: str = ""
    notches: tuple[FingerNotch, ...] = ()
    push_holes: tuple[PushHole, ...] = ()
    ribbons: tuple[RibbonSlot, ...] = ()
    step: Step | None = None
    feet: Feet | None = None
    lips: tuple[Lip, ...] = ()
    recesses: tuple[Recess, ...] = ()
    labels: tuple[Label, ...] = ()
    hold: Hold | None = None
    passes: Passes | None = None
    shared: SharedBoard | None = None
    border: BorderChoice | None = None
    stock: Stock = field(default_factory=Stock)
    coupons: Coupons | None = None
    template: Follower | None = None
    feeds: Feeds | None = None
    written: frozenset[str] = frozenset()
    wood: str = ""

    @property
    def movers(self) -> Movers:
        """What moves with the seasons."""
        return Movers(self.board, self.part_wood, self.part_material)

    @property
    def squeezed(self) -> float:
        """By how much per side the part may be squeezed, mm."""
        return fit_of(self.kind).squeeze if self.squeeze is None else self.squeeze


__all__ = [
    "TESTS",
    "BorderChoice",
    "Coupons",
    "Cutter",
    "Feet",
    "PocketChoices",
    "Step",
    "Stock",
]
