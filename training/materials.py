"""What sheet and part are of: reflectance by place, from wood and cork to print and marker bits.

Every pattern is a function of the place on the solid or on the sheet (px), so that it moves with
the geometry as the real one would.
"""

import torch
from torch.nn.functional import grid_sample

TEXTURE = 256
# Kinds of surface, as scenes.py draws them.
PLAIN, SPECKLE, GRAIN, RINGS, PRINT, PORES, WOVEN, BRUSHED, GRANULAR = range(9)
# Kinds of print.
CLOUDS, CHECKS, STRIPES, LETTERS, DOTS = range(5)


def wide(values, dims=2):
    """(B, ...) to (B, ..., 1, 1)."""
    return values.reshape(*values.shape, *([1] * dims))


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


def sampled(texture, u, v):
    """(B, C, H, W) of textures at cell coordinates; mirrored beyond their end."""
    at = torch.stack([2 * u / TEXTURE, 2 * v / TEXTURE], -1)
    return grid_sample(texture, at, mode="bilinear", padding_mode="reflection", align_corners=False)


def _turned(x, y, angle):
    c, si = torch.cos(wide(angle)), torch.sin(wide(angle))
    return c * x + si * y, c * y - si * x


def _chance_of(i, j):
    """A number of 0 to 1 for each pair of whole numbers, the same for the same pair."""
    return torch.frac((torch.sin(i * 12.9898 + j * 78.233) * 43758.5453).abs())


def _woven(p, q, noise):
    """Threads over and under one another, one a cell."""
    odd = torch.remainder(torch.floor(p) + torch.floor(q), 2) < 1
    across = torch.where(odd, torch.frac(p.abs()), torch.frac(q.abs()))
    return 1.6 * torch.sin(torch.pi * across) - 1.0 + 0.3 * noise


def _granular(p, q, t):
    """Grains of about a cell, each of its own light, darker between."""
    p, q = p + 0.45 * t[:, 0], q + 0.45 * t[:, 1]
    i, j = torch.floor(p), torch.floor(q)
    middle = torch.maximum((p - i - 0.5).abs(), (q - j - 0.5).abs())
    return 3.4 * (_chance_of(i, j) - 0.5) - 1.5 * (middle > 0.44)


def _pattern(s, t, a, b, rings_at):
    """(B, H, W) light and dark of the surface, of unit variance about."""
    kind = wide(s["kind"])
    cell = wide(s["cell"])
    rings = torch.sin(rings_at * wide(s["ring_rate"]) * 6 + 2.5 * t[:, 0])
    pattern = -2 * torch.sigmoid(6 * (t[:, 3] - 1.2))  # pores
    pattern = torch.where((kind == SPECKLE) | (kind == BRUSHED), t[:, 2], pattern)
    pattern = torch.where(kind == GRAIN, t[:, 1], pattern)
    pattern = torch.where(kind == RINGS, rings + 0.3 * t[:, 1], pattern)
    pattern = torch.where(kind == WOVEN, _woven(a / cell, b / cell, t[:, 2]), pattern)
    pattern = torch.where(kind == GRANULAR, _granular(a / cell, b / cell, t), pattern)
    return torch.where(kind == PRINT, torch.zeros_like(pattern), pattern)


def _ink(s, t, x, y):
    """(B, H, W) 1 where the part is printed on."""
    style, cell = wide(s["print_style"]), wide(s["print_cell"])
    p, q = _turned(x, y, s["print_turn"])
    p, q = p / cell + wide(s["print_place"][:, 0]), q / cell + wide(s["print_place"][:, 1])
    up, vp = torch.sin(torch.pi * p), torch.sin(torch.pi * q)
    level = wide(s["print_level"])
    clouds = torch.sigmoid(10 * (t[:, 0] - level))
    hard = 4 * cell
    checks = torch.sigmoid(hard * up * vp)
    stripes = torch.sigmoid(hard * (vp - 0.6 * level))
    dots = torch.sigmoid(hard * (up * up * vp * vp - 0.25 - 0.2 * level))
    # Letters: lines of odd pieces, two thirds of a line high.
    piece = torch.floor(p * 4), torch.floor(q * 5)
    letters = (_chance_of(*piece) > 0.5) * (torch.remainder(q, 1) < 0.66).to(q.dtype)
    ink = torch.where(style == CLOUDS, clouds, checks)
    ink = torch.where(style == STRIPES, stripes, ink)
    ink = torch.where(style == DOTS, dots, ink)
    return torch.where(style == LETTERS, letters, ink)


