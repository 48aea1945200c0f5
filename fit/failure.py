"""What a fit returns when the data determine nothing: a false value with its reason."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class NoFit:
    """A failed fit; false where it is tested, so that a search over fits can pass it by."""

    reason: str

    def __bool__(self) -> Literal[False]:
        return False
