"""Parts and shop choices that tests and benchmarks of the pocket share."""

import math
import tomllib

import numpy as np

from snugline.fit.geometry.outline import Arc, Outline
from snugline.fit.geometry.primitives import rounded_rectangle
from snugline.fit.part_uncertainty import PartUncertainty
from snugline.fit.readings.thickness import Thickness
from snugline.fit.readings.uncertainty_budget import Gain
from snugline.place import OfKey
from snugline.pocket.choices_record import from_record

TRAY = rounded_rectangle(418.0, 146.0, 27.4)
UNCERTAINTY = PartUncertainty(
    0.05, 0.3, 0.1, 0.09, {"length": (Gain("a caliper reading of the length", 0.07),)}
)
THICKNESS = Thickness(9.5, 0.025)

CHOICES = """
clearance = ["0.25 mm", "0.5 mm", "0.75 mm"]
kind = "brittle"
sanding = "0.2 mm"
material = "slate"
food = true
machine = "bench router"
cutter = {diameter = "6 mm", length = "22 mm"}
notch = [{side = "front", width = "22 mm"}, {side = "back", width = "22 mm", depth = "12 mm"}]
push_hole = {diameter = "20 mm"}
step = {inset = "6 mm", deeper = "2 mm"}
coupons = {corners = 1}
feeds = {}
[wood]
species = "walnut"
grain = "length"
now = {moisture = 8}
driest = {humidity = 30, celsius = 21}
dampest = {humidity = 60, celsius = 21}
[border]
land = "22 mm"
corner = "30 mm"
edge = "round-over"
edge_size = "6 mm"
[stock]
thickness = "20 mm"
length = "1200 mm"
width = "500 mm"
copies = 2
coupons = true
"""


def choices(text=CHOICES, **changes):
    """The choices of a `[pocket]` table, some keys changed (None: left out)."""
    record = tomllib.loads(text) | changes
    stated = {k: v for k, v in record.items() if v is not None}
    return from_record(stated, OfKey(("pocket",), "job.toml"))


def free_outline(arcs=200, length=400.0, width=150.0, lobes=5, wave=0.06):
    """A smooth wavy closed outline of so many tangent arcs, convex and concave ones."""
    angle = np.linspace(0, 2 * math.pi, arcs // 2, endpoint=False)
    swell = 1 + wave * np.cos(lobes * angle)
    slope = -wave * lobes * np.sin(lobes * angle)
    a, b = length / 2, width / 2
    points = np.column_stack((a * swell * np.cos(angle), b * swell * np.sin(angle)))
    tangents = np.column_stack(
        (
            a * (slope * np.cos(angle) - swell * np.sin(angle)),
            b * (slope * np.sin(angle) + swell * np.cos(angle)),
        )
    )
    tangents /= np.hypot(*tangents.T)[:, None]
    segments = []
    for k in range(len(points)):
        after = (k + 1) % len(points)
        segments += _biarc(points[k], tangents[k], points[after], tangents[after])
    return Outline(tuple(segments))


def _biarc(p, t, q, u):
    """Two arcs from p along t to q along u with equal tangent lengths (Bolton 1975)."""
    v = q - p
    both, own = v @ (t + u), v @ v
    reach = own / (both + math.sqrt(both * both + 2 * (1 - t @ u) * own))
    joint = (p + q + reach * (t - u)) / 2
    way = joint - p - reach * t
    return _arc(p, t, joint), _arc(joint, way / np.hypot(*way), q)


def _arc(p, t, q):
    chord = q - p
    rise = t[0] * chord[1] - t[1] * chord[0]
    radius = chord @ chord / (2 * rise)
    centre = p + radius * np.array((-t[1], t[0]))
    sweep = 2 * math.atan2(rise, t @ chord)
    return Arc(tuple(p.tolist()), tuple(q.tolist()), tuple(centre.tolist()), abs(radius), sweep)
