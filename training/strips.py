"""What the program would see of a scene: rows of light across a border, and where the edge is.

`features` is the same, number by number, as the program's own (trace/edge/learned_edge.py).
"""

import torch
from light import covered, render
from photo import developed, marker_edge, to_linear, to_srgb
from shapes import crossing, widths
from stretch import Stretch
from torch.nn.functional import grid_sample

ROWS, STEP = 128, 2.0  # rows of a training strip and px between them
FIRST, PLACES = -16, 64  # px across, positive outwards
# Points: of the map's border first, then of a line that was found.
LINE_SMOOTH, NORMAL_SMOOTH = (6.0, 1.5), (4.5, 3.0)
SLOPE_REACH = 8  # points
WIDEST = 40.0
NEAREST, FARTHEST = -13.0, 44.0  # where the edge may be to be told
CHANNELS = 20
_SPREAD = 320  # points of the outline that are looked at
_LUMINANCE = (0.2126, 0.7152, 0.0722)


def _smooth(values, sigma):
    """(B, N, C) smoothed along N by `sigma` points; the ends by what is left of them."""
    reach = int(4 * sigma + 0.5)
    at = torch.arange(-reach, reach + 1, device=values.device)
    kernel = torch.exp(-0.5 * (at / sigma) ** 2)
    kernel = kernel / kernel.sum()
    flat = values.transpose(1, 2)
    padded = torch.nn.functional.pad(flat, (reach, reach), mode="replicate")
    n, c, length = padded.shape
    return (
        torch.nn.functional.conv1d(padded.reshape(n * c, 1, length), kernel[None, None])
        .reshape(n, c, -1)
        .transpose(1, 2)
    )


def _normals(points):
    tangent = torch.gradient(points, dim=1)[0]
    tangent = tangent / tangent.norm(dim=-1, keepdim=True).clamp_min(1e-9)
    return torch.stack([-tangent[..., 1], tangent[..., 0]], -1)


def _silhouette(stretch, s):
    """(B, S, 2) picture places of the silhouette, and crease widths (B, S) there."""
    n, device = len(s["face"]), s["face"].device
    along = (torch.arange(_SPREAD, device=device) - _SPREAD / 2) * STEP + s["start"][:, None]
    outline = _rows(stretch.outline)
    x, y = outline.at(torch, along)
    _, gx, gy = outline.distance(torch, x - 0, y)
    off = torch.arange(-40.0, 112.0, 2.0, device=device)

    def passes(reach):
        return stretch.passes(
            x[..., None] + gx[..., None] * reach, y[..., None] + gy[..., None] * reach
        )

    outside = passes(off.expand(n, _SPREAD, -1)) > 0
    leaves = outside[..., 1:] & ~outside[..., :-1]
    first = leaves.to(torch.int8).argmax(-1)
    low = off[first]
    at = crossing(torch, passes, low, 2.0)
    qx, qy = x + gx * at, y + gy * at
    lx, ly = stretch.leans(qx, qy)
    crease = widths(
        torch,
        *(s[k][:, None] for k in ("thickness", "edge")),
        1.0 * (s["edge_kind"] >= 0)[:, None],
        s["draft"][:, None],
        -(gx * lx + gy * ly),
    )[1]
    u, v = stretch.in_picture(qx, qy)
    outer = stretch.in_picture(qx + gx, qy + gy)
    outward = torch.stack([outer[0] - u, outer[1] - v], -1)
    return torch.stack([u, v], -1), outward, crease.clamp(0, 30.0), leaves.any(-1)


def _rows(outline):
    """The outline's numbers for (B, N) places."""
    return type(outline)(
        *(
            getattr(outline, k)[..., 0]
            for k in ("turn", "radius", "hollow", "wave", "rate", "phase")
        )
    )


