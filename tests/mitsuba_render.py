"""A part on a printed sheet, rendered by Mitsuba 3: path-traced light, meshes, a lens that focuses.

An outside check: light, surfaces and camera are those of a general, open-source renderer
(https://www.mitsuba-renderer.org), none of ours. Only the print is ours, as a bitmap. Lengths are
mm in the sheet's axes, z up; pixel centres at whole numbers.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import shapely
from printed_sheet import INK, PAPER, Sheet

VARIANT = "llvm_ad_rgb"
INSTALL = "pip install mitsuba; it needs the library of LLVM (apt-get install libllvm19)"
_CHORD = 0.0005  # mm, of an arc over its facets
_ROUND_LEVELS = 24  # facets of a rounded top edge: within 0.002 mm up to 3 mm
_GAP = 0.01  # mm of air under the part
_PRINT_PER_MM = 20
# Samples of a pixel: on the bench, on the sheet, near the part's edge; and pixels traced at once.
_COARSE, _PLAIN, _FINE, _AT_ONCE = 4, 4, 16, 1_200_000
_BENCH_STEP = 4  # px; the bench is rendered at a quarter of the size
_BAND_PX = 26


@dataclass(frozen=True)
class Loop:
    """A closed line with the part on its left: (N, 2) points and their outward normals."""

    points: np.ndarray
    normals: np.ndarray

    def placed(self, origin, turn):
        c, s = np.cos(turn), np.sin(turn)
        rotation = np.array([[c, s], [-s, c]])
        return Loop(self.points @ rotation + origin, self.normals @ rotation)


def filleted(corners, radii):
    """The `Loop` of a polygon whose corners have fillets of the radii given (all over 0)."""
    at = np.asarray(corners, dtype=np.float64)
    ahead = np.roll(at, -1, axis=0) - at
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    behind = np.roll(ahead, 1, axis=0)
    turns = np.arctan2(
        behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0], np.sum(behind * ahead, axis=1)
    )
    points, normals = [], []
    for corner, into, turn, radius in zip(
        at, behind, turns, np.broadcast_to(radii, len(at)), strict=True
    ):
        count = max(2, int(np.ceil(abs(turn) / np.sqrt(8 * _CHORD / radius))) + 1)
        angle = turn * np.linspace(0, 1, count)
        right = np.array([into[1], -into[0]])
        normal = np.cos(angle)[:, None] * right + np.sin(angle)[:, None] * into
        start = corner - radius * np.tan(abs(turn) / 2) * into
        centre = start - np.sign(turn) * radius * right
        points.append(centre + np.sign(turn) * radius * normal)
        normals.append(normal)
    return Loop(np.concatenate(points), np.concatenate(normals))


def smooth(knots, count=8000):
    """The `Loop` through (K, 2) knots, counter-clockwise: a periodic cubic spline."""
    from scipy.interpolate import CubicSpline

    closed = np.concatenate([knots, knots[:1]])
    along = np.r_[0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    curve = CubicSpline(along, closed, bc_type="periodic")
    t = along[-1] * np.arange(count) / count
    tangent = curve(t, 1)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    return Loop(curve(t), np.column_stack([tangent[:, 1], -tangent[:, 0]]))


@dataclass(frozen=True)
class MeshSolid:
    """A part on the sheet; sections at all heights are parallels of its foot.

    Attributes
    ----------
    loops : the foot's outline on the sheet and then its holes, the part on their left.
    edge, edge_size : what the top edge is (`none`, `round`, `chamfer`), mm.
    draft : radians by which all sides lean.
    """

    loops: tuple
    thickness: float
    edge: str = "none"
    edge_size: float = 0.0
    draft: float = 0.0

    def ring(self):
        return self.loops[0].points

    @property
    def holes(self):
        return tuple(loop.points for loop in self.loops[1:])

    @property
    def strips(self):
        """Inset, height and slope of normal (from the level) of each bent strip, foot to top."""
        t, e, lean = self.thickness, self.edge_size, self.draft
        if self.edge == "round":
            angle = np.linspace(lean, np.pi / 2, _ROUND_LEVELS + 1)
            z = t - e + e * np.sin(angle)
            inset = z[0] * np.tan(lean) + e * (np.cos(lean) - np.cos(angle))
            return [
                (np.r_[0, inset], np.r_[0, z], np.r_[lean, angle]),
            ]
        wall = t - e
        inset = wall * np.tan(lean)
        strips = [(np.r_[0, inset], np.r_[0, wall], np.full(2, lean))]
        if self.edge == "chamfer":
            strips.append((inset + np.r_[0, e], np.r_[wall, t], np.full(2, np.pi / 4)))
        return strips

    @property
    def inset(self):
        """By how much the upper face lies within the foot, mm."""
        return float(self.strips[-1][0][-1])

    def meshes(self):
        """Positions, normals, texture places (mm) and faces of the sides and of both faces."""
        for loop in self.loops:
            along = np.r_[0, np.cumsum(np.linalg.norm(np.diff(loop.points, axis=0), axis=1))]
            for inset, z, slope in self.strips:
                yield _side(loop, along, inset, z, slope)
        yield _face(
            [loop.points - self.inset * loop.normals for loop in self.loops], self.thickness
        )
        at, normal, place, faces = _face([loop.points for loop in self.loops], 0.0)
        yield at, -normal, place, faces[:, ::-1]


def _side(loop, along, inset, z, slope):
    n, k = len(loop.points), len(z)
    at = loop.points[:, None] - inset[:, None] * loop.normals[:, None]
    flat = np.cos(slope)[:, None] * loop.normals[:, None]
    high = np.broadcast_to(z, (n, k))
    place = np.stack(np.broadcast_arrays(along[:, None], z), axis=-1)
    i, j = (a.ravel() for a in np.meshgrid(np.arange(n), np.arange(k - 1), indexing="ij"))
    a, b = i * k + j, (i + 1) % n * k + j
    faces = np.concatenate([np.stack([a, b, b + 1], 1), np.stack([a, b + 1, a + 1], 1)])
    return (
        np.concatenate([at, high[..., None]], axis=-1).reshape(-1, 3),
        np.concatenate([flat, np.broadcast_to(np.sin(slope), (n, k))[..., None]], axis=-1).reshape(
            -1, 3
        ),
        place.reshape(-1, 2),
        faces,
    )


def _face(rings, z):
    flat = shapely.constrained_delaunay_triangles(shapely.Polygon(rings[0], rings[1:]))
    at = np.stack([np.asarray(t.exterior.coords)[:3] for t in flat.geoms])
    one, two = at[:, 1] - at[:, 0], at[:, 2] - at[:, 0]
    back = one[:, 0] * two[:, 1] < one[:, 1] * two[:, 0]
    at[back] = at[back, ::-1]
    at = at.reshape(-1, 2)
    up = np.broadcast_to([0.0, 0.0, 1.0], (len(at), 3))
    return (
        np.column_stack([at, np.full(len(at), z)]),
        up,
        at,
        np.arange(len(at)).reshape(-1, 3),
    )


@dataclass(frozen=True)
class View:
    """A thin lens: where it is, what it looks at, and how it is turned about that line.

    Attributes
    ----------
    focal : px.
    aperture : mm, radius of the lens; 0 is a pinhole. `focus` is mm in front of it.
    """

    place: tuple
    target: tuple
    roll: float
    focal: float
    size: tuple = (4000, 3000)
    aperture: float = 0.0
    focus: float = 350.0

    @cached_property
    def axes(self):
        """(3, 3) rows: the picture's x and y (down), and the line of sight."""
        ahead = np.subtract(self.target, self.place)
        ahead /= np.linalg.norm(ahead)
        up = np.array([np.sin(self.roll), np.cos(self.roll), 0.0])
        right = np.cross(ahead, up)
        right /= np.linalg.norm(right)
        return np.stack([right, np.cross(ahead, right), ahead])

    @property
    def tilt_deg(self):
        return float(np.degrees(np.arccos(-self.axes[2, 2])))

    def pixels(self, at):
        """(N, 2) px where the lens' middle sees (N, 3) mm."""
        x, y, depth = self.axes @ (np.asarray(at, dtype=np.float64) - self.place).T
        middle = (np.array(self.size) - 1) / 2
        return middle + self.focal * np.column_stack([x / depth, y / depth])


