"""Made pictures of a sheet with a part on it, rectified to the sheet, and what every place shows.

Composed in two dimensions with the geometry of the third: along each ray the part is looked for at
several heights, towards each lamp likewise, so that upper face, wall and cast shadow lie where view
and light put them. Light is a share of the paper's own, as the program divides it. Lengths are mm
on the sheet, x right and y down as in the picture.
"""

from dataclasses import dataclass

import torch
from outlines import FAR, Draw, box, cover, outline, over, placed, turned
from torch.nn.functional import avg_pool2d, conv2d, grid_sample, pad

# What the program gives the network (trace/part/learned_map.py): the sheet fitted into so many px.
WIDTH, HEIGHT = 608, 448
FITTED = (600, 440)
CHANNELS = 10
BRIGHTEST = 1.6
SHEET, SHADOW, PART, COVER = range(4)
SHADED = 0.85  # sheet with less of its light is called shadow
_LEVELS = 7  # heights at which a ray meets the part
# width, height, marker, pitch (mm): A4, letter, A3, tabloid and sheets of other sizes.
_PAPERS = ((297, 210, 14, 20), (279.4, 215.9, 14, 20), (420, 297, 16, 23), (431.8, 279.4, 16, 23))
_LEAST_MARGIN, _STRIP = 8.0, 7.0


@dataclass(frozen=True)
class Layout:
    """The sheet of each scene: all `(B,)` but `window` (B, 2), its sides in mm."""

    mm_per_px: torch.Tensor
    width: torch.Tensor
    height: torch.Tensor
    marker: torch.Tensor
    pitch: torch.Tensor
    left: torch.Tensor
    top: torch.Tensor
    columns: torch.Tensor
    rows: torch.Tensor
    window: torch.Tensor
    dark: torch.Tensor
    plain: torch.Tensor


def layouts(draw):
    papers = torch.tensor(_PAPERS, device=draw.device)[draw.choice([0.5, 0.2, 0.2, 0.1])]
    w, h, marker, pitch = papers.T
    columns = torch.floor((w - 2 * _LEAST_MARGIN - marker) / pitch)
    rows = torch.floor((h - 2 * _LEAST_MARGIN - marker) / pitch)
    left, top = (w - columns * pitch - marker) / 2, (h - rows * pitch - marker) / 2
    inset = torch.stack([left, top], -1) + (pitch + _STRIP)[:, None]
    window = torch.stack([w, h], -1) - 2 * inset
    s = torch.maximum(w / FITTED[0], h / FITTED[1])
    plain = draw.chance(0.08)
    dark = draw.chance(0.3) & ~plain
    return Layout(s, w, h, marker, pitch, left, top, columns + 1, rows + 1, window, dark, plain)


def sampled(field, x, y, sheet):
    """Bilinear values of a grid (B, C, n, m) that covers the sheet twice; (B, C, h, w)."""
    grid = torch.stack([x / over(sheet[0]), y / over(sheet[1])], -1)
    return grid_sample(field, grid.to(field.dtype), padding_mode="border", align_corners=False)


def noise(draw, u, v, across, down):
    """Smooth random numbers about 0 of spread about 0.7, their grain across and down in mm."""
    tile = draw.normal(1, 256, 256)
    grid = torch.stack([u / over(across * 128), v / over(down * 128)], -1)
    return grid_sample(tile, grid, padding_mode="reflection", align_corners=False)[:, 0]


def spread(values):
    return values[:, :, None, None]


