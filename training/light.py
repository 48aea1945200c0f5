"""A linear picture of a scene: what each sub-pixel's ray meets, and how that is lit. Torch.

The sheet's light is 1 where nothing shades it (times its own reflectance). Lamps have a size, so
shadows have penumbras as wide as they are; wall and sheet light one another; gloss mirrors lamps,
room and sheet.
"""

import torch
from materials import ground, reflectance, textures, wide
from shapes import NODES
from stretch import Stretch, met, node
from torch.nn.functional import avg_pool2d, grid_sample, interpolate

FINE = 2  # sub-pixels a side
TILE = 16  # px, side of the squares in which a picture is drawn
TILES = 176  # a strip of 128 rows lies in no more


def shade(s, size, x, y):
    """(B, LAMPS, H, W) share of each lamp that the sheet gets at (x, y)."""
    shares = torch.ones(len(x), s["lamp"].shape[1], *x.shape[1:], device=x.device)
    for i in range(s["lamp"].shape[1]):
        lit = torch.nonzero(s["lamp"][:, i] > 0)[:, 0]
        if len(lit):
            some = {k: v[lit] for k, v in s.items()}
            shares[lit, i] = _shade_of(Stretch.of(some, size), some, i, x[lit], y[lit])
    clear = s["clear"][:, None, None, None]
    return shares + (1 - shares) * clear


def _shade_of(stretch, s, i, x, y):
    """(B, H, W) share of lamp `i`."""
    p = stretch.profile
    up, at = wide(s["lamp_up"][:, i]), wide(s["lamp_at"][:, i])
    reach = 1 / torch.tan(up)
    sx, sy = torch.cos(at) * reach, torch.sin(at) * reach
    wider = wide(s["lamp_radius"][:, i]) / torch.sin(up) ** 2
    light = torch.ones_like(x)
    for k in range(NODES):
        z = node(p, "height", k)
        # A rim is as wide as a pixel at least, but not at the foot, where there is no gap.
        rim = wider * z + 0.02 + (0.3 * z * reach).clamp_max(0.7)
        inset = node(p, "inset", k)
        light = _less(stretch.outline, x, y, sx * z, sy * z, inset, 1 / rim, light)
    return light


def _less(outline, x, y, dx, dy, inset, per_rim, light):
    """(B, H, W) light that a layer of the solid leaves."""
    gap = outline.distance(torch, x + dx, y + dy)[0] + inset
    q = (gap * per_rim).clamp(-1, 1)
    return torch.minimum(light, 0.5 + 0.5 * torch.sin(1.5707963 * q))


def _hand(s, x, y, z):
    """(B, H, W) light that a hand's or phone's shadow leaves of the first lamp."""
    turn = wide(s["hand_turn"])
    reach = 1 / torch.tan(wide(s["lamp_up"][:, 0]))
    at = wide(s["lamp_at"][:, 0])
    off = (x + torch.cos(at) * reach * z) * torch.cos(turn) + (
        y + torch.sin(at) * reach * z
    ) * torch.sin(turn)
    rim = torch.sigmoid(4 * (off - wide(s["hand_at"])) / wide(s["hand_soft"]))
    # A finger's shadow has an end as well.
    end = wide(s["hand_at"] + s["hand_wide"])
    rim = rim * torch.sigmoid(4 * (end - off) / wide(s["hand_soft"]))
    return 1 - wide(s["hand"] * s["hand_dark"]) * rim


def _lit(s, nx, ny, nz, first, shares=None, z=None):
    """(B, 3, H, W) light of all lamps on a surface of that normal.

    `first` (B, H, W) is the share of the first lamp's light that gets there, `shares` (B, LAMPS, H,
    W) that of each. The first lamp may stand near: what lies higher (z) gets more light.
    """
    light = 0.0
    for i in range(s["lamp"].shape[1]):
        up, at = s["lamp_up"][:, i], s["lamp_at"][:, i]
        lx, ly, lz = torch.cos(up) * torch.cos(at), torch.cos(up) * torch.sin(at), torch.sin(up)
        facing = nx * wide(lx) + ny * wide(ly) + nz * wide(lz)
        soft = wide(s["lamp_radius"][:, i]).clamp_min(0.01)
        facing = torch.nn.functional.softplus(facing / soft * 4) * soft / 4
        if i == 0 and z is not None:
            facing = facing * (1 + wide(s["near"]) * z)
        facing = facing * first if i == 0 else facing
        facing = facing if shares is None else facing * shares[:, i]
        colour = wide((s["lamp"][:, i] / lz)[:, None] * s["lamp_colour"][:, i])
        light = light + colour * facing[:, None]
    return light