@dataclass(frozen=True)
class Light:
    """A rectangle or a ball that shines; `share` of the light in the sheet's middle is from it.

    `size` is (width, height) mm of a rectangle, which faces the sheet, or the radius of a ball.
    """

    place: tuple
    size: tuple | float
    share: float
    colour: tuple = (1.0, 1.0, 1.0)


@dataclass(frozen=True)
class OutsideScene:
    """What lies there, in what light, seen from where.

    Attributes
    ----------
    surface : the part's BSDF as a dictionary of Mitsuba; (H, W, 3) arrays in it are bitmaps of
        `bitmap_mm` a side.
    room : share of the light that comes from all round, and its colour.
    bench : reflectance.
    """

    view: View
    sheet: Sheet
    solid: MeshSolid
    surface: dict
    bitmap_mm: float
    lights: tuple
    room: float
    room_colour: tuple = (1.0, 1.0, 1.0)
    bench: tuple = (0.4, 0.28, 0.18)
    seed: int = 0

    @cached_property
    def middle(self):
        return np.append(self.sheet.frame.window.mean(axis=0), 0.0)


def installed():
    """Whether Mitsuba can be used here."""
    try:
        import mitsuba

        mitsuba.set_variant(VARIANT)
    except ImportError:
        return False
    return True


