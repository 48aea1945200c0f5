"""Errors a user can cause: what is wrong, where, and what to do.

All are `SnuglineError`; each child is also the built-in kind that an ordinary `except` expects.
"""


class SnuglineError(Exception):
    """An error in three parts; `str` joins them in one line.

    Parameters
    ----------
    what : what is wrong, with the value seen.
    where : the file, key, photo or pixel region it was seen in.
    mend : what the user can do about it.
    """

    def __init__(self, what: str, where: str, mend: str) -> None:
        super().__init__(what, where, mend)
        self.what = what
        self.where = where
        self.mend = mend

    def __str__(self) -> str:
        line = f"{self.where}: {self.what}; {self.mend}"
        return " ".join(line.split())


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
