"""Work for the tests of the page's worker processes, which import it by name."""

import os
import signal
import time
from pathlib import Path

from snugline.errors import FileError


def work(what):
    """Sleep for seconds, die (once, if a file's path is given), or refuse; gives its process id."""
    if isinstance(what, Path):
        first = not what.exists()
        what.touch()
        what = "die" if first else 0
    if what == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if what == "refuse":
        raise FileError("is no photo", "left.jpg", "take another one")
    time.sleep(what)
    return os.getpid()