def _colours(draw, kind, shade):
    """(B, 3) light of the face over the paper's, and of its print or second tone.

    A quarter of the parts, or of their prints, are as light as a shadow on the sheet, `shade`
    (B,), and nearly of its hue: only texture, wall and form tell them apart.
    """
    level = torch.stack(
        [
            draw.log_uniform(0.015, 0.1),
            draw.log_uniform(0.08, 0.6),
            draw.log_uniform(0.1, 0.6),
            draw.uniform(0.7, 1.3),
            draw.uniform(0.85, 1.2),
            draw.uniform(0.72, 1.06),
            draw.log_uniform(0.012, 0.12),
            draw.uniform(0.5, 1.0),
            draw.log_uniform(0.08, 1.0),
            draw.uniform(0.75, 1.0),
            draw.log_uniform(0.15, 0.7),
            draw.log_uniform(0.1, 0.7),
        ]
    ).gather(0, kind[None])[0]
    tint = torch.tensor(
        [0.06, 0.12, 0.04, 0.06, 0.06, 0.015, 0.06, 0.05, 0.2, 0.03, 0.03, 0.6], device=draw.device
    )[kind]
    colour = level[:, None] * torch.exp(tint[:, None] * draw.normal(3))
    wood = torch.tensor([0.46, 0.29, 0.17], device=draw.device)
    pale = torch.tensor([0.83, 0.67, 0.48], device=draw.device)
    colour = torch.where((kind == 3)[:, None], level[:, None] * wood, colour)
    colour = torch.where((kind == 4)[:, None], level[:, None] * pale, colour).clamp(0.008, 1.15)
    # A print often leaves white as white as the sheet, or is white on a face of another colour.
    other = draw.log_uniform(0.03, 1.05)[:, None] * torch.exp(0.25 * draw.normal(3))
    white = draw.uniform(0.85, 1.04)[:, None] * torch.exp(0.012 * draw.normal(3))
    other = torch.where(draw.chance(0.3)[:, None], white, other)
    # Printed over in another strength of the same ink.
    stronger = colour * draw.log_uniform(1.2, 6)[:, None]
    other = torch.where(draw.chance(0.3)[:, None], stronger, other)
    like = (shade * torch.exp(0.12 * draw.normal()))[:, None] * torch.exp(0.03 * draw.normal(3))
    which = draw.choice([0.68, 0.22, 0.1])[:, None]
    colour = torch.where(which == 1, like, colour)
    other = torch.where(which == 2, like, other)
    return colour.clamp(0.008, 1.15), other.clamp(0.01, 1.1)


def _face(draw, u, v, kind, shade):
    """(B, 3, h, w) light that the face sends back over the paper's, in even light."""
    colour, other = _colours(draw, kind, shade)
    fine, coarse = draw.log_uniform(0.4, 2.5), draw.log_uniform(2, 15)
    long = draw.log_uniform(30, 200)
    grain = noise(draw, u, v, long, fine) + noise(draw, u, v, 2 * long, 3 * fine)
    rings = torch.sin(over(draw.uniform(0.2, 1.5)) * v + 3 * noise(draw, u, v, long, 8 * fine))
    speckle = noise(draw, u, v, fine, fine) + noise(draw, u, v, coarse, coarse)
    clouds = noise(draw, u, v, 4 * coarse, 4 * coarse)
    woody = over((kind == 3) | (kind == 4) | (kind == 10))
    texture = torch.where(woody, grain + rings * over(draw.uniform(0, 1.0)), speckle) + 0.5 * clouds
    contrast = torch.tensor(
        [0.08, 0.03, 0.22, 0.14, 0.06, 0.006, 0.02, 0.01, 0.04, 0.01, 0.1, 0.05],
        device=draw.device,
    )[kind] * draw.uniform(0.2, 1.6)
    # Print: checks, stripes, dots, a field beside another, blots.
    pitch = draw.log_uniform(4, 60)
    # Along the part's sides, or askew.
    askew = torch.where(draw.chance(0.5), 0.0, 1.0) * draw.uniform(0, 3.14)
    pu, pv = turned(u, v, torch.stack([pitch, pitch], -1) * draw.uniform(-1, 1, 2), askew)
    cu, cv = torch.sin(3.1416 * pu / over(pitch)), torch.sin(3.1416 * pv / over(pitch))
    pattern = draw.choice([0.25, 0.2, 0.15, 0.2, 0.1, 0.1])
    sharp = over(draw.log_uniform(3, 60))
    blots = noise(draw, u, v, pitch / 2, pitch / 2)
    field = torch.maximum((u / over(2 * pitch)).abs(), (v / over(pitch)).abs())
    lines = torch.minimum(cv, noise(draw, pu, pv, pitch / 5, pitch / 3))  # as of writing
    forms = torch.stack([cu * cv, cu, cu * cu + cv * cv - 1.4, 1 - field, blots, lines])
    form = forms.gather(0, pattern[None, :, None, None].expand(1, *u.shape))[0]
    printed = torch.sigmoid(sharp * form) * over((kind == 8) | draw.chance(0.03))
    base = spread(colour) * torch.exp(over(contrast) * texture)[:, None]
    return base * (1 - printed[:, None]) + spread(other) * printed[:, None]