def _room(s, nx, ny, nz):
    """(B, 3, H, W) light of the room above on a surface of that normal."""
    lean = 1 + nx * wide(s["room_lean"][:, 0]) + ny * wide(s["room_lean"][:, 1])
    return (
        wide(s["room"][:, None] * s["room_colour"])
        * (0.5 * (1 + nz) * lean.clamp_min(0.1))[:, None]
    )


def _seen_in(s, rx, ry, rz, sheet):
    """(B, 3, H, W) what is mirrored in the direction (rx, ry, rz); `sheet` where it looks down."""
    lean = (1 + rx * wide(s["room_lean"][:, 0]) + ry * wide(s["room_lean"][:, 1])).clamp_min(0.1)
    bands = 1 + wide(s["room_bands"]) * torch.sin(
        4 * torch.atan2(ry, rx) + 5 * rz + wide(s["room_phase"])
    )
    above = wide(s["room"][:, None] * s["room_colour"]) * (lean * bands)[:, None]
    for i in range(s["lamp"].shape[1]):
        up, at = s["lamp_up"][:, i], s["lamp_at"][:, i]
        lx, ly, lz = torch.cos(up) * torch.cos(at), torch.cos(up) * torch.sin(at), torch.sin(up)
        near = 2 * (1 - (rx * wide(lx) + ry * wide(ly) + rz * wide(lz)))
        spread = wide(s["lamp_radius"][:, i] ** 2 + s["rough"] ** 2)
        bright = wide((s["lamp"][:, i] / lz)[:, None] * s["lamp_colour"][:, i]) / spread[:, None]
        above = above + bright * torch.exp(-near / spread)[:, None]
    soft = torch.sigmoid(rz / (0.02 + 0.5 * wide(s["rough"])))
    return (above * soft[:, None] + sheet * (1 - soft)[:, None]).clamp(0, 25)


def covered(line, normals, size, low, high):
    """(B, TILES) numbers of tiles, all that a strip `low` to `high` px across a line lies in."""
    n, side = len(line), size // TILE
    across = torch.arange(low - 10.0, high + 11.0, 6.0, device=line.device)
    along = torch.stack([normals[..., 1], -normals[..., 0]], -1)
    marks = torch.zeros(n, side * side, device=line.device)
    for shift in (-10.0, 0.0, 10.0):
        at = (line + shift * along)[:, ::3, None] + normals[:, ::3, None] * across[:, None]
        cell = (at / TILE).long().clamp(0, side - 1)
        marks.scatter_(1, (cell[..., 1] * side + cell[..., 0]).reshape(n, -1), 1.0)
    return marks.topk(min(TILES, side * side), 1).indices


def _tiled(picture, cell):
    """(B, C, N, N) as (B, C, tiles, places) in tiles of `cell` places a side."""
    n, channels, size, _ = picture.shape
    side = size // cell
    by_tile = picture.reshape(n, channels, side, cell, side, cell).permute(0, 1, 2, 4, 3, 5)
    return by_tile.reshape(n, channels, side * side, -1)


def _of_tiles(picture, tiles, cell):
    """(B, C, K, places) of a picture (B, C, N, N) in some of its tiles."""
    by_tile = _tiled(picture, cell)
    index = tiles[:, None, :, None].expand(-1, by_tile.shape[1], -1, by_tile.shape[-1])
    return by_tile.gather(2, index)


def _untiled(values, tiles, under, cell):
    """(B, C, K, places) by tile put into a picture (B, C, N, N) `under` it."""
    n, channels, size, _ = under.shape
    side = size // cell
    by_tile = _tiled(under, cell).contiguous()
    index = tiles[:, None, :, None].expand(-1, channels, -1, by_tile.shape[-1])
    by_tile = by_tile.scatter(2, index, values)
    by_tile = by_tile.reshape(n, channels, side, side, cell, cell).permute(0, 1, 2, 4, 3, 5)
    return by_tile.reshape(n, channels, size, size)


