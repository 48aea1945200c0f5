"""A pocket's verdict from its remarks: good, to be checked, or not to be cut."""

from collections.abc import Sequence
from typing import Literal

from snugline.notice import Notice

State = Literal["good", "usable", "not to be cut"]

# The cause of the verdict comes before the verdict itself.
_LAST = ("does-not-go-in", "may-not-go-in")


def state_of(notices: Sequence[Notice]) -> tuple[State, tuple[str, ...]]:
    """The state, and the codes of the remarks that decide it, the likeliest cause first."""
    for severity, state in _DECIDING:
        codes = dict.fromkeys(n.code for n in notices if n.severity == severity)
        if codes:
            return state, tuple(sorted(codes, key=lambda code: code in _LAST))
    return "good", ()


_DECIDING: tuple[tuple[str, State], ...] = (("cannot be cut", "not to be cut"), ("check", "usable"))