def coarse_line(stretch, s, generator=None):
    """A border as the program would be handed it: line and normals (B, ROWS, 2), and (B, ROWS)
    where across it the silhouette is expected, with whether it was found.
    """
    points, outward, crease, found = _silhouette(stretch, s)
    n, count, device = len(points), points.shape[1], points.device
    normals = _normals(points)
    wrong = (normals * outward).sum((1, 2)) < 0
    flip = lambda t: torch.where(wrong.reshape(-1, *([1] * (t.ndim - 1))), t.flip(1), t)  # noqa: E731
    points, crease, found = flip(points), flip(crease), flip(found)
    normals = _normals(points)
    white = torch.randn(n, count, device=device, generator=generator)
    f = torch.fft.rfftfreq(count, device=device)
    fall = torch.exp(-2 * (torch.pi * f[None] * s["stray_long"][:, None] / STEP) ** 2)
    stray = torch.fft.irfft(torch.fft.rfft(white) * fall, n=count)
    stray = (
        stray / stray.std(1, keepdim=True).clamp_min(1e-6) * s["stray"][:, None]
        + s["stray_off"][:, None]
    )
    along = (torch.arange(count, device=device) - count / 2) * STEP
    mode = s["at_crease"][:, None]
    at = torch.where(
        mode == 1, 1.0, (mode == 2) * (along[None] > s["at_crease_from"][:, None]).float()
    )
    moved = (stray + _dents(s, along)).clamp(-32, 32) - at * crease * (crease > 2)
    line = points + moved[..., None] * normals
    line = _first_or_found(s, *(_smooth(line, sigma) for sigma in LINE_SMOOTH))
    step = (line[:, 1:] - line[:, :-1]).norm(dim=-1)
    length = torch.cat([torch.zeros(n, 1, device=device), step.cumsum(1)], 1)
    middle = length[:, count // 2 : count // 2 + 1]
    places = middle + (torch.arange(ROWS, device=device) - (ROWS - 1) / 2)[None] * STEP
    index = torch.searchsorted(length.contiguous(), places.contiguous()).clamp(1, count - 1)
    low, high = length.gather(1, index - 1), length.gather(1, index)
    share = ((places - low) / (high - low).clamp_min(1e-6)).clamp(0, 1)

    def there(values):
        values = values.reshape(n, count, -1)
        pick = lambda i: values.gather(1, i[..., None].expand(-1, -1, values.shape[-1]))  # noqa: E731
        return pick(index - 1) * (1 - share[..., None]) + pick(index) * share[..., None]

    line, moved = there(line), there(moved)[..., 0]
    known = there(found.float())[..., 0] > 0.99
    # Beyond the outline that was looked at the line stands still.
    known &= (places > 0) & (places < length[:, -1:])
    normals = _first_or_found(s, *(_normals(_smooth(line, sigma)) for sigma in NORMAL_SMOOTH))
    return line, normals, -moved, known


def _first_or_found(s, first, found):
    return torch.where(s["found"][:, None, None] > 0, found, first)


def _dents(s, along):
    """(B, N) px outwards by which a border is off along some stretches."""
    long, rim = s["dent_long"][:, None], s["dent_rim"][:, None]
    every = 2 * long * s["dent_every"][:, None]
    away = torch.remainder(along[None] - s["dent_at"][:, None] + every / 2, every) - every / 2
    return s["dent"][:, None] * torch.sigmoid((long / 2 - away.abs()) * 4 / rim)


def truth(stretch, line, normals, expected, known):
    """(B, ROWS) px across of the silhouette, and state: 1 told, 2 beyond, 0 not known."""
    off = torch.arange(FIRST - 6.0, FIRST + PLACES + 8.0, device=line.device)

    def passes(reach):
        at = line[:, :, None] + normals[:, :, None] * reach[..., None]
        return stretch.passes(*stretch.on_sheet(at[..., 0], at[..., 1]))

    outside = passes(off.expand(*line.shape[:2], -1)) > 0
    leaves = outside[..., 1:] & ~outside[..., :-1]
    apart = torch.where(leaves, (off[:-1] + 0.5 - expected[..., None]).abs(), 1e6)
    nearest, first = apart.min(-1)
    low = off[first]
    at = crossing(torch, passes, low, 1.0)
    inside = (at > NEAREST) & (at < FARTHEST)
    state = torch.where(inside, 1, 2)
    # A row that leaves the line aslant meets the edge farther off.
    state = torch.where(known & (nearest < 8 + 0.6 * expected.abs()) & leaves.any(-1), state, 0)
    return at, state


def _light(linear, points):
    """(B, 3, ...) light of a picture (B, 3, H, W) at places (B, ..., 2), bilinear."""
    size = linear.shape[-1]
    at = 2 * (points + 0.5) / size - 1
    flat = at.reshape(len(points), -1, 1, 2)
    return grid_sample(
        linear, flat, mode="bilinear", padding_mode="border", align_corners=False
    ).reshape(len(points), 3, *points.shape[1:-1])


def edge_response(linear, turn):
    """Blur (B,) px and halo (B,) at a marker's edge, and the paper's light (B, 3)."""
    size = linear.shape[-1]
    device = linear.device
    across = torch.arange(-7, 7.25, 0.5, device=device)
    along = torch.arange(-20, 20.5, 1.0, device=device)
    c, si = torch.cos(turn)[:, None, None], torch.sin(turn)[:, None, None]
    a, b = along[None, :, None], across[None, None, :]
    half = (size - 1) / 2
    at = torch.stack([half + c * b - si * a, half + si * b + c * a], -1)
    light = _light(linear, at).mean(2)  # (B, 3, T)
    paper = light[..., -4:].mean(-1)
    profile = (light * torch.tensor(_LUMINANCE, device=device)[None, :, None]).sum(1)
    return *response_of(torch, profile), paper


def response_of(xp, profile):
    """Blur and halo of (B, 29) light from ink to paper, at every half px from -7 to 7."""
    low, high = profile[:, :4].mean(-1)[:, None], profile[:, -4:].mean(-1)[:, None]
    share = (profile - low) / (high - low)
    place = []
    for level in (0.25, 0.75):
        k = (
            (share[:, 4:-4] >= level).argmax(-1) + 3
            if xp is not torch
            else (share[:, 4:-4] >= level).to(torch.int8).argmax(-1) + 3
        )
        rows = (
            xp.arange(len(share))
            if xp is not torch
            else torch.arange(len(share), device=share.device)
        )
        before, after = share[rows, k], share[rows, k + 1]
        place.append(0.5 * (k + (level - before) / (after - before + 1e-9)))
    halo = share[:, 14:23]
    halo = halo.amax(-1) if xp is torch else halo.max(-1)
    return (place[1] - place[0]) / 1.349, halo - 1.0


def features(stretch, s, linear, line, normals, marker):
    """(B, CHANNELS, ROWS, PLACES) what the network is given."""
    n, device = len(line), line.device
    blur, halo, paper = marker
    on_sheet = torch.stack(stretch.on_sheet(line[..., 0], line[..., 1]), -1)
    beside = line + normals
    beside = torch.stack(stretch.on_sheet(beside[..., 0], beside[..., 1]), -1) - on_sheet
    index = torch.arange(ROWS, device=device)
    chord = (
        on_sheet[:, (index + SLOPE_REACH).clamp_max(ROWS - 1)]
        - on_sheet[:, (index - SLOPE_REACH).clamp_min(0)]
    )
    outward = torch.stack([chord[..., 1], -chord[..., 0]], -1)
    outward = outward / outward.norm(dim=-1, keepdim=True).clamp_min(1e-9)
    outward = outward * torch.sign((outward * beside).sum(-1, keepdim=True))
    across = (outward * beside).sum(-1).clamp_min(0.2)
    lean = torch.stack(stretch.leans(on_sheet[..., 0], on_sheet[..., 1]), -1)
    slope = -(outward * lean).sum(-1)
    told = [s[k][:, None] for k in ("told_thickness", "told_edge")]
    wall, crease = widths(
        torch, *told, 1.0 * (s["told_kind"] >= 0)[:, None], s["told_draft"][:, None], slope
    )
    wall, crease = ((w / across).clamp(0, WIDEST) for w in (wall, crease))
    places = torch.arange(PLACES, device=device) + float(FIRST)
    channels = []
    paper = (paper * s["told_paper"]).reshape(n, 3, 1, 1)
    for shift in (torch.zeros_like(wall), crease, wall):
        at = line[:, :, None] + normals[:, :, None] * (places - shift[..., None])[..., None]
        channels += looks(torch, _light(linear, at) / paper)
    height = s["told_thickness"] / s["px_per_mm"]
    rows = [
        normals[..., 0],
        normals[..., 1],
        slope,
        crease / 16,
        wall / 16,
        torch.log(s["px_per_mm"] / 12)[:, None],
        (blur - 1)[:, None],
        (4 * halo)[:, None],
        s["dark"][:, None],
        (torch.log(height / 6) * 0.5)[:, None],
    ]
    planes = [places.expand(n, ROWS, -1) / 32]
    planes += [row.expand(n, ROWS)[..., None].expand(n, ROWS, PLACES) for row in rows]
    return torch.stack([*channels, *planes], 1)


def looks(xp, share):
    """Brightness and two opponent colours of (B, 3, ...) light as a share of the paper's.

    Coded as sRGB codes it; the colours over the brightness, so that a shadow does not change them.
    """
    coded = to_srgb(share.clip(0, 1.6)) if xp is torch else None
    red, green, blue = coded[:, 0], coded[:, 1], coded[:, 2]
    luma = 0.299 * red + 0.587 * green + 0.114 * blue
    scale = 3 / (luma + 0.08)
    return [2 * luma - 1, (red - green) * scale, (blue - luma) * scale]


def made(s, size=384, generator=None):
    """Scenes (tensors by name) to the network's input, the truth and its state, and the photos."""
    stretch = Stretch.of(s, size)
    line, normals, expected, known = coarse_line(stretch, s, generator)
    at, state = truth(stretch, line, normals, expected, known)
    tiles = covered(line, normals, size, FIRST - WIDEST, FIRST + PLACES)
    linear, paper, cover = render(s, stretch, tiles)
    coded = developed(linear, s, generator, (paper, cover))
    mark = to_linear(developed(marker_edge(s), s, generator) / 255)
    # What reaches over the patch's border was not seen.
    ends = torch.stack([line + normals * p for p in (FIRST - WIDEST, FIRST + PLACES)], 0)
    seen = ((ends > 8) & (ends < size - 9)).all(0).all(-1)
    state = torch.where(seen, state, 0)
    given = features(
        stretch, s, to_linear(coded / 255), line, normals, edge_response(mark, s["mark_turn"])
    )
    return given, at, state, (coded, line, normals)
