"""`report.html`: one file that opens anywhere, with every picture inside it."""

import base64
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from io import BytesIO
from typing import Any

import numpy as np

from snugline.counting import counted
from snugline.desk.acceptance_records import told
from snugline.desk.pictures import (
    Along,
    outline_picture,
    pattern_sample,
    plan_picture,
    residual_picture,
)
from snugline.desk.report_style import STYLE
from snugline.desk.wording import measure, named, remark, sentence
from snugline.fit.drawing.drawing import Drawing
from snugline.fit.geometry.outline import Outline
from snugline.notice import Notice
from snugline.units import LengthUnit

OVERLAY_WIDTH = 1600  # px; enough to see an edge a pixel off at arm's length

_COLOURS = ("note", "doubt", "alert")  # of a remark, by its gravity
LEAST_BAR = 0.1  # of the largest contribution; smaller ones share a bar


@dataclass(frozen=True)
class ReportInput:
    """What the report shows.

    Attributes
    ----------
    title : the part's name.
    record : the result as in `result.json`.
    outline : the fitted outline, part axes, mm; None where none can be shown.
    shares : the measured points of each photo against it.
    overlays : PNG by photo.
    plans : the drawings of the cut plan by their titles.
    unit : `mm` or `in`, for every length on the page.
    """

    title: str
    record: Mapping[str, Any]
    outline: Outline | None
    shares: Sequence[Along]
    overlays: Mapping[str, bytes]
    plans: Mapping[str, Drawing]
    unit: LengthUnit


def report_html(given: ReportInput) -> str:
    """The whole page as one text."""
    # Picture and answer, then what to check, then what the figures rest on.
    shown = given.outline
    sections = [_outline(given, shown), _dimensions(given), _plans(given)] if shown else []
    sections += [_notices(given), _photos(given)]
    sections += [_budget(given), _residuals(given, shown)] if shown else []
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(given.title)}: outline</title><style>{STYLE}</style></head>\n"
        f"<body><header><h1>{escape(given.title)}</h1>{_state(given)}"
        f'<p class="soft">{_summary(given)}</p></header>\n<main>\n'
        + "\n".join(section for section in sections if section)
        + "\n</main></body></html>\n"
    )


def _length(mm: float, unit: str) -> str:
    return measure("length", mm, unit)


def _signed(mm: float, unit: str) -> str:
    sign = "+" if mm >= 0 else "\N{MINUS SIGN}"
    return sign + _length(abs(mm), unit)


_STATES = {
    "good": ("fine", "Good."),
    "usable": ("doubt", "Usable, with a doubt."),
    "not to be cut": ("alert", "Not to be cut from."),
}


def _state(given: ReportInput) -> str:
    """The state in large letters, with the cause that is likeliest mended as its first sentence."""
    record = given.record
    colour, words = _STATES[record["state"]]
    deciding = [w for w in record["warnings"] if w["code"] in record["because"][:1]]
    cause = ""
    if deciding:
        text, mend = remark(Notice.from_json(deciding[0]), given.unit)
        cause = f" {escape(text)} <span>{escape(mend)}</span>"
    return f'<p class="state {colour}"><b>{words}</b>{cause}</p>'


def _summary(given: ReportInput) -> str:
    photos = counted(len(given.record["photos"]), "photo")
    if given.outline is None:
        return f"From {photos}; no outline can be shown."
    outline = given.record["outline"]
    return (
        f"{escape(outline['family'])}, from {photos}; "
        f"all lengths in {'millimetres' if given.unit == 'mm' else 'inches'}. "
        "U95 is the expanded uncertainty: the true value lies within \N{PLUS-MINUS SIGN} U95 with "
        "95 % probability"
    )


def _notices(given: ReportInput) -> str:
    # What decides the state stands first among its equals, and stays there.
    notices = sorted(map(Notice.from_json, given.record["warnings"]), key=lambda n: -n.gravity)
    words = {
        "retake": "Take again",
        "usable": "Check",
        "fine": "Note",
        "cannot be cut": "Cannot be cut like this",
        "check": "Check",
        "note": "Note",
    }
    if not notices:
        return '<section class="wide"><h2>Remarks</h2><p>None.</p></section>'
    items = []
    for notice in notices:
        text, mend = remark(notice, given.unit)
        items.append(
            f'<li class="{_COLOURS[notice.gravity]}"><b>{words[notice.severity]}.</b> '
            f'{escape(text)} <span class="soft">{escape(mend)}</span></li>'
        )
    return (
        f'<section class="wide"><h2>Remarks</h2><ul class="notices">{"".join(items)}</ul></section>'
    )