def _mirrored(draw, x, y, glossy, sheet):
    """(B, 3, h, w) light of lamps, windows and the room, mirrored in the face."""
    total = torch.zeros_like(x)
    for peak, share in ((8.0, 0.6), (1.2, 0.5), (0.8, 0.3)):
        place = torch.stack([draw.uniform(-0.4, 0.4) * s for s in sheet], -1)
        u, v = turned(x, y, place, draw.uniform(0, 3.14))
        a = draw.log_uniform(4, 110)
        b = a * draw.uniform(0.3, 1)
        rough = draw.log_uniform(0.3, 1.2 * 40)
        d = box(u, v, a, b, draw.choice([0.6, 0.4]) * b)
        lit = torch.sigmoid(-2 * d / over(rough)) * over(a / (a + rough))
        total = total + lit * over(draw.log_uniform(0.08, peak) * draw.chance(share))
    room = draw.uniform(0, 0.08)
    slope = (x / over(sheet[0])) * over(draw.normal()) + (y / over(sheet[1])) * over(draw.normal())
    total = total + over(room) * (1 + slope).clamp_min(0)
    tint = torch.exp(0.06 * draw.normal(3))
    return spread(tint) * (total * over(glossy))[:, None]


def _room_tint(draw):
    """(B, 3) the room's light over the lamps': from warm to blue, as a shadow by a window is."""
    warm = draw.normal() * draw.choice([0.3, 0.7]) * 0.1
    way = torch.tensor([1.0, 0.15, -1.0], device=draw.device)
    return torch.exp(warm[:, None] * way + 0.02 * draw.normal(3))


def _bent(draw, x, y, layout, camera, up, lamp):
    """Where on the flat print a place of bent paper lies (B, h, w) twice, and its light's share.

    Some sheets rise from the bench on one side or at a corner, mostly beyond the window.
    """
    way = draw.uniform(0, 6.283)
    c, s = torch.cos(way), torch.sin(way)
    reach = 0.5 * (layout.window[:, 0] * c.abs() + layout.window[:, 1] * s.abs())
    end = 0.5 * (layout.width * c.abs() + layout.height * s.abs())
    begins = reach + draw.uniform(-15, 10)
    span = end - begins
    rise = draw.chance(0.15) * draw.uniform(0.3, 6)
    past = ((x * over(c) + y * over(s) - over(begins)) / over(span)).clamp_min(0)
    share = over(rise / up) * past**2
    tilt = over(2 * rise / span) * past
    at, height, _ = lamp
    light = 1 - tilt * over((at[:, 0] * c + at[:, 1] * s) / height).clamp(-1, 1) * 0.6
    return (x + (over(camera[:, 0]) - x) * share, y + (over(camera[:, 1]) - y) * share,
            light.clamp(0.5, 1.3))  # fmt: skip


def _relief(draw, solid, x, y, face, outward, lamps):
    """What the face's form does to its light, each (B, h, w): the share of it that comes back, how
    far the face has become the wall, a lamp mirrored in the rounded edge, and where a raised rim
    shades what lies within.

    A rounded or broken upper edge; a tray's rim and floor; a plate, which rises or falls gently.
    """
    nx, ny = outward
    lit = 0
    for at, height, _ in lamps:
        far = over(torch.hypot(at[:, 0], at[:, 1]) + height)
        lit = lit + (nx * over(at[:, 0]) + ny * over(at[:, 1])) / far
    wide = over(draw.log_uniform(0.3, 6))
    turned_by = (1 + face / wide).clamp(0, 1)
    is_round = draw.chance(0.6)
    edge = 1 + turned_by * lit * over(is_round * draw.uniform(0, 0.6))
    rolled_off = turned_by**2 * over(is_round & draw.chance(0.5))
    gleam = torch.exp(-(((turned_by - over(draw.uniform(0.15, 0.9))) / 0.15) ** 2)) * (face < 0)
    gleam = gleam * lit.clamp_min(0) ** over(draw.log_uniform(0.5, 6))
    gleam = gleam * over((is_round & draw.chance(0.6)) * draw.log_uniform(0.1, 8))
    inwards = -face
    rolled = 0
    for _ in range(2):
        middle, width = over(draw.log_uniform(1, 45)), over(draw.log_uniform(0.5, 25))
        rolled = rolled + over(draw.uniform(-0.7, 0.7)) * torch.exp(
            -(((inwards - middle) / width) ** 2)
        )
    edge = edge * (1 + rolled * lit * over(draw.chance(0.25)))
    rim, slope = over(draw.uniform(2, 18)), over(draw.uniform(0.5, 6))
    depth = inwards - rim
    band = ((depth > 0) & (depth < slope)) * (1 - 0.5 * lit) + (depth <= 0) * 1.0
    floor = torch.where(
        depth >= slope,
        1 - over(draw.uniform(0, 0.35)) * torch.exp(-depth.clamp_min(0) / (3 * slope)),
        band,
    )
    tray = draw.chance(0.2)
    edge = edge * torch.where(over(tray), floor.clamp(0.15, 1.5), torch.ones_like(edge))
    at, height, soft = lamps[0]
    high = draw.log_uniform(0.5, 12)
    share = high / height
    here = solid.at(x + over(share * at[:, 0]), y + over(share * at[:, 1]))
    in_shade = (0.5 + (here + rim) / (over(2 * soft * high) + 0.5)).clamp(0, 1)
    in_shade = in_shade * (depth > 0) * over(tray & draw.chance(0.6))
    return edge.clamp(0.1, 2), rolled_off, gleam, in_shade


