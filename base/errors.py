"""Errors a user can cause: what is wrong, where, and what to do.

All are `SnuglineError`; each child is also the built-in kind that an ordinary `except` expects.
"""

from typing import Any

from snugline.place import Where
from snugline.sentence import Sentence
from snugline.units import LengthUnit


class SnuglineError(Exception):
    """An error in three parts; `str` joins them in one line.

    Parameters
    ----------
    what : what is wrong, with the value seen; a `Sentence` keeps its quantities.
    where : the photo, reading or key it was seen in, or the name of another thing.
    mend : what the user can do about it.

    Attributes
    ----------
    about : `where` as a value that programs can read; None where it is a name only.
    """

    def __init__(self, what: str, where: Where, mend: str) -> None:
        super().__init__(what, where, mend)
        self.what = Sentence.of(what)
        self.about = None if isinstance(where, str) else where
        self.where = str(where)
        self.mend = Sentence.of(mend)

    def __reduce__(self) -> tuple[Any, ...]:
        # A child with parameters of its own comes out of a worker process as it went in.
        return _rebuilt, (type(self), self.args, self.__dict__)

    def in_unit(self, unit: LengthUnit) -> str:
        """One line, with its lengths in `unit`."""
        line = f"{self.where}: {self.what.in_unit(unit)}; {self.mend.in_unit(unit)}"
        return " ".join(line.split())

    def __str__(self) -> str:
        return self.in_unit("mm")

    def as_json(self) -> dict[str, Any]:
        """What, where and mend; `about` and the quantities where it has them."""
        record: dict[str, Any] = {"what": str(self.what), "where": self.where}
        record["mend"] = str(self.mend)
        if self.about is not None:
            record["about"] = self.about.as_json()
        if figures := (*self.what.figures, *self.mend.figures):
            record["templates"] = [self.what.template, self.mend.template]
            record["figures"] = [figure.as_json() for figure in figures]
        return record


def _rebuilt(kind: type[SnuglineError], args: tuple[Any, ...], own: dict[str, Any]) -> Any:
    error = kind.__new__(kind)
    error.args = args
    error.__dict__.update(own)
    return error


class InputError(SnuglineError, ValueError):
    """A word, number, unit or key that cannot be used."""


class FileError(SnuglineError, OSError):
    """A file that is missing, unreadable, too large or not what it claims to be."""

    # OSError would format its own three arguments as errno, text and file name.
    __str__ = SnuglineError.__str__


class PhotoError(SnuglineError, ValueError):
    """A photo that cannot be measured."""


class FitError(SnuglineError, ValueError):
    """Points or readings that determine no outline."""


class PlanError(SnuglineError, ValueError):
    """A cut plan that cannot be made."""
