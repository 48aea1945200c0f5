"""An action that is killed before its nth step on the disk, as by a power cut."""

import os
import signal
import warnings

STEPS = ("rename", "replace", "link", "mkdir", "unlink", "rmdir", "open", "fsync", "chmod")


def killed_at(step, action):
    """Do the action in a process that dies before its nth call which changes the disk.

    Gives whether it came to its end before.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # a fork beside idle threads
        child = os.fork()
    if child == 0:
        try:
            left = [step]
            os.fsync = lambda handle: None  # a kill, unlike a power cut, loses nothing written
            for name in STEPS:
                setattr(os, name, _dying(getattr(os, name), left))
            action()
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        assert os.WTERMSIG(status) == signal.SIGKILL
        return False
    return True


def _dying(real, left):
    def call(*arguments, **named):
        if left[0] == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        left[0] -= 1
        return real(*arguments, **named)

    return call