def _dimensions(given: ReportInput) -> str:
    outline, unit = given.record["outline"], given.unit
    rows = []
    for what in ("length", "width", "thickness"):
        if (size := outline.get(what)) is not None:
            rows.append((what, size, "from " + ", ".join(size["from"]) if "from" in size else ""))
    for corner in outline.get("corners", []):
        note = "" if corner.get("seen", True) else "in no photo; mirrored"
        family = corner["family"]
        rows += [
            (f"{corner['at']}, {family} {name}", size, note)
            for name, size in corner.items()
            if isinstance(size, dict)
        ]
    rows += [(name, size, "") for name, size in outline.get("extras", {}).items()]
    body = "".join(
        f'<tr><td>{escape(named(what))} <span class="soft">{escape(note)}</span></td>'
        f'<td class="number">{measure(what, size["value"], unit)}</td>'
        f'<td class="number">{measure(what, size["u95"], unit)}</td></tr>'
        for what, size, note in rows
    )
    nominal = "".join(
        f"<tr><td>{escape(entry['of'])}</td><td>"
        + ", ".join(f"{escape(text)} ({p * 100:.0f} %)" for text, p in entry["candidates"][:3])
        + "</td></tr>"
        for entry in given.record.get("nominal", [])
        if entry["candidates"]
    )
    offered = (
        '<h3>Likely nominal sizes</h3><p class="soft">For information; the drawings show what was '
        f"measured unless the job sets snap.</p><table>{nominal}</table>"
        if nominal
        else ""
    )
    return (
        "<section><h2>Dimensions</h2><table><tr><th>of</th>"
        '<th class="number">value</th><th class="number">U95</th></tr>'
        f"{body}</table>{offered}</section>"
    )


def _outline(given: ReportInput, shown: Outline) -> str:
    picture, scale = outline_picture(shown, given.shares)
    outline = given.record["outline"]
    shifts = "".join(
        f", {escape(share.name)} {_signed(share.shift, given.unit)}" for share in given.shares
    )
    shifts = f" ({shifts[2:]})" if shifts else ""
    return (
        f"<section><h2>Outline</h2>{picture}"
        f'<p class="soft">Front is at the bottom. Spikes show how far measured points lie from the '
        f"outline, magnified {scale:g} times; what a photo's points share is left out{shifts}. "
        f"Deviations: rms {_length(outline['residual_rms'], given.unit)}, "
        f"largest {_length(outline['residual_max'], given.unit)}.</p></section>"
    )


def _budget(given: ReportInput) -> str:
    parts = []
    for budget in given.record.get("budget", []):
        shares = _largest_shares(budget["contributions"])
        largest = max((u for _, u in shares), default=0.0)
        rows = "".join(
            f"<tr><td>{escape(source)}</td>"
            f'<td class="number">{measure(budget["of"], u, given.unit, 1)}</td>'
            f'<td class="bars"><div class="bar" style="width:{100 * u / largest:.1f}%"></div>'
            "</td></tr>"
            for source, u in shares
        )
        gains = "; ".join(
            f"{escape(gain['by'])}: {measure(budget['of'], gain['u95'], given.unit)}"
            for gain in budget.get("gains", [])
        )
        parts.append(
            f"<div><h3>{escape(budget['of'])}, "
            f"U95 {measure(budget['of'], budget['u95'], given.unit)}</h3>"
            f"<table>{rows}</table>"
            f"{f'<p>U95 after one more observation: {gains}.</p>' if gains else ''}</div>"
        )
    if not parts:
        return ""
    return (
        '<section class="wide"><h2>What the uncertainty is made of</h2>'
        '<p class="soft">Standard uncertainties; combined as the root of the sum of squares.</p>'
        f'<div class="photos">{"".join(parts)}</div></section>'
    )


def _largest_shares(contributions: Sequence[Mapping[str, Any]]) -> list[tuple[str, float]]:
    """Contributions worth a bar, and the small ones as one."""
    largest = max((c["u"] for c in contributions), default=0.0)
    shown = [(c["source"], c["u"]) for c in contributions if c["u"] >= LEAST_BAR * largest > 0]
    small = math.hypot(*(c["u"] for c in contributions if c["u"] < LEAST_BAR * largest))
    return [*shown, ("all others", small)] if small > 0 else shown


