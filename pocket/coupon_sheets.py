"""The sheets of test pieces: gauges for width and length, ends with corners, slips."""

from collections.abc import Sequence

from snugline.fit.drawing.drawing import Unit
from snugline.fit.geometry.outline import Outline
from snugline.fit.readings.thickness import Thickness
from snugline.lengths import format_length
from snugline.notice import Notice
from snugline.place import OfKey
from snugline.pocket.choices import PocketChoices
from snugline.pocket.clearance import Clearance
from snugline.pocket.coupon import Coupon, end_coupon, gauge, nested, width_slip
from snugline.pocket.depth import Depth
from snugline.pocket.relief import relieved
from snugline.pocket.sheet import PlanLayer, Sheet, merged_layers
from snugline.pocket.suggestion import Suggestion
from snugline.pocket.wood import DIRECTIONS
from snugline.sentence import Sentence, length

_DEPTH = 6.0  # mm at most, unless chosen: enough to feel the fit
MARK_DEPTH = 0.3


def coupons(
    part: Outline,
    thickness: Thickness,
    choices: PocketChoices,
    offered: Suggestion,
    unit: Unit,
) -> tuple[Coupon, ...]:
    """All test coupons that the shop wants: the gauges first, then an end for each rung."""
    chosen = choices.coupons
    if chosen is None:
        return ()
    cutter = choices.cutter.diameter if choices.cutter else 0.0
    made = [
        gauge(part, axis.direction, chosen.ladder or axis.ladder, thickness.value, cutter, unit)
        for axis in (offered.width, offered.length)
        if axis.direction in chosen.tests
    ]

    def finish(pocket: Outline) -> Outline:
        if choices.relief is None or choices.cutter is None:
            return pocket
        return relieved(pocket, cutter, choices.relief, choices.relief_allowance).outline

    if "corner" in chosen.tests:
        # The gauge finds the rung; of the larger ends every other one is enough to try corners at.
        made += [
            end_coupon(part, rung, chosen.run, cutter, unit, finish)
            for rung in chosen.ladder or offered.ladder[::2]
        ]
    return tuple(made)


def coupon_sheets(
    pieces: Sequence[Coupon],
    slips: Sequence[Coupon],
    depth: Depth,
    choices: PocketChoices,
    gap: float,
    unit: Unit,
) -> list[Sheet]:
    """A sheet for each gauge, one for the ends and one for the slips."""
    blocked = bool(coupon_notices(depth, choices))
    sheets = [
        Sheet(
            f"coupon {direction}",
            None,
            tuple(coupon_layers(piece, depth, choices, unit)),
        )
        for direction in DIRECTIONS[::-1]
        for piece in pieces
        if piece.through and piece.name.startswith(direction)
    ]
    ends = [piece for piece in pieces if not piece.through]
    for name, group in (("coupons", ends), ("width slips", slips)):
        if group:
            laid, _ = nested(group, gap)
            layers = [layer for c in laid for layer in coupon_layers(c, depth, choices, unit)]
            sheets.append(Sheet(name, None, merged_layers(layers), blocked))
    return sheets


def slips(part: Outline, choices: PocketChoices, unit: Unit) -> tuple[Coupon, ...]:
    """A full-length channel of the pocket's width for each clearance."""
    if choices.coupons is None or not choices.coupons.slip:
        return ()
    cutter = choices.cutter.diameter if choices.cutter else 0.0
    widths = dict.fromkeys(clearance.width for clearance in choices.clearance)
    return tuple(width_slip(part, Clearance(w, w), cutter, unit) for w in widths)


def coupon_layers(
    coupon: Coupon, depth: Depth, choices: PocketChoices, unit: Unit
) -> list[PlanLayer]:
    """What is cleared, what is engraved, and the outer cut."""
    mark = PlanLayer(
        f"mark depth {format_length(MARK_DEPTH, unit)}", MARK_DEPTH, strokes=coupon.mark
    )
    outer = PlanLayer("coupon through", None, (coupon.outer,), pattern="dash-dot")
    if coupon.through:
        return [PlanLayer("gauge through", None, coupon.pocket), mark, outer]
    deep = coupon_depth(depth, choices)
    cleared = PlanLayer(f"coupon depth {format_length(deep, unit)}", deep, coupon.pocket)
    return [cleared, mark, outer]


def coupon_depth(depth: Depth, choices: PocketChoices) -> float:
    """How deep the ends are cut, mm."""
    chosen = choices.coupons.depth if choices.coupons else None
    return min(_DEPTH, depth.pocket) if chosen is None else chosen


def coupon_notices(depth: Depth, choices: PocketChoices) -> tuple[Notice, ...]:
    """Whether the ends are deeper than the board that the job names."""
    stock = choices.stock.thickness
    if choices.coupons is None or stock is None:
        return ()
    deep = coupon_depth(depth, choices)
    if deep < stock:
        return ()
    return (
        Notice(
            "coupon-deeper-than-board",
            Sentence("coupons {} deep go through the board of {}", length(deep), length(stock)),
            Sentence("cut them {} deep or less", length(0.6 * stock)),
            "cannot be cut",
            OfKey(("pocket", "coupons")),
        ),
    )
