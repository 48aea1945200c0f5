"""A linear picture of a scene: what each sub-pixel's ray meets, and how that is lit. Torch.

The sheet's light is 1 where nothing shades it (times its own reflectance). Lamps have a size, so
shadows have penumbras as wide as they are; wall and sheet light one another; gloss mirrors lamps,
room and sheet.
"""

from dataclasses import dataclass

import torch
from shapes import NODES, Outline, Profile, profile
from torch.nn.functional import avg_pool2d, grid_sample, interpolate

TEXTURE = 256
FINE = 2  # sub-pixels a side


def wide(values, dims=2):
    """(B, ...) to (B, ..., 1, 1)."""
    return values.reshape(*values.shape, *([1] * dims))


@dataclass(frozen=True)
class Stretch:
    """A scene's geometry: the solid in the sheet's own axes (outwards is +y), and the picture's."""

    outline: Outline
    profile: Profile
    to_picture: torch.Tensor  # (B, 2, 2)
    to_sheet: torch.Tensor
    middle: torch.Tensor  # (B, 2) place of the sheet that is seen in the picture's middle
    lean: torch.Tensor  # (B, 2) of the ray there, px sideways for each px of height
    farness: torch.Tensor
    size: int

    @staticmethod
    def of(s, size):
        outline = Outline(
            *(wide(s[k]) for k in ("turn", "radius", "hollow", "wave", "rate", "phase"))
        )
        sides = profile(
            torch,
            s["thickness"],
            s["edge"],
            1.0 * (s["edge_kind"] >= 0),
            s["bottom"],
            s["bottom_round"],
            s["draft"],
        )
        a, b = s["turned"], s["squeezed"]
        turn = torch.stack([torch.cos(a), -torch.sin(a), torch.sin(a), torch.cos(a)], -1).reshape(
            -1, 2, 2
        )
        axis = torch.stack([torch.cos(b), torch.sin(b)], -1)
        squeeze = (
            torch.eye(2, device=a.device)
            - (1 - s["squeeze"])[:, None, None] * axis[:, :, None] * axis[:, None]
        )
        to_picture = turn @ squeeze
        at = torch.stack(outline.at(torch, wide(s["start"])), -1).reshape(-1, 2)
        lean = s["lean"][:, None] * torch.stack(
            [torch.cos(s["towards"]), torch.sin(s["towards"])], -1
        )
        return Stretch(
            outline,
            sides,
            to_picture,
            torch.linalg.inv(to_picture),
            at + s["shift"],
            lean,
            s["farness"],
            size,
        )

    def on_sheet(self, u, v):
        """Sheet places of picture places (B, ...) px; the patch's middle is (size - 1) / 2."""
        half = (self.size - 1) / 2
        m = self.to_sheet
        dims = u.ndim - 1
        u, v = u - half, v - half
        x = wide(m[:, 0, 0], dims) * u + wide(m[:, 0, 1], dims) * v + wide(self.middle[:, 0], dims)
        y = wide(m[:, 1, 0], dims) * u + wide(m[:, 1, 1], dims) * v + wide(self.middle[:, 1], dims)
        return x, y

    def in_picture(self, x, y):
        half = (self.size - 1) / 2
        m = self.to_picture
        dims = x.ndim - 1
        x, y = x - wide(self.middle[:, 0], dims), y - wide(self.middle[:, 1], dims)
        u = wide(m[:, 0, 0], dims) * x + wide(m[:, 0, 1], dims) * y + half
        v = wide(m[:, 1, 0], dims) * x + wide(m[:, 1, 1], dims) * y + half
        return u, v

    def leans(self, x, y):
        dims = x.ndim - 1
        far = wide(self.farness, dims)
        lx = wide(self.lean[:, 0], dims) - (x - wide(self.middle[:, 0], dims)) / far
        ly = wide(self.lean[:, 1], dims) - (y - wide(self.middle[:, 1], dims)) / far
        return lx, ly

    def passes(self, x, y):
        """`shapes.grazing` of the rays that meet the sheet at (x, y)."""
        from shapes import grazing

        lx, ly = self.leans(x, y)
        return grazing(torch, self.outline, self.profile, x, y, lx, ly)


