"""A stretch of a solid's edge in the picture: places of one in the other, and what rays meet."""

from dataclasses import dataclass

import torch
from materials import wide
from shapes import NODES, Outline, Profile, grazing, profile


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
        shear = torch.eye(2, device=a.device).repeat(len(a), 1, 1)
        shear[:, 0, 1] = s["shear"]  # a rolling shutter's, when the hand moves
        to_picture = shear @ turn @ squeeze
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
        lx, ly = self.leans(x, y)
        return grazing(torch, self.outline, self.profile, x, y, lx, ly)


def node(profile, name, k):
    return wide(getattr(profile, name)[:, k])


def met(stretch, x, y):
    """(hit, height, side, up) of rays: whether, and there the height and the profile's normal."""
    lx, ly = stretch.leans(x, y)
    p = stretch.profile
    distance = stretch.outline.distance
    top = NODES - 1
    above = distance(torch, x + lx * node(p, "height", top), y + ly * node(p, "height", top))[
        0
    ] + node(p, "inset", top)
    hit = above < 0
    height = node(p, "height", top) + 0 * x
    side, up = torch.zeros_like(x), torch.ones_like(x)
    for k in range(top - 1, -1, -1):
        below = tuple(node(p, name, k) for name in ("height", "inset", "side", "up"))
        over = tuple(node(p, name, k + 1) for name in ("height", "side_below", "up_below"))
        above, hit, height, side, up = _next_layer(
            stretch.outline, x, y, lx, ly, below, over, above, hit, height, side, up
        )
    size = torch.sqrt(side * side + up * up)
    return hit, height, side / size, up / size


def _next_layer(outline, x, y, lx, ly, below, over, above, hit, height, side, up):
    """What rays have met down to the next node of the profile: gap, hit, height, normal."""
    z, inset, side_here, up_here = below
    z_over, side_over, up_over = over
    here = outline.distance(torch, x + lx * z, y + ly * z)[0] + inset
    new = ~hit & (here < 0)
    share = (above / (above - here).clamp_min(1e-6)).clamp(0, 1)
    height = torch.where(new, z_over * (1 - share) + z * share, height)
    side = torch.where(new, side_over * (1 - share) + side_here * share, side)
    up = torch.where(new, up_over * (1 - share) + up_here * share, up)
    return here, hit | new, height, side, up
