"""The words by which a job asks for an outline's family: this list is the only one."""

from typing import Literal

OutlineFamily = Literal[
    "auto",
    "rounded rectangle",
    "rectangle",
    "chamfered rectangle",
    "stadium",
    "superellipse rectangle",
    "elliptical-cornered rectangle",
    "double-arc rectangle",
    "three-centred rectangle",
    "free-cornered rectangle",
    "circle",
    "ellipse",
    "regular polygon",
    "free",
]