def _residuals(given: ReportInput, shown: Outline) -> str:
    shares = [share for share in given.shares if len(share.residual)]
    if not shares:
        return ""
    spread = np.quantile(np.abs(np.concatenate([share.residual for share in shares])), 0.995)
    limit = max(0.05, float(spread) * 1.2)
    perimeter = shown.perimeter
    plots = "".join(
        f'<h3>{escape(share.name)}</h3><div class="plotted"><div class="scale">'
        f"<span>+{_length(limit, given.unit)}</span><span>0</span>"
        f"<span>\N{MINUS SIGN}{_length(limit, given.unit)}</span></div>"
        f"{residual_picture(share, perimeter, limit)}"
        f'<div class="ends"><span>0</span><span>{_length(perimeter, given.unit)}</span></div></div>'
        for share in shares
    )
    return (
        '<section class="wide"><h2>Residuals along the edge</h2>'
        '<p class="soft">Once round the outline, counter-clockwise; outwards is up.</p>'
        f"{plots}</section>"
    )


def _plans(given: ReportInput) -> str:
    parts = []
    for title, drawing in given.plans.items():
        legend = "".join(
            f"<tr><td>{pattern_sample(layer.pattern)}</td><td>{escape(layer.name)}</td></tr>"
            for layer in drawing.layers
        )
        parts.append(
            f"<div><h3>{escape(title)}</h3>{plan_picture(drawing.layers)}"
            f"<table>{legend}</table></div>"
        )
    if not parts:
        return ""
    plan = given.record["cut_plan"]
    offered = plan.get("suggestion")
    suggestion = (
        f"<p>Suggested start: {_length(offered['low'], given.unit)} to "
        f"{_length(offered['high'], given.unit)} per side. {escape(sentence(offered['basis']))}</p>"
        if offered
        else ""
    )
    cautions = "".join(f"<li>{escape(caution)}</li>" for caution in plan.get("cautions", []))
    return (
        f'<section class="wide"><h2>Pocket</h2>{_pockets(given)}{suggestion}<ul>{cautions}</ul>'
        f'<div class="photos">{"".join(parts)}</div></section>'
    )


def _pockets(given: ReportInput) -> str:
    """Each clearance: whether it may be cut, and how likely the part goes in; the depth."""
    plan, unit = given.record["cut_plan"], given.unit
    rows = []
    for pocket in plan.get("pockets", []):
        gap = pocket["clearance"]
        axes = gap if isinstance(gap, dict) else {"": gap}
        words = ", ".join(f"{axis} {_length(mm, unit)}".strip() for axis, mm in axes.items())
        go = "" if pocket["state"] == "good" else f" ({escape(pocket['state'])})"
        chance = escape((pocket.get("goes_in") or {}).get("words", ""))
        rows.append(f"<tr><td>clearance {words}{go}</td><td>{chance}</td></tr>")
    depth = plan.get("depth")
    if depth is not None:
        rows.append(f"<tr><td>depth</td><td>{_length(depth['pocket'], unit)}</td></tr>")
    return f"<table>{''.join(rows)}</table>" if rows else ""


def _photos(given: ReportInput) -> str:
    figures = []
    for photo in given.record["photos"]:
        overlay = given.overlays.get(photo["file"])
        picture = (
            f'<img alt="the photo with what was found drawn on it" src="{_inline(overlay)}">'
            if overlay
            else ""
        )
        figures.append(
            f"<figure>{picture}<figcaption><h3>{escape(photo['file'])}</h3><p>"
            f"{photo['markers_found']} of {photo['markers_total']} markers; "
            f"hold-out error {_length(photo['holdout_mm'], given.unit)}; "
            f"camera tilted by {photo['tilt_deg']:.0f} degrees; "
            f"one pixel is {photo['mm_per_px']:.3f} mm.</p></figcaption></figure>"
        )
    return (
        '<section class="wide"><h2>Photos</h2><p class="soft">Hold-out error: the camera pose is '
        "computed from some of the markers and checked on the others; the uncertainty of locating "
        "the part's own edge is added.</p>"
        f'{_tests(given)}<div class="photos">{"".join(figures)}</div></section>'
    )


def _tests(given: ReportInput) -> str:
    """The acceptance tests of the job's phones and sheets, a line each."""
    tests = [told(test).in_unit(given.unit) for test in given.record.get("acceptance", [])]
    return "".join(f"<p>{escape(test)}</p>" for test in tests)


def _inline(png: bytes) -> str:
    """A picture as a data address, reduced to what a page shows."""
    from PIL import Image

    with Image.open(BytesIO(png)) as image:
        reduced = image.convert("RGB")
        reduced.thumbnail((OVERLAY_WIDTH, OVERLAY_WIDTH))
        stream = BytesIO()
        reduced.save(stream, "JPEG", quality=82, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(stream.getvalue()).decode("ascii")
