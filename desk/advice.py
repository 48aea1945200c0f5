"""What a job can do without but would gain from: remarks before anything is measured."""

from snugline.desk.job import Job
from snugline.desk.unseen_ends import can_be_mirrored, unseen_ends
from snugline.errors import SnuglineError
from snugline.files import inside
from snugline.fit.adjustment.unlikely_thickness import beyond_belief
from snugline.notice import Notice
from snugline.place import OfKey

# A print at actual size is true to some tenths of a percent; one fitted to the page is not.
_FITTED_TO_PAGE = 0.015


def advice(job: Job) -> tuple[Notice, ...]:
    """Remarks on a job that can run: missing readings, bars and ends, each with its remedy."""
    edge = job.part.edge_radius or job.part.edge_chamfer or 0.0
    doubt = beyond_belief(job.thickness, edge) if _has_thickness(job) else None
    remarks = [] if doubt is None else [doubt]
    read = {reading.what for reading in job.reading}
    shown: set[str] = {photo.shows for photo in job.photo}
    if "length" not in read and "whole" not in shown and len(job.frame) == 1:
        remarks.append(
            Notice(
                "no-length",
                "No reading of the length, and no photo shows the whole part.",
                "Measure the length with a tape and add the reading.",
                about=OfKey(("reading",)),
            )
        )
    if "width" not in read:
        remarks.append(
            Notice(
                "no-width",
                "No reading of the width.",
                "Measure the width with a caliper: it checks the photos' scale.",
                "fine",
                OfKey(("reading",)),
            )
        )
    if "thickness" not in read and job.part.thickness is not None:
        remarks.append(
            Notice(
                "one-thickness",
                "The thickness rests on a single value.",
                "Read it at several places and add the readings.",
                "fine",
                OfKey(("part", "thickness")),
            )
        )
    remarks += _unstated(job)
    for i, frame in enumerate(job.frame):
        left_out = [axis for axis in "xy" if not getattr(frame, f"bar_{axis}")]
        if left_out:
            bars = " and ".join(f"bar_{axis}" for axis in left_out)
            remarks.append(
                Notice(
                    "bars-not-measured",
                    f"The print is assumed to be exact: {bars} not given.",
                    "Measure the printed bars with a caliper and enter the readings.",
                    about=OfKey(("frame", i)),
                )
            )
        elif min(len(frame.bar_x), len(frame.bar_y)) < 2:
            remarks.append(
                Notice(
                    "bars-read-once",
                    "A printed bar was read once only.",
                    'Read each bar twice: bar_x = ["199.2 mm", "199.1 mm"].',
                    "fine",
                    OfKey(("frame", i)),
                )
            )
    remarks += _scaled_prints(job)
    remarks += _unseen(job)
    remarks += outside(job)
    return tuple(remarks)


def _has_thickness(job: Job) -> bool:
    return job.part.thickness is not None or any(r.what == "thickness" for r in job.reading)


def _scaled_prints(job: Job) -> list[Notice]:
    """Prints that were scaled to fit the paper: of use, once it is known by how much."""
    try:
        scales = job.print_scales()
    except SnuglineError:
        return []  # refused elsewhere
    return [
        Notice(
            "print-scaled",
            f"The print is {scale * 100:.0f} % of its size: the printer fitted it to the page.",
            "It can be used, since the bar readings correct for it. At actual size more of the "
            "part would show.",
            "fine",
            OfKey(("frame", i)),
        )
        for i, scale in enumerate(scales)
        if scale is not None and abs(scale - 1) > _FITTED_TO_PAGE
    ]


def _unstated(job: Job) -> list[Notice]:
    """Top edge and lean of the sides, where nobody stated them."""
    asked = []
    if job.part.edge_radius is None and job.part.edge_chamfer is None:
        asked.append(
            ("edge_radius", "Is the top edge sharp, rounded or chamfered, and by how much?")
        )
    if job.part.draft is None:
        asked.append(("draft", "Do the sides stand upright or lean inwards towards the top?"))
    states = {
        "edge_radius": 'State edge_radius or edge_chamfer; "0 mm" says sharp.',
        "draft": 'State draft, such as "1 deg"; "0 deg" says upright.',
    }
    return [
        Notice("edge-not-stated", question, states[key], "fine", OfKey(("part", key)))
        for key, question in asked
    ]


def outside(job: Job) -> list[Notice]:
    """Photos and frames that a job names outside its folder: read, but not without a word."""
    named = [(("photo", i, "file"), str(photo.file)) for i, photo in enumerate(job.photo)]
    named += [
        (("frame", i, "description"), frame.description)
        for i, frame in enumerate(job.frame)
        if frame.description.lower().endswith(".json")
    ]
    return [
        Notice(
            "outside-the-folder",
            f"{name!r} lies outside the job's folder.",
            "Copy it there: the page does not read it elsewhere, nor does whoever gets the job.",
            "fine",
            OfKey(key),
        )
        for key, name in named
        if not inside(job.path.parent, name)
    ]


def _unseen(job: Job) -> list[Notice]:
    """Ends that no photo shows, which can at best be mirrored."""
    if not can_be_mirrored(job):
        severity, mend = "usable", "Photograph it too: with this symmetry it cannot be mirrored."
    else:
        severity, mend = "fine", "Photograph it too if the ends may differ."
    return [
        Notice("end-not-shown", f"No photo shows the {end} end.", mend, severity, OfKey(("photo",)))  # type: ignore[arg-type]
        for end in unseen_ends(job)
    ]