def _sheet_print(draw, x, y, bent_x, bent_y, layout):
    """(B, h, w) the print's tone, and each place's marker (0 where none lies)."""
    u, v = bent_x + over(layout.width / 2), bent_y + over(layout.height / 2)
    u, v = u - over(layout.left), v - over(layout.top)
    column, row = torch.floor(u / over(layout.pitch)), torch.floor(v / over(layout.pitch))
    fu, fv = u - column * over(layout.pitch), v - row * over(layout.pitch)
    last_c, last_r = over(layout.columns - 1), over(layout.rows - 1)
    ring = (column == 0) | (column == last_c) | (row == 0) | (row == last_r)
    ring &= (column >= 0) & (column <= last_c) & (row >= 0) & (row <= last_r)
    size = over(layout.marker)
    within = ring & (fu < size) & (fv < size) & ~over(layout.plain)
    number = torch.where(within, 1 + row * 32 + column, 0 * row).long().clamp(0, 1023)
    cell = (fv * 8 / size).long().clamp(0, 7) * 8 + (fu * 8 / size).long().clamp(0, 7)
    edge = (cell % 8 == 0) | (cell % 8 == 7) | (cell < 8) | (cell >= 56)
    bits = (draw.uniform(0, 1, 64 * 64) < 0.5).gather(
        1, ((number * 37 + cell * 11) % 4096).flatten(1)
    )
    ink = within & (edge | bits.view(x.shape))
    wide, high = over(layout.window[:, 0] / 2), over(layout.window[:, 1] / 2)
    stated = torch.maximum(x.abs() - wide, y.abs() - high)
    beyond = torch.maximum(bent_x.abs() - wide, bent_y.abs() - high)
    words = ((beyond > 1.5) & (beyond < 3.5)) | ((beyond > 4.6) & (beyond < 6.6))
    few = draw.uniform(0.2, 1)
    words &= noise(draw, x, y, few, few) > 0.2
    words &= over(draw.chance(0.8)) & ~over(layout.plain)
    line = ((beyond - 6).abs() < 0.5 * over(layout.mm_per_px)) & ~over(layout.plain)
    black = draw.uniform(0.02, 0.12)
    tone = torch.where(ink, over(black), torch.ones_like(x))
    tone = torch.where(words | line, over(draw.uniform(0.3, 0.8)), tone)
    inside = beyond < 0
    dark = draw.uniform(0.025, 0.16)
    tone = torch.where(inside & over(layout.dark), over(dark), tone)
    strip = (beyond > 0) & (beyond < over(draw.uniform(8, 25))) & over(layout.plain)
    tone = torch.where(strip, over(draw.log_uniform(0.03, 0.9)), tone)
    # The program judges a white window with some of the white round it.
    grown = over(draw.chance(0.7) * draw.uniform(0, 5) * ~(layout.dark | layout.plain))
    return tone, number, stated < grown


def _paper(draw, x, y, layout, tone):
    """(B, 3, h, w) the sheet in even light: print, bench about it, dirt, waves."""
    u, v = turned(x, y, torch.zeros(len(x), 2, device=x.device), draw.uniform(0, 6.3))
    kind = 2 + draw.choice([0.3, 0.5, 0.2])
    bench = _face(draw, u, v, kind, draw.uniform(0.2, 0.8))
    mean = bench.mean((2, 3), keepdim=True)
    rough = 0.004 * noise(draw, x, y, draw.uniform(0.3, 1), draw.uniform(0.3, 1))
    wave = draw.chance(0.3) * draw.uniform(0, 0.05)
    fold = noise(draw, u, v, draw.uniform(40, 200), draw.uniform(15, 80)) * over(wave)
    paper = (tone * torch.exp(rough + fold))[:, None].expand(-1, 3, -1, -1)
    dirt = draw.chance(0.15) * draw.uniform(0, 0.25)
    spots = torch.sigmoid(8 * (noise(draw, x, y, draw.uniform(2, 25), draw.uniform(2, 25)) - 1.4))
    size = draw.uniform(0.5, 1.2)
    crumbs = torch.sigmoid(20 * (noise(draw, x, y, size, size) - 2.1))
    few = over(draw.chance(0.1) * draw.uniform(0.2, 0.9))
    paper = paper * (1 - over(dirt) * spots - few * crumbs).clamp_min(0.05)[:, None]
    # A plain frame lies on a bench; some sheets are engraved boards.
    board = (layout.plain | draw.chance(0.05))[:, None, None, None]
    even = torch.where(draw.chance(0.4), 0.1, 1.0)[:, None, None, None]
    paper = torch.where(board, (bench / mean) ** even * tone[:, None], paper)
    off = (x.abs() > over(layout.width / 2)) | (y.abs() > over(layout.height / 2))
    return torch.where(off[:, None] & ~layout.plain[:, None, None, None], bench, paper)


