"""The units that files and people's views come in; inside, lengths are millimetres."""

from typing import Literal

LengthUnit = Literal["mm", "in"]
MM_PER_INCH = 25.4  # exact since 1959: addendum to NBS Circular 572
