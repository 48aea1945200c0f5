"""The whole outline: all photos' contours and all hand readings in one weighted adjustment."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FitError
from snugline.fit.adjustment.dimension_summary import summarise
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
from snugline.fit.adjustment.outlier_handling import Adjusted, resolve
from snugline.fit.adjustment.outlier_test import compare_groups
from snugline.fit.adjustment.photo_sizes import photo_sizes
from snugline.fit.adjustment.reading_weighing import weigh
from snugline.fit.adjustment.robust_solution import (
    ResidualNoise,
    noise_at,
    robust_fit,
    whitened_fit,
)
from snugline.fit.adjustment.start_values import View, polygon_of, view_of
from snugline.fit.adjustment.thickness_weighing import weigh_thickness
from snugline.fit.outline_doubts import edge_question, lonely_readings, rejected_by_points
from snugline.fit.readings.part_unknowns import part_uncertainties
from snugline.fit.readings.reading import Reading, combined
from snugline.fit.readings.thickness import Thickness, thickness_of, thickness_remarks
from snugline.fit.result import FittedOutline, SectionResult
from snugline.fit.section import Section, moved_by_thickness
from snugline.fit.shapes.outline_families import GROUPS, adopt, seen_corners
from snugline.fit.shapes.sided_shape import Symmetry
from snugline.notice import Notice
from snugline.place import OfPart
from snugline.unstated_sides import UNSTATED

Array = NDArray[np.float64]

LEAST_POINTS = 30
# Odds below three to one are not worth more than a bare mention (Kass and Raftery, J. Am. Stat.
# Assoc. 90, 1995; from memory): too close to call.
CLOSE = 1 / 3
# A family whose residuals are this large (mm, robust, or as a share of points far off) is none.
MISFIT_MM, MISFIT_SHARE = 0.3, 0.15
# A reading is checked where the rest says the dimension to so many of its standard uncertainties:
# a slip of the usual kinds would show.
CHECKED = 4.0


def fit_outline(
    sections: Sequence[Section],
    readings: Sequence[Reading] = (),
    family: str = "auto",
    symmetry: Symmetry = "both",
    listed: tuple[float, float] | None = None,
    thickness: float | None = None,
) -> FittedOutline:
    """Fit one closed outline to contours and readings.

    Parameters
    ----------
    sections : contours in frame axes, at least one, each of at least 30 points.
    readings : of length, width, corner radius; those of the thickness only pass through.
    family : `auto` or a word of the job's contract.
    symmetry : which mirror lines the part has; corners that no photo shows are mirrored along them.
    listed : length and width that the seller states, mm; compared, never used.
    thickness : mm, where the job states it and no reading does.

    Raises
    ------
    FitError : too few points, nothing that determines the length or the width, or no shape that
        can be laid on the contours.

    Notes
    -----
    Minimised is the sum of squares of whitened signed distances (robustly weighted), of the
    readings' errors, and of the shared errors in units of their standard uncertainties.
    """
    if not sections:
        raise FitError("there is no contour", "photos", "give at least one photo of the part")
    stated = thickness_of(readings, thickness)
    part_u = part_uncertainties(stated)
    measured = tuple(_measured(section, part_u) for section in sections)
    sizes = photo_sizes(measured, [view_of(m) for m in measured])
    told = [*thickness_remarks(readings, thickness)]
    other, thicker = weigh_thickness(stated, sizes, readings), 0.0
    if other is not None and stated is not None:
        # Not to be cut; but what is said of everything else should not suffer from it.
        thicker = other.meant - stated.value
        told.append(other.notice)
        sections = [moved_by_thickness(section, thicker) for section in sections]
        measured = tuple(_measured(section, part_u) for section in sections)
    weighed = weigh(readings, sizes, None if stated is None else stated.value, listed, thicker)
    told += weighed.notices
    fitted = _fit_believed(sections, measured, weighed.readings, family, symmetry, listed, stated)
    # What a wrong thickness does to the photos is said once, by its cause.
    return replace(fitted, notices=(*told, *(fitted.notices if other is None else ())))


def _fit_believed(
    sections: Sequence[Section],
    measured: tuple[CentredSection, ...],
    readings: Sequence[Reading],
    family: str,
    symmetry: Symmetry,
    listed: tuple[float, float] | None,
    thickness: Thickness | None,
) -> FittedOutline:
    """The outline that contours and the readings that can be believed determine."""
    if family == "free":
        return _free(sections, readings, symmetry, thickness)
    rows = tuple(ReadRow.of(r) for r in readings if r.what != "thickness")
    adjusted, setting, choice, notices = _fitted(measured, rows, family, symmetry)
    misfit, mend = _misfit(adjusted), 'leave the family to the photos: family = "auto"'
    if misfit and family == "auto":
        try:
            return _free(sections, readings, symmetry, thickness)
        except FitError as error:
            # The nearest family is more than nothing, and says that it does not fit.
            misfit += f"; nor is it one of lines and arcs: {error.what}"
            family, mend = adjusted.equations.shape.family, error.mend
    if misfit:
        notices.append(
            Notice(
                "outline-not-fitted",
                f"the outline is no {family}: {misfit}",
                mend,
                "retake",
            )
        )
    else:
        resolved, told = resolve(adjusted, thickness)
        notices += told
        if _fewer(resolved, adjusted):
            # What was left out may have bent the shape, or led to another family.
            kept = resolved.equations
            adjusted, setting, choice, others = _fitted(kept.sections, kept.rows, family, symmetry)
            notices = [*others, *told]
            resolved, _ = resolve(adjusted, thickness)
        adjusted = resolved
    fitted = summarise(
        adjusted.equations,
        adjusted.fit,
        adjusted.noise,
        choice.corner_rankings,
        setting.groups,
        setting.form,
        tuple(notices + _compared(adjusted, listed)),
        thickness,
    )
    if misfit:
        return fitted
    alone = _alone(adjusted)
    doubts = (
        *rejected_by_points(fitted.sections, [s.noise for s in adjusted.equations.sections]),
        *lonely_readings(readings, alone),
        *_edge_question(adjusted, fitted, alone),
    )
    return replace(fitted, notices=(*fitted.notices, *doubts))


def _alone(adjusted: Adjusted) -> list[str]:
    """Dimensions that the readings determine and nothing else comes near."""
    tests = compare_groups(
        adjusted.equations, adjusted.fit, [model.dof for model in adjusted.noise.models], None
    )
    return [
        test.what
        for test in tests
        if test.kind == "reading"
        and test.rest_u > CHECKED * adjusted.equations.rows[test.index].parts.u
    ]


def _edge_question(
    adjusted: Adjusted, fitted: FittedOutline, alone: Sequence[str]
) -> tuple[Notice, ...]:
    """What to ask of top edge and lean where they are unstated, from what the fit made of them."""
    equations, x = adjusted.equations, adjusted.fit.x
    moved = {of: _typical(equations, of) for of in UNSTATED if ("part", of) in equations.nuisances}
    if not moved:
        return ()
    # A dimension between two sides that the photos show, were there no reading of it.
    sizes = {"length": fitted.length, "width": fitted.width}
    effect = {of: 2 * 2 * math.hypot(*moved.values()) for of in sizes if of not in alone}
    u95 = {of: sizes[of].u95 for of in effect}
    # How far inside the widest section its silhouette lies, and which edge or lean alone does that.
    inside = sum(
        by * (UNSTATED[of].mean / UNSTATED[of].u + x[equations.column(("part", of))])
        for of, by in moved.items()
    )
    by_itself = {of: UNSTATED[of].u * inside / by for of, by in moved.items() if by > 0}
    return edge_question(u95, effect, by_itself)


def _typical(equations: Equations, of: str) -> float:
    """Median mm, over the points that feel it at all, for one standard uncertainty."""
    felt = np.concatenate([section.moved[of] for section in equations.sections])
    felt = felt[felt > 0]
    return float(np.median(felt)) if len(felt) else 0.0


def _fitted(
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
            # What was taken for noise may have hidden, or been taken for, another family.
            choice = _choose(setting, family)
            equations, x, noise = choice.best.equations, choice.best.x, choice.noise
        notices += refined.notices
    return _adjust(equations, x, noise), setting, choice, notices + _doubts(choice)


def _fewer(resolved: Adjusted, adjusted: Adjusted) -> bool:
    return len(resolved.equations.sections) < len(adjusted.equations.sections)


def _free(
    sections: Sequence[Section],
    readings: Sequence[Reading],
    symmetry: Symmetry,
    thickness: Thickness | None,
) -> FittedOutline:
    """An outline of lines and arcs that belongs to no family."""
    from snugline.fit.free.free_outline import fit_free

    read = {}
    for what in ("length", "width"):
        found = combined(readings, what)
        if found is not None:
            read[what] = (found.value, found.u)
    part_u = part_uncertainties(thickness)
    free = fit_free([_by_one_u(section, part_u) for section in sections], read, symmetry)
    return FittedOutline(
        family="free",
        length=free.length,
        width=free.width,
        corners=(),
        outline=free.outline,
        residual_rms=free.residual_rms,
        residual_max=free.residual_max,
        sections=tuple(
            SectionResult(
                section.name, pose, section.points @ pose[:, :2].T + pose[:, 2], residuals, kept
            )
            for section, pose, residuals, kept in zip(
                sections, free.poses, free.residuals, free.kept, strict=True
            )
        ),
        extras={},
        thickness=thickness,
        budgets=(),
        notices=free.notices,
    )


def _by_one_u(section: Section, part_u: Mapping[str, float]) -> Section:
    moved = {of: by * part_u.get(of, 0.0) for of, by in section.sensitivity.items()}
    return replace(section, sensitivity=moved)


def _measured(section: Section, part_u: Mapping[str, float]) -> CentredSection:
    finite = np.isfinite(section.points).all(axis=1) & (section.noise > 0)
    if int(finite.sum()) < LEAST_POINTS or not finite.all():
        raise FitError(
            f"the contour has {int(finite.sum())} usable points of {len(finite)}",
            section.name,
            f"give a contour of at least {LEAST_POINTS} points, all with a noise above zero",
        )
    return CentredSection.of(section, part_u)


def _view(measured: CentredSection) -> View:
    view = view_of(measured)
    if view is None:
        raise FitError(
            "the contour is too short to tell its direction",
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
        read = [row.reading.value for row in rows if row.reading.what == what]
        if not spans and not read:
            raise FitError(
                f"nothing determines the {what}: no photo shows both sides and no reading gives it",
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
            wide = (10.0,) * len(views)  # in stated sigmas: only the grossly wrong is to be told
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
            f"the {name} corner is in no photo and no mirror line of symmetry "
            f"{symmetry!r} gives it; it is taken like the corner across",
            "photograph it, or state the symmetry that the part has",
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
    x = whitened_fit(equations, x, noise).x
    noise = noise_at(equations, x)
    fit = whitened_fit(equations, x, noise)
    return Adjusted(equations, noise, (1.0,) * len(equations.sections), fit)


def _doubts(choice: Choice) -> list[Notice]:
    """Families that the data do not tell apart."""
    if choice.runner_up is None or choice.ranking[1][1] < CLOSE * choice.ranking[0][1]:
        return []
    (first, p), (second, q) = choice.ranking[:2]
    difference = apart(choice.best, choice.runner_up)
    if difference < SAME:
        return []
    return [
        Notice(
            "family-unclear",
            f"too close to call: {first} (weight {p:.2f}) or {second} ({q:.2f}); "
            f"the two outlines differ by at most {difference:.2f} mm",
            "add a photo that shows a corner closer, or state the family in the job",
        )
    ]


def _misfit(adjusted: Adjusted) -> str:
    """How badly the shape misses most of the contours, in words; empty where it does not."""
    equations, missed = adjusted.equations, []
    for k, measured in enumerate(equations.sections):
        distance = equations.points_block(adjusted.fit.x, k).residual * measured.noise
        typical = float(np.sqrt(np.mean(np.minimum(np.abs(distance), 3.0) ** 2)))
        limit = max(MISFIT_MM, 6 * float(np.median(measured.noise)))
        far = float(np.mean(np.abs(distance) > limit))
        if typical > MISFIT_MM and far > MISFIT_SHARE:
            missed.append(f"{100 * far:.0f} % of {measured.section.name}")
    # One contour of several is a photo that disagrees.
    return (
        f"far from it are {', '.join(missed)}" if 2 * len(missed) >= len(equations.sections) else ""
    )


def _compared(adjusted: Adjusted, listed: tuple[float, float] | None) -> list[Notice]:
    """The seller's size beside the measured one, where they are far apart."""
    if listed is None:
        return []
    notices = []
    for what, stated in zip(("length", "width"), listed, strict=True):
        value, _ = adjusted.equations.dimension(adjusted.fit.x, what)
        if abs(value - stated) > max(5.0, 0.03 * stated):
            notices.append(
                Notice(
                    "listed-size-differs",
                    f"the {what} is {value:.1f} mm, listed as {stated:.1f} mm",
                    "check that the listing means this part, and the units of the readings",
                    "fine",
                    what,
                )
            )
    return notices