def _node(profile, name, k):
    return wide(getattr(profile, name)[:, k])


def met(stretch, x, y):
    """(hit, height, side, up) of rays: whether, and there the height and the profile's normal."""
    lx, ly = stretch.leans(x, y)
    p = stretch.profile
    distance = stretch.outline.distance
    top = NODES - 1
    above = distance(torch, x + lx * _node(p, "height", top), y + ly * _node(p, "height", top))[
        0
    ] + _node(p, "inset", top)
    hit = above < 0
    height = _node(p, "height", top) + 0 * x
    side, up = torch.zeros_like(x), torch.ones_like(x)
    for k in range(top - 1, -1, -1):
        z = _node(p, "height", k)
        here = distance(torch, x + lx * z, y + ly * z)[0] + _node(p, "inset", k)
        new = ~hit & (here < 0)
        share = (above / (above - here).clamp_min(1e-6)).clamp(0, 1)
        height = torch.where(new, _node(p, "height", k + 1) * (1 - share) + z * share, height)
        side = torch.where(
            new, _node(p, "side_below", k + 1) * (1 - share) + _node(p, "side", k) * share, side
        )
        up = torch.where(
            new, _node(p, "up_below", k + 1) * (1 - share) + _node(p, "up", k) * share, up
        )
        hit = hit | new
        above = here
    size = torch.sqrt(side * side + up * up)
    return hit, height, side / size, up / size


def shade(stretch, s, x, y):
    """(B, LAMPS, H, W) share of each lamp that the sheet gets at (x, y)."""
    p = stretch.profile
    shares = []
    for i in range(s["lamp"].shape[1]):
        up, at = wide(s["lamp_up"][:, i]), wide(s["lamp_at"][:, i])
        reach = 1 / torch.tan(up)
        sx, sy = torch.cos(at) * reach, torch.sin(at) * reach
        wider = wide(s["lamp_radius"][:, i]) / torch.sin(up) ** 2
        light = torch.ones_like(x)
        for k in range(NODES):
            z = _node(p, "height", k)
            gap = stretch.outline.distance(torch, x + sx * z, y + sy * z)[0] + _node(p, "inset", k)
            # A rim is as wide as a pixel at least, but not at the foot, where there is no gap.
            q = (gap / (wider * z + 0.02 + (0.3 * z * reach).clamp_max(0.7))).clamp(-1, 1)
            light = torch.minimum(light, 0.5 + 0.5 * torch.sin(1.5707963 * q))
        shares.append(light)
    shares = torch.stack(shares, 1)
    clear = s["clear"][:, None, None, None]
    return shares + (1 - shares) * clear


def _hand(s, x, y, z):
    """(B, H, W) light that a hand's or phone's shadow leaves of the first lamp."""
    turn = wide(s["hand_turn"])
    reach = 1 / torch.tan(wide(s["lamp_up"][:, 0]))
    at = wide(s["lamp_at"][:, 0])
    off = (x + torch.cos(at) * reach * z) * torch.cos(turn) + (
        y + torch.sin(at) * reach * z
    ) * torch.sin(turn)
    rim = torch.sigmoid(4 * (off - wide(s["hand_at"])) / wide(s["hand_soft"]))
    return 1 - wide(s["hand"] * s["hand_dark"]) * rim


