"""Snugline: from photos of a bought-in part to a true outline and the pocket it drops into.

The packages, in the order of the pipeline: `snugline.trace` (photos to contours),
`snugline.fit` (contours to an outline), `snugline.pocket` (outline to a cut plan) and
`snugline.desk` (command line and local page). This package holds what all of them use.
"""

from importlib.metadata import version

from snugline.errors import SnuglineError
from snugline.notice import Notice

__version__ = version("snugline")

__all__ = ["Notice", "SnuglineError", "__version__"]
