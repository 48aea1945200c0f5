"""Work for the tests of the page's worker processes, which import it by name."""

import os
import signal
import time

from snugline.errors import FileError


def work(what):
    """Sleep for seconds, die, or refuse; gives the worker's process id."""
    if what == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if what == "refuse":
        raise FileError("is no photo", "left.jpg", "take another one")
    time.sleep(what)
    return os.getpid()
