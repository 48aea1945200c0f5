"""What a phone makes of a linear picture: blur before everything, then noise, curve, halo and JPEG.

Blur lies in linear light, before any curve: a blur after the curve would move every edge. Only
sharpening works on coded values, as phones do it.
"""

import torch
from light import FINE
from materials import wide
from torch.nn.functional import avg_pool2d, interpolate

_LUMA = (0.299, 0.587, 0.114)  # ITU-R BT.601, as JPEG (JFIF) has it
# ITU-T T.81, tables K.1 and K.2.
_LUMINANCE = [
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55,
    14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51, 87, 80, 62,
    18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92,
    49, 64, 78, 87, 103, 121, 120, 101, 72, 92, 95, 98, 112, 100, 103, 99,
]  # fmt: skip
_COLOUR = [
    17, 18, 24, 47, 99, 99, 99, 99, 18, 21, 26, 66, 99, 99, 99, 99,
    24, 26, 56, 99, 99, 99, 99, 99, 47, 66, 99, 99, 99, 99, 99, 99,
] + [99] * 32  # fmt: skip


def to_srgb(x):
    """IEC 61966-2-1."""
    return torch.where(
        x <= 0.0031308, 12.92 * x, 1.055 * x.clamp_min(0.0031308) ** (1 / 2.4) - 0.055
    )


def to_linear(x):
    """IEC 61966-2-1."""
    return torch.where(x <= 0.04045, x / 12.92, ((x.clamp_min(0.04045) + 0.055) / 1.055) ** 2.4)


def _lens(size, s, device, disc=None):
    """(B, size, size / 2 + 1) transfer of lens and motion for sub-pixels."""
    fy = torch.fft.fftfreq(size, device=device)[:, None] * FINE  # cycles for each px
    fx = torch.fft.rfftfreq(size, device=device)[None] * FINE
    square = (fx**2 + fy**2)[None]
    pi = torch.pi
    transfer = torch.exp(-2 * pi**2 * wide(s["blur"]) ** 2 * square)
    r = (2 * pi * wide(s["disc"] if disc is None else disc) * torch.sqrt(square)).clamp_min(1e-3)
    transfer = transfer * 2 * torch.special.bessel_j1(r) / r
    along = fx * torch.cos(wide(s["motion_turn"])) + fy * torch.sin(wide(s["motion_turn"]))
    return transfer * torch.sinc(wide(s["motion"]) * along)


def _through(linear, transfer):
    return torch.fft.irfft2(torch.fft.rfft2(linear) * transfer[:, None], s=linear.shape[-2:])


def blurred(linear, s, layers=None):
    """(B, 3, FINE N, FINE N) sub-pixels as the lens shows them.

    With `layers` (the sheet alone, the part's cover) the part is out of focus by `defocus`.
    """
    size, device = linear.shape[-1], linear.device
    seen = _through(linear, _lens(size, s, device))
    deep = torch.nonzero(s["defocus"] > 0)[:, 0]
    if layers is not None and len(deep):
        some = {k: v[deep] for k, v in s.items()}
        paper, cover = (layer[deep] for layer in layers)
        own = _lens(size, some, device, some["defocus"])
        part = _through(torch.cat([linear[deep] * cover, cover], 1), own)
        behind = _through(paper, _lens(size, some, device))
        seen[deep] = part[:, :3] + (1 - part[:, 3:]) * behind
    return seen


def developed(linear, s, generator=None, layers=None):
    """(B, 3, N, N) coded values of 0 to 255, whole numbers, of linear light before the lens."""
    seen = blurred(linear, s, layers)
    n, size = len(seen), seen.shape[-1] // FINE
    coded = torch.empty(n, 3, size, size, device=seen.device)
    resized = s["resized"] > 0
    factor = float(s["resize"][0])
    for which, pixels in ((~resized, size), (resized, int(16 * round(size * factor / 16)))):
        which = torch.nonzero(which)[:, 0]
        if len(which) == 0:
            continue
        some = {k: v[which] for k, v in s.items()}
        if pixels == size:
            coded[which] = _coded(avg_pool2d(seen[which], FINE), some, generator)
            continue
        sensor = interpolate(seen[which], size=(pixels, pixels), mode="bilinear", antialias=True)
        photo = _coded(sensor, some, generator)
        photo = interpolate(photo, size=(size, size), mode="bicubic", antialias=pixels > size)
        photo = torch.round(photo).clamp(0, 255)
        coded[which] = jpeg(photo, some["quality"], some["half_colour"])
    return coded


