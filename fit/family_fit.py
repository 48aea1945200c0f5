"""The family that contours and readings ask for: starts, choice, freed corners and sides."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FitError
from snugline.fit.adjustment.edge_patterns import with_patterns
from snugline.fit.adjustment.edge_waves import waves_in_reach
from snugline.fit.adjustment.extra_parameters import refine_shape
from snugline.fit.adjustment.family_choice import (
    SAME,
    Candidate,
    Choice,
    Setting,
    apart,
    candidates,
    choose,
    hopeless,
    mixed,
    rank,
)
from snugline.fit.adjustment.observation_equations import CentredSection, Equations, ReadRow
from snugline.fit.adjustment.outlier_handling import Adjusted
from snugline.fit.adjustment.robust_solution import (
    ResidualNoise,
    noise_at,
    robust_fit,
    whitened_fit,
)
from snugline.fit.adjustment.start_values import View, polygon_of, view_of
from snugline.fit.shapes.outline_families import GROUPS, adopt, seen_corners
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.notice import Notice
from snugline.place import OfPart
from snugline.sentence import Sentence, length

Array = NDArray[np.float64]

# Odds below three to one are not worth more than a bare mention (Kass and Raftery, J. Am. Stat.
# Assoc. 90, 1995; from memory): too close to call.
CLOSE = 1 / 3


def fit_family(
    measured: tuple[CentredSection, ...], rows: tuple[ReadRow, ...], family: str, symmetry: Symmetry
) -> tuple[Adjusted, Setting, Choice, list[Notice]]:
    """Starts, family, freed corners and sides, final least squares."""
    views = [_view(m) for m in measured]
    setting, notices = _setting(measured, rows, views, symmetry)
    choice = _choose(setting, family)
    equations, x, noise = choice.best.equations, choice.best.x, choice.noise
    refined = None
    if not hopeless(equations, x):
        refined = refine_shape(equations, x, noise, setting.groups)
    if refined is not None:
        setting = replace(setting, form=refined.form)
    if refined is not None and refined.changed:
        equations, x, noise = refined.equations, refined.x, refined.noise
        firsts = [refined.groups.index(group) for group in range(max(refined.groups) + 1)]
        rankings = tuple(choice.corner_rankings[setting.groups[corner]] for corner in firsts)
        choice = replace(choice, corner_rankings=rankings)
        setting = replace(setting, groups=refined.groups, terms=refined.terms)
        if family == "auto":
            # Unmodelled form counted as noise may have hidden, or imitated, another family.
            choice = _choose(setting, family)
            equations, x, noise = choice.best.equations, choice.best.x, choice.noise
        notices += refined.notices
    return _adjust(equations, x, noise), setting, choice, notices + _doubts(choice)


def _view(measured: CentredSection) -> View:
    view = view_of(measured)
    if view is None:
        raise FitError(
            "the contour is too short to give its direction",
            measured.section.name,
            "show at least a few centimetres of the part's edge",
        )
    return view


def _setting(
    sections: tuple[CentredSection, ...],
    rows: tuple[ReadRow, ...],
    views: Sequence[View],
    symmetry: Symmetry,
) -> tuple[Setting, list[Notice]]:
    polygon = polygon_of(sections[0])
    if polygon is not None and len(sections) == 1:
        sides, turn = polygon
        across = 2 * float(np.median(np.hypot(*sections[0].local.T)))
        pose = np.array([0.0, 0.0, turn])
        return Setting(sections, rows, across, across, (pose,), (0,) * 4, polygon=sides), []
    sizes = []
    sure = [v for v, m in zip(views, sections, strict=True)
            if len(v.turns) == 1 or m.section.closed]  # fmt: skip
    for axis, what in enumerate(("length", "width")):
        pairs = [(v.sides[axis], v.sides[axis + 2]) for v in sure or views]
        spans = [high + low for high, low in pairs if high is not None and low is not None]
        spans = [span for span in spans if span > 0]
        read = [row.reading.value for row in rows if row.reading.what == what]
        if not spans and not read:
            raise FitError(
                f"the {what} is not determined: no photo shows both sides and no reading gives it",
                what,
                f"add a reading of the {what}",
            )
        sizes.append(float(np.median(spans or read)))
    poses = [_pose(view, sizes) for view in views]
    straight = max(view.straight for view in views)
    setting = Setting(sections, rows, sizes[0], sizes[1], tuple(poses), GROUPS[symmetry], straight)
    setting = _turned(setting, views)
    groups, notices = _groups(sections, setting.poses, sizes, symmetry)
    return replace(setting, groups=groups), notices


def _turned(setting: Setting, views: Sequence[View]) -> Setting:
    """Of the turns that a view may have, the one that agrees best with everything else."""
    for k, view in enumerate(views):
        if len(view.turns) == 1 or (len(views) == 1 and setting.sections[k].section.closed):
            continue
        trials = []
        for option in view.options:
            poses = list(setting.poses)
            poses[k] = _pose(option, (setting.length, setting.width))
            trial = replace(setting, poses=tuple(poses))
            equations, x = trial.start(candidates(trial, "rounded rectangle")[0])
            wide = (10.0,) * len(views)  # in stated sigmas: only gross errors are to be found
            trials.append((robust_fit(equations, x, scales=wide, rounds=6).cost, trial))
        setting = min(trials, key=lambda pair: pair[0])[1]
    return setting


def _pose(view: View, sizes: Sequence[float]) -> Array:
    """Shift and turn that lay the seen sides on those of a rectangle about the origin."""
    pose = np.array([0.0, 0.0, view.turns[0]])
    for axis in (0, 1):
        high, low = view.sides[axis], view.sides[axis + 2]
        if high is not None and low is not None:
            pose[axis] = (low - high) / 2
        elif high is not None:
            pose[axis] = sizes[axis] / 2 - high
        elif low is not None:
            pose[axis] = low - sizes[axis] / 2
    return pose


def _groups(
    sections: Sequence[CentredSection],
    poses: Sequence[Array],
    sizes: Sequence[float],
    symmetry: Symmetry,
) -> tuple[tuple[int, ...], list[Notice]]:
    """Mirror groups, where a group that no photo shows joins the one across."""
    seen = seen_corners([m.in_part(pose) for m, pose in zip(sections, poses, strict=True)], *sizes)
    groups, orphans = adopt(GROUPS[symmetry], seen)
    notices = [
        Notice(
            "corner-not-seen",
            f"No photo shows the {name} corner, and by the symmetry stated ({symmetry}) it cannot "
            f"be mirrored; it was assumed equal to the opposite corner.",
            "Photograph it, or state the symmetry that the part has.",
            "retake",
            OfPart(name),
        )
        for name in orphans
    ]
    return groups, notices


def _choose(setting: Setting, family: str) -> Choice:
    shapes = candidates(setting, family)
    choice = choose(setting, shapes, freely=family == "auto")
    if not isinstance(choice, Choice):
        raise FitError(choice.reason, "contours", "check that the photos show the part's edge")
    if family == "auto" and max(setting.groups) > 0:
        shape = mixed(setting, choice)
        if shape is not None:
            equations, x = setting.start(shape)
            fit = robust_fit(equations, x)
            both = Candidate(replace(equations, sections=setting.sections), fit.x, fit.cost)
            again = rank(setting, [both, choice.best])
            if isinstance(again, Choice):
                choice = replace(again, corner_rankings=choice.corner_rankings)
    return choice


def _adjust(equations: Equations, x: Array, noise: ResidualNoise) -> Adjusted:
    """Final least squares of one shape, the noise estimated at its own residuals."""
    equations = waves_in_reach(equations, x, noise)
    equations, x = with_patterns(equations, whitened_fit(equations, x, noise).x, noise)
    x = whitened_fit(equations, x, noise).x
    noise = noise_at(equations, x)
    fit = whitened_fit(equations, x, noise)
    return Adjusted(equations, noise, (1.0,) * len(equations.sections), fit)


def _doubts(choice: Choice) -> list[Notice]:
    """Families between which the data do not decide."""
    if choice.runner_up is None or choice.ranking[1][1] < CLOSE * choice.ranking[0][1]:
        return []
    (first, p), (second, q) = choice.ranking[:2]
    difference = apart(choice.best, choice.runner_up)
    if difference < SAME:
        return []
    return [
        Notice(
            "family-unclear",
            Sentence(
                f"Too close to call: {first} (probability {p * 100:.0f} %) or {second} "
                f"({q * 100:.0f} %); the two outlines differ by at most {{}}.",
                length(difference),
            ),
            "Add a closer photo of a corner, or state the part's shape.",
        )
    ]