class Solid:
    """A part's signed distance on a grid twice the sheet's size, met at heights by rays."""

    def __init__(self, field, sheet):
        slope = torch.stack(torch.gradient(field, dim=(2, 1)), 1)
        slope = slope / slope.norm(dim=1, keepdim=True).clamp_min(1e-6)
        self.field, self.sheet = torch.cat([field[:, None], slope], 1), sheet

    def at(self, x, y):
        return sampled(self.field[:, :1], x, y, self.sheet)[:, 0]

    def outward(self, x, y):
        return sampled(self.field[:, 1:], x, y, self.sheet)

    def met(self, x, y, towards, height, thickness, lean):
        """Least distance of rays that leave (x, y) towards a place (B, 2) in a height (B,)."""
        least = None
        for k in range(_LEVELS):
            z = thickness * k / (_LEVELS - 1)
            share = over(z / height)
            here = self.at(
                x + (over(towards[:, 0]) - x) * share, y + (over(towards[:, 1]) - y) * share
            )
            here = here + over(z * lean)
            least = here if least is None else torch.minimum(least, here)
        return least

    def seen_from(self, x, y, place, height, thickness, soft, px):
        """(B, h, w) share of a lamp that the part leaves to the sheet."""
        least = torch.ones_like(x)
        for k in range(1, 10):
            z = thickness * (k / 9) ** 1.3
            share = over(z / height)
            here = self.at(x + (over(place[:, 0]) - x) * share, y + (over(place[:, 1]) - y) * share)
            least = torch.minimum(least, (0.5 + here / (over(2 * soft * z) + px)).clamp(0, 1))
        return least