def reflectance(s, cloud, x, y, z, face):
    """(B, 3, H, W) reflectance of the part: `face` (B, H, W) is 1 on the upper face."""
    a0, b0 = _turned(x, y, s["grain_turn"])
    scale, long = wide(s["grain_scale"]), wide(s["grain_long"])
    place = TEXTURE * s["grain_place"]
    a = scale * (a0 + 0.3 * z) / long + wide(place[:, 0])
    b = scale * (b0 + 0.8 * z) + wide(place[:, 1])
    t = sampled(cloud, a, b)
    pattern = _pattern(s, t, a0 + 0.3 * z, b0 + 0.8 * z, b)
    strength = wide(s["strength"]) * torch.where(face > 0, 1.0, wide(s["side_strength"]))
    base = torch.where(face[:, None] > 0, wide(s["face"]), wide(s["side"]))
    albedo = base * torch.exp((strength * pattern).clamp(-2.5, 1.2))[:, None]
    on = torch.where(face > 0, 1.0, wide(s["print_over"]))
    ink = _ink(s, t, x, y) * (wide(s["kind"]) == PRINT) * on * strength.clamp(0, 1)
    albedo = albedo * (1 - ink[:, None]) + wide(s["print_colour"]) * ink[:, None]
    slow = sampled(cloud[:, :1], 0.02 * a0 + wide(place[:, 2]), 0.02 * b0 + wide(place[:, 3]))
    stain = wide(s["stain"]) * torch.sigmoid(6 * (slow[:, 0] - 0.6))
    away = ((x - wide(s["knot_at"][:, 0])) ** 2 + (y - wide(s["knot_at"][:, 1])) ** 2) / wide(
        s["knot_wide"]
    ) ** 2
    knot = wide(s["knot"]) * torch.exp(-away) * (1 + 0.3 * torch.sin(9 * torch.sqrt(away)))
    return (albedo * ((1 - stain) * (1 - 0.8 * knot))[:, None]).clamp(0.004, 0.95)


def ground(s, cloud, x, y, out):
    """(B, 3, H, W) reflectance of the sheet; `out` is px outside the outline."""
    place = TEXTURE * s["grain_place"]
    t = sampled(cloud, x * 0.35 + wide(place[:, 2]), y * 0.35 + wide(place[:, 3]))
    slow = sampled(cloud[:, :1], x * 0.02 + wide(place[:, 3]), y * 0.02 + wide(place[:, 2]))[:, 0]
    level = torch.exp(
        wide(s["paper_grain"]) * (0.5 * t[:, 1] + 0.5 * t[:, 2]) + wide(s["cockle"]) * slow * 0.5
    )
    level = level * (1 - wide(s["dirt"]) * torch.sigmoid(5 * (t[:, 3] - 0.8)))
    plain = wide(s["ground"]) * level[:, None]
    off = _beyond(s["line_turn"], s["line_at"], x, out)
    line = torch.sigmoid(4 * (0.5 * wide(s["line_wide"]) - off.abs())) * wide(s["line"])
    mark = torch.where(wide(s["dark"])[:, None] > 0, wide(s["paper"]), wide(s["line_ink"])[:, None])
    plain = plain * (1 - line[:, None]) + mark * line[:, None]
    plain = _marker(s, plain, x, out)
    # The window's end, the sheet's end, or another part that lies beside this one.
    off = _beyond(s["other_turn"], s["other_at"], x, out)
    shade = wide(s["other"] * s["other_shade"]) * torch.exp(-off.abs() / wide(s["other_soft"]))
    over = wide(s["other"]) * torch.sigmoid(6 * off)
    plain = plain * (1 - shade)[:, None]
    return plain * (1 - over[:, None]) + wide(s["other_colour"]) * over[:, None]


def _beyond(turn, at, x, out):
    return torch.sin(wide(turn)) * x + torch.cos(wide(turn)) * out - wide(at)


def _marker(s, plain, x, out):
    """A marker's cells: a dark ring about cells of either kind."""
    p, q = _turned(x, out, s["bits_turn"])
    cell = wide(s["bits_wide"])
    p, q = p / cell - wide(s["bits_along"]), (q - wide(s["bits_at"])) / cell
    on = (p > 0) & (p < 6) & (q > 0) & (q < 6)
    inner = (p > 1) & (p < 5) & (q > 1) & (q < 5)
    white = inner & (_chance_of(torch.floor(p), torch.floor(q)) > 0.5)
    colour = torch.where(white[:, None], wide(s["paper"]), 0.04 + 0 * plain)
    on = wide(s["bits"]) * on
    return plain * (1 - on[:, None]) + colour * on[:, None]