def _coded(linear, s, generator):
    """(B, 3, N, N) of 0 to 255, of sensor pixels: noise, tone, sharpening, JPEG."""
    seen = linear.clamp_min(0) * wide(s["white"][:, None] * s["balance"]) / 0.82
    noise = torch.randn(seen.shape, device=seen.device, generator=generator)
    calm = _gaussian(noise, (0.35 + s["denoise"]).clamp(0.36, 1.3))
    gain = calm / calm.std((2, 3), keepdim=True).clamp_min(1e-6)
    noise = torch.where(wide(s["denoise"])[:, None] > 0, 0.6 * gain, noise)
    seen = seen + noise * torch.sqrt(
        seen.clamp(0, 1) * wide(s["shot"])[:, None] + wide(s["read"])[:, None] ** 2
    )
    seen = seen.clamp(0, 1)
    tone = torch.log(seen.mean(1, keepdim=True) + 0.02)
    slow = _gaussian(tone, s["local_wide"])
    seen = (
        seen * torch.exp(-wide(s["local"])[:, None] * (slow - slow.mean((2, 3), keepdim=True)))
    ).clamp(0, 1)
    coded = to_srgb(seen) ** wide(s["gamma"])[:, None]
    bent = coded + wide(s["contrast"])[:, None] * coded * (1 - coded) * (2 * coded - 1) * 2
    coded = _even_coloured(bent.clamp(0, 1), s["colour_blur"])
    soft = _gaussian(coded, s["sharpen_radius"])
    coded = (coded + wide(s["sharpen"])[:, None] * (coded - soft)).clamp(0, 1)
    coded = torch.round(255 * coded)
    again = torch.nonzero(s["twice"] > 0)[:, 0]
    kept = jpeg(coded, torch.where(s["twice"] > 0, s["twice"], s["quality"]), s["half_colour"])
    if len(again):
        # The second lies on blocks of its own, as after a crop.
        second = torch.roll(kept[again], (3, 5), (2, 3))
        second = jpeg(second, s["quality"][again], s["half_colour"][again])
        kept[again] = torch.roll(second, (-3, -5), (2, 3))
    return kept


def _even_coloured(coded, blur):
    """Colour smoothed by (B,) px where that is more than nothing, light kept, as phones do."""
    some = torch.nonzero(blur > 0)[:, 0]
    if len(some) == 0:
        return coded
    given = coded[some]
    light = sum(k * given[:, i] for i, k in enumerate(_LUMA))[:, None]
    coded = coded.clone()
    coded[some] = (light + _gaussian(given - light, blur[some])).clamp(0, 1)
    return coded


def _gaussian(values, sigma):
    """Blurred by (B,) px, by its spectrum: the borders go on at the other side."""
    height, width = values.shape[-2:]
    fy = torch.fft.fftfreq(height, device=values.device)[:, None]
    fx = torch.fft.rfftfreq(width, device=values.device)[None]
    fall = torch.exp(-2 * (torch.pi * wide(sigma)) ** 2 * (fx**2 + fy**2)[None])
    return torch.fft.irfft2(torch.fft.rfft2(values) * fall[:, None], s=(height, width))


def _cosines(device):
    k = torch.arange(8, device=device, dtype=torch.float32)
    table = torch.cos((2 * k[None] + 1) * k[:, None] * torch.pi / 16) * 0.5
    table[0] /= 2**0.5
    return table


def _coded_blocks(plane, table, quality):
    """(B, H, W) through the cosine transform, rounded to steps (64,) of (B,) quality, and back."""
    scale = torch.where(quality < 50, 5000 / quality, 200 - 2 * quality)
    steps = torch.floor(
        (torch.tensor(table, device=plane.device)[None] * scale[:, None] + 50) / 100
    ).clamp(1, 255)
    steps = steps.reshape(-1, 1, 1, 8, 8)
    n, height, width = plane.shape
    blocks = (plane - 128).reshape(n, height // 8, 8, width // 8, 8).transpose(2, 3)
    cosines = _cosines(plane.device)
    kept = torch.round((cosines @ blocks @ cosines.T) / steps) * steps
    back = (cosines.T @ kept @ cosines).transpose(2, 3).reshape(n, height, width)
    return (back + 128).clamp(0, 255)


def jpeg(coded, quality, half_colour):
    """(B, 3, H, W) of 0 to 255 as a JPEG of (B,) quality gives it back; 16 divides the sides."""
    red, green, blue = coded.unbind(1)
    luma = _LUMA[0] * red + _LUMA[1] * green + _LUMA[2] * blue
    cb, cr = 128 + (blue - luma) / 1.772, 128 + (red - luma) / 1.402
    luma = _coded_blocks(torch.round(luma), _LUMINANCE, quality)
    colour = torch.stack([cb, cr], 1)
    for which, every in ((half_colour > 0, 2), (half_colour <= 0, 1)):
        which = torch.nonzero(which)[:, 0]
        if len(which) == 0:
            continue
        small = torch.round(avg_pool2d(colour[which], every))
        q = quality[which].repeat_interleave(2)
        small = _coded_blocks(small.flatten(0, 1), _COLOUR, q).unflatten(0, (-1, 2))
        colour[which] = (
            interpolate(small, scale_factor=2, mode="bilinear", align_corners=False)
            if every == 2
            else small
        )
    cb, cr = (colour - 128).unbind(1)
    red, blue = luma + 1.402 * cr, luma + 1.772 * cb
    green = (luma - _LUMA[0] * red - _LUMA[2] * blue) / _LUMA[1]
    return torch.round(torch.stack([red, green, blue], 1)).clamp(0, 255)


def marker_edge(s, size=64):
    """(B, 3, FINE size, FINE size) linear light of a printed marker's edge: ink, then paper."""
    device = s["face"].device
    axis = (torch.arange(FINE * size, device=device) + 0.5) / FINE - size / 2
    off = (
        torch.cos(wide(s["mark_turn"])) * axis[None, None]
        + torch.sin(wide(s["mark_turn"])) * axis[None, :, None]
    )
    return torch.where(off[:, None] > 0, wide(s["paper"]), 0.05 * torch.ones_like(wide(s["paper"])))