def textures(s, device):
    """(B, 4, TEXTURE, TEXTURE) noise of unit variance: two clouds, one white, one of spots."""
    n = len(s["face"])
    generator = torch.Generator(device=device)
    generator.manual_seed(int(s["texture_seed"][0]))
    white = torch.randn(n, 4, TEXTURE, TEXTURE, device=device, generator=generator)
    f = (
        torch.fft.fftfreq(TEXTURE, device=device)[:, None] ** 2
        + torch.fft.rfftfreq(TEXTURE, device=device)[None] ** 2
    )
    fall = torch.stack(
        [(f + 1e-4) ** -0.75, (f + 4e-4) ** -0.5, torch.ones_like(f), torch.exp(-f * 60)]
    )
    fall[:, 0, 0] = 0
    cloud = torch.fft.irfft2(torch.fft.rfft2(white) * fall, s=(TEXTURE, TEXTURE))
    return cloud / cloud.std(dim=(2, 3), keepdim=True)


def _sampled(texture, u, v):
    """(B, C, H, W) of textures at cell coordinates; mirrored beyond their end."""
    at = torch.stack([2 * u / TEXTURE, 2 * v / TEXTURE], -1)
    return grid_sample(texture, at, mode="bilinear", padding_mode="reflection", align_corners=False)


def _albedo(s, cloud, x, y, z, face):
    """(B, 3, H, W) reflectance of the part: `face` (B, H, W) is 1 on the upper face."""
    turn = wide(s["grain_turn"])
    c, si = torch.cos(turn), torch.sin(turn)
    scale, long = wide(s["grain_scale"]), wide(s["grain_long"])
    place = TEXTURE * s["grain_place"]
    a = scale * (c * x + si * y + 0.3 * z) / long + wide(place[:, 0])
    b = scale * (-si * x + c * y + 0.8 * z) + wide(place[:, 1])
    t = _sampled(cloud, a, b)
    kind = wide(s["kind"])
    rings = torch.sin(b * wide(s["ring_rate"]) * 6 + 2.5 * t[:, 0])
    pores = -2 * torch.sigmoid(6 * (t[:, 3] - 1.2))
    pattern = torch.where(
        kind == 1,
        t[:, 2],
        torch.where(kind == 2, t[:, 1], torch.where(kind == 3, rings + 0.3 * t[:, 1], pores)),
    )
    strength = wide(s["strength"]) * torch.where(face > 0, 1.0, wide(s["side_strength"]))
    grain = torch.where(kind == 4, torch.zeros_like(pattern), strength * pattern)
    base = torch.where(face[:, None] > 0, wide(s["face"]), wide(s["side"]))
    albedo = base * torch.exp(grain.clamp(-2.5, 1.2))[:, None]
    ink = (
        torch.sigmoid(10 * (t[:, 0] - wide(s["print_level"])))
        * (kind == 4)
        * (face > 0)
        * strength.clamp(0, 1)
    )
    albedo = albedo * (1 - ink[:, None]) + wide(s["print_colour"]) * ink[:, None]
    return albedo.clamp(0.004, 0.95)


def _ground(s, cloud, x, y, out):
    """(B, 3, H, W) reflectance of the sheet; `out` is px outside the outline."""
    place = TEXTURE * s["grain_place"]
    t = _sampled(cloud, x * 0.35 + wide(place[:, 2]), y * 0.35 + wide(place[:, 3]))
    slow = _sampled(cloud[:, :1], x * 0.02 + wide(place[:, 3]), y * 0.02 + wide(place[:, 2]))[:, 0]
    level = torch.exp(
        wide(s["paper_grain"]) * (0.5 * t[:, 1] + 0.5 * t[:, 2]) + wide(s["cockle"]) * slow * 0.5
    )
    level = level * (1 - wide(s["dirt"]) * torch.sigmoid(5 * (t[:, 3] - 0.8)))
    ground = wide(s["ground"]) * level[:, None]
    turn = wide(s["line_turn"])
    off = torch.sin(turn) * x + torch.cos(turn) * out - wide(s["line_at"])
    line = torch.sigmoid(4 * (0.5 * wide(s["line_wide"]) - off.abs())) * wide(s["line"])
    mark = torch.where(wide(s["dark"])[:, None] > 0, wide(s["paper"]), wide(s["line_ink"])[:, None])
    ground = ground * (1 - line[:, None]) + mark * line[:, None]
    cell = wide(s["bits_wide"])
    odd = (
        torch.remainder(
            torch.floor(x / cell) * 7 + torch.floor((out - wide(s["bits_at"])) / cell) * 3, 2
        )
        < 1
    )
    bits = wide(s["bits"]) * (out > wide(s["bits_at"])) * (out < wide(s["bits_at"]) + 3 * cell)
    colour = torch.where(odd[:, None], wide(s["paper"]), 0.04 + 0 * ground)
    return ground * (1 - bits[:, None]) + colour * bits[:, None]


