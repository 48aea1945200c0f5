"""What is being done, for which photo of how many, and about how long it will take."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

Kind = Literal["photo", "together", "fit", "files"]
_BEFORE_ANY = {"photo": 2.0, "together": 2.0, "fit": 2.0, "files": 10.0}  # s, on two cores
_WEIGHT = 0.3  # of the newest time in the running mean


@dataclass
class Pace:
    """How long each kind of work has taken lately: a running mean, in seconds.

    `photo` and `together` count for each photo.
    """

    seconds: dict[str, float] = field(default_factory=lambda: dict(_BEFORE_ANY))

    def took(self, kind: Kind, seconds: float) -> None:
        self.seconds[kind] += _WEIGHT * (seconds - self.seconds[kind])


def progress(
    photos: Sequence[str],
    outline: str,
    plan: str,
    files: Mapping[str, Any],
    pace: Pace,
    at_once: int = 2,
) -> dict[str, Any] | None:
    """The page's line on the work in progress; None where there is none.

    Parameters
    ----------
    photos, outline, plan : states of the photos, the outline and the plan.
    at_once : how many photos are measured at a time.

    Examples
    --------
    >>> progress(["done", "tracing", "waiting"], "waiting", "missing", {}, Pace())
    {'doing': 'measuring photo 2 of 3', 'done': 1, 'of': 3, 'seconds': 2}
    """
    count = len(photos)
    left = [state for state in photos if state in ("waiting", "tracing")]
    if left:
        done = count - len(left)
        rounds = math.ceil(len(left) / max(1, at_once))
        return _work(
            f"measuring photo {done + 1} of {count}", done, count, rounds * pace.seconds["photo"]
        )
    if outline == "tracing":
        doing = f"measuring all {count} photos together" if count > 1 else "measuring the photo"
        return _work(doing, 0, count, count * pace.seconds["together"])
    if outline == "fitting":
        return _work("fitting the outline", 0, 1, pace.seconds["fit"])
    if plan == "planning":
        return _work("drawing the pocket", 0, 1, 1.0)
    if files.get("state") == "writing":
        return _work(f"making the files: {files.get('step')}", 0, 1, pace.seconds["files"])
    return None


def _work(doing: str, done: int, of: int, seconds: float) -> dict[str, Any]:
    return {"doing": doing, "done": done, "of": of, "seconds": max(1, math.ceil(seconds))}