def made(batch, generator, device):
    """Pictures (B, CHANNELS, HEIGHT, WIDTH) as the program gives them, and what each px of half the
    size shows: shares (B, 4, HEIGHT / 2, WIDTH / 2), weights (B, HEIGHT / 2, WIDTH / 2).
    """
    draw = Draw(batch, generator, device)
    layout = layouts(draw)
    s = over(layout.mm_per_px)
    columns = torch.arange(WIDTH, device=device) + 0.5 - WIDTH / 2
    rows = torch.arange(HEIGHT, device=device) + 0.5 - HEIGHT / 2
    x, y = s * columns[None, None, :], s * rows[None, :, None]
    x, y = (v.expand(batch, HEIGHT, WIDTH) for v in (x, y))
    sheet = (layout.mm_per_px * WIDTH, layout.mm_per_px * HEIGHT)
    # The grid of distances: twice the sheet, every fourth px.
    gx = 2 * s * (torch.arange(WIDTH // 2, device=device) * 2 + 1 - WIDTH / 2)[None, None, :]
    gy = 2 * s * (torch.arange(HEIGHT // 2, device=device) * 2 + 1 - HEIGHT / 2)[None, :, None]
    gx, gy = (v.expand(batch, HEIGHT // 2, WIDTH // 2) for v in (gx, gy))

    thickness = draw.log_uniform(0.3, 30)
    lean = torch.where(draw.chance(0.7), 0.0, 1.0) * draw.uniform(-0.03, 0.1)
    centre = draw.normal(2) * 4
    a, b, place, angle = placed(draw, layout.window, centre)
    field = outline(draw, gx, gy, a, b, place, angle)
    second = draw.chance(0.06)
    other = torch.stack([draw.uniform(-0.4, 0.4) * layout.window[:, k] for k in (0, 1)], -1)
    second_field = outline(
        draw, gx, gy, draw.uniform(6, 40), draw.uniform(6, 30), other, draw.uniform(0, 3)
    )
    second_field = torch.where(over(second), second_field, torch.full_like(gx, FAR))
    solid = Solid(torch.minimum(field, second_field), sheet)
    covering, covered_by = cover(draw, gx, gy, layout.window * 1.4, centre)
    cloth = Solid(covering, sheet)

    # View: silhouette and upper face.
    camera = draw.normal(2) * draw.uniform(20, 130)[:, None]
    up = draw.uniform(1.1, 2.2) * torch.maximum(layout.width, layout.height) * 0.9
    met = solid.met(x, y, camera, up, thickness, lean)
    share = over(thickness / up)
    tx, ty = x + (over(camera[:, 0]) - x) * share, y + (over(camera[:, 1]) - y) * share
    face = solid.at(tx, ty) + over(thickness * lean)
    part = (0.5 - met / s).clamp(0, 1)
    upper = (0.5 - face / s).clamp(0, 1)

    # Lamps: share of the light, place, softness.
    room = draw.uniform(0.15, 0.65)
    diffuse = draw.chance(0.15)
    room = torch.where(diffuse, draw.uniform(0.7, 0.95), room)
    two = draw.chance(0.3)
    first = torch.where(two, draw.uniform(0.4, 0.8), torch.ones_like(room))
    tint = torch.exp(0.08 * draw.normal(3))
    room_tint = _room_tint(draw)
    # Beside a third of the parts the shadow is but a narrow line.
    narrow = torch.atan(thickness / draw.log_uniform(0.5, 4)).clamp(0.3, 1.45)
    is_narrow = draw.chance(0.35)
    lamps, sheet_light, face_light, wall_light, whole_light = [], 0, 0, 0, 0
    nx, ny = solid.outward(tx, ty).unbind(1)
    for number in range(2):
        direct = (1 - room) * (first if number == 0 else 1 - first)
        azimuth, elevation = draw.uniform(0, 6.283), draw.uniform(0.42, 1.4)
        elevation = torch.where(is_narrow, narrow, elevation)
        far = draw.log_uniform(350, 3000)
        at = torch.stack([torch.cos(azimuth), torch.sin(azimuth)], -1)
        at = at * (far * torch.cos(elevation))[:, None]
        height = far * torch.sin(elevation)
        soft = draw.log_uniform(0.004, 0.5)
        lamps.append((at, height, soft))
        seen = solid.seen_from(x, y, at, height, thickness, soft, s)
        # Phone, arm or head before the lamp.
        pu, pv = turned(
            x, y, torch.stack([draw.uniform(-0.8, 0.8) * v for v in sheet], -1), draw.uniform(0, 3)
        )
        blurred = over(draw.log_uniform(1.5, 80))
        body = box(pu, pv, draw.uniform(30, 160), draw.uniform(15, 80), draw.uniform(3, 30))
        shade = torch.sigmoid(4 * body / blurred)
        shade = torch.where(over(draw.chance(0.25)), shade, torch.ones_like(shade))
        # The cover's own shadow.
        lift = draw.uniform(2, 20) / height
        low = cloth.at(x + over(at[:, 0] * lift), y + over(at[:, 1] * lift))
        seen = seen * (0.5 + low / (over(20 * soft) + s)).clamp(0, 1)
        colour = spread(tint if number == 0 else 1 / tint)
        sheet_light = sheet_light + colour * (over(direct) * seen * shade)[:, None]
        face_light = face_light + colour * (over(direct) * shade)[:, None]
        whole_light = whole_light + colour * direct.view(-1, 1, 1, 1)
        facing = (nx * over(at[:, 0]) + ny * over(at[:, 1])) / over(height)
        wall_light = wall_light + colour * (over(direct) * shade * facing.clamp(0, 3))[:, None]
    occluded = torch.exp(-solid.at(x, y).clamp_min(0) / over(0.6 * thickness + 0.3))
    occluded = occluded * over(draw.uniform(0.15, 0.5))
    around = spread(room[:, None] * room_tint)
    sheet_light = sheet_light + around * (1 - occluded)[:, None]
    face_light = face_light + around
    wall_light = wall_light + around * draw.uniform(0.3, 0.7).view(-1, 1, 1, 1)
    # Lit sheet is 1 in all channels, as the program divides it.
    whole_light = whole_light + around
    sheet_light, face_light, wall_light, around = (
        light / whole_light for light in (sheet_light, face_light, wall_light, around)
    )

    # What is there.
    bent_x, bent_y, slope = _bent(draw, x, y, layout, camera, up, lamps[0])
    tone, number, inside = _sheet_print(draw, x, y, bent_x, bent_y, layout)
    paper = _paper(draw, x, y, layout, tone) * slope[:, None]
    kinds = [0.08, 0.09, 0.09, 0.08, 0.08, 0.15, 0.12, 0.06, 0.17, 0.02, 0.03, 0.03]
    kind = draw.choice(kinds)
    kind = torch.where(layout.dark & draw.chance(0.5), torch.full_like(kind, 5), kind)
    u, v = turned(tx, ty, place.clamp(-999, 999), angle)
    shadow = room + (1 - room) * (1 - first)
    body = _face(draw, u, v, kind, shadow)
    # Glass and foils show the sheet below.
    clear = over((kind == 9) * draw.uniform(0.5, 1.0))[:, None]
    body = body * (1 - clear) + clear * body * paper * sheet_light / face_light.clamp_min(0.05)
    glossy = (kind == 6) | (kind == 7) | (kind == 9) | (kind == 10) | draw.chance(0.08)
    edge, rolled_off, gleam, in_shade = _relief(draw, solid, tx, ty, face, (nx, ny), lamps)
    mirrored = _mirrored(draw, tx, ty, glossy, (layout.width, layout.height))
    mirrored = mirrored + (gleam * over(glossy))[:, None]
    # What the tray's rim shades is lit by the room alone.
    deep = in_shade[:, None] * (1 - around / face_light.clamp_min(0.05))
    bounce = draw.uniform(0, 0.45) * torch.where(layout.dark, 0.1, 1.0)
    wall_light = (wall_light + over(bounce)[:, None]) * over(draw.log_uniform(0.4, 2.2))[:, None]
    # Round a rounded edge the face's light becomes the wall's.
    upon = face_light + rolled_off[:, None] * (wall_light - face_light)
    top = body * upon * (edge[:, None] * (1 - deep)) + mirrored
    wall = body.mean((2, 3), keepdim=True) * 0.3 + body * 0.7
    # A wall's place between foot and upper edge; it is darker near the sheet.
    foot = (-solid.at(x, y)).clamp_min(0)
    low = foot / (foot + face.clamp_min(0) + 0.1)
    corner = 1 - over(draw.uniform(0, 0.6)) * torch.exp(-low * over(thickness / 2))
    wall = wall * wall_light
    # A glossy wall mirrors the sheet before it.
    sees = glossy & draw.chance(0.7)
    sees = sees * draw.log_uniform(0.03, 0.6) * torch.where(layout.dark, 0.1, 1.0)
    wall = wall * corner[:, None] + over(sees)[:, None] * corner[:, None]
    near = torch.exp(-met.clamp_min(0) / over(thickness + 0.5)) * over(draw.uniform(0, 0.12))
    ground = paper * (sheet_light + near[:, None] * wall)
    # Toner and photo paper shine a little.
    shine = over(draw.chance(0.3) * draw.uniform(0, 0.12))
    glare = torch.sigmoid(noise(draw, x, y, draw.uniform(30, 150), draw.uniform(30, 150)) * 4 - 2)
    ground = ground + (shine * glare)[:, None]
    alpha, above = part[:, None], torch.minimum(upper, part)[:, None]
    light = ground * (1 - alpha) + wall * (alpha - above) + top * above

    # A cloth or a hand over it.
    colour = draw.log_uniform(0.05, 1.0)[:, None] * torch.exp(0.3 * draw.normal(3))
    skin = draw.log_uniform(0.12, 0.85)[:, None] * torch.tensor([1.0, 0.68, 0.54], device=device)
    colour = torch.where((covered_by == 2)[:, None], skin, colour)
    folds = noise(draw, x, y, draw.uniform(15, 80), draw.uniform(5, 30))
    depth = cloth.at(x, y)
    folds = folds * over(torch.tensor([0, 0.3, 0.08, 0.02], device=device)[covered_by])
    rounded = 1 - over(0.5 * (covered_by != 3)) * torch.exp(depth / 4).clamp_max(1)
    lying = (0.5 - depth / s).clamp(0, 1)[:, None]
    light = light * (1 - lying) + lying * spread(colour) * face_light * (
        torch.exp(folds) * rounded
    ).unsqueeze(1)

    return _given(draw, light, layout, x, y, number, inside, part, lying[:, 0], sheet_light, camera,
                  up, thickness)  # fmt: skip


def _finished(draw, light, x, y):
    """The picture as a phone gives it and the program divides it: curve, blur, noise, rest."""
    low = sum(
        over(draw.normal()) * f
        for f in (x / 150, y / 100, x * y / 15000, (x / 150) ** 2, (y / 100) ** 2, (x / 150) ** 3)
    )
    left = torch.exp(over(draw.log_uniform(0.003, 0.06)) * low)
    light = light * left[:, None] * torch.exp(0.015 * draw.normal(3))[:, :, None, None]
    light = light.clamp_min(1e-4) ** over(torch.exp(0.08 * draw.normal()))[:, None]
    # The last as of a small photo, which has fewer px than this picture.
    for sigma in (0.6, 1.3, 2.0):
        taps = torch.exp(-0.5 * (torch.arange(-4, 5, device=x.device) / sigma) ** 2)
        taps = (taps / taps.sum()).to(light.dtype)
        flat = light.reshape(-1, 1, HEIGHT, WIDTH)
        flat = conv2d(pad(flat, (4, 4, 0, 0), "replicate"), taps.view(1, 1, 1, 9))
        flat = conv2d(pad(flat, (0, 0, 4, 4), "replicate"), taps.view(1, 1, 9, 1))
        blurred = flat.view(light.shape)
        share = draw.uniform(0.2, 1.2) if sigma < 1 else draw.uniform(-0.5, 0.6)
        if sigma > 1.5:
            share = draw.chance(0.15) * draw.uniform(0, 1)
        change = blurred - light
        light = light + over(share)[:, None] * change
        # JPEG keeps less of hue than of brightness.
        if 1 < sigma < 1.5:
            hue = change - change.mean(1, keepdim=True)
            light = light + over(draw.chance(0.5) * draw.uniform(0, 0.8))[:, None] * hue
    size = draw.log_uniform(0.001, 0.02)
    dots = torch.randn(light.shape, generator=draw.generator, device=x.device)
    light = light + over(size)[:, None] * dots * light.clamp_min(0.02).sqrt()
    white = over(draw.uniform(1.0, 1.7))[:, None]
    return torch.minimum(light, white)


def looks(light):
    """Brightness and two opponent colours of light (B, 3, h, w), as `trace` has them."""
    light = light.clamp(0, BRIGHTEST)
    coded = torch.where(
        light <= 0.0031308, 12.92 * light, 1.055 * light.clamp_min(1e-6) ** (1 / 2.4) - 0.055
    )
    red, green, blue = coded.unbind(1)
    luma = 0.299 * red + 0.587 * green + 0.114 * blue
    scale = 3 / (luma + 0.08)
    return torch.stack([2 * luma - 1, (red - green) * scale, (blue - luma) * scale], 1)


def _given(draw, light, layout, x, y, number, inside, part, lying, sheet_light, camera, up,
           thickness):  # fmt: skip
    batch, device = len(x), x.device
    # Markers under part or cover are not found, and some others.
    hidden = torch.zeros(batch, 1024, device=device)
    over_it = torch.maximum(part, lying).flatten(1)
    hidden.scatter_reduce_(1, number.flatten(1), over_it, "amax")
    hidden = (hidden > 0.05) | (draw.uniform(0, 1, 1024) < 0.02)
    missing = hidden.gather(1, number.flatten(1)).view(x.shape) & (number > 0)
    found = (number > 0) & ~missing
    # The photo may end within the sheet.
    valid = torch.ones_like(x, dtype=torch.bool)
    for _ in range(2):
        way = draw.uniform(0, 6.3)
        reach = torch.where(draw.chance(0.2), draw.uniform(0.45, 0.95), torch.full_like(way, 9.0))
        far = reach * torch.hypot(layout.width * torch.cos(way), layout.height * torch.sin(way)) / 2
        valid &= x * over(torch.cos(way)) + y * over(torch.sin(way)) < over(far)
    found &= valid
    missing &= valid
    picture = looks(_finished(draw, light, x, y)) * valid[:, None]
    told = thickness * torch.where(draw.chance(0.9), 1.0, draw.log_uniform(0.5, 2))
    share = over(told / (up - told)) / over(layout.mm_per_px) / 8
    planes = [valid, inside, inside & over(layout.dark), found, missing]
    relief = [(x - over(camera[:, k])) * share if k == 0 else (y - over(camera[:, k])) * share
              for k in (0, 1)]  # fmt: skip
    picture = torch.nan_to_num(picture)
    given = torch.cat([picture, torch.stack([*(p.float() for p in planes), *relief], 1)], 1)
    bright = sheet_light.mean(1)
    shaded = (bright < SHADED).float()
    free = (1 - part) * (1 - lying)
    shares = torch.stack([free * (1 - shaded), free * shaded, part * (1 - lying), lying], 1)
    judged = (inside | missing) * valid
    shares = avg_pool2d(shares, 2)
    weight = avg_pool2d(judged[:, None].float(), 2)[:, 0]
    weight = weight + 0.05 * avg_pool2d(valid[:, None].float(), 2)[:, 0]
    return given, shares, weight
