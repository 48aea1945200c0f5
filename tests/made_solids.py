"""Solids with a profiled edge: their exact silhouettes, and their pictures under a lamp.

Everything is made from the solid in space (points of its surface, rays that meet it), none of it
from the formulas that bring a silhouette back to the plan outline.
"""

import numpy as np
from scipy.spatial import ConvexHull


def edge_profile(sides, dense=120, wall_steps=2):
    """(K, 2) inset and height of the edge's profile, from the foot up."""
    wall = sides.thickness - sides.edge_size
    lean = np.tan(sides.draft)
    z = np.linspace(0, wall, wall_steps)
    profile = [np.column_stack([z * lean, z])]
    e = sides.edge_size
    if e and sides.edge == "round":
        angle = np.linspace(0, np.pi / 2, dense)
        profile.append(
            np.column_stack([wall * lean + e * (1 - np.cos(angle)), wall + e * np.sin(angle)])
        )
    elif e:
        share = np.linspace(0, 1, dense)
        profile.append(np.column_stack([wall * lean + e * share, wall + e * share]))
    return np.concatenate(profile)


def rounded_rectangle_line(length, width, radius, centre=(0.0, 0.0), turn=0.0, per_corner=300):
    """Points and outward normals of a rounded rectangle, counter-clockwise."""
    angle = np.linspace(0, np.pi / 2, per_corner)
    points, normals = [], []
    for k in range(4):
        a = angle + k * np.pi / 2
        unit = np.column_stack([np.cos(a), np.sin(a)])
        sign = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])[k]
        middle = sign * (np.array([length, width]) / 2 - radius)
        points.append(middle + radius * unit)
        normals.append(unit)
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.array([[c, s], [-s, c]])
    return np.concatenate(points) @ matrix + centre, np.concatenate(normals) @ matrix


def convex_silhouette(camera, points, normals, sides, step_px=1.5):
    """(N, 2) px, the silhouette of a convex solid: a projection keeps convexity.

    Every height of the profile is an inset copy of the outline; the hull of all their projections
    is the silhouette. Without lens distortion, which would bend the hull's sides.
    """
    profile = edge_profile(sides)
    # Only places of the profile that can be seen from aside matter: the others lie within the hull.
    insets = points[None] - profile[:, 0, None, None] * normals[None]
    solid = np.concatenate(
        [np.broadcast_to(insets, (len(profile), *points.shape)),
         np.broadcast_to(profile[:, 1, None, None], (len(profile), len(points), 1))], axis=2,
    ).reshape(-1, 3)  # fmt: skip
    assert camera.lens.radial == (0, 0, 0, 0)
    pixels = camera.pixels(solid)
    hull = pixels[ConvexHull(pixels).vertices]
    return walked(hull, camera, step_px)


def walked(polygon, camera, step_px):
    """A closed polygon in px at even steps, counter-clockwise on the sheet."""
    on_sheet = camera.on_plane(polygon)
    x, y = on_sheet.T
    if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0:
        polygon = polygon[::-1]
    path = np.concatenate([polygon, polygon[:1]])
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    at = np.arange(0, along[-1], step_px)
    return np.column_stack([np.interp(at, along, path[:, k]) for k in (0, 1)])


def lit_edge(sides, slope, lamp=(0.5, 0.8), part=0.25, paper=0.75, reach=40.0, step=0.002):
    """Light against the distance across a straight edge, seen by parallel rays of one lean.

    Parameters
    ----------
    slope : tangent of the angle by which the rays lean outwards (the way `PartSides.contact` has
        it): a ray that meets the sheet at x passes height z at x - slope * z.
    lamp : across the edge, outwards, and up.

    Returns
    -------
    places : mm on the sheet, outwards from the foot of the edge.
    light : linear luminance there; the part is matt.
    """
    profile = edge_profile(sides)
    top = np.array([[profile[-1, 0] + reach, sides.thickness]])
    line = np.concatenate([profile, top])
    places = np.arange(-reach / 2, reach / 2, step)
    # A surface place (inset, z) appears on the sheet at -inset + slope * z; of the places that
    # appear together the highest is seen.
    at = -line[:, 0] + slope * line[:, 1]
    seen = np.full(len(places), -1, dtype=int)
    for k in range(len(line) - 1):
        low, high = sorted((at[k], at[k + 1]))
        seen[(places >= low) & (places <= high)] = k
    ahead = np.diff(line, axis=0)
    normals = np.column_stack([ahead[:, 1], ahead[:, 0]])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    lamp = np.asarray(lamp) / np.linalg.norm(lamp)
    facing = 0.35 + 0.65 * np.maximum(normals @ lamp, 0)
    level = facing / (0.35 + 0.65 * lamp[1])
    return places, np.where(seen >= 0, part * level[seen], paper)
