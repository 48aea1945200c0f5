"""A renderer of light: a part on a printed marker sheet as a phone's sensor would receive it.

Every ray of the pinhole camera meets the solid, the sheet or the bench, and what it meets is lit by
lamps with a size (soft shadows, on the sheet and on the part), by the room (darker near the part)
and by the neighbouring surface, a wall by all of the sheet that lies before it. The picture is
linear; `sensor.py` makes a photo of it. Lengths are mm, light is relative to what a white sheet
sends back in the window's middle.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from printed_sheet import INK, PAPER, Sheet
from solid_parts import MISSED, TOP, Solid, bilinear

from snugline.trace.camera.projection import Camera

_ROWS = 64
# Places in a pixel of which no two share a row or a column of a 16 x 16 grid (a (0, 2) net).
_WITHIN = (
    np.column_stack([np.arange(16), [int(f"{i:04b}"[::-1], 2) for i in range(16)]]) + 0.5
) / 16 - 0.5


def _lattice(count, step):
    """(count, 2) places in a square of which every part of it has its share (Fibonacci's)."""
    k = np.arange(count) + 0.5
    return np.column_stack([k / count, k * step / count % 1])


# How far out and how far aside the light comes from: an element sees a line of a plane at right
# angles to it by 2 / pi cos^2 of the angle aside.
_OUT, _BESIDE = _lattice(89, 55).T.astype(np.float32)
_ASIDE = np.linspace(-0.5, 0.5, 20001) * np.pi
_SHARE = 0.5 + (_ASIDE + np.sin(_ASIDE) * np.cos(_ASIDE)) / np.pi
_BESIDE = np.tan(np.interp(_BESIDE, _SHARE, _ASIDE)).astype(np.float32)
_SPREAD = _lattice(34, 21)


@dataclass(frozen=True)
class Lamp:
    """A disc that shines on the sheet: `share` of the light in the window's middle.

    `place` is its middle, `radius` its size, mm; `colour` relative to grey.
    """

    place: tuple
    radius: float
    share: float
    colour: tuple = (1.0, 1.0, 1.0)

    def spots(self, towards, count):
        """(count, 3) places over the disc, which faces `towards`."""
        k = np.arange(count) + 0.5
        r, a = self.radius * np.sqrt(k / count), k * np.pi * (3 - np.sqrt(5))
        ahead = np.asarray(towards) - self.place
        ahead /= np.linalg.norm(ahead)
        side = np.cross(ahead, [0.3, 0.9, 0.1])
        side /= np.linalg.norm(side)
        other = np.cross(ahead, side)
        return self.place + r[:, None] * (np.cos(a)[:, None] * side + np.sin(a)[:, None] * other)


@dataclass(frozen=True)
class Material:
    """What the part is of.

    Attributes
    ----------
    colour : reflectance for red, green, blue.
    texture : `plain`, `grain`, `speckle` or `print`; `contrast` is its relative rms.
    gloss : reflectance of its surface seen straight on (0.04 is varnish or glaze; 0 matt).
    roughness : radians by which the surface spreads a mirrored lamp.
    """

    colour: tuple
    texture: str = "plain"
    contrast: float = 0.0
    gloss: float = 0.0
    roughness: float = 0.3


@dataclass(frozen=True)
class Scene:
    """What lies there, in what light, seen from where.

    Attributes
    ----------
    room : share of the light that comes from no lamp, but evenly from above.
    spots : parts of each lamp that throw a shadow of their own.
    shade : mm, grid of the shadows on the sheet.
    """

    camera: Camera
    sheet: Sheet
    solid: Solid
    material: Material
    lamps: tuple
    room: float
    room_colour: tuple = (1.0, 1.0, 1.0)
    bench: tuple = (0.42, 0.30, 0.20)
    seed: int = 0
    spots: int = 32
    shade: float = 0.2

    @cached_property
    def middle(self):
        """(3,) mm, the window's middle."""
        return np.append(self.sheet.frame.window.mean(axis=0), 0.0)


class Rays:
    """The rays of a camera's pixels; pixel centres at whole numbers."""

    def __init__(self, camera):
        lens = camera.lens
        r = np.linspace(0, 1.15 * np.hypot(*lens.size) / 2 / lens.focal, 4000)
        seen = r * (1 + sum(k * r ** (2 * n + 2) for n, k in enumerate(lens.radial)))
        assert np.all(np.diff(seen) > 0), "the lens folds the picture"
        ratio = np.divide(r, seen, out=np.ones_like(r), where=seen > 0)
        fit = np.polynomial.Polynomial.fit(seen**2, ratio, 10).convert()
        self._undistort = fit.coef
        self._camera = camera
        self.place = -camera.rotation.T @ camera.translation

    def __call__(self, u, v):
        """Where (N,) pixels meet the sheet: x, y; dx, dy for each mm up; depth; all float32."""
        lens, turn = self._camera.lens, self._camera.rotation
        x, y = (u - lens.centre[0]) / lens.focal, (v - lens.centre[1]) / lens.focal
        ratio = np.polynomial.polynomial.polyval(x * x + y * y, self._undistort)
        x, y = x * ratio, y * ratio
        dx, dy, dz = (x * turn[0, k] + y * turn[1, k] + turn[2, k] for k in range(3))
        dz = np.minimum(dz, -0.05)
        sx, sy, depth = dx / dz, dy / dz, -self.place[2] / dz
        at = self.place[0] - self.place[2] * sx, self.place[1] - self.place[2] * sy
        return tuple(a.astype(np.float32) for a in (*at, sx, sy, depth))


def render(scene):
    """(H, W, 3) float32 linear picture of a scene, each pixel the mean over its square."""
    width, height = scene.camera.lens.size
    rays, shading = Rays(scene.camera), _Shading(scene)
    picture = np.empty((height, width, 3), np.float32)
    kinds = np.empty((height, width), np.uint8)
    u = np.arange(width, dtype=np.float64)
    for top in range(0, height, _ROWS):
        rows = np.arange(top, min(top + _ROWS, height), dtype=np.float64)
        at = np.broadcast_arrays(u, rows[:, None])
        kind, light = shading.seen(*rays(*(a.ravel() for a in at)))
        picture[top : top + len(rows)] = light.reshape(len(rows), width, 3)
        kinds[top : top + len(rows)] = kind.reshape(len(rows), width)
    border = cv2.dilate(kinds, np.ones((3, 3))) != cv2.erode(kinds, np.ones((3, 3)))
    rows, columns = np.nonzero(border)
    for part in np.array_split(np.arange(len(rows)), max(1, len(rows) // 60000)):
        total = np.zeros((len(part), 3), np.float32)
        for du, dv in _WITHIN:
            total += shading.seen(*rays(columns[part] + du, rows[part] + dv))[1]
        picture[rows[part], columns[part]] = total / len(_WITHIN)
    return picture


def thrown_up(sheet, x, y, z, normal):
    """Light that places above a sheet get from it.

    Seen from a place at height z whose normal rises by `lean`, what lies nearer than the line at
    angle b below the horizon fills (1 - sin(b + lean)) / 2 of the view, and all of it
    (1 - sin(lean)) / 2: the configuration factor of an element to an infinite strip (Howell's
    catalogue of configuration factors, from memory).

    Parameters
    ----------
    sheet : gives the (N, C) light that (N,) places x, y of the sheet send out.
    x, y, z : (N,) mm; normal : (N, 3), its length 1.

    Returns
    -------
    (N, C), the mean over places of the sheet of equal weight, by the share of the view they fill.
    """
    up = normal[:, 2]
    flat = np.sqrt(np.maximum(1 - up * up, 0))
    hx, hy = (normal[:, k] / np.maximum(flat, np.float32(1e-6)) for k in (0, 1))
    total = 0
    for out, beside in zip(_OUT, _BESIDE, strict=True):
        sine = 1 - out * (1 - up)
        cosine = np.sqrt(np.maximum(1 - sine * sine, 0))
        away = z / np.maximum(sine * flat - cosine * up, np.float32(1e-3))
        ahead, aside = away * (cosine * flat + sine * up), away * beside
        total = total + sheet(x + hx * ahead - hy * aside, y + hy * ahead + hx * aside)
    return total * ((1 - up) / (2 * len(_OUT)))[:, None]


def spread(direction, normal, roughness):
    """Yields (N, 3) directions about one, as a rough surface with a normal mirrors it.

    Their density falls by exp(-(angle / roughness)^2), as that of a mirrored lamp.
    """
    a = np.cross(direction, np.eye(3, dtype=np.float32)[np.abs(direction).argmin(axis=1)])
    a /= np.linalg.norm(a, axis=1, keepdims=True)
    b = np.cross(direction, a)
    for out, way in _SPREAD * [1, 2 * np.pi]:
        angle = min(roughness * np.sqrt(-np.log(1 - out)), np.pi / 2)
        ca, cb = (np.float32(np.sin(angle) * f(way)) for f in (np.cos, np.sin))
        turned = np.float32(np.cos(angle)) * direction + ca * a + cb * b
        into = np.minimum(np.sum(turned * normal, axis=1, keepdims=True), 0)
        yield turned - 2 * into * normal  # nothing is mirrored into the surface


class _Shading:
    """The light that surfaces of a scene send along rays."""

    def __init__(self, scene):
        self.scene = scene
        self.solid = scene.solid
        rng = np.random.default_rng(scene.seed)
        self.rays_from = -scene.camera.rotation.T @ scene.camera.translation
        self.spots = [lamp.spots(scene.middle, scene.spots) for lamp in scene.lamps]
        self.power = [
            lamp.share / _fall(spots, *scene.middle, 0, 0, 1).mean()
            for lamp, spots in zip(scene.lamps, self.spots, strict=True)
        ]
        self.bench = _noise(rng, 512, (0.6, 25)) * 0.05 + _noise(rng, 512, (4, 60)) * 0.05 + 1
        self.paper_grain = 1 + 0.006 * _noise(rng, 512, (1.2, 1.2))
        self.texture = _texture(scene.material, rng)
        self.open_low, self.open_top = self._open(0.0), self._open(self.solid.thickness)
        self._cast_shadows()
        self._send_back()
        # The room as a mirror shows it: a bright ceiling, darker walls, one with a light wall.
        self.room_turn = rng.uniform(0, 2 * np.pi)

    def _wide(self, lamp, count):
        """Radius, as a tangent, of the part of a lamp that each of its spots stands for."""
        away = np.linalg.norm(self.scene.middle - lamp.place)
        return np.float32(lamp.radius / np.sqrt(count) / away)

    def _open(self, z):
        """RGB of the lamps' light on a level place, without shadows, every 8 mm."""
        x = np.arange(-500, 900, 8.0)
        at = np.meshgrid(x, x)
        total = np.zeros((*at[0].shape, 3))
        for lamp, spots, power in zip(self.scene.lamps, self.spots, self.power, strict=True):
            fall = _fall(spots[:, None, None, :], *at, z, 0, 0, 1).mean(axis=0)
            total += power * fall[..., None] * np.array(lamp.colour)
        return total.astype(np.float32)

    def _lamps_on(self, field_, x, y):
        return bilinear(field_, (x + 500) / np.float32(8), (y + 500) / np.float32(8))

    def _cast_shadows(self):
        """What share of the lamps' and the room's light reaches the sheet round the part."""
        scene, solid = self.scene, self.solid
        ring = solid.ring()
        sheet = np.array([[-90.0, -90.0], scene.sheet.frame.sheet + 90])
        low = np.maximum(ring.min(axis=0) - 60, sheet[0])
        high = np.minimum(ring.max(axis=0) + 60, sheet[1])
        nx, ny = np.maximum(np.ceil((high - low) / scene.shade).astype(int), 2)
        x, y = np.meshgrid(
            (low[0] + scene.shade * np.arange(nx)).astype(np.float32),
            (low[1] + scene.shade * np.arange(ny)).astype(np.float32),
        )
        px, py = solid.local(x.ravel(), y.ravel())
        off = solid.near_distance(px, py)
        tall = np.float32(solid.thickness)
        blocked = 0.5 * (1 - np.maximum(off, 0) / np.hypot(np.maximum(off, 0), tall))
        # What the part hides of the room it replaces by its own, dimly lit, wall.
        room = scene.room * np.array(scene.room_colour)
        self.room = room.astype(np.float32)
        self.wall = np.array(scene.material.colour, np.float32) * np.float32(0.45)
        ambient = room * (1 - blocked[..., None] * (1 - self.wall))
        band = np.flatnonzero((off > -1.5) & (off < 45))
        h = np.float32(0.1)
        x, y, near = px[band], py[band], off[band]
        # Just within the foot the light is that just outside: the foot must not have a dark rim.
        gx = solid.near_distance(x + h, y) - solid.near_distance(x - h, y)
        gy = solid.near_distance(x, y + h) - solid.near_distance(x, y - h)
        out = np.maximum(0.03 - near, 0) / np.maximum(np.hypot(gx, gy), 1e-3)
        x, y = (x + gx * out).astype(np.float32), (y + gy * out).astype(np.float32)
        direct = np.zeros((len(band), 3), np.float32)
        total = np.zeros((len(band), 3), np.float32)
        zero = np.zeros(len(band), np.float32)
        for lamp, spots in zip(scene.lamps, self.spots, strict=True):
            seen = np.zeros(len(band), np.float32)
            wide = self._wide(lamp, len(spots))
            for spot in spots:
                sx, sy = (np.float32(v) for v in solid.local(*spot[:2].astype(np.float32)))
                z = np.float32(spot[2])
                seen += solid.lit(x, y, zero, (sx - x) / z, (sy - y) / z, wide)
            share = (seen / len(spots))[:, None]
            mean = np.float32(lamp.share) * np.array(lamp.colour, np.float32)
            direct += share * mean
            total += mean
        ratio = np.ones((ny * nx, 3), np.float32)
        ratio[band] = direct / np.maximum(total, 1e-9)
        ratio = ratio.reshape(ny, nx, 3)
        ratio[[0, -1]] = ratio[:, [0, -1]] = 1  # far from the window what is cut off shows no more
        self.shade_low, self.shade_ratio = low, ratio
        self.shade_room = ambient.reshape(ny, nx, 3).astype(np.float32)

    def _send_back(self):
        """What the sheet and the bench round the part send out, on the grid of the shadows."""
        ny, nx = self.shade_ratio.shape[:2]
        column, row = (a.ravel().astype(np.float32) for a in np.meshgrid(range(nx), range(ny)))
        shade = np.float32(self.scene.shade)
        x, y = self.shade_low[0] + shade * column, self.shade_low[1] + shade * row
        x, y = x.astype(np.float32), y.astype(np.float32)
        sent = self._surface(x, y, shade) * self.on_sheet(x, y)
        # Behind its foot a hollow part shows its other wall.
        within = self.solid.near_distance(*self.solid.local(x, y)) < -1.5
        sent[within] = self.wall * self.on_sheet(x[within], y[within])
        sent = sent.reshape(ny, nx, 3)
        rim = np.concatenate([sent[0], sent[-1], sent[:, 0], sent[:, -1]])
        sent[[0, -1]] = sent[:, [0, -1]] = rim.mean(axis=0)  # beyond, the mean of what lies there
        self.sent_back = sent

    def from_sheet(self, x, y):
        """(N, 3) light that places of the sheet and the bench send out."""
        return bilinear(self.sent_back, *self._on_grid(x, y))

    def _on_grid(self, x, y):
        low, shade = self.shade_low.astype(np.float32), np.float32(self.scene.shade)
        return (x - low[0]) / shade, (y - low[1]) / shade

    def on_sheet(self, x, y):
        """(N, 3) light on the sheet."""
        column, row = self._on_grid(x, y)
        ratio = bilinear(self.shade_ratio, column, row)
        return self._lamps_on(self.open_low, x, y) * ratio + bilinear(self.shade_room, column, row)

    def seen(self, x, y, sx, sy, depth):
        """Kind (N,) and light (N, 3) that rays bring."""
        solid = self.solid
        lx, ly = solid.local(x, y)
        lsx, lsy = solid.turned(sx, sy)
        kind, z = solid.hit(lx, ly, lsx, lsy)
        light = np.empty((len(x), 3), np.float32)
        ground = np.flatnonzero(kind == MISSED)
        if len(ground):
            light[ground] = self._ground(x[ground], y[ground], depth[ground])
        part = np.flatnonzero(kind != MISSED)
        if len(part):
            zp = z[part]
            light[part] = self._part(
                x[part] + zp * sx[part], y[part] + zp * sy[part], zp,
                lx[part] + zp * lsx[part], ly[part] + zp * lsy[part], kind[part],
            )  # fmt: skip
        return kind, light

    def _ground(self, x, y, depth):
        px = depth / np.float32(self.scene.camera.lens.focal)
        return self._surface(x, y, px) * self.on_sheet(x, y) / np.float32(PAPER[1])

    def _surface(self, x, y, px):
        """(N, 3) reflectance of sheet and bench, the mean over pixels of side `px` mm."""
        sheet = self.scene.sheet
        ink = sheet.ink(x, y, px)[:, None]
        on = sheet.paper(x, y, px)[:, None]
        grain = bilinear(self.paper_grain, x * 4, y * 4, cv2.BORDER_WRAP)[:, None]
        paper = np.array(PAPER, np.float32) * grain
        dark = np.full(len(x), INK, np.float32)
        if sheet.frame.window_dark:
            dark[sheet.in_window(x, y)] = sheet.window_ink
        bench = bilinear(self.bench, x * 2, y * 2, cv2.BORDER_WRAP)[:, None]
        bench = np.maximum(bench, 0.2) * np.array(self.scene.bench, np.float32)
        return on * (paper + ink * (dark[:, None] - paper)) + (1 - on) * bench

    def _part(self, x, y, z, lx, ly, kind):
        """Light of places (x, y, z) of the part; (lx, ly) the same in its own axes."""
        solid, material = self.solid, self.scene.material
        albedo = np.array(material.colour, np.float32) * self._pattern(lx, ly)[:, None]
        light = np.empty((len(x), 3), np.float32)
        normal = np.zeros((len(x), 3), np.float32)
        normal[:, 2] = 1
        flat = kind == TOP
        light[flat] = self._lamps_on(self.open_top, x[flat], y[flat]) + self.room
        side = np.flatnonzero(~flat)
        if len(side):
            n = solid.normal(lx[side], ly[side], z[side], kind[side])
            nx, ny = solid.turned(n[0], n[1], back=True)
            normal[side] = np.column_stack([nx, ny, n[2]])
            light[side] = self._side(x[side], y[side], z[side], lx[side], ly[side], normal[side], n)
        if not material.gloss:
            return albedo * light / np.float32(PAPER[1])
        view = self.rays_from.astype(np.float32) - np.column_stack([x, y, z])
        view /= np.linalg.norm(view, axis=1, keepdims=True)
        facing = np.clip(np.sum(view * normal, axis=1), 0, 1)
        f = np.float32(material.gloss)
        fresnel = (f + (1 - f) * (1 - facing) ** 5 * (1 - material.roughness))[:, None]
        mirrored, at = 2 * facing[:, None] * normal - view, np.column_stack([x, y, z])
        shown = self._mirrored_lamps(mirrored, at)
        shown[flat] += self._mirrored(mirrored[flat], at[flat])
        if len(side):
            ways = spread(mirrored[side], normal[side], material.roughness)
            shown[side] += sum(self._mirrored(way, at[side]) for way in ways) / len(_SPREAD)
        return ((1 - fresnel) * albedo * light + fresnel * shown) / np.float32(PAPER[1])

    def _side(self, x, y, z, lx, ly, normal, local_normal):
        """Light on the walls and the rim: lamps, room, and what the sheet throws up."""
        scene, solid = self.scene, self.solid
        light = np.zeros((len(x), 3), np.float32)
        for lamp, spots, power in zip(scene.lamps, self.spots, self.power, strict=True):
            got = np.zeros(len(x), np.float32)
            some = spots[::4]
            wide = self._wide(lamp, len(some))
            for spot in some:
                fall = _fall(spot.astype(np.float32), x, y, z, *normal.T)
                lit = np.flatnonzero(fall > 0)
                sx, sy = (np.float32(v) for v in solid.local(*spot[:2].astype(np.float32)))
                # From a little off the surface: a place must not stand in its own shadow.
                ax, ay, az = (
                    at[lit] + np.float32(0.1) * n[lit]
                    for at, n in zip((lx, ly, z), local_normal, strict=True)
                )
                up = np.maximum(np.float32(spot[2]) - az, 1)
                share = solid.lit(ax, ay, az, (sx - ax) / up, (sy - ay) / up, wide)
                got[lit] += share * fall[lit]
            light += (
                np.float32(power) * (got / len(some))[:, None] * np.array(lamp.colour, np.float32)
            )
        upward = ((1 + normal[:, 2]) / 2)[:, None]
        return light + upward * self.room + thrown_up(self.from_sheet, x, y, z, normal)

    def _mirrored(self, direction, at):
        """(N, 3) light of room and sheet that a mirror would show along directions."""
        light = np.empty((len(at), 3), np.float32)
        low = direction[:, 2] < 0
        dx, dy, up = direction[~low].T
        around = np.arctan2(dy, dx) - np.float32(self.room_turn)
        wall = 0.7 + 0.5 * np.cos(around)
        light[~low] = self.room * (wall * (1 - up) + 1.4 * up)[:, None]
        dx, dy, up = direction[low].T
        x, y, z = at[low].T
        reach = np.minimum(z / np.maximum(-up, 0.02), 200)
        light[low] = self.from_sheet(x + reach * dx, y + reach * dy)
        return light

    def _mirrored_lamps(self, direction, at):
        """(N, 3) light of the lamps that the part's surface, as rough as it is, shows there."""
        scene, material = self.scene, self.scene.material
        light = np.zeros((len(at), 3), np.float32)
        for lamp in scene.lamps:
            to = np.array(lamp.place, np.float32) - at
            distance = np.linalg.norm(to, axis=1)
            cosine = np.clip(np.sum(to * direction, axis=1) / distance, -1, 1)
            angle = 2 * (1 - cosine)
            own = (lamp.radius / distance) ** 2
            wide = own + np.float32(material.roughness) ** 2
            crisp = 1 + 2 * own / wide
            level = np.float32(lamp.share) * (
                np.linalg.norm(scene.middle - lamp.place) / lamp.place[2]
            )
            lobe = np.float32(level) * np.exp(-((angle / wide) ** crisp)) / wide
            light += lobe[:, None] * np.array(lamp.colour, np.float32)
        return light

    def _pattern(self, lx, ly):
        if self.texture is None:
            return np.ones(len(lx), np.float32)
        return bilinear(self.texture, lx * 5, ly * 5, cv2.BORDER_WRAP)


def _fall(spot, x, y, z, nx, ny, nz):
    """Light that a place with a normal gets from a spot (..., 3) of strength 1."""
    dx, dy, dz = spot[..., 0] - x, spot[..., 1] - y, spot[..., 2] - z
    squared = dx * dx + dy * dy + dz * dz
    return np.maximum(dx * nx + dy * ny + dz * nz, 0) / (squared * np.sqrt(squared))


def _noise(rng, size, blur):
    """(size, size) periodic noise of rms 1, softened by (down, across) px."""
    spectrum = np.fft.rfft2(rng.standard_normal((size, size)))
    fy, fx = np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size)
    spectrum *= np.exp(-2 * np.pi**2 * ((fy * blur[0]) ** 2 + (fx * blur[1]) ** 2))
    soft = np.fft.irfft2(spectrum, (size, size))
    return (soft / soft.std()).astype(np.float32)


def _texture(material, rng):
    """Relative brightness in the part's axes, 5 px for each mm, periodic; None if even."""
    size = 2000
    if material.texture == "plain" or not material.contrast:
        return None
    if material.texture == "grain":
        noise = 0.8 * _noise(rng, size, (2.5, 180)) + 0.6 * _noise(rng, size, (12, 400))
    elif material.texture == "speckle":
        noise = 0.8 * _noise(rng, size, (1.2, 1.2)) + 0.6 * _noise(rng, size, (5, 5))
    else:
        y, x = np.mgrid[:size, :size] // rng.choice([20, 40, 50, 100])
        noise = np.where((x + y) % 2 > 0, 1.0, -1.0)
    return np.maximum(1 + material.contrast * noise, 0.1).astype(np.float32)
