"""Random outlines of parts and covers as signed distances on a grid: negative inside, in mm.

One formula for all: a rounded box, a rounded polygon or a waved closed curve, of which discs, slots
and a grid of holes may be cut. A batch is made at once; what a scene does not have is cut nowhere.
"""

import math

import torch

FAR = 1e4


class Draw:
    """Random numbers for a batch of scenes; each `(B,)`."""

    def __init__(self, batch, generator, device):
        self.batch, self.generator, self.device = batch, generator, device

    def uniform(self, low, high, *more):
        r = torch.rand(self.batch, *more, generator=self.generator, device=self.device)
        return low + (high - low) * r

    def normal(self, *more):
        return torch.randn(self.batch, *more, generator=self.generator, device=self.device)

    def log_uniform(self, low, high):
        return torch.exp(self.uniform(math.log(low), math.log(high)))

    def chance(self, share):
        return self.uniform(0, 1) < share

    def choice(self, weights):
        w = torch.tensor(weights, dtype=torch.float32, device=self.device)
        return torch.multinomial(w, self.batch, True, generator=self.generator)


def over(values):
    """(B,) as (B, 1, 1), to go with pictures."""
    return values[:, None, None]


def turned(x, y, place, angle):
    """Coordinates (B, h, w) in the system that lies at a place (B, 2), turned by an angle (B,)."""
    c, s = over(torch.cos(angle)), over(torch.sin(angle))
    x, y = x - over(place[:, 0]), y - over(place[:, 1])
    return c * x + s * y, c * y - s * x


def box(x, y, a, b, radius):
    """A rounded rectangle of half sides a, b (B,)."""
    radius = torch.minimum(radius, torch.minimum(a, b))
    u, v = x.abs() - over(a - radius), y.abs() - over(b - radius)
    outside = torch.hypot(u.clamp_min(0), v.clamp_min(0))
    return outside + torch.maximum(u, v).clamp_max(0) - over(radius)


def polygon(x, y, corners):
    """A polygon of corners (B, K, 2): exact distance, sign by crossings."""
    square = torch.full_like(x, FAR**2)
    inside = torch.zeros_like(x, dtype=torch.bool)
    for k in range(corners.shape[1]):
        ax, ay = (over(corners[:, k - 1, i]) for i in (0, 1))
        bx, by = (over(corners[:, k, i]) for i in (0, 1))
        ex, ey, wx, wy = bx - ax, by - ay, x - ax, y - ay
        t = ((wx * ex + wy * ey) / (ex * ex + ey * ey + 1e-6)).clamp(0, 1)
        square = torch.minimum(square, (wx - t * ex) ** 2 + (wy - t * ey) ** 2)
        crosses = (ay > y) != (by > y)
        inside ^= crosses & (x < ex * (y - ay) / (ey + 1e-9 * (ey == 0)) + ax)
    distance = torch.sqrt(square)
    return torch.where(inside, -distance, distance)


def waves(x, y, a, b, sizes, phases):
    """An ellipse of half axes a, b whose radius is waved by sizes (B, K), once to K times round."""
    u, v = x / over(a), y / over(b)
    r, angle = torch.hypot(u, v), torch.atan2(v, u)
    edge = torch.ones_like(r)
    for k in range(sizes.shape[1]):
        edge = edge + over(sizes[:, k]) * torch.cos((k + 1) * angle + over(phases[:, k]))
    gradient = torch.hypot(u / over(a), v / over(b)) / r.clamp_min(1e-3)
    return (r - edge) / gradient.clamp_min(1e-4)


def rounded_corners(draw, a, b, keep):
    """(B, 8, 2) corners on a stretched circle at uneven angles; some lie inwards."""
    step = 2 * math.pi / 8
    angle = step * (torch.arange(8, device=draw.device) + 0.5 + draw.uniform(-0.42, 0.42, 8))
    reach = torch.where(draw.uniform(0, 1, 8) < keep[:, None], 1.0, draw.uniform(0.55, 1.0, 8))
    # Between box and ellipse, so that corners lie where those of plates do.
    power = draw.uniform(2, 12)[:, None]
    c, s = torch.cos(angle), torch.sin(angle)
    norm = (c.abs() ** power + s.abs() ** power) ** (-1 / power)
    return torch.stack([a[:, None] * reach * norm * c, b[:, None] * reach * norm * s], -1)


def outline(draw, x, y, a, b, place, angle):
    """(B, h, w) a part's distance: a base form less what is cut of it."""
    u, v = turned(x, y, place, angle)
    radius = torch.where(draw.chance(0.5), draw.uniform(0.3, 6), draw.uniform(0, 1) * b)
    form = draw.choice([0.55, 0.3, 0.15])
    round_by = draw.uniform(0.5, 12)
    corners = rounded_corners(draw, (a - round_by).clamp_min(4), (b - round_by).clamp_min(4),
                              draw.uniform(0.4, 1.2))  # fmt: skip
    sizes = draw.normal(6) * draw.uniform(0, 0.09)[:, None]
    sizes[:, 0] = 0
    form = over(form)
    base = torch.where(form == 0, box(u, v, a, b, radius), polygon(u, v, corners) - over(round_by))
    base = torch.where(form == 2, waves(u, v, a, b, sizes, draw.uniform(0, 6.3, 6)), base)
    cut = torch.full_like(base, -FAR)

    def cut_out(shape, share):
        nonlocal cut
        cut = torch.where(over(draw.chance(share)), torch.maximum(cut, -shape), cut)

    # Hollow corners of a plate.
    hollow = torch.hypot(u.abs() - over(a), v.abs() - over(b)) - over(draw.uniform(4, 25))
    cut_out(hollow, 0.08)
    # Holes and a notch.
    for share in (0.22, 0.14, 0.14, 0.1):
        at = torch.stack([draw.uniform(-0.8, 0.8) * a, draw.uniform(-0.7, 0.7) * b], -1)
        hu, hv = turned(u, v, at, draw.uniform(0, 3.14))
        size = draw.log_uniform(1.8, 0.5 * 60)
        long = size * draw.uniform(0.4, 1)
        cut_out(box(hu, hv, size, long, draw.uniform(0, 1) * long), share)
    # A grid of holes or slots within a rim.
    pitch = draw.log_uniform(6, 34)
    other = pitch * draw.uniform(0.6, 1.6)
    gu = torch.remainder(u, over(pitch)) - over(pitch / 2)
    gv = torch.remainder(v, over(other)) - over(other / 2)
    ga, gb = pitch * draw.uniform(0.12, 0.42), other * draw.uniform(0.12, 0.42)
    holes = box(gu, gv, ga, gb, torch.minimum(ga, gb) * draw.uniform(0, 1))
    cut_out(torch.maximum(holes, base + over(draw.uniform(3, 20))), 0.15)
    return torch.maximum(base, cut)


