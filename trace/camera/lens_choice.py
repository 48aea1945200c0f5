"""Which of several hypotheses on a lens the markers bear out, by Bayes' theorem.

One photo is adjusted with its lens left free. The information of the markers alone on the lens, its
pose marginalised, is then a normal law; the evidence of each hypothesis is the integral of that law
over the hypothesis's prior (MacKay, Information Theory, Inference, and Learning Algorithms, chapter
28, from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from snugline.trace.camera.lens import Lens, LensPrior

Floats = NDArray[np.float64]

# A hypothesis holds when it has this share of the probability; else the freest one is taken, which
# costs some uncertainty and no truth.
_SURE = 0.95
# What paper and lens have of their own beside the noise of edges: the markers count with a quarter
# of their apparent information when a lens is to be refuted by them.
_BELIEVED = 0.25


@dataclass(frozen=True)
class MarkersSay:
    """Information of one photo's markers on its lens: precision @ (vector - lens) = pull.

    Attributes
    ----------
    lens : where it was linearised.
    precision : (7, 7) of `Lens.vector`, pose and all else marginalised; of any rank.
    pull : (7,).
    """

    lens: Lens
    precision: Floats
    pull: Floats


@dataclass(frozen=True)
class Chosen:
    """The hypothesis that holds, and the likeliest lens under it.

    Attributes
    ----------
    refuted : the strictest one, where it is another and the markers contradict it.
    """

    prior: LensPrior
    lens: Lens
    refuted: LensPrior | None


def markers_say(lens: Lens, covariance: Floats, prior: LensPrior) -> MarkersSay:
    """From a lens adjusted under a prior, with its (7, 7) covariance, the part of the markers."""
    unit = np.sqrt(np.diag(covariance))
    known = np.linalg.inv(covariance / np.outer(unit, unit))
    alone = known - prior.precision * np.outer(unit, unit)
    # Where the prior decides nearly all, rounding leaves negative precisions.
    values, vectors = np.linalg.eigh(0.5 * (alone + alone.T))
    alone = (vectors * np.maximum(values, 0.0)) @ vectors.T
    pull = prior.precision @ (lens.vector() - prior.lens.vector())
    return MarkersSay(lens, alone / np.outer(unit, unit), pull)


def choose(hypotheses: Sequence[LensPrior], said: Sequence[MarkersSay]) -> Chosen:
    """Choose by the markers of one or several photos through one lens.

    Parameters
    ----------
    hypotheses : the strictest first, the freest last.
    """
    origin = said[0].lens.vector()
    precision = np.sum([s.precision for s in said], axis=0)
    pull = np.sum([s.pull + s.precision @ (s.lens.vector() - origin) for s in said], axis=0)
    logs = np.array(
        [_log_evidence(h, origin, _BELIEVED * precision, _BELIEVED * pull) for h in hypotheses]
    )
    share = np.exp(logs - logs.max())
    share /= share.sum()
    best = int(np.argmax(share))
    best = best if share[best] > _SURE else len(hypotheses) - 1
    prior = hypotheses[best]
    moved = _likeliest(prior, origin, precision, pull)
    refuted = hypotheses[0] if best > 0 and share[0] < 1 - _SURE else None
    return Chosen(prior, said[0].lens.with_vector(origin + moved), refuted)


def _likeliest(prior: LensPrior, origin: Floats, precision: Floats, pull: Floats) -> Floats:
    """(7,) from the origin to the likeliest lens under a prior."""
    off = prior.lens.vector() - origin
    total = precision + prior.precision
    unit = 1 / np.sqrt(np.diag(total))
    scaled = total * np.outer(unit, unit)
    return np.asarray(unit * np.linalg.solve(scaled, unit * (pull + prior.precision @ off)))


def _log_evidence(prior: LensPrior, origin: Floats, precision: Floats, pull: Floats) -> float:
    """But for a constant that all hypotheses share."""
    off = prior.lens.vector() - origin
    unit = 1 / np.sqrt(np.diag(prior.precision))
    scale = np.outer(unit, unit)
    before, after = prior.precision * scale, (prior.precision + precision) * scale
    right = unit * (pull + prior.precision @ off)
    fit = 0.5 * float(right @ np.linalg.solve(after, right) - (off / unit) @ before @ (off / unit))
    volume = 0.5 * float(np.linalg.slogdet(before)[1] - np.linalg.slogdet(after)[1])
    return float(np.log(prior.weight)) + fit + volume
