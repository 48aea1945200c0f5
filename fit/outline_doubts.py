"""Evidence against a fitted outline: points that reject it, a reading without a check."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from snugline.fit.readings.reading import Reading, combined
from snugline.fit.readings.reading_remarks import NOT_TIED, READINGS_DISAGREE
from snugline.fit.readings.uncertainty_budget import coverage_factor
from snugline.fit.result import Quantity, SectionResult
from snugline.notice import Notice
from snugline.place import OfPhoto
from snugline.sentence import Sentence, angle, length

Array = NDArray[np.float64]

# Points that lie so far from the outline over such a length are an edge of their own: a clearance
# of some tenths would not take it up. A burr, a hair or noise is shorter.
REJECTED_MM, REJECTED_OVER_MM = 0.3, 5.0
AVERAGED_MM = 3.0
# U95 of a dimension, mm, beyond which it says less than any tape would: no clearance takes it up.
TIED_MM = 2.0
SURE = 0.999  # chance of agreeing readings to be told as such
UNSEEN_MM = 0.05  # what an edge may stray from its line and pass for noise
_BESIDE_A_TIP = np.sqrt(2) - 1  # of its radius: how far an arc passes the tip of its corner
LARGEST_STEP_MM = 1.0  # across a gap nothing was seen


def rejected_by_points(
    sections: Sequence[SectionResult], noise: Sequence[Array]
) -> tuple[Notice, ...]:
    """Photos whose points lie off the outline over a stretch, outliers included.

    Parameters
    ----------
    noise : (N,) mm of each section's points: what is within six of it does not contradict.
    """
    notices = []
    for section, own in zip(sections, noise, strict=True):
        step = np.hypot(*np.diff(section.points, axis=0, prepend=section.points[:1]).T)
        step = np.minimum(step, LARGEST_STEP_MM)
        width = max(1, round(AVERAGED_MM / max(float(np.median(step)), 1e-3)))
        off = np.convolve(section.residuals, np.ones(width) / width, mode="same")
        far = np.abs(off) > np.maximum(REJECTED_MM, 6 * own)
        change = np.diff(far.astype(np.int8), prepend=0, append=0)
        runs = list(zip(np.flatnonzero(change == 1), np.flatnonzero(change == -1), strict=True))
        along = [float(step[a:b].sum()) for a, b in runs]
        if not along or max(along) < REJECTED_OVER_MM:
            continue
        a, b = runs[int(np.argmax(along))]
        worst = float(np.abs(off[a:b]).max())
        notices.append(
            Notice(
                "points-reject-outline",
                Sentence(
                    "Over {} the edge seen in the photo lies up to {} from the outline.",
                    length(max(along), 0), length(worst),
                ),
                "Look at the overlay there. If the line follows the part, the part has another "
                "shape: choose a free one, or state its symmetry. If not, take the photo again.",
                "retake",
                OfPhoto(section.name),
            )
        )  # fmt: skip
    return tuple(notices)


def sharp_by_default(sections: Sequence[SectionResult], tips: Array) -> tuple[Notice, ...]:
    """The word on corners that are drawn sharp though a radius would not have been seen.

    Parameters
    ----------
    tips : (N, 2) mm, of sharp corners that are alike.
    """
    nearest, radius = unseen_radius(sections, tips)
    if _BESIDE_A_TIP * radius <= REJECTED_MM:
        return ()
    return (
        Notice(
            "tips-not-seen",
            Sentence(
                "The corners are drawn sharp, but no photo shows their last {}: a radius of up to "
                "{} would not have been seen.",
                length(nearest, 1), length(radius, 1),
            ),
            "Read the corner radius if it matters, and add the reading.",
            "fine",
        ),
    )  # fmt: skip


def unseen_radius(sections: Sequence[SectionResult], tips: Array) -> tuple[float, float]:
    """Distance of the nearest point seen from one of the tips (N, 2), and the largest radius that
    equal corners could have unseen; mm.
    """
    seen = np.concatenate([section.points[section.kept] for section in sections])
    nearest = float(np.min(np.hypot(*(seen[:, None] - tips[None]).T)))
    # An arc strays from its side by (R - t)^2 / 2 R at the distance t from the tip.
    return nearest, float(nearest + np.sqrt(2 * nearest * UNSEEN_MM))


def lonely_readings(readings: Sequence[Reading], alone: Sequence[str]) -> tuple[Notice, ...]:
    """Dimensions that rest on one reading which nothing checks.

    Parameters
    ----------
    alone : dimensions that no photo determines.
    """
    notices = []
    for what in alone:
        taken = [reading for reading in readings if reading.what == what]
        if len(taken) == 1 and len(taken[0].values_mm) == 1:
            notices.append(
                Notice(
                    "one-reading",
                    f"The {what} rests on one reading, which nothing checks.",
                    f"Measure the {what} once more, with another tool or from another mark.",
                    "usable",
                    taken[0].where,
                )
            )
    return tuple(notices)


def apart_from_readings(
    sizes: Mapping[str, Quantity], readings: Sequence[Reading]
) -> tuple[Notice, ...]:
    """Readings that the outline does not keep to, though nothing says which of the two is wrong."""
    notices = []
    for of, size in sizes.items():
        found = combined(readings, of)
        if found is None:
            continue
        off = abs(size.value - found.value)
        if off > max(REJECTED_MM, coverage_factor(found.dof, SURE) * found.u):
            taken = next(reading for reading in readings if reading.what == of)
            notices.append(
                Notice(
                    READINGS_DISAGREE,
                    Sentence(
                        f"Photos and readings disagree about the {of}: the outline has {{}}, "
                        f"the {' and the '.join(found.tools)} {{}}.",
                        length(size.value), length(found.value),
                    ),
                    "Take one more photo that shows the stretch between the others, and measure "
                    f"the {of} again.",
                    "retake",
                    taken.where,
                )
            )  # fmt: skip
    return tuple(notices)


def loosely_tied(sizes: Mapping[str, Quantity]) -> tuple[Notice, ...]:
    """Photos whose places to each other are told so loosely that no pocket can be cut by them."""
    return tuple(
        Notice(
            NOT_TIED,
            Sentence(
                f"The photos hardly tell how they lie to each other: the {of} is known to {{}} "
                "only.",
                length(size.u95, 1),
            ),
            "Take one more photo that shows the stretch between the others.",
            "retake",
        )
        for of, size in sizes.items()
        if size.u95 > TIED_MM
    )[:1]


def edge_question(
    u95: Mapping[str, float], effect: Mapping[str, float], alone: Mapping[str, float]
) -> tuple[Notice, ...]:
    """The question after top edge and lean, where they are not stated and it matters.

    Parameters
    ----------
    u95 : of each dimension, mm.
    effect : how far the missing statement may move each dimension, mm (95 %).
    alone : what photos and readings make of it: mm of `edge` if the sides are upright, degrees of
        `lean` if the edge is sharp; only what is unstated.
    """
    if not any(effect[of] > u95[of] / 3 for of in effect):
        return ()
    ways = {"edge": "a top edge rounded by {}", "lean": "sides that lean inwards by {}"}
    said = [of for of in ways if alone.get(of, 0.0) > 0]
    return (_question(said, ways, alone),)


def _question(said: Sequence[str], ways: Mapping[str, str], alone: Mapping[str, float]) -> Notice:
    figures = [length(alone[of], 1) if of == "edge" else angle(alone[of], 1) for of in said]
    text = Sentence(
        "Nobody stated the top edge and the lean of the sides."
        if not said
        else f"Is it {' or '.join(ways[of] for of in said)}? Then photos and readings agree.",
        *figures,
    )
    return Notice(
        "edge-not-stated",
        text,
        'Look at the edge and state edge_radius or edge_chamfer, and draft ("0 mm" and "0 deg" say '
        "sharp and upright): the sizes are then known better.",
        "usable",
    )