def _lamp_light(s, nx, ny, nz):
    """(B, 3, H, W) light of each lamp on a surface of that normal, unshaded; one tensor a lamp."""
    for i in range(s["lamp"].shape[1]):
        up, at = s["lamp_up"][:, i], s["lamp_at"][:, i]
        lx, ly, lz = torch.cos(up) * torch.cos(at), torch.cos(up) * torch.sin(at), torch.sin(up)
        facing = nx * wide(lx) + ny * wide(ly) + nz * wide(lz)
        soft = wide(s["lamp_radius"][:, i]).clamp_min(0.01)
        facing = torch.nn.functional.softplus(facing / soft * 4) * soft / 4
        yield wide((s["lamp"][:, i] / lz)[:, None] * s["lamp_colour"][:, i]) * facing[:, None]


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


def render(s, size):
    """(B, 3, FINE size, FINE size) linear light of scenes (tensors by name), and geometry."""
    device = s["face"].device
    stretch = Stretch.of(s, size)
    n = len(s["face"])
    cloud = textures(s, device)
    # The sheet, at whole pixels: it has no sharp edges but hard shadows, of a pixel's width.
    axis = torch.arange(size, device=device, dtype=torch.float32)
    u, v = axis[None, None, :].expand(n, size, size), axis[None, :, None].expand(n, size, size)
    x, y = stretch.on_sheet(u, v)
    out, gx, gy = stretch.outline.distance(torch, x, y)
    # What would lie under the part goes on as it is beside it: it is mixed into the edge's pixels.
    push = (0.5 - out).clamp(0, 4)
    x, y = x + gx * push, y + gy * push
    shares = shade(stretch, s, x, y)
    hand = _hand(s, x, y, 0.0)
    thickness, bottom = wide(s["thickness"]), wide(s["bottom"])
    beside = out.clamp_min(0.5)
    open_ = beside / torch.sqrt(beside**2 + thickness**2)
    zero, one = torch.zeros_like(x), torch.ones_like(x)
    under = 1 - 0.7 * torch.exp(-(out + bottom).clamp_min(0) / (0.4 * bottom + 0.5)) * (
        bottom > 0.5
    )
    light = torch.zeros(n, 3, size, size, device=device)
    facing_wall = torch.zeros_like(light)
    for i, lamp in enumerate(_lamp_light(s, zero, zero, one)):
        share = shares[:, i] * (hand if i == 0 else 1.0)
        light += lamp * share[:, None]
    for i, lamp in enumerate(_lamp_light(s, gx, gy, zero)):
        facing_wall += lamp * (hand[:, None] if i == 0 else 1.0)
    lean_room = (0.5 + 0.5 * open_) * under
    light += _room(s, zero, zero, one) * lean_room[:, None]
    mean_ground = wide(s["ground"])
    facing_wall += _room(s, gx, gy, zero) + mean_ground * light * 0.5
    bounce = wide(s["side"]) * facing_wall * (0.5 * (1 - open_) * under)[:, None]
    light = light + bounce
    sheet = light * _ground(s, cloud, x, y, out)
    calm = avg_pool2d(sheet, 8)

    step = 1 / FINE
    axis = torch.arange(FINE * size, device=device, dtype=torch.float32) * step - 0.5 + 0.5 * step
    u = axis[None, None, :].expand(n, -1, -1).expand(n, len(axis), len(axis))
    v = u.transpose(1, 2)
    x, y = stretch.on_sheet(u, v)
    hit, z, side, up = met(stretch, x, y)
    lx, ly = stretch.leans(x, y)
    px, py = x + lx * z, y + ly * z
    out, gx, gy = stretch.outline.distance(torch, px, py)
    nx, ny, nz = gx * side, gy * side, up
    face = (up > 0.999).to(x.dtype)

    def sheet_at(reach):
        """The sheet's own light, calmed, so many px outside the foot."""
        a, b = stretch.in_picture(px + gx * (reach - out), py + gy * (reach - out))
        at = torch.stack([2 * (a + 0.5) / size - 1, 2 * (b + 0.5) / size - 1], -1)
        return grid_sample(calm, at, mode="bilinear", padding_mode="border", align_corners=False)

    below = sheet_at(0.8 * z + 4.0)
    lit = torch.zeros(n, 3, len(axis), len(axis), device=device)
    for i, lamp in enumerate(_lamp_light(s, nx, ny, nz)):
        lit += lamp * (_hand(s, px, py, z)[:, None] if i == 0 else 1.0)
    lit += _room(s, nx, ny, nz)
    lit += below * (0.5 * (1 - nz))[:, None]
    # Low on the wall the sheet's own darkness and the foot's gap take light away.
    albedo = _albedo(s, cloud, px, py, z, face)
    part_wall = hit & (side > 0.9)
    near = hit.logical_not() & (stretch.outline.distance(torch, x, y)[0].abs() < 60)
    albedo = _evened(s, albedo, lit, sheet, hit, part_wall, face, near)
    stripe = (
        wide(s["stripe"])
        * face
        * torch.sigmoid(3 * (0.5 * wide(s["stripe_wide"]) - (out + wide(s["stripe_at"])).abs()))
    )
    albedo = albedo * (1 + stripe * (wide(s["stripe_light"]) - 1))[:, None]
    matt = albedo.clamp(0.004, 0.95) * lit
    length = torch.sqrt(1 + lx * lx + ly * ly)
    vx, vy, vz = lx / length, ly / length, 1 / length
    facing = (nx * vx + ny * vy + nz * vz).clamp(0, 1)
    rx, ry, rz = 2 * facing * nx - vx, 2 * facing * ny - vy, 2 * facing * nz - vz
    across = torch.sqrt(rx * rx + ry * ry)
    mirrored = _seen_in(
        s, rx, ry, rz, sheet_at(2.0 + z * (across / (-rz).clamp_min(0.05)).clamp(0, 8))
    )
    gloss = wide(s["gloss"])
    fresnel = (gloss + (1 - gloss) * (1 - facing) ** 5 * (gloss > 0)) / (
        1 + 3 * wide(s["rough"]) * (wide(s["metal"]) < 1)
    )
    metal = wide(s["metal"])[:, None]
    tint = 1 - metal + metal * (wide(s["face"]) / wide(s["face"]).amax(1, keepdim=True)) ** 0.3
    part = matt * (1 - fresnel[:, None]) * (1 - 0.9 * metal) + fresnel[:, None] * tint * mirrored
    paper = interpolate(sheet, scale_factor=FINE, mode="bilinear", align_corners=False)
    return torch.where(hit[:, None], part, paper), stretch


def _evened(s, albedo, lit, sheet, hit, wall, face, near):
    """Reflectances of wall (1) or face (2) set so that its light is the sheet's beside it."""
    sheet = interpolate(sheet, scale_factor=FINE, mode="nearest")

    def mean(values, where):
        where = where[:, None].to(values.dtype)
        return (values * where).sum((2, 3)) / where.sum((2, 3)).clamp_min(1.0)

    aim = mean(sheet, near)  # (B, 3)
    weights = torch.tensor([0.2126, 0.7152, 0.0722], device=aim.device)
    for which, here in ((1, wall), (2, hit & (face > 0))):
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