def render(s, stretch, tiles):
    """Linear light (B, 3, FINE size, FINE size), drawn in `tiles` (B, K); beside them sheet only.

    Gives the picture, the sheet alone, and (B, 1, ...) where the part covers it.
    """
    cloud = textures(s, s["face"].device)
    sheet = _sheet(s, stretch, cloud, tiles)
    size, cell = stretch.size, FINE * TILE
    within = torch.arange(cell, device=sheet.device)
    origin = torch.stack([tiles % (size // TILE), tiles // (size // TILE)], -1) * cell
    u = origin[..., 0, None] + within.repeat(cell)
    v = origin[..., 1, None] + within.repeat_interleave(cell)
    u, v = (w / FINE - 0.5 + 0.5 / FINE for w in (u, v))  # (B, K, P) px
    paper = interpolate(sheet, scale_factor=FINE, mode="bilinear", align_corners=False)
    hit, light = _part(s, stretch, cloud, sheet, u, v)
    seen = torch.where(hit[:, None], light, _of_tiles(paper, tiles, cell))
    picture = _untiled(seen, tiles, paper, cell)
    cover = _untiled(hit[:, None].to(paper.dtype), tiles, torch.zeros_like(paper[:, :1]), cell)
    axis = torch.linspace(-0.5, 0.5, picture.shape[-1], device=sheet.device)
    slant = 1 + wide(s["slant"][:, 0]) * axis[None] + wide(s["slant"][:, 1]) * axis[:, None]
    return picture * slant[:, None], paper * slant[:, None], cover


def _shades(s, size, x, y, tiles):
    """(B, LAMPS, size, size) as `shade` of all places: in `tiles` each, elsewhere every fourth."""
    rough = shade(s, size, *(avg_pool2d(w[:, None], 4)[:, 0] for w in (x, y)))
    rough = interpolate(rough, scale_factor=4, mode="bilinear", align_corners=False)
    fine = shade(s, size, *(_of_tiles(w[:, None], tiles, TILE)[:, 0] for w in (x, y)))
    return _untiled(fine, tiles, rough, TILE)


def _sheet(s, stretch, cloud, tiles):
    """(B, 3, size, size) light of the sheet, as it lies beside the part and goes on under it."""
    n, size, device = len(s["face"]), stretch.size, s["face"].device
    # At whole pixels: it has no sharp edges but hard shadows, of a pixel's width.
    axis = torch.arange(size, device=device, dtype=torch.float32)
    u, v = axis[None, None, :].expand(n, size, size), axis[None, :, None].expand(n, size, size)
    x, y = stretch.on_sheet(u, v)
    out, gx, gy = stretch.outline.distance(torch, x, y)
    # What would lie under the part goes on as it is beside it: it is mixed into the edge's pixels.
    push = (0.5 - out).clamp(0, 4)
    x, y = x + gx * push, y + gy * push
    shares = _shades(s, size, x, y, tiles)
    hand = _hand(s, x, y, 0.0)
    thickness, bottom = wide(s["thickness"]), wide(s["bottom"])
    beside = out.clamp_min(0.5)
    open_ = beside / torch.sqrt(beside**2 + thickness**2)
    zero, one = torch.zeros_like(x), torch.ones_like(x)
    under = 1 - 0.7 * torch.exp(-(out + bottom).clamp_min(0) / (0.4 * bottom + 0.5)) * (
        bottom > 0.5
    )
    light = _lit(s, zero, zero, one, hand, shares)
    facing_wall = _lit(s, gx, gy, zero, hand)
    lean_room = (0.5 + 0.5 * open_) * under
    light += _room(s, zero, zero, one) * lean_room[:, None]
    facing_wall += _room(s, gx, gy, zero) + wide(s["ground"]) * light * 0.5
    bounce = wide(s["side"]) * facing_wall * (0.5 * (1 - open_) * under)[:, None]
    return (light + bounce) * ground(s, cloud, x, y, out)


def _sheet_at(stretch, calm, x, y):
    """(B, 3, ...) light of a small picture of the sheet at places of it."""
    a, b = stretch.in_picture(x, y)
    at = torch.stack([2 * (a + 0.5) / stretch.size - 1, 2 * (b + 0.5) / stretch.size - 1], -1)
    return grid_sample(calm, at, mode="bilinear", padding_mode="border", align_corners=False)


def _part(s, stretch, cloud, sheet, u, v):
    """Where rays of picture places (B, H, W) meet the part, and the light (B, 3, H, W) there."""
    x, y = stretch.on_sheet(u, v)
    hit, z, side, up = met(stretch, x, y)
    lx, ly = stretch.leans(x, y)
    px, py = x + lx * z, y + ly * z
    out, gx, gy = stretch.outline.distance(torch, px, py)
    nx, ny, nz = gx * side, gy * side, up
    face = (up > 0.999).to(x.dtype)
    calm = avg_pool2d(sheet, 4)

    def calmed(reach):
        """The sheet's own light, calmed, so many px outside the foot."""
        return _sheet_at(stretch, calm, px + gx * (reach - out), py + gy * (reach - out))

    lit = _lit(s, nx, ny, nz, _hand(s, px, py, z), z=z) + _room(s, nx, ny, nz)
    # Low on the wall the sheet's own darkness and the foot's gap take light away.
    ahead = calmed(wide(s["bounce_by"]) * z + wide(s["bounce_from"]))
    lit = lit + ahead * (wide(s["bounce"]) * 0.5 * (1 - nz))[:, None]
    albedo = reflectance(s, cloud, px, py, z, face)
    albedo = _evened(s, stretch, albedo, lit, sheet, hit, side, face)
    stripe = (
        wide(s["stripe"])
        * face
        * torch.sigmoid(3 * (0.5 * wide(s["stripe_wide"]) - (out + wide(s["stripe_at"])).abs()))
    )
    albedo = albedo * (1 + stripe * (wide(s["stripe_light"]) - 1))[:, None]
    matt = albedo.clamp(0.004, 0.95) * lit
    # Where the stuff lets light through, the sheet behind is seen, shifted by refraction.
    through = s["through"]
    behind = _sheet_at(stretch, sheet, px - 0.66 * lx * z, py - 0.66 * ly * z)
    tint = wide(0.5 + 0.5 * s["face"])
    matt = matt * (1 - wide(through[:, None])) + wide(through[:, None]) * tint * behind
    length = torch.sqrt(1 + lx * lx + ly * ly)
    vx, vy, vz = lx / length, ly / length, 1 / length
    facing = (nx * vx + ny * vy + nz * vz).clamp(0, 1)
    rx, ry, rz = 2 * facing * nx - vx, 2 * facing * ny - vy, 2 * facing * nz - vz
    across = torch.sqrt(rx * rx + ry * ry)
    mirrored = _seen_in(
        s, rx, ry, rz, calmed(2.0 + z * (across / (-rz).clamp_min(0.05)).clamp(0, 8))
    )
    gloss = wide(s["gloss"])
    fresnel = (gloss + (1 - gloss) * (1 - facing) ** 5 * (gloss > 0)) / (
        1 + 3 * wide(s["rough"]) * (wide(s["metal"]) < 1)
    )
    metal = wide(s["metal"])[:, None]
    tint = 1 - metal + metal * (wide(s["face"]) / wide(s["face"]).amax(1, keepdim=True)) ** 0.3
    return hit, matt * (1 - fresnel[:, None]) * (1 - 0.9 * metal) + fresnel[
        :, None
    ] * tint * mirrored


def _evened(s, stretch, albedo, lit, sheet, hit, side, face):
    """Reflectances of wall (1), face (2) or top edge (3) set so that its light is the sheet's.

    That is of the sheet within `even_near` px of the outline: shaded, or all of it.
    """
    axis = torch.arange(0, stretch.size, 2, device=sheet.device, dtype=torch.float32)
    n = len(axis)
    u, v = axis[None, None, :].expand(len(hit), n, n), axis[None, :, None].expand(len(hit), n, n)
    out = stretch.outline.distance(torch, *stretch.on_sheet(u, v))[0]
    near = (out > 0.5) & (out < wide(s["even_near"]))

    def mean(values, where):
        where = where[:, None].to(values.dtype)
        return (values * where).sum((2, 3)) / where.sum((2, 3)).clamp_min(1.0)

    aim = mean(sheet[..., ::2, ::2], near)  # (B, 3)
    weights = torch.tensor([0.2126, 0.7152, 0.0722], device=aim.device)
    treated = hit & (side <= 0.9) & (face == 0)
    for which, here in ((1, hit & (side > 0.9)), (2, hit & (face > 0)), (3, treated)):
        own = mean(albedo * lit, here)
        ratio = torch.where(
            s["even_hue"][:, None] > 0,
            aim / own.clamp_min(1e-4),
            ((aim @ weights) / (own @ weights).clamp_min(1e-4))[:, None],
        )
        ratio = (ratio * s["even_ratio"][:, None]).clamp(0.05, 20)
        use = (s["even"] == which)[:, None, None, None] & here[:, None]
        albedo = torch.where(use, albedo * wide(ratio), albedo)
    return albedo
