"""Is the stated uncertainty of contours right? From what `unseen_kinds.py --keep FOLDER` stored.

    python benchmarks/sigma_coverage.py FOLDER [FOLDER ...] [--clear]

prints for each row of `unseen_scenes.ROWS`, over all points of its photos that are not to be taken
again:

- how many lie within one and within 1.96 stated standard uncertainties of the true outline (68 and
  95 % are right for normal errors), and the rms of error over sigma, at the median photo and over
  all;
- the same rms for each point's own noise, after the best shift and turn and the common offset;
- over what length that noise hangs together (integrated autocorrelation, at the median photo), and
  what is stated of it;
- the rms over the photos of the true common offset over the stated one, where an offset can be told
  from a shift and a turn.

A photo with a gross error (over 1 px at more than 2 % of its points) is wrong about its edge, and
no sigma can say so: `--clear` leaves those out, to look at what is said of the others.
"""

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from unseen_kinds import PULL, PULL_OF_ROW, kept_in
from unseen_scenes import ROWS

GROSS_PX, GROSS_SHARE = 1.0, 0.02
CLIPPED = 4.0  # sigmas, so that one gross stretch does not make up the autocorrelation
PITCH_PX = 2.0  # between a contour's points
LAGS, UNCORRELATED = 200, 0.05


def figures(facts, arrays):
    """(error over sigma, own error over noise) of each point, and (true offset over the stated,
    length mm over which the noise hangs together, that stated).

    Older records hold neither the offset nor what is stated: the mean error stands for them.
    """
    off, shape, sigma, noise = (arrays[k].astype(float) for k in ("off", "shape", "sigma", "noise"))
    offset = np.average(off, weights=1 / noise**2)
    own = (shape - np.average(shape, weights=1 / noise**2)) / noise
    stated = facts.get("common", float(np.sqrt(max(np.mean(sigma**2 - noise**2), 1e-12))))
    length = PITCH_PX * facts["mm_per_px"] * hangs_together(own)
    true = facts.get("offset", offset)
    over = np.nan if true is None else true / stated
    return off / sigma, own, over, length, facts.get("correlation_mm", 0.0)


def hangs_together(scaled):
    """Points: the length of an exponential correlation with this integrated autocorrelation."""
    calm = np.clip(scaled, -CLIPPED, CLIPPED)
    calm = calm - calm.mean()
    products = np.array([calm[k:] @ calm[: len(calm) - k] for k in range(min(LAGS, len(calm)))])
    correlation = products / products[0]
    below = np.flatnonzero(correlation < UNCORRELATED)
    return 0.5 + correlation[1 : below[0] if len(below) else None].sum()


def rms(values):
    """Of those that are known."""
    return float(np.sqrt(np.nanmean(np.square(values))))


def table(kept):
    """Lines: one for each row, and one for all."""
    yield (
        f"{'':14s} photos  68 %  95 %  over sigma (all)   own (all)  hangs together mm (stated)"
        "  offset"
    )
    found = [(facts["row"], figures(facts, arrays)) for facts, arrays in kept]
    for name in (*ROWS, "all"):
        some = [of for row, of in found if name in (row, "all")]
        if not some:
            continue
        whole, own, offset, length, stated = zip(*some, strict=True)
        photos = [rms(z) for z in whole]
        low, high = PULL if name == "all" else PULL_OF_ROW
        every, noises = np.abs(np.concatenate(whole)), [rms(z) for z in own]
        yield (
            f"{name:14s} {len(some):6d} {np.mean(every < 1):5.0%} {np.mean(every < 1.96):5.0%}  "
            f"{np.median(photos):8.2f} ({rms(photos):5.2f})  "
            f"{np.median(noises):5.2f} ({rms(noises):5.2f})  "
            f"{np.median(length):15.1f} ({np.median(stated):5.1f})  {rms(offset):12.2f}"
            + ("" if low <= rms(photos) <= high else "  FAIL")
        )


def told_right(facts, arrays):
    far = np.abs(arrays["off"]) > GROSS_PX * facts["mm_per_px"]
    return float(far.mean()) <= GROSS_SHARE


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--clear", action="store_true", help="without photos of gross errors")
    options = parser.parse_args()
    kept = [
        (facts, arrays)
        for folder in options.folders
        for facts, arrays in kept_in(folder)
        if facts["outcome"] not in ("retake", "false retake")
        and (not options.clear or told_right(facts, arrays))
    ]
    print("\n".join(table(kept)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
