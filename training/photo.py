"""What a phone makes of a linear picture: blur before everything, then noise, curve, halo and JPEG.

Blur lies in linear light, before any curve: a blur after the curve would move every edge. Only
sharpening works on coded values, as phones do it.
"""

import torch
from light import FINE, wide
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


def blurred(linear, s):
    """(B, 3, N, N) pixels of (B, 3, FINE N, FINE N) sub-pixels: lens, motion, pixel square."""
    size = linear.shape[-1]
    device = linear.device
    fy = torch.fft.fftfreq(size, device=device)[:, None] * FINE  # cycles for each px
    fx = torch.fft.rfftfreq(size, device=device)[None] * FINE
    square = (fx**2 + fy**2)[None]
    pi = torch.pi
    transfer = torch.exp(-2 * pi**2 * wide(s["blur"]) ** 2 * square)
    r = (2 * pi * wide(s["disc"]) * torch.sqrt(square)).clamp_min(1e-3)
    transfer = transfer * 2 * torch.special.bessel_j1(r) / r
    along = fx * torch.cos(wide(s["motion_turn"])) + fy * torch.sin(wide(s["motion_turn"]))
    transfer = transfer * torch.sinc(wide(s["motion"]) * along)
    seen = torch.fft.irfft2(torch.fft.rfft2(linear) * transfer[:, None], s=(size, size))
    return avg_pool2d(seen, FINE).clamp_min(0)


def developed(linear, s, generator=None):
    """(B, 3, N, N) coded values of 0 to 255, whole numbers, of linear light before the lens."""
    seen = blurred(linear, s) * wide(s["white"][:, None] * s["balance"]) / 0.82
    noise = torch.randn(seen.shape, device=seen.device, generator=generator)
    calm = _gaussian(noise, (0.35 + s["denoise"]).clamp(0.36, 1.3))
    gain = calm / calm.std((2, 3), keepdim=True).clamp_min(1e-6)
    noise = torch.where(wide(s["denoise"])[:, None] > 0, 0.6 * gain, noise)
    seen = seen + noise * torch.sqrt(
        seen.clamp(0, 1) * wide(s["shot"])[:, None] + wide(s["read"])[:, None] ** 2
    )
    seen = seen.clamp(0, 1)
    tone = torch.log(seen.mean(1, keepdim=True) + 0.02)
    slow = _gaussian(tone, torch.full_like(s["local"], 14.0), 4)
    seen = (
        seen * torch.exp(-wide(s["local"])[:, None] * (slow - slow.mean((2, 3), keepdim=True)))
    ).clamp(0, 1)
    coded = to_srgb(seen) ** wide(s["gamma"])[:, None]
    bent = coded + wide(s["contrast"])[:, None] * coded * (1 - coded) * (2 * coded - 1) * 2
    coded = bent.clamp(0, 1)
    soft = _gaussian(coded, s["sharpen_radius"])
    coded = (coded + wide(s["sharpen"])[:, None] * (coded - soft)).clamp(0, 1)
    coded = torch.round(255 * coded)
    again = s["twice"] > 0
    first = jpeg(coded, torch.where(again, s["twice"], s["quality"]), s["half_colour"])
    return torch.where(wide(again[:, None]), jpeg(first, s["quality"], s["half_colour"]), first)


def _gaussian(values, sigma, every=1):
    """Blurred by (B,) px."""
    n, channels, height, width = values.shape
    if every > 1:
        small = avg_pool2d(values, every)
        return interpolate(
            _gaussian(small, sigma / every),
            size=(height, width),
            mode="bilinear",
            align_corners=False,
        )
    reach = 10
    at = torch.arange(-reach, reach + 1, device=values.device)
    kernel = torch.exp(-0.5 * (at[None] / sigma[:, None]) ** 2)
    kernel = (kernel / kernel.sum(1, keepdim=True)).repeat_interleave(channels, 0)
    flat = values.reshape(1, n * channels, height, width)
    flat = torch.nn.functional.pad(flat, (reach, reach, reach, reach), mode="replicate")
    out = torch.zeros(1, n * channels, height + 2 * reach, width, device=values.device)
    for i in range(2 * reach + 1):
        out += kernel[None, :, i, None, None] * flat[..., i : i + width]
    flat, out = out, torch.zeros(1, n * channels, height, width, device=values.device)
    for i in range(2 * reach + 1):
        out += kernel[None, :, i, None, None] * flat[..., i : i + height, :]
    return out.reshape(n, channels, height, width)


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
    planes = []
    for plane in (cb, cr):
        whole = _coded_blocks(torch.round(plane), _COLOUR, quality)
        half = _coded_blocks(torch.round(avg_pool2d(plane[:, None], 2)[:, 0]), _COLOUR, quality)
        half = interpolate(half[:, None], scale_factor=2, mode="bilinear", align_corners=False)[
            :, 0
        ]
        planes.append(torch.where(wide(half_colour) > 0, half, whole) - 128)
    cb, cr = planes
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