def render(scene):
    """(H, W, 3) float32 linear picture, each pixel a mean over its square: no bias of an edge.

    Many samples are spent near the part's edge, few elsewhere; on the bench, which is of no
    interest, pixels are coarse.
    """
    import mitsuba as mi

    mi.set_variant(VARIANT)
    traced = _Traced(mi, scene)
    width, height = scene.view.size
    picture = traced.mean(_blocks(height, width, _BENCH_STEP), _BENCH_STEP, _COARSE)
    picture = picture.reshape(height // _BENCH_STEP, width // _BENCH_STEP, 3)
    picture = cv2.resize(picture, (width, height), interpolation=cv2.INTER_LINEAR)
    sheet, band = _where(scene)
    for where, count in ((sheet & ~band, _PLAIN), (band, _FINE)):
        rows, columns = np.nonzero(where)
        if not len(rows):
            continue
        picture[rows, columns] = traced.mean(np.column_stack([columns, rows]), 1, count)
    return picture


def _blocks(height, width, step):
    rows, columns = np.mgrid[0:height:step, 0:width:step]
    return np.column_stack([columns.ravel(), rows.ravel()])


def _where(scene):
    """Masks of the pixels that show the sheet, and of those near the part's edge."""
    width, height = scene.view.size
    sheet, band = np.zeros((2, height, width), np.uint8)
    w, h = scene.sheet.frame.sheet
    corners = scene.view.pixels([[0, 0, 0], [w, 0, 0], [w, h, 0], [0, h, 0]])
    cv2.fillPoly(sheet, [np.round(corners).astype(np.int32)], 1)
    cv2.polylines(sheet, [np.round(corners).astype(np.int32)], True, 1, 2 * _BAND_PX)
    solid = scene.solid
    for loop in solid.loops:
        for inset, z in ((0.0, 0.0), (solid.inset, solid.thickness)):
            at = loop.points - inset * loop.normals
            seen = scene.view.pixels(np.column_stack([at, np.full(len(at), z)]))
            cv2.polylines(band, [np.round(seen).astype(np.int32)], True, 1, 2 * _BAND_PX)
    return sheet > 0, band > 0


class _Traced:
    """A scene as Mitsuba holds it."""

    def __init__(self, mi, scene):
        self.mi, self.scene, self.count = mi, scene, 0
        glass = scene.surface["type"] == "dielectric"
        self.path = mi.load_dict({"type": "path", "max_depth": 12 if glass else 4})
        to_world = mi.ScalarTransform4f().look_at(
            origin=list(scene.view.place),
            target=list(scene.view.target),
            up=[float(np.sin(scene.view.roll)), float(np.cos(scene.view.roll)), 0.0],
        )
        width, height = scene.view.size
        camera = {
            "type": "perspective",
            "fov": float(np.degrees(2 * np.arctan(width / 2 / scene.view.focal))),
            "fov_axis": "x",
            "to_world": to_world,
            "film": {
                "type": "hdrfilm", "width": width, "height": height, "rfilter": {"type": "box"},
            },
        }  # fmt: skip
        if scene.view.aperture:
            camera |= {
                "type": "thinlens",
                "aperture_radius": float(scene.view.aperture),
                "focus_distance": float(scene.view.focus),
            }
        self.camera = mi.load_dict(camera)
        self.world = mi.load_dict({"type": "scene", **self._things()})

    def mean(self, corners, side, samples):
        """(N, 3) light of squares of `side` px whose first pixels are (N, 2) `corners`."""
        import drjit as dr

        mi = self.mi
        sampler = mi.load_dict({"type": "multijitter", "sample_count": samples})
        size = mi.Point2f(*self.scene.view.size)
        found = []
        for part in np.array_split(corners, max(1, len(corners) * samples // 4_000_000)):
            sampler.set_samples_per_wavefront(samples)
            self.count += 1
            sampler.seed(self.scene.seed % 100_000 * 100 + self.count, len(part) * samples)
            each = dr.arange(mi.UInt32, len(part) * samples) // samples
            x, y = (dr.gather(mi.Float, mi.Float(a.astype(np.float32)), each) for a in part.T)
            at = (mi.Point2f(x, y) + side * sampler.next_2d()) / size
            ray, weight = self.camera.sample_ray(0.0, sampler.next_1d(), at, sampler.next_2d())
            light, _, _ = self.path.sample(self.world, sampler, mi.RayDifferential3f(ray))
            total = dr.block_reduce(dr.ReduceOp.Add, light * weight, samples)
            found.append(np.array(total).T / samples)
        return np.concatenate(found)

    def _things(self):
        mi, scene = self.mi, self.scene
        at = mi.ScalarTransform4f
        w, h = (float(v) for v in scene.sheet.frame.sheet)
        toner = {"type": "roughplastic", "diffuse_reflectance": INK * 0.7, "alpha": 0.3}
        paper = {"type": "diffuse", "reflectance": {"type": "rgb", "value": list(PAPER)}}
        ink = {"type": "bitmap", "bitmap": mi.Bitmap(_print(scene.sheet)), "raw": True}
        things = {
            "sheet": {
                "type": "rectangle",
                "to_world": at().translate([w / 2, h / 2, -_GAP]).scale([w / 2, h / 2, 1]),
                "bsdf": {"type": "blendbsdf", "weight": ink, "a": paper, "b": toner},
            },
            "bench": {
                "type": "rectangle",
                "to_world": at().translate([w / 2, h / 2, -0.15]).scale([1500, 1500, 1]),
                "bsdf": {"type": "diffuse", "reflectance": self._bitmap(_bench(scene), 3000.0)},
            },
            "room": {
                "type": "envmap",
                "bitmap": mi.Bitmap(_room(scene)),
                "to_world": at().rotate([1, 0, 0], 90),
            },
        }
        surface = self._surface(scene.surface)
        for k, mesh in enumerate(scene.solid.meshes()):
            things[f"part{k}"] = self._mesh(f"part{k}", *mesh, surface)
        for k, light in enumerate(scene.lights):
            things[f"light{k}"] = self._light(light)
        # The phone and a head over it: they shade the sheet and are mirrored in what shines.
        right, down, ahead = scene.view.axes
        grey = {"type": "diffuse", "reflectance": 0.05}
        body = np.asarray(scene.view.place) + 55 * down + 20 * right - 8 * ahead
        turned = np.eye(4)
        turned[:3] = np.column_stack([38 * right, 75 * down, 4 * ahead, body])
        things["phone"] = {"type": "cube", "to_world": mi.ScalarTransform4f(turned), "bsdf": grey}
        things["head"] = {
            "type": "sphere",
            "center": (np.asarray(scene.view.place) + 150 * down - 330 * ahead).tolist(),
            "radius": 95.0,
            "bsdf": {"type": "diffuse", "reflectance": 0.3},
        }
        return things

    def _bitmap(self, values, mm):
        mi = self.mi
        return {
            "type": "bitmap",
            "bitmap": mi.Bitmap(np.ascontiguousarray(values, dtype=np.float32)),
            "raw": True,
            "wrap_mode": "mirror",
            "to_uv": mi.ScalarTransform4f().scale([1 / mm, 1 / mm, 1]),
        }

    def _surface(self, told):
        """A dictionary for Mitsuba with bitmaps in place of arrays."""
        return {
            key: self._bitmap(value, self.scene.bitmap_mm)
            if isinstance(value, np.ndarray)
            else self._surface(value)
            if isinstance(value, dict)
            else value
            for key, value in told.items()
        }

    def _mesh(self, name, at, normals, places, faces, surface):
        mi = self.mi
        props = mi.Properties()
        props["bsdf"] = mi.load_dict(surface)
        mesh = mi.Mesh(name, len(at), len(faces), props, True, True)
        values = mi.traverse(mesh)
        values["vertex_positions"] = mi.Float(at.ravel().astype(np.float32))
        values["vertex_normals"] = mi.Float(normals.ravel().astype(np.float32))
        values["vertex_texcoords"] = mi.Float(places.ravel().astype(np.float32))
        values["faces"] = mi.UInt32(faces.ravel().astype(np.uint32))
        values.update()
        return mesh

    def _light(self, light):
        """The radiance is such that the sheet's middle gets `share` of 1, were nothing between."""
        mi = self.mi
        to = self.scene.middle - light.place
        distance = np.linalg.norm(to)
        flat = isinstance(light.size, tuple)
        area = light.size[0] * light.size[1] if flat else np.pi * light.size**2
        level = light.share * distance**2 / area / (-to[2] / distance)
        shines = {
            "type": "area",
            "radiance": {"type": "rgb", "value": [float(level * c) for c in light.colour]},
        }
        if not flat:
            return {"type": "sphere", "center": list(light.place), "radius": light.size,
                    "emitter": shines}  # fmt: skip
        faces = mi.ScalarTransform4f().look_at(
            origin=list(light.place), target=self.scene.middle.tolist(), up=[0, 0, 1]
        )
        return {
            "type": "rectangle",
            "to_world": faces.scale([light.size[0] / 2, light.size[1] / 2, 1]),
            "emitter": shines,
        }


def _print(sheet):
    """(H, W, 1) uint8 share of ink, row 0 at y = 0, where v is 0."""
    width, height = np.round(sheet.frame.sheet * _PRINT_PER_MM).astype(int)
    x = ((np.arange(width) + 0.5) / _PRINT_PER_MM).astype(np.float32)
    ink = np.empty((height, width, 1), np.uint8)
    for top in range(0, height, 200):
        y = ((np.arange(top, min(top + 200, height)) + 0.5) / _PRINT_PER_MM).astype(np.float32)
        xs, ys = (a.ravel() for a in np.meshgrid(x, y))
        share = sheet.ink(xs, ys, np.float32(1 / _PRINT_PER_MM))
        ink[top : top + len(y)] = np.round(255 * share).reshape(len(y), width, 1)
    return ink


def _bench(scene):
    """(H, W, 3) a table top: broad soft stripes."""
    rng = np.random.default_rng([scene.seed, 1])
    stripes = cv2.GaussianBlur(rng.standard_normal((512, 512)), (0, 0), 30, sigmaY=1.2)
    stripes = 1 + 0.12 * stripes / stripes.std()
    return np.clip(stripes[..., None] * np.array(scene.bench), 0.01, 0.9)


def _room(scene):
    """(32, 64, 3) light from all round, by latitude and longitude: ceiling, uneven walls, floor.

    A level sheet gets `room` of it.
    """
    rng = np.random.default_rng([scene.seed, 2])
    rows = (np.arange(32) + 0.5) / 32 * np.pi  # from the zenith down
    walls = cv2.GaussianBlur(
        rng.standard_normal((32, 64)), (0, 0), 4, borderType=cv2.BORDER_REFLECT
    )
    walls = np.exp(0.5 * walls / walls.std())
    light = np.where(rows[:, None] < np.radians(50), 1.4, 0.7) * walls
    light[rows > np.pi / 2] *= 0.3
    up = np.maximum(np.cos(rows), 0) * np.sin(rows) * (np.pi / 32) * (2 * np.pi / 64)
    light /= np.sum(light * up[:, None])
    return (scene.room * light[..., None] * np.array(scene.room_colour)).astype(np.float32)
