"""What a pocket's remarks make of it: good, usable with a doubt, or not to be cut."""

from collections.abc import Sequence
from typing import Literal

from snugline.notice import Notice

State = Literal["good", "usable", "not to be cut"]

# What brings the verdict about stands before the verdict itself.
_LAST = ("does-not-go-in", "may-not-go-in")


def state_of(notices: Sequence[Notice]) -> tuple[State, tuple[str, ...]]:
    """The state, and the codes of the remarks that decide it, the likeliest cause first."""
    for severity, state in _DECIDING:
        codes = dict.fromkeys(n.code for n in notices if n.severity == severity)
        if codes:
            return state, tuple(sorted(codes, key=lambda code: code in _LAST))
    return "good", ()


_DECIDING: tuple[tuple[str, State], ...] = (("cannot be cut", "not to be cut"), ("check", "usable"))
