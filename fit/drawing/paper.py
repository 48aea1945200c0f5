"""Sizes of paper, in millimetres, upright."""

from snugline.errors import InputError

PAPERS: dict[str, tuple[float, float]] = {
    # ISO 216.
    "a5": (148.0, 210.0),
    "a4": (210.0, 297.0),
    "a3": (297.0, 420.0),
    "a2": (420.0, 594.0),
    "a1": (594.0, 841.0),
    "a0": (841.0, 1189.0),
    # ASME Y14.1, sizes A and B: 8.5 x 11 in and 11 x 17 in.
    "letter": (215.9, 279.4),
    "tabloid": (279.4, 431.8),
}


def paper_size(name: str) -> tuple[float, float]:
    """Width and height of a paper by its name.

    Raises
    ------
    InputError : a paper that is not known.
    """
    if name.lower() not in PAPERS:
        raise InputError(f"{name!r} is not a paper", "paper", f"use one of {', '.join(PAPERS)}")
    return PAPERS[name.lower()]