def placed(draw, window, centre):
    """Half sides, place and angle (B, ...) of a part in windows (B, 2) about centres (B, 2)."""
    w, h = window.T
    kind = draw.choice([0.36, 0.2, 0.26, 0.08, 0.06, 0.04])  # end, corner, whole, through, all, no
    upright = draw.chance(0.35)
    sign_x, sign_y = (torch.where(draw.chance(0.5), 1.0, -1.0) for _ in range(2))
    room, across = torch.where(upright, h, w), torch.where(upright, w, h)
    a, b = draw.uniform(0.9, 1.6) * room / 2, draw.uniform(0.25, 0.8) * across / 2
    free = draw.uniform(0.08, 0.55) * room
    along = sign_x * (room / 2 - free + a)  # leaves on one side
    beside = draw.uniform(-0.2, 0.2) * across
    # A corner: leaves on two neighbouring sides.
    corner = kind == 1
    a = torch.where(corner, draw.uniform(0.8, 1.5) * room / 2, a)
    b = torch.where(corner, draw.uniform(0.8, 1.5) * across / 2, b)
    along = torch.where(corner, sign_x * (a + draw.uniform(-0.3, 0.25) * room), along)
    beside = torch.where(corner, sign_y * (b + draw.uniform(-0.3, 0.25) * across), beside)
    whole = kind == 2
    a = torch.where(whole, draw.uniform(0.12, 0.45) * room, a)
    b = torch.where(whole, draw.uniform(0.12, 0.45) * across, b)
    along = torch.where(whole, draw.uniform(-0.5, 0.5) * (room - 2 * a), along)
    beside = torch.where(whole, draw.uniform(-0.5, 0.5) * (across - 2 * b), beside)
    through = kind == 3
    a = torch.where(through, 1.2 * room, a)
    along = torch.where(through, 0 * along, along)
    every = kind == 4
    a, b = torch.where(every, 0.95 * room, a), torch.where(every, 0.95 * across, b)
    along, beside = (torch.where(every, 0 * v, v) for v in (along, beside))
    away = torch.where(kind == 5, 1e4, 0.0)
    turn = torch.where(draw.chance(0.6), 0.07 * draw.normal(), 0.6 * draw.normal())
    angle = turn + torch.where(upright, math.pi / 2, 0.0)
    shift = torch.stack([torch.where(upright, beside, along), torch.where(upright, along, beside)])
    return a, b, centre + shift.T + away[:, None], angle


def cover(draw, x, y, window, centre):
    """(B, h, w) a cloth, a hand or a card from one side; most scenes have none."""
    w, h = window.T
    side = draw.uniform(0, 6.3)
    out = torch.stack([torch.cos(side) * w, torch.sin(side) * h], -1) / 2
    reach = draw.uniform(0.85, 1.5)[:, None]
    sizes = draw.normal(6) * 0.12
    size = draw.uniform(25, 90)
    u, v = turned(x, y, centre + out * (reach + 0.25), draw.uniform(0, 6.3))
    cloth = waves(u, v, size, size * draw.uniform(0.6, 1.6), sizes, draw.uniform(0, 6.3, 6))
    tip, inwards = centre + out * reach, side + math.pi + 0.3 * draw.normal()
    hand = torch.full_like(x, FAR)
    for k in range(4):
        angle = inwards + 0.12 * (k - 1.5) + 0.08 * draw.normal()
        base = torch.stack([torch.sin(inwards), -torch.cos(inwards)], -1) * (k - 1.5) * 19
        long = draw.uniform(28, 44)
        u, v = turned(x, y, tip + base, angle)
        hand = torch.minimum(hand, box(u, v, long, draw.uniform(7, 9.5), long))
    behind = torch.stack([torch.cos(inwards), torch.sin(inwards)], -1)
    u, v = turned(x, y, tip - 62 * behind, inwards)
    hand = torch.minimum(hand, box(u, v, 0 * size + 45, 0 * size + 42, 0 * size + 25))
    # A card or a strip over markers, hardly in the window.
    half = torch.stack([draw.log_uniform(8, 60), draw.log_uniform(5, 40)], -1)
    u, v = turned(x, y, centre + 0.5 * out * (1.7 + half.mean(1) / 140)[:, None],
                  draw.uniform(0, 6.3))  # fmt: skip
    card = box(u, v, half[:, 0], half[:, 1], draw.uniform(0, 4))
    kind = draw.choice([0.8, 0.08, 0.07, 0.05])
    distance = torch.where(over(kind == 2), hand, cloth)
    distance = torch.where(over(kind == 3), card, distance)
    return torch.where(over(kind == 0), torch.full_like(x, FAR), distance), kind
